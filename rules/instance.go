package rules

import (
	"slices"
)

// An instance is one of the wheels, axles or sides that a rule is multiplied
// by, or the rule itself.
type instance struct {
	suffix string
	wheel  string   // its code, "" where the instance is no wheel
	axle   string   // front or rear, "" where it has none
	side   string   // left or right, "" where it has none
	wheels []string // suffixes that a glob stands for
}

var allWheels = []string{"fl", "fr", "rl", "rr"}

var instancesOf = map[Each][]instance{
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
func (in *instance) candidates(name string) []string {
	switch {
	case in.suffix == "":
		return []string{name}
	case in.wheel != "":
		return []string{name + "_" + in.suffix, name + "_" + in.axle, name}
	}
	return []string{name + "_" + in.suffix, name}
}

// membersOf tells to which instances a value with the given suffix belongs, as bits: that of a wheel to the wheel's
// axle and side, that of an axle or side to its wheels. 0 where it belongs to none in particular.
func membersOf(each Each, suffix string) (bits uint64) {
	for i, in := range instancesOf[each] {
		if suffix == in.suffix || suffix == in.axle || suffix == in.side || in.wheel == "" && slices.Contains(in.wheels, suffix) {
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
