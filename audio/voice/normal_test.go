package voice

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNormal(t *testing.T) {
	for in, want := range map[string]string{
		"Front left hot, 112.":         "front left hot , one hundred and twelve",
		"Tyres ready. Push.":           "tyres ready . push",
		"Twenty-seven point four":      "twenty seven point four",
		"ABS off; TC 3!":               "A B S off , T C three",
		"A tenth and a half.":          "a tenth and a half",
		"A B S off":                    "A B S off",
		"B A":                          "B A",
		"turn A B":                     "turn A B",
		"  ...  ":                      "",
		"one..., two":                  "one . two",
		"Fuel, 2.4 laps short (Save).": "fuel , two point four laps short , save",
		"don't ‘wait’":                 "don't wait",
		"Über kerb":                    "über kerb",
	} {
		require.Equal(t, want, Normal(in), "%q", in)
	}
	require.Equal(t, []string{"tyres ready", "push", "a tenth"}, Fragments("Tyres ready. Push, a tenth."))
	require.Empty(t, Fragments(" . "))
}

func FuzzNormal(f *testing.F) {
	for _, s := range []string{"Front left hot, 112.", "A B", "A A A", "a\xff1", "I", "…,.", "'", "x'A"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		n := Normal(s)
		for _, w := range Fragments(s) {
			if w == "" {
				t.Fatalf("%q has an empty part", s)
			}
		}
		_ = speakable(n)
		if len(n) > 0 && (n[0] == ' ' || n[len(n)-1] == ' ') {
			t.Fatalf("%q has a space at its end", n)
		}
	})
}
