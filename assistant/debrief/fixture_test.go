package debrief

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/journal"
)

var update = flag.Bool("update", false, "rewrite the fixture and the golden files")

// The story of the fixture: an invented day at Wrenfield with two stints. In the first the front right tyre gains too
// much and the car pushes in turn 3; in the second it is better, and turn 7 snaps once. The journal was ended by a
// power cut, so the second stint has no end.

type fixtureCorner struct {
	number int
	name   string
	at     float64 // m
	speed  float64 // m/s at the slowest point
	gear   float64
	end    float64 // share of the lap at its exit
}

var fixtureCorners = []fixtureCorner{
	{1, "Long Meadow", 420, 38, 4, 0.12},
	{3, "Mill", 1180, 26, 2, 0.31},
	{5, "", 2050, 44, 5, 0.52},
	{7, "Weir", 3010, 21, 2, 0.77},
}

type fixtureLap struct {
	stint, number int
	class         string
	time          float64
	why           string
	pressure      float64 // kPa above cold, front right one third more
	tyre          float64 // °C
	brake         float64
	fuel          float64
	push          float64 // degrees of understeer in turn 3
	mark          string  // tag of a mark in turn 3
}

var fixtureLaps = []fixtureLap{
	{1, 1, "out", 131.2, "", 20, 48, 260, 2.31, 0.2, ""},
	{1, 2, "flying", 104.912, "", 33, 71, 410, 2.62, 0.9, ""},
	{1, 3, "flying", 103.604, "", 39, 80, 468, 2.66, 1.7, "understeer"},
	{1, 4, "flying", 103.118, "", 42, 84, 481, 2.65, 1.9, ""},
	{1, 5, "flying", 102.874, "wide at turn 5", 43, 86, 486, 2.68, 2.1, "understeer"},
	{1, 6, "flying", 103.251, "", 44, 87, 490, 2.64, 2.2, "understeer"},
	{1, 7, "in", 118.4, "", 41, 79, 352, 2.20, 0.6, ""},
	{2, 8, "out", 129.9, "", 19, 50, 271, 2.28, 0.1, ""},
	{2, 9, "flying", 103.402, "", 32, 72, 420, 2.60, 0.4, ""},
	{2, 10, "flying", 102.611, "", 38, 81, 470, 2.63, 0.5, ""},
	{2, 11, "flying", 102.298, "", 40, 84, 479, 2.61, 0.3, ""},
	{2, 12, "flying", 102.455, "", 41, 85, 484, 2.64, 0.4, ""},
	{2, 13, "flying", 102.702, "", 41, 86, 488, 2.62, 0.6, ""},
	{2, 14, "flying", 102.803, "", 42, 86, 489, 2.63, 0.5, ""},
}

// What the feed and the car file of the fixture say, kPa.
var (
	fixtureCold = [2][4]float64{{140, 140, 138, 138}, {138, 133, 138, 137}}
	fixtureAir  = 99.2
)

func fixtureContext() Context {
	return Context{
		HotTarget:   [4]float64{180, 180, 178, 178},
		ColdMinimum: [4]float64{132, 132, 132, 132},
		Notes:       []string{"The last line of the journal is incomplete, as after a power cut: everything before it is good."},
	}
}

