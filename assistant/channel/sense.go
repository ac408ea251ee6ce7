package channel

import (
	"slices"
	"strings"
)

// A Sense says what the readings of a sensor must and cannot do, so that one that does not measure can be told from
// one that does. All values are common practice, no source.
type Sense struct {
	Spoken string  // the name as the driver hears it, without the wheel
	Stir   float64 // what it moves by at the least while the car is driven for Frozen seconds; 0: it may stand still
	Frozen float64 // s of the car moving after which an unchanged reading counts as frozen
	Alone  bool    // its standing still is proof without another sensor that moves
	Jump   float64 // the most that two readings differ by however soon they follow one another; 0: any
	Slew   float64 // what is allowed on top of Jump, per second
	NoZero bool    // exactly 0 cannot be
	Kin    []ID    // other channels that move when it does, besides those of the other wheels
}

const frozenAfter = 20.0 // s

// senses are by the channel of the front left wheel, or the channel itself.
var senses = func() map[ID]*Sense {
	tread := Sense{Stir: 2, Frozen: frozenAfter, Alone: true, Jump: 12, Slew: 25, NoZero: true}
	moves := func(stir float64, kin ...ID) Sense { return Sense{Stir: stir, Frozen: frozenAfter, Kin: kin} }
	named := func(s Sense, spoken string) *Sense { s.Spoken = spoken; return &s }
	return map[ID]*Sense{
		TyreTemperature:    named(tread, "tyre temperature"),
		TyreTempInner:      named(tread, "tyre inner temperature"),
		TyreTempMiddle:     named(tread, "tyre middle temperature"),
		TyreTempOuter:      named(tread, "tyre outer temperature"),
		TyreCarcass:        named(Sense{Stir: 0.5, Frozen: frozenAfter, Alone: true, Jump: 5, Slew: 5, NoZero: true}, "tyre carcass temperature"),
		TyrePressure:       named(Sense{Stir: 0.5, Frozen: frozenAfter, Alone: true, Jump: 15, Slew: 5, NoZero: true}, "tyre pressure"),
		BrakeTemperature:   named(Sense{Stir: 10, Frozen: frozenAfter, Alone: true, Jump: 50, Slew: 400, NoZero: true}, "brake temperature"),
		WheelSpeed:         named(moves(1), "wheel speed"),
		SuspensionTravel:   named(moves(0.003), "suspension travel"),
		RideHeight:         named(moves(0.003), "ride height"),
		Speed:              named(moves(2, WheelSpeed, WheelSpeed+1, WheelSpeed+2, WheelSpeed+3), "speed"),
		YawRate:            named(moves(0.1, AccelerationLat, SteeringWheelAngle), "yaw rate"),
		AccelerationLat:    named(moves(2.5, YawRate, SteeringWheelAngle), "lateral acceleration"),
		SteeringWheelAngle: named(moves(0.3, YawRate, AccelerationLat), "steering angle"),
		FuelVolume:         {Spoken: "fuel", Jump: 5, Slew: 5},
		FuelMass:           {Spoken: "fuel", Jump: 4, Slew: 4},
		OilTemperature:     {Spoken: "oil temperature", Jump: 10, Slew: 5},
		CoolantTemperature: {Spoken: "coolant temperature", Jump: 10, Slew: 5},
		OilPressure:        {Spoken: "oil pressure"},
		EngineSpeed:        {Spoken: "engine speed"},
	}
}()

// Sensed lists the channels that have a Sense, those of wheels by their front left one, in the order of the catalogue.
func Sensed() []ID {
	var ids []ID
	for id := range senses {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

// SenseOf returns the Sense of a channel that Sensed lists.
func SenseOf(id ID) *Sense { return senses[id] }

// PerWheel tells whether id is the front left one of four channels.
func PerWheel(id ID) bool { return strings.HasSuffix(catalogue[id].Name, "_"+wheelSuffix[FL]) }

// groups are the wheels that have one name together, by the bits of their numbers, the largest first.
var groups = []struct {
	wheels uint8
	spoken string
}{
	{0b1111, "all four"}, {0b0011, "front"}, {0b1100, "rear"}, {0b0101, "left side"}, {0b1010, "right side"},
	{0b0001, "front left"}, {0b0010, "front right"}, {0b0100, "rear left"}, {0b1000, "rear right"},
}

// sensorNames lists what the driver hears of sensors: "front left tyre temperature", "all four tyre pressures".
var sensorNames = func() []string {
	list := []string{"none"}
	for _, id := range Sensed() {
		spoken := senses[id].Spoken
		if !PerWheel(id) {
			list = append(list, spoken)
			continue
		}
		for _, g := range groups {
			name := g.spoken + " " + spoken
			if g.wheels&(g.wheels-1) != 0 {
				name += "s"
			}
			list = append(list, name)
		}
	}
	return list
}()

// SensorName returns the number among the labels of FrozenChannel that names the most of these channels at once, and
// which those are. ids are not empty, and each has a Sense.
func SensorName(ids []ID) (label float64, named []ID) {
	n := 1
	for _, id := range Sensed() {
		if !PerWheel(id) {
			if slices.Contains(ids, id) {
				return float64(n), []ID{id}
			}
			n++
			continue
		}
		for _, g := range groups {
			named = named[:0]
			for w := range ID(4) {
				if g.wheels>>w&1 == 1 {
					named = append(named, id+w)
				}
			}
			if !slices.ContainsFunc(named, func(id ID) bool { return !slices.Contains(ids, id) }) {
				return float64(n), named
			}
			n++
		}
	}
	return 0, nil
}
