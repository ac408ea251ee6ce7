package assistant_test

import (
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/demo"
)

// heap is what is in use after a collection, in MB.
func heap() float64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}

// driveLaps runs the demo car at 60 Hz through a core for so many laps.
func driveLaps(t testing.TB, laps int, after func(lap int)) {
	t.Helper()
	core, set := newCore(t)
	sim, err := demo.New(set, demo.Options{Seed: 3, Laps: laps})
	require.NoError(t, err)
	var out assistant.Output
	done := 0
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		out.Reset()
		core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
		for range bodiesOf(out) {
			if done++; after != nil {
				after(done)
			}
		}
	}
	require.GreaterOrEqual(t, done, laps)
}

func bodiesOf(out assistant.Output) (laps []int) {
	for _, e := range out.Events {
		if e.Body.Kind() == "lap" {
			laps = append(laps, e.Lap)
		}
	}
	return laps
}

// A long session takes no more memory than a short one: the core keeps what it needs, not what has been.
func TestMemoryStaysBounded(t *testing.T) {
	early, late := 0.0, 0.0
	driveLaps(t, 60, func(lap int) {
		switch lap {
		case 20:
			early = heap()
		case 60:
			late = heap()
		}
	})
	require.Less(t, late-early, 0.5, "MB grown from lap 20 (%.2f MB) to lap 60 (%.2f MB)", early, late)
}

// The core's memory at 60 Hz after an hour and a half of driving.
func BenchmarkMemory60Hz(b *testing.B) {
	for b.Loop() {
		before := heap()
		driveLaps(b, 60, func(lap int) {
			if lap == 60 {
				b.ReportMetric(heap()-before, "MB-after-60-laps")
			}
		})
	}
}
