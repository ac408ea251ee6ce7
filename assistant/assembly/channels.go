package assembly

import (
	"fmt"
	"io"
	"strings"

	"earshot/assistant/channel"
)

// A ListedChannel is a channel as --json writes it.
type ListedChannel struct {
	Name     string   `json:"name"`
	Quantity string   `json:"quantity"`
	Unit     string   `json:"unit"`            // inside
	Units    []string `json:"units"`           // in which it may be written
	By       string   `json:"by"`              // measured: the feed gives it; computed: Earshot works it out
	Range    []string `json:"range,omitempty"` // plausible, in the unit used inside
	Labels   []string `json:"labels,omitempty"`
	About    string   `json:"about,omitempty"`
}

// ListChannels lists the channels of the catalogue that have one of the words in their name; all without words.
func ListChannels(words []string) (list []ListedChannel) {
	set := channel.NewSet()
	for id := range channel.ID(set.Len()) {
		ch := set.At(id)
		wanted := len(words) == 0
		for _, w := range words {
			wanted = wanted || strings.Contains(ch.Name, strings.ToLower(w))
		}
		if !wanted {
			continue
		}
		l := ListedChannel{
			Name: ch.Name, Quantity: string(ch.Quantity), Unit: channel.InsideUnit(ch.Quantity),
			Units: channel.UnitsOf(ch.Quantity),
			By:    string(ch.Origin), Labels: ch.Labels, About: ch.About,
		}
		if ch.Origin == channel.Measured && ch.Labels == nil {
			l.Range = []string{fmt.Sprintf("%g", ch.Min), fmt.Sprintf("%g", ch.Max)}
		}
		list = append(list, l)
	}
	return list
}

// Text is what the channel is, with the names of a choice.
func (l ListedChannel) Text() string {
	if len(l.Labels) == 0 {
		return l.About
	}
	labels, more := l.Labels, ""
	if n := len(labels); n > mostLabels {
		labels, more = labels[:mostLabels], fmt.Sprintf(" and %d more (--json)", n-mostLabels)
	}
	return l.About + ": " + strings.Join(labels, ", ") + more
}

const mostLabels = 12

// PerCar merges the four wheels of a channel into one entry, and marks choices.
func PerCar(list []ListedChannel) (short []ListedChannel) {
	for _, l := range list {
		if l.Labels != nil {
			l.Quantity, l.Unit = "choice", "–"
		}
		if base, wheel := strings.CutSuffix(l.Name, "_"+channel.FL.Suffix()); wheel {
			l.Name = base + "_{fl,fr,rl,rr}"
		} else if n := len(short); n > 0 && len(l.Name) > 3 &&
			short[n-1].Name == l.Name[:len(l.Name)-3]+"_{fl,fr,rl,rr}" {
			continue
		}
		short = append(short, l)
	}
	return short
}

// UnitsOf lists the quantities of channels with their units, the one used inside first.
func UnitsOf(list []ListedChannel, between string) (rows [][]string) {
	seen := map[string]bool{}
	for _, l := range list {
		if !seen[l.Quantity] {
			seen[l.Quantity] = true
			rows = append(rows, []string{l.Quantity, strings.Join(l.Units, between)})
		}
	}
	return rows
}

// ChannelsPage writes the page configs/channels.md.
func ChannelsPage(w io.Writer, list []ListedChannel) error {
	var b strings.Builder
	b.WriteString("# Channels\n\n<!-- made by `earshot channels --markdown`; a test compares them -->\n\n" +
		"What a feed file maps its source to, and what rules, answers and exports read. `measured`: the feed gives " +
		"it. `computed`: Earshot works it\n" +
		"out, and a feed cannot supply it. Inside, and in journal and recording, a value has the unit in this " +
		"table; a file may write it in any unit of\n" +
		"its quantity. A feed file adds channels of its own under `own_channels` " +
		"([feeds/README.md](feeds/README.md)).\n\n" +
		"| channel | quantity | unit | by | about |\n|---|---|---|---|---|\n")
	for _, l := range PerCar(list) {
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", l.Name, l.Quantity, l.Unit, l.By, l.Text())
	}
	b.WriteString("\n## Units\n\n| quantity | units |\n|---|---|\n")
	for _, r := range UnitsOf(list, "` `") {
		fmt.Fprintf(&b, "| %s | `%s` |\n", r[0], r[1])
	}
	_, err := io.WriteString(w, b.String())
	return err
}
