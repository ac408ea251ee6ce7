package rules_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/rules"
)

func compile(t testing.TB, voc *words, files ...string) *rules.Set {
	t.Helper()
	var src []rules.Source
	for i, f := range files {
		src = append(src, rules.Source{Name: fmt.Sprintf("%c.yaml", 'a'+i), Data: []byte(f)})
	}
	set, err := rules.Compile(src, voc)
	require.NoError(t, err)
	return set
}

// said plays one channel at 1 Hz and returns the times at which something was said.
func said(t *testing.T, voc *words, mem *rules.Memory, name string, from float64, xs ...float64) []string {
	var out []string
	for i, x := range xs {
		now := from + float64(i)
		for _, tr := range mem.Step(now, voc.row(t, map[string]float64{name: x}), 0, nil) {
			if tr.Say {
				out = append(out, fmt.Sprintf("%g %s", now, tr.Text))
			}
		}
	}
	return out
}

// The terms are those of IEC 62682 / ANSI/ISA-18.2: an alarm that goes in and out three times or more in a minute
// chatters. A square wave over a limit of 100 does so once a second; an on-delay of three seconds, an off-delay or
// a deadband each cure it.
func TestChatter(t *testing.T) {
	square := make([]float64, 60)
	for i := range square {
		square[i] = 99 + 2*float64(i%2)
	}
	tests := []struct {
		name, cure string
		calls      int
	}{
		{"no cure", "", 30},
		{"on-delay", "on_delay: 3 s", 0},
		{"off-delay", "off_delay: 2 s", 1},
		{"deadband", "deadband: 2.5 K", 1},
		{"deadband just as wide as the wave", "deadband: 1 K", 30},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			voc := car()
			cure := tt.cure
			if cure != "" {
				cure = ", " + cure
			}
			mem := compile(t, voc, "rules: [{name: hot, when: oil_temperature > 100 °C, say: Hot."+cure+"}]").NewMemory()
			require.Len(t, said(t, voc, mem, "oil_temperature", 0, square...), tt.calls)
		})
	}
}

// Deadbands move the limit away from where it would clear, also under not, and only limits of their own quantity.
func TestDeadband(t *testing.T) {
	tests := []struct {
		name, when, deadband string
		fire, hold, clear    float64 // of oil_temperature
	}{
		{"above", "oil_temperature > 100 °C", "2 K", 101, 98.5, 97.9},
		{"below", "oil_temperature < 100 °C", "2 K", 99, 101.5, 102.1},
		{"turned round", "100 °C < oil_temperature", "2 K", 101, 98.5, 97.9},
		{"in Fahrenheit", "oil_temperature > 212 °F", "3.6 delta_degF", 101, 98.5, 97.9},
		{"degrees as a difference", "oil_temperature > 100 °C", "2 °C", 101, 98.5, 97.9},
		{"not", "not oil_temperature <= 100 °C", "2 K", 101, 98.5, 97.9},
		{"not not", "not not oil_temperature > 100 °C", "2 K", 101, 98.5, 97.9},
		{"inside a band", "between(oil_temperature, 90 °C, 100 °C)", "2 K", 95, 101.5, 102.1},
		{"inside a band, low end", "between(oil_temperature, 90 °C, 100 °C)", "2 K", 95, 88.5, 87.9},
		{"outside a band", "not between(oil_temperature, 90 °C, 100 °C)", "2 K", 101, 98.5, 97.9},
		{"outside a band, low end", "not between(oil_temperature, 90 °C, 100 °C)", "2 K", 89, 91.5, 92.1},
		{"of a difference", "oil_temperature - 100 °C > 0", "2 K", 101, 98.5, 97.9},
		{"against a limit of the car", "oil_temperature > oil_hot - 30 K", "2 K", 101, 98.5, 97.9},
		{"with or", "oil_temperature > 100 °C or gear == 9", "2 K", 101, 98.5, 97.9},
		{"none", "oil_temperature > 100 °C", "0 K", 101, 100.1, 100},
		{"from a limit of the car", "oil_temperature > 100 °C", "tyre_spread_limit / 4", 101, 98.5, 97.9},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			voc := car()
			set := compile(t, voc, fmt.Sprintf("rules: [{name: hot, when: %q, deadband: %q, say: Hot., say_clear: Fine.}]", tt.when,
				tt.deadband))
			mem := set.NewMemory()
			step := func(x float64) string {
				env := voc.row(t, map[string]float64{"oil_temperature": x, "gear": 3})
				for _, tr := range mem.Step(0, env, 0, nil) {
					return tr.To.String()
				}
				return ""
			}
			require.Equal(t, "active", step(tt.fire))
			require.Empty(t, step(tt.hold))
			require.Equal(t, "normal", step(tt.clear))
			if tt.deadband != "0 K" {
				require.Empty(t, step(tt.hold), "back within the deadband it does not fire again")
			}
		})
	}
}

