package debrief

import (
	"cmp"
	"math"
	"slices"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/assistant/session/model"
	"earshot/assistant/statistics"
	"earshot/assistant/words"
)

// ForCar returns the Context of a car file, in default units.
func ForCar(c *car.Car) Context {
	lock, spin := math.Inf(-1), math.Inf(1)
	for w := channel.FL; w <= channel.RR; w++ { // the strictest, so that no wheel's limit is overlooked
		lock, spin = max(lock, c.At("slip_lock", w)), min(spin, c.At("slip_spin", w))
	}
	return Context{
		HotTarget: c.HotPressure, ColdMinimum: c.ColdMinimum,
		FuelCost:     c.FuelEffect * c.FuelDensity,
		BalanceLimit: c.Whole("balance_limit"), SlipLock: lock, SlipSpin: spin,
	}
}

// Build works the report out of the events of a journal. It does not keep or change events.
func Build(events []journal.Event, c Context) Report { return Of(model.Of(events), c) }

// Of works the report out of a session. It does not change it.
func Of(m *model.Session, c Context) Report {
	c = c.withDefaults()
	b := &builder{ctx: c, m: m}
	b.collect()
	r := Report{
		Session: b.head(), LapLength: b.lapLength(),
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
	r.Cues = b.cues(r.Session.Duration)
	r.Health, r.Learned = b.health(), m.Learned
	r.Notes = b.notes(r)
	r.Cautions = slices.Clone(cautions)
	r.Summary = b.summary(r)
	return r
}

// cautions stand on every debrief, whatever the session was.
var cautions = []string{
	"Meant for simulators and closed courses. It has no place on a public road.",
	"These are suggestions. You drive, and you answer for the car; nothing here may be relied on for safety, and " +
		"nothing here moves a control.",
	"In a real car the regulations of the series, the organiser and the marshals decide what may be fitted and used. " +
		"Flags and lights come before anything you hear.",
	"The limits of the tyre, wheel and brake makers, and what a licensed technician tells you, come before any figure " +
		"on this page.",
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

// A builder makes a report of a session.
type builder struct {
	ctx    Context
	m      *model.Session
	stints []Stint // as in the session
	laps   []Lap
}

func (b *builder) head() Head {
	m := b.m
	h := Head{ID: m.ID, Feed: m.Feed, Car: m.Car, Course: m.Course, Started: m.Started, Events: m.Events,
		Duration: journal.Unknown}
	if m.To > m.From {
		h.Duration = m.To - m.From
	}
	return h
}

// collect takes the stints and laps of the session over.
func (b *builder) collect() {
	u := journal.Unknown
	for _, s := range b.m.Stints {
		x := s.Begun
		b.stints = append(b.stints, Stint{
			Number: s.Number, Start: s.Start, End: s.End, Best: u, Median: u, Compound: x.Compound, Fuel: x.Fuel, FuelUsed: u,
			ColdPressure: x.TyrePressure, ColdTemperature: x.TyreTemperature,
			AirTemperature: x.AirTemperature, AirPressure: x.AirPressure, TrackTemperature: x.TrackTemperature,
			Trend: Trend{PerLap: u, Low: u, High: u},
		})
	}
	for _, l := range b.m.Laps {
		b.laps = append(b.laps, Lap{Lap: l, Delta: u})
	}
	for _, m := range b.m.Marks {
		if m.Lap >= 0 {
			b.laps[m.Lap].Marks++
		}
	}
}

func (b *builder) lapLength() Num {
	var lengths []float64
	for _, l := range b.laps {
		if l.Flying() {
			lengths = append(lengths, float64(l.Length))
		}
	}
	return Num(statistics.Median(lengths))
}

// notes say what the reader must know to read the rest rightly.
func (b *builder) notes(r Report) []string {
	notes := slices.Clone(b.ctx.Notes)
	switch {
	case b.m.Events == 0:
		return append(notes, "The journal is empty: nothing was recorded.")
	case len(r.Laps) == 0:
		notes = append(notes, "No lap was completed, so there are no times, no burn and no hot pressures.")
	case r.Pace.Laps == 0:
		notes = append(notes, "No valid flying lap was driven, so there is no best lap to compare with.")
	}
	for _, l := range b.m.NeverLearned() {
		notes = append(notes, words.English.NeverLearned(l.What, l.Lacks))
	}
	open := 0
	for _, s := range r.Stints {
		if s.End.IsZero() && !s.Start.IsZero() {
			open++
		}
	}
	if open > 0 {
		stints := plural(open, "stint has no end in the journal:", "stints have no end in the journal:")
		notes = append(notes, stints+" the program ended, or was ended, before the car came in.")
	}
	return notes
}

// byCount sorts the most frequent first and equals by name, so that the report is the same every time.
func byCount[T any](list []T, count func(T) int, name func(T) string) {
	slices.SortStableFunc(list, func(a, b T) int {
		return cmp.Or(cmp.Compare(count(b), count(a)), cmp.Compare(name(a), name(b)))
	})
}
