package ledger

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The numbers and the parts of the car are read back out of the words, as the driver does.

var small = map[string]float64{
	"zero": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10, "eleven": 11,
	"twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}

var tens = map[string]float64{
	"twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90,
}

// numbers returns what the number words of a text may mean: a number of one part ("twenty-seven point four"), of several that stand side by side
// ("one forty-two point three" is 102.3 s, "six sixty" 660), and parts of it ("two tenths").
func numbers(text string) [][]float64 {
	text = strings.NewReplacer("-", " ", ",", " | ", ".", " | ", "half a lap", "| point five |", "a lap and a half", "| one point five |", "a tenth and a half", "| point one five |", "a tenth", "| point one |").Replace(strings.ToLower(text))
	words := strings.Fields(text)
	var all [][]float64
	for i := 0; i < len(words); {
		n := 0
		for i+n < len(words) && isNumber(words[i+n]) {
			n++
		}
		if n == 0 {
			i++
			continue
		}
		next := ""
		if i+n < len(words) {
			next = words[i+n]
		}
		means := meanings(words[i : i+n])
		for k := range means {
			switch next {
			case "tenths", "tenth":
				means[k] /= 10
			case "hundredths":
				means[k] /= 100
			}
		}
		all = append(all, means)
		i += n
	}
	return all
}

func isNumber(w string) bool {
	_, a := small[w]
	_, b := tens[w]
	return a || b || w == "hundred" || w == "thousand" || w == "point" || w == "and" || w == "oh" || w == "minus" || w == "plus"
}

func meanings(words []string) []float64 {
	words = slices.DeleteFunc(slices.Clone(words), func(w string) bool { return w == "and" || w == "plus" })
	sign := 1.0
	if len(words) > 0 && words[0] == "minus" {
		sign, words = -1, words[1:]
	}
	fraction, scale := 0.0, 0.1
	if i := slices.Index(words, "point"); i >= 0 {
		for _, w := range words[i+1:] {
			if w == "oh" {
				w = "zero"
			}
			fraction += small[w] * scale
			scale /= 10
		}
		words = words[:i]
	}
	var groups []float64 // numbers below a hundred that stand side by side
	hundreds := 0.0
	joined := false
	for i := 0; i < len(words); i++ {
		switch w := words[i]; {
		case w == "hundred" && len(groups) > 0:
			hundreds += 100 * groups[len(groups)-1]
			groups, joined = groups[:len(groups)-1], true
		case w == "thousand":
			hundreds = 1000 * (hundreds + sum(groups))
			groups, joined = nil, true
		case w == "oh":
			groups = append(groups, 0)
		case tens[w] > 0:
			x := tens[w]
			if i+1 < len(words) && small[words[i+1]] > 0 && small[words[i+1]] < 10 {
				i++
				x += small[words[i]]
			}
			groups = append(groups, x)
		default:
			groups = append(groups, small[w])
		}
	}
	base := hundreds + sum(groups)
	out := []float64{sign * (base + fraction)}
	if len(groups) > 1 && !joined {
		a, b := groups[0], groups[1]
		out = append(out, sign*(100*a+b+fraction), sign*(60*a+b+fraction)) // "six sixty", "one forty-two"
		last := groups[len(groups)-1]
		if last < 10 {
			if len(groups) == 2 {
				out = append(out, a+last/10) // "twenty-one four"
			}
			if len(groups) == 3 {
				out = append(out, 60*a+b+last/10) // "one forty-two three"
			}
		}
		if len(groups) == 3 {
			out = append(out, 60*a+10*b+last+fraction) // "one oh two"
		}
		if len(groups) == 4 {
			out = append(out, 60*a+10*b+groups[2]+last/10)
		}
	}
	return out
}

func sum(x []float64) (s float64) {
	for _, v := range x {
		s += v
	}
	return s
}

// near tells whether one of the numbers in a text can be x.
func near(text string, x, tolerance float64) bool {
	for _, means := range numbers(text) {
		if slices.ContainsFunc(means, func(m float64) bool { return math.Abs(m-x) <= tolerance }) {
			return true
		}
	}
	return false
}

func TestNumbersAreReadBack(t *testing.T) {
	for text, want := range map[string]float64{
		"Front right high, point three.": 0.3, "Front right brake, six sixty.": 660, "Twenty-one four. Eight tenths quicker.": 21.4,
		"One forty-two point three.": 102.3, "Save point one three. Half a lap short.": 0.13, "One oh two three.": 62.3,
		"Front left hot, one hundred and twelve.": 112, "Eight tenths slower.": 0.8, "Fuel good, a lap and a half over.": 1.5,
		"Twenty-seven point four.": 27.4, "minus three": -3, "Front right tyre nine hotter.": 9, "Ahead, a tenth.": 0.1,
	} {
		require.True(t, near(text, want, 1e-6), "%s: %v", text, numbers(text))
	}
	require.True(t, near("Save point one three. Half a lap short.", 0.5, 1e-6))
	require.False(t, near("Front right tyre nine hotter.", 8, 0.5))
}

var wheelNames = []struct {
	words  string
	wheels []int
}{
	{"front left", []int{0}}, {"front right", []int{1}}, {"rear left", []int{2}}, {"rear right", []int{3}},
	{"left side", []int{0, 2}}, {"right side", []int{1, 3}}, {"left front", []int{0}}, {"right front", []int{1}}, {"left rear", []int{2}}, {"right rear", []int{3}},
	{"all four", []int{0, 1, 2, 3}}, {"all ", []int{0, 1, 2, 3}}, {"front", []int{0, 1}}, {"rear", []int{2, 3}}, {"left", []int{0, 2}}, {"right", []int{1, 3}},
}

// wheelsIn returns the wheels that a text names; all of them where it names none.
func wheelsIn(text string) []int {
	text = strings.ToLower(text)
	var list []int
	for _, n := range wheelNames {
		if !strings.Contains(text, n.words) {
			continue
		}
		text = strings.ReplaceAll(text, n.words, "")
		for _, w := range n.wheels {
			if !slices.Contains(list, w) {
				list = append(list, w)
			}
		}
	}
	if list == nil {
		return []int{0, 1, 2, 3}
	}
	slices.Sort(list)
	return list
}
