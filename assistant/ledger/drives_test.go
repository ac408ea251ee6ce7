package ledger

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
)

// drives lists them all. Each has its own seed, so that no two have the same noise.
func drives() []*drive {
	var list []*drive
	add := func(d *drive) {
		d.options.Seed += uint64(1000 + len(list))
		list = append(list, d)
	}
	for _, c := range demo.Courses() {
		clean(c, add)
		faulty(c, add)
		limits(c, add)
		sensors(c, add)
		races(c, add)
	}
	return list
}

// clean drives: other courses, rates, sensors, weather, loads; nothing is wrong.
func clean(course string, add func(*drive)) {
	for i := range 34 {
		o := demo.Options{Course: course, Laps: 7 + i%7, Rate: []float64{20, 10, 60, 30}[i%4], Fuel: 25 + 3*float64(i%10)}
		d := &drive{clean: true, options: o}
		kind := "plain"
		switch i % 6 {
		case 1:
			kind, d.spoil = "noisy", noisy(uint64(i), 0.4, 0.15)
		case 2:
			kind, d.spoil = "coarse", coarse
		case 3:
			kind, d.options.Rivals = "rivals", 5+i%9
		case 4:
			kind, d.options.Weather = "weather", demo.Weather{AirDrift: 4, RoadDrift: -6, Cloud: 3}
		case 5:
			kind, d.spoil = "slosh", slosh
		}
		if i%4 == 1 {
			d.ask = 37
		}
		d.name = fmt.Sprintf("%s clean %s %d", course, kind, i)
		add(d)
	}
}

// braked lists corners with a hard braking before them, as far as the course is long: every third corner will do for the others.
func some(course string, step int) (list []int) {
	c, err := demo.LoadCourse(course)
	if err != nil {
		panic(err)
	}
	for i := 1; i <= len(c.Corners); i += step {
		list = append(list, i)
	}
	return list
}

// hard lists the four corners, in their order, for which the car has to slow down most: tight ones behind a long straight.
func hard(course string) []int {
	c, err := demo.LoadCourse(course)
	if err != nil {
		panic(err)
	}
	effort := make([]float64, len(c.Corners)+1)
	var list []int
	for i, k := range c.Corners {
		gap := k.Entry - c.Corners[(i+len(c.Corners)-1)%len(c.Corners)].Exit
		if gap < 0 {
			gap += c.Length
		}
		effort[i+1] = min(gap, 400) / (k.Radius + 20)
		list = append(list, i+1)
	}
	slices.SortFunc(list, func(a, b int) int { return cmp.Compare(effort[b], effort[a]) })
	list = list[:min(4, len(list))]
	slices.Sort(list)
	return list
}

