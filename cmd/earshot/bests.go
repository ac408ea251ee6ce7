package main

import (
	"bytes"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/folder"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/assistant/timing"
)

// noBests turns the best laps of all sessions off.
const noBests = "none"

// courseKey is what the best laps of a course are kept under: the name in its course file. Without one it is that of the saved course, once
// that is recognised or saved.
func (l *loaded) courseKey() string { return l.courseName() }

// bestsFolder is where the best laps are kept; empty: they are not.
func bestsFolder(cfg Config) (string, error) {
	switch cfg.Bests {
	case noBests:
		return "", nil
	case "":
		dir, err := folder.State()
		return filepath.Join(dir, "bests"), err
	}
	return cfg.Bests, nil
}

// bestsPath is the file for a car on a course. The sum keeps names apart that look alike in plain letters.
func bestsPath(root, course, car string) string {
	sum := crc32.ChecksumIEEE([]byte(course + "\x00" + car))
	return filepath.Join(root, fmt.Sprintf("%.40s_%.40s_%08x.json", folder.Plain(course), folder.Plain(car), sum))
}

// readBests reads the best laps of a car on a course; there may be none yet.
func readBests(path, course, car string) (*timing.Bests, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &timing.Bests{Version: timing.BestsVersion, Course: course, Car: car, Compounds: map[string]*timing.Best{}}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the best laps so far: %w", err)
	}
	b, err := timing.ParseBests(data)
	if err == nil && (b.Course != course || b.Car != car) {
		err = fmt.Errorf("it is of %s on %s", b.Car, b.Course)
	}
	if err != nil {
		return nil, fmt.Errorf("the best laps so far: %s: %w (mend the file, remove it, or set bests: none)", path, err)
	}
	return b, nil
}

// bring makes the best laps and the lap to compare with part of what decides, so that a recording holds them. What a
// recording brought itself stays.
func (l *loaded) bring() error {
	var b *timing.Bests
	var of []*timing.Bests // saved courses
	if l.in.bests != nil {
		for i, line := range bytes.Split(bytes.TrimSpace(l.in.bests.Data), []byte{'\n'}) {
			one, err := timing.ParseBests(line)
			if err != nil {
				return fmt.Errorf("%s:%d: %w", l.in.bests.Name, i+1, err)
			}
			if i == 0 {
				b = one
			} else {
				of = append(of, one)
			}
		}
	} else if l.in.fresh {
		folder, err := bestsFolder(l.cfg)
		if err != nil {
			return err
		}
		if folder != "" {
			b = &timing.Bests{Version: timing.BestsVersion, Car: l.car.Name, Compounds: map[string]*timing.Best{}}
			if key := l.courseKey(); key != "" {
				if b, err = readBests(bestsPath(folder, key, l.car.Name), key, l.car.Name); err != nil {
					return err
				}
			}
		}
	}
	if l.cfg.Reference != "" && l.in.compare {
		trace, err := referenceLap(l.cfg)
		if err != nil {
			return err
		}
		if b == nil {
			b = &timing.Bests{Version: timing.BestsVersion, Car: l.car.Name}
		}
		b.Reference = trace
	}
	if b == nil {
		return nil
	}
	return l.holdBests(append([]*timing.Bests{b}, of...))
}

// bringKnown adds the best laps on the saved courses that may be recognised. What cannot be read is told and left alone.
func (l *loaded) bringKnown(tell func(string)) error {
	if l.course != nil || l.bests == nil {
		return nil
	}
	folder, err := bestsFolder(l.cfg)
	if err != nil || folder == "" {
		return err
	}
	list := []*timing.Bests{l.bests}
	for _, k := range l.known {
		b, err := readBests(bestsPath(folder, k.Name, l.car.Name), k.Name, l.car.Name)
		if err != nil { // no reason not to drive
			tell(err.Error())
			continue
		}
		if len(b.Compounds) > 0 {
			list = append(list, b)
		}
	}
	return l.holdBests(list)
}

// holdBests puts best laps in force: those of the course file or of a course that has no name yet, then those of saved courses, a line each.
func (l *loaded) holdBests(list []*timing.Bests) error {
	var text []byte
	l.bestsOf = nil
	if l.course == nil {
		l.bestsOf = map[string]*timing.Bests{}
	}
	for i, b := range list {
		data, err := b.Encode()
		if err != nil {
			return err
		}
		text = append(text, data...)
		if b, err = timing.ParseBests(data); err != nil { // what a replay will read, to the last bit
			return err
		}
		if i == 0 {
			l.bests = b
		} else {
			l.bestsOf[b.Course] = b
		}
	}
	l.in.bests = &session.File{Kind: session.BestsFile, Name: "bests.jsonl", Data: text}
	return nil
}