// fixture makes the events. Every figure below follows from the tables above.
func fixture() []journal.Event {
	var events []journal.Event
	now, lap := 12.0, 0
	add := func(t float64, distance float64, b journal.Body) {
		events = append(events, journal.Event{T: t, Lap: lap, Distance: journal.Num(distance), Body: b})
	}
	nan := math.NaN()
	add(0, nan, &journal.Session{ID: "20260512-143012", Feed: "bench", Car: "Tern GT", Course: "Wrenfield", Started: "2026-05-12T14:30:12+02:00"})
	add(0.5, nan, healthLine("feed", "ok", ""))
	marks, stint := 0, 0
	for _, f := range fixtureLaps {
		if f.stint != stint {
			if stint > 0 {
				e := journal.NewStint()
				e.Number, e.Event = stint, "end"
				add(now+30, nan, e)
				now += 600 // in the box
				lap++      // the line is crossed on the way out
			}
			stint = f.stint
			s := journal.NewStint()
			s.Number, s.Event, s.Compound = stint, "start", "medium"
			for w := range 4 {
				s.TyrePressure[w] = journal.Num(fixtureCold[stint-1][w])
				s.TyreTemperature[w] = journal.Num(21 + 2*stint)
			}
			s.AirTemperature, s.AirPressure, s.TrackTemperature = 19, journal.Num(fixtureAir), 31
			s.Fuel = journal.Num([]float64{40, 34}[stint-1])
			add(now, nan, s)
		}
		lap = f.number
		for _, c := range fixtureCorners {
			fixturePass(&marks, f, c, now+c.end*f.time, add)
		}
		now += f.time
		fixtureLine(f, now, add)
	}
	fixtureTalk(add, now)
	return events
}

// push is what the marks of the fixture mean.
var push = journal.Finding{Kind: journal.Understeer, Phase: "mid_corner"}

func fixturePass(marks *int, f fixtureLap, c fixtureCorner, t float64, add func(float64, float64, journal.Body)) {
	p := journal.NewCorner()
	p.Number, p.Name = c.number, c.name
	slow := 1.0
	if f.class != "flying" {
		slow = 0.8
	}
	p.EntrySpeed, p.MinSpeed, p.ExitSpeed = journal.Num(c.speed*1.8*slow), journal.Num(c.speed*slow), journal.Num(c.speed*1.4*slow)
	p.MinGear, p.Time = journal.Num(c.gear), journal.Num(5.5/slow)
	p.Balance = journal.Num(0.3 * math.Pi / 180)
	p.MaxSlip = journal.Wheels{-0.06, -0.07, 0.05, 0.05}
	for w := range 4 {
		p.BrakeTemp[w] = journal.Num(f.brake - 20*float64(w/2) + 6*float64(w%2))
		p.TyreTemperature[w] = journal.Num(f.tyre - 3*float64(w/2) + 5*float64(w%2))
	}
	snap := c.number == 7 && f.number == 12
	switch {
	case c.number == 3:
		p.Balance = journal.Num(f.push * math.Pi / 180)
		p.MinSpeed -= journal.Num(f.push * 0.5)
		if f.push >= 1.5 && f.class == "flying" {
			p.Findings = []journal.Finding{push}
			if f.number == 5 {
				p.Repeated = p.Findings
			}
		}
	case snap:
		p.Balance, p.MaxSlip = journal.Num(-1.4*math.Pi/180), journal.Wheels{-0.05, -0.05, 0.22, 0.31}
		p.Findings = []journal.Finding{{Kind: journal.Oversteer, Phase: "exit"}}
	}
	tag, memo := "", ""
	if c.number == 3 {
		tag = f.mark
	}
	if snap {
		tag, memo = "oversteer", "snapped on the kerb <too early> & lost it"
	}
	add(t, c.at, p)
	if tag != "" {
		*marks++
		m := journal.NewMark()
		m.Number, m.Tag, m.Memo, m.Corner, m.CornerName = *marks, tag, memo, c.number, c.name
		m.Speed, m.Gear, m.MinSpeed, m.MinGear, m.Balance = journal.Num(float64(p.MinSpeed)*1.2), p.MinGear, p.MinSpeed, p.MinGear, p.Balance
		m.TyreTemperature, m.BrakeTemperature = p.TyreTemperature, p.BrakeTemp
		add(t+1.5, c.at+60, m)
	}
}

