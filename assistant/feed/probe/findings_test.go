package probe

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
)

// drive is the demo car's out-lap and two laps, with what the demo leaves out: latitude, longitude, vertical
// acceleration with gravity, road-wheel angle, engine temperatures.
var drive = sync.OnceValue(func() []channel.Sample {
	set := channel.NewSet()
	sim, err := demo.New(set, demo.Options{Seed: 3, Rate: 20, Laps: 2})
	if err != nil {
		panic(err)
	}
	var list []channel.Sample
	for {
		s, ok := sim.Next()
		if !ok {
			return list
		}
		row := append(channel.Row(nil), s.Row...)
		i := float64(len(list))
		row[channel.AccelerationVert] = 9.81 + 0.4*math.Sin(i*1.7)
		row[channel.RoadWheelAngle] = row[channel.SteeringWheelAngle] / 14
		row[channel.CoolantTemperature], row[channel.OilTemperature] = 88+2*math.Sin(i/400), 104+3*math.Sin(i/500)
		row[channel.OilPressure] = 300 + 0.3*row[channel.EngineSpeed]
		lat, lon := 0.87, 0.24
		row[channel.Latitude], row[channel.Longitude] = lat+row[channel.PositionY]/earth, lon+row[channel.PositionX]/earth/math.Cos(lat)
		list = append(list, channel.Sample{At: s.At, Row: row})
	}
})

var everything = func() []channel.ID {
	var ids []channel.ID
	set := channel.NewSet()
	for id := range channel.ID(set.Len()) {
		if set.At(id).Origin == channel.Measured && drive()[0].Row.Has(id) {
			ids = append(ids, id)
		}
	}
	return ids
}

// probeDrive measures the drive, each row changed by spoil, as far as the feed covers it.
func probeDrive(covers []channel.ID, mappings map[channel.ID]Mapping, spoil func(channel.Row)) Report {
	set := channel.NewSet()
	m := NewMeter(set, covers, mappings)
	row := set.NewRow()
	for _, s := range drive() {
		row.Clear()
		for _, id := range covers {
			row[id] = s.Row[id]
		}
		if spoil != nil {
			spoil(row)
		}
		m.Add(channel.Sample{At: s.At, Row: row})
	}
	return m.Report()
}

func without(ids []channel.ID, drop ...channel.ID) []channel.ID {
	var left []channel.ID
	for _, id := range ids {
		keep := true
		for _, d := range drop {
			keep = keep && id != d
		}
		if keep {
			left = append(left, id)
		}
	}
	return left
}

func show(r Report) string {
	var b strings.Builder
	for _, f := range r.Findings {
		fmt.Fprintf(&b, "%s %v: %s\n  %s\n  %s\n", f.Kind, f.Channels, f.Hypothesis, f.Fix, f.Evidence)
	}
	return b.String()
}

var (
	pos    = []channel.ID{channel.PositionX, channel.PositionY}
	globe  = []channel.ID{channel.Latitude, channel.Longitude}
	wheels = []channel.ID{channel.WheelSpeed, channel.WheelSpeed + 1, channel.WheelSpeed + 2, channel.WheelSpeed + 3}
)

// A clean feed is accused of nothing, whatever it leaves out, wherever and however long one listens.
func TestCleanFeedIsSilent(t *testing.T) {
	all := everything()
	for _, covers := range [][]channel.ID{
		all, without(all, pos...), without(all, globe...), without(all, append(pos, globe...)...), without(all, wheels...),
		without(all, channel.YawRate), without(all, channel.Heading, channel.AccelerationLat), without(all, channel.Speed),
		{channel.Speed, channel.EngineSpeed}, {channel.PositionX, channel.PositionY, channel.YawRate}, {channel.TyreTemperature},
	} {
		require.Empty(t, show(probeDrive(covers, nil, nil)))
	}
	set := channel.NewSet()
	for from := 0; from+200 < len(drive()); from += 150 { // ten seconds at a time
		m := NewMeter(set, all, nil)
		for _, s := range drive()[from : from+200] {
			m.Add(s)
		}
		require.Empty(t, show(m.Report()), "from %.0f s", drive()[from].At)
	}
}

func scale(f float64, ids ...channel.ID) func(channel.Row) {
	return func(r channel.Row) {
		for _, id := range ids {
			r[id] *= f
		}
	}
}

func four(first channel.ID) []channel.ID { return []channel.ID{first, first + 1, first + 2, first + 3} }

func fahrenheit(ids ...channel.ID) func(channel.Row) {
	return func(r channel.Row) {
		for _, id := range ids {
			r[id] = r[id]*1.8 + 32
		}
	}
}

