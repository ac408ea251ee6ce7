package assembly

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/course/store"
	"earshot/assistant/session"
)

// findCourses finds the saved courses that can be recognised: those in the folder, or those that the recording holds.
// What cannot be read is told and left out.
func (p *Parts) findCourses(r Request) (err error) {
	if r.Saved {
		if p.folder, err = r.CoursesFolder(); err != nil {
			return err
		}
	}
	if p.folder == "" {
		p.Known, err = knownIn(p.in.known)
		return err
	}
	all, wrong := store.List(p.folder)
	for _, w := range wrong {
		p.tell(w.Error())
	}
	p.saved = all
	meant, err := candidates(p.Course, all)
	if err != nil {
		return fmt.Errorf("%w (%s)", err, p.folder)
	}
	left := 0
	if p.Known, left = newest(meant, mostKnown); left > 0 {
		p.tell(fmt.Sprintf("%d of %d saved courses, those that were not driven for longest, are not looked for: "+
			"a recording has no room for them; earshot course forget removes some", left, len(meant)))
	}
	p.in.known, err = knownFile(p.Known)
	return err
}

// mostKnown bounds the bytes of courses that are looked for: a recording holds them all, and some hundred are enough.
const mostKnown = 8 << 20

// newest returns the courses that were saved last, as many as have room in so many bytes, in the order given, and how
// many are left out.
func newest(all []store.Entry, room int) (list []*course.Known, left int) {
	saved := map[*course.Known]time.Time{}
	for _, e := range all {
		if about, err := os.Stat(e.Path); err == nil {
			saved[e.Known] = about.ModTime()
		}
	}
	byAge := slices.Clone(all)
	slices.SortStableFunc(byAge, func(a, b store.Entry) int { return saved[b.Known].Compare(saved[a.Known]) })
	fits := map[*course.Known]bool{}
	for _, e := range byAge {
		room -= len(e.Data()) + 1
		fits[e.Known] = room >= 0
	}
	for _, e := range all {
		if fits[e.Known] {
			list = append(list, e.Known)
		}
	}
	return list, len(all) - len(list)
}

// candidates are the saved courses that can be meant where the course file says f: the one that it is about, those of
// its name, or all where there is none.
func candidates(f *course.File, all []store.Entry) (list []store.Entry, err error) {
	if f == nil {
		return all, nil
	}
	var names []string
	for _, e := range all {
		names = append(names, e.Name)
		numbered := strings.HasPrefix(e.Name, f.Name+" ") && strings.Trim(e.Name[len(f.Name)+1:], "0123456789") == ""
		if f.Saved != "" && strings.EqualFold(e.Name, f.Saved) ||
			f.Saved == "" && (strings.EqualFold(e.Name, f.Name) || numbered) {
			list = append(list, e)
		}
	}
	if f.Saved != "" && len(list) == 0 {
		err = fmt.Errorf("the course file says saved: %s, and there is no saved course of that name: there is %s",
			f.Saved, strings.Join(append(names, "none"), ", "))
	}
	return list, err
}

// knownFile makes one file of the candidates, so that a recording replays with them: a line each.
func knownFile(list []*course.Known) (*session.File, error) {
	if len(list) == 0 {
		return nil, nil
	}
	var b bytes.Buffer
	for _, k := range list {
		line := bytes.TrimSpace(k.Data())
		if !bytes.ContainsRune(line, '\n') { // as it was written; a user may have put it into another form
			b.Write(line)
		} else if err := json.Compact(&b, line); err != nil {
			return nil, fmt.Errorf("%s: %w", k.Name, err)
		}
		b.WriteByte('\n')
	}
	return &session.File{Kind: session.KnownFile, Name: "courses.jsonl", Data: b.Bytes()}, nil
}

// knownIn is the reverse of knownFile.
func knownIn(f *session.File) ([]*course.Known, error) {
	if f == nil {
		return nil, nil
	}
	var list []*course.Known
	for i, line := range bytes.Split(bytes.TrimSpace(f.Data), []byte{'\n'}) {
		k, err := course.Glance(fmt.Sprintf("%s:%d", f.Name, i+1), line)
		if err != nil {
			return nil, err
		}
		list = append(list, k)
	}
	return list, nil
}

// pitByDistance refuses a pit lane by distance where the feed knows the pit lane: one of the two would silently be
// wrong.
func (p *Parts) pitByDistance() error {
	if p.Course == nil || p.Course.Pit.EntryAt == 0 || !slices.Contains(p.Feed.Covers, channel.InPitLane) {
		return nil
	}
	return fmt.Errorf("%s: the pit lane is told by distance, and the feed tells in_pit_lane itself: take pit.entry "+
		"and pit.exit out of the course file", p.in.course.Name)
}

// courseNotes lists what in a course file has no effect.
func (p *Parts) courseNotes() (notes []string) {
	f := p.Course
	if f == nil {
		return nil
	}
	if f.Pit.EntryAt > 0 {
		notes = append(notes, "pit entry and exit by distance only show in the picture of the course: a distance is "+
			"the same in the pit lane and beside it, "+
			"so laps and stints do not go by them; give gates where the feed has a position")
	}
	if f.Saved == "" || len(p.Known) != 1 {
		return notes
	}
	s, err := p.Known[0].Saved()
	if err != nil {
		return append(notes, err.Error())
	}
	if len(f.Join)+len(f.Split) > 0 {
		return notes // the numbers change
	}
	for _, n := range slices.Sorted(maps.Keys(f.Names)) {
		if n > len(s.Map.Corners) {
			notes = append(notes, fmt.Sprintf("the course file names corner %d (%s), and %s has %d corners", n,
				f.Names[n], s.Map.Name, len(s.Map.Corners)))
		}
	}
	return notes
}
