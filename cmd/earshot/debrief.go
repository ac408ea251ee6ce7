package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/debrief"
	"earshot/assistant/journal"
	"earshot/assistant/session"
)

func newDebrief() *cobra.Command {
	var root, page string
	var asJSON bool
	c := &cobra.Command{
		Use:   "debrief [SESSION]",
		Short: "turn a session's marks and data into setup notes",
		Long: `Debrief reads a session's journal and prints what it came to: laps, marks by corner with what the data
showed there, fuel, and the cold pressures for the hot target. It also writes a page for the browser, into
the session's folder unless --page says otherwise.

SESSION is an id or the beginning of one, "last", a session's folder, or the path of a journal. Default: last.

` + cautions,
		Example: "  earshot debrief\n  earshot debrief 20260412 --page notes.html",
		Args:    cobra.MaximumNArgs(1),
	}
	c.Flags().StringVar(&root, "sessions", "", "folder of the sessions (default: the user's data folder)")
	c.Flags().StringVar(&page, "page", "", "where the page goes")
	c.Flags().String("car", "", "car file for targets and minimum pressures (default: that of the session)")
	c.Flags().BoolVar(&asJSON, "json", false, "print JSON instead of text")
	c.RunE = func(c *cobra.Command, args []string) error {
		cfg, err := loadConfig(c)
		if err != nil {
			return err
		}
		if root == "" {
			if root, err = sessionRoot(cfg); err != nil {
				return err
			}
		}
		ref := "last"
		if len(args) == 1 {
			ref = args[0]
		}
		found, err := findJournal(root, ref)
		if err != nil {
			return err
		}
		events, err := readJournal(found.journal)
		if errors.Is(err, journal.ErrTorn) || errors.As(err, new(*journal.LineError)) {
			fmt.Fprintf(c.ErrOrStderr(), "earshot: %s: %v; the debrief is made of the rest\n", found.journal, err)
		} else if err != nil {
			return err
		}
		k := found.car
		if k == nil || c.Flags().Changed("car") {
			data, shown, err := carFiles.read(cfg.Car)
			if err != nil {
				return err
			}
			if k, err = car.Parse(shown, data); err != nil {
				return err
			}
		}
		report := debrief.Build(events, reportContext(cfg, k))
		if page == "" {
			page = found.page
		}
		if err := writeReport(page, report); err != nil {
			return err
		}
		if asJSON {
			e := json.NewEncoder(c.OutOrStdout())
			e.SetIndent("", "  ")
			return e.Encode(report)
		}
		if err := debrief.WriteText(c.OutOrStdout(), report); err != nil {
			return err
		}
		fmt.Fprintf(c.OutOrStdout(), "\npage: %s\n", page)
		return nil
	}
	return c
}

// found is a journal with what lies beside it.
type found struct {
	journal, page string
	car           *car.Car // as recorded, or nil
}

func findJournal(root, ref string) (found, error) {
	if info, err := os.Stat(ref); err == nil && !info.IsDir() {
		ext := filepath.Ext(ref)
		return found{journal: ref, page: ref[:len(ref)-len(ext)] + ".html"}, nil
	} else if err == nil {
		ref, err = filepath.Abs(ref) // a path, so that it is not taken for an id
		if err != nil {
			return found{}, err
		}
	} else if strings.HasSuffix(ref, ".jsonl") || strings.ContainsRune(ref, filepath.Separator) {
		return found{}, fmt.Errorf("the journal: %w", err)
	}
	d, err := session.Find(root, ref)
	if err != nil {
		return found{}, err
	}
	f := found{journal: d.Journal(), page: d.Debrief()}
	files, err := d.Files()
	if err != nil {
		return f, err
	}
	in, err := inputsOf(files)
	if err != nil {
		return f, nil // an old or hand-made folder: the default car serves
	}
	f.car, err = car.Parse(in.car.Name, in.car.Data)
	return f, err
}

func readJournal(path string) ([]journal.Event, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the journal: %w", err)
	}
	defer f.Close()
	return journal.Read(f)
}

// reportContext is what the debrief needs besides the journal.
func reportContext(cfg Config, k *car.Car) debrief.Context {
	ctx := debrief.ForCar(k)
	unit := func(name string) channel.Unit {
		u, _ := channel.UnitNamed(cfg.Units[name]) // validated; a unit not set is the debrief's default
		return u
	}
	ctx.Pressure, ctx.Temperature, ctx.Speed, ctx.Volume = unit("pressure"), unit("temperature"), unit("speed"), unit("volume")
	return ctx
}

// writePage writes the debrief of events as a page.
func writePage(path string, events []journal.Event, l *loaded) error {
	return writeReport(path, debrief.Build(events, reportContext(l.cfg, l.car)))
}

func writeReport(path string, r debrief.Report) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("the page: %w", err)
	}
	if err := debrief.WriteHTML(f, r); err != nil {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}
