package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/hand"
	"earshot/assistant/journal"
	"earshot/audio/device"
)

func newDemo() *cobra.Command {
	var out, speed, deviceName, send, as, write, with string
	var faults []string
	var live, open bool
	o := demo.Options{Story: true}
	c := &cobra.Command{
		Use:   "demo",
		Short: "drive an invented car on an invented course and hear what Earshot says",
		Long: `Demo drives a race of eleven laps, about seventeen minutes, through the same decoder, core, scheduler and
voice as a live run: cold brakes, tyres that come in, a corner that washes out and is marked, a hot front right, fuel
that is short and is saved, the flag. It prints each cue as it is said and leaves in the folder of --out:

  cues.wav       what the driver would have heard, on the clock of the session
  journal.jsonl  everything that happened
  debrief.html   the debrief; --open shows it in a browser

By default it goes as fast as it can. --speed 20 prints at a pace to read along; --live goes in real time and plays through
the sound device.
--send sends the feed in real time, to files as fast as it can, and does nothing else: a source for earshot run. --as json
sends what the feed demo-json describes, every channel of the car; nmea and can what demo-bus describes, a receiver beside a bus.
--write writes the drive down: samples.csv (every channel of the car, with units), feed.yaml that describes
it, and truth.json, what really happened. The same seed writes the same bytes.
--with puts more of the world into a drive that is sent or written: rivals, weather, rain, stop, caution, time; --fault lets
something go wrong in a lap and a corner, and the truth tells of it.`,
		Example: "  earshot demo\n  earshot demo --live\n  earshot demo --speed 20 --open\n  earshot demo --send udp://127.0.0.1:47119\n  earshot demo --send udp://127.0.0.1:47123,udp://127.0.0.1:47125 --as nmea,can\n  earshot demo --send file:gps.nmea,file:can.log --as nmea,can\n  earshot demo --write drive --seed 7 --laps 20 --course ledger\n  earshot demo --write drive --story=false --with rivals,stop --fault lock:fl@3.4 --fault leak:rr=8@2-6",
		Args:    cobra.NoArgs,
	}
	c.Flags().StringVar(&out, "out", "demo-out", "folder for what the demo leaves")
	c.Flags().BoolVar(&live, "live", false, "real time, through the sound device")
	c.Flags().StringVar(&speed, "speed", "", "times real time, or max (default: max, with --live or --send over a network 1)")
	c.Flags().StringVar(&deviceName, "device", "", "sound device for --live: auto, pulse, oto, portaudio, wav:FILE, silent")
	c.Flags().Uint64Var(&o.Seed, "seed", 1, "of the noise in car and driver")
	c.Flags().BoolVar(&open, "open", false, "show the debrief in a browser at the end")
	c.Flags().StringVar(&send, "send", "", "send the feed: a list of udp://HOST:PORT, tcp://HOST:PORT, file:PATH")
	c.Flags().StringVar(&as, "as", asPacket, "with --send: packet, json, nmea, can or csv, one for all or one for each place")
	c.Flags().StringVar(&with, "with", "", "with --write or --send, a list of: "+strings.Join(worldParts(), ", "))
	c.Flags().StringArrayVar(&faults, "fault", nil, "with --write or --send, once or more: KIND[:WHEEL or CHANNEL][=AMOUNT]@LAP[-LAP][.CORNER], such as lock:fl=1.4@3.4")
	c.Flags().BoolVar(&o.Story, "story", true, "with --write or --send: the faults and presses of the story")
	c.Flags().StringVar(&write, "write", "", "write samples.csv, feed.yaml and truth.json into this folder")
	c.Flags().IntVar(&o.Laps, "laps", 0, "laps of the race, with --write or --send")
	c.Flags().StringVar(&o.Course, "course", "", "course, with --write or --send: "+strings.Join(demo.Courses(), ", "))
	c.Flags().Float64Var(&o.Rate, "rate", 0, "samples per second, with --write or --send")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if err := demoFlags(c, write != "", send != ""); err != nil {
			return err
		}
		if err := putWorld(c, &o, with); err != nil {
			return err
		}
		if err := putFaults(&o, faults); err != nil {
			return err
		}
		if write != "" {
			return writeDemo(c, o, write)
		}
		var to []destination
		if send != "" {
			var err error
			if to, err = destinations(c, send, as); err != nil {
				return err
			}
		}
		if speed == "" {
			speed = "max"
			if live || send != "" && !allFiles(to) {
				speed = "1"
			}
		}
		times, err := parseSpeed(c, speed)
		if err != nil {
			return err
		}
		cfg, err := loadConfig(c)
		if err != nil {
			return err
		}
		// The demo is the same for everyone: what ships, whatever the user has set for his own car.
		cfg.Feed, cfg.Car, cfg.Course, cfg.Rules = "demo", "demo", "demo", nil
		cfg.Reference, cfg.Bests = "", noBests
		l, err := load(cfg)
		if err != nil {
			return err
		}
		sim, err := demo.New(l.channels, o)
		if err != nil {
			return err
		}
		if send != "" {
			return sendDemo(c, l, sim, to, times)
		}
		return runDemo(c, l, sim, demoRun{out: out, live: live, open: open, times: times})
	}
	return c
}

