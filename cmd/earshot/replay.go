package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/course/store"
	"earshot/assistant/feed"
	"earshot/assistant/journal"
	"earshot/assistant/session"
)

func newReplay() *cobra.Command {
	var journalPath, audioPath, speed string
	var keep bool
	c := &cobra.Command{
		Use:   "replay FILE [FILE ...]",
		Short: "run a recorded session or a log file through the same path as a live run",
		Long: `Replay reads a recording (.mcap, written by run) or a log that the feed file describes, plain or
gzipped, and writes the journal that a live run would have written. A recording brings its own feed, car,
course and rules; flags put others in their place. A feed of several sources takes a file for each that has
no path in the feed file: NAME=FILE.

A recording also brings the best laps that were known when it was made; with a log those of today are read. Neither
changes them, unless you say --keep-bests.

With --courses FOLDER the courses that are saved there are recognised, and what is learned is saved there. A
recording that is replayed without it goes by the courses that were known when it was made.

By default it goes as fast as it can, writes the journal to the standard output and makes no sound.`,
		Example: "  earshot replay log.csv.gz --feed myfeed.yaml --car mycar.yaml --journal out.jsonl --audio out.wav",
		Args:    atLeastOne,
	}
	addFileFlags(c)
	addBestsFlags(c)
	c.Flags().BoolVar(&keep, "keep-bests", false, "keep laps that are better than those of all sessions before, as run does")
	addCoursesFlag(c, "folder of saved courses (default: those that a recording holds, else none)")
	c.Flags().StringVar(&journalPath, "journal", "-", "file for the journal; - is the standard output")
	c.Flags().StringVar(&audioPath, "audio", "", "WAV file for what the driver would have heard")
	c.Flags().StringVar(&speed, "speed", "max", "times the speed of the feed's clock, or max")
	c.RunE = func(c *cobra.Command, args []string) error {
		times, err := parseSpeed(c, speed)
		if err != nil {
			return err
		}
		cfg, err := loadConfig(c)
		if err != nil {
			return err
		}
		tape, l, head, closeTape, err := openTape(c, cfg, args)
		if err != nil {
			return err
		}
		defer closeTape()
		a := &assistant.Assistant{Session: head}
		var name func() string // of a course that is learned
		kept := func() {}
		defer func() { kept() }() // after the courses have their names
		if c.Flags().Changed("courses") {
			folder, err := withCourses(cfg, l, tellOn(c))
			if err != nil {
				return err
			}
			if folder != "" {
				var keeper *store.Keeper
				keeper, name = keepCourses(folder, l, tellOn(c))
				defer keeper.Close()
				a.Save = keeper.Keep
			}
		}
		a.Core = l.core()
		if keep {
			a.Bests, kept = keepBests(l, name, func(err error) { tellOn(c)(err.Error()) })
		}
		return play(c, a, l, tape, times, journalPath, audioPath, nil)
	}
	return c
}

func atLeastOne(c *cobra.Command, args []string) error {
	if len(args) > 1 {
		return nil // what they are depends on the feed
	}
	return cobra.ExactArgs(1)(c, args)
}

// addFileFlags adds the flags that name what decides: feed, car, course, rules, voice.
func addFileFlags(c *cobra.Command) {
	c.Flags().String("feed", "", "feed file, or the name of one (default: demo)")
	c.Flags().String("car", "", "car file, or the name of one (default: demo)")
	c.Flags().String("course", "", "course file, or the name of one (default: learned)")
	c.Flags().StringSlice("rules", nil, "rules file or folder, on top of the rules that ship; may be given again")
	c.Flags().String("voice", "", "name of a voice")
}

func addCoursesFlag(c *cobra.Command, about string) { c.Flags().String("courses", "", about) }

// tellOn prints a line beside what the command is for.
func tellOn(c *cobra.Command) func(string) {
	return func(s string) { fmt.Fprintf(c.ErrOrStderr(), "earshot: %s\n", s) }
}

