package voice

import (
	"strings"
	"unicode"

	"earshot/audio/spoken"
)

// The marks of a pause in a normal text.
const (
	shortPause = ","
	longPause  = "."
)

// Normal writes a text in the form in which units are looked up: numbers as
// words, lower case, single spaces, a comma or a full stop standing alone where
// the voice pauses, and letters that are spelled in upper case. A lone A is the
// letter where a spelled letter stands beside it, otherwise the article.
func Normal(text string) string {
	var out []string
	letter := map[int]bool{}
	pause := func(mark string) {
		switch n := len(out); {
		case n == 0:
		case out[n-1] == shortPause || out[n-1] == longPause:
			if mark == longPause {
				out[n-1] = mark
			}
		default:
			out = append(out, mark)
		}
	}
	var word []rune
	flush := func() {
		w := strings.Trim(string(word), "'")
		word = word[:0]
		if w == "" {
			return
		}
		if len(w) == 1 && w != "a" {
			letter[len(out)] = true
			w = strings.ToUpper(w)
		} else {
			w = strings.ToLower(w)
		}
		out = append(out, w)
	}
	for _, r := range spoken.Text(text) {
		switch {
		case unicode.IsLetter(r) || unicode.IsMark(r) || unicode.IsNumber(r):
			word = append(word, r)
		case r == '\'' || r == '’':
			word = append(word, '\'')
		default:
			flush()
			switch r {
			case ',', ';', ':', '–', '—', '(', ')':
				pause(shortPause)
			case '.', '!', '?', '…', '\n':
				pause(longPause)
			}
		}
	}
	flush()
	for len(out) > 0 && (out[len(out)-1] == shortPause || out[len(out)-1] == longPause) {
		out = out[:len(out)-1]
	}
	for i, w := range out {
		// "A" was kept as the letter for now; decide by its neighbours.
		if w == "A" && !(letter[i-1] && i > 0 && out[i-1] != "A") && !(i+1 < len(out) && letter[i+1] && out[i+1] != "A") {
			out[i] = "a"
		}
	}
	return strings.Join(out, " ")
}

// Fragments splits a text at its pauses and gives the normal form of each part.
func Fragments(text string) []string {
	var out []string
	for _, part := range strings.Split(" "+Normal(text)+" ", " "+longPause+" ") {
		for _, f := range strings.Split(" "+part+" ", " "+shortPause+" ") {
			if f = strings.TrimSpace(f); f != "" {
				out = append(out, f)
			}
		}
	}
	return out
}