// referenceLap finds the lap that the configuration names, SESSION or SESSION:LAP, by driving that session's recording
// again. Without a number it is the best valid flying lap.
func referenceLap(cfg Config) (*timing.Trace, error) {
	fail := func(err error) (*timing.Trace, error) {
		return nil, fmt.Errorf("the lap to compare with, %s: %w", cfg.Reference, err)
	}
	ref, number := cfg.Reference, 0
	if i := strings.LastIndexByte(ref, ':'); i > 0 {
		if n, err := strconv.Atoi(ref[i+1:]); err == nil && n > 0 {
			ref, number = ref[:i], n
		}
	}
	path := ref
	if !strings.HasSuffix(ref, ".mcap") {
		root := cfg.DataDir
		if root == "" {
			var err error
			if root, err = session.Root(); err != nil {
				return fail(err)
			}
		}
		d, err := session.Find(root, ref)
		if err != nil {
			return fail(err)
		}
		path = d.Recording()
	}
	r, err := session.OpenRecording(path)
	if err != nil {
		return fail(err)
	}
	defer r.Close()
	own, err := inputsOf(r.Head.Files)
	if err != nil {
		return fail(err)
	}
	own.bests, cfg.Reference = nil, ""
	l, err := compile(cfg, own)
	if err != nil {
		return fail(err)
	}
	r.Bind(l.channels)
	trace, laps, err := findLap(l.core(), assistant.NewRecordedTape(r), number)
	switch {
	case err != nil:
		return fail(err)
	case trace != nil:
		return trace, nil
	case number > 0:
		return fail(fmt.Errorf("the session has no lap %d that was seen whole: it has %d laps", number, laps))
	}
	return fail(fmt.Errorf("none of the session's %d laps is a valid flying lap that was seen whole: name one, %s:LAP", laps, ref))
}

// addBestsFlags adds the flags about laps of other sessions.
func addBestsFlags(c *cobra.Command) {
	c.Flags().String("reference", "", "lap to compare with: SESSION or SESSION:LAP of an earlier session, or of a recording (default: the best of all sessions)")
	c.Flags().String("bests", "", "folder of the best laps of all sessions, or none (default: in the user's state folder)")
}

// keepBests returns what writes better laps into their file, and what waits for that. One goroutine writes, the newest
// wins; another program may have written meanwhile, so what is there is taken in.
//
// name, which may be nil, tells under what name a course is saved that had none when the lap was driven; until there is one its laps wait.
func keepBests(l *loaded, name func() string, tell func(error)) (keep func(*timing.Bests), wait func()) {
	folder, err := bestsFolder(l.cfg)
	if err != nil || folder == "" || l.bests == nil {
		if err != nil {
			tell(err)
		}
		return nil, func() {}
	}
	var nameless *timing.Bests
	write := func(b *timing.Bests) {
		key := b.Course
		if key == "" && name != nil {
			key = name()
		}
		nameless = nil
		if key == "" {
			nameless = b
			return
		}
		named := *b
		named.Course = key
		if err := writeBests(bestsPath(folder, key, l.car.Name), key, l.car.Name, &named); err != nil {
			tell(err)
		}
	}
	waiting, done := make(chan *timing.Bests, 1), make(chan struct{})
	go func() {
		defer close(done)
		for b := range waiting {
			write(b)
		}
		if nameless != nil {
			write(nameless)
		}
	}()
	keep = func(b *timing.Bests) {
		for {
			select {
			case waiting <- b:
				return
			default:
			}
			select {
			case <-waiting: // the newest holds what the older one held
			default:
			}
		}
	}
	return keep, func() { close(waiting); <-done }
}

func writeBests(path, course, car string, b *timing.Bests) error {
	there, err := readBests(path, course, car)
	if err != nil {
		return err // what cannot be read is not written over
	}
	there.Merge(b)
	data, err := there.Encode()
	if err != nil {
		return err
	}
	return folder.Replace(path, data)
}

// renameBests takes the best laps on a saved course along to its new name. What is under that name already is kept too.
func renameBests(cfg Config, from, to string) error {
	folder, err := bestsFolder(cfg)
	if err != nil || folder == "" || strings.EqualFold(from, to) && from == to {
		return err
	}
	files, err := filepath.Glob(filepath.Join(folder, "*.json"))
	if err != nil {
		return err
	}
	var errs []error
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		b, err := timing.ParseBests(data)
		if err != nil || b.Course != from {
			continue // another course's, or not to be read: that is told when it is needed
		}
		b.Course = to
		if err = writeBests(bestsPath(folder, to, b.Car), to, b.Car, b); err == nil {
			err = os.Remove(path)
		}
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// findLap drives a tape through a core and returns the lap of that number by distance, or the best valid flying lap where
// it is 0; nil where there is none that was seen whole. laps is how many there are.
func findLap(core *assistant.Core, tape assistant.Tape, number int) (found *timing.Trace, laps int, err error) {
	var out assistant.Output
	best := math.Inf(1)
	for {
		in, err := tape.Next()
		if errors.Is(err, io.EOF) {
			return found, laps, nil
		}
		if err != nil {
			return nil, laps, err
		}
		out.Reset()
		core.Step(in, &out)
		for i := range out.Events {
			lap, ok := out.Events[i].Body.(*journal.Lap)
			if !ok {
				continue
			}
			laps++
			better := number == 0 && lap.Valid && lap.Class == string(timing.Flying) && lap.Inexact == "" && float64(lap.Time) < best
			if lap.Number != number && !better {
				continue
			}
			if trace := core.LastTrace(); trace != nil {
				found, best = trace, float64(lap.Time)
			}
		}
	}
}
