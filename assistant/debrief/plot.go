package debrief

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/statistics"
)

// A plot is a drawing in its own coordinates, small enough to be read on a phone without
// shrinking. The template writes it as SVG, so that every text in it is escaped.
type plot struct {
	Title  string
	About  string // what a reader who cannot see it needs
	W, H   float64
	Rules  []rule // horizontal lines with their value
	Ticks  []label
	Stints []float64 // x of the boundaries
	Lines  []polyline
	Dots   []dot
	Labels []label
	Note   string
}

type rule struct {
	X1, X2, Y float64
	Text      string
}

type label struct {
	X, Y   float64
	Anchor string // start, middle or end
	Class  string
	Text   string
}

type polyline struct{ Class, Points string }

// A dot differs by shape as well as by colour: round counts, hollow does not, a diamond is the best.
type dot struct {
	X, Y  float64
	Shape string // round, hollow, diamond, tick
	Class string
	Title string
}

// Path draws the shape around its centre.
func (d dot) Path() string {
	x, y := d.X, d.Y
	switch d.Shape {
	case "diamond":
		return fmt.Sprintf("M%s %sl6 6l-6 6l-6 -6z", num(x), num(y-6))
	case "tick":
		return fmt.Sprintf("M%s %sv14", num(x), num(y-7))
	}
	return fmt.Sprintf("M%s %sa3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0z", num(x-3.5), num(y))
}

const (
	plotW, plotH   = 420.0, 230.0
	plotL, plotR   = 52.0, 30.0
	plotT, plotB   = 12.0, 26.0
	plotMost       = 240 // laps that are drawn one by one
	plotFewestLaps = 2   // one point is a figure, not a course of things
)

// num writes a coordinate with one decimal, the same on every machine.
func num(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }

// axis maps values to the height of the drawing.
type axis struct{ low, high, step float64 }

// newAxis spans the known values with three to six steps of 1, 2 or 5.
func newAxis(values []float64) (axis, bool) {
	v := statistics.Known(values)
	if len(v) == 0 {
		return axis{}, false
	}
	low, high := v[0], v[0]
	for _, x := range v {
		low, high = min(low, x), max(high, x)
	}
	if math.IsInf(low, 0) || math.IsInf(high, 0) {
		return axis{}, false
	}
	if pad := max(math.Abs(high)*1e-3, 1e-3); high-low < pad {
		low, high = low-pad, high+pad
	}
	raw := (high - low) / 4
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if step*m >= raw {
			step *= m
			break
		}
	}
	return axis{math.Floor(low/step) * step, math.Ceil(high/step) * step, step}, true
}

func (a axis) y(v float64) float64 {
	return plotT + (a.high-v)/(a.high-a.low)*(plotH-plotT-plotB)
}

func (a axis) decimals() int { return max(0, int(-math.Floor(math.Log10(a.step)+1e-9))) }

func (a axis) rules(write func(v float64, decimals int) string) []rule {
	var out []rule
	for i := 0; i <= int(math.Round((a.high-a.low)/a.step)); i++ {
		v := a.low + float64(i)*a.step
		out = append(out, rule{plotL, plotW - plotR, a.y(v), write(v, a.decimals())})
	}
	return out
}

func plain(v float64, decimals int) string { return fixed(Num(v), decimals) }

// newPlot sets up the axis of laps, which is their order: numbers may start again.
func newPlot(title string, laps []Lap) *plot {
	p := &plot{Title: title, W: plotW, H: plotH}
	every := max(1, (len(laps)+7)/8)
	for i, l := range laps {
		if i%every == 0 {
			p.Ticks = append(p.Ticks, label{lapX(i, len(laps)), plotH - 8, "middle", "", number(l.Number)})
		}
		if i > 0 && l.InStint != laps[i-1].InStint {
			p.Stints = append(p.Stints, (lapX(i, len(laps))+lapX(i-1, len(laps)))/2)
		}
	}
	if len(p.Stints) > 40 {
		p.Stints = nil
	}
	return p
}

func lapX(i, n int) float64 {
	if n < 2 {
		return (plotL + plotW - plotR) / 2
	}
	return plotL + 8 + float64(i)/float64(n-1)*(plotW-plotL-plotR-16)
}

