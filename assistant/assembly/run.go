package assembly

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"earshot/assistant"
	"earshot/assistant/feed"
	"earshot/assistant/folder"
	"earshot/assistant/hand"
	"earshot/assistant/hand/helper"
	"earshot/assistant/health"
	"earshot/assistant/session"
	"earshot/audio/device"
	"earshot/audio/speaker"
	"earshot/rules"
)

// Run runs on the live feed until it ends or ctx is done: it opens everything, runs, and closes everything in the
// reverse order. The sinks in more get every step, like recording, journal and sound device.
func (p *Parts) Run(ctx context.Context, more ...assistant.Sink) (err error) {
	tell := p.tell
	closing := func(what string, f func() error) {
		if e := f(); e != nil {
			err = errors.Join(err, fmt.Errorf("%s: %w", what, e))
		}
	}
	bindings, err := p.Bindings()
	if err != nil {
		return err
	}
	stream, err := feed.Open(ctx, p.Feed, p.Channels, feed.Options{})
	if err != nil {
		return err
	}
	defer stream.Close()

	root, err := p.Config.SessionsFolder()
	if err != nil {
		return err
	}
	head := p.Head("")
	head.Started = time.Now().Format(time.RFC3339)
	dir, err := session.Create(root, session.Manifest{
		Started: head.Started, Program: program(), Feed: head.Feed, Car: head.Car, Course: head.Course,
	}, p.in.files())
	if err != nil {
		return err
	}
	head.ID = dir.Manifest.ID

	door := assistant.NewDoor()
	ill := func(part health.Part, problem error) {
		h := part.Is(health.OK, "")
		if problem != nil {
			h = part.Is(health.Lost, problem.Error())
			tell(fmt.Sprintf("%s: %v", part.Name, problem))
		} else {
			tell(part.Name + ": ok")
		}
		_ = door.Health(*h) // it refuses after the end or in a flood; the line above was printed
	}
	outliveFileLimit()
	events, err := session.NewJournalWriter(dir.Journal(), ill)
	if err != nil {
		return err
	}
	defer closing("the journal", events.Close)
	recorded := p.Recorded(head.ID)
	recorded.Started = head.Started
	recorder, err := session.NewRecorder(dir.Recording(), recorded, session.Options{Report: ill})
	if err != nil {
		return err
	}
	defer closing("the recording", func() error {
		err := recorder.Close()
		if errors.As(err, new(*session.StoppedError)) || errors.As(err, new(*session.DropError)) {
			tell(err.Error()) // the disk is full, told when it happened; the rest of the session is complete
			return nil
		}
		return err
	})

	out, err := device.Open(ctx, p.Config.Device, tell)
	if err != nil {
		return err
	}
	voice := speaker.New(p.voice, out, func(err error) {
		tell("speech: " + err.Error())
		_ = door.Health(*assistant.SoundPart.Is(health.Degraded, err.Error())) // it refuses after the end
	})
	defer closing("the sound device", voice.Close)

	// What watches the world ends before the loop's inputs are closed.
	watching, stop := context.WithCancel(ctx)
	var watchers sync.WaitGroup
	defer watchers.Wait()
	defer stop()
	watchers.Go(func() {
		for {
			select {
			case problem := <-out.Lost():
				ill(assistant.SoundPart, problem)
			case <-watching.Done():
				return
			}
		}
	})
	watchers.Go(func() { watchKeys(watching, bindings, door, ill, tell) })
	watchers.Go(func() {
		watchRules(watching, rulesEvery, func() ([]rules.Source, error) { return ruleFiles(p.Config.Rules) },
			door.Rules, func(err error) {
				h := assistant.RulesPart.Is(health.OK, "they can be read again")
				if err != nil {
					h = assistant.RulesPart.Is(health.Degraded, "the old rules stay in force: "+err.Error())
				}
				tell("rules: " + h.Text)
				_ = door.Health(*h) // it refuses after the end; the line above was printed
			}, tell)
	})

	a := &assistant.Assistant{
		Core: p.Core(), Session: head, Feed: stream, Door: door,
		Sinks: append([]assistant.Sink{
			assistant.RecordTo(recorder), assistant.JournalTo(events.Append), assistant.SpeakTo(deviceSpeaker{voice}),
		}, more...),
	}
	defer p.keep(a, true, ill)()
	if text := p.CarNote(); text != "" {
		tell(text)
	}
	tell(fmt.Sprintf("session %s in %s", head.ID, dir.Path))
	tell(fmt.Sprintf("listening: %s, sound: %s; Ctrl-C ends", p.Source(), out.Name()))
	if err := a.Run(ctx); err != nil {
		return err
	}
	ref := head.ID
	if p.Config.DataDir != "" { // where debrief does not look by itself
		ref = folder.Argument(dir.Path)
	}
	tell(fmt.Sprintf("session %s has ended; earshot debrief %s", head.ID, ref))
	return nil
}

// watchKeys runs the helper program for global keys, where there can be one, and maps presses to commands.
func watchKeys(ctx context.Context, b *hand.Bindings, door *assistant.Door, ill func(health.Part, error),
	tell func(string)) {
	keys := b.Keys()
	if len(keys) == 0 {
		return
	}
	if err := helper.CanWatchKeys(); err != nil {
		ill(hand.KeysPart, err)
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
			if err := door.Ask(hand.Request{Name: command, Source: "key " + p.Key}, time.Now()); err != nil {
				tell(fmt.Sprintf("keys: %s: %v", command, err))
			}
		},
		Health: func(h helper.Health) {
			switch h.State {
			case health.Lost:
				b.LetGo()
				ill(hand.KeysPart, errors.New(h.Text))
			case health.OK:
				ill(hand.KeysPart, nil)
			default:
				tell("keys: " + h.Text)
			}
		},
	}
	if err := watched.Run(ctx); err != nil {
		ill(hand.KeysPart, err)
	}
}

// Source says where all of the feed comes from.
func (p *Parts) Source() string {
	var list []string
	for _, s := range p.Feed.Sources() {
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
