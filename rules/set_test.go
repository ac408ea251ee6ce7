package rules_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/audio/spoken"
	"earshot/rules"
)

func TestWhatIsNotAvailableSwitchesOff(t *testing.T) {
	voc := car()
	voc.absent["tyre_core_rl"] = "not in the feed"
	voc.absent["fuel_save"] = "no end of the race is known"
	voc.absent["oil_hot"] = "not in the car file"
	voc.absent["tyre_high_rear"] = "not in the car file"
	set := compile(t, voc, `rules:
  - {name: wheels, each: wheel, when: tyre_core > tyre_high, say: "{wheel} hot."}
  - {name: sentence, when: fuel_margin < 0, say: "Fuel short. Save {fuel_save}."}
  - {name: words, when: fuel_margin < 0, say: "Save {fuel_save}."}
  - {name: limit, when: oil_temperature > oil_hot, say: Oil hot.}
  - {name: needs, when: fuel_margin < 0, say: Fuel short., needs: [fuel_save]}
  - {name: band, when: oil_temperature > 100 °C, deadband: oil_hot - 129 °C, say: Oil hot.}
  - {name: asks, when: not known(fuel_save) and fuel_margin < 0, say: Short.}
  - {name: unset, when: oil_pressure < unset, say: Low.}
  - {name: clear, when: fuel_margin < 0, say: Short., say_clear: "{fuel_save}."}
  - {name: glob, each: axle, when: max(tyre_core_*) > 100 °C, say: "{axle} hot."}`)
	type row struct {
		active    bool
		instances string
		why       string
	}
	got := map[string]row{}
	for _, r := range set.Rules() {
		got[r.Name] = row{r.Active, strings.Join(r.Instances, " "), strings.Join(r.Why, "; ")}
	}
	require.Equal(t, map[string]row{
		"wheels":   {true, "fl fr rr", "tyre_core_rl: not in the feed"},
		"sentence": {true, "", "fuel_save: no end of the race is known"},
		"words":    {false, "", "fuel_save: no end of the race is known"},
		"limit":    {false, "", "oil_hot: not in the car file"},
		"needs":    {false, "", "fuel_save: no end of the race is known"},
		"band":     {false, "", "oil_hot: not in the car file"},
		"asks":     {true, "", ""},
		"unset":    {false, "", "unset: it has no value"},
		"clear":    {true, "", "fuel_save: no end of the race is known"},
		"glob":     {true, "front", "tyre_core_rl: not in the feed"},
	}, got)
	// The limit of one axle is not there: the limit of all holds.
	trs := set.NewMemory().Step(0, voc.row(t, map[string]float64{"tyre_core_rr": 101, "fuel_margin": -1}), 0, nil)
	var texts []string
	for _, tr := range trs {
		if tr.Say {
			texts = append(texts, tr.Text)
		}
	}
	require.Equal(t, []string{"Rear right hot.", "Fuel short.", "Short.", "Short."}, texts)
}

func TestMomentary(t *testing.T) {
	for when, want := range map[string]bool{
		"lap_completed": true, "lap_completed == 1 and gear > 1": true, "changed(gear)": true, "not lap_completed": false,
		"gear > 1":                  false,
		"lap_completed or gear > 1": false, "personal_best or stint_started": true, "changed(gear) and not tyres_ready": true,
	} {
		voc := car()
		set := compile(t, voc, "rules: [{name: a, when: "+when+", say: x.}]")
		var momentary bool
		for _, tr := range set.NewMemory().Step(0, voc.row(t,
			map[string]float64{"gear": 0, "lap_completed": 0, "personal_best": 0, "stint_started": 0, "tyres_ready": 0}), 0, nil) {
			momentary = tr.Rule.Momentary
		}
		require.Equal(t, want, momentary, when)
	}
}

func TestOnlySomeInstancesHaveTheName(t *testing.T) {
	voc := car()
	voc.extra = []string{"duct_fl", "duct_fr"}
	set := compile(t, voc, `rules: [{name: duct, each: wheel, when: duct > 1, say: "{wheel} duct."}]`)
	r := set.Rules()[0]
	require.Equal(t, []string{"fl", "fr"}, r.Instances)
	require.Equal(t, []string{"rl: unknown name duct", "rr: unknown name duct"}, r.Why)
}

