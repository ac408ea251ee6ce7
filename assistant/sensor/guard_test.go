package sensor_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/sensor"
)

var set = channel.NewSet()

func drive(t testing.TB, o demo.Options) []channel.Sample {
	sim, err := demo.New(set, o)
	require.NoError(t, err)
	var samples []channel.Sample
	for s, ok := sim.Next(); ok; s, ok = sim.Next() {
		samples = append(samples, channel.Sample{At: s.At, Row: slices.Clone(s.Row)})
	}
	return samples
}

// A told is a finding with its time.
type told struct {
	at float64
	sensor.Finding
}

// watch takes a drive through a Guard as the core does and returns what channel id was held to be; spoil changes each
// row first.
func watch(samples []channel.Sample, id channel.ID, spoil func(i int, at float64, row channel.Row)) (all []told, held []float64) {
	g, hold, row := sensor.New(set), channel.NewHold(set), set.NewRow()
	for i, s := range samples {
		copy(row, s.Row)
		if spoil != nil {
			spoil(i, s.At, row)
		}
		g.Update(hold, channel.Sample{At: s.At, Row: row})
		for _, f := range g.Findings() {
			all = append(all, told{s.At, f})
		}
		held = append(held, hold.Row[id])
	}
	return all, held
}

// coarse rounds every sensor of a drive to steps that real ones have.
func coarse(row channel.Row) {
	for _, id := range channel.Sensed() {
		step := 0.0
		switch set.At(id).Quantity {
		case channel.Temperature:
			step = 1
		case channel.Pressure:
			step = 1
		case channel.Velocity:
			step = 0.25
		case channel.Angle:
			step = 0.01
		}
		if id == channel.Latitude || id == channel.Longitude {
			step = 1e-6 // 6 m
		}
		for w := range channel.ID(4) {
			if step > 0 && (w == 0 || channel.PerWheel(id)) {
				row[id+w] = math.Round(row[id+w]/step) * step
			}
		}
	}
}

// Sensors that work are never accused: fine ones, noisy ones, those of whole degrees and kilopascals, those that
// speak once a second, standing, in the pits, and behind the safety car.
func TestSoundSensorsAreBelieved(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	shown := map[channel.ID]float64{}
	spoils := map[string]func(i int, at float64, row channel.Row){
		"as they are": nil,
		"noisy": func(_ int, _ float64, row channel.Row) {
			for id := channel.TyreTemperature; id < channel.TyreCarcass+4; id++ {
				row[id] += 0.45 * random.NormFloat64()
			}
		},
		"coarse": func(_ int, _ float64, row channel.Row) { coarse(row) },
		"a new reading every forty seconds": func(i int, _ float64, row channel.Row) {
			for id := channel.TyrePressure; id < channel.TyrePressure+4; id++ {
				if (i+150*int(id-channel.TyrePressure))%800 == 0 || i == 0 {
					shown[id] = row[id]
				}
				row[id] = shown[id]
			}
		},
		"carcasses of tenths": func(_ int, _ float64, row channel.Row) {
			for id := channel.TyreCarcass; id < channel.TyreCarcass+4; id++ {
				row[id] = math.Round(10*row[id]) / 10
			}
		},
		"discs once a second": func(i int, _ float64, row channel.Row) {
			for id := channel.BrakeTemperature; id < channel.BrakeTemperature+4 && i%20 != 0; id++ {
				row[id] = math.NaN()
			}
		},
		"once a second": func(i int, _ float64, row channel.Row) {
			if coarse(row); i%20 != 0 {
				for id := channel.TyreTemperature; id <= channel.BrakeTemperature+3; id++ {
					row[id] = math.NaN()
				}
			}
		},
	}
	for i, o := range []demo.Options{
		{Seed: 1, Laps: 4, Rate: 20},
		{Seed: 2, Laps: 4, Rate: 20, Course: demo.Courses()[1], Faults: []demo.Fault{{Kind: demo.Caution, FromLap: 2, Corner: 3, Amount: 240}}},
		{Seed: 3, Laps: 5, Rate: 20, Course: demo.Courses()[2], Stint: 3},
	} {
		samples := drive(t, o)
		for name, spoil := range spoils {
			found, _ := watch(samples, 0, spoil)
			for _, f := range found {
				t.Errorf("drive %d %s: %s fault %d at %.1f s: %v for %v", i, name, set.At(f.Channel).Name, f.Fault, f.at, f.Value, f.For)
			}
		}
	}
}

