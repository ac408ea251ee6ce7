package journal

import (
	"reflect"
	"slices"
)

// A Session begins a journal.
type Session struct {
	ID      string `json:"id"`
	Feed    string `json:"feed"`
	Car     string `json:"car,omitempty"`
	Course  string `json:"course,omitempty"`
	Started string `json:"started,omitempty"` // RFC 3339, where the session was live
}

// Stint begins or ends a stint. The pressures of a start are the cold pressures when the car stood.
type Stint struct {
	Number           int    `json:"number"`
	Event            string `json:"event"` // start or end
	TyrePressure     Wheels `json:"tyre_pressure,omitzero"`
	TyreTemperature  Wheels `json:"tyre_temperature,omitzero"`
	AirTemperature   Num    `json:"air_temperature,omitzero"`
	AirPressure      Num    `json:"air_pressure,omitzero"`
	TrackTemperature Num    `json:"track_temperature,omitzero"`
	Fuel             Num    `json:"fuel,omitzero"`
	Compound         string `json:"compound,omitempty"`
}

// Lap is a lap completed at the line. Means are over the lap; brake peaks are means over its braking events.
type Lap struct {
	Number int  `json:"number"`
	Time   Num  `json:"time,omitzero"`
	Valid  bool `json:"valid"`
	// a code: off_course, moved (the car, by hand) or feed (its word, without a reason)
	WhyInvalid string `json:"why_invalid,omitempty"`
	// where that was: the corner that the car was in or had left last
	InvalidCorner   int    `json:"invalid_corner,omitempty"`
	InvalidDistance Num    `json:"invalid_distance,omitzero"` // the same in metres from the line
	Class           string `json:"class"`                     // out, flying, in, slow or caution
	Stint           int    `json:"stint,omitempty"`
	Length          Num    `json:"length,omitzero"` // metres driven
	Sectors         []Num  `json:"sectors,omitempty"`
	FeedTime        Num    `json:"feed_time,omitzero"` // the feed's own time where it has one
	FuelUsed        Num    `json:"fuel_used,omitzero"`
	TyrePressure    Wheels `json:"tyre_pressure,omitzero"`
	TyreTemperature Wheels `json:"tyre_temperature,omitzero"`
	BrakePeak       Wheels `json:"brake_peak,omitzero"`
	Inexact         string `json:"inexact,omitempty"`  // why the time is not exact; it is where this is missing
	Potential       Num    `json:"potential,omitzero"` // sum of the best sectors so far, this lap included
	// better than all sessions before with this course, car and compound
	Record bool `json:"record,omitempty"`
}

// Corner is one pass through a corner.
type Corner struct {
	Number   int       `json:"number"`
	Name     string    `json:"name,omitempty"`
	Findings []Finding `json:"findings,omitempty"` // what this pass itself showed
	// what the corner has shown on several of its last passes in this stint
	Repeated        []Finding `json:"repeated,omitempty"`
	EntrySpeed      Num       `json:"entry_speed,omitzero"`
	MinSpeed        Num       `json:"min_speed,omitzero"`
	ExitSpeed       Num       `json:"exit_speed,omitzero"`
	MinGear         Num       `json:"min_gear,omitzero"`
	Time            Num       `json:"time,omitzero"`
	Balance         Num       `json:"balance,omitzero"`
	MaxSlip         Wheels    `json:"max_slip,omitzero"` // slip of the largest magnitude, sign kept
	BrakeTemp       Wheels    `json:"brake_temperature,omitzero"`
	TyreTemperature Wheels    `json:"tyre_temperature,omitzero"`
	// braking, turn-in, mid-corner, exit; the first begins before the entry
	PhaseTimes []Num `json:"phase_times,omitempty"`
	LineApex   Num   `json:"line_apex,omitzero"` // metres from the learned line at the apex, left positive
	LineMost   Num   `json:"line_most,omitzero"` // the same where it is most, between entry and exit
	Lost       Num   `json:"time_lost,omitzero"` // against the best pass before, negative is better
}

// State is a rule that changed its mind.
type State struct {
	Rule  string `json:"rule"`
	Wheel string `json:"wheel,omitempty"` // or axle or side
	From  string `json:"from"`
	To    string `json:"to"`
	Value Num    `json:"value,omitzero"`
	Limit Num    `json:"limit,omitzero"`
}

// Cue is something said or not said, and why.
type Cue struct {
	Rule     string `json:"rule"`
	Text     string `json:"text"`
	Priority string `json:"priority"`         // warning, caution, advisory or answer
	Verdict  string `json:"verdict"`          // said, merged, expired, suppressed, interrupted or muted
	Reason   string `json:"reason,omitempty"` // why, as a code: one of package cue's
	Why      string `json:"why,omitempty"`    // the same in words, with its figures
	Queued   Num    `json:"queued,omitzero"`
	Start    Num    `json:"start,omitzero"`
	End      Num    `json:"end,omitzero"`
}

