package story_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/rules"
	"earshot/rules/story"
)

const oil = `
rules:
  - {name: oil-hot, when: oil_temperature > oil_hot, deadband: 3 K, on_delay: 2 s, say: "Oil {oil_temperature in °C as whole}.", say_clear: Oil normal.}
  - {name: line, when: lap_completed, say: Line.}
  - {name: rising, when: rate(oil_temperature) > 1 K/s, say: Rising.}
  - {name: yellow, when: flag == "yellow", suppress_in: [pits], say: Yellow.}
`

func bench() story.Bench {
	voc := func(k *car.Car) rules.Vocabulary { return assistant.NewVocabulary(channel.NewSet(), nil, k, nil, nil) }
	none, _ := car.Parse("none.yaml", []byte("name: none"))
	return story.Bench{
		Words: voc(none),
		Rules: []rules.Source{{Name: "shipped.yaml", Data: []byte("rules: [{name: other, when: gear > 1, say: Gear.}]")}},
		Open: func(name string) ([]byte, error) {
			if name != "oil.yaml" {
				return nil, errors.New(name + " is not there")
			}
			return []byte(oil), nil
		},
		Car: func(name string) (rules.Vocabulary, error) {
			k, err := car.Parse(name, []byte("limits: {oil_hot: 120 °C}"))
			return voc(k), err
		},
	}
}

