package assistant

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/condition"
	"earshot/assistant/course"
	"earshot/assistant/cue"
	"earshot/assistant/feed"
	"earshot/assistant/fuel"
	"earshot/assistant/hand"
	"earshot/assistant/health"
	"earshot/assistant/journal"
	"earshot/assistant/pace"
	"earshot/assistant/race"
	"earshot/assistant/sensor"
	"earshot/assistant/timing"
	"earshot/assistant/words"
	"earshot/rules"
)

// A Phrasebook gives the time that a text takes to say, in seconds. covered is true where the voice has a clip for all
// of it; else the time is an estimate. It is pure: the same text always takes the same time.
type Phrasebook interface {
	Duration(text string) (seconds float64, covered bool)
}

// A Setup is what a core is made from. The core changes none of it.
type Setup struct {
	Channels *channel.Set
	Car      *car.Car
	Course   *course.File    // nil: learned, and timed by what the feed says
	Known    []*course.Known // courses of earlier sessions, to be recognised
	Rules    *rules.Set
	Names    rules.Vocabulary // what changed rules may speak of; nil: rules cannot be changed under way
	Voice    Phrasebook
	Words    *words.Language // nil: English
	Talk     cue.Config
	MuteFor  float64       // s; 0: the scheduler's default
	Bests    *timing.Bests // of earlier sessions with this course and car; nil: none are kept
	// BestsOf are those of the saved courses, by name, that count once one of them is recognised; nil: there is a
	// course file, or none are kept.
	BestsOf map[string]*timing.Bests
}

// Core is the whole behaviour of the assistant with none of its surroundings: the same inputs give the same outputs. It
// belongs to one goroutine.
type Core struct {
	setup Setup
	now   float64

	hold       *channel.Hold
	guard      *sensor.Guard
	frozen     *sensor.Call
	nonsense   *sensor.Call
	timing     *timing.Timing
	learner    *course.Learner
	passes     *course.Passes
	course     *course.Map
	recogniser *course.Recogniser
	condition  *condition.Condition
	fuel       *fuel.Fuel
	pace       *pace.Pace
	race       *race.Race
	rules      *rules.Set
	memory     *rules.Memory
	scheduler  *cue.Scheduler

	sampled     float64 // when the last sample came, NaN before the first
	lineAt      float64 // when the car crossed the line last, NaN before
	inStint     int     // number of the stint under way, 0 between stints
	marks       int
	trail       *trail
	ill         map[string]*illness // by the name in the journal
	unsteady    []*illness          // those that come and go
	lastPass    map[int]course.Pass // the latest pass by corner
	lessons     lessons
	implausible []bool // channels whose nonsense has been told

	chequered, caution, formation int // indices of the labels that suppress rules

	timings     []timing.Event // these four are used again, to save the allocation
	passed      []course.Pass
	transitions []rules.Transition
	rulings     []cue.Ruling
	mostOf      *course.Map // the course that most is of
	most        float64     // s, the longest room to talk // s, the longest room to talk
	braked      float64     // when the car braked last, NaN before
}

// NewCore returns a Core before its first input.
func NewCore(s Setup) *Core {
	if s.Words == nil {
		s.Words = words.English
	}
	c := &Core{
		setup: s, hold: channel.NewHold(s.Channels), guard: sensor.New(s.Channels),
		frozen: sensor.NewCall(sensor.Frozen), nonsense: sensor.NewCall(sensor.Implausible),
		timing: timing.New(timing.Config{
			Course: s.Course, Bests: s.Bests, Compounds: s.Channels.At(channel.Compound).Labels,
		}),
		learner: course.NewLearner(s.Course), passes: course.NewPasses(), recogniser: course.NewRecogniser(s.Known),
		condition: condition.New(s.Car), fuel: fuel.New(s.Car), pace: pace.New(s.Car), race: race.New(),
		rules: s.Rules, memory: s.Rules.NewMemory(),
		sampled: math.NaN(), lineAt: math.NaN(), braked: math.NaN(), most: course.CalmRoom,
		lastPass: make(map[int]course.Pass),
		lessons:  newLessons(),
		trail:    &trail{}, ill: make(map[string]*illness),
		implausible: make([]bool, s.Channels.Len()),
	}
	flags := s.Channels.At(channel.Flag).Labels
	c.chequered, c.caution = slices.Index(flags, "chequered"), slices.Index(flags, "full_course_caution")
	c.formation = slices.Index(s.Channels.At(channel.SessionKind).Labels, "formation")
	c.scheduler = cue.New(s.Talk, wording{c})
	return c
}

