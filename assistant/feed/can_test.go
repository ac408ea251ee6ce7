package feed

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/opendata"
)

// What the example file says, worked out by hand: 0x1D4C quarters of a turn a minute and so on.
const exampleLog = "(1700000000.00) can0 1A0#1D4C8C3000000035\n" + // half bytes 11 + 61, which is 8 modulo 16
	"(1700000000.01) can0 1B0#E8034C04B004140500\n" + // nine bytes: no frame
	"(1700000000.02) can0 1B0#E8034C04B0041405\n" +
	"(1700000000.03) can0 19000000#007B640000000000\n" +
	"(1700000000.04) can0 19000000#010FA00000000000\n" +
	"(1700000000.05) can0 19000000#0220\n(1700000000.06) can0 19000000#02F0\n" +
	"(1700000000.07) can0 1F0#FF38\n" +
	"(1700000000.08) can0 7E8#03410D2A00000000\n" +
	"(1700000000.09) can0 1A0#1D4C8C3000000036\n"

func TestExampleCAN(t *testing.T) {
	f, set := load(t, "../../configs/feeds/example-can.yaml")
	require.True(t, f.Clock.Own)
	d := decoderOf(t, f, set)
	got := map[string]float64{}
	n := 0
	emit := func(s channel.Sample) {
		n++
		for id, v := range s.Row {
			if !math.IsNaN(v) {
				got[set.At(channel.ID(id)).Name] = v
			}
		}
		got["at"] = s.At
	}
	d.Decode([]byte(exampleLog), math.NaN(), emit)
	d.End(emit)
	rpm := 2 * math.Pi / 60
	want := map[string]float64{
		"at": 0.08, "engine_speed": 1875 * rpm, "throttle": 0.7, "gear": 3, "pit_limiter": 0,
		"wheel_speed_fl": 10 / 3.6, "wheel_speed_fr": 11 / 3.6, "wheel_speed_rl": 12 / 3.6, "wheel_speed_rr": 13 / 3.6,
		"coolant_temperature": 83, "oil_temperature": 60, "oil_pressure": 400, "flag": 2,
		"steering_wheel_angle": -20 * math.Pi / 180, "road_wheel_angle": -20 * math.Pi / 180 / 14.5, "speed": 42 / 3.6,
	}
	require.Len(t, got, len(want), "%v", got)
	for name, v := range want {
		require.InDelta(t, v, got[name], 1e-6, name)
	}
	s := d.Stats()
	consistent(t, s, n)
	require.EqualValues(t, 2, s.Bad, s.LastBad) // nine bytes, wrong checksum
	require.EqualValues(t, 1, s.Reasons["checksum differs"])
	require.Equal(t, "line", s.Record)
}

// The log of a road car that stands, with the DBC file of its family: engine at idle, wheels at rest, as read off the log with
// candump's bytes by hand: 17C begins 00 00 and has the engine speed in bytes 2 and 3.
func TestOpenCANLog(t *testing.T) {
	dir := filepath.Dir(opendata.Path(t, "can-bus/sample-can.log"))
	set := channel.NewSet()
	f, err := feedfile.ParseWith("car.yaml", []byte(`
transport: {kind: file}
codec: can
can:
  dbc: _honda_common.dbc
  messages:
    POWERTRAIN_DATA:
      check: {sum: nibbles, total: 8}
      counter: COUNTER
      signals: {ENGINE_RPM: {to: engine_speed}, PEDAL_GAS: {to: throttle, unit: "%"}}
    WHEEL_SPEEDS:
      check: {sum: nibbles, total: 8}
      signals: {WHEEL_SPEED_*: {to: wheel_speed, wheels: [fl, fr, rl, rr]}}
`), set, func(name string) ([]byte, error) { return os.ReadFile(filepath.Join(dir, name)) })
	require.NoError(t, err)
	f.Transport.Path = filepath.Join(dir, "sample-can.log")
	list, stats := play(t, f, set)
	require.EqualValues(t, 6158, stats.Records)
	require.EqualValues(t, 326+162, stats.Samples)
	require.Zero(t, stats.Bad+stats.Lost+stats.Duplicate)
	require.InDelta(t, 3.26, list[len(list)-1].At, 0.02)
	for _, s := range list {
		for w := range channel.Wheel(4) {
			if v := s.Row[channel.WheelSpeed+channel.ID(w)]; !math.IsNaN(v) {
				require.Zero(t, v)
			}
		}
	}
}

func TestCANDoesNotAllocate(t *testing.T) {
	f, set := load(t, "../../configs/feeds/example-can.yaml")
	d := decoderOf(t, f, set)
	n := 0
	emit := func(channel.Sample) { n++ }
	text := []byte(strings.ReplaceAll(exampleLog, "1A0#1D4C8C3000000035", "1A1#00"))
	d.Decode(text, 1, emit)
	require.Zero(t, testing.AllocsPerRun(100, func() { d.Decode(text, 1, emit) }))
	require.Greater(t, n, 500)
}