// A sensor that stands still is told by name, and absent from then on until it moves again.
func TestFrozenSensors(t *testing.T) {
	samples := drive(t, demo.Options{Seed: 4, Laps: 4, Rate: 20})
	const from, until = 200, 330
	for _, tt := range []struct {
		name   string
		ids    []channel.ID
		coarse bool
		within float64 // s
	}{
		{"a tread", []channel.ID{channel.TyreTemperature + 1}, false, 24},
		{"a tread of whole degrees", []channel.ID{channel.TyreTemperature + 1}, true, 60},
		{"a pressure", []channel.ID{channel.TyrePressure + 2}, false, 24},
		{"all pressures", channel.Four(channel.TyrePressure), false, 24},
		{"all treads", channel.Four(channel.TyreTemperature), false, 24},
		{"a carcass", []channel.ID{channel.TyreCarcass + 3}, false, 24},
		{"a disc", []channel.ID{channel.BrakeTemperature}, false, 24},
		{"a disc of whole degrees", []channel.ID{channel.BrakeTemperature}, true, 30},
		{"a wheel speed", []channel.ID{channel.WheelSpeed}, false, 24},
		{"the yaw rate", []channel.ID{channel.YawRate}, false, 24},
		{"the steering", []channel.ID{channel.SteeringWheelAngle}, false, 24},
		{"the speed", []channel.ID{channel.Speed}, false, 24},
		{"the engine speed", []channel.ID{channel.EngineSpeed}, false, 24},
		{"the position", []channel.ID{channel.PositionX, channel.PositionY}, false, 14},
		{"the lap distance", []channel.ID{channel.LapDistance}, false, 14},
		{"everything of a wheel", []channel.ID{channel.TyreTemperature, channel.TyrePressure, channel.BrakeTemperature}, false, 24},
	} {
		t.Run(tt.name, func(t *testing.T) {
			stuck := map[channel.ID]float64{}
			found, held := watch(samples, tt.ids[0], func(_ int, at float64, row channel.Row) {
				if tt.coarse {
					coarse(row)
				}
				for _, id := range tt.ids {
					if at < from {
						stuck[id] = row[id]
					} else if at < until {
						row[id] = stuck[id]
					}
				}
			})
			frozen, back := map[channel.ID]float64{}, map[channel.ID]float64{}
			for _, f := range found {
				require.Contains(t, tt.ids, f.Channel, "%s at %.1f", set.At(f.Channel).Name, f.at)
				if f.Fault == sensor.Frozen {
					require.NotContains(t, frozen, f.Channel)
					frozen[f.Channel] = f.at
				} else {
					back[f.Channel] = f.at
				}
			}
			for _, id := range tt.ids {
				require.Contains(t, frozen, id, set.At(id).Name)
				require.GreaterOrEqual(t, frozen[id], from+min(13, tt.within/3))
				require.LessOrEqual(t, frozen[id], from+tt.within+1)
				require.InDelta(t, until+1, back[id], 15)
			}
			for i, s := range samples {
				if s.At >= frozen[tt.ids[0]] && s.At < until {
					require.True(t, math.IsNaN(held[i]))
				}
			}
		})
	}
}

