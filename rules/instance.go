package rules

import (
	"slices"
	"strings"
)

// An instance is one of the wheels, axles or sides that a rule is multiplied
// by, or the rule itself.
type instance struct {
	suffix string
	words  string   // as the driver hears it
	wheel  string   // words for {wheel}, "" where the instance is no wheel
	axle   string   // front or rear, "" where it has none
	side   string   // left or right, "" where it has none
	wheels []string // suffixes that a glob stands for
}

var allWheels = []string{"fl", "fr", "rl", "rr"}

var instancesOf = map[Each][]instance{
	Once: {{wheels: allWheels}},
	EachWheel: {
		{"fl", "front left", "front left", "front", "left", allWheels},
		{"fr", "front right", "front right", "front", "right", allWheels},
		{"rl", "rear left", "rear left", "rear", "left", allWheels},
		{"rr", "rear right", "rear right", "rear", "right", allWheels},
	},
	EachAxle: {
		{"front", "front", "", "front", "", []string{"fl", "fr"}},
		{"rear", "rear", "", "rear", "", []string{"rl", "rr"}},
	},
	EachSide: {
		{"left", "left", "", "", "left", []string{"fl", "rl"}},
		{"right", "right", "", "", "right", []string{"fr", "rr"}},
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

// groups are what several wheels together are called, by the bits of their numbers.
var groups = map[uint64]string{
	0b0011: "front", 0b1100: "rear", 0b0101: "left side", 0b1010: "right side", 0b1111: "all four",
	0b1110: "all but front left", 0b1101: "all but front right", 0b1011: "all but rear left", 0b0111: "all but rear right",
}

// together names several instances in one breath: "front", "all four", "left side",
// "front left and rear right", and nothing for both axles.
func together(each Each, members uint64) string {
	list := instancesOf[each]
	members &= 1<<len(list) - 1
	switch each {
	case EachWheel:
		if s, ok := groups[members]; ok {
			return s
		}
	case EachAxle:
		if members == 0b11 {
			return ""
		}
	case EachSide:
		switch members {
		case 0b01:
			return "left side"
		case 0b10:
			return "right side"
		}
		return "both sides"
	}
	var words []string
	for i, in := range list {
		if members&(1<<i) != 0 {
			words = append(words, in.words)
		}
	}
	return strings.Join(words, " and ")
}

// allTogether lists everything that together can return for each.
func allTogether(each Each) []string {
	var out []string
	for members := uint64(1); members < 1<<len(instancesOf[each]); members++ {
		if s := together(each, members); s != "" {
			out = append(out, s)
		}
	}
	return out
}
