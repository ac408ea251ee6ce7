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
	"num": num, "nothingShowed": nothingShowed, "words": table.words, "markHead": markHead, "cornerName": cornerName,
	"cell": cell,
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

// WriteHTML writes the report as one page that needs no network, no script and no other file.
func WriteHTML(w io.Writer, r Report) error {
	d := r.Units.display()
	p := pageData{
		Title: "Debrief " + orUnknown(r.Session.ID), Head: headLines(r.Session), R: r,
		Figures: [][2]string{
			{"Best lap", lapTime(r.Pace.Best)}, {"Best sectors", lapTime(r.Pace.Potential)},
			{"Median", lapTime(r.Pace.Median)}, {"Typically within", seconds(r.Pace.Consistency)},
			{"Valid flying laps", number(r.Pace.Laps)}, {"Fuel a lap", burn(d.volume, r.Fuel.PerLap)},
		},
		Laps: lapTables(r, d), OpenLaps: len(r.Laps) <= openLaps, Bar: markPlot(r),
		Fuel:   append(fuelLines(r.Fuel, d), r.Fuel.Meaning...),
		Cues:   append(cueLines(r.Cues), r.Cues.Load...),
		Stints: shown(stintTable(r, d)), Rules: shown(ruleTable(r.Cues)), Silent: shown(silenceTable(r.Cues)),
		Health: shown(healthTable(r.Health)),
	}
	for _, x := range []*plot{
		lapTimePlot(r),
		wheelPlot(r, "Tyre pressure", d.pressure, func(l Lap) Wheels { return l.TyrePressure }),
		wheelPlot(r, "Tyre temperature", d.temperature, func(l Lap) Wheels { return l.TyreTemperature }),
		wheelPlot(r, "Brake peaks", d.temperature, func(l Lap) Wheels { return l.BrakePeak }),
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

// shown is nil for a table without rows, which the page leaves out.
func shown(t table) *table {
	if len(t.Rows) == 0 {
		return nil
	}
	return &t
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
