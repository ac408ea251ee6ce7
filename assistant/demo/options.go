package demo

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"earshot/assistant/channel"
)

// Options say what is driven. The zero value with a Rate is a race of DefaultLaps
// laps without a fault on the first course of the table.
type Options struct {
	Seed   uint64 // of all noise; equal Options give equal samples
	Course string // name of a course in Courses, or empty for the first
	// laps of the race, as counted down by session_laps_left; 0 means StoryLaps in a Story, else DefaultLaps
	Laps   int
	Stint  int     // flying laps driven before the in-lap; 0 means Laps
	Rate   float64 // samples per second, 10 to 360; 0 means DefaultRate
	Faults []Fault
	Story  bool // adds the faults and the presses of the driver that `earshot demo` shows
	Car    *Car // the car and its setup; nil means Baseline

	// Fuel is the litres aboard at the start; 0 means what the driver believes the race will need: in a Story
	// about half a lap too little with a lap in reserve, else two laps more than enough.
	Fuel float64

	// The world. Each is switched off by its zero value.
	Rivals   int     // other cars in the race, 0 to 60: gaps, position, blue flags, a flag that falls to the leader
	Duration float64 // s on the clock of a race by time, 60 to 86400; Laps and Stint are then not used
	Stops    []Stop
	Weather  Weather
}

// Defaults of Options.
const (
	DefaultLaps = 18
	StoryLaps   = 11
	DefaultRate = 60.0
)

// A Kind of fault.
type Kind string

// The kinds of faults. Amount means something else in each.
const (
	// the front tyres lose the share Amount of their stiffness and half of it of their grip in Corner
	Understeer Kind = "understeer"
	Oversteer  Kind = "oversteer" // the same at the rear
	// the driver leaves the course at the exit of Corner by Amount metres; the lap is void
	RunWide     Kind = "run_wide"
	BlockedDuct Kind = "blocked_duct" // the brake duct of Wheel lets the share Amount less air through; Corner is ignored
	// Wheel gets Amount times the brake force it can carry in the braking zone of Corner; ABS catches up to 1.25
	Lock Kind = "lock"
	Spin Kind = "spin" // Wheel, a rear one, gets Amount times the drive it can carry at the exit of Corner
	// the tyre of Wheel loses Amount kPa (absolute, at its temperature) a minute; Corner is ignored
	Leak    Kind = "leak"
	SetABS  Kind = "set_abs" // the driver sets the level of the ABS to Amount at the exit of Corner of FromLap
	SetTC   Kind = "set_tc"  // the same for the traction control
	Silence Kind = "silence" // no samples for Amount seconds from the exit of Corner of FromLap
	// a yellow flag is shown in Corner, and the driver takes off the share Amount of his speed there
	Yellow Kind = "yellow"
	// a full-course caution begins when the driver leaves Corner in FromLap and lasts Amount seconds
	Caution Kind = "caution"
	// the driver lifts Amount metres before each braking point and coasts; Corner is ignored
	Save      Kind = "save"
	Radiator  Kind = "radiator"  // the share Amount of the radiator is blocked; Corner is ignored
	OilLoss   Kind = "oil_loss"  // the oil pressure falls by the share Amount; Corner is ignored
	Bottoming Kind = "bottoming" // a hollow at the apex of Corner presses the springs together by Amount metres
	Wear      Kind = "wear"      // the tyres lose the share Amount of their grip in each lap more; Corner is ignored
	// the driver leaves up to the share Amount of the grip unused, another in each lap; Corner is ignored
	Uneven Kind = "uneven"
	// Channel keeps the reading that it has at the exit of Corner of FromLap until ToLap ends
	Frozen Kind = "frozen"
)

// A Fault is something that goes wrong, or that the driver does, in some laps.
type Fault struct {
	Kind    Kind
	FromLap int // 0 is the out-lap, 1 the first lap begun at the line
	ToLap   int // the last lap of it; 0 means FromLap only
	Corner  int // number of the corner, from 1; 0 means all of them
	Wheel   channel.Wheel
	Channel string // of Frozen
	Amount  float64
}

func (f Fault) last() int { return max(f.FromLap, f.ToLap) }

func (f Fault) in(lap int) bool { return lap >= f.FromLap && lap <= f.last() }

func (f Fault) at(lap, corner int) bool {
	return f.in(lap) && (f.Corner == 0 || f.Corner == corner)
}

// ErrOptions is wrapped by every error of New.
var ErrOptions = errors.New("invalid demo options")

// An OptionError says which option cannot be used and what to write instead.
type OptionError struct {
	Option string // such as "Rate" or "Faults[2].Corner"
	Msg    string
	Hint   string
}

func (e *OptionError) Error() string {
	return fmt.Sprintf("demo: %s: %s (%s)", e.Option, e.Msg, e.Hint)
}

// Unwrap returns ErrOptions.
func (e *OptionError) Unwrap() error { return ErrOptions }

