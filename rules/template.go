package rules

import (
	"maps"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"earshot/audio/spoken"
	"earshot/configs/document"
	"earshot/rules/expression"
)

// A template is a text with values in it, cut into sentences. A sentence with an unknown value is left out.
type template struct {
	sentences []sentence
	dropped   []expression.Missing // why sentences were left out for good
}

type sentence struct{ parts []part }

// A part is static text, or a value, or the names of the instances.
type part struct {
	text  string
	names []string // by the bits of the instances; nil where the part is something else
	value expression.Num
	say   func(x float64) (string, bool) // false: x has no words here
	words []string                       // what say may say besides numbers
}

// rawPart is a part as written. pos is the byte offset of what stands within the braces.
type rawPart struct {
	text string
	pos  int
	expr bool
}

// longestText is how many bytes a template may have.
const longestText = 1000

// cutTemplate cuts a template into sentences of parts.
func cutTemplate(src string) ([][]rawPart, *expression.Mistake) {
	if strings.TrimSpace(src) == "" {
		return nil, expression.NewMistake(0, "", "the text is empty")
	}
	if len(src) > longestText {
		return nil, expression.NewMistake(0, "nobody listens that long at speed",
			"the text is longer than %d characters", longestText)
	}
	var out [][]rawPart
	var cur []rawPart
	static := 0 // where the static text began
	flush := func(end int) {
		if end > static {
			cur = append(cur, rawPart{text: src[static:end], pos: static})
		}
	}
	for i := 0; i < len(src); i++ {
		switch src[i] {
		case '{':
			flush(i)
			end := closing(src, i+1)
			if end < 0 {
				return nil, expression.NewMistake(i, "end it with }", "the value that begins here does not end")
			}
			cur = append(cur, rawPart{text: src[i+1 : end], pos: i + 1, expr: true})
			i, static = end, end+1
		case '}':
			return nil, expression.NewMistake(i, "begin a value with {", "} without a {")
		case '.', '!', '?':
			if i+1 == len(src) || unicode.IsSpace(rune(src[i+1])) {
				flush(i + 1)
				static = i + 1
				out, cur = append(out, cur), nil
			}
		}
	}
	flush(len(src))
	if slices.ContainsFunc(cur, func(p rawPart) bool { return p.expr || strings.TrimSpace(p.text) != "" }) {
		out = append(out, cur)
	}
	return out, nil
}

// closing finds the } that ends a value begun before i. A } within quotes is text.
func closing(src string, i int) int {
	quote := byte(0)
	for ; i < len(src); i++ {
		switch c := src[i]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '}':
			return i
		case c == '{':
			return -1
		}
	}
	return -1
}

// A speaker compiles texts for an instance.
type speaker struct{ *expression.Checker }

// A scope is where a template stands. It decides what the template may hold.
type scope struct {
	merge bool // {instances} and not {wheel}
}

// template compiles src for the checker's instance. It returns nil after a mistake, and a template without sentences
// where all of them need names that are missing.
func (c speaker) template(src string, sc scope) *template {
	raw, m := cutTemplate(src)
	if m != nil {
		c.Bad = append(c.Bad, m)
		return nil
	}
	c.Merging = sc.merge
	t := &template{}
	bad := len(c.Bad) + len(c.Unknown)
	for _, ps := range raw {
		before := c.Missing
		c.Missing = nil
		var s sentence
		for _, p := range ps {
			if p.expr {
				s.parts = append(s.parts, c.placeholder(p, sc))
			} else {
				s.parts = append(s.parts, part{text: p.text})
			}
		}
		if len(c.Missing) == 0 {
			t.sentences = append(t.sentences, s)
		} else {
			t.dropped = append(t.dropped, c.Missing...)
		}
		c.Missing = before
	}
	if len(c.Bad)+len(c.Unknown) > bad {
		return nil
	}
	return t
}

// placeholder compiles what stands in braces.
func (c speaker) placeholder(p rawPart, sc scope) part {
	body := strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' || r == '\r' {
			return ' '
		}
		return r
	}, p.text)
	word := strings.TrimSpace(body)
	places := languageOf(c.Voc).Places
	fixed := func(text, each string) part {
		if sc.merge {
			c.Fail(p.pos, "write {instances}", "{%s} has no meaning in the text for several", word)
		} else if text == "" {
			c.Fail(p.pos, "give the rule "+each, "{%s} has no meaning here", word)
		}
		return part{text: text}
	}
	switch word {
	case "wheel":
		return fixed(places[c.In.Wheel], "each: wheel")
	case "axle":
		return fixed(places[c.In.Axle], "each: axle or wheel")
	case "side":
		return fixed(places[c.In.Side], "each: side or wheel")
	case "instances":
		if !sc.merge {
			c.Fail(p.pos, "write {wheel}, {axle} or {side}", "{instances} belongs into merge")
		}
		return part{names: together(languageOf(c.Voc), c.Each)}
	case "":
		c.Fail(p.pos, "", "there is nothing between the braces")
		return part{}
	}
	rest, style, stylePos := cutTail(body, " as ")
	rest, unit, unitPos := cutTail(rest, " in ")
	n, m := expression.Parse(rest, c.Voc)
	if m != nil {
		m.Pos += p.pos
		c.Bad = append(c.Bad, m)
		return part{}
	}
	shift(n, p.pos)
	if n.Kind == expression.NodeCall && n.Text == "if" && n.Args[1].Kind == expression.NodeString {
		return c.wordsWhere(n)
	}
	v := c.Number(n)
	if v.Q == expression.NoQuantity {
		return part{}
	}
	out := part{value: v.Num, say: c.speech(&v, n, unit, p.pos+unitPos, style, p.pos+stylePos)}
	switch {
	case style == "off":
		out.words = []string{languageOf(c.Voc).Off}
	case style == "label" || style == "" && unit == "":
		out.words = spaced(v.Labels)
	}
	return out
}

