package device

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/audio"
)

// fake is a device that keeps what is asked of it.
type fake struct {
	news    news
	played  int
	stopped int
	gain    float64
	closed  bool
}

func (f *fake) Play(audio.Clip) error { f.played++; return nil }
func (f *fake) Stop()                 { f.stopped++ }
func (f *fake) SetGain(db float64)    { f.gain = db }
func (f *fake) Lost() <-chan error    { return f.news }
func (f *fake) Name() string          { return "fake" }
func (f *fake) Close() error          { f.closed = true; return nil }

// Without a device at the start there is a sentence and news of a loss; what appears later is taken up with the gain
// that was set, and one that is lost for good gives way to the next.
func TestAutoTakesUpWhatAppears(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var there *fake
		find := func(context.Context) (Device, error) {
			if there == nil {
				return nil, errors.New("nothing\nanswers")
			}
			return there, nil
		}
		var said []string
		a, err := openAuto(t.Context(), func(s string) { said = append(said, s) }, find, time.Second)
		require.NoError(t, err)
		require.Len(t, said, 1)
		require.Contains(t, said[0], "no sound: nothing; answers. Nothing will be heard until")
		require.ErrorIs(t, <-a.Lost(), ErrLost)
		require.ErrorIs(t, a.Play(audio.Clip{}), ErrLost)
		require.Equal(t, "none yet", a.Name())
		a.Stop()
		a.SetGain(-6)

		time.Sleep(10 * time.Second)
		require.Empty(t, a.Lost(), "that there is still none is no news")
		one := &fake{news: newNews()}
		there = one
		require.NoError(t, <-a.Lost())
		require.Equal(t, -6.0, one.gain)
		require.NoError(t, a.Play(audio.Clip{}))
		a.Stop()
		require.Equal(t, 1, one.played)
		require.Equal(t, 1, one.stopped)

		there = nil
		one.news.tell(errors.New("pulled out"))
		require.ErrorContains(t, <-a.Lost(), "pulled out")
		synctest.Wait()
		require.True(t, one.closed)
		two := &fake{news: newNews()}
		there = two
		require.NoError(t, <-a.Lost())
		require.NoError(t, a.Play(audio.Clip{}))
		require.Equal(t, 1, two.played)
		require.NoError(t, a.Close())
		require.True(t, two.closed)
	})
}
