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
	NoZero bool    // exactly 0 cannot be, or says that there is no reading
	Kin    []ID    // other channels that move when it does, besides those of the other wheels
	Pair   ID      // the other coordinate of a place, which is frozen only where both are; 0: none
}

const (
	frozenAfter = 20.0 // s
	placeAfter  = 5.0  // s: a place changes with every metre
)

// senses are by the channel of the front left wheel, or the channel itself.
var senses = func() map[ID]*Sense {
	tread := Sense{Stir: 2, Frozen: frozenAfter, Alone: true, Jump: 12, Slew: 25, NoZero: true}
	moves := func(stir float64, kin ...ID) Sense { return Sense{Stir: stir, Frozen: frozenAfter, Kin: kin} }
	motion := []ID{Speed, WheelSpeed, WheelSpeed + 1, EngineSpeed}
	place := func(stir float64, pair ID) *Sense {
		return &Sense{Spoken: "position", Stir: stir, Frozen: placeAfter, NoZero: true, Kin: motion, Pair: pair}
	}
	named := func(s Sense, spoken string) *Sense { s.Spoken = spoken; return &s }
	return map[ID]*Sense{
		TyreTemperature:    named(tread, "tyre temperature"),
		TyreTempInner:      named(tread, "tyre inner temperature"),
		TyreTempMiddle:     named(tread, "tyre middle temperature"),
		TyreTempOuter:      named(tread, "tyre outer temperature"),
		TyreCarcass:        named(Sense{Stir: 0.5, Frozen: frozenAfter, Alone: true, Jump: 5, Slew: 5, NoZero: true}, "tyre carcass temperature"),
		TyrePressure:       named(Sense{Stir: 0.5, Frozen: frozenAfter, Alone: true, Jump: 15, Slew: 5, NoZero: true}, "tyre pressure"),
		BrakeTemperature:   named(Sense{Stir: 10, Frozen: frozenAfter, Alone: true, Jump: 50, Slew: 400, NoZero: true}, "brake temperature"),
		PositionX:          place(40, PositionY),
		PositionY:          place(40, PositionX),
		Latitude:           place(6e-6, Longitude), // rad: 40 m
		Longitude:          place(6e-6, Latitude),
		LapDistance:        place(40, 0),
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
		EngineSpeed:        named(moves(30, Speed, WheelSpeed, WheelSpeed+1, WheelSpeed+2), "engine speed"),
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

// A spokenName is what the driver hears of one sensor, or of several of a kind: "all four tyre pressures".
type spokenName struct {
	text string
	of   []ID
}

// spokenNames lists the names for the sensors of a Sense, those of the most sensors first.
func spokenNames(id ID) (list []spokenName) {
	spoken := senses[id].Spoken
	if !PerWheel(id) {
		return []spokenName{{spoken, []ID{id}}}
	}
	for _, g := range groups {
		n := spokenName{text: g.spoken + " " + spoken}
		for w := range ID(4) {
			if g.wheels>>w&1 == 1 {
				n.of = append(n.of, id+w)
			}
		}
		if len(n.of) > 1 {
			n.text += "s"
		}
		list = append(list, n)
	}
	return list
}

// sensorNames lists what the driver hears of sensors, each once.
var sensorNames = func() []string {
	list := []string{"none"}
	for _, id := range Sensed() {
		for _, n := range spokenNames(id) {
			if !slices.Contains(list, n.text) {
				list = append(list, n.text)
			}
		}
	}
	return list
}()

// SensorName returns the number among the labels of FrozenChannel that names the most of these channels at once, and
// which those are. ids are not empty, and each has a Sense.
func SensorName(ids []ID) (label float64, named []ID) {
	for _, id := range Sensed() {
		for _, n := range spokenNames(id) {
			if slices.ContainsFunc(n.of, func(id ID) bool { return !slices.Contains(ids, id) }) {
				continue
			}
			if pair := senses[id].Pair; pair != 0 && slices.Contains(ids, pair) {
				n.of = append(n.of, pair)
			}
			return float64(slices.Index(sensorNames, n.text)), n.of
		}
	}
	return 0, nil
}
