package feed

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
)

func TestClock(t *testing.T) {
	nan := math.NaN()
	tests := []struct {
		name        string
		clock       feedfile.Clock
		in          [][2]float64 // the source's time and the arrival
		want        []float64
		back, jumps int64
	}{
		{"rebased", feedfile.Clock{Own: true}, [][2]float64{{1672875115.5, 9}, {1672875116, 9}}, []float64{0, 0.5}, 0, 0},
		{"a small step back waits", feedfile.Clock{Own: true}, [][2]float64{{10, nan}, {11, nan}, {10.5, nan}, {10.75, nan}, {11.5, nan}}, []float64{0, 1, 1, 1, 1.5}, 1, 0},
		{"a session begins anew", feedfile.Clock{Own: true}, [][2]float64{{100, nan}, {101, nan}, {0, nan}, {0.5, nan}}, []float64{0, 1, 1, 1.5}, 1, 0},
		{"a jump ahead, arrivals known", feedfile.Clock{Own: true}, [][2]float64{{0, 5}, {1, 6}, {1000, 6.25}, {1001, 7.25}}, []float64{0, 1, 1.25, 2.25}, 0, 1},
		{"a jump ahead, arrivals unknown", feedfile.Clock{Own: true}, [][2]float64{{0, nan}, {1, nan}, {1000, nan}, {1001, nan}}, []float64{0, 1, 6, 7}, 0, 1},
		{"a long silence is none", feedfile.Clock{Own: true}, [][2]float64{{0, 5}, {20, 25.5}, {21, 26}}, []float64{0, 20, 21}, 0, 0},
		{"one absurd time ahead", feedfile.Clock{Own: true}, [][2]float64{{10, 5}, {11, 6}, {4000, 6.5}, {12, 7}, {13, 8}}, []float64{0, 1, 1.5, 2, 3}, 0, 1},
		{"one absurd time behind", feedfile.Clock{Own: true}, [][2]float64{{10, nan}, {11, nan}, {-4000, nan}, {12, nan}, {13, nan}}, []float64{0, 1, 1, 2, 3}, 1, 0},
		{"two absurd times", feedfile.Clock{Own: true}, [][2]float64{{10, 5}, {11, 6}, {4000, 6.1}, {-70, 6.2}, {12, 7}, {13, 8}}, []float64{0, 1, 1.1, 1.1, 2, 3}, 1, 1},
		{"one absurd time of a counter that wraps", feedfile.Clock{Own: true, Modulus: 65.536}, [][2]float64{{1, 5}, {2, 6}, {60, 6.5}, {3, 7}, {4, 8}}, []float64{0, 1, 1.5, 2, 3}, 0, 1},
		{"one absurd time just before the wrap", feedfile.Clock{Own: true, Modulus: 65.536}, [][2]float64{{64, 5}, {65, 6}, {30, 6.5}, {0.464, 7}, {1.464, 8}}, []float64{0, 1, 1.5, 2, 3}, 0, 1},
		{"no time in a record", feedfile.Clock{Own: true}, [][2]float64{{nan, 1}, {7, 2}, {nan, 3}, {math.Inf(1), 3}, {8, 4}}, []float64{0, 0, 0, 0, 1}, 0, 0},
		{"a counter wraps around", feedfile.Clock{Own: true, Modulus: 65.536}, [][2]float64{{65, nan}, {65.5, nan}, {0.464, nan}, {1, nan}}, []float64{0, 0.5, 1, 1.536}, 0, 0},
		{"arrivals", feedfile.Clock{}, [][2]float64{{nan, 5}, {nan, 6}, {nan, 5.5}, {nan, nan}, {nan, 7}}, []float64{0, 1, 1, 1, 2}, 0, 0},
		{"evenly spaced", feedfile.Clock{Period: 0.25}, [][2]float64{{nan, 5}, {nan, nan}, {nan, 5.5}}, []float64{0, 0.25, 0.5}, 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := clock{Clock: tt.clock}
			c.Jump = feedfile.JumpLimit
			for i, x := range tt.in {
				require.InDelta(t, tt.want[i], c.stamp(x[0], x[1]), 1e-6, "record %d", i+1)
			}
			if tt.name == "no time in a record" {
				require.EqualValues(t, 3, c.untimed)
			}
			require.Equal(t, []int64{tt.back, tt.jumps}, []int64{c.back, c.jumps})
		})
	}
}

// Whatever the source's clock does, At begins at 0 and never goes backwards, nor ahead by more than it must.
func TestTheClockNeverGoesBackwards(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := clock{Clock: feedfile.Clock{Own: true, Jump: feedfile.JumpLimit, Modulus: rapid.SampledFrom([]float64{0, 65.536}).Draw(t, "modulus")}}
		last := 0.0
		for i := range 30 {
			at := c.stamp(rapid.Float64Range(-1e6, 1e10).Draw(t, "t"), math.NaN())
			if i == 0 && at != 0 || at < last || at > last+feedfile.JumpLimit+1e-5 {
				t.Fatalf("record %d: %v after %v", i, at, last)
			}
			last = at
		}
	})
}

func TestDerived(t *testing.T) {
	const src = head + `codec: json
channels:
  wheel_speed: {path: "w[*]", wheels: [fl, fr, rl, rr], unit: km/h}
  air_temperature: {path: t, unit: °C}
  steering_wheel_angle: {path: s, unit: deg}
derived:
  speed: (wheel_speed_rl + wheel_speed_rr) / 2
  road_wheel_angle: -steering_wheel_angle / 14.5
  track_temperature: max(air_temperature, 12 °C, 50 °F) + 9 delta_degF
  heading: atan2(wheel_speed_fl, wheel_speed_fr)
  acceleration_lateral: speed * speed / 20 m
  brake_bias: abs(wheel_speed_fl - wheel_speed_fr) / hypot(wheel_speed_fl, wheel_speed_fr)
  throttle: sqrt(brake_bias) - 0.1e1 %
  gear: wheel_speed_fl / wheel_speed_rl
`
	f, set := parse(t, src)
	run := func(text string) channel.Row {
		d := decoderOf(t, f, set)
		var row channel.Row
		d.Decode([]byte(text), 0, func(s channel.Sample) { row = append(row, s.Row...) })
		return row
	}
	row := run(`{"w":[108, 144, 72, 36],"t":20,"s":-29}`)
	for id, want := range map[channel.ID]float64{
		channel.Speed: 15, channel.RoadWheelAngle: 2 * math.Pi / 180, channel.TrackTemperature: 25, channel.Heading: math.Atan2(30, 40),
		channel.AccelerationLat: 11.25, channel.BrakeBias: 0.2, channel.Throttle: math.Sqrt(0.2) - 0.01, channel.Gear: 1.5,
	} {
		require.InDelta(t, want, row[id], 1e-12, set.At(id).Name)
	}
	row = run(`{"w":[108, null, 72, 720000],"t":-50.1,"s":1}`)
	for _, id := range []channel.ID{channel.Speed, channel.Heading, channel.AccelerationLat, channel.BrakeBias, channel.Throttle, channel.TrackTemperature} {
		require.True(t, math.IsNaN(row[id]), "%s needs what is absent or implausible", set.At(id).Name)
	}
	require.InDelta(t, 1.5, row[channel.Gear], 1e-12)
	row = run(`{"w":[108, 0, 0, 36],"s":1}`)
	require.True(t, math.IsNaN(row[channel.Gear]), "a division by zero is no reading")
}
