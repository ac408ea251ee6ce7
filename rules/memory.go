package rules

import (
	"math"
	"math/bits"
	"slices"

	"earshot/rules/expression"
)

// A Memory is the state of every instance of a Set's rules. It belongs to one caller at a time.
type Memory struct {
	set     *Set
	cells   []cell
	tracks  []expression.Track
	tracked []tracked
	between []between
	changes []changes
	dirty   []uint64 // bits of the cells that the next Step has to judge
	within  uint64   // the situation at the last Step
	decay   expression.Decay
	all     bool // every Step judges everything
	frame   expression.Frame
}

// tracked is an instance that has tracks.
type tracked struct {
	cell  int
	rates bool // one of them changes with time alone
	moved bool // one of them says that something has changed, which is over at the next Step
}

// A cell is the state of one instance, with what every Step needs of it in one place.
type cell struct {
	judge    expression.Cond // hold of an active instance, else cond
	suppress uint64
	state    State
	timing   bool    // a delay is running
	released bool    // Reset was called after the condition of a latched instance had gone
	gone     bool    // the condition of a latched instance has gone
	since    float64 // when the delay began
	said     float64 // when it fired or was repeated last
	times    int     // how often since it became active
}

// NewMemory returns a Memory in which every instance is unknown.
func (s *Set) NewMemory() *Memory {
	m := &Memory{set: s, cells: make([]cell, len(s.instances)), tracks: make([]expression.Track, s.tracks),
		dirty: make([]uint64, words64(len(s.instances)))}
	m.watch()
	m.touchAll()
	for i := range m.tracks {
		m.tracks[i].Out = math.NaN()
	}
	for i := range m.cells {
		in := &s.instances[i]
		m.cells[i].judge, m.cells[i].suppress = in.cond, in.suppress
		if len(in.trackers) > 0 {
			rates := slices.ContainsFunc(in.trackers, func(t expression.Tracker) bool { return t.Rate })
			m.tracked = append(m.tracked, tracked{cell: i, rates: rates})
		}
	}
	return m
}

// Adopt copies from old the state of rules whose condition, deadband, delays and instances are the same in both Sets.
// Their wording, priority and repeat may differ.
func (m *Memory) Adopt(old *Memory) {
	if old == nil {
		return
	}
	for i := range m.set.instances {
		in := &m.set.instances[i]
		r := old.set.byName[in.rule.Name]
		if r == nil || r.fingerprint != in.rule.fingerprint || r.cells[in.number] < 0 {
			continue
		}
		j := r.cells[in.number]
		was := &old.set.instances[j]
		m.cells[i] = old.cells[j]
		m.cells[i].aim(in)
		if len(was.trackers) == len(in.trackers) {
			copy(m.tracks[in.firstTrack:in.firstTrack+len(in.trackers)], old.tracks[was.firstTrack:])
		}
	}
}

// Active tells whether an instance of the rule is active.
func (m *Memory) Active(rule *Rule, instance int) bool {
	if rule == nil || instance < 0 || instance > 3 || m.set.byName[rule.Name] != rule {
		return false
	}
	i := rule.cells[instance]
	return i >= 0 && m.cells[i].state == Active
}

// Quiet is true where the words of an instance must not be said now: the situation suppresses its rule, or its
// condition is false at this moment although the state has not cleared yet.
func (m *Memory) Quiet(rule *Rule, instance int, lasts bool, situation uint64) bool {
	if rule == nil || instance < 0 || instance > 3 || m.set.byName[rule.Name] != rule || rule.cells[instance] < 0 {
		return lasts
	}
	c := &m.cells[rule.cells[instance]]
	return rule.suppress&situation != 0 || lasts && (c.state != Active || c.timing || c.gone)
}

// Words returns the words of an active instance with the present values, and their short form. ok is false where there
// is nothing to say.
func (m *Memory) Words(rule *Rule, instance int, env []float64) (text, short string, ok bool) {
	if rule == nil || instance < 0 || instance > 3 || m.set.byName[rule.Name] != rule || rule.cells[instance] < 0 {
		return "", "", false
	}
	in := &m.set.instances[rule.cells[instance]]
	f := expression.Frame{Env: m.set.fit(env), Tracks: m.tracks}
	text = in.say.words(&f, 1<<instance)
	return text, in.short.words(&f, 1<<instance), text != ""
}

// Reset releases all latched instances whose condition has gone, and returns how many: they clear at the next Step. An
// instance whose condition still holds stays active.
func (m *Memory) Reset() (n int) {
	for i := range m.cells {
		if c := &m.cells[i]; c.gone && !c.released {
			c.released = true
			m.touch(i)
			n++
		}
	}
	return n
}