// wordsWhere compiles {if(condition, 'words')}: the words while the condition is true; else the sentence is left out.
func (c speaker) wordsWhere(n *expression.Node) part {
	when, text := c.Condition(n.Args[0], expression.Place{}), n.Args[1].Text
	if when.Q == expression.NoQuantity {
		return part{}
	}
	return part{value: expression.Truth(when.Cond), words: []string{text},
		say: func(float64) (string, bool) { return text, true }}
}

// cutTail cuts "x in psi" at the last separator. It returns s whole where the
// separator is not there.
func cutTail(s, sep string) (head, tail string, pos int) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", 0
	}
	tail = s[i+len(sep):]
	pos = i + len(sep) + len(tail) - len(strings.TrimLeft(tail, " "))
	return s[:i], strings.TrimSpace(tail), pos
}

// shift moves the places of an expression that stands within a text.
func shift(n *expression.Node, by int) {
	n.Pos += by
	for _, a := range n.Args {
		shift(a, by)
	}
}

// styles lists how a value may be said, with the decimals where they are fixed.
var styles = map[string]int{
	"whole": 0, "tens": 0, "tenths": 1, "hundredths": 2, "lap_time": 1, "lap_brief": 1, "gap": 1, "compared": 1,
	"laps": 1, "whole_laps": 0, "off": 0, "signed": -1,
	"label": 0, "corner": 0,
}

var styleNames = slices.Sorted(maps.Keys(styles))

// styleQuantity is the quantity that a style is for, where it is for one only.
var styleQuantity = map[string]string{"lap_time": expression.QTime, "lap_brief": expression.QTime,
	"gap": expression.QTime, "compared": expression.QTime, "laps": expression.QLaps, "whole_laps": expression.QLaps}

// speech compiles how v is said. A unit or style of "" means as usual.
func (c speaker) speech(v *expression.Value, n *expression.Node, unit string, unitPos int, style string,
	stylePos int) func(float64) (string, bool) {
	decimals, known := styles[style]
	if style != "" && !known {
		c.Fail(stylePos, document.OneOf(style, styleNames), "unknown style %q", style)
		return nil
	}
	if style == "label" || style == "" && unit == "" && v.Labels != nil {
		if v.Labels == nil {
			c.Fail(n.Pos, "", "%s has no named values", v.Describe())
		}
		return labelled(v.Labels)
	}
	u, usual, ok := c.display(v, n, unit, unitPos)
	if !ok {
		return nil
	}
	if style == "" || style == "signed" {
		decimals = usual
	}
	c.Placed = c.Placed || style == "corner"
	if q := styleQuantity[style]; q != "" && v.Q != q {
		c.Fail(stylePos, "it is for values of "+q, "%s cannot be said as %s", v.Describe(), style)
		return nil
	}
	l := languageOf(c.Voc)
	return func(x float64) (string, bool) { return speak(l, (x-u.Offset)/u.Scale, x, style, decimals) }
}

// spaced turns labels into words.
func spaced(labels []string) []string {
	words := make([]string, len(labels))
	for i, l := range labels {
		words[i] = strings.ReplaceAll(l, "_", " ")
	}
	return words
}

func labelled(labels []string) func(float64) (string, bool) {
	words := spaced(labels)
	return func(x float64) (string, bool) {
		if x < 0 || x >= float64(len(words)) || x != math.Trunc(x) {
			return "", false
		}
		return words[int(x)], true
	}
}

