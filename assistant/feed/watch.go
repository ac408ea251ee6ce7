package feed

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/transport"
	"earshot/assistant/health"
	"earshot/assistant/journal"
)

// A Notice is a part of the feed that fell ill or recovered, just after so many samples had been given.
type Notice struct {
	After  int64
	Health journal.Health
}

// When something is an illness and when it is over. Common practice, no source.
const (
	backFrom     = 0.1 // s: a step back that is no mere disorder of neighbours
	calm         = 10.0
	silentFrom   = 2.0 // s, or so many of the source's own intervals as
	silentRows   = 5
	neverFrom    = 10.0 // s after the first sample of any source without one of this
	rateFactor   = 1.5
	rateLearn    = 10  // windows of a second from which the usual rate is learnt
	rateLast     = 5   // windows that must be another or usual again
	rateLeast    = 4.0 // Hz: what comes more seldom has no rate
	episodesTold = 5   // of one part
)

// A watch turns what a source shows by itself (silence, its counters, its clock, its rate, what its channels cannot be)
// into notices: one when a trouble begins, one when it is over, and no more than episodesTold of either for one part.
// Whether a sensor measures is package sensor's to judge. It is pure; time is that of the samples.
type watch struct {
	set     *channel.Set
	lanes   []watchedLane
	limits  []channelLimit
	odd     map[channel.ID]*alarm // implausible channels
	oddNow  []channel.ID          // those in alarm
	oddSeen int64
	samples int64
	begun   bool
	first   float64

	notices []Notice
}

// An alarm is a part's state.
type alarm struct {
	part string
	on   bool
	last float64 // when the trouble was seen last
	told int
}

// A watchedLane is what is known of a source.
type watchedLane struct {
	decoder               *decoder
	back, jumps, restarts int64
	silent, clock, begin  alarm
	rate                  rate
	any                   bool
	first, last, interval float64
	n                     int64
}

func newWatch(f *feedfile.File, set *channel.Set, lanes []*lane) *watch {
	w := &watch{set: set, odd: map[channel.ID]*alarm{}, limits: limitsOf(set)}
	for _, l := range lanes {
		part := Whole.Name
		if f.Parts != nil {
			part = Source.Of(l.name).Name
		}
		w.lanes = append(w.lanes, watchedLane{
			decoder: l.decoder, silent: alarm{part: part}, clock: alarm{part: part + " clock"},
			begin: alarm{part: part + " sequence"}, rate: rate{alarm: alarm{part: part + " rate"}},
		})
	}
	return w
}

// take returns the notices since the last call.
func (w *watch) take() []Notice {
	list := w.notices
	w.notices = w.notices[:0]
	return list
}

func (w *watch) raise(a *alarm, at float64, state health.State, text string) {
	a.last = at
	if a.on {
		return
	}
	a.on = true
	a.told++
	if a.told == episodesTold {
		text += "; this is told no more"
	}
	if a.told <= episodesTold {
		w.tell(a.part, state, text)
	}
}

func (w *watch) settle(a *alarm, at float64, text string) {
	if !a.on {
		return
	}
	a.on = false
	if a.told <= episodesTold {
		w.tell(a.part, health.OK, text)
	}
}

func (w *watch) tell(part string, state health.State, text string) {
	w.notices = append(w.notices, Notice{w.samples, journal.Health{Part: part, State: string(state), Text: text}})
}

// sample takes in what has just been given. sources are those that brought it.
func (w *watch) sample(sources []int, s channel.Sample) {
	w.samples++
	if !w.begun {
		w.begun, w.first = true, s.At
	}
	for _, i := range sources {
		l := &w.lanes[i]
		switch {
		case !l.any:
			if l.silent.on {
				w.settle(&l.silent, s.At, "it sends now")
			}
			l.any, l.first = true, s.At
		case l.silent.on:
			w.settle(&l.silent, s.At, fmt.Sprintf("it sends again, after %.1f s", s.At-l.last))
		default:
			l.interval = (s.At - l.first) / float64(l.n)
		}
		l.last = s.At
		l.n++
		w.counters(l, s.At)
		w.rateOf(&l.rate, s.At)
	}
	w.silence(s.At)
	w.plausible(s)
}

// ended tells that a live source will not send again.
func (w *watch) ended(source int, err error) {
	l := &w.lanes[source]
	text := "it has ended"
	if !errors.Is(err, io.EOF) {
		text = err.Error()
	}
	w.raise(&l.silent, l.last, health.Lost, text)
}

// transport takes in what a transport told. That it is up again is believed when a sample comes.
func (w *watch) transport(source int, state transport.State) {
	if l := &w.lanes[source]; !state.Up {
		w.raise(&l.silent, l.last, health.Lost, state.Text)
	}
}

