package assembly

import (
	"fmt"
	"sync/atomic"
	"time"

	"earshot/assistant"
	"earshot/assistant/course"
	"earshot/assistant/course/store"
	"earshot/assistant/health"
	"earshot/assistant/timing"
)

// keep adds the sinks that keep better courses, where Request.Saved was set, and with laps also better laps. end waits
// until all is written. Laps on a course without a name wait until one is saved: they go under its name. ill is told
// when writing begins to fail, and nil when it succeeds again.
func (p *Parts) keep(a *assistant.Assistant, laps bool, ill func(health.Part, error)) (end func()) {
	trouble := func(part health.Part) func(error) {
		troubled := false
		return func(err error) {
			if troubled != (err != nil) {
				troubled = err != nil
				ill(part, err)
			}
		}
	}
	var name atomic.Value // of the course saved last
	name.Store("")
	coursesEnd := func() {}
	if p.folder != "" {
		keeper, saving := store.NewKeeper(p.folder, p.saved, p.FeedName(), p.Car.Name, time.Now),
			trouble(assistant.CoursesPart)
		put, written := latest(func(m *course.Map) {
			e, fresh, err := keeper.Keep(m)
			if err == nil {
				name.Store(e.Name)
			}
			if err == nil && fresh {
				p.tell(fmt.Sprintf("the course is saved as %q; earshot course show %q draws it", e.Name, e.Name))
			}
			saving(err)
		})
		a.Sinks, coursesEnd = append(a.Sinks, assistant.CoursesTo(put)), written
	}
	root, err := p.Config.BestsFolder()
	if !laps || err != nil || root == "" || p.Bests == nil {
		return coursesEnd
	}
	var nameless *timing.Bests
	writing := trouble(assistant.BestsPart)
	write := func(b *timing.Bests) {
		named := *b
		if named.Course == "" {
			named.Course = name.Load().(string)
		}
		if nameless = nil; named.Course == "" {
			nameless = b
		} else {
			writing(writeBests(bestsPath(root, named.Course, p.Car.Name), named.Course, p.Car.Name, &named))
		}
	}
	put, written := latest(write)
	a.Sinks = append(a.Sinks, assistant.BestsTo(put))
	return func() {
		coursesEnd()
		written()
		if nameless != nil {
			write(nameless)
		}
	}
}

// latest calls write, on a goroutine of its own, with the values given to put. put returns at once: a newer value
// replaces one that waits. end waits for the last.
func latest[T any](write func(T)) (put func(T), end func()) {
	waiting, done := make(chan T, 1), make(chan struct{})
	go func() {
		defer close(done)
		for x := range waiting {
			write(x)
		}
	}()
	put = func(x T) {
		for {
			select {
			case waiting <- x:
				return
			default:
			}
			select {
			case <-waiting:
			default:
			}
		}
	}
	return put, func() { close(waiting); <-done }
}
