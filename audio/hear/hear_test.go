package hear

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/audio"
)

func TestRecogniseTellsPhrasesApart(t *testing.T) {
	flite, err := exec.LookPath("flite")
	if err != nil {
		t.Skip("this test needs flite: install the package flite")
	}
	phrases := []string{"Rear brakes cold.", "Front brakes cold.", "Rear brakes hot.", "Oversteer", "Understeer"}
	var clips []audio.Clip
	for _, p := range phrases {
		file := filepath.Join(t.TempDir(), "x.wav")
		require.NoError(t, exec.Command(flite, "-voice", "slt", "-t", p, "-o", file).Run())
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		c, err := audio.ReadWAV(bytes.NewReader(b))
		require.NoError(t, err)
		clips = append(clips, c.Resample(44100))
	}
	require.Equal(t, phrases, RecogniseAll(t, clips, phrases))
	require.Empty(t, Recognise(t, make([]float32, 16000), 16000, phrases), "silence is no phrase")
}

func TestMatchNamesUnknownWords(t *testing.T) {
	if err := Installed(); err != nil {
		t.Skip(err)
	}
	_, err := Match(t.Context(), nil, []string{"front xyzzyx"})
	require.ErrorContains(t, err, `no pronunciation of ["xyzzyx"]`)
	_, err = Match(t.Context(), nil, []string{"12"})
	require.ErrorContains(t, err, `the phrase "12" has no word`)
}

func TestInEngineNoise(t *testing.T) {
	x := make([]float32, 16000)
	for i := range x {
		x[i] = float32(0.5 * math.Sin(float64(i)))
	}
	clean := audio.Clip{Rate: 16000, Samples: x}
	noisy := InEngineNoise(clean, 10, 1)
	require.Equal(t, noisy, InEngineNoise(clean, 10, 1), "the same seed, the same noise")
	require.NotEqual(t, noisy, InEngineNoise(clean, 10, 2))
	noise := audio.Clip{Rate: 16000, Samples: append([]float32(nil), noisy.Samples...)}
	for i, s := range x {
		noise.Samples[4800+i] -= s
	}
	require.InDelta(t, 10, 20*math.Log10(clean.RMS()/noise.RMS()), 0.01)
}
