package audio

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestWAVRoundTrip(t *testing.T) {
	in := Clip{Rate: 16000, Samples: []float32{0, 0.5, -0.5, -1, 1, 2, -2, 1.0 / 32768}}
	var b bytes.Buffer
	require.NoError(t, WriteWAV(&b, in))
	require.Equal(t, 44+16, b.Len())
	out, err := ReadWAV(&b)
	require.NoError(t, err)
	top := float32(32767.0 / 32768)
	require.Equal(t, Clip{Rate: 16000, Samples: []float32{0, 0.5, -0.5, -1, top, top, -1, 1.0 / 32768}}, out)
}

// sox writes every kind of WAV; what is read has to be the same sound.
func TestReadWAVOfSox(t *testing.T) {
	sox, err := exec.LookPath("sox")
	if err != nil {
		t.Skip("this test needs sox: install the package sox")
	}
	for _, kind := range []string{"-b 8 -e unsigned-integer", "-b 16 -e signed-integer", "-b 24 -e signed-integer", "-b 32 -e signed-integer", "-b 32 -e floating-point", "-b 16 -e signed-integer -c 2"} {
		file := filepath.Join(t.TempDir(), "x.wav")
		arg := append([]string{"-n", "-D", "-r", "22050"}, strings.Fields(kind)...)
		msg, err := exec.Command(sox, append(arg, file, "synth", "0.5", "sine", "440", "gain", "-6")...).CombinedOutput()
		require.NoError(t, err, "%s", msg)
		f, err := os.Open(file)
		require.NoError(t, err)
		c, err := ReadWAV(f)
		require.NoError(t, errors.Join(err, f.Close()), kind)
		require.Equal(t, 22050, c.Rate)
		require.InDelta(t, 0.5, c.Seconds(), 1e-3)
		require.InDelta(t, math.Pow(10, -6.0/20), part(c, 440), 0.005, kind)
	}
}

func TestReadWAVRefuses(t *testing.T) {
	var ok bytes.Buffer
	require.NoError(t, WriteWAV(&ok, Clip{Rate: 16000, Samples: make([]float32, 100)}))
	change := func(at int, v ...byte) []byte {
		b := bytes.Clone(ok.Bytes())
		copy(b[at:], v)
		return b
	}
	for want, b := range map[string][]byte{
		"WAV, byte 0: no RIFF header: it is shorter than 12 bytes":                        []byte("RIFF"),
		"WAV, byte 0: it begins with \"fLaC\", not with RIFF and WAVE":                    change(0, 'f', 'L', 'a', 'C'),
		"WAV, byte 20: format tag 6; only PCM (1) and float (3) are read":                 change(20, 6),
		"WAV, byte 20: 0 channels; 1 to 32 are read":                                      change(22, 0),
		"WAV, byte 20: a rate of 0 Hz; 1000 to 384000 are read":                           change(24, 0, 0),
		"WAV, byte 144: the data chunk ends early: 100 of 200 bytes":                      ok.Bytes()[:144],
		"WAV, byte 36: it ends before the data chunk":                                     ok.Bytes()[:40],
		"WAV, byte 12: the data chunk comes before the fmt chunk":                         append(bytes.Clone(ok.Bytes()[:12]), ok.Bytes()[36:]...),
		"WAV, byte 20: samples of 12 bits; PCM of 8, 16, 24, 32 and float of 32 are read": change(34, 12),
	} {
		_, err := ReadWAV(bytes.NewReader(b))
		require.EqualError(t, err, want)
	}
}

func FuzzReadWAV(f *testing.F) {
	var ok bytes.Buffer
	_ = WriteWAV(&ok, Clip{Rate: 16000, Samples: []float32{0, 0.5, -0.5}})
	f.Add(ok.Bytes())
	f.Add(ok.Bytes()[:46])
	long := bytes.Clone(ok.Bytes())
	binary.LittleEndian.PutUint32(long[40:], math.MaxUint32)
	f.Add(long)
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := ReadWAV(bytes.NewReader(b))
		if err != nil {
			var we *WAVError
			if !errors.As(err, &we) || we.Offset < 0 || we.Offset > int64(len(b)) {
				t.Fatalf("refused with %#v", err)
			}
			return
		}
		if err := c.Check(); err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		if err := WriteWAV(&out, c); err != nil {
			t.Fatal(err)
		}
		if again, err := ReadWAV(&out); err != nil || len(again.Samples) != len(c.Samples) {
			t.Fatalf("does not come back: %v", err)
		}
	})
}

func track(t *testing.T, rate int) (*Track, func() Clip) {
	file := filepath.Join(t.TempDir(), "track.wav")
	f, err := os.Create(file)
	require.NoError(t, err)
	tr, err := NewTrack(f, rate)
	require.NoError(t, err)
	return tr, func() Clip {
		require.NoError(t, f.Close())
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		c, err := ReadWAV(bytes.NewReader(b))
		require.NoError(t, err)
		return c
	}
}

func TestTrackIsOnTheClock(t *testing.T) {
	tr, read := track(t, 1000)
	require.NoError(t, tr.Place(0.100, steady(0.25, 50)))
	require.NoError(t, tr.Place(0.120, steady(0.5, 50))) // waits until 0.150
	require.NoError(t, tr.Place(1.000, steady(0.25, 500)))
	require.NoError(t, tr.Cut(1.100))
	require.NoError(t, tr.Place(1.200, steady(0.5, 10)))
	require.NoError(t, tr.Place(1.995, steady(0.5, 100))) // beyond the end
	require.ErrorContains(t, tr.Place(1.5, steady(0.5, 1)), "not at or after 1.995 s")
	require.Error(t, tr.Cut(math.NaN()))
	require.NoError(t, tr.Close(2))
	x := read().Samples
	require.Len(t, x, 2000)
	want := make([]float32, 2000)
	fill := func(from, to int, v float32) {
		for i := from; i < to; i++ {
			want[i] = v
		}
	}
	fill(100, 150, 0.25)
	fill(150, 200, 0.5)
	fill(1000, 1100, 0.25)
	for i := range 25 {
		want[1100+i] = 0.25 * float32(25-i) / 25
	}
	fill(1200, 1210, 0.5)
	fill(1995, 2000, 0.5)
	require.InDeltaSlice(t, want, x, 1.0/32768)
}

func TestTrackOfSilence(t *testing.T) {
	tr, read := track(t, 8000)
	require.NoError(t, tr.Close(3))
	require.Len(t, read().Samples, 24000)
	_, err := NewTrack(nil, 10)
	require.ErrorContains(t, err, "between 1000 and 384000")
}

type fullDisk struct{ n int }

func (d *fullDisk) Write(p []byte) (int, error) {
	if d.n -= len(p); d.n < 0 {
		return 0, errors.New("no space left")
	}
	return len(p), nil
}
func (*fullDisk) Seek(int64, int) (int64, error) { return 0, nil }

func TestTrackTellsAFullDisk(t *testing.T) {
	tr, err := NewTrack(&fullDisk{1000}, 8000)
	require.NoError(t, err)
	require.ErrorContains(t, tr.Place(1, steady(0.1, 1)), "writing the track: no space left")
	require.ErrorContains(t, tr.Close(2), "no space left")
}
