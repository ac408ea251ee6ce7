package main

import (
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/fuel"
	"earshot/assistant/journal"
)

// A load is the answer of `earshot fuel`; in JSON, volumes are in litres and times in seconds.
type load struct {
	Session string      `json:"session,omitempty"`
	Time    journal.Num `json:"race_time,omitzero"`
	Pace    journal.Num `json:"lap_time,omitzero"`
	PerLap  journal.Num `json:"per_lap"`
	Spread  journal.Num `json:"per_lap_spread,omitzero"`
	Laps    float64     `json:"laps"`
	Load    float64     `json:"load"`
	Reserve float64     `json:"reserve"`
	Aboard  journal.Num `json:"aboard,omitzero"`
	ToAdd   journal.Num `json:"to_add,omitzero"`
	Tank    journal.Num `json:"tank,omitzero"`
	Stops   journal.Num `json:"stops,omitzero"`
	Box     []boxWindow `json:"box,omitempty"`

	measured, extra float64
}

// A boxWindow is the laps at whose end a stop may come.
type boxWindow struct {
	Earliest float64 `json:"earliest"`
	Latest   float64 `json:"latest"`
}

func newFuel() *cobra.Command {
	var laps, extra, reserveLaps float64
	var ref string
	var asJSON bool
	c := &cobra.Command{
		Use:   "fuel",
		Short: "work out what to load for a race, and when to box",
		Long: `Fuel works out the load for a race by laps or by time, and the laps at whose end a stop may come. Give
the burn and the time of a lap in numbers, or take them from the flying laps of a session. Tank and reserve come from
the car file where you do not give them. A race by time ends at the first crossing of the line after the clock has
reached zero; a crossing at that very moment does not count as the last.

` + cautions,
		Example: `  earshot fuel --time "45 min" --lap-time 1:42.4 --per-lap "2.65 l" --reserve "1 l" --tank "60 l"
  earshot fuel --laps 22 --session last --car mycar.yaml
  earshot fuel --time "600 s" --lap-time "95 s" --per-lap "3.1 l" --aboard "20 l"`,
	}
	f := c.Flags()
	f.Float64Var(&laps, "laps", 0, "laps of the race")
	time := quantityFlag(c, "time", channel.Time, `or its time: "45 min", 2:40:00`)
	pace := quantityFlag(c, "lap-time", channel.Time, "of a race lap: 1:42.4 (default: of the session)")
	perLap := quantityFlag(c, "per-lap", channel.Volume, `what a lap burns: "2.65 l" (default: of the session)`)
	f.Float64Var(&extra, "extra-laps", 0, "laps besides, such as a formation lap or one after the clock")
	f.Float64Var(&reserveLaps, "reserve-laps", 0, "laps to be left over at the flag (default: of the car file)")
	reserve := quantityFlag(c, "reserve", channel.Volume, "volume to be left over at the flag (default: of the car "+
		"file)")
	tank := quantityFlag(c, "tank", channel.Volume, "what the tank takes (default: of the car file)")
	aboard := quantityFlag(c, "aboard", channel.Volume, "what is aboard already")
	f.StringVar(&ref, "session", "", `session that tells burn and lap time: an id, "last", a folder or a journal`)
	f.String("car", "", "car file for tank and reserve (default: that of the session)")
	f.BoolVar(&asJSON, "json", false, "for programs")
	addSessionsFlag(c, "folder of the sessions")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, _ []string) error {
		p := fuel.Plan{Laps: laps, ExtraLaps: extra}
		l := load{Spread: journal.Unknown, Aboard: journal.Num(aboard.x), ToAdd: journal.Unknown, extra: extra}
		k, err := r.ReadCar()
		if err != nil {
			return err
		}
		if ref != "" {
			m, own, err := r.Consumption(ref)
			if err != nil {
				return err
			}
			if own != nil && !c.Flags().Changed("car") {
				k = own
			}
			p.PerLap, p.Pace = m.PerLap, m.Pace
			l.Session, l.Spread, l.measured = m.Session, journal.Num(m.Spread), float64(m.Laps)
		}
		p.Tank, p.ReserveLaps, p.ReserveVolume = k.Tank, k.ReserveLaps, k.ReserveVolume
		if f.Changed("reserve-laps") || f.Changed("reserve") { // the driver says it all
			p.ReserveLaps, p.ReserveVolume = reserveLaps, 0
		}
		for flag, to := range map[*quantity]*float64{time: &p.Time, pace: &p.Pace, perLap: &p.PerLap,
			reserve: &p.ReserveVolume, tank: &p.Tank} {
			if flag.text != "" {
				*to = flag.x
			}
		}
		need, err := fuel.Load(p)
		if err != nil {
			return usage(c, "%w", err)
		}
		l.Time, l.Pace, l.PerLap, l.Tank = known(p.Time), known(p.Pace), journal.Num(p.PerLap), journal.Num(p.Tank)
		l.Laps, l.Load, l.Reserve, l.Stops = need.Laps, need.Volume, p.ReserveLaps*p.PerLap+p.ReserveVolume,
			journal.Num(need.Stops)
		for _, w := range need.Box {
			l.Box = append(l.Box, boxWindow(w))
		}
		if !l.Aboard.IsZero() {
			l.ToAdd = max(0, journal.Num(l.Load)-l.Aboard)
		}
		if asJSON {
			return writeJSON(c.OutOrStdout(), l)
		}
		unit := perLap.unit
		if unit.Scale == 0 {
			unit, _ = channel.UnitNamed(r.Units["volume"])
		}
		l.print(c.OutOrStdout(), unit)
		return nil
	})
	return c
}

