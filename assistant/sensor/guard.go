package sensor

import (
	"math"
	"slices"

	"earshot/assistant/channel"
)

// A Fault is what is wrong with a sensor.
type Fault int

// The faults.
const (
	None Fault = iota
	Frozen
	Implausible
)

// A Finding is a sensor that failed, or measures again where Fault is None.
type Finding struct {
	Channel channel.ID
	Fault   Fault
	Value   float64 // the reading that stands still or cannot be; else the present one
	For     float64 // s of the car moving for which it stood still, or s of nonsense
}

// Common practice, no source.
const (
	movingFrom  = 8.0  // m/s: slower is the pit lane, a caution at walking pace, the paddock
	odd         = 1.0  // s of nonsense that make a sensor implausible
	believed    = 1.0  // s after which another level is believed, if it stays
	recovered   = 2.0  // s of sound readings after which an implausible sensor measures again
	spikesTold  = 5    // single wild readings …
	spikesIn    = 10.0 // … in so many seconds are a loose contact
	wildShare   = 0.03 // of each difference beyond Jump that counts as usual …
	wildFor     = 20.0 // … for so many seconds: a tread seen by a ray of light is wild by nature
	restFactor  = 3.0  // times the longest rest seen before
	fewSteps    = 3.0  // steps by which its fellows must have moved, in
	fewMoves    = 4    // changes at least: one that tells its reading every minute is no witness
	fewChanges  = 5    // changes from which the steps of a sensor are known, and how often it tells its reading
	unknownFor  = 20.0 // s of the car moving before one is judged that has changed less often
	finest      = 0.05 // of Stir: a sensor of finer steps cannot repeat itself
	fine        = 0.25 // of Stir
	worked      = 10.0 // m/s by which the car must have slowed for a sensor to be judged alone
	fineAlone   = 3.0  // times Sense.Frozen for all sensors of a kind together, of fine steps
	coarseAlone = 6.0  // the same of coarse ones
	neverMoved  = 15.0 // times Sense.Frozen for one that has never moved, all of its kind neither
	coldAir     = 10.0 // °C: below this a tyre may well be at 0
)

// A Guard watches the sensors. Make one with New.
type Guard struct {
	set     *channel.Set
	sensors []sensor
	quick   []quick
	fed     []channel.Span
	clean   channel.Row // what of a sample can be believed
	watched []int       // sensors with a fault, or whose readings are nonsense at this moment
	found   []Finding
	looked  float64 // when rest was looked at last, NaN before
	moving  bool    // at that time
}

// A quick is what every sample needs of a sensor that has a Jump.
type quick struct {
	id       channel.ID
	jump     float64
	last, at float64 // the reading believed last, and when; NaN before
	of       int     // index of the sensor
}

// A sensor is what is known of a channel.
type sensor struct {
	id    channel.ID
	sense *channel.Sense
	kin   [4]int // indices of its fellows, -1: none
	pair  int    // index of Sense.Pair, -1: none
	lo    float64
	hi    float64
	stale float64

	fault   Fault
	masked  bool    // its readings are taken away
	oddAt   float64 // since when readings are nonsense, NaN: they are not
	soundAt float64 // since when those of an implausible sensor are sound, NaN: they are not
	level   float64 // a reading that was not believed, NaN: none
	levelAt float64
	wild    float64 // by how much readings usually differ beyond Jump
	wildAt  float64
	spikes  int
	spikeAt float64

	// What follows is looked at once a second.
	last    float64 // reading at the last look, NaN before
	changes int
	step    float64    // the least change from one look to the next, +Inf before
	rest    float64    // s of the car moving since it changed
	longest float64    // s, longest rest seen
	calm    float64    // how much fellows moved in rests, in their Stirs
	fast    float64    // m/s, greatest speed in this rest
	slowed  float64    // m/s by which the car has slowed in this rest
	ref     [4]float64 // what fellows showed when this rest began
	count   [4]int     // and how often they had changed
	moved   [4]float64 // by how much they have moved since
}