func TestLaterFilesOverride(t *testing.T) {
	voc := car()
	set := compile(t, voc,
		`{rules: [{name: a, when: gear > 1, say: One.}, {name: b, when: gear > 1, say: Two.}, {name: c, when: gear > 1, say: Three.}], answers: [{ask: fuel, say: Old.}, {ask: lap, say: Lap.}]}`,
		`{rules: [{name: a, when: gear > 2, say: New.}, {name: b, off: true}], answers: [{ask: fuel, when: gear > 5, say: High.}, {ask: fuel, say: New.}]}`)
	infos := set.Rules()
	require.Equal(t, []string{"a", "b", "c"}, []string{infos[0].Name, infos[1].Name, infos[2].Name})
	require.Equal(t, "b.yaml", infos[0].File)
	require.False(t, infos[1].Active)
	require.Equal(t, []string{"switched off in b.yaml:1"}, infos[1].Why)
	var texts []string
	for _, tr := range set.NewMemory().Step(0, voc.row(t, map[string]float64{"gear": 3}), 0, nil) {
		texts = append(texts, tr.Text)
	}
	require.Equal(t, []string{"New.", "Three."}, texts)
	text, _, ok := set.Answer("fuel", voc.row(t, map[string]float64{"gear": 3}))
	require.True(t, ok)
	require.Equal(t, "New.", text)
	require.Equal(t, []string{"lap", "fuel"}, set.Asks())
}

func TestSameFileTwice(t *testing.T) {
	src := rules.Source{Name: "a.yaml", Data: []byte("rules: []")}
	_, err := rules.Compile([]rules.Source{src, src}, car())
	require.EqualError(t, err, "a.yaml:1:1: the file is read twice")
}

func TestMerged(t *testing.T) {
	voc := car()
	set := compile(t, voc, `rules:
  - {name: wheel, each: wheel, when: tyre_core > tyre_high, say: "{wheel} hot.", merge: "{instances} tyres hot, {max(tyre_core_*)}."}
  - {name: axle, each: axle, when: brake_peak < brake_cold, say: "{axle} brakes cold.", merge: "{instances} brakes cold."}
  - {name: side, each: side, when: max(tyre_core_*) > tyre_high, say: "{side} side hot.", merge: "{instances} hot."}
  - {name: none, each: wheel, when: tyre_core > tyre_high, say: "{wheel} hot."}`)
	env := voc.row(t, map[string]float64{"tyre_core_fl": 101, "tyre_core_fr": 112, "tyre_core_rl": 90, "tyre_core_rr": 90,
		"brake_peak_front": 90, "brake_peak_rear": 90})
	byName := map[string]*rules.Rule{}
	for _, tr := range set.NewMemory().Step(0, env, 0, nil) {
		byName[tr.Rule.Name] = tr.Rule
	}
	require.True(t, byName["wheel"].Merge)
	require.False(t, byName["none"].Merge)
	tests := []struct {
		rule    string
		members uint64
		want    string
	}{
		{"wheel", 0b0011, "Front tyres hot, one hundred and twelve."},
		{"wheel", 0b1100, "Rear tyres hot, ninety."},
		{"wheel", 0b0101, "Left side tyres hot, one hundred and one."},
		{"wheel", 0b1010, "Right side tyres hot, one hundred and twelve."},
		{"wheel", 0b1111, "All four tyres hot, one hundred and twelve."},
		{"wheel", 0b1001, "Front left and rear right tyres hot, one hundred and one."},
		{"wheel", 0b0110, "Front right and rear left tyres hot, one hundred and twelve."},
		{"wheel", 0b0111, "All but rear right tyres hot, one hundred and twelve."},
		{"wheel", 0b0100, "Rear left tyres hot, ninety."},
		{"axle", 0b11, "Brakes cold."},
		{"axle", 0b01, "Front brakes cold."},
		{"side", 0b11, "Both sides hot."},
		{"side", 0b10, "Right side hot."},
	}
	for _, tt := range tests {
		got, _, ok := set.Merged(byName[tt.rule], tt.members, env)
		require.True(t, ok)
		require.Equal(t, tt.want, got)
	}
	for _, r := range []*rules.Rule{nil, byName["none"]} {
		_, _, ok := set.Merged(r, 3, env)
		require.False(t, ok)
	}
	_, _, ok := set.Merged(byName["wheel"], 3, nil)
	require.False(t, ok, "nothing is known and there is no other sentence")
}

