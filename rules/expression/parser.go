package expression

import (
	"maps"
	"slices"
	"strings"

	"earshot/configs/document"
)

type nodeKind uint8

const (
	NodeNumber nodeKind = iota
	NodeString
	nodeName
	nodeGlob
	nodeUnary  // - not
	nodeBinary // + - * / % < <= > >= == != and or
	NodeCall
)

// A Node is a piece of an expression as written.
type Node struct {
	Kind  nodeKind
	Pos   int
	Text  string // name, operator, function, string
	num   float64
	unit  string
	U     Unit
	Args  []*Node
	paren bool // a comparison that stood in parentheses
}

// deepest is how deep an expression may be nested.
const deepest = 100

// longest is how many bytes an expression may have.
const longest = 4096

type parser struct {
	toks  []token
	i     int
	depth int
	bad   *Mistake
}

// binding is how strongly an operator between two operands binds.
func binding(op string) int {
	switch op {
	case "or":
		return 1
	case "and":
		return 2
	case "<", "<=", ">", ">=", "==", "!=":
		return 4
	case "+", "-":
		return 5
	case "*", "/", "%":
		return 6
	}
	return 0
}

const (
	bindNot   = 3
	bindMinus = 7
)

// Parse reads a whole expression.
func Parse(src string, voc Vocabulary) (*Node, *Mistake) {
	if len(src) > longest {
		return nil, NewMistake(0, "split it into several rules", "the expression is longer than %d characters", longest)
	}
	toks, m := lex(src, voc)
	if m != nil {
		return nil, m
	}
	if len(toks) == 1 {
		return nil, NewMistake(0, "write a condition such as fuel_left < 5 l", "the expression is empty")
	}
	p := &parser{toks: toks}
	n := p.expr(0)
	if p.bad == nil && p.peek().kind != tEnd {
		p.unexpected(p.peek(), "an operator or the end")
	}
	if p.bad != nil {
		return nil, p.bad
	}
	return n, nil
}

func (p *parser) peek() token { return p.toks[p.i] }

func (p *parser) next() token {
	t := p.toks[p.i]
	if t.kind != tEnd {
		p.i++
	}
	return t
}

func (p *parser) fail(pos int, hint, format string, args ...any) *Node {
	if p.bad == nil {
		p.bad = NewMistake(pos, hint, format, args...)
	}
	return &Node{Pos: pos}
}

func (p *parser) unexpected(t token, want string) *Node {
	switch t.kind {
	case tEnd:
		return p.fail(t.pos, "", "the expression ends where %s should follow", want)
	case tNumber:
		return p.fail(t.pos, "", "%s is not expected here, but %s", t.text, want)
	}
	return p.fail(t.pos, "", "%q is not expected here, but %s", t.text, want)
}

func isOp(t token, op string) bool {
	return t.text == op && (t.kind == tOp || t.kind == tName && keywords[op])
}

// expr reads an expression of operators that bind more strongly than min.
func (p *parser) expr(min int) *Node {
	if p.depth++; p.depth > deepest {
		return p.fail(p.peek().pos, "split it into several rules", "the expression is nested too deeply")
	}
	defer func() { p.depth-- }()
	left := p.prefix()
	for p.bad == nil {
		t := p.peek()
		if t.kind != tOp && !(t.kind == tName && keywords[t.text]) {
			break
		}
		b := binding(t.text)
		if b == 0 || b <= min {
			break
		}
		p.next()
		right := p.expr(b)
		if b == binding("<") && left.Kind == nodeBinary && binding(left.Text) == b && !left.paren {
			return p.fail(t.pos, "write between(x, low, high), or two comparisons with and",
				"comparisons cannot be chained")
		}
		left = &Node{Kind: nodeBinary, Pos: t.pos, Text: t.text, Args: []*Node{left, right}}
	}
	return left
}

func (p *parser) prefix() *Node {
	t := p.next()
	switch {
	case t.kind == tNumber:
		return &Node{Kind: NodeNumber, Pos: t.pos, num: t.num, unit: t.unit, U: t.u, Text: t.text}
	case t.kind == tString:
		return &Node{Kind: NodeString, Pos: t.pos, Text: t.text}
	case t.kind == tGlob:
		return &Node{Kind: nodeGlob, Pos: t.pos, Text: t.text}
	case isOp(t, "not"):
		return &Node{Kind: nodeUnary, Pos: t.pos, Text: "not", Args: []*Node{p.expr(bindNot)}}
	case isOp(t, "-"):
		if n := p.peek(); n.kind == tNumber {
			p.next() // -3 °C is a temperature, not the negative of one
			return &Node{Kind: NodeNumber, Pos: t.pos, num: -n.num, unit: n.unit, U: n.u, Text: "-" + n.text}
		}
		return &Node{Kind: nodeUnary, Pos: t.pos, Text: "-", Args: []*Node{p.expr(bindMinus)}}
	case isOp(t, "("):
		n := p.expr(0)
		if c := p.next(); p.bad == nil && !isOp(c, ")") {
			return p.unexpected(c, "the closing parenthesis")
		}
		n.paren = true
		return n
	case t.kind == tName && !keywords[t.text]:
		if !isOp(p.peek(), "(") {
			return &Node{Kind: nodeName, Pos: t.pos, Text: t.text}
		}
		return p.call(t)
	}
	return p.unexpected(t, "a number, a name or a parenthesis")
}

func (p *parser) call(name token) *Node {
	if functions[name.text].max == 0 {
		return p.fail(name.pos, document.Meant(name.text, functionNames, ""), "there is no function %s; there are %s",
			name.text, strings.Join(functionNames, ", "))
	}
	p.next()
	n := &Node{Kind: NodeCall, Pos: name.pos, Text: name.text}
	if isOp(p.peek(), ")") {
		p.next()
	} else {
		for p.bad == nil {
			n.Args = append(n.Args, p.expr(0))
			if c := p.next(); p.bad == nil && !isOp(c, ",") {
				if c.kind == tEnd {
					return p.fail(c.pos, "close it; between the braces of YAML a condition with a comma must stand "+
						"in quotes", "the expression ends within %s(", name.text)
				}
				if !isOp(c, ")") {
					return p.unexpected(c, "a comma or the closing parenthesis")
				}
				break
			}
		}
	}
	if f := functions[name.text]; p.bad == nil && (len(n.Args) < f.min || len(n.Args) > f.max) {
		return p.fail(name.pos, "", "%s is written %s", name.text, f.use)
	}
	return n
}

type function struct {
	min, max int
	use      string
}

const many = 64

var functions = map[string]function{
	"between": {3, 3, "between(x, low, high)"},
	"abs":     {1, 1, "abs(x)"},
	"min":     {1, many, "min(a, b, …) or min(tyre_core_*)"},
	"max":     {1, many, "max(a, b, …) or max(tyre_core_*)"},
	"mean":    {1, many, "mean(a, b, …) or mean(tyre_core_*)"},
	"changed": {1, 2, "changed(x) or changed(x, by)"},
	"rate":    {1, 1, "rate(x)"},
	"known":   {1, 1, "known(x)"},
	"if":      {2, 2, "if(condition, x)"},
	"sqrt":    {1, 1, "sqrt(x)"},
	"hypot":   {2, 2, "hypot(x, y)"},
	"atan2":   {2, 2, "atan2(y, x)"},
}

var functionNames = slices.Sorted(maps.Keys(functions))