func TestLatchAndReset(t *testing.T) {
	voc := car()
	mem := compile(t, voc, "rules: [{name: hot, when: oil_temperature > 100 °C, latch: true, say: Hot., say_clear: Fine.}]").NewMemory()
	require.Equal(t, []string{"0 Hot."}, said(t, voc, mem, "oil_temperature", 0, 101))
	require.Zero(t, mem.Reset(), "the condition is still there: no effect, now or later")
	require.Empty(t, said(t, voc, mem, "oil_temperature", 1, 101, 90, 90))
	require.Equal(t, 1, mem.Reset())
	require.Zero(t, mem.Reset(), "it was let go already")
	require.Equal(t, []string{"4 Fine."}, said(t, voc, mem, "oil_temperature", 4, 90, 90))
	require.Equal(t, []string{"6 Hot."}, said(t, voc, mem, "oil_temperature", 6, 101, 90))
}

func TestRepeat(t *testing.T) {
	voc := car()
	mem := compile(t, voc, "rules: [{name: hot, when: oil_temperature > 100 °C, off_delay: 5 s, repeat: 3 s, say: 'Hot, "+
		"{oil_temperature}.'}]").NewMemory()
	got := said(t, voc, mem, "oil_temperature", 0, 101, 102, 103, 104, 90, 90, 90, 108)
	// Not at 6: the condition has gone although the call is still active.
	require.Equal(t, []string{"0 Hot, one hundred and one.", "3 Hot, one hundred and four.", "7 Hot, one hundred and eight."}, got)
}

func TestChangedBy(t *testing.T) {
	voc := car()
	mem := compile(t, voc, "rules: [{name: gap, when: 'changed(gap_behind, 0.5 s)', say: '{gap_behind as gap}.'}]").NewMemory()
	nan := math.NaN()
	got := said(t, voc, mem, "gap_behind", 0, 2, 1.7, 1.5, 1.5, 1.9, nan, 2.0, 2.0)
	require.Equal(t, []string{"2 One point five.", "6 Two seconds."}, got)
}

// A ramp has its own slope as rate at every moment after the first second, whatever the sample rate, and a step in
// slope is followed with the time constant of one second: 1-1/e after one second.
func TestRate(t *testing.T) {
	for _, hz := range []float64{10, 60, 360} {
		t.Run(fmt.Sprint(hz), func(t *testing.T) {
			voc := car()
			mem := compile(t, voc, "rules: [{name: r, when: rate(tyre_core_fl) > 0.5 K/s, say: Rising.}, {name: s, when: "+
				"rate(tyre_core_fl) >= 1.26424 K/s, say: Quick.}]").NewMemory()
			at := map[string]float64{}
			for i := 0; i <= int(6*hz); i++ {
				now := float64(i) / hz
				x := 80.0 // flat, then from 2 s on rising by 2 K/s
				if now > 2 {
					x += 2 * (now - 2)
				}
				for _, tr := range mem.Step(now, voc.row(t, map[string]float64{"tyre_core_fl": x}), 0, nil) {
					if tr.Say {
						at[tr.Rule.Name] = now
					}
					if tr.From == rules.Unknown {
						require.InDelta(t, 1, now, 1/hz+1e-9)
					}
				}
			}
			// 2(1-exp(-t)) passes 0.5 at ln(4/3) = 0.2877 s, and 2(1-1/e) at 1 s.
			require.InDelta(t, 2.2877, at["r"], 1.01/hz)
			require.InDelta(t, 3, at["s"], 1.01/hz)
		})
	}
}

