package debrief

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/assistant/statistics"
)

// ForCar returns the Context of a car file, in default units.
func ForCar(c *car.Car) Context {
	lock, spin := math.Inf(-1), math.Inf(1)
	for w := channel.FL; w <= channel.RR; w++ { // the strictest, so that no wheel's limit is overlooked
		lock, spin = max(lock, c.At("slip_lock", w)), min(spin, c.At("slip_spin", w))
	}
	return Context{
		HotTarget: c.HotPressure, ColdMinimum: c.ColdMinimum,
		BalanceLimit: c.Whole("balance_limit"), SlipLock: lock, SlipSpin: spin,
	}
}

// Build works the report out. It does not keep or change events.
func Build(events []journal.Event, c Context) Report {
	c = c.withDefaults()
	b := &builder{ctx: c, events: events}
	b.collect()
	r := Report{
		Session: b.head, LapLength: b.lapLength(),
		Units: Units{c.Pressure.Spelling, c.Temperature.Spelling, c.Speed.Spelling, c.Volume.Spelling},
	}
	r.Laps, r.Pace = b.laps, pace(b.laps)
	for i := range r.Laps {
		l := &r.Laps[i]
		l.Delta = l.Time - r.Pace.Best
		l.Best = l.Counts() && l.Number == r.Pace.BestLap && l.Time == r.Pace.Best
	}
	r.Stints = b.stints
	for i := range r.Stints {
		b.fillStint(i, &r.Stints[i])
	}
	r.Pace.TrendNote = trendNote(r.Stints)
	r.Fuel = b.fuel()
	for i, s := range r.Stints {
		if p, ok := b.pressure(i, s); ok {
			r.Pressures = append(r.Pressures, p)
		}
	}
	r.Corners = b.corners()
	r.Cues = b.cues()
	r.Health = b.health()
	r.Notes = b.notes(r)
	r.Cautions = slices.Clone(cautions)
	r.Summary = b.summary(r)
	return r
}

// cautions stand on every debrief, whatever the session was.
var cautions = []string{
	"Meant for simulators and closed courses. It has no place on a public road.",
	"These are suggestions. You drive, and you answer for the car; nothing here may be relied on for safety, and nothing here moves a control.",
	"In a real car the regulations of the series, the organiser and the marshals decide what may be fitted and used. Flags and lights come before anything you hear.",
	"The limits of the tyre, wheel and brake makers, and what a licensed technician tells you, come before any figure on this page.",
	"Headphones add to the noise of the car: keep them low and the time short.",
	"Tell the people around you when voices are recorded. Recordings stay on this machine.",
}

func (c Context) withDefaults() Context {
	unit := func(u *channel.Unit, spelling string) {
		if u.Scale == 0 {
			*u, _ = channel.UnitNamed(spelling)
		}
	}
	unit(&c.Pressure, "psi")
	unit(&c.Temperature, "°C")
	unit(&c.Speed, "km/h")
	unit(&c.Volume, "l")
	number := func(x *float64, otherwise float64) {
		if *x == 0 || math.IsNaN(*x) || math.IsInf(*x, 0) {
			*x = otherwise
		}
	}
	number(&c.BalanceLimit, math.Pi/180)
	number(&c.SlipLock, -0.20)
	number(&c.SlipSpin, 0.15)
	for w := range 4 {
		if !(c.HotTarget[w] > 0) {
			c.HotTarget[w] = math.NaN()
		}
		if !(c.ColdMinimum[w] > 0) {
			c.ColdMinimum[w] = math.NaN()
		}
	}
	return c
}

// builder holds what one walk through the events found.
type builder struct {
	ctx    Context
	events []journal.Event

	head       Head
	first      float64 // T of the first and last event
	last       float64
	stints     []Stint
	laps       []Lap
	lengths    []float64
	passes     []pass
	marks      []markEvent
	account    *journal.Fuel
	cueEvents  []journal.Event
	healthList []journal.Event
}

// A pass is a corner event and the lap that it belongs to: an index of laps, or -1 where the lap was never completed.
type pass struct {
	event journal.Event
	c     *journal.Corner
	lap   int
}

type markEvent struct {
	event journal.Event
	m     *journal.Mark
	lap   int
}

