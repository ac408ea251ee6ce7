package feedfile

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/rules/expression"
)

// The truth is Go's own arithmetic, written out.
func TestExpressionsAgainstGo(t *testing.T) {
	set := channel.NewSet()
	known := map[channel.ID]bool{channel.Gear: true, channel.Sector: true, channel.Lap: true}
	row := set.NewRow()
	a, b, c := 3.5, -2.0, 7.25
	row[channel.Gear], row[channel.Sector], row[channel.Lap] = a, b, c
	for text, want := range map[string]float64{
		"gear - sector - lap":                     a - b - c,
		"gear - (sector - lap)":                   a - (b - c),
		"gear / sector / lap":                     a / b / c,
		"gear + sector * lap":                     a + b*c,
		"-gear * -sector":                         a * b,
		"--gear":                                  a,
		"min(gear, sector, lap) + max(lap, gear)": b + c,
		"2.5e-1 * gear + .5":                      0.25*a + 0.5,
		"abs( sector )/hypot(3,4)":                2.0 / 5,
	} {
		x, err := expression.New(text, words{set, known}, true)
		require.NoError(t, err, text)
		require.NotEmpty(t, x.Reads)
		require.Equal(t, want, x.Value(row, &expression.Workspace{}), text)
	}
	deep := ""
	for range 500 {
		deep += "("
	}
	for text, at := range map[string]int{"": 0, "gear +": 6, "gear gear": 5, "(gear": 5, "3 nonsense": 2, "1e999": 0, "gear, 2": 4, "sqrt": 0, "min(gear": 8, "1..2": 2, deep: 100} {
		_, err := expression.New(text, words{set, known}, true)
		var m *expression.Mistake
		require.ErrorAs(t, err, &m, text)
		require.Equal(t, at, m.Pos, fmt.Sprint(text, ": ", err))
	}
}
