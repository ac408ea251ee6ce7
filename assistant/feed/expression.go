package feed

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

// A derivation computes a channel from others of the same record.
type derivation struct {
	id    channel.ID
	needs []channel.ID
	eval  func(channel.Row) float64
}

// An exprError is a mistake at a byte of an expression.
type exprError struct {
	at        int
	msg, hint string
}

func (e *exprError) Error() string { return e.msg }

// A term is a part of an expression: what it computes, and its quantity, "" when that is not followed.
type term struct {
	eval func(channel.Row) float64
	q    channel.Quantity
}

// nesting bounds parentheses and signs within each other.
const nesting = 100

type exprParser struct {
	s     string
	i     int
	depth int
	set   *channel.Set
	names func(name string) (channel.ID, string) // or why not
	needs []channel.ID
}

// parseExpression compiles text. names gives the channel of a name, or a hint why there is none.
func parseExpression(text string, set *channel.Set, names func(string) (channel.ID, string)) (t term, needs []channel.ID, err error) {
	p := &exprParser{s: text, set: set, names: names}
	defer func() {
		if r := recover(); r != nil {
			e, ok := r.(*exprError)
			if !ok {
				panic(r)
			}
			err = e
		}
	}()
	t = p.sum()
	if p.space(); p.i < len(p.s) {
		p.fail(p.i, "", "%q is not expected here", p.s[p.i:min(len(p.s), p.i+10)])
	}
	return t, p.needs, nil
}

func (p *exprParser) fail(at int, hint, format string, args ...any) {
	panic(&exprError{at, fmt.Sprintf(format, args...), hint}) // caught in parseExpression
}

func (p *exprParser) space() {
	for p.i < len(p.s) && (p.s[p.i] == ' ' || p.s[p.i] == '\t' || p.s[p.i] == '\n') {
		p.i++
	}
}

func (p *exprParser) peek() byte {
	p.space()
	if p.i < len(p.s) {
		return p.s[p.i]
	}
	return 0
}

func (p *exprParser) sum() term {
	a := p.product()
	for c := p.peek(); c == '+' || c == '-'; c = p.peek() {
		at := p.i
		p.i++
		b := p.product()
		x, y := a.eval, b.eval
		q := p.added(at, a.q, b.q, c)
		if c == '+' {
			a = term{func(r channel.Row) float64 { return x(r) + y(r) }, q}
		} else {
			a = term{func(r channel.Row) float64 { return x(r) - y(r) }, q}
		}
	}
	return a
}

// added is the quantity of a sum or difference.
func (p *exprParser) added(at int, a, b channel.Quantity, op byte) channel.Quantity {
	switch {
	case a == "" || b == "":
		return ""
	case a == channel.Temperature && b == channel.Temperature && op == '-':
		return channel.TemperatureDifference
	case a == channel.Temperature && b == channel.Temperature:
		return "" // the first half of a mean
	case a == channel.Temperature && b == channel.TemperatureDifference:
		return a
	case b == channel.Temperature && a == channel.TemperatureDifference && op == '+':
		return b
	}
	return p.same(at, a, b)
}

func (p *exprParser) same(at int, a, b channel.Quantity) channel.Quantity {
	if a == "" || b == "" {
		return ""
	}
	if a != b {
		hint := ""
		if a == channel.None || b == channel.None {
			q := a
			if a == channel.None {
				q = b
			}
			hint = "a " + string(q) + " is written in one of " + strings.Join(channel.UnitsOf(q), ", ")
		}
		p.fail(at, hint, "a %s and a %s do not go together", a, b)
	}
	return a
}

func (p *exprParser) product() term {
	a := p.factor()
	for c := p.peek(); c == '*' || c == '/'; c = p.peek() {
		p.i++
		b := p.factor()
		x, y := a.eval, b.eval
		if c == '*' {
			a = term{func(r channel.Row) float64 { return x(r) * y(r) }, times(a.q, b.q)}
		} else {
			a = term{func(r channel.Row) float64 { return x(r) / y(r) }, over(a.q, b.q)}
		}
	}
	return a
}

func bare(q channel.Quantity) bool { return q == channel.None || q == channel.Ratio }

func times(a, b channel.Quantity) channel.Quantity {
	switch {
	case bare(a):
		return b
	case bare(b):
		return a
	}
	return ""
}

func over(a, b channel.Quantity) channel.Quantity {
	switch {
	case bare(b):
		return a
	case a == b && a != "" && a != channel.Temperature:
		return channel.None
	}
	return ""
}

