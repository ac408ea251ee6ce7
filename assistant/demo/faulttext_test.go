package demo

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
)

func TestParseFault(t *testing.T) {
	for text, want := range map[string]Fault{
		"lock:fl=1.4@3.4":              {Kind: Lock, Wheel: channel.FL, Amount: 1.4, FromLap: 3, Corner: 4},
		"understeer@4-6.3":             {Kind: Understeer, Amount: 0.35, FromLap: 4, ToLap: 6, Corner: 3},
		"frozen:tyre_pressure_rl@5.2":  {Kind: Frozen, Channel: "tyre_pressure_rl", FromLap: 5, Corner: 2},
		"leak:rr@2-9":                  {Kind: Leak, Wheel: channel.RR, Amount: 6, FromLap: 2, ToLap: 9},
		"set_abs=0@0.1":                {Kind: SetABS, Corner: 1},
		"frozen:lap_distance=-1e1@1.1": {Kind: Frozen, Channel: "lap_distance", Amount: -10, FromLap: 1, Corner: 1},
	} {
		got, err := ParseFault(text)
		require.NoError(t, err)
		require.Equal(t, want, got, text)
	}
	for text, want := range map[string]string{
		"lock:fl": "the lap is missing", "flood@1": `no kind "flood": it is one of understeer`, "lock@3.4": `the wheel is "": use fl, fr`, "lock:xx@3": `"xx"`,
		"yellow:fl@3": "belongs to no wheel", "yellow=much@3.1": `"much", which is no number`, "yellow@3-.1": `the last lap is ""`, "yellow@three": `the lap is "three"`, "yellow@3.": `the corner is ""`,
	} {
		_, err := ParseFault(text)
		require.ErrorIs(t, err, ErrOptions, text)
		require.ErrorContains(t, err, want)
		require.ErrorContains(t, err, "such as lock:fl=1.4@3.4")
	}
	// Every kind can be named, and what is usual for it can be.
	for _, k := range kinds {
		require.True(t, k.usual >= k.low && k.usual <= k.high, k)
	}
}

// Whatever is written is refused with a reason, or is a fault that New takes or refuses with its own.
func FuzzParseFault(f *testing.F) {
	for _, text := range []string{"lock:fl=1.4@3.4", "understeer@4-6.3", "frozen:speed@5.2", "leak:rr=NaN@2-9", "yellow@@", "spin:rl=1e999@1.1", "caution@1048575.1"} {
		f.Add(text)
	}
	set := channel.NewSet()
	f.Fuzz(func(t *testing.T, text string) {
		fault, err := ParseFault(text)
		if err != nil {
			require.ErrorIs(t, err, ErrOptions)
			return
		}
		if _, err := New(set, Options{Course: "saucer", Laps: 1, Rate: 10, Faults: []Fault{fault}}); err != nil {
			require.ErrorIs(t, err, ErrOptions)
			return
		}
		k, _ := kindOf(fault.Kind)
		require.False(t, math.IsNaN(fault.Amount) || fault.Amount < k.low || fault.Amount > k.high)
	})
}
