package cue

import (
	"flag"
	"fmt"
	"math"
	"math/bits"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/tools/txtar"
)

var update = flag.Bool("update", false, "rewrite the want part of the stories; read the diff")

// A story is a txtar file: why on top, then a script and what comes of it. The script has one action a line, each
// at a time in seconds; between them the scheduler steps 20 times a second.
//
//	config max=1 gap=0.6
//	words GROUP MEMBERS(binary) DURATION TEXT       the words for several
//	TIME offer RULE[/INSTANCE] PRIORITY DURATION TEXT [| key=value …]   keys: where, group, expires (a moment), short (s),
//	                                                importance, holds, live, apart
//	TIME reword RULE[/INSTANCE] DURATION TEXT       a live cue has these words from now on
//	TIME reword RULE[/INSTANCE] none                and now none
//	TIME keep|release RULE[/INSTANCE]               it must not be said, or may again
//	TIME withdraw RULE[/INSTANCE]
//	TIME brake MOMENT        the next braking point is reached at that moment
//	TIME room unknown
//	TIME corner on|off · busy on|off · standing on|off · most SECONDS · lap · mute SECONDS · unmute · repeat · end
func TestStories(t *testing.T) {
	files, err := filepath.Glob("testdata/stories/*.txtar")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			ar, err := txtar.ParseFile(file)
			require.NoError(t, err)
			require.NotEmpty(t, strings.TrimSpace(string(ar.Comment)), "a story says why")
			require.Len(t, ar.Files, 2)
			got := tell(t, string(ar.Files[0].Data))
			if *update {
				ar.Files[1].Data = []byte(got)
				require.NoError(t, os.WriteFile(file, txtar.Format(ar), 0o644))
			}
			require.Equal(t, string(ar.Files[1].Data), got)
		})
	}
}

type teller struct {
	t     *testing.T
	s     *Scheduler
	out   strings.Builder
	sit   Situation
	brake float64
	line  float64
	conf  Config
	words map[string]string
	anew  map[string]Phrase
	kept  map[string]bool
}

func tell(t *testing.T, script string) string {
	p := &teller{t: t, brake: math.NaN(), line: math.NaN(), words: map[string]string{}, anew: map[string]Phrase{}, kept: map[string]bool{}}
	tick := 0
	for _, line := range strings.Split(script, "\n") {
		line, _, _ = strings.Cut(line, "#")
		f := strings.Fields(line)
		switch {
		case len(f) == 0:
			continue
		case f[0] == "config":
			p.configure(f[1:])
			continue
		case f[0] == "words":
			p.words[f[1]+" "+f[2]] = strings.Join(f[3:], " ")
			continue
		}
		if p.s == nil {
			p.s = New(p.conf, p)
		}
		at := p.number(f[0])
		for ; float64(tick)/20 < at; tick++ {
			p.step(float64(tick) / 20)
		}
		p.act(at, f[1], f[2:])
	}
	return p.out.String()
}

func (p *teller) number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	require.NoError(p.t, err)
	return v
}

func (p *teller) configure(pairs []string) {
	for _, kv := range pairs {
		k, v, _ := strings.Cut(kv, "=")
		switch k {
		case "max":
			p.conf.MaxAdvisoriesPerLap = int(p.number(v))
		case "gap":
			p.conf.Gap = p.number(v)
		case "lap_at_most":
			p.conf.LapAtMost = p.number(v)
		case "calls":
			p.conf.MaxCalls = int(p.number(v))
		default:
			require.Fail(p.t, "unknown setting "+k)
		}
	}
}

func (p *teller) Quiet(c *Cue) bool { return p.kept[fmt.Sprintf("%s/%d", c.Rule, c.Instance)] }

func (p *teller) Words(c *Cue, members uint64) (long, short Phrase, ok bool) {
	if members == c.Members && bits.OnesCount64(members) == 1 {
		if anew, have := p.anew[fmt.Sprintf("%s/%d", c.Rule, c.Instance)]; have {
			return anew, Phrase{}, anew.Text != ""
		}
		return Phrase{c.Text, c.Duration}, c.Short, true
	}
	w, ok := p.words[fmt.Sprintf("%s %04b", c.Group, members)]
	if !ok {
		return Phrase{}, Phrase{}, false
	}
	d, text, _ := strings.Cut(w, " ")
	return Phrase{text, p.number(d)}, Phrase{}, true
}