// Step processes one input and appends what follows from it to out.
func (c *Core) Step(in Input, out *Output) {
	if in.At > c.now { // a feed's clock may step back; the core's does not
		c.now = in.At
	}
	switch in.Kind {
	case KindStart:
		c.timing.Session(in.Session.ID, in.Session.Started)
		c.event(out, in.Session)
	case KindSample:
		c.sample(in, out)
	case KindTick:
		c.hold.Expire(c.now)
		if !math.IsNaN(c.sampled) {
			c.hold.Row[channel.FeedSilence] = c.now - c.sampled
		}
		c.timings = c.timing.Tick(c.now, c.hold.Row, c.timings[:0])
		c.happened(out)
	case KindCommand:
		c.command(in.Request, out)
	case KindHealth:
		c.ail(in.Health, out)
	case KindRules:
		c.reload(in.Rules, out)
	case KindEnd:
		c.end(out)
		return
	}
	if len(c.unsteady) > 0 {
		c.settle(out)
	}
	c.transitions = c.memory.Step(c.now, c.hold.Row, c.situation(), c.transitions[:0])
	for i := range c.transitions {
		c.transition(&c.transitions[i], out)
	}
	c.talk(out)
}

// sample runs the stages in the order in which they need each other.
func (c *Core) sample(in Input, out *Output) {
	row := c.hold.Row
	if c.guard.Update(c.hold, channel.Sample{At: c.now, Row: in.Row}) > 0 {
		c.tellImplausible(in.Row, out)
	}
	c.tellSensors(out)
	c.sampled = c.now
	row[channel.FeedSilence] = 0
	c.timings = c.timing.Step(c.now, row, c.timings[:0])
	if m := c.learner.Step(c.now, row); m != nil {
		c.learned(m, out)
	}
	if why := c.learner.Trouble(); why != "" {
		c.event(out, &journal.Health{Part: "course", State: "degraded", Text: "the course is not learned: " + why})
	}
	c.recognise(out)
	c.passed = c.passes.Step(c.now, row, c.passed[:0])
	c.condition.Step(c.now, row)
	c.fuel.Step(c.now, row)
	c.race.Step(c.now, row)
	c.pace.Step(c.now, row)
	c.happened(out)
	c.trail.note(c.now, row)
	c.tellLearned(out)
	for i := range c.passed {
		p := c.passed[i]
		c.lastPass[p.Corner.Number] = p
		body := p.Corner
		body.Findings = c.condition.Shown(p.Corner.Number, p.Entered)
		body.Repeated = c.condition.Repeated(p.Corner.Number)
		out.Events = append(out.Events, journal.Event{T: p.At, Lap: p.Lap, Distance: journal.Num(p.Distance),
			Body: &body})
	}
}

// checkDirection tells where the course that was driven turns the other way than its file says: another course, the
// other direction, or an axis of the feed the wrong way round.
func (c *Core) checkDirection(m *course.Map, out *Output) {
	f := c.setup.Course
	if f == nil || f.Direction == 0 || math.Abs(m.Turning) < math.Pi ||
		(m.Turning > 0) == (f.Direction == course.Left) {
		return
	}
	c.event(out, coursePart.Is(health.Degraded, fmt.Sprintf(
		"the course turns %s, and its file says %s: another course, the other direction, or an axis of the feed is "+
			"the wrong way round",
		wayRound(m.Turning > 0), wayRound(f.Direction == course.Left))))
}

func wayRound(left bool) string {
	if left {
		return "anticlockwise"
	}
	return "clockwise"
}

// happened turns the events of timing into journal events.
func (c *Core) happened(out *Output) {
	row := c.hold.Row
	for i := range c.timings {
		switch e := &c.timings[i]; e.Kind {
		case timing.StintStart:
			c.inStint = e.Number
			c.stint(e.Number, "start", e.At, out) // with the temperatures, which the stages forget
			c.condition.StintStart(c.now, row)
			c.pace.StintStart(row)
		case timing.StintEnd:
			c.stint(e.Number, "end", e.At, out)
			c.inStint = 0
			c.memory.Reset()
		case timing.LapBegun:
			c.lineAt = e.At
			c.scheduler.LapBegun(c.now)
			if e.Number == 1 {
				c.condition.FirstLap()
				c.fuel.FirstLap()
			}
		case timing.LapDone:
			c.lapDone(e, out)
		case timing.Doubted:
			c.event(out, &journal.Health{Part: "channel " + c.setup.Channels.At(e.Doubt.Channel).Name,
				State: "degraded", Text: e.Doubt.Why})
		}
	}
}