// Each mistake alone is found, with its remedy, and nothing else is accused. The truth is the mistake made here; the
// factors are those of NIST SP 811 by way of the units' table.
func TestEachMistakeIsFound(t *testing.T) {
	all := everything()
	deg := 180 / math.Pi
	tests := []struct {
		name    string
		covers  []channel.ID
		mapping map[channel.ID]Mapping
		spoil   func(channel.Row)
		kind    string
		channel string
		unit    string
		fix     string
		most    int // findings, 0: one
	}{
		{"speed km/h as m/s", all, nil, scale(3.6, channel.Speed), "unit", "speed", "km/h", "", 0},
		{"speed mph as m/s", all, nil, scale(1/0.44704, channel.Speed), "unit", "speed", "mph", "", 0},
		{"speed knots as m/s", all, nil, scale(3600/1852.0, channel.Speed), "unit", "speed", "kn", "", 0},
		{"speed mph as km/h", all, map[channel.ID]Mapping{channel.Speed: {Line: 7, Unit: "km/h", Scale: 1}}, scale(1/1.609344, channel.Speed), "unit", "speed", "mph", "line 7: unit: mph in place of unit: km/h", 0},
		{"speed m/s as km/h", all, map[channel.ID]Mapping{channel.Speed: {Line: 7, Unit: "km/h", Scale: 1}}, scale(1/3.6, channel.Speed), "unit", "speed", "m/s", "", 0},
		{"wheels km/h as m/s", all, nil, scale(3.6, wheels...), "unit", "wheel_speed_*", "km/h", "", 0},
		{"wheels rad/s as m/s", all, nil, scale(1/0.31, wheels...), "unit", "wheel_speed_*", "", "add scale: 0.3", 0},
		{"engine rpm as rad/s", all, nil, scale(30/math.Pi, channel.EngineSpeed), "unit", "engine_speed", "rpm", "", 0},
		{"engine rad/s as rpm", all, map[channel.ID]Mapping{channel.EngineSpeed: {Unit: "rpm", Scale: 1}}, scale(math.Pi/30, channel.EngineSpeed), "unit", "engine_speed", "rad/s", "", 0},
		{"steering deg as rad", all, nil, scale(deg, channel.SteeringWheelAngle), "unit", "steering_wheel_angle", "deg", "", 0},
		{"steering rad as deg", all, map[channel.ID]Mapping{channel.SteeringWheelAngle: {Unit: "deg", Scale: 1}}, scale(1/deg, channel.SteeringWheelAngle), "unit", "steering_wheel_angle", "rad", "", 0},
		{"road wheels deg as rad", all, nil, scale(deg, channel.RoadWheelAngle), "unit", "road_wheel_angle", "deg", "", 0},
		{"steering right positive", all, nil, scale(-1, channel.SteeringWheelAngle), "sign", "steering_wheel_angle", "", "negate", 0},
		{"yaw right positive", all, nil, scale(-1, channel.YawRate), "sign", "yaw_rate", "", "negate", 0},
		{"yaw deg/s as rad/s", all, nil, scale(deg, channel.YawRate), "unit", "yaw_rate", "deg/s", "", 0},
		{"yaw rad/s as deg/s", all, map[channel.ID]Mapping{channel.YawRate: {Unit: "deg/s", Scale: 1}}, scale(1/deg, channel.YawRate), "unit", "yaw_rate", "rad/s", "", 0},
		{"yaw deg/s against lateral only", []channel.ID{channel.Speed, channel.YawRate, channel.AccelerationLat}, nil, scale(deg, channel.YawRate), "unit", "yaw_rate", "deg/s", "", 0},
		{"heading deg as rad", all, nil, scale(deg, channel.Heading), "unit", "heading", "deg", "", 0},
		{"heading as a compass", all, nil, func(r channel.Row) { r[channel.Heading] = math.Pi/2 - r[channel.Heading] }, "sign", "heading", "", "offset: -90", 0},
		{"lateral right positive", all, nil, scale(-1, channel.AccelerationLat), "sign", "acceleration_lateral", "", "negate", 0},
		{"lateral in g", all, nil, scale(1/g0, channel.AccelerationLat), "unit", "acceleration_lateral", "g", "", 0},
		{"longitudinal in g", all, nil, scale(1/g0, channel.AccelerationLong), "unit", "acceleration_longitudinal", "g", "", 0},
		{"longitudinal m/s² as g", all, map[channel.ID]Mapping{channel.AccelerationLong: {Unit: "g", Scale: 1}}, scale(g0, channel.AccelerationLong), "unit", "acceleration_longitudinal", "m/s²", "", 0},
		{"vertical in g", all, nil, scale(1/g0, channel.AccelerationVert), "unit", "acceleration_vertical", "g", "", 0},
		{"vertical down", all, nil, scale(-1, channel.AccelerationVert), "sign", "acceleration_vertical", "", "negate", 0},
		{"accelerometer backwards", all, nil, scale(-1, channel.AccelerationLong), "sign", "acceleration_longitudinal", "", "negate", 0},
		{"accelerometer a quarter turn off", all, nil, func(r channel.Row) {
			r[channel.AccelerationLong], r[channel.AccelerationLat] = r[channel.AccelerationLat], -r[channel.AccelerationLong]
		}, "axes", "acceleration_longitudinal", "", "exchange the two fields, and negate what becomes acceleration_longitudinal", 0},
		{"accelerometer upright", all, nil, func(r channel.Row) { r[channel.AccelerationLong] += g0 }, "axes", "acceleration_longitudinal", "", "offset: -9.8", 0},
		{"throttle 0 to 100", all, nil, scale(100, channel.Throttle), "unit", "throttle", "%", "", 0},
		{"throttle 0 to 255", all, nil, scale(255, channel.Throttle), "unit", "throttle", "1", "scale: 0.00392157", 0},
		{"throttle 0 to 1 as %", all, map[channel.ID]Mapping{channel.Throttle: {Unit: "%", Scale: 1}}, scale(0.01, channel.Throttle), "unit", "throttle", "1", `unit: "1"`, 0},
		{"wheels left for right", all, nil, func(r channel.Row) {
			w := channel.WheelSpeed
			r[w], r[w+1], r[w+2], r[w+3] = r[w+1], r[w], r[w+3], r[w+2]
		}, "pair", "wheel_speed_*", "", "exchange left and right", 0},
		{"tyres °F as °C", all, nil, fahrenheit(four(channel.TyreCarcass)...), "unit", "tyre_carcass_temperature_*", "°F", "", 0},
		{"tread K as °C", all, nil, func(r channel.Row) {
			for _, id := range four(channel.TyreTemperature) {
				r[id] += 273.15
			}
		}, "unit", "tyre_temperature_*", "K_abs", "", 0},
		{"brakes °F as °C", all, nil, fahrenheit(four(channel.BrakeTemperature)...), "unit", "brake_temperature_*", "°F", "", 0},
		{"coolant °F as °C", all, nil, fahrenheit(channel.CoolantTemperature), "unit", "coolant_temperature", "°F", "", 0},
		{"air °F as °C", all, nil, fahrenheit(channel.AirTemperature), "unit", "air_temperature", "°F", "", 0},
		{"tyres psi as kPa", all, nil, scale(1/6.894757293168361, four(channel.TyrePressure)...), "unit", "tyre_pressure_*", "psi", "", 0},
		{"tyres bar as kPa", all, nil, scale(0.01, four(channel.TyrePressure)...), "unit", "tyre_pressure_*", "bar", "", 0},
		{"tyres kPa as psi", all, mapped(four(channel.TyrePressure), "psi"), scale(6.894757293168361, four(channel.TyrePressure)...), "unit", "tyre_pressure_*", "kPa", "", 0},
		{"tyres bar as psi", all, mapped(four(channel.TyrePressure), "psi"), scale(0.06894757293168361, four(channel.TyrePressure)...), "unit", "tyre_pressure_*", "bar", "", 0},
		{"tyres psi as bar", all, mapped(four(channel.TyrePressure), "bar"), scale(100/6.894757293168361, four(channel.TyrePressure)...), "unit", "tyre_pressure_*", "psi", "", 0},
		{"tyres absolute", all, nil, func(r channel.Row) {
			for _, id := range four(channel.TyrePressure) {
				r[id] += 100.8
			}
		}, "unit", "tyre_pressure_*", "", "offset: -100.8", 0},
		{"air pressure hPa as kPa", all, nil, scale(10, channel.AirPressure), "unit", "air_pressure", "hPa", "", 0},
		{"oil pressure bar as kPa", all, nil, scale(0.01, channel.OilPressure), "unit", "oil_pressure", "bar", "", 0},
		{"positions ft as m", without(all, globe...), nil, scale(1/0.3048, pos...), "unit", "position_x", "ft", "", 0},
		{"positions mirrored", without(all, globe...), nil, scale(-1, channel.PositionY), "sign", "position_x", "", "negate", 0},
		{"globe in degrees", without(all, pos...), nil, scale(deg, globe...), "unit", "latitude", "deg", "", 2},
		{"lap time in ms", all, nil, scale(1000, channel.LapTime), "unit", "lap_time", "ms", "", 0},
		{"lap distance in km", all, nil, scale(0.001, channel.LapDistance), "unit", "lap_distance", "km", "", 0},
		{"frozen yaw rate", all, nil, func(r channel.Row) { r[channel.YawRate] = 0.1 }, "frozen", "yaw_rate", "", "take the entry out", 0},
		{"byte order", all, nil, scale(1e9, channel.WheelSpeed), "range", "wheel_speed_fl", "", "byte_order", 4},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			r := probeDrive(c.covers, c.mapping, c.spoil)
			found := false
			for _, f := range r.Findings {
				if f.Kind != c.kind || f.Channels[0] != c.channel {
					continue
				}
				found = true
				require.Equal(t, c.unit, f.Unit, show(r))
				require.Contains(t, f.Fix, c.fix)
				require.Positive(t, f.Samples)
			}
			require.True(t, found, "not found among:\n%s", show(r))
			most := 1
			if c.most > 0 {
				most = c.most
			}
			require.LessOrEqual(t, len(r.Findings), most, "accused besides:\n%s", show(r))
		})
	}
}

