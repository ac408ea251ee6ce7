package can

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A Database is what a DBC file says about messages and their signals.
type Database struct{ Messages []Definition }

// A Definition is a message of a DBC file.
type Definition struct {
	Name     string
	ID       uint32
	Extended bool
	Size     int // bytes
	Line     int // where it stands, from 1
	Signals  []SignalDefinition
}

// A SignalDefinition is a signal of a DBC file: reading = raw*Scale + Offset, in Unit.
type SignalDefinition struct {
	Place
	Name          string // its Place is unchecked: some files have texts of hundreds of bits
	Scale, Offset float64
	Unit          string
	Switch        bool  // the multiplexer of its message
	Mux           int64 // the multiplexer's value with which the signal is there; -1: always
	Nested        bool  // it depends on several values or on more than one multiplexer
	Labels        []Label
	Line          int
}

// A Label is the name of a raw value.
type Label struct {
	Raw  int64
	Text string
}

// A DBCError is a mistake in a DBC file.
type DBCError struct {
	Line int // from 1
	Msg  string
}

func (e *DBCError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.Msg) }

var (
	messageLine = regexp.MustCompile(`^BO_\s+(\d+)\s+(\w+)\s*:\s*(\d+)(?:\s|$)`)
	signalLine  = regexp.MustCompile(`(?s)^SG_\s+(\w+)\s*(M|m\d+M?)?\s*:\s*(\d+)\s*\|\s*(\d+)\s*@\s*([01])\s*([+-])\s*\(\s*([^,\s]+)\s*,\s*([^)\s]+)\s*\)\s*\[[^\]]*\]\s*"((?:[^"\\]|\\.)*)"`)
	valuesLine  = regexp.MustCompile(`(?s)^VAL_\s+(\d+)\s+(\w+)\s+(.*?)\s*;?\s*$`)
	valueEntry  = regexp.MustCompile(`(?s)^\s*([+-]?\d+)\s*"((?:[^"\\]|\\.)*)"`)
	typeLine    = regexp.MustCompile(`^SIG_VALTYPE_\s+(\d+)\s+(\w+)\s*:?\s*([0-3])\s*;`)
	nestedLine  = regexp.MustCompile(`(?s)^SG_MUL_VAL_\s+(\d+)\s+(\w+)\s+(\w+)\s+(.*?)\s*;`)
)

// independent is the pseudo message of signals that belong to none.
const independent = 0xC0000000

// What bounds a file that is something else, or has no end. The file of a whole truck has a few thousand messages.
const (
	maxMistakes = 20
	maxSize     = 16 << 20 // bytes
	maxSignals  = 4096     // of one message
)

// ParseDBC reads messages (BO_), signals (SG_), names of values (VAL_), floating-point types (SIG_VALTYPE_) and
// extended multiplexing (SG_MUL_VAL_), and skips all else. Text that is not UTF-8 is taken for
// Latin-1, as older tools write it. The error joins all mistakes, each a *DBCError.
func ParseDBC(data []byte) (*Database, error) {
	p := &dbcParser{db: &Database{}, byID: map[uint64]int{}, bySignal: map[signalKey]int{}, line: 1}
	if len(data) > maxSize {
		p.bad("the file has more than %d MiB: it is no DBC file of a bus", maxSize>>20)
		return nil, errors.Join(p.errs...)
	}
	data = bytes.TrimPrefix(data, []byte{0xef, 0xbb, 0xbf})
	for line := 1; len(data) > 0; {
		blank := len(data) - len(bytes.TrimLeft(data, " \t\r\n"))
		line += bytes.Count(data[:blank], []byte{'\n'})
		data = data[blank:]
		n, whole := statement(data)
		p.line = line
		if !whole {
			p.bad("the quotation marks of this statement are not closed before the end of the file")
		} else if n > 0 {
			p.statement(data[:n])
		}
		line += bytes.Count(data[:n], []byte{'\n'})
		data = data[n:]
	}
	if len(p.errs) == 0 && len(p.db.Messages) == 0 {
		p.line = 1
		p.bad("there is no message (BO_) in the file")
	}
	if len(p.errs) > 0 {
		return nil, errors.Join(p.errs...)
	}
	return p.db, nil
}