// bucket is how many laps make one point of a line.
func bucket(n int) int { return (n + plotMost - 1) / plotMost }

// trace draws the values as a line that is broken where nothing is known
// and between stints. With many laps each point is a median.
func (p *plot) trace(a axis, laps []Lap, values []float64, class string) {
	k := bucket(len(values))
	var b strings.Builder
	points := 0
	end := func() {
		if points > 0 {
			if points == 1 { // a lone point would not show
				b.WriteString(" " + b.String())
			}
			p.Lines = append(p.Lines, polyline{class, b.String()})
		}
		b.Reset()
		points = 0
	}
	for i := 0; i < len(values); i += k {
		v := statistics.Median(values[i:min(i+k, len(values))])
		if i > 0 && k == 1 && laps[i].InStint != laps[i-1].InStint {
			end()
		}
		if math.IsNaN(v) {
			end()
			continue
		}
		if points > 0 {
			b.WriteByte(' ')
		}
		fmt.Fprintf(&b, "%s,%s", num(lapX(i, len(values))), num(a.y(v)))
		points++
	}
	end()
	if k > 1 {
		p.Note = fmt.Sprintf("Each point is the median of %d laps.", k)
	}
}

func lapTimePlot(r Report) *plot {
	var times []float64
	for _, l := range r.Laps {
		x := math.NaN()
		if l.Class == "flying" {
			x = float64(l.Time)
		}
		times = append(times, x)
	}
	a, ok := newAxis(times)
	if !ok || len(statistics.Known(times)) < plotFewestLaps {
		return nil
	}
	p := newPlot("Lap time, flying laps", r.Laps)
	p.About = fmt.Sprintf("Lap times of %d flying laps; the best is %s in lap %d.", len(statistics.Known(times)),
		lapTime(r.Pace.Best), r.Pace.BestLap)
	p.Rules = a.rules(func(v float64, decimals int) string {
		s := lapTime(Num(v))
		if decimals == 0 {
			return s[:len(s)-4]
		}
		return s[:len(s)-3+min(decimals, 3)]
	})
	p.trace(a, r.Laps, times, "faint")
	if bucket(len(times)) > 1 {
		return p
	}
	for i, l := range r.Laps {
		if math.IsNaN(times[i]) {
			continue
		}
		d := dot{X: lapX(i, len(times)), Y: a.y(times[i]), Shape: "round",
			Title: fmt.Sprintf("Lap %d, %s, %s", l.Number, lapTime(l.Time), lapKind(l))}
		switch {
		case l.Best:
			d.Shape = "diamond"
		case !l.Valid:
			d.Shape = "hollow"
		}
		p.Dots = append(p.Dots, d)
	}
	p.Note = "Diamond: best lap. Hollow: void."
	return p
}

func wheelPlot(r Report, what string, unit channel.Unit, get func(Lap) Wheels) *plot {
	var by [4][]float64
	var all []float64
	for w := range 4 {
		for _, l := range r.Laps {
			v := unit.Out(float64(get(l)[w]))
			by[w], all = append(by[w], v), append(all, v)
		}
	}
	a, ok := newAxis(all)
	if !ok || len(r.Laps) < plotFewestLaps {
		return nil
	}
	p := newPlot(what+", lap mean, "+unit.Spelling, r.Laps)
	p.Rules = a.rules(plain)
	var ends []label
	for w := range 4 {
		k := statistics.Known(by[w])
		if len(k) == 0 {
			continue
		}
		p.trace(a, r.Laps, by[w], fmt.Sprintf("w%d", w))
		ends = append(ends, label{plotW - plotR + 4, a.y(k[len(k)-1]) + 4, "start", fmt.Sprintf("w%d", w), wheelShorts[w]})
		p.About += fmt.Sprintf("%s from %s to %s. ", capital(wheelNames[w]), fixed(Num(k[0]), a.decimals()),
			fixed(Num(k[len(k)-1]), a.decimals()))
	}
	p.Labels = apart(ends)
	return p
}