func (c *Core) lapDone(e *timing.Event, out *Output) {
	row := c.hold.Row
	means := c.condition.LapDone(e.Lap.Number, string(e.Lap.Class), e.Lap.Valid, row)
	used := c.fuel.LapDone(string(e.Lap.Class), e.Lap.Time, row)
	c.pace.LapDone(e.Lap.Valid && e.Lap.Whole && e.Lap.Class == timing.Flying, e.Lap.Time, row)
	lap := e.Lap.Journal()
	lap.TyrePressure, lap.TyreTemperature, lap.BrakePeak = means.TyrePressure, means.TyreTemperature, means.BrakePeak
	lap.FuelUsed = journal.Num(used)
	if fresh := c.timing.FreshBests(); fresh != nil {
		out.Bests = fresh
	}
	out.Events = append(out.Events, journal.Event{T: e.At, Lap: e.Lap.Number, Distance: journal.Unknown, Body: lap})
	if row.Has(channel.FuelLeft) || row.Has(channel.FuelPerLap) {
		c.event(out, c.fuel.Account())
	}
}

func (c *Core) stint(number int, what string, at float64, out *Output) {
	row := c.hold.Row
	s := journal.NewStint()
	s.Number, s.Event = number, what
	for w := range 4 {
		s.TyrePressure[w] = num(row, channel.TyrePressure+channel.ID(w))
		s.TyreTemperature[w] = num(row, channel.TyreCore+channel.ID(w))
	}
	s.AirTemperature, s.AirPressure = num(row, channel.AirTemperature), num(row, channel.AirPressure)
	s.TrackTemperature, s.Fuel = num(row, channel.TrackTemperature), num(row, channel.FuelLeft)
	labels := c.setup.Channels.At(channel.Compound).Labels
	if i := row[channel.Compound]; i > 0 && int(i) < len(labels) {
		s.Compound = labels[int(i)]
	}
	out.Events = append(out.Events, journal.Event{T: at, Lap: c.lap(), Distance: num(row, channel.CoursePlace),
		Body: s})
}

// reload puts other rules in force. Unchanged rules keep their state. Rules with a mistake leave the old ones in force.
func (c *Core) reload(files []rules.Source, out *Output) {
	h := RulesPart.Is(health.Degraded, "rules cannot be changed under way here")
	defer func() { c.event(out, h) }()
	if c.setup.Names == nil {
		return
	}
	set, err := rules.Compile(files, c.setup.Names)
	if err != nil {
		h.Text = "the old rules stay in force: " + first(err, mistakesTold)
		return
	}
	memory := set.NewMemory()
	memory.Adopt(c.memory)
	c.rules, c.memory = set, memory
	h = RulesPart.Is(health.OK, fmt.Sprintf("%d rules are in force", len(set.Rules())))
}

// mistakesTold is how many mistakes of changed rules are journaled; `earshot check` lists them all.
const mistakesTold = 5

// first is the text of an error, shortened where it joins more errors than most.
func first(err error, most int) string {
	list, ok := err.(interface{ Unwrap() []error })
	if !ok || len(list.Unwrap()) <= most {
		return err.Error()
	}
	all := list.Unwrap()
	return fmt.Sprintf("%v\nand %d more: earshot check tells them all", errors.Join(all[:most]...), len(all)-most)
}

// command carries out a request of the driver.
func (c *Core) command(r *hand.Request, out *Output) {
	c.event(out, &journal.Command{Name: string(r.Name), Source: r.Source})
	switch r.Name {
	case hand.Mark:
		c.mark(r, out)
	case hand.Repeat:
		rulings, said := c.scheduler.Repeat(c.now, c.rulings[:0])
		c.rulings = rulings
		c.verdicts(out)
		if !said {
			c.confirm("repeat", c.setup.Words.Calls.NothingSaid, "", out)
		}
	case hand.Stint:
		c.timings = c.timing.NewStint(c.now, c.hold.Row, c.timings[:0])
		c.happened(out)
		c.confirm("stint", c.setup.Words.Calls.NewStint, "", out)
	case hand.Clear:
		text := c.setup.Words.Calls.NothingToClear
		if c.memory.Reset() > 0 {
			text = c.setup.Words.Calls.Cleared
		}
		c.confirm("clear", text, c.setup.Words.Calls.Cleared, out)
	case hand.Mute:
		if c.scheduler.Muted(c.now) {
			c.scheduler.Unmute()
			c.confirm("mute", c.setup.Words.Calls.Unmuted, "", out)
			break
		}
		c.scheduler.Mute(c.now, c.setup.MuteFor)
		c.confirm("mute", c.setup.Words.Calls.Muted, "", out)
	default:
		c.answer(string(r.Name), out)
	}
}

