package ledger

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
)

func sprintf(format string, x ...any) string { return fmt.Sprintf(format, x...) }

// fuel judges calls about the tank by the laps that really were to go and what flying laps really burnt.
func (o *outcome) fuel(c *said, t float64) judgement {
	n := o.lapAt(t)
	left, burn := o.aboard(n), o.burnt(n)
	toGo := o.toGo(n)
	carries := left / burn
	margin := carries - toGo - o.car.ReserveLaps - o.car.ReserveVolume/burn
	const doubt = 0.35 // laps of a call that is right all the same: the driver does not drive the rest as before
	switch c.Rule {
	case "fuel-left":
		return check(near(c.Text, o.at(t).row[channel.FuelVolume]/burn, 0.5), "%.1f laps", carries)
	case "fuel-box":
		if math.Floor(carries) > 1.2 || carries >= toGo {
			return notSo(sprintf("fuel for %.1f laps, %g to go", carries, toGo))
		}
		return fine
	case "stop-window", "fuel-saving", "fuel-on-target":
		if margin > 1 && o.burntFlatOut(n) == burn {
			return notSo("nothing to save")
		}
		return fine
	case "fuel-good", "fuel-good-saving":
		if margin < -doubt {
			return notSo(sprintf("%.2f laps short", -margin))
		}
		if c.Rule == "fuel-good-saving" {
			return fine
		}
		return check(len(numbers(c.Text)) == 0 || near(c.Text, margin, 0.6) || margin > 3, "%.2f laps over", margin)
	case "fuel-marginal":
		if math.Abs(margin) > 2 { // three laps of a tank that sloshes tell no better
			return notSo(sprintf("%.2f laps over", margin))
		}
		return fine
	case "fuel-stop":
		if margin > -0.5 {
			return notSo(sprintf("%.2f laps over", margin))
		}
		return fine
	}
	if margin > doubt {
		return notSo(sprintf("%.2f laps over", margin))
	}
	return check(len(numbers(c.Text)) < 2 || near(c.Text, -margin, 0.6), "%.2f laps short", -margin)
}

// aboard is what was in the tank when a lap began.
func (o *outcome) aboard(lap int) float64 {
	if lap > 0 && lap-1 < len(o.truth.Done) {
		return o.truth.Done[lap-1].FuelLeft
	}
	return o.truth.Fuel
}

// burnt is what the flying laps up to a lap took, the latest three: as the car is driven.
func (o *outcome) burnt(lap int) float64 {
	s, n := 0.0, 0.0
	for k := min(lap, len(o.truth.Done)) - 1; k > 0 && n < 3; k-- {
		if l := o.truth.Done[k]; l.Class == "flying" {
			s, n = s+l.FuelUsed, n+1
		}
	}
	return s / n
}

func (o *outcome) burntFlatOut(lap int) (most float64) {
	for k := 1; k < min(lap, len(o.truth.Done)); k++ {
		most = max(most, o.truth.Done[k].FuelUsed)
	}
	if b := o.burnt(lap); b > most*0.985 {
		return b
	}
	return most
}

// toGo is how many crossings of the line were to come for this car when a lap began.
func (o *outcome) toGo(lap int) float64 {
	last := o.truth.Laps
	if o.truth.Finished > 0 {
		last = o.truth.Finished
	}
	return float64(last - lap + 1)
}