// apart moves labels that would lie on each other, keeping their order.
func apart(labels []label) []label {
	const gap = 13
	for range labels { // few labels: a bubble is enough
		for i := range labels {
			for j := range labels {
				if a, b := &labels[i], &labels[j]; i != j && (a.Y < b.Y || a.Y == b.Y && i < j) && b.Y-a.Y < gap {
					push := (gap - (b.Y - a.Y)) / 2
					a.Y, b.Y = a.Y-push, b.Y+push
				}
			}
		}
	}
	return labels
}

func fuelPlot(r Report, d display) *plot {
	var burn []float64
	for _, l := range r.Laps {
		burn = append(burn, d.volume.Out(float64(l.FuelUsed)))
	}
	a, ok := newAxis(burn)
	if !ok || len(statistics.Known(burn)) < plotFewestLaps {
		return nil
	}
	p := newPlot("Fuel burnt per lap, "+volumeName(d.volume), r.Laps)
	p.About = fmt.Sprintf("Fuel by lap; the median of %d flying laps is %s.", r.Fuel.Laps,
		fixed(Num(d.volume.Out(float64(r.Fuel.PerLap))), 2))
	p.Rules = a.rules(plain)
	p.trace(a, r.Laps, burn, "faint")
	if bucket(len(burn)) > 1 {
		return p
	}
	for i, l := range r.Laps {
		if math.IsNaN(burn[i]) {
			continue
		}
		shape := "hollow"
		if l.Class == "flying" {
			shape = "round"
		}
		p.Dots = append(p.Dots, dot{X: lapX(i, len(burn)), Y: a.y(burn[i]), Shape: shape,
			Title: fmt.Sprintf("Lap %d, %s, %s", l.Number, fixed(Num(burn[i]), 2), l.Class)})
	}
	p.Note = "Hollow: not a flying lap."
	return p
}

// markPlot is the lap as a bar from the line to the line, with the marks on it.
func markPlot(r Report) *plot {
	length := float64(r.LapLength)
	marks := 0
	for _, c := range r.Corners {
		for _, m := range c.Marks {
			if !m.Distance.IsZero() {
				marks++
				if math.IsNaN(float64(r.LapLength)) && !(length >= float64(m.Distance)) {
					length = float64(m.Distance)
				}
			}
		}
	}
	if marks == 0 || !(length > 0) {
		return nil
	}
	p := &plot{Title: "Marks along the lap", W: plotW, H: 104}
	x := func(d Num) float64 {
		return plotL/2 + math.Min(math.Max(float64(d)/length, 0), 1)*(plotW-plotL)
	}
	const bar = 62.0
	p.Rules = []rule{{plotL / 2, plotW - plotL/2, bar, ""}}
	p.Ticks = []label{
		{plotL / 2, 92, "start", "", "line"},
		{plotW - plotL/2, 92, "end", "", fixed(Num(length), 0) + " m"},
	}
	var names []string
	taken := map[int]bool{} // slots of 46 in two rows
	for _, c := range r.Corners {
		if len(c.Marks) == 0 {
			continue
		}
		for i, m := range c.Marks {
			if m.Distance.IsZero() {
				continue
			}
			p.Dots = append(p.Dots, dot{X: x(m.Distance), Y: bar - 4*float64(i%3), Shape: "diamond", Class: "mark",
				Title: markHead(m)})
		}
		at := c.Distance
		if at.IsZero() {
			at = c.Marks[0].Distance
		}
		text := fmt.Sprintf("T%d", c.Number)
		if c.Number == 0 {
			text = "other"
		}
		if n := len(c.Marks); n > 1 {
			text += fmt.Sprintf(" ×%d", n)
		}
		names = append(names, fmt.Sprintf("%s: %s", cornerName(c), plural(len(c.Marks), "mark", "marks")))
		if at.IsZero() {
			continue
		}
		for row := range 3 {
			slot := row*100 + int(x(at)/46)
			if !taken[slot] {
				taken[slot] = true
				p.Labels = append(p.Labels, label{x(at), bar - 20 - 16*float64(row), "middle", "strong", text})
				break
			}
		}
	}
	p.About = strings.Join(names, "; ") + "."
	return p
}