// display finds the unit in which v is said and the usual decimals.
func (c speaker) display(v *expression.Value, n *expression.Node, unit string, pos int) (expression.Unit, int, bool) {
	spelling, decimals, ok := c.Voc.Display(v.Q)
	if !ok && expression.Plain(v) {
		spelling, decimals, ok = "", 0, true
	}
	if unit == "" && !ok {
		c.Fail(n.Pos, "write {… in "+first(expression.UnitsOf(c.Voc, v.Q))+"}", "there is no usual unit for %s",
			v.Describe())
		return expression.Unit{}, 0, false
	}
	if unit == "" && (spelling == "" || spelling == expression.QNumber) {
		return expression.Unit{Quantity: v.Q, Scale: 1}, decimals, true
	}
	if unit != "" && unit != spelling {
		spelling, decimals = unit, 1
	}
	u, ok := expression.UnitNamed(c.Voc, spelling)
	switch {
	case !ok:
		c.Fail(pos, document.OneOf(spelling, expression.UnitsOf(c.Voc, v.Q)), "unknown unit %q", spelling)
	case u.Quantity == expression.QTemp && v.Q == expression.QTempDiff:
		return expression.Unit{Quantity: v.Q, Scale: u.Scale}, decimals, true // a difference has no offset
	case u.Quantity != v.Q && !(u.Quantity == expression.QRatio && v.Loose):
		c.Fail(pos, "use one of "+strings.Join(expression.UnitsOf(c.Voc, v.Q), ", "),
			"%s is a unit of %s, and this is %s", spelling, u.Quantity, v.Describe())
	default:
		return u, decimals, true
	}
	return expression.Unit{}, 0, false
}

func first(s []string) string {
	if len(s) == 0 {
		return "a unit"
	}
	return s[0]
}

// speak puts x, in the unit in which it is said, into words. inside is the value before conversion.
func speak(l *spoken.Language, x, inside float64, style string, decimals int) (string, bool) {
	switch style {
	case "lap_time":
		return l.LapTime(inside, decimals), true
	case "lap_brief":
		return l.LapBrief(inside), true
	case "gap":
		return l.Gap(inside), true
	case "compared":
		return l.Compared(inside), true
	case "laps":
		return l.Laps(inside), true
	case "whole_laps":
		return l.Laps(math.Round(inside)), true
	case "tens":
		return l.Tens(x), true
	case "off":
		if math.Round(x) == 0 {
			return l.Off, true
		}
	case "corner":
		if math.Round(x) < 1 {
			return "", false // not in or after a known corner
		}
	case "signed":
		if x >= 0 {
			return l.Plus + l.Brief(x, decimals), true
		}
	}
	return l.Brief(x, decimals), true
}

// words fills in the template; "" where there is none or no sentence is left.
func (t *template) words(f *expression.Frame, members uint64) string {
	if t == nil {
		return ""
	}
	text, _ := t.render(f, members)
	return text
}

// render fills in the template without the sentences that have an unknown value. It returns false where none is left.
func (t *template) render(f *expression.Frame, members uint64) (text string, whole bool) {
	var b strings.Builder
	whole = true
	for i := range t.sentences {
		s, ok := t.sentences[i].render(f, members)
		if !ok {
			whole = false
			continue
		}
		if b.Len() > 0 && s != "" {
			b.WriteByte(' ')
		}
		b.WriteString(s)
	}
	return b.String(), whole
}

func (s *sentence) render(f *expression.Frame, members uint64) (string, bool) {
	var b strings.Builder
	for _, p := range s.parts {
		switch {
		case p.names != nil:
			b.WriteString(p.names[members&uint64(len(p.names)-1)])
		case p.say != nil:
			x := p.value(f)
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return "", false
			}
			w, ok := p.say(x)
			if !ok {
				return "", false
			}
			b.WriteString(w)
		default:
			b.WriteString(p.text)
		}
	}
	return tidy(b.String()), true
}

// tidy collapses spaces and begins the sentence with a capital.
func tidy(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	for _, mark := range []string{".", ",", "!", "?"} {
		s = strings.ReplaceAll(s, " "+mark, mark)
	}
	r, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[size:]
}

// phrases adds the static texts of the template, if there is one.
func (t *template) phrases(add func(string)) {
	if t == nil {
		return
	}
	for _, s := range t.sentences {
		text := ""
		for _, p := range s.parts {
			if p.say == nil && p.names == nil {
				text += p.text
				continue
			}
			add(text)
			text = ""
			for _, w := range append(p.names, p.words...) {
				add(w)
			}
		}
		add(text)
	}
}

// languageOf is the language in which the values of texts are said: that of the vocabulary where it has a method
// Language, else English.
func languageOf(voc expression.Vocabulary) *spoken.Language {
	if v, ok := voc.(interface{ Language() *spoken.Language }); ok {
		return v.Language()
	}
	return spoken.English
}

// together is the name of each set of instances, by the bits of their numbers: "front", "all four", "left side", "front
// left and rear right", and nothing for both axles.
func together(l *spoken.Language, each expression.Each) []string {
	list := expression.InstancesOf[each]
	names := make([]string, 1<<len(list))
	for members := 1; members < len(names); members++ {
		var codes, places []string
		for i, in := range list {
			if members&(1<<i) != 0 {
				codes, places = append(codes, in.Suffix), append(places, l.Places[in.Suffix])
			}
		}
		name, ok := l.Together[strings.Join(codes, "+")]
		if !ok {
			name = strings.Join(places, l.And)
		}
		names[members] = name
	}
	return names
}