func faulty(course string, add func(*drive)) {
	single := func(f demo.Fault, e ...expected) {
		add(&drive{name: fmt.Sprintf("%s %s corner %d wheel %d", course, f.Kind, f.Corner, f.Wheel), ask: 61,
			options: demo.Options{Course: course, Laps: 11, Faults: []demo.Fault{f}}, expect: e})
	}
	for i, k := range some(course, 4) {
		single(demo.Fault{Kind: demo.Understeer, FromLap: 4, ToLap: 9, Corner: k, Amount: 0.4}, expected{rule: "understeer", corner: k, from: 4, late: 8})
		if i < 2 {
			single(demo.Fault{Kind: demo.Oversteer, FromLap: 4, ToLap: 9, Corner: k, Amount: 0.4}, expected{rule: "oversteer", corner: k, from: 4, late: 8})
		}
	}
	for i, k := range hard(course) {
		w := channel.Wheel(i % 2)
		single(demo.Fault{Kind: demo.Lock, FromLap: 4, ToLap: 9, Corner: k, Wheel: w, Amount: 1.4}, expected{rule: "locking", part: w.Suffix(), corner: k, from: 4, late: 7})
		if i < 3 {
			single(demo.Fault{Kind: demo.Spin, FromLap: 4, ToLap: 9, Corner: k, Wheel: channel.RL + w, Amount: 1.4}, expected{rule: "wheelspin", part: (channel.RL + w).Suffix(), corner: k, from: 4, late: 7})
		}
	}
	for w := channel.FL; w <= channel.RR; w++ {
		single(demo.Fault{Kind: demo.Leak, FromLap: 4, ToLap: 11, Wheel: w, Amount: 3 + 3*float64(w)}, expected{rule: "tyre-losing-air", part: w.Suffix(), from: 4, late: 6})
	}
	side := map[channel.Wheel]string{channel.FL: "brake-left-hotter", channel.FR: "brake-right-hotter"}
	for w, rule := range side {
		single(demo.Fault{Kind: demo.BlockedDuct, FromLap: 2, ToLap: 11, Wheel: w, Amount: 0.6}, expected{rule: rule, part: "front", from: 2, late: 6})
	}
	k := hard(course)[0]
	single(demo.Fault{Kind: demo.Radiator, FromLap: 2, ToLap: 11, Amount: 0.5}, expected{rule: "coolant-hot", from: 2, late: 11})
	single(demo.Fault{Kind: demo.OilLoss, FromLap: 3, ToLap: 11, Amount: 0.8}, expected{rule: "oil-pressure-low", from: 3, late: 4})
	single(demo.Fault{Kind: demo.Bottoming, FromLap: 3, ToLap: 9, Corner: k, Amount: 0.08}, expected{rule: "bottoming", from: 3, late: 7})
	single(demo.Fault{Kind: demo.SetABS, FromLap: 3, Corner: k, Amount: 1}, expected{rule: "abs-changed", from: 3, late: 4})
	single(demo.Fault{Kind: demo.SetTC, FromLap: 3, Corner: k, Amount: 0}, expected{rule: "traction-control-changed", from: 3, late: 4})
	single(demo.Fault{Kind: demo.Wear, FromLap: 1, ToLap: 11, Amount: 0.01}, expected{rule: "pace-dropping", from: 6, late: 11})
	add(&drive{name: course + " uneven", options: demo.Options{Course: course, Laps: 17, Faults: []demo.Fault{{Kind: demo.Uneven, FromLap: 1, ToLap: 17, Amount: 0.1}}},
		expect: []expected{{rule: "pace-uneven", from: 6, late: 17}}})
	single(demo.Fault{Kind: demo.RunWide, FromLap: 5, Corner: k, Amount: 2}, expected{rule: "lap-void", from: 5, late: 6})
	single(demo.Fault{Kind: demo.Silence, FromLap: 5, Corner: k, Amount: 8}, expected{rule: "feed-silent", from: 5, late: 6})
	single(demo.Fault{Kind: demo.Caution, FromLap: 4, Corner: k, Amount: 130}, expected{rule: "full-course-caution", from: 4, late: 5})
	single(demo.Fault{Kind: demo.Yellow, FromLap: 4, Corner: k, Amount: 0.3}, expected{rule: "yellow-flag", from: 4, late: 5})
}

