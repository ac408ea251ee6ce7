package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/course/store"
	"earshot/assistant/feed"
	"earshot/assistant/hand"
	"earshot/assistant/hand/helper"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/audio/device"
	"earshot/rules"
)

func newRun() *cobra.Command {
	var sessions string
	c := &cobra.Command{
		Use:   "run",
		Short: "listen to a live feed, speak, mark corners, record",
		Long: `Run listens to the source in the feed file until Ctrl-C (or SIGTERM), speaks through the sound device,
takes key presses wherever the keyboard's focus is, and keeps journal and recording in a session folder.
Afterwards: earshot debrief.

With a course file, the best lap and the best sectors of this car and compound on this course are kept from session to
session, and the lap in progress is compared with them at equal distance; --reference compares with a lap of your choice.

` + cautions,
		Example: "  earshot run --feed myfeed.yaml --car mycar.yaml\n  earshot run --feed myfeed.yaml --course mycourse.yaml --reference last:7",
		Args:    cobra.NoArgs,
	}
	addFileFlags(c)
	addBestsFlags(c)
	c.Flags().String("device", "", "sound device: auto, pulse, oto, portaudio, wav:FILE, silent (default: auto)")
	addCoursesFlag(c, "folder of the saved courses, or none (default: the user's state folder)")
	c.Flags().StringVar(&sessions, "sessions", "", "folder for the sessions (default: the user's data folder)")
	c.RunE = func(c *cobra.Command, _ []string) error {
		cfg, err := loadConfig(c)
		if err != nil {
			return err
		}
		if sessions != "" {
			cfg.DataDir = sessions
		}
		l, err := load(cfg)
		if err != nil {
			return err
		}
		folder, err := withCourses(cfg, l, tellOn(c))
		if err != nil {
			return err
		}
		if err := l.in.keepKnown(l.known); err != nil {
			return err
		}
		return runLive(c, l, folder)
	}
	return c
}