// Exactly 0 from a tyre or a disc is no reading, from the start or suddenly; a tyre that goes flat comes to 0 and is
// believed.
func TestZeros(t *testing.T) {
	samples := drive(t, demo.Options{Seed: 5, Laps: 2, Rate: 20})
	id := channel.TyrePressure + 1
	for _, tt := range []struct {
		name  string
		spoil func(at float64, x float64) float64
		told  float64 // s; NaN: never
	}{
		{"from the start", func(float64, float64) float64 { return 0 }, math.NaN()},
		{"suddenly", func(at, x float64) float64 {
			if at > 100 {
				return 0
			}
			return x
		}, 101},
		{"a single one", func(at, x float64) float64 {
			if at > 100 && at < 100.1 {
				return 0
			}
			return x
		}, math.NaN()},
	} {
		t.Run(tt.name, func(t *testing.T) {
			found, held := watch(samples, id, func(_ int, at float64, row channel.Row) { row[id] = tt.spoil(at, row[id]) })
			require.NotContains(t, held, 0.0)
			if tt.name == "a single one" {
				require.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			require.Equal(t, sensor.Implausible, found[0].Fault)
			if !math.IsNaN(tt.told) {
				require.InDelta(t, tt.told, found[0].at, 1)
			}
		})
	}
	found, held := watch(samples, id, func(_ int, at float64, row channel.Row) {
		if at > 60 {
			row[id] = max(0, row[id]*(1-(at-60)/20)) // flat within twenty seconds
		}
	})
	require.Equal(t, 0.0, held[len(held)-1], "a flat tyre is a truth: %v", found)
}

// Single wild readings do not get through; a sensor of which they are many is told.
func TestSpikes(t *testing.T) {
	samples := drive(t, demo.Options{Seed: 6, Laps: 2, Rate: 20})
	id := channel.TyreTemperature + 2
	wild := func(every int) func(i int, at float64, row channel.Row) {
		return func(i int, _ float64, row channel.Row) {
			if i%every == every-1 {
				row[id] += 40
			}
		}
	}
	found, held := watch(samples, id, wild(600))
	require.Empty(t, found)
	for i := 599; i < len(samples); i += 600 {
		require.InDelta(t, samples[i].Row[id], held[i], 5)
	}
	found, held = watch(samples, id, func(i int, at float64, row channel.Row) {
		if at > 100 && at < 100.6 {
			row[id] += 40
		}
	})
	require.Empty(t, found, "half a second is no other level")
	for i, s := range samples {
		if s.At > 100 && s.At < 100.6 {
			require.InDelta(t, s.Row[id], held[i], 5)
		}
	}
	found, _ = watch(samples, id, wild(30))
	require.NotEmpty(t, found)
	require.Equal(t, sensor.Implausible, found[0].Fault)
	require.Less(t, found[0].at, 15.0)

	// Another level that stays is believed: the tyres were changed.
	found, held = watch(samples, id, func(_ int, at float64, row channel.Row) {
		if at > 100 {
			row[id] -= 40
		}
	})
	require.Empty(t, found)
	require.InDelta(t, samples[len(samples)-1].Row[id]-40, held[len(held)-1], 1e-9)
}

// Readings outside their range for a second are told, and again believed when they are sound.
func TestOutOfRange(t *testing.T) {
	samples := drive(t, demo.Options{Seed: 7, Laps: 2, Rate: 20})
	for _, id := range []channel.ID{channel.OilPressure, channel.TyreCarcass + 1} {
		found, _ := watch(samples, id, func(_ int, at float64, row channel.Row) {
			if at > 100 && at < 130 || at > 60 && at < 60.5 {
				row[id] = 65535
			}
		})
		require.Len(t, found, 2)
		require.Equal(t, sensor.Implausible, found[0].Fault)
		require.InDelta(t, 101, found[0].at, 0.3)
		require.Equal(t, sensor.None, found[1].Fault)
		require.InDelta(t, 132, found[1].at, 0.5)
	}
}

// What is taken for frozen, and what is not, with four carcasses whose readings are made for the case.
func TestRests(t *testing.T) {
	steps := func(size, every float64) func(at float64) float64 {
		return func(at float64) float64 { return 80 + size*math.Floor(at/every) }
	}
	swing := func(by float64) func(at float64) float64 {
		return func(at float64) float64 { return math.Round(90 + by*math.Sin(at)) }
	}
	after := func(from float64, before, then func(at float64) float64) func(at float64) float64 {
		return func(at float64) float64 {
			if at < from {
				return before(at)
			}
			return then(at)
		}
	}
	fixed := func(x float64) func(float64) float64 { return func(float64) float64 { return x } }
	// A tyre that bears no load stays within a degree for eighteen seconds while two others swing; then for fifty-six.
	unladen := func(at float64) float64 {
		if at < 180 {
			return 70 + math.Mod(math.Floor(at/18), 2)
		}
		return 70 + math.Mod(math.Floor((at-180)/56), 2)
	}
	among := func(fl, others func(float64) float64) [4]func(float64) float64 {
		return [4]func(float64) float64{fl, others, others, others}
	}
	halting := after(100, steps(0.001, 0.2), fixed(80.5))
	for _, tt := range []struct {
		name   string
		wheel  [4]func(at float64) float64
		frozen bool
		steady bool // the car keeps its speed
	}{
		{"floats that stand still", among(after(100, steps(0.001, 0.2), fixed(81)), steps(0.001, 0.2)), true, false},
		{"floats that stand still at a steady speed", among(halting, halting), false, true},
		{"tenths that stand still while fellows hardly move",
			among(after(100, steps(0.1, 4), after(129, fixed(82.5), steps(0.1, 4))), steps(0.1, 7)), false, false},
		{"tenths that stand still while fellows move", among(after(100, steps(0.1, 2), fixed(85)), steps(0.1, 2)), true, false},
		{"a reading every fifteen seconds, then after forty",
			among(after(200, steps(0.003, 15), steps(0.003, 40)), steps(0.003, 15)), false, false},
		{"an unladen tyre", [4]func(float64) float64{unladen, swing(4), unladen, swing(4)}, false, false},
		{"one that never moved", among(fixed(20), swing(4)), true, false},
		{"whole degrees, all of them steady", [4]func(float64) float64{fixed(90), fixed(91), fixed(92), fixed(89)}, false, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			g, hold, row := sensor.New(set), channel.NewHold(set), set.NewRow()
			frozen := false
			for i := range 5 * 290 {
				at := float64(i) / 5
				row[channel.Speed] = 35
				if !tt.steady {
					row[channel.Speed] += 15 * math.Sin(at/3)
				}
				for w, f := range tt.wheel {
					row[channel.TyreCarcass+channel.ID(w)] = f(at)
				}
				g.Update(hold, channel.Sample{At: at, Row: row})
				for _, f := range g.Findings() {
					require.Equal(t, channel.TyreCarcass, f.Channel, "at %v", at)
					frozen = frozen || f.Fault == sensor.Frozen
				}
			}
			require.Equal(t, tt.frozen, frozen)
		})
	}
}

