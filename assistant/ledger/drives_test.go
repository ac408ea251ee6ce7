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
		if d.options.Course == "saucer" {
			d.limits = ovalLimits + d.limits
		}
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

// ovalLimits are those of a car for a fast bowl, which has turned one way all day: with those of a road course its right side is hot and
// its brakes are cold, and no drive would be clean.
const ovalLimits = "tyre_high: 135 °C\ntyre_overheat: 150 °C\npressure_high: 31 psi\ntyre_spread_limit: 35 K\nbrake_cold: 120 °C\n"

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
	leakBy := 6
	if course == "saucer" {
		leakBy = 8 // of 43 s; the loss is measured over two minutes
	}
	for w := channel.FL; w <= channel.RR; w++ {
		single(demo.Fault{Kind: demo.Leak, FromLap: 4, ToLap: 11, Wheel: w, Amount: 3 + 3*float64(w)}, expected{rule: "tyre-losing-air", part: w.Suffix(), from: 4, late: leakBy})
	}
	side := map[channel.Wheel]string{channel.FL: "brake-left-hotter", channel.FR: "brake-right-hotter"}
	for w, rule := range side {
		single(demo.Fault{Kind: demo.BlockedDuct, FromLap: 2, ToLap: 11, Wheel: w, Amount: 0.4}, expected{rule: rule, part: "front", from: 2, late: 6})
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

// limits drives a car to both sides of each limit: a hair beyond what it reaches the call has to come, a hair inside it must not. What it
// reaches is taken from a drive before, with the seed of the drive that is judged.
func limits(course string, add func(*drive)) {
	at := func(name, line string, e ...expected) {
		add(&drive{name: course + " limit " + name, limits: line, options: demo.Options{Course: course, Laps: 10}, expect: e})
	}
	both := func(limit, unit, rule string, hair float64, reaches func(o *outcome) float64, others string, late int) {
		for _, side := range []struct {
			name string
			by   float64
			e    expected
		}{{"beyond", -hair, expected{rule: rule, from: 0, late: late}}, {"inside", hair, expected{rule: rule, silent: true}}} {
			add(&drive{name: course + " limit " + limit + " " + side.name, options: demo.Options{Course: course, Laps: 10}, expect: []expected{side.e},
				limits: others, limit: func(o *outcome) string {
					x, line := reaches(o)+side.by, ""
					if limit == "tyre_overheat" { // else a tyre that runs away beyond the lower limit is overheating too
						line = fmt.Sprintf("tyre_high: %.3f %s\n", x-1, unit)
					}
					return line + fmt.Sprintf("%s: %.3f %s\n", limit, x, unit)
				}})
		}
	}
	both("tyre_high", "°C", "tyre-hot", 3, func(o *outcome) float64 { return o.mostMean(channel.TyreCarcass, 20) }, "tyre_low: 40 °C\ntyre_overheat: 200 °C\n", 10)
	both("tyre_overheat", "°C", "tyre-overheating", 3, func(o *outcome) float64 { return o.mostMean(channel.TyreCarcass, 20) }, "tyre_low: 40 °C\n", 11)
	both("pressure_high", "psi", "tyre-pressure-high", 0.15, func(o *outcome) float64 { return o.mostLapMean(channel.TyrePressure)/psi - 0.2 }, "pressure_low: 15 psi\n", 11)
	both("brake_hot", "°C", "brakes-hot", 12, func(o *outcome) float64 { return o.mostPeak() }, "brake_cold: 30 °C\nbrake_overheat: 2000 °C\n", 11)
	both("brake_overheat", "°C", "brakes-overheating", 12, func(o *outcome) float64 { return o.mostPeak() }, "brake_cold: 30 °C\nbrake_hot: 60 °C\n", 11)
	both("oil_hot", "°C", "oil-hot", 1.5, func(o *outcome) float64 { return o.mostMean(channel.OilTemperature, 4) }, "", 11)
	both("coolant_hot", "°C", "coolant-hot", 1.5, func(o *outcome) float64 { return o.mostMean(channel.CoolantTemperature, 4) }, "", 11)
	at("tyre_low out of reach", "tyre_low: 160 °C\ntyre_high: 170 °C\ntyre_overheat: 180 °C", expected{rule: "tyres-not-coming", from: 3, late: 8}, expected{rule: "tyres-short", from: 0, late: 3}, expected{rule: "tyres-ready", silent: true})
	at("pressure_low beyond", "pressure_low: 29 psi\npressure_high: 32 psi", expected{rule: "tyre-pressure-low", from: 1, late: 9})
	at("pressure_low inside", "pressure_low: 18 psi", expected{rule: "tyre-pressure-low", silent: true})
	at("brake_cold beyond", "brake_cold: 900 °C\nbrake_hot: 1000 °C\nbrake_overheat: 1100 °C", expected{rule: "brakes-cold", from: 0, late: 2})
	at("brake_cold inside", "brake_cold: 30 °C", expected{rule: "brakes-cold", silent: true})
	at("oil_pressure_low inside", "oil_pressure_low: 60 kPa", expected{rule: "oil-pressure-low", silent: true})
	at("ready at once", "tyre_low: 40 °C", expected{rule: "tyres-ready", from: 0, late: 3})
	small := func(f demo.Fault, rule string) {
		add(&drive{name: fmt.Sprintf("%s too little %s", course, f.Kind), options: demo.Options{Course: course, Laps: 10, Faults: []demo.Fault{f}}, expect: []expected{{rule: rule, silent: true}}})
	}
	k := hard(course)[0]
	small(demo.Fault{Kind: demo.Leak, FromLap: 3, ToLap: 10, Wheel: 1, Amount: 0.5}, "tyre-losing-air")
	small(demo.Fault{Kind: demo.BlockedDuct, FromLap: 2, ToLap: 10, Wheel: 0, Amount: 0.03}, "brake-left-hotter")
	small(demo.Fault{Kind: demo.Lock, FromLap: 3, ToLap: 9, Corner: k, Amount: 1.02}, "locking")
	small(demo.Fault{Kind: demo.Spin, FromLap: 3, ToLap: 9, Corner: k, Wheel: 2, Amount: 1.02}, "wheelspin")
	small(demo.Fault{Kind: demo.Understeer, FromLap: 3, ToLap: 9, Corner: k, Amount: 0.04}, "understeer")
	small(demo.Fault{Kind: demo.Oversteer, FromLap: 3, ToLap: 9, Corner: k, Amount: 0.04}, "oversteer")
	small(demo.Fault{Kind: demo.OilLoss, FromLap: 3, ToLap: 10, Amount: 0.05}, "oil-pressure-low")
	small(demo.Fault{Kind: demo.Radiator, FromLap: 2, ToLap: 10, Amount: 0.03}, "coolant-hot")
	small(demo.Fault{Kind: demo.Bottoming, FromLap: 3, ToLap: 9, Corner: k, Amount: 0.01}, "bottoming")
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
	for _, by := range []float64{-0.2, 0.2} { // s on the clock at a crossing of the line: one lap more or less
		add(&drive{name: fmt.Sprintf("%s race decided by two tenths %+.1f", course, by), ask: 83,
			options: demo.Options{Course: course, Duration: 900, Fuel: per * 30}, tune: func(d *drive, o *outcome) { d.options.Duration -= o.clockAfter(600) + by }})
	}
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
