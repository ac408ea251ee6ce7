package condition

import (
	"fmt"
	"math"

	"earshot/assistant/channel"
)

// What has to be learned. The amounts are those of slip.go, balance.go and trend.go.
var (
	slipLesson = [2]channel.Lesson{ // by axle
		{Code: "slip_front", From: "5 s on straights off the brakes"},
		{Code: "slip_rear", From: "5 s on straights off the brakes"},
	}
	balanceLesson = channel.Lesson{Code: "balance", From: "20 s of steady driving in bends and on straights"}
	fadeLesson    = channel.Lesson{Code: "brake_effect", From: "three warm braking events at a place, then three flying laps"}
	warmUpLesson  = channel.Lesson{Code: "warm_up", From: "three laps that warm the tyres"}
)

// Declarations says what this package computes, and from what.
func Declarations() []channel.Declaration {
	type ids = []channel.ID
	line := channel.All(channel.LapCompleted)
	braking := channel.AnyOf(channel.Brake, channel.BrakeLineFront, channel.BrakeLineRear, channel.AccelerationLong, channel.Speed)
	window := channel.Need{channel.Of().With(channel.CarKey("tyre_low"))}
	touch := channel.Need{
		channel.Of(channel.RideHeight).With(channel.CarKey("ride_height_low")), channel.Of(channel.SuspensionTravel).With(channel.CarKey("travel_stop")),
	}
	locks := func(w channel.ID) []channel.Need {
		return []channel.Need{channel.All(channel.WheelSlip + w), braking, {channel.Of().With(channel.CarKey("slip_lock"))}}
	}
	list := []channel.Declaration{
		{Channels: ids{channel.BrakeEvents}, Needs: []channel.Need{braking}},
		{Channels: ids{channel.TyresReady}, Needs: []channel.Need{channel.All(channel.Four(channel.TyreCore)...), window}},
		{Channels: ids{channel.TyreLapsToReady, channel.TyresNeverReady}, Seldom: true, Lesson: &warmUpLesson,
			Needs: []channel.Need{channel.All(channel.Four(channel.TyreCoreMean)...), window}},
		{Channels: ids{channel.Balance}, Lesson: &balanceLesson, Needs: []channel.Need{
			channel.All(channel.Speed), channel.AnyOf(channel.YawRate, channel.AccelerationLat),
			channel.AnyOf(channel.RoadWheelAngle, channel.SteeringWheelAngle),
		}},
	}
	corner := channel.All(channel.CornerHere)
	surface := channel.Of(channel.Compound, channel.TrackTemperature).With(channel.CarKey("compounds"))
	distance := channel.Of(channel.Compound, channel.LapsToGo).With(channel.CarKey("compounds"))
	list = append(list,
		channel.Declaration{Channels: ids{channel.BrakeFade}, Seldom: true, Lesson: &fadeLesson,
			Needs: []channel.Need{channel.AnyOf(channel.Brake, channel.BrakeLineFront), channel.All(channel.Speed), corner, line}},
		channel.Declaration{Channels: ids{channel.CompoundFit}, Seldom: true, Needs: []channel.Need{{surface, distance}}})
	for _, x := range []struct {
		found channel.ID
		about ids // where it was
		needs []channel.Need
	}{
		{channel.UndersteerFound, ids{channel.UndersteerCorner, channel.UndersteerPhase}, []channel.Need{channel.All(channel.Balance), {channel.Of().With(channel.CarKey("balance_limit"))}}},
		{channel.OversteerFound, ids{channel.OversteerCorner, channel.OversteerPhase}, []channel.Need{channel.All(channel.Balance), {channel.Of().With(channel.CarKey("balance_limit"))}}},
		{channel.WheelspinFoundFront, ids{channel.WheelspinCornerFront}, []channel.Need{channel.All(channel.WheelSlip, channel.WheelSlip+1), {channel.Of().With(channel.CarKey("slip_spin"))}}},
		{channel.WheelspinFoundRear, ids{channel.WheelspinCornerRear}, []channel.Need{channel.All(channel.WheelSlip+2, channel.WheelSlip+3), {channel.Of().With(channel.CarKey("slip_spin"))}}},
		{channel.LimiterFound, ids{channel.LimiterCorner, channel.LimiterTime}, []channel.Need{channel.All(channel.EngineSpeed), {channel.Of().With(channel.CarKey("limiter_speed"))}}},
		{channel.BottomingFound, ids{channel.BottomingCorner}, []channel.Need{channel.All(channel.Speed), touch}},
		{channel.GearLowFound, ids{channel.GearLowCorner, channel.GearLow}, []channel.Need{channel.All(channel.Gear)}},
		{channel.LockingFound, ids{channel.LockingCorner}, locks(0)},
		{channel.LockingFound + 1, ids{channel.LockingCorner + 1}, locks(1)},
		{channel.LockingFound + 2, ids{channel.LockingCorner + 2}, locks(2)},
		{channel.LockingFound + 3, ids{channel.LockingCorner + 3}, locks(3)},
	} {
		needs := append(x.needs, corner)
		list = append(list, channel.Declaration{Channels: ids{x.found}, Momentary: true, Resting: true, Needs: needs},
			channel.Declaration{Channels: x.about, Seldom: true, Needs: needs})
	}
	for i, id := range aidChannels {
		set, start := channel.ABSSet+channel.ID(i), channel.ABSStart+channel.ID(i)
		list = append(list, channel.Declaration{Channels: ids{set, start}, Needs: []channel.Need{channel.All(id)}})
	}
	for w := range channel.ID(4) {
		list = append(list,
			channel.Declaration{Channels: ids{channel.TyreCore + w}, Needs: []channel.Need{channel.AnyOf(channel.TyreCarcass+w,
				channel.TyreTemperature+w, channel.TyreTempInner+w, channel.TyreTempMiddle+w, channel.TyreTempOuter+w)}},
			channel.Declaration{Channels: ids{channel.TyreCoreCalm + w}, Needs: []channel.Need{channel.All(channel.TyreCore + w)}},
			channel.Declaration{Channels: ids{channel.TyreCoreRise + w}, Needs: []channel.Need{channel.All(channel.TyreCoreMean + w)}},
			channel.Declaration{Channels: ids{channel.TyreLoss + w}, Needs: []channel.Need{withTwoOthers(channel.TyrePressure, w)}},
			channel.Declaration{Channels: ids{channel.TyreEdge + w, channel.TyreEdgeSide + w},
				Needs: []channel.Need{channel.All(channel.TyreTempInner+w, channel.TyreTempOuter+w), line}},
			channel.Declaration{Channels: ids{channel.TyreCoreMean + w}, Needs: []channel.Need{channel.All(channel.TyreCore + w), line}},
			channel.Declaration{Channels: ids{channel.TyrePressureMean + w}, Needs: []channel.Need{channel.All(channel.TyrePressure + w), line}},
			channel.Declaration{Channels: ids{channel.TyrePressureRise + w}, Needs: []channel.Need{channel.All(channel.TyrePressureMean + w)}},
			channel.Declaration{Channels: ids{channel.BrakePeak + w}, Needs: []channel.Need{channel.All(channel.BrakeTemperature + w), braking}},
			channel.Declaration{Channels: ids{channel.BrakePeakMean + w}, Needs: []channel.Need{channel.All(channel.BrakePeak + w), line}},
		)
	}
	for axle := range channel.ID(2) {
		left, right := 2*axle, 2*axle+1
		both := func(fl channel.ID) []channel.Need { return []channel.Need{channel.All(fl+left, fl+right)} }
		list = append(list,
			channel.Declaration{Channels: ids{channel.TyreSpreadFront + axle}, Needs: both(channel.TyreCoreMean)},
			channel.Declaration{Channels: ids{channel.TyreShortFront + axle}, Needs: append(both(channel.TyreCore), window)},
			channel.Declaration{Channels: ids{channel.BrakePeakFront + axle}, Needs: both(channel.BrakePeak)},
			channel.Declaration{Channels: ids{channel.BrakeSpreadFront + axle}, Needs: both(channel.BrakePeakMean)},
			channel.Declaration{Channels: ids{channel.WheelSlip + left, channel.WheelSlip + right}, Lesson: &slipLesson[axle],
				Needs: append(both(channel.WheelSpeed), channel.All(channel.Speed))},
		)
	}
	return list
}

