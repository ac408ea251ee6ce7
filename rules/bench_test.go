package rules_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/rules"
)

// steady is a row in which every channel has a value and no shipped rule has anything to say.
func steady(t testing.TB, voc *words) []float64 {
	env := voc.row(t, nil)
	for i := range env {
		env[i] = 0
	}
	for name, x := range map[string]float64{
		"brake_events": 10, "brake_peak_front": 400, "brake_peak_rear": 400, "fuel_margin": 3, "fuel_doubt": 0.3, "fuel_laps_left": 9,
		"laps_to_go":  6,
		"tyres_ready": 1, "speed": 60, "tyre_core_fl": 90, "tyre_core_fr": 90, "tyre_core_rl": 90, "tyre_core_rr": 90,
		"tyre_core_mean_fl":     88,
		"tyre_pressure_mean_fl": 180, "tyre_pressure_mean_fr": 180, "tyre_pressure_mean_rl": 180, "tyre_pressure_mean_rr": 180, "flag": 1,
	} {
		n, ok := voc.Name(name)
		require.True(t, ok, name)
		env[n.Index] = x
	}
	return env
}

func TestStepDoesNotAllocate(t *testing.T) {
	voc := car()
	set, err := rules.Compile(shipped(t), voc)
	require.NoError(t, err)
	mem, env := set.NewMemory(), steady(t, voc)
	now, out := 0.0, make([]rules.Transition, 0, 256)
	for range 600 {
		now += 1.0 / 60
		out = mem.Step(now, env, 0, out[:0])
	}
	require.Zero(t, testing.AllocsPerRun(1000, func() {
		now += 1.0 / 60
		out = mem.Step(now, env, 0, out[:0])
	}))
	require.Empty(t, out)
	// Changes without words do not allocate either: a situation in and out.
	n := 0
	require.Zero(t, testing.AllocsPerRun(100, func() {
		now += 1.0 / 60
		n++
		out = mem.Step(now, env, uint64(n%2), out[:0])
	}))
	require.NotEmpty(t, out)
}

func BenchmarkStepShipped(b *testing.B) {
	voc := car()
	set, err := rules.Compile(shipped(b), voc)
	require.NoError(b, err)
	mem, env := set.NewMemory(), steady(b, voc)
	now, out := 0.0, make([]rules.Transition, 0, 256)
	instances := 0
	for _, r := range set.Rules() {
		instances += len(r.Instances)
	}
	b.ReportMetric(float64(instances), "instances")
	b.ReportAllocs()
	for b.Loop() {
		now += 1.0 / 360
		out = mem.Step(now, env, 0, out[:0])
	}
}

// sixty is 60 rules over 120 channels: five kinds of condition, each with an on-delay of half a second.
func sixty() (*words, string) {
	voc := car()
	for i := range 120 {
		voc.extra = append(voc.extra, fmt.Sprintf("c%d", i))
	}
	var b strings.Builder
	b.WriteString("rules:\n")
	for i := range 60 {
		x, y := fmt.Sprintf("c%d", i), fmt.Sprintf("c%d", 119-i)
		when := [...]string{x + " < 10", x + " > 90 and " + y + " < 50", x + " - " + y + " > 95", "not " + x + " < 95 or " + y + " == 1000",
			"between(" + x + ", 97, 99) and abs(" + y + ") < 50"}[i%5]
		fmt.Fprintf(&b, "  - {name: r%d, when: \"%s\", on_delay: 0.5 s, say: Call.}\n", i, when)
	}
	return voc, b.String()
}

// plain is what sixty says, by hand.
type plain struct {
	first  int
	active [60]bool
	timing [60]bool
	since  [60]float64
	fired  int
}

func (p *plain) step(now float64, env []float64) {
	c := env[p.first : p.first+120]
	for i := 0; i < 60; i += 5 {
		p.judge(i, now, c[i] < 10)
		p.judge(i+1, now, c[i+1] > 90 && c[118-i] < 50)
		p.judge(i+2, now, c[i+2]-c[117-i] > 95)
		p.judge(i+3, now, !(c[i+3] < 95) || c[116-i] == 1000)
		x := c[i+4]
		p.judge(i+4, now, x >= 97 && x <= 99 && math.Abs(c[115-i]) < 50)
	}
}

func (p *plain) judge(i int, now float64, yes bool) {
	switch {
	case yes == p.active[i]:
		p.timing[i] = false
	case !yes:
		p.active[i] = false
	case !p.timing[i]:
		p.timing[i], p.since[i] = true, now
	case now-p.since[i] >= 0.5-1e-9:
		p.active[i], p.timing[i] = true, false
		p.fired++
	}
}

// wander moves every channel slowly between 0 and 100, each at a pace of its own.
func wander(env []float64, first int, now float64) {
	for i := range 120 {
		env[first+i] = 50 + 50*math.Sin(now*(0.3+float64(i)*0.01)+float64(i))
	}
}

// The hand-written conditions and the compiled ones fire equally often: the ratio below compares like with like.
func TestSixtyRulesAgreeWithPlainGo(t *testing.T) {
	voc, text := sixty()
	set := compile(t, voc, text)
	mem, env := set.NewMemory(), voc.row(t, nil)
	p := &plain{first: voc.set.Len()}
	var out []rules.Transition
	fired := 0
	for i := range 6000 {
		now := float64(i) / 60
		wander(env, p.first, now)
		p.step(now, env)
		out = mem.Step(now, env, 0, out[:0])
		for _, tr := range out {
			if tr.Say {
				fired++
			}
		}
	}
	require.Greater(t, fired, 300)
	require.Equal(t, p.fired, fired)
}

func BenchmarkStepSixty(b *testing.B) {
	voc, text := sixty()
	set := compile(b, voc, text)
	mem := set.NewMemory()
	p := &plain{first: voc.set.Len()}
	rows := make([][]float64, 64)
	for i := range rows {
		rows[i] = voc.row(b, nil)
		wander(rows[i], p.first, float64(i)/360)
	}
	var out []rules.Transition
	n := 0
	// Short blocks of both by turns, and the quickest block of each: a busy machine slows both alike.
	const block = 500
	byHand, compiled := time.Hour, time.Hour
	for range 400 {
		begin := time.Now()
		for i := 1; i <= block; i++ {
			p.step(float64(i)/360, rows[i&63])
		}
		byHand = min(byHand, time.Since(begin))
		begin = time.Now()
		for i := 1; i <= block; i++ {
			out = mem.Step(float64(i)/360, rows[i&63], 0, out[:0])
		}
		compiled = min(compiled, time.Since(begin))
	}
	b.ReportAllocs()
	for b.Loop() {
		n++
		out = mem.Step(float64(n)/360, rows[n&63], 0, out[:0])
	}
	b.ReportMetric(float64(byHand)/block, "ns/plain")
	b.ReportMetric(float64(compiled)/block, "ns/compiled")
	b.ReportMetric(float64(compiled)/float64(byHand), "ratio")
}

func BenchmarkCompileShipped(b *testing.B) {
	files, voc := shipped(b), car()
	for b.Loop() {
		if _, err := rules.Compile(files, voc); err != nil {
			b.Fatal(err)
		}
	}
}
