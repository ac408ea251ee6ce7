package cue

import (
	"fmt"
	"math"
	"math/bits"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// wheelWords words any set of wheels but FL with RR, so that both answers of Words occur, and leaves a single cue as it is.
// It keeps back the instances whose bits are set.
type wheelWords uint64

func (w wheelWords) Quiet(c *Cue) bool { return w&(1<<c.Instance) != 0 }

func (w wheelWords) Words(c *Cue, members uint64) (long, short Phrase, ok bool) {
	switch {
	case members == 0b1001:
		return Phrase{}, Phrase{}, false
	case bits.OnesCount64(members) == 1:
		return Phrase{c.Text, c.Duration}, c.Short, true
	}
	return Phrase{fmt.Sprintf("%s of %04b", c.Group, members), 0.8 + 0.4*float64(bits.OnesCount64(members))}, Phrase{}, true
}

// A watcher checks the promises of the Scheduler from outside: it knows only what went in and what came out.
type watcher struct {
	t       *rapid.T
	conf    Config
	s       *Scheduler
	now     float64
	sit     Situation
	rulings []Ruling // all of them
	log     []string // all that came out, in words

	offered []Cue

	final map[string]Verdict // by text of the cue; every offered cue has a text of its own
	alive map[string]Cue     // offered, not withdrawn, no final verdict

	sounding *Cue
	start    float64
	end      float64
	lastEnd  float64
	lastWas  Priority
	lap      int // advisories begun in this lap and not cut off
	muted    float64
}

func newWatcher(t *rapid.T, c Config) *watcher {
	return &watcher{
		t: t, conf: c.filled(), s: New(c, wheelWords(0)), final: map[string]Verdict{}, alive: map[string]Cue{},
		lastEnd: math.Inf(-1), muted: math.Inf(-1), sit: Situation{Room: math.NaN(), SinceLine: math.NaN()},
	}
}

// see takes in rulings. A cue merged from several is known by the words of the cue that gave it its identity.
func (w *watcher) see(rs []Ruling, identity func(Cue) string) {
	for _, r := range rs {
		w.log = append(w.log, fmt.Sprintf("%v", r))
		require.NotEmpty(w.t, r.Why, "every verdict has a reason")
		require.NotEmpty(w.t, r.Reason, "and a code of it: %s", r.Why)
		k := identity(r.Cue)
		_, dup := w.final[k]
		require.False(w.t, dup, "a second ruling after the final one for %q", k)
		if r.Verdict != Interrupted {
			require.True(w.t, r.Final, "only interrupted may leave it open")
		}
		if r.Final {
			w.final[k] = r.Verdict
			delete(w.alive, k)
		}
		if r.Verdict == Said {
			require.InDelta(w.t, r.Start+r.Cue.Duration, r.End, 1e-9, "what was said was said to its end")

		}
	}
	w.rulings = append(w.rulings, rs...)
}

// identity finds the offered cue behind a ruling: its text is its own; a merged one has other words, but the
// rule, instance and time of the live cue that it is.
func (w *watcher) identity(c Cue) string {
	for i, o := range w.offered {
		if o.Text == c.Text || o.Short.Text == c.Text && o.Short.Text != "" {
			return key(o, i)
		}
	}
	for i, o := range w.offered {
		_, live := w.alive[key(o, i)]
		if live && o.Rule == c.Rule && o.Instance == c.Instance && o.Queued == c.Queued {
			return key(o, i)
		}
	}
	w.t.Fatalf("a ruling on a cue that was never offered: %+v", c)
	return ""
}

func key(c Cue, i int) string { return fmt.Sprintf("%s#%d", c.Text, i) }

func (w *watcher) step() {
	say, stop, rs := w.s.Step(w.now, w.sit, nil)
	w.see(rs, w.identity)
	if w.sounding != nil && w.end <= w.now {
		w.lastEnd, w.lastWas, w.sounding = w.end, w.sounding.Priority, nil
	}
	if stop {
		require.NotNil(w.t, w.sounding, "stop cuts what sounds")
		require.NotEqual(w.t, Warning, w.sounding.Priority, "nothing cuts a warning")
		if w.sounding.Priority == Advisory {
			w.lap = max(0, w.lap-1)
		}
		w.lastEnd, w.lastWas, w.sounding = w.now, w.sounding.Priority, nil
	}
	if say == nil {
		w.prompt()
		return
	}
	c, late := *say, false
	w.log = append(w.log, fmt.Sprintf("%v say %+v", w.now, c))
	require.Nil(w.t, w.sounding, "never two cues at once")
	require.Less(w.t, w.now, c.Expires, "never begun after its expiry")
	if c.Priority != Warning {
		require.False(w.t, stop, "only a warning interrupts")
		require.GreaterOrEqual(w.t, w.now-w.lastEnd, 0.5-1e-9, "two cues within half a second (IVBSS)")
		late = c.Priority == Answer && !w.sit.Busy // how late is told by a story
		most := w.sit.MostRoom                     // what is too long for all of the course is said where there is most room
		late = late || c.Priority == Caution && most > 0 && c.Duration+w.conf.Margin > most && w.sit.Room >= 0.9*most
		if !w.sit.Standing && !math.IsNaN(w.sit.Room) && !late {
			require.LessOrEqual(w.t, w.now+c.Duration, w.now+w.sit.Room+1e-9, "it ends after the braking point")
		}
		if !w.sit.Standing && c.Where == Line && !math.IsNaN(w.sit.SinceLine) && !late {
			require.LessOrEqual(w.t, w.sit.SinceLine, w.conf.LineWindow)
		}
		if c.Priority < Answer {
			require.GreaterOrEqual(w.t, w.now, w.muted, "said while muted")
		}
	} else if w.lastWas == Warning {
		require.GreaterOrEqual(w.t, w.now-w.lastEnd, 0.5-1e-9, "two warnings within half a second")
	}
	for _, o := range w.alive {
		if o.Priority == Warning && w.now < o.Expires {
			require.Equal(w.t, Warning, c.Priority, "%q began while a warning waited", c.Text)
		}
		if o.Priority == Answer && w.now < o.Expires {
			require.GreaterOrEqual(w.t, c.Priority, Answer, "%q began while an answer waited", c.Text)
		}
	}
	if c.Priority == Advisory {
		w.lap++
		require.LessOrEqual(w.t, w.lap, max(1, w.conf.MaxAdvisoriesPerLap+int(c.Importance)), "too many advisories in a lap")
	}
	w.sounding, w.start, w.end = &c, w.now, w.now+c.Duration
}

// prompt checks that no warning is kept waiting but by a warning.
func (w *watcher) prompt() {
	if w.sounding != nil && w.sounding.Priority == Warning || w.lastWas == Warning && w.now < w.lastEnd+w.conf.Gap {
		return
	}
	for _, o := range w.alive {
		require.NotEqual(w.t, Warning, o.Priority, "%q was kept waiting", o.Text)
	}
}

func (w *watcher) offer(c Cue) {
	c.Text = fmt.Sprintf("%s %d.%d", c.Text, c.Instance, len(w.offered))
	if c.Short.Seconds > 0 {
		c.Short.Text = "short " + c.Text
	}
	stamped := c
	stamped.Queued = w.now
	if c.Holds {
		stamped.Expires = math.Inf(1)
	}
	w.alive[key(stamped, len(w.offered))] = stamped
	w.offered = append(w.offered, stamped)
	w.see(w.s.Offer(w.now, c, nil), w.identity)
}

// script draws a run and drives a watcher through it.
func script(t *rapid.T) (ops []func(*watcher)) {
	instance, rule := rapid.IntRange(0, 3), rapid.SampledFrom([]string{"hot", "cold", "spin"})
	n := rapid.IntRange(1, 120).Draw(t, "n")
	for range n {
		dt := rapid.Float64Range(0, 1.2).Draw(t, "dt")
		var op func(*watcher)
		switch rapid.IntRange(0, 11).Draw(t, "op") {
		case 0, 1, 2, 3, 4:
			c := Cue{
				Rule: rule.Draw(t, "rule"), Instance: instance.Draw(t, "instance"), Text: "call",
				Priority: Priority(rapid.SampledFrom([]int{0, 0, 0, 1, 1, 2, 3}).Draw(t, "priority")),
				Where:    Where(rapid.IntRange(0, 2).Draw(t, "where")), Duration: rapid.Float64Range(0.3, 4).Draw(t, "duration"),
			}
			c.Wheel = fmt.Sprint(c.Instance)
			c.Importance = Importance(rapid.IntRange(-1, 1).Draw(t, "importance"))
			c.Holds = rapid.Bool().Draw(t, "holds")
			if rapid.Bool().Draw(t, "has short") {
				c.Short.Seconds = c.Duration / 2
			}
			if rapid.Bool().Draw(t, "grouped") {
				c.Group, c.Live = c.Rule, true
			}
			life := rapid.Float64Range(0.1, 12).Draw(t, "life")
			op = func(w *watcher) { x := c; x.Expires = w.now + life; w.offer(x) }
		case 5:
			r, i := rule.Draw(t, "rule"), instance.Draw(t, "instance")
			op = func(w *watcher) { w.see(w.s.Withdraw(r, i, w.now, nil), w.identity) }
		case 6, 7, 8:
			sit := Situation{Room: math.NaN(), SinceLine: math.NaN(), Corner: rapid.Bool().Draw(t, "corner")}
			if rapid.Bool().Draw(t, "room known") {
				sit.Room = rapid.Float64Range(0, 8).Draw(t, "room")
				sit.MostRoom = rapid.SampledFrom([]float64{0, 2, 8}).Draw(t, "most room")
			}
			sit.Busy = sit.Corner && rapid.Bool().Draw(t, "busy")
			if rapid.Bool().Draw(t, "line known") {
				sit.SinceLine = rapid.Float64Range(0, 30).Draw(t, "line")
			}
			sit.Standing = rapid.IntRange(0, 5).Draw(t, "standing") == 0
			op = func(w *watcher) { w.sit = sit }
		case 9:
			d := rapid.Float64Range(0.5, 4).Draw(t, "mute")
			op = func(w *watcher) { w.s.Mute(w.now, d); w.muted = w.now + d }
		case 10:
			op = func(w *watcher) { w.s.LapBegun(w.now); w.lap = 0 }
		case 11:
			op = func(w *watcher) { w.s.Unmute(); w.muted = math.Inf(-1) }
		}
		ops = append(ops, func(w *watcher) {
			w.now += dt
			op(w)
			w.step()
		})
	}
	return ops
}

func drive(w *watcher, ops []func(*watcher)) {
	for _, op := range ops {
		op(w)
	}
	w.see(w.s.Flush(w.now, nil), w.identity)
}

func TestPromises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		conf := Config{MaxAdvisoriesPerLap: rapid.IntRange(1, 4).Draw(t, "budget"), LapAtMost: 1e6, MaxCalls: -1}
		ops := script(t)
		w := newWatcher(t, conf)
		drive(w, ops)
		require.Empty(t, w.alive, "every cue offered has a final verdict")
		require.Len(t, w.final, len(w.offered))
		require.Zero(t, w.s.Waiting())
		require.False(t, w.s.Speaking(w.now))

		again := newWatcher(t, conf)
		drive(again, ops)
		require.Equal(t, w.log, again.log, "equal calls give equal results")
	})
}

// TestRightOfWay offers any set of cues at once to a car that stands: they come by priority, then age.
func TestRightOfWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := New(Config{MaxAdvisoriesPerLap: -1, MaxCalls: -1}, nil)
		prio := rapid.SliceOfN(rapid.IntRange(0, 3), 1, 20).Draw(t, "priorities")
		for i, p := range prio {
			require.Empty(t, s.Offer(0, Cue{Rule: "r", Instance: i, Text: "x", Duration: 1, Priority: Priority(p), Expires: 1e6}, nil))
		}
		var got []Cue
		for now := 0.0; len(got) < len(prio) && now < 1e3; now += 0.1 {
			if say, _, _ := s.Step(now, Situation{Room: math.NaN(), SinceLine: math.NaN(), Standing: true}, nil); say != nil {
				got = append(got, *say)
			}
		}
		require.Len(t, got, len(prio), "nothing starves")
		for i := 1; i < len(got); i++ {
			a, b := got[i-1], got[i]
			require.True(t, a.Priority > b.Priority || a.Priority == b.Priority && a.Instance < b.Instance, "%v %d before %v %d", a.Priority, a.Instance, b.Priority, b.Instance)
		}
	})
}
