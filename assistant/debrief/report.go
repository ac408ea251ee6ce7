package debrief

import (
	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/assistant/session/model"
)

// A Context is what Build needs to know beside the events. The zero value is a
// driver without a car file.
type Context struct {
	Pressure    channel.Unit // zero: psi
	Temperature channel.Unit // zero: °C
	Speed       channel.Unit // zero: km/h
	Volume      channel.Unit // zero: l

	HotTarget    [4]float64 // kPa gauge by wheel; NaN or not above zero where there is none
	ColdMinimum  [4]float64 // kPa gauge by wheel, the tyre maker's; NaN or not above zero where not known
	FuelCost     float64    // s a lap for each litre aboard; NaN or 0 where not known
	BalanceLimit float64    // rad; NaN or 0 means 1° (common practice, no source)
	SlipLock     float64    // below zero; NaN or 0 means -0.20 (common practice, no source)
	SlipSpin     float64    // above zero; NaN or 0 means 0.15 (common practice, no source)

	// Notes are told as they are: that the journal is torn, what a recording lacks.
	Notes []string

	// Advise offers levers for a corner; nil offers none.
	Advise func(Corner) []Advice
}

// Advice is a lever that a user's advice file offers for what a corner showed.
type Advice struct {
	Lever      string `json:"lever"`
	Why        string `json:"why,omitempty"`
	SideEffect string `json:"side_effect,omitempty"`
	Caution    string `json:"caution,omitempty"`
}

// Units are the spellings of the units in which the writers show a Report.
type Units struct {
	Pressure    string `json:"pressure"`
	Temperature string `json:"temperature"`
	Speed       string `json:"speed"`
	Volume      string `json:"volume"`
}

// A Report is a whole debrief.
type Report struct {
	Session   Head            `json:"session"`
	Units     Units           `json:"units"` // of the sentences; the numbers are in the journal's units
	Summary   []string        `json:"summary,omitempty"`
	Pace      Pace            `json:"pace"`
	Stints    []Stint         `json:"stints,omitempty"`
	Laps      []Lap           `json:"laps,omitempty"`
	Fuel      Fuel            `json:"fuel"`
	Pressures []Pressure      `json:"pressures,omitempty"`
	Corners   []Corner        `json:"corners,omitempty"` // with marks first, then with repeated findings
	LapLength Num             `json:"lap_length,omitzero"`
	Cues      Cues            `json:"cues"`
	Health    Health          `json:"health"`
	Learned   []model.Learned `json:"learned,omitempty"` // what was and what was never learned, if the journal tells
	Notes     []string        `json:"notes,omitempty"`
	Cautions  []string        `json:"cautions"`
}

// Num is a number that may be unknown.
type Num = journal.Num

// Wheels holds one number per wheel, any of them unknown.
type Wheels = journal.Wheels

// Head is what session this is.
type Head struct {
	ID       string `json:"id,omitempty"`
	Feed     string `json:"feed,omitempty"`
	Car      string `json:"car,omitempty"`
	Course   string `json:"course,omitempty"`
	Started  string `json:"started,omitempty"`
	Duration Num    `json:"duration,omitzero"` // s from the first event to the last
	Events   int    `json:"events"`
}

// Pace is how quick and how even. Only valid flying laps count.
type Pace struct {
	Laps        int    `json:"laps"`
	Best        Num    `json:"best,omitzero"`
	BestLap     int    `json:"best_lap,omitempty"`
	Potential   Num    `json:"potential,omitzero"` // sum of the best sectors
	Median      Num    `json:"median,omitzero"`
	Consistency Num    `json:"consistency,omitzero"` // median absolute deviation
	Sectors     []Num  `json:"best_sectors,omitempty"`
	SectorLaps  []int  `json:"best_sector_laps,omitempty"` // the lap in which each best sector was driven
	TrendNote   string `json:"trend_note,omitempty"`
}