// collect sorts the events by what they are. Lap numbers may start again within a journal, so passes and marks
// are given to the next completed lap of their number, not to any lap of it.
func (b *builder) collect() {
	b.head.Events, b.head.Duration = len(b.events), journal.Unknown
	b.first, b.last = math.NaN(), math.NaN()
	firstPass, firstMark := 0, 0
	for _, e := range b.events {
		if !math.IsNaN(e.T) {
			b.first, b.last = fmin(b.first, e.T), fmax(b.last, e.T)
		}
		switch x := e.Body.(type) {
		case *journal.Session:
			b.head.ID, b.head.Feed, b.head.Car = x.ID, x.Feed, x.Car
			b.head.Course, b.head.Started = x.Course, x.Started
		case *journal.Stint:
			b.stint(e, x)
		case *journal.Lap:
			b.lap(x)
			at := len(b.laps) - 1
			for i := firstPass; i < len(b.passes); i++ {
				if b.passes[i].event.Lap == x.Number {
					b.passes[i].lap = at
				}
			}
			for i := firstMark; i < len(b.marks); i++ {
				if b.marks[i].event.Lap == x.Number {
					b.marks[i].lap = at
					b.laps[at].Marks++
				}
			}
			firstPass, firstMark = len(b.passes), len(b.marks)
		case *journal.Corner:
			b.passes = append(b.passes, pass{e, x, -1})
		case *journal.Mark:
			b.marks = append(b.marks, markEvent{e, x, -1})
		case *journal.Fuel:
			b.account = x
		case *journal.Cue:
			b.cueEvents = append(b.cueEvents, e)
		case *journal.Health:
			b.healthList = append(b.healthList, e)
		}
	}
	if b.last > b.first {
		b.head.Duration = Num(b.last - b.first)
	}
}

func (b *builder) stint(e journal.Event, x *journal.Stint) {
	if x.Event == "end" {
		for i := len(b.stints) - 1; i >= 0; i-- {
			if b.stints[i].Number == x.Number {
				b.stints[i].End = Num(e.T)
				return
			}
		}
		return
	}
	s := newStint(x.Number)
	s.Start = Num(e.T)
	s.Compound, s.Fuel = x.Compound, x.Fuel
	s.ColdPressure, s.ColdTemperature = x.TyrePressure, x.TyreTemperature
	s.AirTemperature, s.AirPressure, s.TrackTemperature = x.AirTemperature, x.AirPressure, x.TrackTemperature
	b.stints = append(b.stints, s)
}

func newStint(number int) Stint {
	u := journal.Unknown
	return Stint{
		Number: number, Start: u, End: u, Best: u, Median: u, Fuel: u, FuelUsed: u,
		ColdPressure: journal.NoWheels(), ColdTemperature: journal.NoWheels(),
		AirTemperature: u, AirPressure: u, TrackTemperature: u,
		Trend: Trend{PerLap: u, Low: u, High: u},
	}
}

func (b *builder) lap(x *journal.Lap) {
	l := Lap{
		Number: x.Number, Stint: x.Stint, Class: x.Class, Time: x.Time, Delta: journal.Unknown, Valid: x.Valid,
		WhyInvalid: x.WhyInvalid, Sectors: slices.Clone(x.Sectors), FuelUsed: x.FuelUsed,
		TyrePressure: x.TyrePressure, TyreTemperature: x.TyreTemperature, BrakePeak: x.BrakePeak,
		Inexact: x.Inexact, Record: x.Record,
	}
	if l.Stint == 0 {
		l.Stint = 1
		if n := len(b.stints); n > 0 {
			l.Stint = b.stints[n-1].Number
		}
	}
	for l.stint = len(b.stints) - 1; l.stint >= 0 && b.stints[l.stint].Number != l.Stint; l.stint-- {
	}
	if l.stint < 0 { // its start is not in the journal
		l.stint = len(b.stints)
		b.stints = append(b.stints, newStint(l.Stint))
	}
	if l.Class == "flying" && !x.Length.IsZero() {
		b.lengths = append(b.lengths, float64(x.Length))
	}
	b.laps = append(b.laps, l)
}

func (b *builder) lapLength() Num { return Num(statistics.Median(b.lengths)) }

// notes say what the reader must know to read the rest rightly.
func (b *builder) notes(r Report) []string {
	notes := slices.Clone(b.ctx.Notes)
	switch {
	case len(b.events) == 0:
		return append(notes, "The journal is empty: nothing was recorded.")
	case len(r.Laps) == 0:
		notes = append(notes, "No lap was completed, so there are no times, no burn and no hot pressures.")
	case r.Pace.Laps == 0:
		notes = append(notes, "No valid flying lap was driven, so there is no best lap to compare with.")
	}
	open := 0
	for _, s := range r.Stints {
		if s.End.IsZero() && !s.Start.IsZero() {
			open++
		}
	}
	if open > 0 {
		notes = append(notes, fmt.Sprintf("%s the program ended, or was ended, before the car came in.", plural(open, "stint has no end in the journal:", "stints have no end in the journal:")))
	}
	return notes
}

func fmin(a, b float64) float64 {
	if math.IsNaN(a) {
		return b
	}
	return min(a, b)
}

func fmax(a, b float64) float64 {
	if math.IsNaN(a) {
		return b
	}
	return max(a, b)
}

// byCount sorts the most frequent first and equals by name, so that the report is the same every time.
func byCount[T any](list []T, count func(T) int, name func(T) string) {
	slices.SortStableFunc(list, func(a, b T) int {
		if c := cmp.Compare(count(b), count(a)); c != 0 {
			return c
		}
		return cmp.Compare(name(a), name(b))
	})
}

// WriteText writes the report as plain text for a terminal.
func WriteText(w io.Writer, r Report) error { return writeText(w, r) }

// WriteHTML writes the report as one page that needs no network, no script and no other file.
func WriteHTML(w io.Writer, r Report) error { return writeHTML(w, r) }