// mark writes down the place and what the data showed there, at the moment that is meant. The driver presses when he
// has hands free, so the corner meant is the one that the car was in or had left last.
func (c *Core) mark(r *hand.Request, out *Output) {
	row := c.hold.Row
	p, known := placeOf(c.now, row), true
	if r.Pressed != 0 && r.Pressed < c.now {
		if r.Pressed < c.sampled {
			p, known = c.trail.at(r.Pressed)
		}
		p.at = r.Pressed
	}
	c.marks++
	m := journal.NewMark()
	m.Number, m.Tag, m.Memo = c.marks, r.Tag, r.Memo
	e := journal.Event{T: p.at, Lap: -1, Distance: journal.Unknown, Body: m}
	if known {
		e.Distance = journal.Num(p.distance)
		if !math.IsNaN(p.lap) {
			e.Lap = int(p.lap)
		}
		m.Speed, m.Gear, m.Balance = journal.Num(p.speed), journal.Num(p.gear), journal.Num(p.balance)
	}
	for w := range 4 { // these change slowly
		m.TyreTemperature[w] = num(row, channel.TyreCore+channel.ID(w))
		m.BrakeTemperature[w] = num(row, channel.BrakeTemperature+channel.ID(w))
	}
	text, short := c.setup.Words.Calls.Marked, ""
	if p.corner >= 1 {
		m.Corner = int(p.corner)
		text, short = fmt.Sprintf(c.setup.Words.Calls.MarkedCorner, c.setup.Words.Spoken.Cardinal(int64(m.Corner))),
			c.setup.Words.Calls.Marked
		if c.course != nil {
			if k, ok := c.course.CornerNumbered(m.Corner); ok {
				m.CornerName = k.Name
			}
		}
		// A pass that is still under way has no facts of its own yet; the debrief finds them in the
		// corner event that follows.
		underWay := row[channel.CornerHere] == p.corner && c.lap() == e.Lap
		if pass, ok := c.lastPass[m.Corner]; ok && pass.Lap == e.Lap && !underWay {
			m.MinSpeed, m.MinGear, m.Balance = pass.Corner.MinSpeed, pass.Corner.MinGear, pass.Corner.Balance
		}
	}
	out.Events = append(out.Events, e)
	c.confirm("mark", text, short, out)
}

// situation returns the bits of the situations that hold now and may suppress rules.
func (c *Core) situation() uint64 {
	row := c.hold.Row
	var s uint64
	if row[channel.InPits] == 1 || row[channel.InPitLane] == 1 {
		s |= inPits
	}
	if row[channel.OnOutLap] == 1 {
		s |= onOutLap
	}
	if c.shows(channel.Flag, c.chequered) || row[channel.LapsToGo] == 0 {
		s |= onInLap
	}
	if c.shows(channel.SessionKind, c.formation) {
		s |= inFormation
	}
	if c.shows(channel.Flag, c.caution) {
		s |= underCaution
	}
	return s
}

// shows is true where a channel that is a choice has the value of that index.
func (c *Core) shows(id channel.ID, label int) bool {
	v := c.hold.Row[id]
	return v >= 0 && int(v) == label
}

// end closes the session. Every cue that still waits gets its verdict.
func (c *Core) end(out *Output) {
	c.rulings = c.scheduler.Flush(c.now, c.rulings[:0])
	c.verdicts(out)
	c.tellNeverLearned(out)
	if c.inStint > 0 {
		c.stint(c.inStint, "end", c.now, out)
		c.inStint = 0
	}
	out.Hush = true
}

// tellImplausible journals once each channel that has a reading outside its range.
func (c *Core) tellImplausible(row channel.Row, out *Output) {
	for i, v := range row {
		ch := c.setup.Channels.At(channel.ID(i))
		if math.IsNaN(v) || v >= ch.Min && v <= ch.Max || c.implausible[i] {
			continue
		}
		c.implausible[i] = true
		c.event(out, feed.Reading.Of(ch.Name).Is(health.Degraded, fmt.Sprintf(
			"the feed gives %.4g, outside %.4g to %.4g (%s): counted as absent; check unit and scale in the feed file",
			v, ch.Min, ch.Max, ch.Quantity)))
	}
}

// event appends an event at the present moment and place.
func (c *Core) event(out *Output, body journal.Body) {
	out.Events = append(out.Events, journal.Event{T: c.now, Lap: c.lap(),
		Distance: num(c.hold.Row, channel.CoursePlace), Body: body})
}

func (c *Core) lap() int {
	if n := c.hold.Row[channel.Lap]; !math.IsNaN(n) {
		return int(n)
	}
	return -1
}

func num(row channel.Row, id channel.ID) journal.Num { return journal.Num(row[id]) }

// Course is the map learned so far, or nil.
func (c *Core) Course() *course.Map { return c.course }

// LastTrace returns a copy of the lap completed last by distance, or nil where it was not seen whole.
func (c *Core) LastTrace() *timing.Trace { return c.timing.LastTrace() }

// Now is the core's time, in seconds on the feed's clock.
func (c *Core) Now() float64 { return c.now }

// Row is the row of present readings, computed channels included. It is good until the next Step; the caller changes
// nothing in it.
func (c *Core) Row() channel.Row { return c.hold.Row }