func TestShortWords(t *testing.T) {
	voc := car()
	set := compile(t, voc, `rules:
  - {name: low, when: fuel_left < 9 l, priority: warning, say: "Fuel low, {fuel_left}.", say_short: "Fuel, {fuel_left}.", say_clear: Fuel fine., clear_priority: caution}
  - {name: plain, when: fuel_left < 5 l, priority: warning, say: Fuel., say_clear: Fine.}
answers:
  - {ask: fuel, say: "There are {fuel_left} litres left.", say_short: "{fuel_left}."}
  - {ask: gear, say: "Gear {gear}."}`)
	mem, env := set.NewMemory(), voc.row(t, map[string]float64{"fuel_left": 8, "gear": 3})
	got := mem.Step(0, env, 0, nil)[0]
	require.Equal(t, "Fuel low, eight.", got.Text)
	require.Equal(t, "Fuel, eight.", got.Short)
	require.Equal(t, rules.Caution, got.Rule.Clear)
	env = voc.row(t, map[string]float64{"fuel_left": 4, "gear": 3})
	text, short, ok := mem.Words(got.Rule, 0, env)
	require.True(t, ok)
	require.Equal(t, "Fuel low, four. / Fuel, four.", text+" / "+short, "with the present values")
	plain := mem.Step(1, env, 0, nil)[0]
	require.Equal(t, rules.Advisory, plain.Rule.Clear, "whatever the rule's own priority is")
	require.Empty(t, plain.Short)
	text, short, _ = set.Answer("fuel", env)
	require.Equal(t, "There are four litres left. / Four.", text+" / "+short)
	_, short, ok = set.Answer("gear", env)
	require.True(t, ok)
	require.Empty(t, short)
	require.Contains(t, set.Phrases(), "There are", "what is said in short is spoken too")
}

func TestTexts(t *testing.T) {
	env := map[string]float64{
		"fuel_left": 12.34, "fuel_margin": -2.4, "completed_lap_time": 102.34, "lap_delta": 0.16, "abs_level": 0, "flag": 3,
		"last_corner":      4,
		"tyre_pressure_fr": 188.9165, "tyre_core_fl": 91.6, "brake_bias": 0.525, "gap_ahead": -1.1, "tyre_spread_front": -8.4, "gear": -1,
	}
	tests := []struct{ src, want string }{
		{"plain words", "Plain words"},
		{"  {fuel_left}   litres . next", "Twelve litres. Next"},
		{"{fuel_left in gal_us}", "Three point three"}, // 12.34 L / 3.785412 (SP 811) = 3.2599
		{"{fuel_left in gal_us as hundredths}", "Three point two six"},
		{"{fuel_left as whole}, {fuel_left as tenths}, {fuel_left as hundredths}", "Twelve, twelve point three, twelve point three four"},
		{"fuel {-fuel_margin as tenths} short", "Fuel two point four short"},
		{"{fuel_margin as signed}/{abs(fuel_margin) as signed}", "Minus two point four/plus two point four"},
		{"{completed_lap_time as lap_time}", "One forty-two point three"},
		{"{lap_delta as gap} down", "A tenth and a half down"},
		{"{abs(gap_ahead) as gap}", "One point one"},
		{"A B S {abs_level as off}", "A B S off"},
		{"gear {gear as off}", "Gear minus one"},
		{"{flag}", "Full course caution"},
		{"{flag as label} here", "Full course caution here"},
		{"turn {last_corner as corner}", "Turn four"},
		{"turn {last_corner - 4 as corner}", ""},
		{"{tyre_pressure_fr}", "Twenty-seven point four"}, // 188.9165 kPa / 6.894757 (SP 811) = 27.40
		{"{tyre_pressure_fr in bar as hundredths}", "One point eight nine"},
		{"{tyre_core_fl in °F}", "One hundred and ninety-six point nine"},
		{"{tyre_spread_front in °F as whole}", "Minus fifteen"}, // an interval: no offset
		{"{brake_bias}", "Fifty-three"},
		{"{brake_bias in % as tenths}", "Fifty-two point five"},
		{"{fuel_left / 10 l}", "One"},
		{"{fuel_left / 10 l in % as whole}", "One hundred and twenty-three"},
		{"{5 K/s in K/min as whole}", "Three hundred"},
		{"first {speed}. second", "Second"},
		{"1.5 is no end. {fuel_left}!  two", "1.5 is no end. Twelve! Two"},
	}
	for _, tt := range tests {
		t.Run(tt.src, func(t *testing.T) {
			voc := car()
			set := compile(t, voc, "rules: [{name: a, when: gear < 0, say: '"+tt.src+"'}]")
			trs := set.NewMemory().Step(0, voc.row(t, env), 0, nil)
			require.Len(t, trs, 1)
			require.Equal(t, tt.want, trs[0].Text)
			require.Equal(t, tt.want != "", trs[0].Say)
		})
	}
}

