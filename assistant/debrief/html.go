package debrief

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
)

//go:embed page.html.tmpl
var pageSource string

var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"num": num, "nothingShowed": nothingShowed, "words": table.words, "markHead": markHead, "cornerName": cornerName, "cell": cell,
}).Parse(pageSource))

// openLaps is the longest session whose lap tables are unfolded from the start.
const openLaps = 80

// pageData is what the template shows, in the order of the page.
type pageData struct {
	Title     string
	Head      [][2]string
	Figures   [][2]string
	R         Report
	Plots     []*plot
	Bar       *plot
	Stints    *table
	Laps      []table
	OpenLaps  bool
	Fuel      []string
	Corners   []pageCorner
	Pressures []pagePressure
	Cues      []string
	Rules     *table
	Silent    *table
	Health    *table
}

type pageCorner struct {
	Corner
	Table *table
	Lines []string // of advice
}

type pagePressure struct {
	Table table
	Notes []string
}

func writeHTML(w io.Writer, r Report) error {
	d := r.Units.display()
	p := pageData{
		Title: "Debrief " + orUnknown(r.Session.ID), Head: headLines(r.Session), R: r,
		Figures: [][2]string{
			{"Best lap", lapTime(r.Pace.Best)}, {"Best sectors", lapTime(r.Pace.Potential)},
			{"Median", lapTime(r.Pace.Median)}, {"Typically within", seconds(r.Pace.Consistency)},
			{"Valid flying laps", number(r.Pace.Laps)}, {"Fuel a lap", burn(d.volume, r.Fuel.PerLap)},
		},
		Laps: lapTables(r, d), OpenLaps: len(r.Laps) <= openLaps, Bar: markPlot(r),
		Fuel: append(fuelLines(r.Fuel, d), r.Fuel.Meaning...),
		Cues: append(cueLines(r.Cues), r.Cues.Load...),
	}
	for _, x := range []*plot{
		lapTimePlot(r),
		wheelPlot(r, "Tyre pressure, lap mean, "+d.pressure.Spelling, func(l Lap) Wheels { return l.TyrePressure }, func(x Num) Num { return Num(d.pressure.Out(float64(x))) }),
		wheelPlot(r, "Tyre temperature, lap mean, "+d.temperature.Spelling, func(l Lap) Wheels { return l.TyreTemperature }, func(x Num) Num { return Num(d.temperature.Out(float64(x))) }),
		wheelPlot(r, "Brake peaks, lap mean, "+d.temperature.Spelling, func(l Lap) Wheels { return l.BrakePeak }, func(x Num) Num { return Num(d.temperature.Out(float64(x))) }),
		fuelPlot(r, d),
	} {
		if x != nil {
			p.Plots = append(p.Plots, x)
		}
	}
	for _, c := range r.Corners {
		pc := pageCorner{Corner: c}
		if len(c.Marks) > 0 {
			t := passTable(c, d)
			pc.Table = &t
		}
		for _, a := range c.Advice {
			pc.Lines = append(pc.Lines, a.line())
		}
		p.Corners = append(p.Corners, pc)
	}
	for _, x := range r.Pressures {
		p.Pressures = append(p.Pressures, pagePressure{pressureTable(x, d), x.Notes})
	}
	keep := func(to **table, on bool, t table) {
		if on {
			*to = &t
		}
	}
	keep(&p.Stints, len(r.Stints) > 0, stintTable(r, d))
	keep(&p.Rules, len(r.Cues.Rules) > 0, ruleTable(r.Cues))
	keep(&p.Silent, len(r.Cues.Silent) > 0, silenceTable(r.Cues))
	keep(&p.Health, len(r.Health.Episodes) > 0, healthTable(r.Health))
	var b bytes.Buffer
	if err := page.Execute(&b, p); err != nil {
		return fmt.Errorf("laying out the debrief page: %w", err)
	}
	// The template escapes what could be markup; characters that no page may hold are left.
	if _, err := w.Write(bytes.Map(pageRune, b.Bytes())); err != nil {
		return fmt.Errorf("writing the debrief page: %w", err)
	}
	return nil
}

func pageRune(r rune) rune {
	if r < ' ' && r != '\n' || r >= 0x7f && r < 0xa0 || r >= 0xfffe && r <= 0xffff {
		return ' '
	}
	return r
}

func seconds(x Num) string {
	if x.IsZero() {
		return unknown
	}
	return fixed(x, 2) + "\u00a0s"
}

// cell keeps four figures of one cell together and lets other texts wrap.
func cell(s string) string {
	if strings.Count(s, "/") == 3 {
		return strings.ReplaceAll(s, "/", "\u200a/\u200a")
	}
	return s
}
