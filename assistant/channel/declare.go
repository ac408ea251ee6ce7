package channel

import (
	"slices"
	"strings"
)

// A Fact is what a stage needs besides channels: a key of a file, or something kept from earlier sessions.
type Fact string

// The facts besides those of the car file.
const (
	PitGates    Fact = "pit gates in the course file"
	SectorEnds  Fact = "sectors in the course file"
	RoadWidth   Fact = "width in the course file"
	EarlierBest Fact = "bests of other sessions"
)

const inCarFile = " in the car file"

// CarKey is the fact that the car file has that key, such as "wheelbase" or "fuel: density"; a limit has to be known
// at every wheel.
func CarKey(key string) Fact { return Fact(key + inCarFile) }

// CarKey returns the key of the car file that f stands for, or false.
func (f Fact) CarKey() (string, bool) { return strings.CutSuffix(string(f), inCarFile) }

// A Lesson is something that a stage has to learn from the driving before it can tell anything.
type Lesson struct {
	Code string // for the journal: slip, balance, course …
	From string // from what and after how much, for people: "10 s of gentle driving on a straight"
}

// A Source is one way to come by what a Need asks for: all of these channels and facts.
type Source struct {
	Channels []ID
	Facts    []Fact
	Lesson   *Lesson // that this way takes, nil: none
}

// Of is the source that is all of these channels.
func Of(ids ...ID) Source { return Source{Channels: ids} }

// With adds facts to a source.
func (s Source) With(facts ...Fact) Source {
	s.Facts = facts
	return s
}

// A Need is met by any one of its sources.
type Need []Source

// All is a Need for each of these channels.
func All(ids ...ID) Need { return Need{Of(ids...)} }

// AnyOf is a need for one of these channels.
func AnyOf(ids ...ID) Need {
	var n Need
	for _, id := range ids {
		n = append(n, Of(id))
	}
	return n
}

// Four lists the channels of the four wheels, of which fl is the first.
func Four(fl ID) []ID { return []ID{fl, fl + 1, fl + 2, fl + 3} }

// A Declaration says of channels that a stage computes what it needs for them and when they become known. The
// vocabulary of the rules, check and the debrief read the declarations; a test holds them against what the stages do.
type Declaration struct {
	Channels  []ID
	Needs     []Need // all of them
	Lesson    *Lesson
	Momentary bool // 1 at one sample and 0 otherwise
	Resting   bool // 0 from the first sample on, also where its needs are not met: nothing of the kind has happened
	Seldom    bool // not every drive brings a value
}

// A Knowledge is what declarations are judged by: what the feed and the files give.
type Knowledge struct {
	set      *Set
	covered  []bool
	facts    map[Fact]bool
	declared map[ID]*Declaration
}

// NewKnowledge returns a Knowledge of a feed that gives these channels.
func NewKnowledge(set *Set, covered []ID, declared []Declaration) *Knowledge {
	k := &Knowledge{set: set, covered: make([]bool, set.Len()), facts: map[Fact]bool{}, declared: map[ID]*Declaration{}}
	for _, id := range covered {
		k.covered[id] = true
	}
	for i := range declared {
		for _, id := range declared[i].Channels {
			k.declared[id] = &declared[i]
		}
	}
	return k
}

// Give tells that a fact is there.
func (k *Knowledge) Give(f Fact) { k.facts[f] = true }

// Declared returns the declaration of a computed channel, or nil.
func (k *Knowledge) Declared(id ID) *Declaration { return k.declared[id] }

// Available tells whether a channel can come to be known.
func (k *Knowledge) Available(id ID) bool {
	if k.set.At(id).Origin != Computed {
		return k.covered[id]
	}
	d := k.declared[id]
	return d != nil && !slices.ContainsFunc(d.Needs, func(n Need) bool { return k.source(n) == nil })
}

func (k *Knowledge) source(n Need) *Source {
	for i := range n {
		if k.has(&n[i]) {
			return &n[i]
		}
	}
	return nil
}

func (k *Knowledge) has(s *Source) bool {
	return !slices.ContainsFunc(s.Channels, func(id ID) bool { return !k.Available(id) }) &&
		!slices.ContainsFunc(s.Facts, func(f Fact) bool { return !k.facts[f] })
}

// Lacks lists what a channel lacks to become known, each in a few words; empty where it lacks nothing.
func (k *Knowledge) Lacks(id ID) []string {
	if k.Available(id) {
		return nil
	}
	d := k.declared[id]
	if d == nil {
		return []string{k.set.At(id).Name}
	}
	var list []string
	add := func(words ...string) {
		for _, w := range words {
			if !slices.Contains(list, w) {
				list = append(list, w)
			}
		}
	}
	for _, n := range d.Needs {
		switch {
		case k.source(n) != nil:
		case len(n) == 1:
			for _, id := range n[0].Channels {
				add(k.Lacks(id)...)
			}
			for _, f := range n[0].Facts {
				if !k.facts[f] {
					add(string(f))
				}
			}
		default:
			add(k.ways(n))
		}
	}
	return list
}

// ways lists the ways to meet a need: "lap_number, lap_distance, or position_x and position_y with a gate in the
// course file".
func (k *Knowledge) ways(n Need) string {
	var ways []string
	for _, s := range n {
		var names []string
		for _, id := range s.Channels {
			names = append(names, k.set.At(id).Name)
		}
		way := strings.Join(names, " and ")
		for _, f := range s.Facts {
			way += " with " + string(f)
		}
		ways = append(ways, way)
	}
	last := len(ways) - 1
	if last == 1 {
		return ways[0] + " or " + ways[1]
	}
	return strings.Join(ways[:last], ", ") + ", or " + ways[last]
}

// Lessons lists what has to be learned before a channel that is available becomes known, its sources' lessons first.
func (k *Knowledge) Lessons(id ID) []*Lesson {
	d := k.declared[id]
	if d == nil {
		return nil
	}
	var list []*Lesson
	add := func(lessons ...*Lesson) {
		for _, l := range lessons {
			if l != nil && !slices.Contains(list, l) {
				list = append(list, l)
			}
		}
	}
	for _, n := range d.Needs {
		if s := k.source(n); s != nil {
			for _, id := range s.Channels {
				add(k.Lessons(id)...)
			}
			add(s.Lesson)
		}
	}
	add(d.Lesson)
	return list
}