// runLive opens everything, runs, and closes everything in the reverse order. Courses are saved in folder, unless it is empty.
func runLive(c *cobra.Command, l *loaded, folder string) (err error) {
	ctx := c.Context()
	stderr := c.ErrOrStderr()
	var mu sync.Mutex // lines from several goroutines
	tell := func(s string) {
		mu.Lock()
		defer mu.Unlock()
		fmt.Fprintf(stderr, "earshot: %s\n", s)
	}
	closing := func(what string, f func() error) {
		if e := f(); e != nil {
			err = errors.Join(err, fmt.Errorf("%s: %w", what, e))
		}
	}
	bindings, err := bindings(l.cfg)
	if err != nil {
		return err
	}
	stream, err := feed.Open(ctx, l.feed, l.channels, feed.Options{})
	if err != nil {
		return err
	}
	defer stream.Close()

	root := l.cfg.DataDir
	if root == "" {
		if root, err = session.Root(); err != nil {
			return err
		}
	}
	started := time.Now()
	head := journal.Session{Feed: l.in.feed.Name, Car: l.car.Name, Course: l.courseName(), Started: started.Format(time.RFC3339)}
	dir, err := session.Create(root, session.Manifest{
		Started: head.Started, Program: program(), Feed: head.Feed, Car: head.Car, Course: head.Course,
	}, l.in.files())
	if err != nil {
		return err
	}
	head.ID = dir.Manifest.ID

	health := make(chan journal.Health, 64)
	ill := func(part string, problem error) {
		h := journal.Health{Part: part, State: "ok"}
		if problem != nil {
			h.State, h.Text = "lost", problem.Error()
			tell(fmt.Sprintf("%s: %v", part, problem))
		} else {
			tell(part + ": ok")
		}
		select {
		case health <- h:
		default: // the loop has ended or is flooded; the line above was printed
		}
	}
	outliveFileLimit()
	events, err := session.NewJournalWriter(dir.Journal(), ill)
	if err != nil {
		return err
	}
	defer closing("the journal", events.Close)
	recorder, err := session.NewRecorder(dir.Recording(), session.Head{
		Session: head.ID, Started: head.Started, Program: program(), Channels: l.channels.Names(), Units: insideUnits(l.channels), Files: l.in.files(),
	}, session.Options{Report: ill})
	if err != nil {
		return err
	}
	defer closing("the recording", func() error {
		err := recorder.Close()
		if errors.As(err, new(*session.StoppedError)) || errors.As(err, new(*session.DropError)) {
			tell(err.Error()) // the disk's trouble, told when it began: the rest of the session is as it should be
			return nil
		}
		return err
	})

	out, err := device.Open(ctx, l.cfg.Device, tell)
	if err != nil {
		return err
	}
	speaker := newDeviceSpeaker(l.voice, out, tell)
	defer closing("the sound device", speaker.close)

	// What watches the world ends before the loop's inputs are closed.
	watching, stop := context.WithCancel(ctx)
	var watchers sync.WaitGroup
	defer watchers.Wait()
	defer stop()
	watchers.Go(func() {
		for {
			select {
			case problem := <-out.Lost():
				ill("sound", problem)
			case <-watching.Done():
				return
			}
		}
	})
	commands := make(chan assistant.Command, 16)
	watchers.Go(func() { watchKeys(watching, bindings, commands, ill, tell) })
	changed := make(chan []rules.Source)
	watchers.Go(func() {
		watchRules(watching, rulesEvery, func() ([]rules.Source, error) { return ruleFiles(l.cfg.Rules) }, changed, tell)
	})

	a := &assistant.Assistant{
		Core: l.core(), Session: head, Speaker: speakers{printSpeaker{c.OutOrStdout()}, speaker},
		Journal: func(e journal.Event) error {
			// A full disk is a health event, told by the writer itself; the assistant goes on.
			_ = events.Append(e)
			_ = recorder.Event(e)
			return nil
		},
		Record:   assistant.RecordInto(recorder),
		Feed:     stream,
		Commands: commands, Health: health, Rules: changed,
	}
	var name func() string
	var keeper *store.Keeper
	if folder != "" {
		keeper, name = keepCourses(folder, l, tell)
		a.Save = keeper.Keep
	}
	keep, kept := keepBests(l, name, func(err error) { tell(err.Error()) })
	a.Bests = keep
	defer kept() // after the courses have their names
	if keeper != nil {
		defer keeper.Close()
	}
	tell(fmt.Sprintf("session %s in %s", head.ID, dir.Path))
	tell(fmt.Sprintf("listening: %s, sound: %s; Ctrl-C ends", describeSources(l.feed), out.Name()))
	if err := a.Run(ctx); err != nil {
		return err
	}
	tell(fmt.Sprintf("session %s has ended; earshot debrief %s", head.ID, head.ID))
	return nil
}

// watchKeys runs the helper program for global keys, where there can be one, and maps presses to commands.
func watchKeys(ctx context.Context, b *hand.Bindings, commands chan<- assistant.Command, ill func(string, error), tell func(string)) {
	keys := b.Keyboard()
	if len(keys) == 0 {
		return
	}
	if err := helper.CanWatchKeys(); err != nil {
		tell("keys: " + err.Error())
		return
	}
	watched := helper.Helper{
		Program: "earshot-keys", Keys: keys,
		Line: func(l hand.Line) {
			p, _ := l.Press()
			command, ok := b.Press(p)
			if !ok {
				return
			}
			select {
			case commands <- assistant.Command{Name: command, Source: "key " + p.Key}:
			case <-ctx.Done():
			}
		},
		Health: func(h helper.Health) {
			switch h.State {
			case helper.Lost:
				b.LetGo()
				ill("keys", errors.New(h.Text))
			case helper.OK:
				ill("keys", nil)
			default:
				tell("keys: " + h.Text)
			}
		},
	}
	if err := watched.Run(ctx); err != nil {
		ill("keys", err)
	}
}

// describeSources says where all of the feed comes from.
func describeSources(f *feed.File) string {
	var list []string
	for _, s := range f.Sources() {
		text := s.Transport.String()
		if s.Name != "" {
			text = s.Name + " " + text
		}
		list = append(list, text)
	}
	return strings.Join(list, ", ")
}

// program names what wrote a session.
func program() string { return filepath.Base(os.Args[0]) }
