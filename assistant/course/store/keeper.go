package store

import (
	"fmt"
	"strings"
	"time"

	"earshot/assistant/course"
)

// A Keeper saves the courses of one session as they get better. It belongs to one goroutine.
type Keeper struct {
	folder string
	about  course.Saved // feed and car
	now    func() time.Time
	known  []Entry
	given  map[*course.Map]string // names that were given to learned maps, by the first of them
}

// NewKeeper returns a Keeper for folder. known are the courses that it has (as List returned them), feed and car are
// written beside what is saved.
func NewKeeper(folder string, known []Entry, feed, car string, now func() time.Time) *Keeper {
	return &Keeper{folder: folder, about: course.Saved{Feed: feed, Car: car}, now: now, known: known,
		given: map[*course.Map]string{}}
}

// Keep writes m over the saved course that it betters, or as a new one; fresh is true where the course is new.
func (k *Keeper) Keep(m *course.Map) (e Entry, fresh bool, err error) {
	s := k.about
	s.Updated = k.now().Format(time.RFC3339)
	named := *m
	s.Map = &named
	name, given := k.given[m.First()]
	for i, e := range k.known {
		if given && e.Name == name || !given && e.Name == m.Name && same(m, e) {
			named.Name = e.Name
			if e, err = write(e.Path, s); err == nil {
				k.known[i] = e
			}
			return k.known[i], false, err
		}
	}
	named.Name = k.freeName(m)
	path, err := free(k.folder, named.Name, "")
	if err != nil {
		return e, true, err
	}
	if e, err = write(path, s); err != nil {
		return e, true, err
	}
	k.given[m.First()] = named.Name
	k.known = append(k.known, e)
	return e, true, nil
}

// same is true where m is the course that was saved.
func same(m *course.Map, e Entry) bool {
	s, err := e.Saved()
	return err == nil && course.Same(m, s.Map)
}

// freeName is the course's own name, or one made of its length, with a number where that is taken.
func (k *Keeper) freeName(m *course.Map) string {
	base := m.Name
	if base == "" {
		base = fmt.Sprintf("course %.0f m", m.Length)
	}
	name := base
	for n := 2; k.taken(name); n++ {
		name = fmt.Sprintf("%s %d", base, n)
	}
	return name
}

func (k *Keeper) taken(name string) bool {
	for _, e := range k.known {
		if strings.EqualFold(e.Name, name) {
			return true
		}
	}
	return false
}