// A place is frozen when both coordinates stand still in a car that drives, and in no other case.
func TestPlaces(t *testing.T) {
	driving := func(at float64) float64 { return 40 + 20*math.Sin(at/7) }
	way := func(at float64) float64 { return 40*at - 140*math.Cos(at/7) }
	still := func(float64) float64 { return 5 }
	for _, tt := range []struct {
		name        string
		speed, x, y func(at float64) float64
		frozen      bool
	}{
		{"on its way", driving, way, way, false},
		{"due east", driving, way, still, false},
		{"a place every four seconds", driving, func(at float64) float64 { return way(at - math.Mod(at, 4)) }, still, false},
		{"never moved", driving, still, still, true},
		{"no place known", driving, func(float64) float64 { return 0 }, func(float64) float64 { return 0 }, false},
		{"the car stands", func(float64) float64 { return 0.1 }, still, still, false},
		{"the car stands and its speed is frozen", func(float64) float64 { return 30 }, still, still, false},
		{"at walking pace behind the safety car", func(at float64) float64 { return driving(at) / 12 }, still, still, false},
	} {
		g, hold, row := sensor.New(set), channel.NewHold(set), set.NewRow()
		var frozen []channel.ID
		for i := range 10 * 200 {
			at := float64(i) / 10
			row[channel.Speed], row[channel.PositionX], row[channel.PositionY] = tt.speed(at), tt.x(at), tt.y(at)
			g.Update(hold, channel.Sample{At: at, Row: row})
			for _, f := range g.Findings() {
				frozen = append(frozen, f.Channel)
			}
		}
		if !tt.frozen {
			require.Empty(t, frozen, tt.name)
			continue
		}
		require.ElementsMatch(t, []channel.ID{channel.PositionX, channel.PositionY}, frozen, tt.name)
		label, named := channel.SensorName(frozen)
		require.Equal(t, "position", set.At(channel.FrozenChannel).Labels[int(label)])
		require.Len(t, named, 2)
	}
}

// Names are given to as many as one name has, one name after the other.
func TestCall(t *testing.T) {
	samples := drive(t, demo.Options{Seed: 4, Laps: 4, Rate: 20})
	g, hold, row := sensor.New(set), channel.NewHold(set), set.NewRow()
	c := sensor.NewCall(sensor.Frozen)
	labels := set.At(channel.FrozenChannel).Labels
	var names []string
	last := 0.0
	stuck := map[channel.ID]float64{}
	for _, s := range samples {
		copy(row, s.Row)
		for _, id := range append(channel.Four(channel.TyrePressure), channel.BrakeTemperature, channel.BrakeTemperature+2) {
			if s.At < 150 {
				stuck[id] = row[id]
			}
			row[id] = stuck[id]
		}
		g.Update(hold, channel.Sample{At: s.At, Row: row})
		stands, label := c.Step(s.At, g)
		if stands == 1 && last == 0 {
			names = append(names, labels[int(label)])
		}
		last = stands
	}
	require.Equal(t, []string{"all four tyre pressures", "left side brake temperatures"}, names)
}

func TestStepDoesNotAllocate(t *testing.T) {
	samples := drive(t, demo.Options{Seed: 4, Laps: 1, Rate: 20})
	g, hold, i := sensor.New(set), channel.NewHold(set), 0
	require.Zero(t, testing.AllocsPerRun(len(samples)-10, func() {
		s := samples[i]
		g.Update(hold, s)
		i++
	}))
}

func BenchmarkGuard(b *testing.B) {
	samples := drive(b, demo.Options{Seed: 4, Laps: 1, Rate: 60})[2000:2064]
	for _, guarded := range []bool{false, true} {
		b.Run(map[bool]string{false: "hold", true: "hold and guard"}[guarded], func(b *testing.B) {
			g, hold, at := sensor.New(set), channel.NewHold(set), 0.0
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				row := samples[i%len(samples)].Row
				at += 1.0 / 60
				if guarded {
					g.Update(hold, channel.Sample{At: at, Row: row})
					continue
				}
				hold.Update(channel.Sample{At: at, Row: row})
			}
		})
	}
}