func parseSpeed(c *cobra.Command, s string) (float64, error) {
	if s == "max" {
		return 0, nil
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || !(x > 0 && x <= 1e6) {
		return 0, usage(c, "--speed %s: write a number above 0, or max", s)
	}
	return x, nil
}

// openTape opens a recording, or the log of each source of a feed, for replay.
func openTape(c *cobra.Command, cfg Config, args []string) (assistant.Tape, *loaded, journal.Session, func() error, error) {
	fail := func(err error) (assistant.Tape, *loaded, journal.Session, func() error, error) {
		return nil, nil, journal.Session{}, nil, err
	}
	if path := args[0]; strings.HasSuffix(path, ".mcap") {
		if len(args) > 1 {
			return fail(usage(c, "a recording is replayed alone"))
		}
		r, err := session.OpenRecording(path)
		if err != nil {
			return fail(err)
		}
		own, err := inputsOf(r.Head.Files)
		if err == nil {
			own, err = override(c, cfg, own)
		}
		var l *loaded
		if err == nil {
			l, err = compile(cfg, own)
		}
		if err != nil {
			r.Close()
			return fail(fmt.Errorf("%s: %w", path, err))
		}
		if unknown := r.Bind(l.channels); len(unknown) > 0 {
			fmt.Fprintf(c.ErrOrStderr(), "earshot: channels of the recording that are not known any more: %s\n", strings.Join(unknown, ", "))
		}
		return assistant.NewRecordedTape(r), l, journal.Session{ID: r.Head.Session, Feed: own.feed.Name, Car: l.car.Name, Course: l.courseName(), Started: r.Head.Started}, closeTelling(c, r, path), nil
	}
	l, err := load(cfg)
	if err != nil {
		return fail(err)
	}
	paths, err := pathsOf(c, l.feed, args)
	if err != nil {
		return fail(err)
	}
	stream, err := feed.Open(c.Context(), l.feed, l.channels, feed.Options{Paths: paths})
	if err != nil {
		return fail(err)
	}
	head := journal.Session{ID: "replay", Feed: l.in.feed.Name, Car: l.car.Name, Course: l.courseName()}
	return assistant.NewFeedTape(stream, nil), l, head, stream.Close, nil
}

// pathsOf tells which source each argument is the file of: FILE where there is one source, NAME=FILE where there are several.
func pathsOf(c *cobra.Command, f *feed.File, args []string) (map[string]string, error) {
	sources := f.Sources()
	if len(sources) == 1 && sources[0].Name == "" {
		if len(args) > 1 {
			return nil, usage(c, "the feed has one source, and %d files are given", len(args))
		}
		return map[string]string{"": args[0]}, nil
	}
	paths := map[string]string{}
	for _, arg := range args {
		name, path, ok := strings.Cut(arg, "=")
		if !ok {
			return nil, usage(c, "%s: the feed has several sources: write NAME=FILE", arg)
		}
		paths[name] = path
	}
	return paths, nil
}

// closeTelling closes a recording and says what it lacked.
func closeTelling(c *cobra.Command, r *session.Recording, path string) func() error {
	return func() error {
		if text := r.Loss().String(); text != "" {
			fmt.Fprintf(c.ErrOrStderr(), "earshot: %s: %s\n", path, text)
		}
		return r.Close()
	}
}

// override puts the files named by flags in the place of those of a recording.
func override(c *cobra.Command, cfg Config, own inputs) (inputs, error) {
	named, err := gather(cfg)
	if err != nil {
		return own, err
	}
	if c.Flags().Changed("feed") {
		own.feed, own.open = named.feed, named.open
	}
	if c.Flags().Changed("car") {
		own.car = named.car
	}
	if c.Flags().Changed("course") {
		own.course = named.course
	}
	if c.Flags().Changed("rules") {
		own.rules = named.rules
	}
	own.compare = c.Flags().Changed("reference")
	return own, nil
}

// play replays a tape into a journal and, where asked, a sound file.
func play(c *cobra.Command, a *assistant.Assistant, l *loaded, tape assistant.Tape, speed float64, journalPath, audioPath string, more assistant.Speaker) (err error) {
	out := c.OutOrStdout()
	if journalPath != "-" {
		f, err := os.Create(journalPath)
		if err != nil {
			return fmt.Errorf("the journal: %w", err)
		}
		defer f.Close()
		out = f
	}
	w := bufio.NewWriter(out)
	a.Journal = journalTo(w)
	var heard speakers
	if more != nil {
		heard = append(heard, more)
	}
	var track *trackSpeaker
	if audioPath != "" {
		if track, err = newTrackSpeaker(l.voice, audioPath); err != nil {
			return err
		}
		heard = append(heard, track)
	}
	if len(heard) > 0 {
		a.Speaker = heard
	}
	err = a.Replay(c.Context(), tape, speed)
	if track != nil {
		err = errors.Join(err, track.close(a.Core.Now()))
	}
	if flushErr := w.Flush(); flushErr != nil {
		err = errors.Join(err, fmt.Errorf("the journal: %w", flushErr))
	}
	return err
}

// journalTo writes events as they come.
func journalTo(w io.Writer) func(journal.Event) error {
	var line []byte
	return func(e journal.Event) (err error) {
		if line, err = e.Append(line[:0]); err != nil {
			return err
		}
		_, err = w.Write(line)
		return err
	}
}
