package expression

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"earshot/configs/document"
)

type tokenKind uint8

const (
	tEnd tokenKind = iota
	tNumber
	tString
	tName // also and, or, not
	tGlob // tyre_core_*
	tOp
)

// A token is a piece of an expression. pos is a byte offset into it.
type token struct {
	kind tokenKind
	pos  int
	text string // the operator, the name, the glob without its star, the string's content, the spelling of the number
	num  float64
	unit string // spelling of the unit, "" for a bare number
	u    Unit
}

// A Mistake is what is wrong with an expression, at which byte, and a hint.
type Mistake struct {
	Pos       int
	Msg, Hint string
}

func (m *Mistake) Error() string { return m.Msg }

func NewMistake(pos int, hint, format string, args ...any) *Mistake {
	return &Mistake{pos, fmt.Sprintf(format, args...), hint}
}

var keywords = map[string]bool{"and": true, "or": true, "not": true}

// foreign maps operators of other languages to ours.
var foreign = map[string]string{"&&": "and", "||": "or", "!": "not", "=": "==", "<>": "!=", "=<": "<=", "=>": ">=",
	"&": "and", "|": "or"}

// lex cuts src into tokens, the last of which is tEnd.
func lex(src string, voc Vocabulary) ([]token, *Mistake) {
	var out []token
	for i := 0; ; {
		for i < len(src) && strings.IndexByte(" \t\r\n", src[i]) >= 0 {
			i++
		}
		if i >= len(src) {
			return append(out, token{kind: tEnd, pos: len(src)}), nil
		}
		r, size := utf8.DecodeRuneInString(src[i:])
		start := i
		switch {
		case isDigit(src, i) || r == '.' && isDigit(src, i+1):
			t, m := lexNumber(src, start, voc)
			if m != nil {
				return nil, m
			}
			out = append(out, t.token)
			i = t.end
		case r == '_' || unicode.IsLetter(r):
			for i < len(src) && isWord(src[i]) {
				i++
			}
			if i == start {
				return nil, NewMistake(start, "names are written in a to z, 0 to 9 and _", "%q is no letter of a name",
					r)
			}
			t := token{kind: tName, pos: start, text: src[start:i]}
			if strings.HasSuffix(t.text, "_") && i < len(src) && src[i] == '*' {
				t.kind = tGlob
				i++
			}
			out = append(out, t)
		case r == '"' || r == '\'':
			end := strings.IndexByte(src[start+1:], src[start])
			if end < 0 {
				return nil, NewMistake(start, "end it with another "+string(r),
					"the text that begins here does not end")
			}
			out = append(out, token{kind: tString, pos: start, text: src[start+1 : start+1+end]})
			i = start + end + 2
		default:
			op := operator(src[i:])
			if ours, ok := foreign[op]; ok {
				return nil, NewMistake(start, "write "+ours, "%q is not used here", op)
			}
			if op == "" {
				return nil, NewMistake(start, "", "%q has no meaning here", src[i:i+size])
			}
			out = append(out, token{kind: tOp, pos: start, text: op})
			i += len(op)
		}
	}
}

// operator returns the longest operator at the start of s, ours or a foreign one.
func operator(s string) string {
	for _, op := range []string{"==", "!=", "<=", ">=", "&&", "||", "<>", "=<", "=>", "<", ">", "+", "-", "*", "/", "%",
		"(", ")", ",", "!", "=", "&", "|"} {
		if strings.HasPrefix(s, op) {
			return op
		}
	}
	return ""
}

func isDigit(s string, i int) bool { return i >= 0 && i < len(s) && s[i] >= '0' && s[i] <= '9' }

// isWord tells whether c may stand in a name.
func isWord(c byte) bool {
	return c == '_' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
}

type numberToken struct {
	token
	end int
}

// lexNumber reads a number and the unit directly after it or after spaces.
func lexNumber(src string, start int, voc Vocabulary) (numberToken, *Mistake) {
	i := start
	for isDigit(src, i) {
		i++
	}
	if i < len(src) && src[i] == '.' {
		for i++; isDigit(src, i); i++ {
		}
	}
	if i < len(src) && (src[i] == 'e' || src[i] == 'E') {
		j := i + 1
		if j < len(src) && (src[j] == '+' || src[j] == '-') {
			j++
		}
		if isDigit(src, j) {
			for i = j; isDigit(src, i); i++ {
			}
		}
	}
	t := numberToken{token{kind: tNumber, pos: start, text: src[start:i]}, i}
	x, err := strconv.ParseFloat(t.text, 64)
	if err != nil || math.IsInf(x, 0) {
		return t, NewMistake(start, "", "%s is not a number that can be held", t.text)
	}
	t.num = x
	j := i
	for j < len(src) && (src[j] == ' ' || src[j] == '\t') {
		j++
	}
	if j < len(src) && src[j] == '%' {
		if !operandFollows(src, j+1) {
			if u, ok := voc.Unit("%"); ok {
				t.unit, t.u, t.end = "%", u, j+1
			}
		}
		return t, nil
	}
	// The longest run of characters of a unit that is the spelling of one.
	end := j
	for end < len(src) {
		r, size := utf8.DecodeRuneInString(src[end:])
		if !unicode.IsLetter(r) && !strings.ContainsRune("_/°²³^0123456789", r) {
			break
		}
		end += size
	}
	for k := end; k > j; {
		call := k < len(src) && src[k] == '(' // 3 m/min(a, b): a function begins there
		if !call && (k == end || !isWord(src[k]) || !isWord(src[k-1])) {
			if u, ok := UnitNamed(voc, src[j:k]); ok {
				t.unit, t.u, t.end = src[j:k], u, k
				return t, nil
			}
		}
		_, size := utf8.DecodeLastRuneInString(src[j:k])
		k -= size
	}
	word := src[j:end]
	if cut := strings.IndexByte(word, '/'); cut > 0 {
		word = word[:cut]
	}
	if r, _ := utf8.DecodeRuneInString(word); word != "" && (unicode.IsLetter(r) || r == '°') && !keywords[word] {
		return t, NewMistake(j, unitHint(word, voc), "unknown unit %q after %s", word, t.text)
	}
	return t, nil
}

// operandFollows is true where an operand begins at i: then % is the remainder and not per cent.
func operandFollows(src string, i int) bool {
	for i < len(src) && (src[i] == ' ' || src[i] == '\t') {
		i++
	}
	if i >= len(src) {
		return false
	}
	if src[i] == '(' || isDigit(src, i) || src[i] == '.' {
		return true
	}
	j := i
	for j < len(src) && isWord(src[j]) {
		j++
	}
	return j > i && !keywords[src[i:j]]
}

// unitHint suggests a unit for an unknown spelling, among those of the quantities that names have.
func unitHint(word string, voc Vocabulary) string {
	seen := map[string]bool{}
	var all, firsts []string
	for _, n := range voc.Names() {
		name, ok := voc.Name(n)
		if us := voc.UnitsOf(name.Quantity); ok && !seen[name.Quantity] && len(us) > 0 {
			seen[name.Quantity] = true
			all = append(all, us...)
			if name.Quantity != QNumber && name.Quantity != QRatio {
				firsts = append(firsts, us[0])
			}
		}
	}
	if len(firsts) == 0 {
		return document.Meant(word, all, "")
	}
	return document.Meant(word, all, "there are "+strings.Join(firsts, ", ")+" and others of the same quantities")
}
