package assistant

import (
	"maps"
	"math"
	"strings"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/audio/spoken"
	"earshot/rules"
)

// Situations in which rules can be suppressed, in the order of their bits.
var situations = []string{"pits", "out_lap", "in_lap", "formation", "full_course_caution"}

// The bits of the situations.
const (
	inPits uint64 = 1 << iota
	onOutLap
	onInLap
	inFormation
	underCaution
)

// A Vocabulary is what rules may use: the channels, the car's limits and the units, and which channels this feed can
// give. It implements rules.Vocabulary.
type Vocabulary struct {
	set      *channel.Set
	known    *channel.Knowledge
	limits   map[string]car.Limit
	names    []string
	display  map[channel.Quantity]Display
	language *spoken.Language
}

// A Display is how a driver wants to hear a quantity.
type Display struct {
	Unit     string
	Decimals int
}

// DefaultDisplay is how quantities are spoken where the driver does not choose.
var DefaultDisplay = map[channel.Quantity]Display{
	channel.Pressure:              {"psi", 1},
	channel.Temperature:           {"°C", 0},
	channel.TemperatureDifference: {"K", 0},
	channel.Velocity:              {"km/h", 0},
	channel.Volume:                {"l", 0},
	channel.VolumePerLap:          {"l/lap", 2},
	channel.Laps:                  {"laps", 1},
	channel.Time:                  {"s", 1},
	channel.Ratio:                 {"%", 0},
	channel.Length:                {"m", 0},
	channel.Mass:                  {"kg", 0},
	channel.Angle:                 {"deg", 1},
	channel.None:                  {"number", 0},
}

// NewVocabulary returns the names that rules may use for a feed that covers those channels, with this car and course
// file, either of which may be nil; display overrides DefaultDisplay.
func NewVocabulary(set *channel.Set, covered []channel.ID, k *car.Car, f *course.File,
	display map[channel.Quantity]Display) *Vocabulary {
	v := &Vocabulary{
		set: set, known: knowledge(set, covered, k, f),
		limits:  map[string]car.Limit{},
		names:   set.Names(),
		display: maps.Clone(DefaultDisplay), language: spoken.English,
	}
	if k != nil {
		for _, l := range k.Limits() {
			v.limits[l.Name] = l
			v.names = append(v.names, l.Name)
		}
	}
	maps.Copy(v.display, display)
	return v
}

// Speak sets the language in which values are said. The default is English.
func (v *Vocabulary) Speak(l *spoken.Language) { v.language = l }

// Language is the language in which values are said.
func (v *Vocabulary) Language() *spoken.Language { return v.language }

// KeepBests declares that the bests of all sessions are kept.
func (v *Vocabulary) KeepBests() { v.known.Give(channel.EarlierBest) }

// Name looks a channel or limit up.
func (v *Vocabulary) Name(name string) (rules.Name, bool) {
	if l, ok := v.limits[name]; ok {
		n := rules.Name{Quantity: string(l.Quantity), Const: true, Value: l.Value, Available: !math.IsNaN(l.Value)}
		if !n.Available {
			n.Why = "no " + string(channel.CarKey(l.Key))
		}
		return n, true
	}
	id, ok := v.set.Lookup(name)
	if !ok {
		return rules.Name{}, false
	}
	c := v.set.At(id)
	n := rules.Name{Index: int(id), Quantity: string(c.Quantity), Labels: c.Labels, Available: v.known.Available(id)}
	if d := v.known.Declared(id); d != nil {
		n.Momentary = d.Momentary
	}
	if !n.Available {
		n.Why = "no " + strings.Join(v.known.Lacks(id), ", no ")
		return n, true
	}
	for _, l := range v.known.Lessons(id) {
		n.Learned = append(n.Learned, l.From)
	}
	return n, true
}

// Names lists all channels and limits.
func (v *Vocabulary) Names() []string { return v.names }

// Unit looks a unit up by its spelling.
func (v *Vocabulary) Unit(spelling string) (rules.Unit, bool) {
	u, ok := channel.UnitNamed(spelling)
	return rules.Unit{Quantity: string(u.Quantity), Scale: u.Scale, Offset: u.Offset}, ok
}

// UnitsOf lists the spellings for a quantity.
func (v *Vocabulary) UnitsOf(quantity string) []string {
	return channel.UnitsOf(channel.Quantity(quantity))
}

// Display tells in which unit and with how many decimals the driver hears a quantity.
func (v *Vocabulary) Display(quantity string) (spelling string, decimals int, ok bool) {
	d, ok := v.display[channel.Quantity(quantity)]
	return d.Unit, d.Decimals, ok
}

// Situations lists the situations in which a rule can be suppressed, in the order of the bits that the core sets.
func (v *Vocabulary) Situations() []string { return situations }
