package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"earshot/assistant/assembly"
	"earshot/assistant/feed/probe"
	"earshot/assistant/folder"
)

func printListened(w io.Writer, f assembly.Listened) {
	m := f.Measured
	fmt.Fprintf(w, "feed %s: %s\n", f.Feed, f.Source)
	fmt.Fprintf(w, "%d samples in %.1f s of the feed's clock, %.1f a second\n", m.Samples, m.Seconds, m.Rate)
	if len(m.Gaps) > 0 {
		longest := slices.MaxFunc(m.Gaps, func(a, b probe.Gap) int {
			if a.Seconds < b.Seconds {
				return -1
			}
			return 1
		})
		fmt.Fprintf(w, "gaps: %d, the longest %.2f s, %.1f s after the first sample\n", len(m.Gaps), longest.Seconds,
			longest.From)
	} else {
		fmt.Fprintln(w, "gaps: none")
	}
	s := f.Counts
	fmt.Fprintf(w, "%ss: %d; bad %d, lost %d, reordered %d, duplicate %d, ignored %d; readings refused %d\n", s.Record,
		s.Records, s.Bad, s.Lost, s.Reordered, s.Duplicate, s.Ignored, s.BadReadings)
	for _, why := range slices.Sorted(maps.Keys(s.Reasons)) {
		fmt.Fprintf(w, "  %s: %d\n", why, s.Reasons[why])
	}
	if s.LastBad != "" {
		fmt.Fprintf(w, "  the last: %s\n", s.LastBad)
	}
	if s.Restarts+s.ClockBack+s.ClockJumps+s.Untimed > 0 {
		fmt.Fprintf(w, "clock: restarts %d, steps back %d, jumps ahead %d, samples without a time %d\n", s.Restarts,
			s.ClockBack, s.ClockJumps, s.Untimed)
	}
	if s.Foreign+s.Oversized+s.Reconnects+s.Skipped > 0 {
		fmt.Fprintf(w, "passed over: from senders not named %d, too large %d, bytes in no packet %d; connections "+
			"made anew %d\n", s.Foreign, s.Oversized, s.Skipped, s.Reconnects)
	}
	if len(s.Missing) > 0 {
		fmt.Fprintf(w, "not in the header: %s\n", strings.Join(s.Missing, ", "))
	}
	if len(s.Twice) > 0 {
		fmt.Fprintf(w, "twice in the header: %s\n", strings.Join(s.Twice, ", "))
	}
	if len(f.Sizes) > 0 {
		rows := [][]string{{"bytes", "datagrams", "a second", "samples", "channels"}}
		for _, z := range f.Sizes {
			size := fmt.Sprint(z.Size)
			if z.Size < 0 {
				size = "other"
			}
			if z.Source != "" {
				size = z.Source + ": " + size
			}
			rows = append(rows, []string{size, fmt.Sprint(z.Count), fmt.Sprintf("%.1f", z.Rate), fmt.Sprint(z.Samples),
				shorten(z.Channels, 4)})
		}
		fmt.Fprintln(w)
		table(w, rows)
	}
	rows := [][]string{{"channel", "unit", "readings", "a second", "min", "median", "max", "last", "absent",
		"implausible", "frozen"}}
	for _, c := range m.Channels {
		if c.Count == 0 {
			continue
		}
		row := []string{c.Name, c.Unit, fmt.Sprint(c.Count), fmt.Sprintf("%.1f", c.Rate)}
		for _, v := range []float64{c.Min, c.Median, c.Max, c.Last} {
			row = append(row, fmt.Sprintf("%.4g", v))
		}
		rows = append(rows, append(row, percent(c.Absent), percent(c.Implausible), percent(c.Frozen)))
	}
	fmt.Fprintln(w)
	table(w, rows)
	if len(f.NeverCame) > 0 {
		fmt.Fprintf(w, "\nin the feed file, and never came: %s\n", strings.Join(f.NeverCame, ", "))
	}
	var on []string
	var off [][]string
	for _, r := range f.Rules.Rules {
		if r.On {
			on = append(on, r.Name)
		} else {
			off = append(off, []string{"  " + r.Name, strings.Join(brief(r.Why), "; ")})
		}
	}
	fmt.Fprintf(w, "\nrules on: %s\n", cmp.Or(strings.Join(on, ", "), "none"))
	if len(off) > 0 {
		fmt.Fprintln(w, "rules off:")
		table(w, off)
	}
	if len(m.Findings) == 0 {
		fmt.Fprintln(w, "\nunits, signs and mountings: nothing that is clearly wrong")
		return
	}
	fmt.Fprintf(w, "\nlooks wrong, %d:\n", len(m.Findings))
	for _, x := range m.Findings {
		fmt.Fprintf(w, "  %s\n    because %s\n    write: %s\n", x.Hypothesis, x.Evidence, x.Fix)
	}
}

