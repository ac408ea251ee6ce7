package journal

import "strings"

// A Finding is what the car showed in a pass through a corner. It is written as a code, kind first:
// understeer_mid_corner, oversteer_turn_in, locking_fl, wheelspin_rear. Words for it are the reader's business.
type Finding struct {
	Kind  FindingKind
	Phase Phase  // of understeer and oversteer
	Place string // of locking a wheel (fl, fr, rl, rr), of wheelspin an axle (front, rear)
}

// A FindingKind says what the car did.
type FindingKind string

// The kinds of findings.
const (
	Understeer FindingKind = "understeer"
	Oversteer  FindingKind = "oversteer"
	Locking    FindingKind = "locking"
	Wheelspin  FindingKind = "wheelspin"
)

// A Phase is the part of a corner in which the car did it.
type Phase string

// Phases lists the phases in the order of driving.
var Phases = [4]Phase{"braking", "turn_in", "mid_corner", "exit"}

// AllFindings lists every finding in a fixed order: by kind, then by phase, wheel or axle.
var AllFindings = func() (all []Finding) {
	for _, kind := range []FindingKind{Understeer, Oversteer} {
		for _, phase := range Phases {
			all = append(all, Finding{Kind: kind, Phase: phase})
		}
	}
	for _, wheel := range []string{"fl", "fr", "rl", "rr"} {
		all = append(all, Finding{Kind: Locking, Place: wheel})
	}
	return append(all, Finding{Kind: Wheelspin, Place: "front"}, Finding{Kind: Wheelspin, Place: "rear"})
}()

// String returns the code.
func (f Finding) String() string {
	code := string(f.Kind)
	for _, part := range []string{string(f.Phase), f.Place} {
		if part != "" {
			code += "_" + part
		}
	}
	return code
}

// ParseFinding reads a code, or the words of journals written before there were codes: "mid-corner understeer", "front
// left locking". A code that is not known, of a later version, is kept whole as a kind of its own, with ok false.
func ParseFinding(code string) (f Finding, ok bool) {
	for _, f := range AllFindings {
		if code == f.String() || code == f.earlierWords() {
			return f, true
		}
	}
	return Finding{Kind: FindingKind(code)}, false
}

// earlierWords are what the finding was called in journals written before there were codes.
func (f Finding) earlierWords() string {
	place := strings.ReplaceAll(string(f.Phase), "_", "-") + f.Place
	if wheel, ok := earlierWheels[f.Place]; ok {
		place = wheel
	}
	return place + " " + string(f.Kind)
}

var earlierWheels = map[string]string{"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right"}

// MarshalText writes the code.
func (f Finding) MarshalText() ([]byte, error) { return []byte(f.String()), nil }

// UnmarshalText reads what ParseFinding reads and refuses nothing: an unknown finding is no reason to lose a pass.
func (f *Finding) UnmarshalText(b []byte) error {
	*f, _ = ParseFinding(string(b))
	return nil
}