// Mark is the driver's button, with what the data showed at that place.
type Mark struct {
	Number           int    `json:"number"`
	Tag              string `json:"tag,omitempty"`
	Corner           int    `json:"corner,omitempty"` // 0: not in or after a known corner
	CornerName       string `json:"corner_name,omitempty"`
	Memo             string `json:"memo,omitempty"`
	Speed            Num    `json:"speed,omitzero"`
	MinSpeed         Num    `json:"min_speed,omitzero"` // of the corner's pass
	Gear             Num    `json:"gear,omitzero"`
	MinGear          Num    `json:"min_gear,omitzero"`
	Balance          Num    `json:"balance,omitzero"`
	TyreTemperature  Wheels `json:"tyre_temperature,omitzero"`
	BrakeTemperature Wheels `json:"brake_temperature,omitzero"`
}

// Command is something the driver asked for.
type Command struct {
	Name   string `json:"name"`
	Source string `json:"source"`
}

// Fuel is the account at the line.
type Fuel struct {
	PerLap   Num `json:"per_lap,omitzero"`
	Spread   Num `json:"spread,omitzero"`
	Left     Num `json:"left,omitzero"`
	LapsLeft Num `json:"laps_left,omitzero"`
	LapsToGo Num `json:"laps_to_go,omitzero"`
	Margin   Num `json:"margin,omitzero"`

	Doubt      Num    `json:"doubt,omitzero"`        // laps by which the margin may be wrong
	PerLapFull Num    `json:"per_lap_full,omitzero"` // at full pace, where the driver saves now
	MarginFull Num    `json:"margin_full,omitzero"`  // the margin at full pace
	State      string `json:"state,omitempty"`       // good, marginal, short or stop
	Target     Num    `json:"target,omitzero"`       // litres a lap that reach the flag, where saving is needed
	BoxLaps    Num    `json:"box_laps,omitzero"`     // crossings after which the car must come in at the latest
}

// Health is a part that fell ill or recovered.
type Health struct {
	Part  string `json:"part"`
	State string `json:"state"` // ok, degraded or lost
	Text  string `json:"text,omitempty"`
}

// Learned says that something became known that has to be learned from the driving first. It is told once a session.
type Learned struct {
	What   string `json:"what"`             // a code: slip_front, slip_rear, balance, course, fuel_per_lap, fuel_spread
	At     Num    `json:"at,omitzero"`      // s on the feed's clock, when it became known
	Detail string `json:"detail,omitempty"` // what was found
	Lacks  string `json:"lacks,omitempty"`  // at the end of a session: why it never became known; At is then missing
}

// Kind returns "session".
func (*Session) Kind() string { return "session" }

// Kind returns "stint".
func (*Stint) Kind() string { return "stint" }

// Kind returns "lap".
func (*Lap) Kind() string { return "lap" }

// Kind returns "corner".
func (*Corner) Kind() string { return "corner" }

// Kind returns "state".
func (*State) Kind() string { return "state" }

// Kind returns "cue".
func (*Cue) Kind() string { return "cue" }

// Kind returns "mark".
func (*Mark) Kind() string { return "mark" }

// Kind returns "command".
func (*Command) Kind() string { return "command" }

// Kind returns "fuel".
func (*Fuel) Kind() string { return "fuel" }

// Kind returns "health".
func (*Health) Kind() string { return "health" }

// Kind returns "learned".
func (*Learned) Kind() string { return "learned" }

// NewStint returns a Stint of which nothing is known yet.
func NewStint() *Stint { return blank[Stint]() }

// NewLap returns a Lap of which nothing is known yet.
func NewLap() *Lap { return blank[Lap]() }

// NewCorner returns a Corner of which nothing is known yet.
func NewCorner() *Corner { return blank[Corner]() }

// NewState returns a State of which nothing is known yet.
func NewState() *State { return blank[State]() }

// NewCue returns a Cue of which nothing is known yet.
func NewCue() *Cue { return blank[Cue]() }

// NewMark returns a Mark of which nothing is known yet.
func NewMark() *Mark { return blank[Mark]() }

// NewFuel returns a Fuel of which nothing is known yet.
func NewFuel() *Fuel { return blank[Fuel]() }

// NewLearned returns a Learned of which nothing is known yet.
func NewLearned() *Learned { return blank[Learned]() }

// blank returns a body whose numbers are all Unknown.
func blank[B any]() *B {
	body := new(B)
	fields := reflect.ValueOf(body).Elem()
	for i := range fields.NumField() {
		switch field := fields.Field(i).Addr().Interface().(type) {
		case *Num:
			*field = Unknown
		case *Wheels:
			*field = NoWheels()
		}
	}
	return body
}

// Bodies returns an empty body of each kind, in a fixed order.
func Bodies() []Body {
	return []Body{
		&Session{}, NewStint(), NewLap(), NewCorner(), NewState(), NewCue(), NewMark(), &Command{}, NewFuel(),
		&Health{},
		NewLearned(),
	}
}

var bodies = Bodies()

// newBody returns an empty body of that kind, or nil where the kind is not known.
func newBody(kind string) Body {
	i := slices.IndexFunc(bodies, func(b Body) bool { return b.Kind() == kind })
	if i < 0 {
		return nil
	}
	empty := reflect.ValueOf(bodies[i]).Elem()
	body := reflect.New(empty.Type())
	body.Elem().Set(empty)
	return body.Interface().(Body)
}