// Step judges the rules at now, in seconds, which must not fall. Bit i of situation says that
// Vocabulary.Situations()[i] holds; a rule that it suppresses behaves as if its condition were unknown. Step appends
// changes and repeats to out. It allocates only to make words, or where out has no room.
func (m *Memory) Step(now float64, env []float64, situation uint64, out []Transition) []Transition {
	f := &m.frame
	f.Env, f.Tracks = m.set.fit(env), m.tracks
	m.look(f.Env)
	for k := range m.tracked {
		if t := &m.tracked[k]; t.rates || t.moved || m.all || m.touched(t.cell) {
			t.moved = m.follow(t.cell, now)
		}
	}
	if situation != m.within || m.all {
		m.within = situation
		m.touchAll()
	}
	for w, left := range m.dirty {
		m.dirty[w] = 0
		for ; left != 0; left &= left - 1 {
			i := w<<6 + bits.TrailingZeros64(left)
			c := &m.cells[i]
			truth := expression.IsUnknown
			if c.suppress&situation == 0 {
				truth = c.judge(f)
			}
			if truth == expression.IsFalse && c.state == Normal {
				c.timing = false // by far the most frequent case
				continue
			}
			in := &m.set.instances[i]
			to, again := c.step(in.rule, truth, now)
			if to != c.state || again {
				out = append(out, m.transition(in, c.state, to, now))
				c.state = to
				c.aim(in)
				m.touch(i) // it is judged by another condition now
			}
			if c.timing || c.state == Active && in.rule.repeat > 0 {
				m.touch(i) // time alone can change it
			}
		}
	}
	f.Env, f.Tracks = nil, nil
	return out
}

// follow adds the values to the tracks of an instance, also while it is suppressed. It returns whether one of them says
// that something has changed.
func (m *Memory) follow(i int, now float64) (moved bool) {
	f, in := &m.frame, &m.set.instances[i]
	for k := range in.trackers {
		t := &in.trackers[k]
		tr := &m.tracks[in.firstTrack+k]
		was := math.Float64bits(tr.Out)
		if t.Rate {
			tr.Slope(t.Of(f), now, &m.decay)
		} else {
			tr.Change(t.Of(f), t.By(f))
		}
		if math.Float64bits(tr.Out) != was {
			m.touch(i)
		}
		moved = moved || tr.Out == 1
	}
	return moved
}

// aim chooses the condition by which the instance is judged in its present state.
func (c *cell) aim(in *compiled) {
	c.suppress = in.suppress
	c.judge = in.cond
	if c.state == Active {
		c.judge = in.hold
	}
}

// step returns the new state of the cell, and whether an active instance is to be said again.
func (c *cell) step(r *Rule, truth expression.Tri, now float64) (to State, again bool) {
	switch truth {
	case expression.IsUnknown:
		c.timing = false
		if c.state == Active {
			return Active, false
		}
		return Unknown, false
	case expression.IsTrue:
		c.gone, c.released = false, false
		if c.state == Active {
			c.timing = false
			every := r.repeat
			if c.times >= 2 {
				every = r.repeatLater
			}
			if every > 0 && now-c.said >= every-expression.TimeGrain {
				c.said = now
				c.times++
				return Active, true
			}
			return Active, false
		}
		if c.elapsed(now) < r.onDelay-expression.TimeGrain {
			return c.state, false
		}
		c.timing, c.said, c.times = false, now, 1
		return Active, false
	}
	if c.state != Active {
		c.timing = false
		return Normal, false
	}
	if r.latch {
		c.gone = true
		if !c.released {
			return Active, false
		}
	} else if c.elapsed(now) < r.offDelay-expression.TimeGrain {
		return Active, false
	}
	c.timing, c.gone, c.released = false, false, false
	return Normal, false
}

// elapsed starts the delay if it is not running, and returns for how long it has run.
func (c *cell) elapsed(now float64) float64 {
	if !c.timing || now < c.since {
		c.timing, c.since = true, now
	}
	return now - c.since
}

func (m *Memory) transition(in *compiled, from, to State, now float64) Transition {
	f := &m.frame
	t := Transition{Rule: in.rule, Instance: in.number, Wheel: in.in.Suffix, From: from, To: to, At: now,
		Value: math.NaN(), Limit: math.NaN()}
	if in.decide.Left != nil {
		t.Value = in.decide.Left(f)
	}
	limit := in.decide.Limit
	if from == Active {
		limit = in.decide.HoldLimit
	}
	if limit != nil {
		t.Limit = limit(f)
	}
	var say *template
	switch {
	case to == Active:
		say = in.say
		t.Short = in.short.words(f, 1<<in.number)
	case from == Active && to == Normal:
		say = in.clear
	}
	if say == nil {
		return t
	}
	t.Text = say.words(f, 1<<in.number)
	t.Say = t.Text != ""
	if !t.Say {
		t.Why = "a value in its text is unknown"
	}
	return t
}
