package car

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/configs"
	"earshot/configs/document"
)

func readme(t *testing.T) string {
	data, err := configs.Files.ReadFile("cars/README.md")
	require.NoError(t, err)
	return string(data)
}

// rows are the cells of the rows of a section's table, by the key in the first cell.
func rows(text, section string) map[string][]string {
	if _, text, _ = strings.Cut(text, "\n## "+section+"\n"); text != "" {
		text, _, _ = strings.Cut(text, "\n## ")
	}
	found := map[string][]string{}
	for _, line := range strings.Split(text, "\n") {
		cells := strings.Split(strings.Trim(line, "|"), "|")
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		if strings.HasPrefix(cells[0], "`") && len(cells) > 3 {
			found[strings.Trim(cells[0], "`")] = cells
		}
	}
	return found
}

// The parser says in its errors which keys it knows in each place; each has its row in the manual, and no other has.
func TestTheManualHasEveryKey(t *testing.T) {
	text := readme(t)
	for _, place := range []struct{ in, section string }{
		{"%s: 1", "The car"}, {"fuel: {%s: 1}", "fuel"}, {"tyres: {%s: 1}", "tyres"}, {"compounds: {soft: {%s: 1}}", "compounds"},
	} {
		_, err := Parse("x.yaml", []byte(fmt.Sprintf(place.in, "qqqqqqqqqqqq")))
		list := document.Errors(err)
		require.Len(t, list, 1)
		known, ok := strings.CutPrefix(list[0].Hint, "its keys are ")
		require.True(t, ok, list[0].Hint)
		table := rows(text, place.section)
		for _, key := range strings.Split(known, ", ") {
			if _, section := map[string]bool{"fuel": true, "tyres": true, "compounds": true, "limits": true}[key]; section {
				require.Contains(t, text, "\n## "+key+"\n")
				continue
			}
			require.Contains(t, table, key, place.section)
			delete(table, key)
		}
		require.Empty(t, table, "the parser does not know these in %s", place.section)
	}
	for _, key := range []string{"mass", "costs"} {
		require.Contains(t, text, "In `effect`, `mass` and `costs`")
		_, err := Parse("x.yaml", []byte("fuel: {effect: {qqqqqqqqqqqq: 1}}"))
		require.ErrorContains(t, err, key)
	}
}

// The table of limits says their defaults as the parser has them. Which rules need them is for package assistant to
// test.
func TestTheManualHasEveryLimit(t *testing.T) {
	table := rows(readme(t), "limits")
	for _, k := range KnownLimits() {
		cells := table[k.Name]
		require.Len(t, cells, 5, k.Name)
		delete(table, k.Name)
		require.Equal(t, k.Whole, strings.HasPrefix(cells[1], "car: "), k.Name)
		if !strings.HasPrefix(k.Name, "pressure_") { // which follow from hot_pressure
			require.Equal(t, k.neutral, cells[3], k.Name)
			require.Equal(t, k.gt, cells[4], k.Name)
		}
	}
	require.Empty(t, table)
}

func TestTheBlocksOfTheManualWork(t *testing.T) {
	blocks := regexp.MustCompile("(?s)\n```yaml\n(.*?)\n```\n").FindAllStringSubmatch(readme(t), -1)
	require.Len(t, blocks, 3)
	for _, b := range blocks {
		_, err := Parse("README.md", []byte(b[1]+"\n"))
		require.NoError(t, err, b[1])
	}
}
