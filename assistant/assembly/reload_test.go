package assembly

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/rules"
)

// Changes are noticed, each once; what cannot be read is told once and changes nothing.
func TestRulesAreReadAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		files, trouble := []rules.Source{{Name: "a.yaml", Data: []byte("1")}}, error(nil)
		read := func() ([]rules.Source, error) { return files, trouble }
		changed := make(chan []rules.Source, 10)
		var told []string
		ctx, stop := context.WithCancel(t.Context())
		go watchRules(ctx, time.Second, read, changed, func(s string) { told = append(told, s) })
		pass := func() {
			time.Sleep(3 * time.Second)
			synctest.Wait()
		}
		pass()
		require.Empty(t, changed)

		files = []rules.Source{{Name: "a.yaml", Data: []byte("2")}}
		pass()
		require.Len(t, changed, 1)
		require.Equal(t, "2", string((<-changed)[0].Data))

		trouble = errors.New("the disk is away")
		pass()
		require.Empty(t, changed)
		trouble = nil
		files = append([]rules.Source{}, files...)
		files = append(files, rules.Source{Name: "b.yaml", Data: []byte("3")})
		pass()
		require.Len(t, <-changed, 2)

		stop()
		synctest.Wait()
		require.Equal(t, []string{"rules: read again", "the disk is away; the rules in force stay", "rules: read again"}, told)
	})
}