func TestAnswers(t *testing.T) {
	set, err := rules.Compile(shipped(t), car())
	require.NoError(t, err)
	tests := []struct {
		ask  string
		env  map[string]float64
		want string
	}{
		{"fuel", map[string]float64{"fuel_margin": -2.4, "fuel_state": 2, "fuel_save": 0.15},
			"Save point one five. Two point four laps short."},
		{"fuel", map[string]float64{"fuel_margin": -2.4}, "Not sure yet. About two point four laps short."},
		{"fuel", map[string]float64{"fuel_margin": -0.2, "fuel_state": 1}, "Fuel marginal, minus point two."},
		{"fuel", map[string]float64{"fuel_margin": 1.2, "fuel_state": 0}, "Fuel good, one point two laps over."},
		{"fuel", map[string]float64{"fuel_margin": 1.2}, "Not sure yet. About one point two laps over."},
		{"fuel", map[string]float64{"fuel_laps_left": 9.25, "fuel_left": 30}, "Fuel for nine point three laps."},
		{"fuel", map[string]float64{"fuel_left": 30}, "Fuel thirty."},
		{"fuel", nil, "Fuel unknown."},
		{"lap", map[string]float64{"completed_lap_time": 102.3, "best_lap_time": 101.9}, "Last forty-two three. Best forty-one nine."},
		{"lap", nil, "No lap yet."},
		{"gap", map[string]float64{"gap_behind": 1.1}, "Behind one point one."},
		{"tyres", map[string]float64{"tyres_ready": 0, "tyre_core_fl": 60, "tyre_core_fr": 62, "tyre_core_rl": 50, "tyre_core_rr": 52},
			"Tyres not ready, front sixty-one, rear fifty-one."},
		{"brakes", map[string]float64{"brake_peak_front": 412, "brake_peak_rear": 300}, "Brakes, front four ten, rear three hundred."},
		{"weather", nil, ""},
	}
	for _, tt := range tests {
		got, _, ok := set.Answer(tt.ask, car().row(t, tt.env))
		require.Equal(t, tt.want, got)
		require.Equal(t, tt.want != "", ok)
	}
}

func TestPhrases(t *testing.T) {
	voc := car()
	set := compile(t, voc, `
rules:
  - {name: a, each: axle, when: brake_peak < brake_cold, say: "{axle} brakes cold, {brake_peak}.", say_clear: "{axle} brakes ready.", merge: "{instances} cold."}
  - {name: b, when: gear > 1, say: "Flag {flag} shown. A B S {abs_level as off}."}
answers:
  - {ask: fuel, say: "Fuel unknown."}`)
	require.Equal(t, []string{
		"A B S", "Flag", "Fuel unknown", "black", "blue", "chequered", "cold", "front", "front brakes cold", "front brakes ready",
		"full course caution", "green", "none", "off", "rear", "rear brakes cold", "rear brakes ready", "red", "shown", "white", "yellow",
	}, set.Phrases())
}

func TestStatesAreWrittenOut(t *testing.T) {
	require.Equal(t, []string{"unknown", "normal", "active", "unknown"},
		[]string{rules.Unknown.String(), rules.Normal.String(), rules.Active.String(), rules.State(9).String()})
}

// A Set may be used by several Memories at once, and what it hands out cannot change it.
func TestSetDoesNotChange(t *testing.T) {
	set, err := rules.Compile(shipped(t), car())
	require.NoError(t, err)
	before := set.Rules()
	for i := range set.Rules() {
		set.Rules()[i].Instances = nil
	}
	set.Phrases()[0] = "changed"
	require.Equal(t, before, set.Rules())
	require.NotContains(t, set.Phrases(), "changed")
	require.True(t, slices.IsSorted(set.Phrases()))
	require.NotEmpty(t, before)
}

// foreign is a vocabulary that speaks another language.
type foreign struct{ *words }

func (foreign) Language() *spoken.Language {
	l := *spoken.English
	l.Places = map[string]string{"fl": "vorn links", "fr": "vorn rechts", "rl": "hinten links", "rr": "hinten rechts"}
	l.Together = map[string]string{"fl+fr": "vorn"}
	l.And = " und "
	l.Brief = func(x float64, _ int) string { return strconv.Itoa(int(x)) }
	return &l
}

func TestAnotherLanguage(t *testing.T) {
	voc := foreign{car()}
	set, err := rules.Compile([]rules.Source{{Name: "a.yaml", Data: []byte(
		`rules: [{name: hot, each: wheel, when: tyre_core > tyre_high, say: "{wheel} heiß, {tyre_core}.", merge: "{instances} heiß."}]`)}},
		voc)
	require.NoError(t, err)
	env := voc.row(t, map[string]float64{"tyre_core_fl": 112, "tyre_core_fr": 90, "tyre_core_rl": 90, "tyre_core_rr": 90})
	transitions := set.NewMemory().Step(0, env, 0, nil)
	require.Equal(t, "Vorn links heiß, 112.", transitions[0].Text)
	for members, want := range map[uint64]string{0b0011: "Vorn heiß.", 0b1001: "Vorn links und hinten rechts heiß."} {
		text, _, ok := set.Merged(set.Rule("hot"), members, env)
		require.True(t, ok)
		require.Equal(t, want, text)
	}
	require.Contains(t, set.Phrases(), "vorn links und hinten rechts")
}