// New returns a Guard of sensors of which nothing has been seen.
func New(set *channel.Set) *Guard {
	g := &Guard{set: set, fed: set.Fed(), clean: set.NewRow(), looked: math.NaN()}
	nan := math.NaN()
	index := map[channel.ID]int{}
	for _, first := range channel.Sensed() {
		n := channel.ID(1)
		if channel.PerWheel(first) {
			n = 4
		}
		for id := first; id < first+n; id++ {
			c, sense := set.At(id), channel.SenseOf(first)
			i := len(g.sensors)
			index[id] = i
			if sense.Jump > 0 {
				g.quick = append(g.quick, quick{id: id, jump: sense.Jump, last: nan, at: math.Inf(-1), of: i})
			}
			s := sensor{id: id, sense: sense, lo: c.Min, hi: c.Max, stale: c.Stale, step: math.Inf(1)}
			s.last, s.level, s.oddAt, s.soundAt = nan, nan, nan, nan
			s.kin, s.pair = [4]int{-1, -1, -1, -1}, -1
			at := 0
			for other := range n {
				if first+other != id {
					s.kin[at] = i - int(id-first) + int(other)
					at++
				}
			}
			s.rested()
			g.sensors = append(g.sensors, s)
		}
	}
	for i := range g.sensors {
		s := &g.sensors[i]
		for k, id := range s.sense.Kin {
			s.kin[k] = index[id]
		}
		if s.sense.Pair != 0 {
			s.pair = index[s.sense.Pair]
		}
	}
	return g
}

// Update hands the readings of a sample that can be believed to hold, and takes those in force away that cannot. The
// result is that of Hold.Update. What was found is told by Findings.
func (g *Guard) Update(hold *channel.Hold, s channel.Sample) (implausible int) {
	g.found = g.found[:0]
	implausible = hold.Update(channel.Sample{At: s.At, Row: g.filter(s, hold.Row)})
	if implausible > 0 {
		g.beyond(s)
	}
	if dt := s.At - g.looked; !(dt < 1) {
		g.looked = s.At
		g.look(min(max(dt, 0), 2), hold.Row)
	}
	if len(g.watched) > 0 {
		g.attend(s, hold.Row)
	}
	return implausible
}

// Findings are what the last Update has found. They are good until the next.
func (g *Guard) Findings() []Finding { return g.found }

// Faults appends the channels that have that fault now.
func (g *Guard) Faults(f Fault, ids []channel.ID) []channel.ID {
	for _, i := range g.watched {
		if g.sensors[i].fault == f {
			ids = append(ids, g.sensors[i].id)
		}
	}
	return ids
}

// filter returns a copy of the row without the single readings that cannot be. Copying first, at one go, is quicker than reading
// here and there what another processor has just written.
func (g *Guard) filter(s channel.Sample, held channel.Row) channel.Row {
	for _, f := range g.fed {
		copy(g.clean[f.From:f.To], s.Row[f.From:f.To])
	}
	all, clean := g.quick, g.clean
	for i := range all {
		q := &all[i]
		v := clean[q.id]
		if math.IsNaN(v) {
			continue
		}
		// By far the most frequent: it is near the one before.
		if d := v - q.last; d <= q.jump && d >= -q.jump && v != 0 || v == q.last {
			q.last, q.at = v, s.At
			continue
		}
		if x := &g.sensors[q.of]; v < x.lo || v > x.hi {
			continue // Hold makes it absent
		}
		if g.believe(q, s.At, v, held) {
			q.last, q.at = v, s.At
			continue
		}
		clean[q.id] = math.NaN()
	}
	return clean
}

