package assembly

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/debrief"
	"earshot/assistant/journal"
	"earshot/assistant/session"
)

// A Found is the journal of a session with what lies beside it.
type Found struct {
	Journal string   // its path
	Page    string   // where the debrief's page goes
	Car     *car.Car // as recorded; nil: it is not known
}

// FindJournal finds a session's journal: by an id or its beginning, "last", the session's folder, or the path of a
// journal.
func (c Config) FindJournal(ref string) (f Found, err error) {
	path, d, err := c.fileOrSession(ref, "the journal")
	if err != nil {
		return f, err
	}
	if d != nil {
		f.Journal, f.Page = d.Journal(), d.Debrief()
	} else {
		f.Journal, f.Page = path, strings.TrimSuffix(path, filepath.Ext(path))+".html"
		if beside, _ := session.Open(filepath.Dir(path)); beside != nil &&
			filepath.Base(beside.Journal()) == filepath.Base(path) {
			d = beside
		}
	}
	if d != nil {
		err = f.findCar(d)
	}
	return f, err
}

// fileOrSession returns the path of the file that ref is, or the session that it means: an id or its beginning, "last",
// or a folder.
func (c Config) fileOrSession(ref, what string) (file string, d *session.Dir, err error) {
	info, missing := os.Stat(ref)
	if missing == nil && !info.IsDir() {
		return ref, nil, nil
	}
	if missing == nil {
		if ref, err = filepath.Abs(ref); err != nil { // a path, so that it is not taken for an id
			return "", nil, err
		}
	}
	root, err := c.SessionsFolder()
	if err == nil {
		d, err = session.Find(root, ref)
	}
	if err != nil && missing != nil && (filepath.Ext(ref) != "" || strings.ContainsRune(ref, filepath.Separator)) {
		err = fmt.Errorf("%s: %w", what, missing)
	}
	return "", d, err
}

// findCar takes the car of the session's folder.
func (f *Found) findCar(d *session.Dir) error {
	files, err := d.Files()
	if err != nil {
		return err
	}
	in, err := inputsOf(files)
	if err != nil || in.carless() {
		return nil // an old or hand-made folder, or a session without a car file
	}
	f.Car, err = car.Parse(in.car.Name, in.car.Data)
	return err
}

// Events finds a session's journal and reads it with its car: the recorded one, else the one that the journal names.
// Where a part of the journal is lost, it tells so and returns the rest.
func (r Request) Events(ref string) (Found, []journal.Event, error) {
	found, err := r.FindJournal(ref)
	if err != nil {
		return found, nil, err
	}
	events, err := ReadJournal(found.Journal)
	if errors.Is(err, journal.ErrTorn) || errors.As(err, new(*journal.LineError)) {
		r.tell(fmt.Sprintf("%s: %v; the rest of it is used", found.Journal, err))
		err = nil
	}
	if found.Car == nil {
		found.Car = carNamed(events)
	}
	return found, events, err
}

// carNamed returns the car that a journal names, among the user's own and those that ship. nil: it names none, or there
// is no such file.
func carNamed(events []journal.Event) *car.Car {
	for _, e := range events {
		s, ok := e.Body.(*journal.Session)
		if !ok || s.Car == "" {
			continue
		}
		for _, file := range Cars.names() {
			data, shown, err := Cars.Read(file)
			if err != nil || file == None {
				continue
			}
			if k, err := car.Parse(shown, data); err == nil && k.Name == s.Car {
				return k
			}
		}
		return nil
	}
	return nil
}

// ReadJournal reads the events of a journal. An error beside events means that they are not all.
func ReadJournal(path string) ([]journal.Event, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the journal: %w", err)
	}
	defer f.Close()
	return journal.Read(f)
}

// ReadCar reads the car file that the configuration names; where it names none, nothing is known of the car.
func (c Config) ReadCar() (*car.Car, error) {
	data, shown, err := Cars.Read(cmp.Or(c.Car, None))
	if err != nil {
		return nil, err
	}
	return car.Parse(shown, data)
}

// Debrief works the report out, for a car and in the units of the configuration.
func (c Config) Debrief(events []journal.Event, k *car.Car) debrief.Report {
	ctx := debrief.ForCar(k)
	unit := func(name string) channel.Unit {
		u, _ := channel.UnitNamed(c.Units[name]) // validated; a unit not set is the debrief's default
		return u
	}
	ctx.Pressure, ctx.Temperature, ctx.Speed, ctx.Volume = unit("pressure"), unit("temperature"), unit("speed"),
		unit("volume")
	return debrief.Build(events, ctx)
}

// WritePage writes a report as a page for the browser.
func WritePage(path string, r debrief.Report) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("the page: %w", err)
	}
	if err := debrief.WriteHTML(f, r); err != nil {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}