func percent(share float64) string {
	switch {
	case share == 0:
		return "0"
	case share < 0.01:
		return "<1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*share)
}

// shorten lists the first few names.
func shorten(names []string, most int) string {
	if len(names) <= most {
		return strings.Join(names, " ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], " "), len(names)-most)
}

// values shows the present values of unknown fields in a few lines, so that the driver sees which one moves.
func values(s *probe.Sniffer) string {
	var b strings.Builder
	if s.IsText() {
		for _, c := range s.Describe().Columns {
			fmt.Fprintf(&b, "  %s=%s", c.Name, c.Last)
			if b.Len() > 300 {
				break
			}
		}
		return b.String()
	}
	for _, k := range s.Layout().Kinds {
		fmt.Fprintf(&b, "\n  %s:", kindName(k))
		for _, f := range k.Fields {
			if measured(f) {
				fmt.Fprintf(&b, "  %d=%s", f.At, short(f.Last))
			}
		}
	}
	return b.String()
}

func measured(f probe.Field) bool {
	return f.Is == probe.Number || f.Is == probe.Flags || f.Is == probe.Clock || f.Is == probe.Count
}

func short(v float64) string {
	if v == math.Trunc(v) && math.Abs(v) < 1e12 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.5g", v)
}

func kindName(k probe.Kind) string {
	if k.Match == nil {
		return fmt.Sprintf("%d bytes", k.Size)
	}
	return fmt.Sprintf("%d bytes with %d at %d", k.Size, k.Match.Is, k.Match.At)
}

func (u unknown) print(w io.Writer) {
	if d := u.Text; d != nil {
		u.printText(w, d)
	} else {
		u.printLayout(w, u.Layout)
	}
	if u.Written != "" {
		fmt.Fprintf(w, "\nwritten: %s; fill it in, then earshot check --feed %s and earshot probe --feed %s\n",
			u.Written, folder.Argument(u.Written), folder.Argument(u.Written))
	}
}

func (u unknown) printText(w io.Writer, d *probe.Description) {
	fmt.Fprintf(w, "%s: %s, %d lines, %d bytes; %.0f %% of the lines looked at fit\n", u.Source, d.Kind, d.Lines,
		u.Bytes, 100*d.Fit)
	if d.Kind == probe.CSV {
		sign := "point"
		if d.DecimalComma {
			sign = "comma"
		}
		fmt.Fprintf(w, "delimiter %q, decimal %s, header %t, units row %t\n", d.Delimiter, sign, d.Header, d.UnitsRow)
	}
	if d.Comment != "" {
		fmt.Fprintf(w, "comments begin with %s\n", d.Comment)
	}
	if d.Kind == probe.NameValue {
		fmt.Fprintf(w, "every record is one reading: name in %s, value in %s, time in %s\n", d.NameKey, d.ValueKey,
			cmp.Or(d.TimeKey, "no key"))
	}
	if d.Kind == probe.Prose {
		fmt.Fprintln(w, "it is no JSON, table, NMEA 0183 or candump that probe knows")
		return
	}
	rows := [][]string{{"name", "unit", "looked at", "min", "max", "last"}}
	for _, c := range d.Columns {
		lo, hi := "", ""
		if c.Numbers > 0 {
			lo, hi = fmt.Sprintf("%.6g", c.Min), fmt.Sprintf("%.6g", c.Max)
		}
		rows = append(rows, []string{c.Name, c.Unit, fmt.Sprint(c.Count), lo, hi, c.Last})
	}
	fmt.Fprintln(w)
	table(w, rows)
}

func (u unknown) printLayout(w io.Writer, l *probe.Layout) {
	order := "little"
	if l.Big {
		order = "big"
	}
	fmt.Fprintf(w, "%s: %d binary datagrams, %d bytes; byte_order: %s\n", u.Source, u.Pieces, u.Bytes, order)
	if l.Magic != "" {
		fmt.Fprintf(w, "all begin with the bytes %s\n", l.Magic)
	}
	if l.Other > 0 {
		fmt.Fprintf(w, "%d datagrams of further sizes were only counted\n", l.Other)
	}
	for _, k := range l.Kinds {
		fmt.Fprintf(w, "\n%s: %d datagrams, %.1f a second\n", kindName(k), k.Count, k.Rate)
		if k.Fields == nil {
			fmt.Fprintln(w, "  too few to say more")
			continue
		}
		rows := [][]string{{"  at", "type", "looks like", "min", "max", "last", ""}}
		for _, f := range k.Fields {
			row := []string{fmt.Sprintf("  %d", f.At), f.Type, string(f.Is), "", "", "", f.Note}
			switch {
			case measured(f):
				row[3], row[4], row[5] = short(f.Min), short(f.Max), short(f.Last)
			case f.Size > 1:
				row[0] = fmt.Sprintf("  %d-%d", f.At, f.At+f.Size-1)
				fallthrough
			default:
				row[6] = f.Text
			}
			rows = append(rows, row)
		}
		table(w, rows)
	}
	fmt.Fprintln(w, "\nThese are guesses from how the bytes move. Stand still, steer, press a pedal: what follows "+
		"is what you look for.")
}
