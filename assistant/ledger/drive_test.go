package ledger

import (
	"fmt"
	"io/fs"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/cue"
	"earshot/assistant/demo"
	"earshot/assistant/journal"
	"earshot/audio/voice"
	"earshot/configs"
	"earshot/rules"
)

// A drive is one session and what has to be told of it.
type drive struct {
	name    string
	options demo.Options
	limits  string                            // lines of the car file that replace those of the demo car, `brake_hot: 600 °C`
	spoil   func(at float64, row channel.Row) // what happens to the readings on their way
	ask     float64                           // s between two questions of the driver, 0 for none
	expect  []expected
	clean   bool   // nothing is wrong with the car, the sensors or the course
	extra   string // rules that are off by default and are to be on

	// What depends on a drive like it that went before: a limit of the car, or the drive itself.
	limit func(o *outcome) string
	tune  func(d *drive, o *outcome)
}

// An expected call has to be made, of that part of the car, once the lap has begun and before the other one ends.
type expected struct {
	rule       string
	part       string // fl, front, right …, or empty
	corner     int    // 0: no matter
	from, late int    // laps of the simulation: 0 is the out-lap
	silent     bool   // it must not be made at all
}

// A moment is what really was at one sample, before the readings were spoiled.
type moment struct {
	at  float64
	row channel.Row // as the simulation gave it
	own channel.Row // of the core, after the step
}

// A said cue, with its ruling.
type said struct {
	journal.Cue
	at  float64 // s: when it was ruled on
	lap int
}

// An outcome is a drive as it went.
type outcome struct {
	drive  *drive
	truth  demo.Truth
	car    *car.Car
	trace  []moment
	cues   []said
	health []journal.Health
	set    *channel.Set
}

var shippedVoice = sync.OnceValues(func() (*voice.Voice, error) {
	pack, err := fs.Sub(configs.Files, "voices/clear")
	if err != nil {
		return nil, err
	}
	return voice.Open(pack, nil)
})

func shippedRules(t testing.TB) []rules.Source {
	names, err := fs.Glob(configs.Files, "rules/*.yaml")
	require.NoError(t, err)
	var list []rules.Source
	for _, name := range names {
		data, err := configs.Files.ReadFile(name)
		require.NoError(t, err)
		list = append(list, rules.Source{Name: name, Data: data})
	}
	return list
}

// carWith is the demo car with other limits.
func carWith(t testing.TB, limits string) *car.Car {
	data, err := configs.Files.ReadFile("cars/demo.yaml")
	require.NoError(t, err)
	text := string(data)
	for line := range strings.Lines(limits) {
		key, _, _ := strings.Cut(strings.TrimSpace(line), ":")
		if key == "" {
			continue
		}
		kept := ""
		for l := range strings.Lines(text) {
			if !strings.HasPrefix(strings.TrimSpace(l), key+":") {
				kept += l
			}
		}
		text = strings.TrimRight(kept, "\n") + "\n  " + strings.TrimSpace(line) + "\n"
	}
	c, err := car.Parse("ledger.yaml", []byte(text))
	require.NoError(t, err, text)
	return c
}