// A factor that no unit explains is found too, whatever it is, and stated; nothing else is accused. The truth is the
// factor put in here.
func TestAnyFactorIsFound(t *testing.T) {
	all := everything()
	turning := []channel.ID{channel.Speed, channel.YawRate, channel.Heading, channel.AccelerationLat, channel.AccelerationLong}
	for _, factor := range []float64{3.7, 1 / 3.7, 1.4, 0.6, 1.0 / 12, 130} {
		for _, c := range []struct {
			name   string
			covers []channel.ID
			ids    []channel.ID
		}{
			{"yaw_rate", all, []channel.ID{channel.YawRate}},
			{"yaw_rate", turning, []channel.ID{channel.YawRate}},
			{"speed", all, []channel.ID{channel.Speed}},
			{"speed", without(all, wheels...), []channel.ID{channel.Speed}},
			{"wheel_speed_*", all, wheels},
			{"wheel_speed_rl", all, wheels[2:3]},
			{"wheel_speed_fl", without(all, channel.Speed), wheels[:1]},
			{"wheel_speed_rl", all, wheels[2:]},
			{"position_x", without(all, globe...), pos},
			{"acceleration_longitudinal", all, []channel.ID{channel.AccelerationLong}},
			{"acceleration_lateral", all, []channel.ID{channel.AccelerationLat}},
			{"acceleration_lateral", turning, []channel.ID{channel.AccelerationLat}},
			{"lap_distance", all, []channel.ID{channel.LapDistance}},
			{"heading", all, []channel.ID{channel.Heading}},
		} {
			if c.ids[0] == channel.AccelerationLat && factor > 0.5 && factor < 1.9 {
				continue // a banked bend would explain it
			}
			t.Run(fmt.Sprintf("%s %.3g of %d", c.name, factor, len(c.covers)), func(t *testing.T) {
				r := probeDrive(c.covers, nil, scale(factor, c.ids...))
				require.NotEmpty(t, r.Findings)
				either := len(c.covers) == len(turning) && factor > 0.6 && factor < 1.8 // lateral acceleration agrees with both
				for _, f := range r.Findings {
					require.True(t, either || strings.HasPrefix(f.Channels[0], strings.TrimRight(c.name, "*_rl")), show(r))
					if f.Kind == "range" {
						continue // beyond all bounds
					}
					require.Contains(t, []string{"scale", "unit"}, f.Kind, show(r))
					if !either {
						require.InEpsilon(t, factor, f.Ratio, 0.15, show(r))
					}
					require.Equal(t, either, f.Alternate, show(r))
				}
			})
		}
	}
	// The steering is held against the car, where its file says what it has to be.
	for _, factor := range []float64{1, 3.7, 1 / 3.7} {
		m := NewMeter(channel.NewSet(), all, nil)
		m.Wheelbase, m.SteeringRatio = 2.65, 14
		for _, s := range drive() {
			row := slices.Clone(s.Row)
			row[channel.SteeringWheelAngle] *= factor
			m.Add(channel.Sample{At: s.At, Row: row})
		}
		r := m.Report()
		if factor == 1 {
			require.Empty(t, show(r))
			continue
		}
		require.Len(t, r.Findings, 1, show(r))
		require.Equal(t, []string{"scale", "steering_wheel_angle"}, []string{r.Findings[0].Kind, r.Findings[0].Channels[0]})
		require.InEpsilon(t, factor, r.Findings[0].Ratio, 0.3, show(r))
	}
	// Two that differ and no third: both are named.
	r := probeDrive([]channel.ID{channel.Speed, channel.WheelSpeed, channel.WheelSpeed + 1, channel.WheelSpeed + 2, channel.WheelSpeed + 3}, nil, scale(1.4, channel.Speed))
	require.Len(t, r.Findings, 1, show(r))
	require.True(t, r.Findings[0].Alternate)
	require.Contains(t, r.Findings[0].Hypothesis, "speed reads 1.38", show(r))
}

func mapped(ids []channel.ID, unit string) map[channel.ID]Mapping {
	m := map[channel.ID]Mapping{}
	for _, id := range ids {
		m[id] = Mapping{Line: 5, Unit: unit, Scale: 1}
	}
	return m
}
