package store

import (
	"fmt"
	"strings"
	"time"

	"earshot/assistant/course"
)

// A Keeper saves the courses of one session as they get better, on a goroutine of its own: Keep never waits for the disk.
type Keeper struct {
	folder string
	about  course.Saved // feed and car
	now    func() time.Time
	tell   func(saved Entry, fresh bool, err error)

	next chan *course.Map // holds the newest only
	done chan struct{}

	// Of the goroutine:
	known []Entry
	given map[*course.Map]string // names that were given to learned maps, by the first of them
}

// Keep a session's courses in folder. known are the courses that it has (as List returned them), feed and car are written beside what is saved.
// tell, which may be nil, is called on the Keeper's goroutine after each writing; fresh tells that the course was not there before.
func NewKeeper(folder string, known []Entry, feed, car string, now func() time.Time, tell func(saved Entry, fresh bool, err error)) *Keeper {
	k := &Keeper{
		folder: folder, about: course.Saved{Feed: feed, Car: car}, now: now, tell: tell, known: known,
		next: make(chan *course.Map, 1), done: make(chan struct{}), given: map[*course.Map]string{},
	}
	go k.run()
	return k
}

// Keep takes a map that is new or better. It returns at once; a map that has not been written yet gives way. For one goroutine.
func (k *Keeper) Keep(m *course.Map) {
	for {
		select {
		case k.next <- m:
			return
		default:
		}
		select {
		case <-k.next:
		default:
		}
	}
}

// Close writes what is left and ends the goroutine.
func (k *Keeper) Close() {
	close(k.next)
	<-k.done
}

func (k *Keeper) run() {
	defer close(k.done)
	for m := range k.next {
		e, fresh, err := k.save(m)
		if k.tell != nil {
			k.tell(e, fresh, err)
		}
	}
}

// save writes m over the saved course that it is, or as a new one.
func (k *Keeper) save(m *course.Map) (e Entry, fresh bool, err error) {
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

// same tells whether m is the course that was saved.
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
