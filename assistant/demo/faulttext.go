package demo

import (
	"fmt"
	"strconv"
	"strings"

	"earshot/assistant/channel"
)

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
		return Fault{}, &OptionError{"fault " + strconv.Quote(text), fmt.Sprintf(format, args...),
			"write KIND[:WHEEL or CHANNEL][=AMOUNT]@LAP[-LAP][.CORNER], such as lock:fl=1.4@3.4"}
	}
	what, where, ok := strings.Cut(text, "@")
	if !ok {
		return bad("the lap is missing")
	}
	what, amount, given := strings.Cut(what, "=")
	name, of, _ := strings.Cut(what, ":")
	k, ok := kindOf(Kind(name))
	if !ok {
		var names []string
		for _, k := range kinds {
			names = append(names, string(k.Kind))
		}
		return bad("there is no kind %q: it is one of %s", name, strings.Join(names, ", "))
	}
	f.Kind, f.Amount = k.Kind, k.usual
	switch {
	case k.Kind == Frozen:
		f.Channel = of
	case k.wheel:
		if f.Wheel, ok = wheelNamed(of); !ok {
			return bad("the wheel is %q: use fl, fr, rl or rr", of)
		}
	case of != "":
		return bad("%s belongs to no wheel and no channel", name)
	}
	if given {
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

// wheelNamed finds a wheel by its letters.
func wheelNamed(letters string) (w channel.Wheel, ok bool) {
	for w := channel.FL; w <= channel.RR; w++ {
		if w.Suffix() == letters {
			return w, true
		}
	}
	return 0, false
}