func (p *exprParser) factor() term {
	if p.depth++; p.depth > nesting {
		p.fail(p.i, "", "parentheses or signs are nested more than %d deep", nesting)
	}
	defer func() { p.depth-- }()
	c := p.peek()
	at := p.i
	switch {
	case c == '-':
		p.i++
		a := p.factor()
		x := a.eval
		return term{func(r channel.Row) float64 { return -x(r) }, a.q}
	case c == '(':
		p.i++
		a := p.sum()
		p.expect(')')
		return a
	case c >= '0' && c <= '9' || c == '.':
		return p.literal()
	case c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_':
		name := p.word()
		if p.peek() == '(' {
			p.i++
			return p.call(at, name)
		}
		id, why := p.names(name)
		if why != "" {
			p.fail(at, why, "no channel %q can be used here", name)
		}
		if !slices.Contains(p.needs, id) {
			p.needs = append(p.needs, id)
		}
		return term{func(r channel.Row) float64 { return r[id] }, p.set.At(id).Quantity}
	}
	p.fail(at, "", "a number, a channel, a function or ( is missing")
	return term{}
}

func letter(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '_' || c >= 0x80
}

func (p *exprParser) word() string {
	start := p.i
	for p.i < len(p.s) && letter(p.s[p.i]) {
		p.i++
	}
	return p.s[start:p.i]
}

func (p *exprParser) expect(c byte) {
	if p.peek() != c {
		p.fail(p.i, "", "%q is missing", string(c))
	}
	p.i++
}

// literal is a number, with a unit if one follows. The longest spelling that fits counts.
func (p *exprParser) literal() term {
	start := p.i
	for p.i < len(p.s) && (p.s[p.i]-'0' <= 9 || p.s[p.i] == '.' || (p.s[p.i] == 'e' || p.s[p.i] == 'E') && p.i+1 < len(p.s) && (p.s[p.i+1]-'0' <= 9 || p.s[p.i+1] == '-')) {
		if p.s[p.i] == 'e' || p.s[p.i] == 'E' {
			p.i++ // the sign or first digit of the exponent
		}
		p.i++
	}
	x, err := strconv.ParseFloat(p.s[start:p.i], 64)
	if err != nil || math.IsInf(x, 0) {
		p.fail(start, "", "%q is not a number", p.s[start:p.i])
	}
	p.space()
	rest, best := p.s[p.i:], ""
	for _, u := range channel.Units() {
		if len(u) > len(best) && strings.HasPrefix(rest, u) && (len(rest) == len(u) || !letter(rest[len(u)]) || !letter(u[len(u)-1])) {
			best = u
		}
	}
	if best == "" {
		return term{func(channel.Row) float64 { return x }, channel.None}
	}
	u, _ := channel.UnitNamed(best)
	p.i += len(best)
	v := u.In(x)
	return term{func(channel.Row) float64 { return v }, u.Quantity}
}

var functions = map[string]int{"sqrt": 1, "abs": 1, "hypot": 2, "atan2": 2, "min": 2, "max": 2}

func (p *exprParser) call(at int, name string) term {
	want, ok := functions[name]
	if !ok {
		known := []string{"abs", "atan2", "hypot", "max", "min", "sqrt"}
		p.fail(at, document.Meant(name, known, "there are "+strings.Join(known, ", ")), "there is no function %q", name)
	}
	args := []term{p.sum()}
	for p.peek() == ',' {
		p.i++
		args = append(args, p.sum())
	}
	p.expect(')')
	if len(args) != want && !(want == 2 && len(args) > 2 && (name == "min" || name == "max")) {
		p.fail(at, "", "%s takes %d values and has %d", name, want, len(args))
	}
	q := args[0].q
	for _, a := range args[1:] {
		q = p.same(at, q, a.q)
	}
	x := args[0].eval
	switch name {
	case "abs":
		return term{func(r channel.Row) float64 { return math.Abs(x(r)) }, q}
	case "sqrt":
		if !bare(q) {
			q = ""
		}
		return term{func(r channel.Row) float64 { return math.Sqrt(x(r)) }, q}
	}
	y := args[1].eval
	switch name {
	case "hypot":
		return term{func(r channel.Row) float64 { return math.Hypot(x(r), y(r)) }, q}
	case "atan2":
		return term{func(r channel.Row) float64 { return math.Atan2(x(r), y(r)) }, channel.Angle}
	}
	pick := math.Min
	if name == "max" {
		pick = math.Max
	}
	return term{func(r channel.Row) float64 {
		v := args[0].eval(r)
		for i := 1; i < len(args); i++ {
			v = pick(v, args[i].eval(r))
		}
		return v
	}, q}
}
