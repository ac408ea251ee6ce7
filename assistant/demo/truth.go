package demo

import (
	"encoding/json"
	"fmt"
)

// Version counts the changes of the simulation after which the same Options give other samples. It stands in every
// Truth, so that a recorded one tells which simulation it belongs to.
const Version = 4

// A Press is a command of the driver, due at At seconds on the clock of the samples.
type Press struct {
	At      float64 `json:"at"`
	Command string  `json:"command"`
	Memo    string  `json:"memo,omitempty"` // words spoken with a mark
}

// A Truth is what a session really was: what the rest of the program ought to find out. As JSON it is
// the file truth.json of `earshot demo --write`; units are those used inside, as beside each field.
type Truth struct {
	Version  int     `json:"version"`
	Seed     uint64  `json:"seed"`
	Course   *Course `json:"course"`
	Car      Car     `json:"car"`
	Rate     float64 `json:"rate"`
	Laps     int     `json:"race_laps"` // of the race; 0 where it goes by time
	Stint    int     `json:"flying_laps"`
	Duration float64 `json:"race_time"` // s, 0 for a race by laps
	Rivals   int     `json:"rivals"`
	Finished int     `json:"finished"` // the lap with which the car finished the race, 0 where it did not
	Stops    []Stop  `json:"stops,omitempty"`
	Weather  Weather `json:"weather"`
	Fuel     float64 `json:"fuel_start"` // L
	Box      float64 `json:"box"`        // m from the line along the course: where the car stands
	Faults   []Fault `json:"faults"`     // of the Options and of the Story
	Presses  []Press `json:"presses"`    // so far
	Done     []Lap   `json:"laps"`       // laps completed so far, the out-lap first

	// Gradient is the understeer gradient in rad per m/s² at the road wheels, with warm new tyres at low speed.
	Gradient float64 `json:"understeer_gradient"`
}

// A Lap is one that has been completed.
type Lap struct {
	Number int `json:"number"` // 0 is the out-lap
	// s: crossings of the line, exact between samples; the out-lap starts when the car moves off
	Start      float64 `json:"start"`
	End        float64 `json:"end"`
	Time       float64 `json:"time"` // s: End - Start
	Valid      bool    `json:"valid"`
	WhyInvalid string  `json:"why_invalid,omitempty"`
	Class      string  `json:"class"`     // out, flying or in
	FuelUsed   float64 `json:"fuel_used"` // L
	FuelLeft   float64 `json:"fuel_left"` // L at the end
	Distance   float64 `json:"distance"`  // m driven along the centre line

	// At the end of the lap, in °C and kPa; wheels FL, FR, RL, RR.
	Tread        [4]float64 `json:"tread"`
	Carcass      [4]float64 `json:"carcass"`
	Disc         [4]float64 `json:"disc"`
	Pressure     [4]float64 `json:"pressure"`
	DiscPeak     [4]float64 `json:"disc_peak"`          // °C: highest in the lap
	CarcassMean  [4]float64 `json:"carcass_mean"`       // °C: over the time of the lap
	PressureMean [4]float64 `json:"pressure_mean"`      // kPa, likewise
	Wear         [4]float64 `json:"wear"`               // worn share of the tread
	TopSpeed     float64    `json:"top_speed"`          // m/s
	Wet          float64    `json:"wet"`                // of the road: 0 dry to 1 standing water
	Coolant      float64    `json:"coolant"`            // °C
	Oil          float64    `json:"oil"`                // °C
	Position     int        `json:"position,omitempty"` // in the race, where there are others
	Compound     int        `json:"compound"`

	Corners []Pass `json:"corners"` // as they were driven through, in order
}

// A Pass is one drive through a corner, from the begin of its transition in to the end of that out.
type Pass struct {
	Number     int     `json:"number"`
	Time       float64 `json:"time"`        // s
	MinSpeed   float64 `json:"min_speed"`   // m/s
	EntrySpeed float64 `json:"entry_speed"` // m/s
	ExitSpeed  float64 `json:"exit_speed"`  // m/s
}

// A writtenFault is a Fault as truth.json has it.
type writtenFault struct {
	Kind    Kind    `json:"kind"`
	FromLap int     `json:"from_lap"`
	ToLap   int     `json:"to_lap"`
	Corner  int     `json:"corner"`
	Wheel   string  `json:"wheel"` // fl, fr, rl or rr, as everywhere
	Channel string  `json:"channel,omitempty"`
	Amount  float64 `json:"amount"`
}

// MarshalJSON writes the wheel by its letters.
func (f Fault) MarshalJSON() ([]byte, error) {
	return json.Marshal(writtenFault{f.Kind, f.FromLap, f.last(), f.Corner, f.Wheel.Suffix(), f.Channel, f.Amount})
}

// UnmarshalJSON reads what MarshalJSON writes.
func (f *Fault) UnmarshalJSON(data []byte) error {
	var w writtenFault
	if err := json.Unmarshal(data, &w); err != nil {
		return err
	}
	wheel, ok := wheelNamed(w.Wheel)
	if !ok {
		return fmt.Errorf("demo: unknown wheel %q: use fl, fr, rl or rr", w.Wheel)
	}
	*f = Fault{w.Kind, w.FromLap, w.ToLap, w.Corner, wheel, w.Channel, w.Amount}
	return nil
}