// believe judges a reading that is far from the one before, the first one, or exactly 0.
func (g *Guard) believe(q *quick, at, v float64, held channel.Row) bool {
	s := &g.sensors[q.of]
	if v == 0 && s.sense.NoZero {
		first := math.IsNaN(q.last)
		cold := g.set.At(q.id).Quantity == channel.Temperature && held[channel.AirTemperature] < coldAir
		if q.last > q.jump || first && !cold {
			s.masked = s.masked || first // no other reading is in force
			g.nonsense(q.of, at)
			return false
		}
	}
	if math.IsNaN(q.last) || at-q.at > s.stale {
		return true
	}
	d := math.Abs(v - q.last)
	if s.wild > 0 {
		s.wild *= math.Exp(-(at - s.wildAt) / wildFor)
	}
	allowed := q.jump + max(s.sense.Slew*(at-q.at), 2*s.wild)
	if d > q.jump {
		s.wild += wildShare * d
		s.wildAt = at
	}
	switch {
	case d <= allowed:
	case math.IsNaN(s.level) || q.at > s.levelAt || math.Abs(v-s.level) > allowed:
		if at-s.spikeAt > spikesIn || s.spikes == 0 {
			s.spikes, s.spikeAt = 0, at
		}
		s.spikes++
		s.level, s.levelAt, s.soundAt = v, at, math.NaN()
		if s.spikes >= spikesTold {
			g.fail(q.of, Implausible, v, at-s.spikeAt)
		}
		return false
	case at-s.levelAt < believed:
		return false
	default:
		s.spikes = 0
	}
	s.level = math.NaN()
	return true
}

// beyond takes note of readings outside their range.
func (g *Guard) beyond(s channel.Sample) {
	for i := range g.sensors {
		if x := &g.sensors[i]; s.Row[x.id] < x.lo || s.Row[x.id] > x.hi {
			g.nonsense(i, s.At)
		}
	}
}

func (g *Guard) nonsense(i int, at float64) {
	s := &g.sensors[i]
	s.soundAt = math.NaN()
	if math.IsNaN(s.oddAt) {
		s.oddAt = at
		g.watch(i)
	}
}

// attend looks at the sensors that have a fault, or give nonsense.
func (g *Guard) attend(sample channel.Sample, held channel.Row) {
	at := sample.At
	for k := 0; k < len(g.watched); k++ {
		i := g.watched[k]
		s := &g.sensors[i]
		v := sample.Row[s.id]
		beyond := v < s.lo || v > s.hi
		zero := v == 0 && s.sense.NoZero && !math.IsNaN(s.oddAt)
		switch {
		case math.IsNaN(v):
		case beyond || zero:
			if at-s.oddAt >= odd && (beyond || g.moving) {
				g.fail(i, Implausible, v, at-s.oddAt)
			}
		case s.fault == None:
			s.oddAt, s.masked = math.NaN(), false
		case s.fault == Frozen:
			if v != s.last {
				g.recover(i, v)
			}
		case math.IsNaN(s.soundAt):
			s.soundAt, s.oddAt = at, math.NaN()
		case at-s.soundAt >= spikesIn, at-s.soundAt >= recovered && s.spikes == 0:
			g.recover(i, v)
		}
		if s.masked {
			held[s.id] = math.NaN()
		}
		if s.fault == None && math.IsNaN(s.oddAt) {
			g.watched = slices.Delete(g.watched, k, k+1)
			k--
		}
	}
}

func (g *Guard) watch(i int) {
	if !slices.Contains(g.watched, i) {
		g.watched = append(g.watched, i)
	}
}

func (g *Guard) fail(i int, f Fault, v, seconds float64) {
	s := &g.sensors[i]
	if s.fault != None {
		return
	}
	g.found = append(g.found, Finding{Channel: s.id, Fault: f, Value: v, For: seconds})
	s.fault, s.masked = f, true
	g.watch(i)
}

func (g *Guard) recover(i int, v float64) {
	s := &g.sensors[i]
	g.found = append(g.found, Finding{Channel: s.id, Fault: None, Value: v})
	s.fault, s.masked, s.spikes, s.soundAt = None, false, 0, math.NaN()
	s.last = v
	s.rested()
	if p := s.pair; p >= 0 && g.sensors[p].fault == Frozen {
		g.recover(p, g.sensors[p].last)
	}
}
