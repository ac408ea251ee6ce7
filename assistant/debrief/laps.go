package debrief

import (
	"fmt"
	"math"
	"slices"

	"earshot/assistant/journal"
	"earshot/assistant/statistics"
)

// trendLaps is the fewest laps from which a trend is told: below five no order of the laps is improbable
// enough at 5 % (Mann-Kendall, exact).
const trendLaps = 5

func pace(laps []Lap) Pace {
	p := Pace{Best: journal.Unknown, Potential: journal.Unknown, Median: journal.Unknown, Consistency: journal.Unknown}
	var times []float64
	counts := map[int]int{} // laps by their number of sectors
	for _, l := range laps {
		if !l.Counts() || l.Time.IsZero() {
			continue
		}
		times = append(times, float64(l.Time))
		if p.Best.IsZero() || l.Time < p.Best {
			p.Best, p.BestLap = l.Time, l.Number
		}
		counts[len(l.Sectors)]++
	}
	p.Laps = len(times)
	p.Median, p.Consistency = Num(statistics.Median(times)), Num(statistics.Deviation(times))
	sectors := 0
	for n, laps := range counts {
		if n > 1 && (laps > counts[sectors] || sectors == 0 || laps == counts[sectors] && n > sectors) {
			sectors = n
		}
	}
	if sectors == 0 {
		return p
	}
	for i := range sectors {
		best, in := journal.Unknown, 0
		for _, l := range laps {
			if l.Counts() && len(l.Sectors) == sectors && !l.Sectors[i].IsZero() && (best.IsZero() || l.Sectors[i] < best) {
				best, in = l.Sectors[i], l.Number
			}
		}
		p.Sectors, p.SectorLaps = append(p.Sectors, best), append(p.SectorLaps, in)
	}
	p.Potential = 0
	for _, s := range p.Sectors {
		p.Potential += s // one unknown sector makes it unknown
	}
	return p
}

// fillStint adds up the laps of the stint.
func (b *builder) fillStint(index int, s *Stint) {
	var times, at, alike []float64 // alike: as if the car had the same fuel aboard in each lap
	burnt := 0.0                   // L since the first lap that counts, unknown once a lap does not tell
	for i, l := range b.laps {
		if l.InStint != index {
			continue
		}
		s.Laps++
		if len(times) > 0 {
			burnt += float64(l.FuelUsed)
		}
		if !l.FuelUsed.IsZero() {
			if s.FuelUsed.IsZero() {
				s.FuelUsed = 0
			}
			s.FuelUsed += l.FuelUsed
		}
		if !l.Counts() || l.Time.IsZero() {
			continue
		}
		s.Flying++
		times, at = append(times, float64(l.Time)), append(at, float64(i))
		alike = append(alike, float64(l.Time)+b.ctx.FuelCost*burnt)
		if s.Best.IsZero() || l.Time < s.Best {
			s.Best = l.Time
		}
	}
	s.Median = Num(statistics.Median(times))
	s.Trend.Laps = len(times)
	if len(times) >= trendLaps {
		if s.Trend.FuelTakenOut = b.ctx.FuelCost > 0 && len(statistics.Known(alike)) == len(alike); s.Trend.FuelTakenOut {
			times = alike
		}
		slope, low, high := statistics.TheilSen(at, times, 1.959964)
		s.Trend.PerLap, s.Trend.Low, s.Trend.High = Num(slope), Num(low), Num(high)
	}
}

func trendNote(stints []Stint) string {
	note := ""
	for _, s := range stints {
		switch {
		case s.Trend.PerLap.IsZero():
		case s.Trend.FuelTakenOut:
			note = "Trends have taken out what the fuel burnt off brings, by the car file."
		default:
			return "Trends are not corrected for the fuel burnt off, which alone makes a car quicker from lap to lap."
		}
	}
	return note
}

// fuel looks at flying laps, valid or not: running wide does not change what the engine burns.
func (b *builder) fuel() Fuel {
	u := journal.Unknown
	f := Fuel{PerLap: u, Spread: u, Least: u, Most: u, Left: u, LapsLeft: u, LapsToGo: u, Margin: u}
	var used []float64
	for _, l := range b.laps {
		if !l.Flying() || l.FuelUsed.IsZero() {
			continue
		}
		used = append(used, float64(l.FuelUsed))
	}
	f.Laps = len(used)
	f.PerLap, f.Spread = Num(statistics.Median(used)), Num(statistics.Deviation(used))
	if n := len(b.m.Fuel); n > 0 {
		a := &b.m.Fuel[n-1]
		f.Left, f.LapsToGo, f.Margin = a.Left, a.LapsToGo, a.Margin
	}
	f.LapsLeft = f.Left / f.PerLap
	v := b.ctx.Volume
	if f.Laps == 0 {
		return f
	}
	f.Least, f.Most = Num(slices.Min(used)), Num(slices.Max(used))
	f.Meaning = append(f.Meaning, fmt.Sprintf("Ten laps burn %s, twenty %s. Add your reserve to that.",
		volume(v, 10*f.PerLap), volume(v, 20*f.PerLap)))
	if f.Laps < 3 {
		f.Meaning = append(f.Meaning, fmt.Sprintf("Only %s: drive a few more before you trust it.",
			plural(f.Laps, "flying lap tells this", "flying laps tell this")))
	} else if f.Most > f.Least {
		f.Meaning = append(f.Meaning, fmt.Sprintf("The thirstiest lap took %s, the leanest %s: over twenty laps that is a "+
			"difference of %s.",
			burn(v, f.Most), burn(v, f.Least), volume(v, 20*(f.Most-f.Least))))
	}
	if !f.LapsLeft.IsZero() && !math.IsInf(float64(f.LapsLeft), 0) {
		f.Meaning = append(f.Meaning, fmt.Sprintf("The last reading, %s, gives %s laps at this rate.", volume(v, f.Left),
			fixed(f.LapsLeft, 1)))
	}
	return f
}