func TestRun(t *testing.T) {
	const top = "rules: oil.yaml\nlimits: {oil_hot: 120 °C}\ntests:\n- name: a\n"
	const heat = "  samples: [{t: 0 s, oil_temperature: 110 °C}, {t: 1 s, oil_temperature: 125 °C}, {t: 9 s, oil_temperature: 116 °C}]\n"
	tests := []struct {
		name, text string
		want       []string // nil: all is as expected
	}{
		{"as expected", top + heat + "  calls: [{rule: oil-hot, at: 3 s, text: Oil one hundred and twenty-five.}, {rule: oil-hot, " +
			"between: [8 s, 10 s], text: Oil normal.}]\n  silent: line\n", nil},
		{"the limit of a car", "car: my.yaml\nrules: oil.yaml\ntests:\n- name: a\n" + heat +
			"  calls: [{rule: oil-hot}, {rule: oil-hot}]\n", nil},
		{"the limit of one test", top + "  limits: {oil_hot: 130 °C}\n" + heat + "  silent: oil-hot\n", nil},
		{"the rules in force", "tests: [{name: a, samples: [{t: 0 s, gear: 3}], calls: [{rule: other}]}]", nil},
		{"an event is over at the next step", top + "  samples: [{t: 0 s, lap_completed: false}, {t: 1 s, lap_completed: true}, {t: 5 " +
			"s, lap_completed: true}]\n  calls: [{rule: line, at: 1 s}, {rule: line, at: 5 s}]\n", nil},
		{"what has a unit runs straight", top + "  ramp: true\n  samples: [{t: 0 s, oil_temperature: 80 °C}, {t: 20 s, oil_temperature: " +
			"110 °C}]\n  calls: [{rule: rising, between: [1 s, 2 s]}]\n", nil},
		{"without ramp it jumps", top + "  samples: [{t: 0 s, oil_temperature: 80 °C}, {t: 20 s, oil_temperature: 110 °C}]\n  calls: " +
			"[{rule: rising, at: 20 s}]\n", nil},
		{"labels, unknown and situations", top + "  samples: [{t: 0 s, flag: yellow, situation: pits}, {t: 1 s, flag: unknown, " +
			"situation: []}, {t: 2 s, flag: yellow}]\n  calls: [{rule: yellow, at: 2 s}]\n", nil},
		{"after the last sample", top + "  after: 5 s\n  every: 0.5 s\n  samples: [{t: 0 s, oil_temperature: 125 °C}]\n  calls: [{rule: " +
			"oil-hot, at: 2 s}]\n", nil},

		{"it was silent", top + "  samples: [{t: 0 s, oil_temperature: 110 °C}]\n  calls: [{rule: oil-hot, at: 3 s}]\n",
			[]string{`6:11: test "a": oil-hot did not say it | it said nothing`}},
		{"it is off", top + "  samples: [{t: 0 s, gear: 3}]\n  calls: [{rule: oil-hot}]\n",
			[]string{`6:11: test "a": oil-hot did not say it | it is off: oil_temperature: no sample of the test has it`}},
		{"other words", top + heat + "  calls: [{rule: oil-hot, text: Oil hot.}, {rule: oil-hot}]\n",
			[]string{`6:33: test "a": it said other words: oil-hot at 3 s: "Oil one hundred and twenty-five."`}},
		{"another time", top + heat + "  calls: [{rule: oil-hot, at: 5 s}, {rule: oil-hot, at: 9 s}]\n",
			[]string{`6:10: test "a": not expected: oil-hot at 3 s`,
				`6:11: test "a": oil-hot did not say it | it said oil-hot at 3 s: "Oil one hundred and twenty-five."; oil-hot at 9 s`}},
		{"once more", top + heat + "  calls: [{rule: oil-hot, at: 3 s}]\n",
			[]string{`6:10: test "a": not expected: oil-hot at 9 s: "Oil normal."`}},
		{"not silent", top + heat + "  silent: [{rule: oil-hot, between: [0 s, 4 s]}, others]\n",
			[]string{`6:12: test "a": it should be silent, and it said: oil-hot at 3 s`, "6:50: ", "6:50: ", "6:50: "}},
		{"mistakes in the samples", top + "  samples: [{t: 1, gear: 3 l, sped: 3}, {oil_hot: 3 °C, flag: yelow}]\n  silent: line\n",
			[]string{
				`5:17: test "a": t is "1": the unit is missing | write it with one of s`,
				`5:26: test "a": gear is "3 l": this is a volume, and a number should stand here`,
				`5:31: test "a": there is no channel "sped" | did you mean speed?`, "5:41: test \"a\": the sample has no time",
				`5:42: test "a": oil_hot is a limit of the car | write it under limits:`,
				`5:63: test "a": flag cannot be "yelow" | did you mean yellow?`}},
		{"mistakes in what is expected", top + heat + "  calls: [{rule: oil-hto}, {on: fl}]\n  silent: [lien, {rule: line, at: 1 s, " +
			"between: [3 s]}]\n", []string{
			`6:18: test "a": there is no rule "oil-hto" | did you mean oil-hot?`, `6:28: test "a": which rule is meant is missing`,
			`7:12: test "a": there is no rule "lien" | did you mean line?`,
			`7:40: test "a": at and between exclude each other`}},
		{"a sample that is not later", top + "  samples: [{t: 1 s, gear: 1}, {t: 1 s}]\n  silent: line\n",
			[]string{`5:32: test "a": a sample is later than the one before it`}},
		{"nothing is expected", top + heat, []string{`4:3: test "a": the test expects nothing`}},
		{"no tests", "limits: {}\n", []string{"1:1: there are no tests"}},
		{"rules with a mistake", "tests: [{name: a, limits: {oil_hot: 3 l}, samples: [{t: 0 s, gear: 1}], calls: []}]",
			[]string{`1:37: test "a": oil_hot is "3 l": this is a volume, and a temperature should stand here`}},
		{"no such files", "rules: [a.yaml]\ntests: []\n", []string{"1:9: a.yaml is not there | the path is taken from the folder"}},
		{"too many steps", top + "  every: 1 ns\n" + heat + "  silent: line\n",
			[]string{`5:10: test "a": every is more than 0 s, and a test has at most 1000000 steps`}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			results, err := story.Run("a_test.yaml", []byte(tt.text), bench())
			if tt.want == nil {
				require.NoError(t, err)
				require.Len(t, results, 1)
				require.True(t, results[0].Good)
				return
			}
			require.Error(t, err)
			for _, w := range tt.want {
				msg, hint, _ := strings.Cut(w, " | ")
				require.ErrorContains(t, err, "a_test.yaml:"+msg)
				require.ErrorContains(t, err, hint)
			}
			require.Len(t, tt.want, strings.Count(err.Error(), "a_test.yaml:"), err.Error())
		})
	}
}
