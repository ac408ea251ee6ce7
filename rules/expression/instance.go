package expression

import (
	"slices"
)

// An Instance is one of the wheels, axles or sides that a rule is multiplied
// by, or the rule itself.
type Instance struct {
	Suffix string
	Wheel  string   // its code, "" where the instance is no wheel
	Axle   string   // front or rear, "" where it has none
	Side   string   // left or right, "" where it has none
	wheels []string // suffixes that a glob stands for
}

var allWheels = []string{"fl", "fr", "rl", "rr"}

var InstancesOf = map[Each][]Instance{
	Once: {{wheels: allWheels}},
	EachWheel: {
		{"fl", "fl", "front", "left", allWheels},
		{"fr", "fr", "front", "right", allWheels},
		{"rl", "rl", "rear", "left", allWheels},
		{"rr", "rr", "rear", "right", allWheels},
	},
	EachAxle: {
		{"front", "", "front", "", []string{"fl", "fr"}},
		{"rear", "", "rear", "", []string{"rl", "rr"}},
	},
	EachSide: {
		{"left", "", "", "left", []string{"fl", "rl"}},
		{"right", "", "", "right", []string{"fr", "rr"}},
	},
}

// candidates lists what a name may mean for the instance, the most particular first.
func (in *Instance) candidates(name string) []string {
	switch {
	case in.Suffix == "":
		return []string{name}
	case in.Wheel != "":
		return []string{name + "_" + in.Suffix, name + "_" + in.Axle, name}
	}
	return []string{name + "_" + in.Suffix, name}
}

// membersOf returns the instances, as bits, to which a value with the given suffix belongs: that of a wheel to its axle
// and side, that of an axle or side to its wheels. 0 where it belongs to none in particular.
func membersOf(each Each, suffix string) (bits uint64) {
	for i, in := range InstancesOf[each] {
		if suffix == in.Suffix || suffix == in.Axle || suffix == in.Side || in.Wheel == "" &&
			slices.Contains(in.wheels, suffix) {
			bits |= 1 << i
		}
	}
	return bits
}

// An Each says how a rule is multiplied.
type Each string

// The kinds of instance.
const (
	Once      Each = ""
	EachWheel Each = "wheel" // instances fl fr rl rr
	EachAxle  Each = "axle"  // instances front rear
	EachSide  Each = "side"  // instances left right
)