// Stint is the laps between leaving the pits and coming back.
type Stint struct {
	Number           int    `json:"number"`
	Start            Num    `json:"start,omitzero"`
	End              Num    `json:"end,omitzero"`
	Laps             int    `json:"laps"`
	Flying           int    `json:"flying"` // valid
	Best             Num    `json:"best,omitzero"`
	Median           Num    `json:"median,omitzero"`
	Compound         string `json:"compound,omitempty"`
	Fuel             Num    `json:"fuel,omitzero"`
	FuelUsed         Num    `json:"fuel_used,omitzero"` // sum over the laps that know it
	ColdPressure     Wheels `json:"cold_pressure,omitzero"`
	ColdTemperature  Wheels `json:"cold_temperature,omitzero"`
	AirTemperature   Num    `json:"air_temperature,omitzero"`
	AirPressure      Num    `json:"air_pressure,omitzero"`
	TrackTemperature Num    `json:"track_temperature,omitzero"`
	Trend            Trend  `json:"trend"`
}

// Trend is how lap time changes with the laps of a stint: Theil and Sen's slope with a 95 % interval.
type Trend struct {
	PerLap Num `json:"per_lap,omitzero"`
	Low    Num `json:"low,omitzero"`
	High   Num `json:"high,omitzero"`
	Laps   int `json:"laps"`

	FuelTakenOut bool `json:"fuel_taken_out,omitempty"` // what the fuel burnt off brings
}

// Lap is a line of the table.
type Lap struct {
	model.Lap
	Delta Num  `json:"delta,omitzero"` // to the best lap
	Marks int  `json:"marks,omitempty"`
	Best  bool `json:"best,omitempty"`
}

// Fuel is the burn of flying laps, valid or not.
type Fuel struct {
	Laps     int      `json:"laps"`
	PerLap   Num      `json:"per_lap,omitzero"` // median
	Spread   Num      `json:"spread,omitzero"`  // median absolute deviation
	Least    Num      `json:"least,omitzero"`
	Most     Num      `json:"most,omitzero"`
	Left     Num      `json:"left,omitzero"` // at the last account
	LapsLeft Num      `json:"laps_left,omitzero"`
	LapsToGo Num      `json:"laps_to_go,omitzero"`
	Margin   Num      `json:"margin,omitzero"`
	Meaning  []string `json:"meaning,omitempty"`
}

// Pressure is what a stint says about cold pressures.
type Pressure struct {
	Stint          int              `json:"stint"`
	HotLaps        []int            `json:"hot_laps,omitempty"`
	AirPressure    Num              `json:"air_pressure,omitzero"`
	AirAssumed     bool             `json:"air_pressure_assumed,omitempty"`
	AirTemperature Num              `json:"air_temperature,omitzero"`
	Wheels         [4]WheelPressure `json:"wheels"`
	Notes          []string         `json:"notes,omitempty"`
}

// WheelPressure is one wheel of it, kPa gauge.
type WheelPressure struct {
	Cold         Num  `json:"cold,omitzero"`
	Hot          Num  `json:"hot,omitzero"`
	Target       Num  `json:"target,omitzero"`
	Wanted       Num  `json:"wanted,omitzero"` // cold pressure that gives the target
	Minimum      Num  `json:"minimum,omitzero"`
	Set          Num  `json:"set,omitzero"` // Wanted, or the minimum where that is higher
	BelowMinimum bool `json:"below_minimum,omitempty"`
}

// Change is how far to move from the cold pressure of the stint.
func (w WheelPressure) Change() Num { return w.Set - w.Cold }

// Corner is a corner with marks or repeated findings.
type Corner struct {
	Number      int       `json:"number"` // 0: marks away from any known corner
	Name        string    `json:"name,omitempty"`
	Distance    Num       `json:"distance,omitzero"`
	Passes      int       `json:"passes"` // in flying laps
	Usual       Pass      `json:"usual"`  // medians of flying laps without a mark here
	UsualPasses int       `json:"usual_passes"`
	Marks       []Mark    `json:"marks,omitempty"`
	MarkedLaps  []int     `json:"marked_laps,omitempty"`
	Tags        []Tag     `json:"tags,omitempty"`
	Findings    []Finding `json:"findings,omitempty"`
	Sentences   []string  `json:"sentences,omitempty"`
	Advice      []Advice  `json:"advice,omitempty"`
}