func TestAdopt(t *testing.T) {
	voc := car()
	const before = `rules:
  - {name: same, when: oil_temperature > 100 °C, say: Hot.}
  - {name: worded, when: oil_temperature > 100 °C, say: Hot.}
  - {name: moved, when: oil_temperature > 100 °C, say: Hot.}
  - {name: gone, when: oil_temperature > 100 °C, say: Hot.}
  - {name: counted, when: changed(oil_temperature), say: Moved.}`
	const after = `rules:
  - {name: counted, when: changed(oil_temperature), say: Moved.}
  - {name: moved, when: oil_temperature > 99 °C, say: Hot.}
  - {name: worded, when: oil_temperature > 100 °C, say: Oil hot., priority: warning}
  - {name: same, when: oil_temperature > 100 °C, say: Hot.}`
	old, set := compile(t, voc, before), compile(t, voc, after)
	mem := old.NewMemory()
	said(t, voc, mem, "oil_temperature", 0, 90, 101)
	next := set.NewMemory()
	next.Adopt(nil)
	next.Adopt(mem)
	var texts []string
	for _, tr := range next.Step(2, voc.row(t, map[string]float64{"oil_temperature": 102}), 0, nil) {
		if tr.Say {
			texts = append(texts, tr.Rule.Name)
		}
	}
	// Only the rule whose condition is another speaks; the adopted past of counted knows 101, but it is active already.
	require.Equal(t, []string{"moved"}, texts)
	for _, tr := range next.Step(3, voc.row(t, map[string]float64{"oil_temperature": 102}), 0, nil) {
		require.Equal(t, "counted", tr.Rule.Name)
		require.True(t, next.Active(tr.Rule, 0) == false)
	}
}

func TestActive(t *testing.T) {
	voc := car()
	set := compile(t, voc, "rules: [{name: hot, each: wheel, when: tyre_core > tyre_high, say: '{wheel} hot.'}]")
	mem := set.NewMemory()
	trs := mem.Step(0, voc.row(t, map[string]float64{"tyre_core_fr": 101, "tyre_core_fl": 90}), 0, nil)
	require.Len(t, trs, 2)
	r := trs[1].Rule
	require.True(t, mem.Active(r, 1))
	require.False(t, mem.Active(r, 0))
	require.False(t, mem.Active(r, 7))
	require.False(t, mem.Active(nil, 0))
	other := compile(t, voc, "rules: [{name: hot, when: gear > 3, say: Hot.}]").NewMemory()
	require.False(t, other.Active(r, 1))
}

// The state machine against the textbook: a model that keeps the whole past and judges every delay by looking
// back over it.
func TestStateMachineAgainstModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		on, off := rapid.IntRange(0, 4).Draw(t, "on"), rapid.IntRange(0, 4).Draw(t, "off")
		band := rapid.IntRange(0, 3).Draw(t, "deadband")
		xs := rapid.SliceOfN(rapid.IntRange(95, 105), 1, 60).Draw(t, "xs") // 95 stands for unknown
		voc := car()
		set, err := rules.Compile([]rules.Source{{Name: "a.yaml", Data: fmt.Appendf(nil,
			"rules: [{name: hot, when: oil_temperature > 100 °C, on_delay: %d s, off_delay: %d s, deadband: %d K, say: Hot.}]", on, off,
			band)}}, voc)
		if err != nil {
			t.Fatal(err)
		}
		mem := set.NewMemory()
		var got, want strings.Builder
		active := false
		changedAt := -1
		env := make([]float64, voc.set.Len())
		n, _ := voc.Name("oil_temperature")
		for i, x := range xs {
			env[n.Index] = float64(x)
			if x == 95 {
				env[n.Index] = math.NaN()
			}
			for _, tr := range mem.Step(float64(i), env, 0, nil) {
				if tr.To == rules.Active {
					fmt.Fprintln(&got, i, "fires")
				} else if tr.From == rules.Active {
					fmt.Fprintln(&got, i, "clears")
				}
			}
			delay, beyond := on, func(v int) bool { return v != 95 && v > 100 }
			if active {
				delay, beyond = off, func(v int) bool { return v != 95 && v <= 100-band }
			}
			held := i-delay > changedAt
			for k := max(i-delay, 0); k <= i; k++ {
				held = held && beyond(xs[k])
			}
			if held {
				active, changedAt = !active, i
				if active {
					fmt.Fprintln(&want, i, "fires")
				} else {
					fmt.Fprintln(&want, i, "clears")
				}
			}
		}
		if got.String() != want.String() {
			t.Fatalf("got\n%swant\n%s", got.String(), want.String())
		}
	})
}