// statement is the length of the statement that data begin with: to the end of the line, for kinds that may span
// lines to the semicolon, and never ending inside quotation marks. whole is false where these are not closed.
func statement(data []byte) (n int, whole bool) {
	spans := false
	for _, k := range []string{"VAL_", "SIG_VALTYPE_", "SG_MUL_VAL_", "CM_", "BA_"} {
		spans = spans || bytes.HasPrefix(data, []byte(k))
	}
	quoted := false
	for i := 0; i < len(data); i++ {
		switch c := data[i]; {
		case c == '\\' && quoted:
			i++
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '\n' && !spans:
			return i, true
		case c == ';' && spans:
			return i + 1, true
		}
	}
	return len(data), !quoted
}

// A signalKey is the index of a message and the name of a signal of it.
type signalKey struct {
	message int
	name    string
}

type dbcParser struct {
	db       *Database
	byID     map[uint64]int // index of the message by the identifier as the file writes it
	bySignal map[signalKey]int
	in       int  // index + 1 of the message whose signals come
	skip     bool // the signals that come are of no message
	line     int
	errs     []error
}

func (p *dbcParser) bad(format string, args ...any) {
	if len(p.errs) < maxMistakes {
		p.errs = append(p.errs, &DBCError{p.line, fmt.Sprintf(format, args...)})
	}
}

func (p *dbcParser) statement(b []byte) {
	if !utf8.Valid(b) {
		r := make([]rune, len(b))
		for i, c := range b {
			r[i] = rune(c)
		}
		b = []byte(string(r))
	}
	s := strings.TrimRight(string(b), "\r\n \t")
	word, _, _ := strings.Cut(strings.ReplaceAll(s, "\t", " "), " ")
	switch word {
	case "BO_":
		p.message(s)
	case "SG_":
		p.signal(s)
	case "VAL_":
		p.labels(s)
	case "SIG_VALTYPE_":
		p.float(s)
	case "SG_MUL_VAL_":
		p.nested(s)
	}
}

func (p *dbcParser) message(s string) {
	p.in, p.skip = 0, true
	m := messageLine.FindStringSubmatch(s)
	if m == nil {
		p.bad("a message is written BO_ ID NAME: BYTES SENDER")
		return
	}
	id, err := strconv.ParseUint(m[1], 10, 32)
	size, serr := strconv.Atoi(m[3])
	if err == nil && id == independent {
		return
	}
	d := Definition{Name: m[2], ID: uint32(id) & maskLong, Extended: id>>31 == 1, Size: size, Line: p.line}
	if err != nil || id&^(1<<31) > maskLong || !d.Extended && id > maskShort {
		p.bad("message %s: %s is no identifier", m[2], m[1])
		return
	}
	if serr != nil || size > 1785 { // the longest of SAE J1939-21
		p.bad("message %s cannot have %s bytes", m[2], m[3])
		return
	}
	if _, ok := p.byID[id]; ok {
		p.bad("identifier %s stands twice", m[1])
		return
	}
	p.db.Messages = append(p.db.Messages, d)
	p.in, p.skip = len(p.db.Messages), false
	p.byID[id] = p.in - 1
}

func (p *dbcParser) signal(s string) {
	if p.in == 0 {
		if !p.skip {
			p.bad("a signal stands before every message")
		}
		return
	}
	m := signalLine.FindStringSubmatch(s)
	if m == nil {
		p.bad("a signal is written SG_ NAME : START|LENGTH@ORDER± (SCALE,OFFSET) [LEAST|GREATEST] \"UNIT\" RECEIVERS")
		return
	}
	d := SignalDefinition{Name: m[1], Unit: unescape(m[9]), Mux: -1, Line: p.line}
	start, err1 := strconv.Atoi(m[3])
	length, err2 := strconv.Atoi(m[4])
	d.Place = Place{Start: start, Length: length, Motorola: m[5] == "0", Signed: m[6] == "-"}
	var ok1, ok2 bool
	d.Scale, ok1 = finite(m[7])
	d.Offset, ok2 = finite(m[8])
	if !ok1 || !ok2 {
		p.bad("signal %s: (%s,%s) are not two numbers", d.Name, m[7], m[8])
		return
	}
	if d.Scale == 0 {
		d.Scale = 1 // some tools write 0 for what has no scale
	}
	if err1 != nil || err2 != nil {
		p.bad("signal %s: %s|%s is no place", d.Name, m[3], m[4])
		return
	}
	switch mux := m[2]; {
	case mux == "M":
		d.Switch = true
	case mux != "":
		d.Nested = strings.HasSuffix(mux, "M")
		v, err := strconv.ParseInt(strings.Trim(mux, "mM"), 10, 64)
		if err != nil {
			p.bad("signal %s: %s is no value of a multiplexer", d.Name, mux)
			return
		}
		d.Mux, d.Switch = v, d.Nested
	}
	def := &p.db.Messages[p.in-1]
	key := signalKey{p.in - 1, d.Name}
	if _, ok := p.bySignal[key]; ok {
		p.bad("message %s has two signals %s", def.Name, d.Name)
		return
	}
	if len(def.Signals) == maxSignals {
		p.bad("message %s has more than %d signals", def.Name, maxSignals)
		p.in, p.skip = 0, true
		return
	}
	p.bySignal[key] = len(def.Signals)
	def.Signals = append(def.Signals, d)
}