// limits drives a car to both sides of each limit: a hair beyond it the call has to come, a hair inside it must not.
func limits(course string, add func(*drive)) {
	at := func(name, line string, e ...expected) {
		add(&drive{name: course + " limit " + name, limits: line, options: demo.Options{Course: course, Laps: 10}, expect: e})
	}
	at("tyre_high beyond", "tyre_high: 80 °C\ntyre_low: 60 °C", expected{rule: "tyre-hot", from: 1, late: 8})
	at("tyre_low out of reach", "tyre_low: 115 °C\ntyre_high: 130 °C\ntyre_overheat: 140 °C", expected{rule: "tyres-not-coming", from: 3, late: 7}, expected{rule: "tyres-short", from: 0, late: 3})
	at("pressure_high beyond", "pressure_high: 24.5 psi\npressure_low: 20 psi", expected{rule: "tyre-pressure-high", from: 1, late: 8})
	at("pressure_low beyond", "pressure_low: 29 psi\npressure_high: 32 psi", expected{rule: "tyre-pressure-low", from: 1, late: 9})
	at("brake_hot beyond", "brake_hot: 400 °C", expected{rule: "brakes-hot", from: 1, late: 6})
	at("brake_overheat beyond", "brake_hot: 350 °C\nbrake_overheat: 400 °C", expected{rule: "brakes-overheating", from: 1, late: 6})
	at("brake_cold beyond", "brake_cold: 900 °C\nbrake_hot: 1000 °C\nbrake_overheat: 1100 °C", expected{rule: "brakes-cold", from: 0, late: 2})
	at("oil_hot beyond", "oil_hot: 85 °C", expected{rule: "oil-hot", from: 0, late: 6})
	at("ready at once", "tyre_low: 40 °C", expected{rule: "tyres-ready", from: 0, late: 3})
}

// sensors are at fault, the car is not.
func sensors(course string, add func(*drive)) {
	frozen := func(name string, e ...expected) {
		k := hard(course)[0]
		add(&drive{name: course + " frozen " + name, options: demo.Options{Course: course, Laps: 10, Faults: []demo.Fault{
			{Kind: demo.Frozen, FromLap: 4, ToLap: 10, Corner: k, Channel: name}}}, expect: e})
	}
	for _, name := range []string{"tyre_carcass_temperature_fr", "tyre_pressure_rl", "brake_temperature_fl", "wheel_speed_rr", "yaw_rate"} {
		frozen(name, expected{rule: "channel-frozen", from: 4, late: 6})
	}
	spoil := func(name string, f func(float64, channel.Row), e ...expected) {
		add(&drive{name: course + " " + name, spoil: f, options: demo.Options{Course: course, Laps: 9}, expect: e})
	}
	spoil("spikes", spikes)
	spoil("noise", noisy(7, 0.45, 0.2), expected{rule: "tyres-ready", from: 0, late: 6})
	spoil("slosh", slosh)
	spoil("zero pressure", func(at float64, row channel.Row) {
		if at > 300 {
			row[channel.TyrePressure+1] = 0
		}
	}, expected{rule: "channel-implausible", from: 1, late: 9})
	spoil("swapped fronts", func(_ float64, row channel.Row) {
		a := channel.TyreCarcass
		row[a], row[a+1] = row[a+1], row[a]
	})
	spoil("pit flag flickers", func(at float64, row channel.Row) {
		if math.Mod(at, 77) < 0.05 && at > 60 {
			row[channel.InPitLane] = 1 - row[channel.InPitLane]
		}
	})
	spoil("slow tyre sensors", func() func(float64, channel.Row) {
		held, next := channel.Row(nil), 0.0
		return func(at float64, row channel.Row) {
			if at >= next || held == nil {
				held, next = append(channel.Row(nil), row...), at+1
			}
			for w := range channel.ID(4) {
				for _, id := range []channel.ID{channel.TyreCarcass, channel.TyrePressure, channel.TyreTemperature, channel.BrakeTemperature} {
					row[id+w] = held[id+w]
				}
			}
		}
	}())
}

