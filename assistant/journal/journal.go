// Package journal is the record of everything that happened: one Event a line,
// as JSON, in the order of happening. It is the contract that the debrief, other tools
// and the tests read: fields may be added, never renamed.
//
// Times are seconds, speeds m/s, temperatures °C, pressures kPa (gauge), fuel litres,
// angles rad. What is not known is left out; it is never written as zero.
//
// The package turns events into bytes and back and never opens a file itself.
package journal

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
)

// A Num is a number that may be unknown (NaN). It is written with at most four
// decimals, the same for the same value on every machine.
type Num float64

// Unknown is the Num that says so.
var Unknown = Num(math.NaN())

// IsZero makes encoding/json leave an unknown number out.
func (n Num) IsZero() bool { return math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) }

// MarshalJSON writes the number, or null where it is unknown.
func (n Num) MarshalJSON() ([]byte, error) { return n.append(nil), nil }

func (n Num) append(b []byte) []byte {
	if n.IsZero() {
		return append(b, "null"...)
	}
	x := float64(n)
	if math.Abs(x) < 1e11 { // beyond that a float64 has no fourth decimal, and far beyond the product overflows
		x = math.Round(x*1e4) / 1e4
	}
	if x == 0 {
		x = 0 // no negative zero
	}
	return strconv.AppendFloat(b, x, 'f', -1, 64)
}

// UnmarshalJSON reads a number; null is Unknown.
func (n *Num) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Unknown
		return nil
	}
	x, err := strconv.ParseFloat(string(b), 64)
	*n = Num(x)
	return err
}

// Wheels holds one number per wheel: front left, front right, rear left, rear right.
type Wheels [4]Num

// NoWheels is Wheels of which nothing is known.
func NoWheels() Wheels { return Wheels{Unknown, Unknown, Unknown, Unknown} }

// IsZero makes encoding/json leave Wheels out of which nothing is known.
func (w Wheels) IsZero() bool {
	return w[0].IsZero() && w[1].IsZero() && w[2].IsZero() && w[3].IsZero()
}

// UnmarshalJSON reads up to four numbers; what is not there is unknown, not zero.
func (w *Wheels) UnmarshalJSON(b []byte) error {
	var list []Num
	if err := json.Unmarshal(b, &list); err != nil {
		return err
	}
	if len(list) > len(w) {
		return fmt.Errorf("%d numbers for the four wheels", len(list))
	}
	*w = NoWheels()
	copy(w[:], list)
	return nil
}

// An Event is one line. Lap is 1 in the first lap begun at the line, 0 before it and
// negative where laps are not known. Distance is metres from the line, or Unknown.
type Event struct {
	T        float64
	Lap      int
	Distance Num
	Body     Body
}

// A Body is what happened: one of the types of this package whose names are the kinds.
type Body interface{ Kind() string }

// Append appends the event as one line, newline included. Equal events give equal bytes. An event without a
// time cannot be written; with an error b is returned as it was.
func (e Event) Append(b []byte) ([]byte, error) {
	if Num(e.T).IsZero() {
		return b, fmt.Errorf("journal: a %s event without a time", e.Body.Kind())
	}
	var body bytes.Buffer
	enc := json.NewEncoder(&body)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(e.Body); err != nil {
		return b, fmt.Errorf("journal: encoding a %s event: %w", e.Body.Kind(), err)
	}
	b = Num(e.T).append(append(b, `{"t":`...))
	b = append(append(append(b, `,"kind":"`...), e.Body.Kind()...), '"')
	if e.Lap >= 0 {
		b = strconv.AppendInt(append(b, `,"lap":`...), int64(e.Lap), 10)
	}
	if !e.Distance.IsZero() {
		b = e.Distance.append(append(b, `,"distance":`...))
	}
	if body.Len() > len("{}\n") {
		b = append(b, ',')
	}
	return append(b, body.Bytes()[1:]...), nil // the encoder ends the line
}

// ErrTorn says that the last line is incomplete, as after a power cut or a SIGKILL. All events before it are good.
var ErrTorn = errors.New("the last line of the journal is incomplete")

// A LineError says which line cannot be read.
type LineError struct {
	Line int
	Err  error
}

func (e *LineError) Error() string { return fmt.Sprintf("journal line %d: %v", e.Line, e.Err) }
func (e *LineError) Unwrap() error { return e.Err }

// Read reads all events. Kinds that are not known are passed over. Where the last line is torn the
// events before it are returned with ErrTorn; a bad line elsewhere is passed over and reported as a
// *LineError (joined) beside the events that could be read.
func Read(r io.Reader) ([]Event, error) {
	var events []Event
	var errs []error
	br := bufio.NewReaderSize(r, 1<<16)
	for n := 1; ; n++ {
		line, err := br.ReadBytes('\n')
		whole := err == nil
		if err != nil && err != io.EOF {
			return events, fmt.Errorf("reading the journal: %w", err)
		}
		if text := bytes.TrimSpace(line); len(text) > 0 {
			ev, known, perr := parse(text)
			switch {
			case perr != nil && !whole:
				errs = append(errs, ErrTorn)
			case perr != nil:
				errs = append(errs, &LineError{n, perr})
			case known:
				events = append(events, ev)
			}
		}
		if !whole {
			return events, errors.Join(errs...)
		}
	}
}

func parse(line []byte) (Event, bool, error) {
	var head struct {
		T        *Num
		Kind     string
		Lap      *int
		Distance *Num
	}
	if err := json.Unmarshal(line, &head); err != nil {
		return Event{}, false, err
	}
	if head.T == nil || head.Kind == "" {
		return Event{}, false, errors.New(`"t" or "kind" is missing`)
	}
	body := newBody(head.Kind)
	if body == nil {
		return Event{}, false, nil
	}
	if err := json.Unmarshal(line, body); err != nil {
		return Event{}, false, err
	}
	e := Event{T: float64(*head.T), Lap: -1, Distance: Unknown, Body: body}
	if head.Lap != nil {
		e.Lap = *head.Lap
	}
	if head.Distance != nil {
		e.Distance = *head.Distance
	}
	return e, true, nil
}