func (p *teller) step(now float64) {
	p.sit.Room, p.sit.SinceLine = p.brake-now, now-p.line
	say, stop, rs := p.s.Step(now, p.sit, nil)
	p.rulings(now, rs)
	if stop {
		fmt.Fprintf(&p.out, "%.2f stop\n", now)
	}
	if say != nil {
		fmt.Fprintf(&p.out, "%.2f say %q\n", now, say.Text)
	}
}

func (p *teller) rulings(now float64, rs []Ruling) {
	for _, r := range rs {
		span := ""
		if !math.IsNaN(r.Start) {
			span = fmt.Sprintf(" (%.2f to %.2f)", r.Start, r.End)
		}
		fmt.Fprintf(&p.out, "%.2f %s %s/%d %q%s: %s\n", now, r.Verdict, r.Cue.Rule, r.Cue.Instance, r.Cue.Text, span, r.Why)
	}
}

func ruleOf(s string) (string, int) {
	rule, inst, _ := strings.Cut(s, "/")
	n, _ := strconv.Atoi(inst)
	return rule, n
}

func (p *teller) act(at float64, verb string, args []string) {
	on := len(args) > 0 && args[0] == "on"
	switch verb {
	case "offer":
		rule, inst := ruleOf(args[0])
		prio, err := parsePriority(args[1])
		require.NoError(p.t, err)
		words, opts, _ := strings.Cut(strings.Join(args[3:], " ")+" ", "| ")
		c := Cue{Rule: rule, Instance: inst, Priority: prio, Duration: p.number(args[2]), Text: strings.TrimSpace(words)}
		for _, kv := range strings.Fields(opts) {
			switch k, v, _ := strings.Cut(kv, "="); k {
			case "where":
				c.Where, err = parseWhere(v)
				require.NoError(p.t, err)
			case "group":
				c.Group, c.Live = v, true
			case "expires":
				c.Expires = p.number(v)
			case "short":
				c.Short = Phrase{"short: " + c.Text, p.number(v)}
			case "importance":
				c.Importance = map[string]Importance{"low": Low, "high": High}[v]
			case "apart":
				c.Apart = p.number(v)
			case "holds":
				c.Holds = true
			case "live":
				c.Live = true
			default:
				require.Fail(p.t, "unknown option "+k)
			}
		}
		p.rulings(at, p.s.Offer(at, c, nil))
	case "withdraw":
		rule, inst := ruleOf(args[0])
		p.rulings(at, p.s.Withdraw(rule, inst, at, nil))
	case "reword":
		rule, inst := ruleOf(args[0])
		anew := Phrase{}
		if args[1] != "none" {
			anew = Phrase{strings.Join(args[2:], " "), p.number(args[1])}
		}
		p.anew[fmt.Sprintf("%s/%d", rule, inst)] = anew
	case "keep", "release":
		rule, inst := ruleOf(args[0])
		p.kept[fmt.Sprintf("%s/%d", rule, inst)] = verb == "keep"
	case "busy":
		p.sit.Busy = on
	case "most":
		p.sit.MostRoom = p.number(args[0])
	case "brake":
		p.brake = p.number(args[0])
	case "room":
		p.brake = math.NaN()
	case "corner":
		p.sit.Corner = on
	case "standing":
		p.sit.Standing = on
	case "lap":
		p.line = at
		p.s.LapBegun(at)
	case "mute":
		p.s.Mute(at, p.number(args[0]))
	case "unmute":
		p.s.Unmute()
	case "repeat":
		rs, ok := p.s.Repeat(at, nil)
		p.rulings(at, rs)
		if !ok {
			fmt.Fprintf(&p.out, "%.2f nothing to repeat\n", at)
		}
	case "end":
		p.rulings(at, p.s.Flush(at, nil))
	default:
		require.Fail(p.t, "unknown action "+verb)
	}
}

// parsePriority reads what String writes.
func parsePriority(s string) (Priority, error) {
	for i, n := range priorityNames {
		if n == s {
			return Priority(i), nil
		}
	}
	return 0, fmt.Errorf("unknown priority %q: it is one of %s", s, strings.Join(priorityNames[:], ", "))
}

// parseWhere reads what String writes.
func parseWhere(s string) (Where, error) {
	for i, n := range whereNames {
		if n == s {
			return Where(i), nil
		}
	}
	return 0, fmt.Errorf("unknown place %q: it is one of %s", s, strings.Join(whereNames[:], ", "))
}
