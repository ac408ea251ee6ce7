package rules_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/rules"
)

// Judging only what can have changed gives the same transitions as judging everything, whatever the conditions, the
// readings, the times and the situations are.
func TestJudgingLessIsTheSame(t *testing.T) {
	conditions := []string{
		"gear > 2", "gear >= 2 and not gear == 3", "2 <= gear", "not between(gear, 1, 3)", "abs(gear) > 2",
		"abs(gear) < 3 or lap_number == 2", "abs(gear) == 2",
		"between(abs(gear), 1, 2)", "gear - lap_number > 1", "gear < lap_number", "lap_completed", "not lap_completed and gear != 2",
		"known(gear)", "not known(gear) and lap_number > 1",
		"rate(fuel_left) > 1 l/s", "changed(gear)", "changed(gear, 2) and lap_number < 3", "max(gear, lap_number) > 2",
		"lap_number % 2 == 0", "tyre_core > 90 °C", "tyre_core < 100 °C or gear > 3",
	}
	voc := car()
	start := voc.row(t, nil)
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		b.WriteString("rules:\n")
		for i := range rapid.IntRange(1, 12).Draw(t, "rules") {
			when := rapid.SampledFrom(conditions).Draw(t, "when")
			fmt.Fprintf(&b, "  - {name: r%d, when: %q, say: A., say_clear: B.", i, when)
			if strings.Contains(when, "tyre") {
				b.WriteString(", each: wheel")
				if rapid.Bool().Draw(t, "deadband") {
					b.WriteString(", deadband: 5 K")
				}
			} else if when == "gear > 2" || when == "2 <= gear" || strings.Contains(when, "between(gear") {
				b.WriteString(rapid.SampledFrom([]string{"", ", deadband: 1"}).Draw(t, "deadband"))
			}
			for _, key := range []string{", on_delay: 1 s", ", off_delay: 0.7 s", ", repeat: 2 s", ", latch: true",
				", suppress_in: [pits]"} {
				if rapid.Bool().Draw(t, key) {
					b.WriteString(key)
				}
			}
			b.WriteString("}\n")
		}
		set, err := rules.Compile([]rules.Source{{Name: "a.yaml", Data: []byte(b.String())}}, voc)
		require.NoError(t, err)
		less, all := set.NewMemory(), set.NewMemory()
		all.JudgeAll()
		small := rapid.SampledFrom([]float64{-3, -2, -1, 0, 1, 2, 2.5, 3, 4, math.NaN(), math.Inf(1), math.Inf(-1)})
		env, now, situation := slices.Clone(start), 0.0, uint64(0)
		set1 := func(name string, x float64) { n, _ := voc.Name(name); env[n.Index] = x }
		for range rapid.IntRange(1, 80).Draw(t, "steps") {
			now += rapid.SampledFrom([]float64{0, 0.1, 0.3, 0.7, 1, 2.5}).Draw(t, "dt")
			for _, name := range []string{"gear", "lap_number", "lap_completed", "fuel_left"} {
				if rapid.IntRange(0, 2).Draw(t, name) == 0 {
					set1(name, small.Draw(t, name))
				}
			}
			for _, w := range []string{"fl", "fr", "rl", "rr"} {
				if rapid.IntRange(0, 3).Draw(t, w) == 0 {
					set1("tyre_core_"+w, rapid.SampledFrom([]float64{80, 86, 90, 96, 99, 101, 110, math.NaN()}).Draw(t, w))
				}
			}
			if rapid.IntRange(0, 5).Draw(t, "pits") == 0 {
				situation ^= 1
			}
			if rapid.IntRange(0, 9).Draw(t, "reset") == 0 {
				require.Equal(t, all.Reset(), less.Reset())
			}
			got, want := fmt.Sprint(less.Step(now, env, situation, nil)), fmt.Sprint(all.Step(now, env, situation, nil))
			require.Equal(t, want, got, "%s at %g", b.String(), now)
		}
	})
}
