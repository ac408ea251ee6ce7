package main

import (
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestUnits(t *testing.T) {
	list := filepath.Join(t.TempDir(), "list.txt")
	require.NoError(t, os.WriteFile(list, []byte("# remark\nTyres ready. Push, now.  # why\nTyres ready\n"), 0o600))
	got, err := units(list)
	require.NoError(t, err)
	require.Equal(t, []string{"A", "B"}, got[:2])
	require.Equal(t, []string{"tyres ready", "tyres", "ready", "push", "now"}, got[len(got)-5:])
	for _, want := range []string{"a", "oh", "forty two", "one hundred and", "point zero", "minus", "Z"} {
		require.Contains(t, got, want)
	}
	seen := map[string]bool{}
	for _, u := range got {
		require.False(t, seen[u], "%q twice", u)
		seen[u] = true
	}
	_, err = units(filepath.Join(t.TempDir(), "none"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// Rounding may cost what keep says and not more, for loud and for soft stretches.
func TestCoarse(t *testing.T) {
	for _, amplitude := range []float64{20000, 300, 3} {
		pcm := make([]byte, 2*5000)
		for i := range 5000 {
			binary.LittleEndian.PutUint16(pcm[2*i:], uint16(int16(amplitude*math.Sin(float64(i)*0.7))))
		}
		out := append([]byte(nil), pcm...)
		coarse(out)
		var signal, noise float64
		for i := range 5000 {
			a, b := float64(int16(binary.LittleEndian.Uint16(pcm[2*i:]))), float64(int16(binary.LittleEndian.Uint16(out[2*i:])))
			signal += a * a
			noise += (a - b) * (a - b)
		}
		require.Greater(t, 10*math.Log10(signal/max(noise, 1e-9)), keep-1, "amplitude %v", amplitude)
		if amplitude > 1000 {
			require.Positive(t, noise, "and it does round")
		}
	}
}