// silence looks for sources that give nothing while another does.
func (w *watch) silence(at float64) {
	for i := range w.lanes {
		l := &w.lanes[i]
		switch {
		case l.silent.on:
		case !l.any && at-w.first > neverFrom:
			w.raise(&l.silent, at, health.Lost, fmt.Sprintf("nothing has come in %.0f s, while others send", at-w.first))
		case l.any && at-l.last > max(silentFrom, silentRows*l.interval):
			w.raise(&l.silent, at, health.Lost, fmt.Sprintf("nothing has come for %.1f s, while others send", at-l.last))
		}
	}
}

// counters looks at what the decoder has counted since the last sample.
func (w *watch) counters(l *watchedLane, at float64) {
	c := &l.decoder.clock
	if c.back > l.back {
		l.back = c.back
		if c.lastBack > backFrom {
			w.raise(&l.clock, at, health.Degraded, fmt.Sprintf("the source's clock stepped back by %.3g s", c.lastBack))
		}
	}
	if c.jumps > l.jumps {
		l.jumps = c.jumps
		w.raise(&l.clock, at, health.Degraded, fmt.Sprintf("the source's clock jumped ahead by %.3g s", c.lastJump))
	}
	if n := l.decoder.inner.Counts().Restarts; n > l.restarts {
		l.restarts = n
		w.raise(&l.begin, at, health.Degraded, "the source has begun anew: its sequence numbers start again")
	}
	if l.clock.on && at-l.clock.last > calm {
		w.settle(&l.clock, at, fmt.Sprintf("steady for %.0f s", calm))
	}
	if l.begin.on && at-l.begin.last > calm {
		w.settle(&l.begin, at, fmt.Sprintf("in order for %.0f s", calm))
	}
}

// A rate counts the samples of a source by the second.
type rate struct {
	alarm  alarm
	begun  bool
	from   float64 // where the window under way began
	n      int
	learnt int     // windows
	sum    float64 // of the windows learnt
	usual  float64 // Hz, 0: not known yet
	other  int     // windows in a row that are not as the alarm says
	otherN int     // samples in them
}

func (w *watch) rateOf(r *rate, at float64) {
	if !r.begun || at-r.from >= 2 { // a gap is silence, not another rate
		r.begun, r.from, r.n, r.other, r.otherN = true, at, 1, 0, 0
		return
	}
	if at-r.from < 1 {
		r.n++
		return
	}
	n := r.n
	r.from, r.n = r.from+1, 1
	if r.usual == 0 {
		mean := r.sum / float64(max(r.learnt, 1))
		if float64(n) < rateLeast || r.learnt > 0 && differs(float64(n), mean) {
			r.learnt, r.sum = 0, 0
			return
		}
		r.learnt++
		r.sum += float64(n)
		if r.learnt == rateLearn {
			r.usual = r.sum / rateLearn
		}
		return
	}
	if differs(float64(n), r.usual) == r.alarm.on {
		r.other, r.otherN = 0, 0
		return
	}
	r.other++
	r.otherN += n
	if r.other <= rateLast {
		return
	}
	now := float64(r.otherN) / float64(r.other)
	r.other, r.otherN = 0, 0
	if r.alarm.on {
		w.settle(&r.alarm, at, fmt.Sprintf("%.3g samples a second again", now))
		return
	}
	w.raise(&r.alarm, at, health.Degraded, fmt.Sprintf("%.3g samples a second, where %.3g were usual", now, r.usual))
}

func differs(a, b float64) bool { return a > b*rateFactor || a*rateFactor < b }

// plausible tells of readings outside the range of their channel. The first time is told by who uses the reading,
// with its value, so here begin the recovery and what comes after it.
func (w *watch) plausible(s channel.Sample) {
	total := int64(0)
	for i := range w.lanes {
		total += w.lanes[i].decoder.implausible
	}
	if total > w.oddSeen {
		w.oddSeen = total
		for i, v := range s.Row {
			if math.IsNaN(v) || v >= w.limits[i].lo && v <= w.limits[i].hi {
				continue
			}
			id := channel.ID(i)
			a := w.odd[id]
			if a == nil {
				a = &alarm{part: Reading.Of(w.set.At(id).Name).Name}
				w.odd[id] = a
			}
			if a.on {
				a.last = s.At
				continue
			}
			w.oddNow = append(w.oddNow, id)
			if a.told == 0 {
				a.on, a.last, a.told = true, s.At, 1
				continue
			}
			w.raise(a, s.At, health.Degraded, fmt.Sprintf("the feed gives %.4g, outside its plausible range, again", v))
		}
	}
	for i := 0; i < len(w.oddNow); i++ {
		id := w.oddNow[i]
		if a := w.odd[id]; s.At-a.last > calm && s.Row.Has(id) {
			w.settle(a, s.At, fmt.Sprintf("plausible for %.0f s", calm))
			w.oddNow = slices.Delete(w.oddNow, i, i+1)
			i--
		}
	}
}