// Signal finds a signal by its name; nil if there is none.
func (d *Definition) Signal(name string) *SignalDefinition {
	for i := range d.Signals {
		if d.Signals[i].Name == name {
			return &d.Signals[i]
		}
	}
	return nil
}

// Multiplexer is the signal that tells which others are there; nil where there is none. More than one is a nested one.
func (d *Definition) Multiplexer() (s *SignalDefinition, nested bool) {
	for i := range d.Signals {
		if d.Signals[i].Switch {
			if s != nil {
				return s, true
			}
			s = &d.Signals[i]
		}
	}
	return s, false
}

// named finds the signal that a statement further down is about; what is said of others is skipped.
func (p *dbcParser) named(id, signal string) (*Definition, *SignalDefinition) {
	n, err := strconv.ParseUint(id, 10, 32)
	i, ok := p.byID[n]
	if err != nil || !ok {
		return nil, nil
	}
	at, ok := p.bySignal[signalKey{i, signal}]
	if !ok {
		return nil, nil
	}
	return &p.db.Messages[i], &p.db.Messages[i].Signals[at]
}

func (p *dbcParser) labels(s string) {
	m := valuesLine.FindStringSubmatch(s)
	if m == nil {
		return // of an environment variable
	}
	_, sig := p.named(m[1], m[2])
	if sig == nil {
		return
	}
	for rest := m[3]; strings.TrimSpace(rest) != ""; {
		e := valueEntry.FindStringSubmatch(rest)
		if e == nil {
			p.bad("the values of %s are written NUMBER \"NAME\" …;", m[2])
			return
		}
		rest = rest[len(e[0]):]
		raw, err := strconv.ParseInt(e[1], 10, 64)
		if err != nil {
			continue // larger than any value that tools name
		}
		sig.Labels = append(sig.Labels, Label{raw, unescape(e[2])})
	}
}

func (p *dbcParser) float(s string) {
	m := typeLine.FindStringSubmatch(s)
	if m == nil {
		return
	}
	_, sig := p.named(m[1], m[2])
	if sig == nil || m[3] == "0" || m[3] == "3" {
		return
	}
	if want := map[string]int{"1": 32, "2": 64}[m[3]]; sig.Length != want {
		p.bad("signal %s is a floating-point number of %d bits and has %d", sig.Name, want, sig.Length)
		return
	}
	sig.Float = true
}

// nested reads extended multiplexing. What it says of a plain multiplexed signal again is no news.
func (p *dbcParser) nested(s string) {
	m := nestedLine.FindStringSubmatch(s)
	if m == nil {
		return
	}
	def, sig := p.named(m[1], m[2])
	if sig == nil {
		return
	}
	if sw, more := def.Multiplexer(); more || sw == nil || sw.Name != m[3] || m[4] != fmt.Sprintf("%d-%d", sig.Mux, sig.Mux) {
		sig.Nested = true
	}
}

func unescape(s string) string {
	return strings.NewReplacer(`\"`, `"`, `\\`, `\`).Replace(s)
}

func finite(s string) (float64, bool) {
	x, err := strconv.ParseFloat(s, 64)
	return x, err == nil && !math.IsInf(x, 0) && !math.IsNaN(x)
}
