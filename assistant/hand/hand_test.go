package hand

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseLine(t *testing.T) {
	tests := []struct {
		line string
		want Line
	}{
		{"ready\n", Line{Kind: Ready}},
		{"press F5\n", Line{Kind: Pressed, Key: "F5"}},
		{"release F5", Line{Kind: Released, Key: "F5"}},
		{"  press \t f5 \r\n", Line{Kind: Pressed, Key: "F5"}},
		{"press KP0", Line{Kind: Pressed, Key: "kp0"}},
		{"press button12", Line{Kind: Pressed, Key: "button12"}},
		{"command Fuel", Line{Kind: Spoken, Command: Fuel}},
		{"error no display\x00 there", Line{Kind: Trouble, Text: "no display  there"}},
		{"error", Line{Kind: Trouble}},
	}
	for _, tt := range tests {
		t.Run(tt.line, func(t *testing.T) {
			got, err := ParseLine(tt.line)
			require.NoError(t, err)
			require.Equal(t, tt.want, got)
		})
	}
}

func TestParseLineRefuses(t *testing.T) {
	tests := []struct {
		line, want string
		offset     int
	}{
		{"", "begins with none of", 0},
		{"pressed F5", "begins with none of", 0},
		{"press", "unknown key \"\"", 5},
		{"press F55", `unknown key "F55": did you mean F5?`, 6},
		{"press F5 F6", `unknown key "F5 F6"`, 6},
		{"press  spce", `did you mean space?`, 7},
		{"press button0", "button1 to button128", 6},
		{"ready now", "nothing may follow ready", 6},
		{"command f&el", "a command is one word", 8},
		{"error " + strings.Repeat("x", MaxLine), "longer than 512 bytes", MaxLine},
	}
	for _, tt := range tests {
		t.Run(tt.line[:min(20, len(tt.line))], func(t *testing.T) {
			_, err := ParseLine(tt.line)
			require.ErrorIs(t, err, ErrLine)
			require.ErrorContains(t, err, tt.want)
			require.Equal(t, tt.offset, err.(*LineError).Offset)
			require.Less(t, len(err.Error()), 300)
		})
	}
}

func FuzzParseLine(f *testing.F) {
	for _, s := range []string{"ready", "press F5", "release kp_add", "command mark", "error x y", " press\tf5 \r\n", "press button128", "é"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l, err := ParseLine(s)
		if err != nil {
			le, ok := err.(*LineError)
			if !ok || le.Offset > len(s) || le.Error() == "" {
				t.Fatalf("refused with %#v", err)
			}
			return
		}
		again, err := ParseLine(string(l.Append(nil)))
		if err != nil || again != l {
			t.Fatalf("%q is %+v, sent again it is %+v, %v", s, l, again, err)
		}
	})
}

func TestEveryKeyReadsBack(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range append(Keys(), "button1", "button128") {
		require.False(t, seen[strings.ToLower(k)], "two keys of the name %s", k)
		seen[strings.ToLower(k)] = true
		for _, spelt := range []string{k, strings.ToLower(k), strings.ToUpper(k)} {
			got, err := ParseKey(spelt)
			require.NoError(t, err)
			require.Equal(t, k, got)
		}
	}
	for _, bad := range []string{"", "F0", "F13", "button", "button129", "button01", "button-1", "ctrl+c", "ä"} {
		_, err := ParseKey(bad)
		require.ErrorIs(t, err, ErrBinding, bad)
	}
}

// asks are what the rules of these tests answer.
var asks = []string{"fuel", "tyres", "mark", "brakes", "weather"}

func TestCommands(t *testing.T) {
	list := Commands(asks)
	require.Equal(t, []Command{"mark", "repeat", "mute", "stint", "clear", "fuel", "tyres", "brakes", "weather"}, list, "mark is not a question")
	for _, c := range list {
		got, err := ParseCommand(strings.ToUpper(string(c)), list)
		require.NoError(t, err)
		require.Equal(t, c, got)
		require.NotEmpty(t, c.About())
	}
	_, err := ParseCommand("party", list)
	require.ErrorContains(t, err, "mark, repeat, mute, stint, clear, fuel, tyres, brakes, weather")
	_, err = ParseCommand("tires", list)
	require.ErrorContains(t, err, `did you mean tyres?`)
}