// withTwoOthers is a need for the channel of a wheel and those of two of the others, of which fl is the front left one.
func withTwoOthers(fl, w channel.ID) channel.Need {
	a, b, c := fl+(w+1)%4, fl+(w+2)%4, fl+(w+3)%4
	return channel.Need{channel.Of(fl+w, a, b), channel.Of(fl+w, a, c), channel.Of(fl+w, b, c)}
}

// Progress says how far the learning of what a Lesson names has come, for a session in which it was never learned; empty for what is
// not learned here.
func (c *Condition) Progress(code string) string {
	switch code {
	case slipLesson[0].Code, slipLesson[1].Code:
		axle := 0
		if code == slipLesson[1].Code {
			axle = 1
		}
		had := max(c.slip.light[axle].n, c.slip.any[axle].n)
		return fmt.Sprintf("%.1f of %.0f s on straights off the brakes", float64(had)*learnEvery, radiusSamples*learnEvery)
	case balanceLesson.Code:
		b := &c.balance
		if math.IsNaN(b.wheelbase) || b.geometry.n > 0 && !b.measured {
			return fmt.Sprintf("%.0f of %.0f s of steady driving in slow and quick bends, or wheelbase and steering ratio in the car file",
				float64(b.geometry.n)*learnEvery, geometryLeast*learnEvery)
		}
		if b.hardN < taughtEnough {
			return fmt.Sprintf("%.1f of %.0f s of steady driving", float64(b.hardN)*learnEvery, taughtEnough*learnEvery)
		}
		return "bends of different load, or wheelbase and steering ratio are not this car's"
	}
	return ""
}
