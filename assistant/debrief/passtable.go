package debrief

import (
	"fmt"
	"math"
)

// passTable has the usual pass and every marked one below each other.
func passTable(c Corner, d display) table {
	t := table{Left: 1, Head: []string{"Pass", "In " + d.speed.Spelling, "Slowest", "Out", "Gear", "Seconds", "Balance °",
		"Slip", "Tyres " + d.temperature.Spelling + " FL/FR/RL/RR", "Brakes " + d.temperature.Spelling + " FL/FR/RL/RR"}}
	lost, line := anyPass(c, func(p Pass) Num { return p.Lost }), anyPass(c, func(p Pass) Num { return p.Line })
	if lost {
		t.Head = append(t.Head, "Lost s")
	}
	if line {
		t.Head = append(t.Head, "Line m")
	}
	row := func(name string, p Pass) []string {
		cells := []string{
			name, bare(d.speed, p.EntrySpeed), bare(d.speed, p.MinSpeed), bare(d.speed, p.ExitSpeed), fixed(p.MinGear, 0),
			fixed(p.Time, 2), signed(p.Balance*180/math.Pi, 1), fixed(largest(p.MaxSlip), 2),
			four(d.temperature, p.TyreTemperature), four(d.temperature, p.BrakeTemperature),
		}
		if lost {
			cells = append(cells, signed(p.Lost, 2))
		}
		if line {
			cells = append(cells, signed(p.Line, 1))
		}
		return cells
	}
	if c.UsualPasses > 0 {
		t.Rows = append(t.Rows, row(fmt.Sprintf("median of %d", c.UsualPasses), c.Usual))
	}
	for _, m := range c.Marks {
		name := fmt.Sprintf("mark %d", m.Number)
		if m.Lap >= 0 {
			name += fmt.Sprintf(", lap %d", m.Lap)
		}
		t.Rows = append(t.Rows, row(name, m.Pass))
	}
	return t
}

// anyPass tells whether any pass of the table has that reading.
func anyPass(c Corner, get func(Pass) Num) bool {
	if c.UsualPasses > 0 && !get(c.Usual).IsZero() {
		return true
	}
	for _, m := range c.Marks {
		if !get(m.Pass).IsZero() {
			return true
		}
	}
	return false
}

// largest is the slip farthest from zero, with its sign.
func largest(w Wheels) Num {
	best := w[0]
	for _, x := range w[1:] {
		if best.IsZero() || !x.IsZero() && max(x, -x) > max(best, -best) {
			best = x
		}
	}
	return best
}