func fixtureLine(f fixtureLap, now float64, add func(float64, float64, journal.Body)) {
	l := journal.NewLap()
	l.Number, l.Stint, l.Class, l.Time = f.number, f.stint, f.class, journal.Num(f.time)
	l.Valid, l.WhyInvalid = f.why == "", f.why
	l.Length, l.FuelUsed = 3890, journal.Num(f.fuel)
	l.Sectors = []journal.Num{journal.Num(f.time * 0.3), journal.Num(f.time*0.45 + 0.02*float64(f.number%3)), journal.Num(f.time*0.25 - 0.02*float64(f.number%3))}
	for w := range 4 {
		rise := f.pressure
		if w == int(channel.FR) {
			rise *= 4.0 / 3
		}
		l.TyrePressure[w] = journal.Num(fixtureCold[f.stint-1][w] + rise)
		l.TyreTemperature[w] = journal.Num(f.tyre - 3*float64(w/2) + 5*float64(w%2))
		l.BrakePeak[w] = journal.Num(f.brake - 20*float64(w/2) + 6*float64(w%2))
	}
	add(now, 0, l)
	fu := journal.NewFuel()
	fu.PerLap, fu.Spread, fu.Left = 2.63, 0.02, journal.Num(34-2.6*float64(max(0, f.number-7)))
	add(now, 0, fu)
}

// fixtureTalk is what was said: eight calls and an answer, five not said, one rule that chatters.
func fixtureTalk(add func(float64, float64, journal.Body), end float64) {
	cue := func(rule, text, priority, verdict, why string, start float64) {
		c := journal.NewCue()
		c.Rule, c.Text, c.Priority, c.Verdict, c.Why, c.Queued = rule, text, priority, verdict, why, journal.Num(start-0.5)
		if verdict == "said" || verdict == "interrupted" {
			c.Start, c.End = journal.Num(start), journal.Num(start+1.8)
		}
		if verdict == "expired" {
			c.Reason = "no_room"
			c.Why = fmt.Sprintf("%s: at most %.1f s", why, start/1000) // figures that differ from call to call
		}
		add(start+1.8, math.NaN(), c)
	}
	cue("tyres-ready", "Tyres ready. Push.", "advisory", "said", "", 260)
	cue("lap-time", "One forty-three six.", "advisory", "said", "", 365)
	cue("lap-time", "One forty-three one.", "advisory", "said", "", 468)
	cue("pressure-high", "Front right twenty-seven point four. Half high.", "caution", "said", "", 500)
	cue("locking", "Front left locking, turn seven.", "caution", "said", "", 520)
	cue("locking", "Front left locking, turn one.", "caution", "said", "", 540)
	cue("locking", "Front left locking, turn three.", "caution", "interrupted", "a warning came", 561)
	cue("feed-lost", "Telemetry lost.", "warning", "said", "", 562)
	cue("fuel", "Fuel for nine laps.", "answer", "said", "", 700)
	cue("lap-time", "One forty-three two.", "advisory", "expired", "no room before the next braking point", 780)
	cue("lap-time", "One forty-two six.", "advisory", "expired", "no room before the next braking point", 1890)
	cue("brakes-cold", "Rear brakes cold.", "caution", "suppressed", "out lap", 60)
	cue("pressure-high", "Rear right high.", "caution", "merged", "said with front right", 500)
	cue("balance", "Understeer, turn three.", "advisory", "muted", "muted by the driver", 610)
	add(561.8, math.NaN(), healthLine("feed", "lost", "no datagram for 2 s"))
	add(566.3, math.NaN(), healthLine("feed", "ok", ""))
	add(end, math.NaN(), healthLine("recording", "degraded", "3 samples dropped"))
}

func healthLine(part, state, text string) *journal.Health {
	return &journal.Health{Part: part, State: state, Text: text}
}

// read returns the fixture as it comes off the disk.
func read(t testing.TB) []journal.Event {
	t.Helper()
	var b []byte
	for _, e := range fixture() {
		var err error
		b, err = e.Append(b)
		require.NoError(t, err)
	}
	golden(t, "session.jsonl", b)
	events, err := journal.Read(bytes.NewReader(b))
	require.NoError(t, err)
	return events
}

func golden(t testing.TB, name string, got []byte) {
	t.Helper()
	path := "testdata/" + name
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "go test ./assistant/debrief -update writes it")
	require.Equal(t, string(want), string(got), fmt.Sprintf("%s differs: read the difference, then -update", path))
}
