package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/rules"
)

// A warning that nags is switched off: low oil pressure under load, with the foot lifted in every corner, and a coolant
// that hovers around its limit, are told twice and then about once a lap (common practice, no source). Thirteen laps of
// 82 s.
func TestShippedWarningsDoNotNag(t *testing.T) {
	voc := car()
	set, err := rules.Compile(shipped(t), voc)
	require.NoError(t, err)
	mem, said := set.NewMemory(), map[string]int{}
	for i := range 13 * 820 {
		at := float64(i) / 10
		load := i%100 < 60
		env := map[string]float64{"oil_pressure": 150, "engine_speed": 600, "throttle": 0.2, "coolant_temperature": 106}
		if load {
			env["throttle"] = 1
		}
		if i%400 > 300 {
			env["coolant_temperature"] = 101
		}
		for _, tr := range mem.Step(at, voc.row(t, env), 0, nil) {
			if tr.Say {
				said[tr.Rule.Name]++
			}
		}
	}
	for _, rule := range []string{"oil-pressure-low", "coolant-hot"} {
		require.GreaterOrEqual(t, said[rule], 10, rule)
		require.LessOrEqual(t, said[rule], 15, rule)
	}
}
