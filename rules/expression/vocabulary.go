package expression

import (
	"math"
	"strings"
)

// A Name is one thing that an expression may mention.
type Name struct {
	Index     int      // where its value stands in env
	Quantity  string   // what it measures
	Labels    []string // names of the values 0, 1, 2 … where it is a choice, else nil
	Const     bool     // a constant, such as a limit of the car: Value is used and env is not read
	Value     float64  // if Const, in the unit used inside
	Momentary bool     // an event: 1 at one step and 0 otherwise, such as lap_completed
	Available bool     // false: the feed or the car file does not supply it. A constant of NaN is not available either.
	Why       string   // why it is not available
	Learned   []string // what has to be learned while driving before it has a value: "20 s of gentle driving"
}

// look finds a name. A constant without a value is not available.
func look(voc Vocabulary, name string) (Name, bool) {
	n, ok := voc.Name(name)
	if ok && n.Available && n.Const && math.IsNaN(n.Value) {
		n.Available, n.Why = false, "it has no value"
	}
	return n, ok
}

// A Unit converts a number as people write it: inside = written*Scale + Offset.
type Unit struct {
	Quantity      string
	Scale, Offset float64
}

// A Vocabulary gives the language its names and units. Its answers must not change while a Set is being compiled.
type Vocabulary interface {
	Name(name string) (Name, bool)
	Names() []string
	Unit(spelling string) (Unit, bool)
	// UnitsOf lists the spellings of the units of a quantity, the one used inside first.
	UnitsOf(quantity string) []string
	// Display is the unit in which the driver hears a quantity, and with how many decimals.
	Display(quantity string) (spelling string, decimals int, ok bool)
	// Situations lists what suppress_in may name; the position is the bit in Step's situation.
	Situations() []string
}

// The quantities that the language treats in a special way.
const (
	QNumber    = "number"
	QRatio     = "ratio"
	QTime      = "time"
	QTemp      = "temperature"
	QTempDiff  = "temperature difference"
	QLaps      = "laps"
	qAngle     = "angle"
	QCondition = "condition" // true, false or unknown
	qLabel     = "label"     // a string
	perSecond  = " per second"
	perLap     = " per lap"
	qAny       = "a quantity that is not followed"
	NoQuantity = "" // the type of what could not be checked: further complaints are withheld
)

// ratePer returns the quantity of q per second.
func ratePer(voc Vocabulary, q string) string {
	switch q {
	case QTemp:
		q = QTempDiff
	}
	if us := voc.UnitsOf(q); len(us) > 0 {
		if u, ok := voc.Unit(us[0] + "/s"); ok {
			return u.Quantity
		}
	}
	return q + perSecond
}

// UnitNamed finds a unit, also one per time or per lap that the vocabulary
// does not list, such as K/s, psi/min or s/lap.
func UnitNamed(voc Vocabulary, spelling string) (Unit, bool) {
	if u, ok := voc.Unit(spelling); ok {
		return u, u.Scale != 0
	}
	cut := strings.LastIndexByte(spelling, '/')
	if cut <= 0 {
		return Unit{}, false
	}
	top, ok := voc.Unit(spelling[:cut])
	if !ok || top.Offset != 0 || top.Scale == 0 || top.Quantity == QTemp {
		return Unit{}, false
	}
	under, ok := voc.Unit(spelling[cut+1:])
	if !ok || under.Scale == 0 {
		return Unit{}, false
	}
	switch under.Quantity {
	case QTime:
		return Unit{ratePer(voc, top.Quantity), top.Scale / under.Scale, 0}, true
	case QLaps:
		return Unit{top.Quantity + perLap, top.Scale / under.Scale, 0}, true
	}
	return Unit{}, false
}

// UnitsOf lists the spellings of a quantity, also of one per second or per lap.
func UnitsOf(voc Vocabulary, q string) []string {
	if us := voc.UnitsOf(q); len(us) > 0 {
		return us
	}
	for _, per := range []struct{ tail, unit string }{{perSecond, "/s"}, {perLap, "/lap"}} {
		base, ok := strings.CutSuffix(q, per.tail)
		if !ok {
			continue
		}
		var out []string
		for _, u := range voc.UnitsOf(base) {
			out = append(out, u+per.unit)
		}
		return out
	}
	return nil
}