// Tag counts the marks with a tag.
type Tag struct {
	Tag   string `json:"tag"`
	Count int    `json:"count"`
}

// Finding is what the data showed again and again in flying laps.
type Finding struct {
	Finding journal.Finding `json:"finding"`
	Text    string          `json:"text"` // the same in words
	Count   int             `json:"count"`
	Of      int             `json:"of"`             // flying passes
	Laps    []int           `json:"laps,omitempty"` // whose own pass showed it
}

// Pass is one pass through a corner, or the medians of several.
type Pass struct {
	EntrySpeed       Num    `json:"entry_speed,omitzero"`
	MinSpeed         Num    `json:"min_speed,omitzero"`
	ExitSpeed        Num    `json:"exit_speed,omitzero"`
	MinGear          Num    `json:"min_gear,omitzero"`
	Time             Num    `json:"time,omitzero"`
	Balance          Num    `json:"balance,omitzero"`
	MaxSlip          Wheels `json:"max_slip,omitzero"`
	BrakeTemperature Wheels `json:"brake_temperature,omitzero"`
	TyreTemperature  Wheels `json:"tyre_temperature,omitzero"`
	Lost             Num    `json:"time_lost,omitzero"` // s against the best pass before
	Line             Num    `json:"line_apex,omitzero"` // m from the learned line at the apex, left positive
}

// Mark is the driver's button, with the pass that it meant.
type Mark struct {
	Number           int               `json:"number"`
	T                Num               `json:"t,omitzero"`
	Lap              int               `json:"lap"`
	Class            string            `json:"class,omitempty"` // of the lap
	Distance         Num               `json:"distance,omitzero"`
	Tag              string            `json:"tag,omitempty"`
	Memo             string            `json:"memo,omitempty"`
	Speed            Num               `json:"speed,omitzero"` // where the button was pressed
	Gear             Num               `json:"gear,omitzero"`
	TyreTemperature  Wheels            `json:"tyre_temperature,omitzero"`
	BrakeTemperature Wheels            `json:"brake_temperature,omitzero"`
	Pass             Pass              `json:"pass"`
	Findings         []journal.Finding `json:"findings,omitempty"` // of that pass
	Sentences        []string          `json:"sentences,omitempty"`
}

// Cues is what was said and what was not.
type Cues struct {
	Offered       int        `json:"offered"`
	Said          int        `json:"said"` // calls begun, answers not counted
	Answers       int        `json:"answers"`
	NotSaid       int        `json:"not_said"`
	Minutes       Num        `json:"minutes,omitzero"`
	PerTenMinutes Num        `json:"per_ten_minutes,omitzero"`
	Busiest       int        `json:"busiest"` // most calls begun within any ten minutes
	Periods       int        `json:"periods"` // whole ten-minute periods
	Floods        int        `json:"floods"`  // of those, with more than ten calls
	Priorities    []Share    `json:"priorities,omitempty"`
	Rules         []RuleCues `json:"rules,omitempty"`
	Silent        []Silence  `json:"silent,omitempty"`
	Chatter       []string   `json:"chatter,omitempty"` // rules that spoke three times within a minute
	Load          []string   `json:"load,omitempty"`
}

// Share is how many calls of a priority were said.
type Share struct {
	Priority string `json:"priority"`
	Said     int    `json:"said"`
}

// RuleCues counts the calls of a rule.
type RuleCues struct {
	Rule    string `json:"rule"`
	Said    int    `json:"said"`
	NotSaid int    `json:"not_said"`
	Example string `json:"example,omitempty"`
}

// Silence is why calls of a rule were not said.
type Silence struct {
	Rule    string `json:"rule"`
	Verdict string `json:"verdict"`
	Reason  string `json:"reason,omitempty"` // a code
	Why     string `json:"why,omitempty"`    // the same in words
	Count   int    `json:"count"`
	Example string `json:"example,omitempty"`
}

// Health is what of Earshot itself was unwell.
type Health struct {
	Episodes []model.Episode `json:"episodes,omitempty"`
	Silent   Num             `json:"feed_silent,omitzero"` // s in which the feed was lost; unknown where it never told
}