func TestBindReportsEveryMistake(t *testing.T) {
	_, err := Bind([]Binding{{"F5", "mark"}, {"spcae", "feul"}, {"f5", "fuel"}, {"F6", "brake"}, {"button3", "weather"}}, asks)
	require.ErrorIs(t, err, ErrBinding)
	require.Equal(t, strings.Join([]string{
		`key "spcae", command "feul": unknown key "spcae": did you mean space?`,
		`key "spcae", command "feul": unknown command "feul": did you mean fuel?`,
		`key "f5", command "fuel": the key is bound to "mark" already: give each key one command`,
		`key "F6", command "brake": unknown command "brake": did you mean brakes?`,
		`key "button3", command "weather": no program sends the buttons of a wheel yet: use a key of the keyboard; many wheels can be set to send one`,
	}, "\n"), err.Error())
}

func TestBindings(t *testing.T) {
	b, err := Bind([]Binding{{"f5", "mark"}, {"F3", "mark"}, {"KP0", "Fuel"}, {"F4", "weather"}}, asks)
	require.NoError(t, err)
	require.Equal(t, []string{"F5", "F3", "kp0", "F4"}, b.Keys())
	require.Equal(t, Fuel, b.byKey["kp0"])

	press := func(key string, down bool) string {
		c, ok := b.Press(Press{key, down})
		require.Equal(t, ok, c != "")
		return string(c)
	}
	require.Equal(t, "mark", press("F5", true))
	require.Equal(t, "", press("F5", true), "a held key repeats itself, its command does not")
	require.Equal(t, "mark", press("F3", true), "another key of the same command is a press of its own")
	require.Equal(t, "", press("F5", false))
	require.Equal(t, "mark", press("F5", true))
	require.Equal(t, "", press("F6", true), "not bound")
	b.LetGo()
	require.Equal(t, "mark", press("F5", true), "after its source has died")

	none, err := Bind(nil, nil)
	require.NoError(t, err)
	require.Empty(t, none.Keys())
}

// TestPressesCount: whatever a source sends, a command comes as often as its key went from up to down.
func TestPressesCount(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, err := Bind([]Binding{{"F5", "mark"}, {"F6", "fuel"}}, asks)
		require.NoError(t, err)
		down, want, got := map[string]bool{}, 0, 0
		for range rapid.IntRange(0, 60).Draw(t, "n") {
			p := Press{rapid.SampledFrom([]string{"F5", "F6", "F7"}).Draw(t, "key"), rapid.Bool().Draw(t, "down")}
			if p.Down && !down[p.Key] && p.Key != "F7" {
				want++
			}
			down[p.Key] = p.Down
			if _, ok := b.Press(p); ok {
				got++
			}
		}
		require.Equal(t, want, got)
	})
}

func TestPressAllocatesNothing(t *testing.T) {
	b, err := Bind([]Binding{{"F5", "mark"}}, nil)
	require.NoError(t, err)
	b.Press(Press{"F5", true})
	require.Zero(t, testing.AllocsPerRun(100, func() {
		b.Press(Press{"F5", false})
		b.Press(Press{"F5", true})
	}))
}

func ExampleBindings() {
	b, err := Bind([]Binding{{"F5", "mark"}, {"F7", "fuel"}}, []string{"fuel"})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, text := range []string{"press F5", "press F5", "release F5", "press F7"} {
		line, err := ParseLine(text)
		if err != nil {
			fmt.Println(err)
			continue
		}
		if p, ok := line.Press(); ok {
			if c, ok := b.Press(p); ok {
				fmt.Println(c)
			}
		}
	}
	// Output:
	// mark
	// fuel
}