// demoFlags refuses flags that would be ignored.
func demoFlags(c *cobra.Command, write, send bool) error {
	given := func(names ...string) (found []string) {
		for _, n := range names {
			if c.Flags().Changed(n) {
				found = append(found, "--"+n)
			}
		}
		return found
	}
	var wrong []string
	switch {
	case write:
		wrong = given("send", "as", "live", "speed", "device", "out", "open")
	case send:
		wrong = given("live", "device", "out", "open")
	default:
		wrong = given("laps", "course", "rate", "as", "with", "fault", "story")
	}
	if len(wrong) == 0 {
		return nil
	}
	what := "without --write or --send"
	switch {
	case write:
		what = "with --write"
	case send:
		what = "with --send"
	}
	return usage(c, "%s cannot be used %s: leave it out", strings.Join(wrong, " and "), what)
}

// A demoRun says how the demo is shown.
type demoRun struct {
	out   string
	live  bool
	open  bool
	times float64
}

func runDemo(c *cobra.Command, l *loaded, sim *demo.Sim, how demoRun) error {
	out := how.out
	if err := os.MkdirAll(out, 0o777); err != nil {
		return fmt.Errorf("the folder for the demo: %w", err)
	}
	source, err := newDemoFeed(l, sim)
	if err != nil {
		return err
	}
	stdout := newProgressLine(c.OutOrStdout())
	source.progress, source.scenes = stdout, demo.Scenes(sim.Truth().Course)
	fmt.Fprintf(stdout, "%s on %s: an out-lap and a race of %d laps. What Earshot says:\n\n", l.car.Name, l.courseName(), sim.Truth().Laps)
	heard := speakers{printSpeaker{stdout}}
	if how.live {
		tell := func(s string) { fmt.Fprintf(c.ErrOrStderr(), "earshot: %s\n", s) }
		d, err := device.Open(c.Context(), l.cfg.Device, tell)
		if err != nil {
			return err
		}
		s := newDeviceSpeaker(l.voice, d, tell)
		defer s.close()
		heard = append(heard, s)
	}
	journalPath, audioPath := filepath.Join(out, "journal.jsonl"), filepath.Join(out, "cues.wav")
	a := &assistant.Assistant{
		Core:    l.core(),
		Session: journal.Session{ID: "demo", Feed: l.in.feed.Name, Car: l.car.Name, Course: l.courseName()},
	}
	if err := play(c, a, l, assistant.NewFeedTape(source, source.presses), how.times, journalPath, audioPath, heard); err != nil {
		return err
	}
	events, err := readJournal(journalPath)
	if err != nil {
		return err
	}
	page := filepath.Join(out, "debrief.html")
	if err := writePage(page, events, l); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "\nto hear:  %s\nto read:  %s (open it in a browser)\njournal:  %s\n", audioPath, page, journalPath)
	if how.open {
		return openPage(c.Context(), page)
	}
	return nil
}

// demoFeed is the simulated car behind the wire: its samples are encoded as datagrams and decoded again.
type demoFeed struct {
	sim      *demo.Sim
	encoder  *feed.Encoder
	decoder  feed.Decoder
	progress *progressLine
	scenes   []demo.Scene // still to be told
	lap      int          // of the last sample
	place    float64      // m from the line, likewise
}

func newDemoFeed(l *loaded, sim *demo.Sim) (*demoFeed, error) {
	encoder, err := feed.NewEncoder(l.feed, l.channels)
	if err != nil {
		return nil, err
	}
	decoder, err := l.feed.NewDecoder(l.channels)
	if err != nil {
		return nil, err
	}
	return &demoFeed{sim: sim, encoder: encoder, decoder: decoder}, nil
}

func (f *demoFeed) Read(_ context.Context, emit func(channel.Sample)) error {
	s, ok := f.sim.Next()
	if !ok {
		f.decoder.End(emit)
		return io.EOF
	}
	if f.lap, f.place = int(s.Row[channel.LapNumber]), s.Row[channel.LapDistance]; f.progress != nil {
		f.progress.show(f.lap, s.At, time.Now())
		for len(f.scenes) > 0 && f.scenes[0].Lap <= f.lap {
			fmt.Fprintf(f.progress, "\n%s\n\n", f.scenes[0].Text)
			f.scenes = f.scenes[1:]
		}
	}
	return f.encoder.Encode(s, func(p []byte) { f.decoder.Decode(p, s.At, emit) })
}

func (f *demoFeed) Stats() feed.Stats { return f.decoder.Stats() }

// presses gives the commands of the story's driver that have become due.
func (f *demoFeed) presses() []assistant.Input {
	var due []assistant.Input
	for _, p := range f.sim.Presses() {
		if f.progress != nil {
			does := "asks: how are the " + p.Command + "?"
			switch {
			case p.Memo != "":
				does = fmt.Sprintf("marks the corner and says: %q", p.Memo)
			case p.Command == "fuel":
				does = "asks: how is the fuel?"
			}
			printLine(f.progress, p.At, f.lap, f.place, "driver", does)
		}
		due = append(due, assistant.Input{Kind: assistant.KindCommand, At: p.At, Command: hand.Command(p.Command), Memo: p.Memo, Source: "demo"})
	}
	return due
}
