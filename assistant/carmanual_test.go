package assistant_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/configs"
	"earshot/rules"
)

// The manual of car files names every rule that a missing limit switches off, and no rule that does not ship. All
// channels are covered.
func TestTheCarManualNamesTheRules(t *testing.T) {
	set := channel.NewSet()
	var covered []channel.ID
	for id := range channel.ID(set.Len()) {
		if set.At(id).Origin == channel.Measured {
			covered = append(covered, id)
		}
	}
	var sources []rules.Source
	entries, err := configs.Files.ReadDir("rules")
	require.NoError(t, err)
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), ".yaml") && !strings.HasSuffix(e.Name(), "_test.yaml") {
			data, err := configs.Files.ReadFile("rules/" + e.Name())
			require.NoError(t, err)
			sources = append(sources, rules.Source{Name: e.Name(), Data: data})
		}
	}
	given := map[string]string{"limiter_speed": "7900 rpm", "ride_height_low": "10 mm", "travel_stop": "60 mm"}
	instances := func(without string) map[string]int {
		text := "baseline: gt\nwheelbase: 2.65 m\nsteering_ratio: 13\nfuel: {tank: 100 l}\ncompounds: {soft: {laps: 6 laps}}\nlimits:\n"
		for name, value := range given {
			if name != without {
				text += "  " + name + ": " + value + "\n"
			}
		}
		if without != "" {
			text += "  " + without + ": none\n"
		}
		k, err := car.Parse("car.yaml", []byte(text))
		require.NoError(t, err, text)
		names := assistant.NewVocabulary(set, covered, k, nil, nil)
		names.KeepBests()
		compiled, err := rules.Compile(sources, names)
		require.NoError(t, err)
		on := map[string]int{}
		for _, r := range compiled.Rules() {
			on[r.Name] = len(r.Instances)
			if without == "" && len(r.Instances) == 0 {
				require.Equal(t, "sector-best", r.Name, "%v", r.Why) // it ships switched off
			}
		}
		return on
	}
	all := instances("")
	manual, err := configs.Files.ReadFile("cars/README.md")
	require.NoError(t, err)
	for _, k := range car.KnownLimits() {
		row := regexp.MustCompile("(?m)^\\| `" + k.Name + "` \\|[^|]*\\|([^|]*)\\|").FindStringSubmatch(string(manual))
		require.NotNil(t, row, k.Name)
		var named []string
		for _, m := range regexp.MustCompile("`([a-z-]+)`").FindAllStringSubmatch(row[1], -1) {
			named = append(named, m[1])
			require.Contains(t, all, m[1], "%s: no rule of that name ships", k.Name)
		}
		for name, on := range instances(k.Name) {
			if on < all[name] {
				require.True(t, slices.Contains(named, name), "without %s rule %s is off: configs/cars/README.md does not say so", k.Name,
					name)
			}
		}
	}
}
