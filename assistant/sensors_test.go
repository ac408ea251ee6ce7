package assistant_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/journal"
)

// A sensor that fails is named once; no other call and no lap's mean is made from what it shows.
func TestFailedSensors(t *testing.T) {
	frozen := func(name string) []demo.Fault {
		return []demo.Fault{{Kind: demo.Frozen, FromLap: 2, ToLap: 5, Corner: 2, Channel: name}}
	}
	pressure, carcass := channel.TyrePressure+1, channel.TyreCarcass+1
	for _, tt := range []struct {
		name   string
		faults []demo.Fault
		spoil  func(row channel.Row)
		text   string // said by channel-frozen or channel-implausible
		silent func(l *journal.Lap) journal.Num
	}{
		{"a clean drive", nil, nil, "", nil},
		{"a frozen carcass", frozen("tyre_carcass_temperature_fr"), nil, "Front right tyre carcass temperature frozen.",
			func(l *journal.Lap) journal.Num { return l.TyreTemperature[1] }},
		{"a frozen pressure", frozen("tyre_pressure_fr"), nil, "Front right tyre pressure frozen.",
			func(l *journal.Lap) journal.Num { return l.TyrePressure[1] }},
		{"no pressure at all", nil, func(row channel.Row) { row[pressure] = 0 }, "Front right tyre pressure implausible.",
			func(l *journal.Lap) journal.Num { return l.TyrePressure[1] }},
		{"a carcass out of its range", nil, func(row channel.Row) { row[carcass] = 3276.7 },
			"Front right tyre carcass temperature implausible.", nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			core, set := newCore(t)
			sim, err := demo.New(set, demo.Options{Seed: 12, Laps: 5, Rate: 20, Faults: tt.faults})
			require.NoError(t, err)
			var out assistant.Output
			for s, ok := sim.Next(); ok; s, ok = sim.Next() {
				if tt.spoil != nil {
					tt.spoil(s.Row)
				}
				core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
			}
			var said []string
			for _, c := range bodies[*journal.Cue](out.Events) {
				if c.Verdict != "said" {
					continue
				}
				if c.Rule == "channel-frozen" || c.Rule == "channel-implausible" {
					said = append(said, c.Text)
				}
			}
			if tt.text == "" {
				require.Empty(t, said)
				return
			}
			require.Equal(t, []string{tt.text}, said)
			for _, l := range bodies[*journal.Lap](out.Events) {
				if tt.silent != nil && (tt.faults == nil || l.Number >= 2 && l.Number <= 5) {
					require.True(t, math.IsNaN(float64(tt.silent(l))), "lap %d", l.Number)
				}
			}
		})
	}
}

// What has to be learned is told once, when it is; what never was is told at the end, with what it lacked.
func TestLearnedIsTold(t *testing.T) {
	core, set := newCore(t)
	sim, err := demo.New(set, demo.Options{Seed: 3, Laps: 3, Rate: 20})
	require.NoError(t, err)
	var out assistant.Output
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		for w := range channel.ID(2) {
			s.Row[channel.WheelSpeed+2+w] = math.NaN()
		}
		core.Step(assistant.Input{Kind: assistant.KindSample, At: s.At, Row: s.Row}, &out)
	}
	core.Step(assistant.Input{Kind: assistant.KindEnd, At: core.Now()}, &out)
	got := map[string]string{}
	for _, l := range bodies[*journal.Learned](out.Events) {
		require.NotContains(t, got, l.What)
		got[l.What] = l.Lacks
		require.Equal(t, l.Lacks != "", math.IsNaN(float64(l.At)))
	}
	require.Equal(t, map[string]string{
		"course": "", "slip_front": "", "slip_rear": "no wheel_speed_rl, no wheel_speed_rr", "fuel_per_lap": "", "fuel_spread": "",
		"balance": "",
	}, got)
}
