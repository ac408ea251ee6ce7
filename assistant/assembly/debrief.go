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

// FindJournal finds a session's journal: by an id or its beginning, "last", the session's folder, or the path of a journal.
func (c Config) FindJournal(ref string) (Found, error) {
	if info, err := os.Stat(ref); err == nil && !info.IsDir() {
		ext := filepath.Ext(ref)
		f := Found{Journal: ref, Page: ref[:len(ref)-len(ext)] + ".html"}
		if d, _ := session.Open(filepath.Dir(ref)); d != nil && filepath.Base(d.Journal()) == filepath.Base(ref) {
			err = f.findCar(d)
		}
		return f, err
	} else if err == nil {
		ref, err = filepath.Abs(ref) // a path, so that it is not taken for an id
		if err != nil {
			return Found{}, err
		}
	} else if strings.HasSuffix(ref, ".jsonl") || strings.ContainsRune(ref, filepath.Separator) {
		return Found{}, fmt.Errorf("the journal: %w", err)
	}
	root, err := c.SessionsFolder()
	if err != nil {
		return Found{}, err
	}
	d, err := session.Find(root, ref)
	if err != nil {
		return Found{}, err
	}
	f := Found{Journal: d.Journal(), Page: d.Debrief()}
	err = f.findCar(d)
	return f, err
}

// findCar takes the car of the session's folder.
func (f *Found) findCar(d *session.Dir) error {
	files, err := d.Files()
	if err != nil {
		return err
	}
	in, err := inputsOf(files)
	if err != nil {
		return nil // an old or hand-made folder
	}
	f.Car, err = car.Parse(in.car.Name, in.car.Data)
	return err
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
	ctx.Pressure, ctx.Temperature, ctx.Speed, ctx.Volume = unit("pressure"), unit("temperature"), unit("speed"), unit("volume")
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