// races have an end, a tank and others.
func races(course string, add func(*drive)) {
	race := func(name string, o demo.Options, e ...expected) {
		o.Course = course
		add(&drive{name: course + " race " + name, options: o, expect: e, ask: 83})
	}
	per := perLap(course)
	race("a little short", demo.Options{Laps: 16, Fuel: per * (16 + 1.85 - 0.9)}, expected{rule: "fuel-short", from: 3, late: 6})
	race("far short", demo.Options{Laps: 16, Fuel: per * 11}, expected{rule: "fuel-stop", from: 3, late: 6}, expected{rule: "fuel-box", from: 8, late: 16})
	race("plenty", demo.Options{Laps: 14, Fuel: per * 20}, expected{rule: "fuel-good", from: 3, late: 6})
	race("saving", demo.Options{Laps: 16, Fuel: per * (16 + 1.85 - 0.8), Faults: []demo.Fault{{Kind: demo.Save, FromLap: 6, ToLap: 16, Amount: 80}}}, expected{rule: "fuel-short", from: 3, late: 6})
	race("by time", demo.Options{Duration: 1300, Rivals: 8, Fuel: per * 30}, expected{rule: "time-left", from: 1, late: 16})
	race("by time, the leader decides", demo.Options{Duration: 1100, Rivals: 3, Fuel: per * 30})
	race("stop", demo.Options{Laps: 16, Fuel: per * 10, Stops: []demo.Stop{{Lap: 7, Fuel: per * 13, Tyres: true}}}, expected{rule: "fuel-stop", from: 3, late: 6})
	race("wet out-lap", demo.Options{Laps: 9, Weather: demo.Weather{Rain: []demo.Shower{{From: 0, To: 300, Amount: 0.6}}}})
	soft := demo.Baseline()
	soft.Compound = 1
	race("soft on a warm road for long", demo.Options{Laps: 12, Car: &soft}, expected{rule: "compound-unfit", from: 0, late: 1})
	race("laps left", demo.Options{Laps: 9, Rivals: 6, Fuel: per * 14}, expected{rule: "laps-left", from: 4, late: 10})
	limiter := demo.Baseline()
	limiter.FinalDrive *= 1.25
	race("short gears", demo.Options{Laps: 8, Car: &limiter}, expected{rule: "on-limiter", from: 2, late: 7})
}

// perLap is about what a flying lap takes of the demo car, in L; the out-lap takes 0.85 of it.
func perLap(course string) float64 {
	return map[string]float64{"thimble": 1.955, "ledger": 1.735, "saucer": 1.12}[course]
}

// noise is a normal number of about deviation 1: the sum of twelve evenly distributed ones.
func noise(state *uint64) float64 {
	s := -6.0
	for range 12 {
		*state = *state*6364136223846793005 + 1442695040888963407
		s += float64(*state>>11) / (1 << 53)
	}
	return s
}

var warm = []channel.ID{channel.TyreCarcass, channel.TyreTemperature, channel.BrakeTemperature}

func noisy(seed uint64, kelvin, psis float64) func(float64, channel.Row) {
	return func(_ float64, row channel.Row) {
		for _, first := range warm {
			for w := range channel.ID(4) {
				row[first+w] += kelvin * noise(&seed)
			}
		}
		for w := range channel.ID(4) {
			row[channel.TyrePressure+w] += psis * noise(&seed)
		}
	}
}

// coarse sensors give whole degrees and tenths of a psi.
func coarse(_ float64, row channel.Row) {
	for _, first := range warm {
		for w := range channel.ID(4) {
			row[first+w] = math.Round(row[first+w])
		}
	}
	for w := range channel.ID(4) {
		row[channel.TyrePressure+w] = math.Round(row[channel.TyrePressure+w]/psi*10) / 10 * psi
	}
}

func slosh(at float64, row channel.Row) {
	row[channel.FuelVolume] = max(0, row[channel.FuelVolume]+0.15*row[channel.AccelerationLat]/9.81+0.3*math.Sin(at/1.7))
}

// spikes are single samples of nonsense that lie inside the plausible range.
func spikes(at float64, row channel.Row) {
	switch k := int(at * 20); {
	case k%411 == 0:
		row[channel.TyreCarcass+channel.ID(k/411%4)] += 60
	case k%523 == 0:
		row[channel.TyrePressure+channel.ID(k/523%4)] = 90
	case k%611 == 0:
		row[channel.BrakeTemperature+channel.ID(k/611%4)] += 500
	case k%701 == 0:
		row[channel.OilTemperature] = 160
	}
}
