package demo

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"earshot/assistant/channel"
)

// usual are amounts of the kinds that are plain to see.
var usual = map[Kind]float64{
	Understeer: 0.35, Oversteer: 0.35, RunWide: 1.5, BlockedDuct: 0.3, Lock: 1.4, Spin: 1.4, Leak: 6, Silence: 5, Yellow: 0.3, Caution: 120,
	Save: 60, Radiator: 0.45, OilLoss: 0.7, Bottoming: 0.06, Wear: 0.01, Uneven: 0.04,
}

// ParseFault reads a fault written as KIND[:WHEEL or CHANNEL][=AMOUNT]@LAP[-LAP][.CORNER], such as
//
//	lock:fl=1.4@3.4                the front left wheel locks in lap 3 into corner 4
//	understeer@4-6.3               corner 3 washes out in laps 4 to 6, by the usual amount
//	frozen:tyre_pressure_rl@5.2    that reading stands still from the exit of corner 2 of lap 5 on
//
// The error is an *OptionError. Whether there is such a corner, and whether the amount can be, New tells.
func ParseFault(text string) (Fault, error) {
	var f Fault
	bad := func(format string, args ...any) (Fault, error) {
		return Fault{}, &OptionError{"fault " + strconv.Quote(text), fmt.Sprintf(format, args...), "write KIND[:WHEEL or CHANNEL][=AMOUNT]@LAP[-LAP][.CORNER], such as lock:fl=1.4@3.4"}
	}
	what, where, ok := strings.Cut(text, "@")
	if !ok {
		return bad("the lap is missing")
	}
	what, amount, given := strings.Cut(what, "=")
	kind, of, _ := strings.Cut(what, ":")
	f.Kind = Kind(kind)
	if _, _, ok := f.Kind.amounts(); !ok {
		return bad("there is no kind %q: it is one of %s", kind, strings.Join(kindNames(), ", "))
	}
	needs := slices.Contains([]Kind{BlockedDuct, Lock, Spin, Leak}, f.Kind)
	switch {
	case f.Kind == Frozen:
		f.Channel = of
	case needs:
		i := slices.IndexFunc([]channel.Wheel{channel.FL, channel.FR, channel.RL, channel.RR}, func(w channel.Wheel) bool { return w.Suffix() == of })
		if i < 0 {
			return bad("the wheel is %q: use fl, fr, rl or rr", of)
		}
		f.Wheel = channel.Wheel(i)
	case of != "":
		return bad("%s belongs to no wheel and no channel", kind)
	}
	if f.Amount = usual[f.Kind]; given {
		x, err := strconv.ParseFloat(amount, 64)
		if err != nil {
			return bad("the amount is %q, which is no number", amount)
		}
		f.Amount = x
	}
	laps, corner, at := strings.Cut(where, ".")
	from, to, several := strings.Cut(laps, "-")
	for _, n := range []struct {
		given bool
		text  string
		what  string
		to    *int
	}{{true, from, "lap", &f.FromLap}, {several, to, "last lap", &f.ToLap}, {at, corner, "corner", &f.Corner}} {
		if !n.given {
			continue
		}
		x, err := strconv.ParseUint(n.text, 10, 20)
		if err != nil {
			return bad("the %s is %q, which is no number", n.what, n.text)
		}
		*n.to = int(x)
	}
	return f, nil
}

// kindNames lists the kinds of faults.
func kindNames() []string {
	return []string{
		string(Understeer), string(Oversteer), string(RunWide), string(BlockedDuct), string(Lock), string(Spin), string(Leak), string(SetABS), string(SetTC),
		string(Silence), string(Yellow), string(Caution), string(Save), string(Radiator), string(OilLoss), string(Bottoming), string(Wear), string(Uneven), string(Frozen),
	}
}