// known is x where it was given.
func known(x float64) journal.Num {
	if x == 0 {
		return journal.Unknown
	}
	return journal.Num(x)
}

func (l *load) print(w io.Writer, u channel.Unit) {
	v := func(x float64) string { return inUnit(x, u, 2) }
	lap := func(x float64) string { return assembly.Clock(x) }
	var rows [][]string
	add := func(name, format string, args ...any) {
		rows = append(rows, []string{name, fmt.Sprintf(format, args...)})
	}
	race := l.Laps - l.extra
	if t, p := float64(l.Time), float64(l.Pace); !math.IsNaN(t) {
		add("laps", "%g s / %.4g s = %.2f: %g laps; %g if a lap takes %s or less", t, p, t/p, race, race+1,
			lap(math.Floor(t/race*10)/10))
	}
	if l.extra > 0 {
		add("", "and %g more: %g laps", l.extra, l.Laps)
	}
	if l.measured > 0 {
		doubt := 2 * float64(l.Spread) * math.Sqrt(l.Laps+l.Laps*l.Laps/l.measured)
		add("a lap", "%s at full pace, by %.0f flying laps; it may be %s more over the race (two standard deviations)",
			v(float64(l.PerLap)), l.measured, v(doubt))
	}
	if l.measured > 0 && l.measured < 3 {
		add("", "too few laps to trust it: drive three or more")
	}
	add("load", "%g laps × %s + reserve %s = %s", l.Laps, v(float64(l.PerLap)), v(l.Reserve), v(l.Load))
	if over := float64(l.Aboard) - l.Load; over < 0 {
		add("aboard", "%s: short by %s", v(float64(l.Aboard)), v(-over))
	} else if !l.Aboard.IsZero() {
		add("aboard", "%s: %s left over, besides the reserve", v(float64(l.Aboard)), v(over))
	}
	switch {
	case l.Stops.IsZero():
		add("stops", "not known: give --tank")
	case l.Stops == 0:
		add("stops", "none: the tank takes %s", v(float64(l.Tank)))
	}
	for i, b := range l.Box {
		add(fmt.Sprintf("stop %d", i+1), "at the end of lap %g at the earliest, %g at the latest, with a tank of %s "+
			"filled each time", b.Earliest, b.Latest, v(float64(l.Tank)))
	}
	table(w, rows)
}