// settle fills in the defaults and reports every mistake.
func (o Options) settle(set *channel.Set) (Options, *Course, error) {
	var errs []error
	bad := func(option, msg, hint string) { errs = append(errs, &OptionError{option, msg, hint}) }

	if o.Course == "" {
		o.Course = Courses()[0]
	}
	course, err := LoadCourse(o.Course)
	if err != nil {
		bad("Course", fmt.Sprintf("there is no course %q", o.Course), "use one of "+strings.Join(Courses(), ", "))
	}
	if o.Rate == 0 {
		o.Rate = DefaultRate
	}
	if !(o.Rate >= 10 && o.Rate <= stepRate) {
		bad("Rate", fmt.Sprintf("%g samples per second", o.Rate), "use 10 to 360")
	}
	if o.Laps == 0 {
		o.Laps = DefaultLaps
		if o.Story {
			o.Laps = StoryLaps
		}
	}
	if o.Laps < 1 || o.Laps > 10000 {
		bad("Laps", fmt.Sprintf("a race of %d laps", o.Laps), "use 1 to 10000")
	}
	if o.Stint == 0 {
		o.Stint = o.Laps
	}
	if o.Duration != 0 && !(o.Duration >= 60 && o.Duration <= 86400) {
		bad("Duration", fmt.Sprintf("a race of %g s", o.Duration), "use 60 to 86400, or 0 for a race by laps")
	}
	if o.Rivals < 0 || o.Rivals > 60 {
		bad("Rivals", fmt.Sprintf("%d other cars", o.Rivals), "use 0 to 60")
	}
	o.Weather.validate(bad)
	validateStops(o.Stops, o.Stint, o.Duration > 0, bad)
	if o.Stint < 1 || o.Stint > o.Laps {
		bad("Stint", fmt.Sprintf("%d flying laps in a race of %d", o.Stint, o.Laps), "use 1 to the laps of the race")
	}
	if !(o.Fuel >= 0 && o.Fuel <= 500) {
		bad("Fuel", fmt.Sprintf("%g litres", o.Fuel), "use 0 to 500")
	}
	if o.Car == nil {
		c := Baseline()
		o.Car = &c
	} else if err := o.Car.validate(); err != nil {
		errs = append(errs, err)
	}
	if o.Story && course != nil {
		o.Faults = append(storyFaults(course), o.Faults...)
	}
	for i, f := range o.Faults {
		name := fmt.Sprintf("Faults[%d].", i)
		if f.FromLap < 0 || f.ToLap != 0 && f.ToLap < f.FromLap {
			bad(name+"FromLap", fmt.Sprintf("laps %d to %d", f.FromLap, f.ToLap), "laps count up from 0, the out-lap")
		}
		if course != nil && (f.Corner < 0 || f.Corner > len(course.Corners)) {
			bad(name+"Corner", fmt.Sprintf("corner %d", f.Corner), fmt.Sprintf("use 1 to %d, or 0 for all", len(course.Corners)))
		}
		if f.Wheel < channel.FL || f.Wheel > channel.RR {
			bad(name+"Wheel", fmt.Sprintf("wheel %d", f.Wheel), "use FL, FR, RL or RR")
		}
		k, ok := kindOf(f.Kind)
		switch {
		case !ok:
			bad(name+"Kind", fmt.Sprintf("unknown kind %q", f.Kind), "use one of the Kind constants")
		case !(f.Amount >= k.low && f.Amount <= k.high):
			bad(name+"Amount", fmt.Sprintf("%g for a fault of kind %s", f.Amount, f.Kind),
				fmt.Sprintf("use %g to %g", k.low, k.high))
		}
		if f.Corner == 0 && k.once {
			bad(name+"Corner", "the place is missing", "name the corner at whose exit it happens")
		}
		if f.Kind == Spin && f.Wheel < channel.RL {
			bad(name+"Wheel", "the front wheels are not driven", "use RL or RR")
		}
		if _, ok := set.Lookup(f.Channel); f.Kind == Frozen && !ok {
			bad(name+"Channel", fmt.Sprintf("unknown channel %q", f.Channel), "use a name of the catalogue")
		}
	}
	return o, course, errors.Join(errs...)
}

// A kind is what the Options take of a Kind of fault.
type kind struct {
	Kind
	usual     float64 // an amount that is plain to see; 0 where there is none
	low, high float64 // of the amount
	once      bool    // it happens at one place
	wheel     bool    // it belongs to a wheel
}

var kinds = []kind{
	{Kind: Understeer, usual: 0.35, high: 0.6},
	{Kind: Oversteer, usual: 0.35, high: 0.6},
	{Kind: RunWide, usual: 1.5, low: 1, high: 4, once: true},
	{Kind: BlockedDuct, usual: 0.3, high: 1, wheel: true},
	{Kind: Lock, usual: 1.4, low: 1, high: 2, wheel: true},
	{Kind: Spin, usual: 1.4, low: 1, high: 2, wheel: true},
	{Kind: Leak, usual: 6, high: 100, wheel: true},
	{Kind: SetABS, high: 12, once: true},
	{Kind: SetTC, high: 12, once: true},
	{Kind: Silence, usual: 5, high: 600, once: true},
	{Kind: Yellow, usual: 0.3, high: 0.5},
	{Kind: Caution, usual: 120, high: 600, once: true},
	{Kind: Save, usual: 60, high: 300},
	{Kind: Radiator, usual: 0.45, high: 0.5},
	{Kind: OilLoss, usual: 0.7, high: 1},
	{Kind: Bottoming, usual: 0.06, high: 0.1},
	{Kind: Wear, usual: 0.01, high: 0.15},
	{Kind: Uneven, usual: 0.04, high: 0.15},
	{Kind: Frozen, low: math.Inf(-1), high: math.Inf(1), once: true},
}

// kindOf finds a kind by its name.
func kindOf(name Kind) (k kind, ok bool) {
	for _, k := range kinds {
		if k.Kind == name {
			return k, true
		}
	}
	return kind{}, false
}