// run drives it through a core as `earshot run` builds one.
func run(t testing.TB, d *drive) *outcome {
	if d.limit != nil || d.tune != nil {
		first := *d
		first.limit, first.tune = nil, nil
		before := run(t, &first)
		after := *d
		if d.tune != nil {
			d.tune(&after, before)
		} else {
			after.limits += d.limit(before)
		}
		after.limit, after.tune = nil, nil
		return run(t, &after)
	}
	set := channel.NewSet()
	c := carWith(t, d.limits)
	if d.options.Rate == 0 {
		d.options.Rate = 20
	}
	sim, err := demo.New(set, d.options)
	require.NoError(t, err, d.name)
	names := assistant.NewVocabulary(set, sim.Gives(), c, nil, nil)
	sources := shippedRules(t)
	if d.extra != "" {
		sources = append(sources, rules.Source{Name: "extra.yaml", Data: []byte(d.extra)})
	}
	compiled, err := rules.Compile(sources, names)
	require.NoError(t, err)
	v, err := shippedVoice()
	require.NoError(t, err)
	core := assistant.NewCore(assistant.Setup{Channels: set, Car: c, Rules: compiled, Names: names, Voice: v, Talk: cue.Config{MaxAdvisoriesPerLap: 4}})
	o := &outcome{drive: d, car: c, set: set}
	var out assistant.Output
	step := func(in assistant.Input) {
		out.Reset()
		core.Step(in, &out)
		for _, e := range out.Events {
			switch b := e.Body.(type) {
			case *journal.Cue:
				o.cues = append(o.cues, said{*b, e.T, e.Lap})
			case *journal.Health:
				o.health = append(o.health, *b)
			}
		}
	}
	row := set.NewRow()
	ask, asked := d.ask, 0
	last := math.Inf(-1)
	step(assistant.Input{Kind: assistant.KindStart, Session: &journal.Session{ID: "ledger"}})
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		m := moment{at: s.At, row: append(channel.Row(nil), s.Row...)}
		for ; s.At-last > 0.25 && !math.IsInf(last, -1); last += 0.1 { // the clock ticks where samples are missing
			step(assistant.Input{Kind: assistant.KindTick, At: last + 0.1})
		}
		last = s.At
		copy(row, s.Row)
		if d.spoil != nil {
			d.spoil(s.At, row)
		}
		step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: row})
		if d.ask > 0 && s.At >= ask {
			ask += d.ask
			step(question(asked, s.At))
			asked++
		}
		m.own = append(channel.Row(nil), core.Row()...)
		o.trace = append(o.trace, m)
	}
	step(assistant.Input{Kind: assistant.KindEnd, At: last})
	o.truth = sim.Truth()
	return o
}

// limit is that of the car at a wheel.
func (o *outcome) limit(name string, w channel.Wheel) float64 {
	v := o.car.At(name, w)
	if math.IsNaN(v) {
		v = o.car.Whole(name)
	}
	return v
}

// lapAt is the lap of the simulation under way at a time: 0 is the out-lap.
func (o *outcome) lapAt(t float64) int {
	for _, l := range o.truth.Done {
		if t < l.End {
			return l.Number
		}
	}
	return len(o.truth.Done)
}

// between returns the moments from a to b.
func (o *outcome) between(a, b float64) []moment {
	lo, hi := 0, len(o.trace)
	for lo < hi {
		if mid := (lo + hi) / 2; o.trace[mid].at < a {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	end := lo
	for end < len(o.trace) && o.trace[end].at <= b {
		end++
	}
	return o.trace[lo:end]
}

func (o *outcome) at(t float64) moment {
	m := o.between(t-1, t)
	if len(m) == 0 {
		return o.trace[0]
	}
	return m[len(m)-1]
}

// mean is that of a channel over a span, NaN where it has no reading.
func (o *outcome) mean(id channel.ID, a, b float64) float64 {
	sum, n := 0.0, 0.0
	for _, m := range o.between(a, b) {
		if v := m.row[id]; !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	return sum / n
}

func (o *outcome) String() string {
	return fmt.Sprintf("%s (seed %d)", o.drive.name, o.drive.options.Seed)
}

// mostMean is the highest mean of a channel over so many seconds; of those of all wheels where it has one each.
func (o *outcome) mostMean(id channel.ID, seconds float64) float64 {
	wheels := channel.ID(4)
	if id == channel.OilTemperature || id == channel.CoolantTemperature {
		wheels = 1
	}
	most := math.Inf(-1)
	for w := range wheels {
		for at := o.trace[0].at + seconds; at < o.trace[len(o.trace)-1].at; at += seconds / 4 {
			most = max(most, o.mean(id+w, at-seconds, at))
		}
	}
	return most
}

// mostLapMean is the highest mean over a flying lap of a channel of all wheels.
func (o *outcome) mostLapMean(id channel.ID) float64 {
	most := math.Inf(-1)
	for _, l := range o.truth.Done {
		for w := range channel.ID(4) {
			if l.Class == "flying" {
				most = max(most, o.mean(id+w, l.Start, l.End))
			}
		}
	}
	return most
}

// mostPeak is the highest temperature of a disc.
func (o *outcome) mostPeak() (most float64) {
	for w := range 4 {
		most = max(most, o.hottest(w, 0, math.Inf(1)))
	}
	return most
}

// clockAfter is what the clock of the session has left at the first crossing of the line after a moment.
func (o *outcome) clockAfter(at float64) float64 {
	for _, l := range o.truth.Done {
		if m := o.at(l.End); l.End > at {
			return m.row[channel.SessionTimeLeft] - (l.End - m.at)
		}
	}
	return nan
}
