package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"earshot/assistant"
	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
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

By default it goes as fast as it can. --speed 20 prints at a pace to read along; --live goes in real time and plays
through the sound device.

--send only sends the feed, a source for earshot run: in real time, to files as fast as it can. --as json sends every
channel of the car, as the feed demo-json describes; --as nmea,can sends a receiver beside a bus, as demo-bus describes.

--write leaves samples.csv (every channel of the car, with units), feed.yaml, which describes it, and truth.json, what
really happened. The same seed writes the same bytes.

--with adds rivals, weather, rain, stop, caution or time to a drive that is sent or written. --fault puts a fault into a
lap and a corner; the truth lists it.`,
		Example: `  earshot demo
  earshot demo --live
  earshot demo --speed 20 --open
  earshot demo --send udp://127.0.0.1:47119
  earshot demo --send udp://127.0.0.1:47123,udp://127.0.0.1:47125 --as nmea,can
  earshot demo --send file:gps.nmea,file:can.log --as nmea,can
  earshot demo --write drive --seed 7 --laps 20 --course ledger
  earshot demo --write drive --story=false --with rivals,stop --fault lock:fl@3.4 --fault leak:rr=8@2-6`,
		Args: cobra.NoArgs,
	}
	c.Flags().StringVar(&out, "out", "demo-out", "folder for what the demo leaves")
	c.Flags().BoolVar(&live, "live", false, "real time, through the sound device")
	c.Flags().StringVar(&speed, "speed", "", "times real time, or max (default: max, with --live or --send over a "+
		"network 1)")
	c.Flags().StringVar(&deviceName, "device", "", "sound device for --live: auto, pulse, oto, portaudio, wav:FILE, "+
		"silent")
	c.Flags().Uint64Var(&o.Seed, "seed", 1, "of the noise in car and driver")
	c.Flags().BoolVar(&open, "open", false, "show the debrief in a browser at the end")
	c.Flags().StringVar(&send, "send", "", "send the feed: a list of udp://HOST:PORT, tcp://HOST:PORT, file:PATH")
	c.Flags().StringVar(&as, "as", assembly.AsPacket,
		"with --send: packet, json, nmea, can or csv, one for all or one for each place")
	c.Flags().StringVar(&with, "with", "", "with --write or --send, a list of: "+strings.Join(worldParts(), ", "))
	c.Flags().StringArrayVar(&faults, "fault", nil, "with --write or --send, once or more: KIND[:WHEEL or "+
		"CHANNEL][=AMOUNT]@LAP[-LAP][.CORNER], such as lock:fl=1.4@3.4")
	c.Flags().BoolVar(&o.Story, "story", true, "with --write or --send: the faults and presses of the story")
	c.Flags().StringVar(&write, "write", "", "write samples.csv, feed.yaml and truth.json into this folder")
	c.Flags().IntVar(&o.Laps, "laps", 0, "laps of the race, with --write or --send")
	c.Flags().StringVar(&o.Course, "course", "", "course, with --write or --send: "+strings.Join(demo.Courses(), ", "))
	c.Flags().Float64Var(&o.Rate, "rate", 0, "samples per second, with --write or --send")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, _ []string) error {
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
		var to []assembly.Destination
		if send != "" {
			var err error
			if to, err = destinations(c, send, as); err != nil {
				return err
			}
		}
		if speed == "" {
			speed = "max"
			if live || send != "" && !assembly.AllFiles(to) {
				speed = "1"
			}
		}
		times, err := parseSpeed(c, speed)
		if err != nil {
			return err
		}
		p, err := assembly.Build(r.ForDemo())
		if err != nil {
			return err
		}
		sim, err := demo.New(p.Channels, o)
		if err != nil {
			return err
		}
		if send != "" {
			return p.SendDemo(c.Context(), sim, to, times, func(line string) { fmt.Fprintln(c.ErrOrStderr(), line) })
		}
		return runDemo(c, p, sim, demoRun{out: out, live: live, open: open, times: times})
	})
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

func runDemo(c *cobra.Command, p *assembly.Parts, sim *demo.Sim, how demoRun) error {
	out := how.out
	if err := os.MkdirAll(out, 0o777); err != nil {
		return fmt.Errorf("the folder for the demo: %w", err)
	}
	stdout := newProgressLine(c.OutOrStdout())
	d, err := assembly.NewDemoDrive(p, sim, watchDemo(stdout, demo.Scenes(sim.Truth().Course)))
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s on %s: an out-lap and a race of %d laps. What Earshot says:\n\n", p.Car.Name,
		p.CourseName(), sim.Truth().Laps)
	journalPath, audioPath := filepath.Join(out, "journal.jsonl"), filepath.Join(out, "cues.wav")
	err = journalInto(c, journalPath, func(s assistant.Sink) error {
		_, err := d.Replay(c.Context(), assembly.Playback{
			Speed: how.times, Audio: audioPath, Device: how.live,
			Sinks: []assistant.Sink{s, assistant.SpeakTo(printSpeaker{stdout})},
		})
		return err
	})
	if err != nil {
		return err
	}
	events, err := assembly.ReadJournal(journalPath)
	if err != nil {
		return err
	}
	page := filepath.Join(out, "debrief.html")
	if err := assembly.WritePage(page, p.Config.Debrief(events, p.Car)); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "\nto hear:  %s\nto read:  %s (open it in a browser)\njournal:  %s\n", audioPath, page,
		journalPath)
	if how.open {
		return openPage(c.Context(), page)
	}
	return nil
}

// watchDemo tells on a terminal where the drive is, what happens in it, and what its driver presses.
func watchDemo(out *progressLine, scenes []demo.Scene) assembly.DemoWatcher {
	return assembly.DemoWatcher{
		Sample: func(s channel.Sample) {
			lap := int(s.Row[channel.LapNumber])
			out.show(lap, s.At, time.Now())
			for len(scenes) > 0 && scenes[0].Lap <= lap {
				fmt.Fprintf(out, "\n%s\n\n", scenes[0].Text)
				scenes = scenes[1:]
			}
		},
		Press: func(p demo.Press, last channel.Row) {
			does := "asks: how are the " + p.Command + "?"
			switch {
			case p.Memo != "":
				does = fmt.Sprintf("marks the corner and says: %q", p.Memo)
			case p.Command == "fuel":
				does = "asks: how is the fuel?"
			}
			assembly.PrintLine(out, p.At, int(last[channel.LapNumber]), last[channel.LapDistance], "driver", does)
		},
	}
}
