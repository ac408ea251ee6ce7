package course

import (
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

// A Phase is a part of a corner: braking, turn-in, mid-corner or exit.
type Phase int

// The phases in the order of driving.
const (
	Braking Phase = iota
	TurnIn
	MidCorner
	Exit
)

// String returns the phase's name in the words of the trade.
func (p Phase) String() string {
	return [...]string{"braking", "turn-in", "mid-corner", "exit"}[min(max(p, 0), 3)]
}

// PhaseFacts is what was seen in one phase of a Pass.
type PhaseFacts struct {
	Seconds float64
	Balance float64    // rad, mean over time of the channel balance; NaN where there is none
	MaxSlip [4]float64 // slip of the largest magnitude per wheel, sign kept; NaN where there is none
}

// A Pass is one drive through one corner.
type Pass struct {
	At       float64 // s, when the car passed the corner's exit
	Entered  float64 // s, when it passed the entry
	Lap      int     // in which it entered
	Distance float64 // m from the line, of the exit
	Hand     Hand
	Phases   [4]PhaseFacts
	Corner   journal.Corner // findings are for package condition to fill
}

// Parts of the way from turn-in to apex and from apex to exit that count as turn-in and as mid-corner.
// Common practice, no source.
const (
	turnInShare = 0.6
	midShare    = 0.4
)

// A zone is the way through a corner as Passes sees it: from the braking point to the exit.
type zone struct{ from, turnIn, mid, out, exit float64 }

// Passes follows the car through the corners of a Map.
type Passes struct {
	m     *Map
	zones []zone
	bends []stretch    // from entry to exit, by corner
	busy  [2][]stretch // where a driver does not listen, and where this one does not at the learned speed

	at, d, v float64 // of the sample before
	have     bool
	last     int // number of the corner that the car was in last
	active   int // index of the corner whose zone the car is in, -1: none
	pass     Pass
	weight   [4]float64 // s, time with a balance per phase
	inside   bool       // beyond the entry
	best     []float64  // s, of the best pass by corner, NaN before the first
	aside    float64    // m beside the map's line at the sample before, left positive
	asideD   float64    // m from the line, where that was

	calm  calm
	took  float64 // s lately, and
	would float64 // as the map has it for the same way
}

// NewPasses returns a Passes without a map.
func NewPasses() *Passes {
	nan := math.NaN()
	return &Passes{active: -1, aside: nan, calm: calm{at: nan, v: nan, since: nan}}
}

// UseMap replaces the map. A pass under way is dropped if the new map has other corners.
func (p *Passes) UseMap(m *Map) {
	if p.m == nil || m == nil || len(p.m.Corners) != len(m.Corners) {
		p.active, p.have = -1, false
		p.best = nil
	} else {
		for i := range m.Corners {
			if a, b := &p.m.Corners[i], &m.Corners[i]; a.Entry != b.Entry || a.Exit != b.Exit {
				p.best[i] = math.NaN() // of another stretch
			}
		}
	}
	p.m, p.zones, p.bends = m, nil, nil
	p.took, p.would = paceOver, paceOver
	if m == nil {
		return
	}
	for len(p.best) < len(m.Corners) {
		p.best = append(p.best, math.NaN())
	}
	n := len(m.Corners)
	p.busy = [2][]stretch{m.busy(false), m.busy(true)}
	for i := range m.Corners {
		c := &m.Corners[i]
		p.bends = append(p.bends, stretch{c.Entry, m.ahead(c.Entry, c.Exit)})
		z := zone{from: m.busyFrom(c), turnIn: c.TurnIn, exit: c.Exit}
		if math.IsNaN(z.turnIn) {
			z.turnIn = c.Entry
		}
		// The corner before keeps its exit, however early the driver brakes for this one.
		if before := m.Corners[(i+n-1)%n].Exit; n > 1 && m.ahead(before, c.Exit) < m.ahead(z.from, c.Exit) {
			z.from = before
		}
		if m.ahead(z.from, c.Exit) < m.ahead(c.Entry, c.Exit) {
			z.from = c.Entry // turning in late: the corner is where it is
		}
		if m.ahead(z.turnIn, c.Exit) > m.ahead(z.from, c.Exit) {
			z.turnIn = z.from
		}
		z.mid = m.Wrap(z.turnIn + turnInShare*m.ahead(z.turnIn, c.Apex))
		if m.ahead(z.turnIn, c.Exit) < m.ahead(c.Apex, c.Exit) { // turned in behind the apex
			z.mid = z.turnIn
		}
		z.out = m.Wrap(c.Apex + midShare*m.ahead(c.Apex, c.Exit))
		p.zones = append(p.zones, z)
	}
}

// Step writes corner, last_corner and room_to_talk into row and appends to out the passes that
// ended with this sample. Without a map only room_to_talk is written.
// It reads channels that others compute (balance) as they stand, so from the sample before.
func (p *Passes) Step(at float64, row channel.Row, out []Pass) []Pass {
	d, v := row[channel.CoursePlace], row[channel.Speed]
	if p.m == nil || math.IsNaN(d) {
		row[channel.CornerHere] = math.NaN()
		row[channel.RoomToTalk] = p.calm.room(at, row)
		p.have, p.active = false, -1
		return out
	}
	d = p.m.Wrap(d)
	here := p.cornerAt(d)
	if here != 0 {
		p.last = here
	} else if p.last == 0 {
		p.last = p.m.Last(d)
	}
	row[channel.CornerHere], row[channel.CornerLast] = float64(here), float64(p.last)
	row[channel.RoomToTalk] = p.m.room(d, v, p.took/p.would, p.busy[0], p.busy[1])
	switch {
	case row[channel.InPits] == 1:
		row[channel.RoomToTalk] = Standing
	case v >= 1 && (row[channel.Brake] > brakeOn || math.Abs(v*row[channel.YawRate]) > sweepLoad): // wherever it is
		row[channel.RoomToTalk] = 0
	}
	if p.have {
		moved := p.m.ahead(p.d, d)
		switch dt := at - p.at; {
		case moved > p.m.Length-10: // the position shook, or the car rolled back a little
			d = p.d
		case moved > p.m.Length/2:
			p.active = -1
		case dt <= 0 && moved < 1:
			return out // another reading of the same moment: a feed may send several kinds of datagrams
		case dt <= 0 || moved > 30+2*dt*max(v, p.v, 50) || dt > silence: // moved by hand, or not seen
			p.active = -1
		default:
			p.keepPace(dt, d, v)
			out = p.advance(at, d, moved, row, out)
		}
	}
	if p.active < 0 {
		p.aside = math.NaN()
	}
	p.at, p.d, p.v, p.have = at, d, v, true
	return out
}

// cornerAt is Map.CornerAt.
func (p *Passes) cornerAt(d float64) int {
	for i, b := range p.bends {
		if p.m.ahead(b.from, d) <= b.length {
			return p.m.Corners[i].Number
		}
	}
	return 0
}

// keepPace compares the time of the way from the sample before to this one with the learned one.
func (p *Passes) keepPace(dt, d, v float64) {
	if p.m.Times == nil || v < 1 {
		return
	}
	keep := 1 - min(dt/paceOver, 1)
	p.took, p.would = p.took*keep+dt, p.would*keep+p.m.seconds(p.d, d)
}

// advance adds the way from the sample before to this one.
func (p *Passes) advance(at, d, moved float64, row channel.Row, out []Pass) []Pass {
	when := func(place float64) float64 { // the moment of passing a place on that way
		if moved == 0 {
			return at
		}
		return p.at + (at-p.at)*p.m.ahead(p.d, place)/moved
	}
	passed := func(place float64) bool { // in (p.d, d]
		a := p.m.ahead(p.d, place)
		return a > 0 && a <= moved
	}
	if p.active >= 0 {
		c := &p.m.Corners[p.active]
		p.deviate(c, d, row)
		if !p.inside && passed(c.Entry) {
			p.enter(c, when(c.Entry), at, row)
		}
		if exit := p.zones[p.active].exit; passed(exit) {
			t := when(exit)
			if p.inside {
				p.see(p.at, t, p.d, row)
				out = append(out, p.leave(c, t, at, row))
			}
			p.active = -1
		} else {
			p.see(p.at, at, d, row)
		}
	}
	if p.active < 0 {
		for i := range p.zones {
			if z := &p.zones[i]; passed(z.from) || p.d == z.from && moved > 0 {
				p.begin(i)
				if c := &p.m.Corners[i]; passed(c.Entry) || p.d == c.Entry {
					p.enter(c, when(c.Entry), at, row)
				}
				p.see(when(z.from), at, d, row)
			}
		}
	}
	return out
}

func (p *Passes) begin(i int) {
	c := &p.m.Corners[i]
	nan := math.NaN()
	no := journal.NoWheels()
	p.active, p.inside = i, false
	p.weight = [4]float64{}
	p.pass = Pass{Entered: nan, Distance: c.Exit, Hand: c.Hand, Corner: journal.Corner{
		Number: c.Number, Name: c.Name, EntrySpeed: journal.Unknown, MinSpeed: journal.Unknown,
		ExitSpeed: journal.Unknown, MinGear: journal.Unknown, Time: journal.Unknown, Balance: journal.Unknown,
		MaxSlip: no, BrakeTemp: no, TyreTemperature: no,
		LineApex: journal.Unknown, LineMost: journal.Unknown, Lost: journal.Unknown,
	}}
	for i := range p.pass.Phases {
		p.pass.Phases[i] = PhaseFacts{MaxSlip: [4]float64{nan, nan, nan, nan}}
	}
}

// speedAt is the speed at t between the sample before and this one.
func (p *Passes) speedAt(t, at, v float64) journal.Num {
	if at <= p.at {
		return journal.Num(v)
	}
	return journal.Num(p.v + (v-p.v)*(t-p.at)/(at-p.at))
}

func (p *Passes) enter(c *Corner, t, at float64, row channel.Row) {
	p.inside = true
	p.pass.Entered = t
	if lap := row[channel.Lap]; lap > 0 {
		p.pass.Lap = int(lap)
	}
	p.pass.Corner.EntrySpeed = p.speedAt(t, at, row[channel.Speed])
	p.pass.Corner.MinSpeed = p.pass.Corner.EntrySpeed
}

func (p *Passes) leave(c *Corner, t, at float64, row channel.Row) Pass {
	p.pass.At = t
	j := &p.pass.Corner
	j.ExitSpeed = p.speedAt(t, at, row[channel.Speed])
	if j.ExitSpeed < j.MinSpeed {
		j.MinSpeed = j.ExitSpeed
	}
	j.Time = journal.Num(t - p.pass.Entered)
	best := &p.best[p.active]
	j.Lost = j.Time - journal.Num(*best)
	// A pass of a void lap is compared, but others are not compared with it: a cut corner is quick.
	if counts := row[channel.LapVoid] != 1 && row[channel.InPits] != 1; counts && !(*best <= float64(j.Time)) {
		*best = float64(j.Time)
	}
	j.PhaseTimes = make([]journal.Num, len(p.pass.Phases)) // once a corner, and the journal keeps it
	for i := range p.pass.Phases {
		f := &p.pass.Phases[i]
		j.PhaseTimes[i] = journal.Num(f.Seconds)
		if f.Balance /= p.weight[i]; p.weight[i] == 0 {
			f.Balance = math.NaN()
		}
		for w, s := range f.MaxSlip {
			if have := float64(j.MaxSlip[w]); !math.IsNaN(s) && !(math.Abs(have) >= math.Abs(s)) {
				j.MaxSlip[w] = journal.Num(s)
			}
		}
	}
	j.Balance = journal.Num(p.pass.Phases[MidCorner].Balance)
	for w := range 4 {
		id := channel.ID(w)
		j.TyreTemperature[w] = journal.Num(row[channel.TyreCore+id])
		if math.IsNaN(float64(j.TyreTemperature[w])) {
			j.TyreTemperature[w] = journal.Num(row[channel.TyreTemperature+id])
		}
	}
	return p.pass
}

// deviate notes how far the car is beside the map's line. That line was driven and need not be the best one: only the
// difference from lap to lap counts. The value at the apex is interpolated between the samples around it.
func (p *Passes) deviate(c *Corner, d float64, row channel.Row) {
	_, aside, ok := p.m.Place(row, d)
	if !ok {
		p.aside = math.NaN()
		return
	}
	j := &p.pass.Corner
	within := p.m.ahead(c.Entry, d) <= p.m.ahead(c.Entry, c.Exit)
	if within && !(math.Abs(aside) <= math.Abs(float64(j.LineMost))) {
		j.LineMost = journal.Num(aside)
	}
	gone, whole := p.m.ahead(p.asideD, c.Apex), p.m.ahead(p.asideD, d)
	if !math.IsNaN(p.aside) && whole > 0 && gone <= whole && whole < p.m.Length/2 {
		j.LineApex = journal.Num(p.aside + (aside-p.aside)*gone/whole)
	}
	if d != p.asideD || math.IsNaN(p.aside) { // a held place waits for the next
		p.aside, p.asideD = aside, d
	}
}

// phaseAt returns the phase of the active corner at d.
func (p *Passes) phaseAt(d float64) Phase {
	z := &p.zones[p.active]
	switch left := p.m.ahead(d, z.exit); {
	case left > p.m.ahead(z.turnIn, z.exit):
		return Braking
	case left > p.m.ahead(z.mid, z.exit):
		return TurnIn
	case left > p.m.ahead(z.out, z.exit):
		return MidCorner
	}
	return Exit
}

// Phase tells in which phase of a corner the car is; false where it is in none, or without a map.
func (p *Passes) Phase() (Phase, bool) {
	if p.active < 0 || !p.have {
		return 0, false
	}
	return p.phaseAt(p.d), true
}

// see adds what the row shows from one moment to another to the phase at d.
func (p *Passes) see(from, to, d float64, row channel.Row) {
	i := p.phaseAt(d)
	f := &p.pass.Phases[i]
	f.Seconds += to - from
	if b := row[channel.Balance]; !math.IsNaN(b) {
		f.Balance += b * (to - from)
		p.weight[i] += to - from
	}
	v := row[channel.Speed]
	j := &p.pass.Corner
	for w := range 4 {
		id := channel.ID(w)
		if v > slipFloor {
			s := row[channel.WheelSlip+id] // with the rolling radius learned, where it has been
			if math.IsNaN(s) {
				s = row[channel.WheelSpeed+id]/v - 1
			}
			if !math.IsNaN(s) && !(math.Abs(f.MaxSlip[w]) >= math.Abs(s)) {
				f.MaxSlip[w] = s
			}
		}
		if t := journal.Num(row[channel.BrakeTemperature+id]); !math.IsNaN(float64(t)) && !(j.BrakeTemp[w] >= t) {
			j.BrakeTemp[w] = t
		}
	}
	if !p.inside || d != p.m.Wrap(row[channel.CoursePlace]) { // before the corner or behind it
		return
	}
	if v := journal.Num(v); !(j.MinSpeed <= v) && !math.IsNaN(float64(v)) {
		j.MinSpeed = v
	}
	if g := journal.Num(row[channel.Gear]); g >= 1 && !(j.MinGear <= g) {
		j.MinGear = g
	}
}

// slipFloor is the speed in m/s below which slip is not worked out: it divides by the speed.
const slipFloor = 5.0
