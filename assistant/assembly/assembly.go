package assembly

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
	"sync"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/course/store"
	"earshot/assistant/cue"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/assistant/timing"
	"earshot/audio/voice"
	"earshot/configs"
	"earshot/rules"
)

// A Request says what to build from.
type Request struct {
	Config
	Recorded []session.File // of a recording: they take the place of the files that Config names, except those in Over
	Over     []string       // feed, car, course, rules, reference
	Saved    bool           // look for the courses that are saved in Config's folder, and save there what is learned
	// Tell gets a line for people about each problem that does not end the run. nil: nobody reads them.
	Tell func(string)
}

// named tells whether the configuration decides about one of the things in Over.
func (r Request) named(what string) bool { return r.Recorded == nil || slices.Contains(r.Over, what) }

func (r Request) tell(text string) {
	if r.Tell != nil {
		r.Tell(text)
	}
}

// Parts are everything that an assistant is made of, checked.
type Parts struct {
	Config   Config
	Channels *channel.Set
	Feed     *feedfile.File
	Car      *car.Car
	Course   *course.File    // nil: none is named
	Known    []*course.Known // saved courses that can be recognised
	Rules    *rules.Set
	Bests    *timing.Bests // of earlier sessions; nil: they are not kept

	in      inputs
	names   *assistant.Vocabulary
	voice   *voice.Voice
	bestsOf map[string]*timing.Bests // of saved courses, where there is no course file
	folder  string                   // where courses are saved; empty: they are not
	saved   []store.Entry            // all that are there
	tell    func(string)
}

// Build reads and checks everything and reports every mistake in every file at once.
func Build(r Request) (*Parts, error) {
	var turn sync.Mutex
	p := &Parts{Config: r.Config, Channels: channel.NewSet(), tell: func(text string) {
		turn.Lock()
		defer turn.Unlock()
		r.tell(text)
	}}
	var err error
	if p.in, err = r.gather(); err != nil {
		return nil, err
	}
	var errs []error
	note := func(err error) {
		if err != nil {
			errs = append(errs, err)
		}
	}
	p.Feed, err = feedfile.ParseWith(p.in.feed.Name, p.in.feed.Data, p.Channels, p.in.open)
	note(err)
	if p.in.car.Kind == "" {
		p.in.car, err = p.in.carOf(p.Feed)
		note(err)
	}
	if err == nil || p.in.car.Data != nil {
		p.Car, err = car.Parse(p.in.car.Name, p.in.car.Data)
		note(err)
	}
	if p.in.course != nil {
		p.Course, err = course.ParseFile(p.in.course.Name, p.in.course.Data)
		note(err)
	}
	p.voice, err = OpenVoice(p.Config.Voice)
	note(err)
	if p.Feed == nil || p.Car == nil {
		return nil, errors.Join(errs...) // without them the rules' names would all look wrong
	}
	p.in.included = nil
	for _, i := range p.Feed.Includes() {
		p.in.included = append(p.in.included, session.File{Kind: session.IncludedFile, Name: i.Base(), Data: i.Data})
	}
	if p.Course != nil || p.in.course == nil {
		note(p.findCourses(r))
		note(p.findBests(r))
	}
	note(p.pitByDistance())
	p.names, p.Rules, err = p.compileRules(p.Car)
	note(err)
	return p, errors.Join(errs...)
}

// compileRules compiles the rules for what the feed, the course and a car have.
func (p *Parts) compileRules(k *car.Car) (*assistant.Vocabulary, *rules.Set, error) {
	names := assistant.NewVocabulary(p.Channels, p.Feed.Covers, k, p.Course, p.Config.Display())
	names.Speak(p.Config.Words().Spoken)
	if p.Bests != nil {
		names.KeepBests()
	}
	var sources []rules.Source
	for _, f := range p.in.rules {
		sources = append(sources, rules.Source{Name: f.Name, Data: f.Data})
	}
	set, err := rules.Compile(sources, names)
	return names, set, err
}

// CarNote says which calls are off for want of a car file, and how to get them; empty where there is one, or where none
// is off.
func (p *Parts) CarNote() string {
	if !p.in.carless() {
		return ""
	}
	_, with, err := p.compileRules(car.Baseline())
	if err != nil {
		return "" // it was told when the parts were built
	}
	on := map[string]bool{}
	for _, r := range p.Rules.Rules() {
		on[r.Name] = r.Active
	}
	var off []string
	for _, r := range with.Rules() {
		if r.Active && !on[r.Name] {
			off = append(off, r.Name)
		}
	}
	if off == nil {
		return ""
	}
	return "no car file is named, so no limit of the car is assumed and these rules are off: " +
		strings.Join(off, ", ") +
		". A car file gives its limits (`baseline: gt` in it fills in the common practice for a GT car on slicks): " +
		"--car FILE, or car: FILE in the configuration or in the feed file"
}

// Core returns a new core.
func (p *Parts) Core() *assistant.Core {
	advisories := p.Config.Talk.AdvisoriesPerLap
	if advisories == 0 {
		advisories = -1 // the user's 0 is "no limit", the scheduler's is "the default"
	}
	return assistant.NewCore(assistant.Setup{
		Channels: p.Channels, Car: p.Car, Course: p.Course, Known: p.Known, Rules: p.Rules, Names: p.names,
		Voice: p.voice, Words: p.Config.Words(),
		Bests: p.Bests, BestsOf: p.bestsOf,
		Talk:    cue.Config{Margin: p.Config.Talk.Margin.Seconds(), MaxAdvisoriesPerLap: advisories},
		MuteFor: p.Config.Talk.Mute.Seconds(),
	})
}

// FeedName is what the feed file is called.
func (p *Parts) FeedName() string { return p.in.feed.Name }

// CourseName is what the journal calls the course, and what the best laps on it are kept under; empty without a course
// file.
func (p *Parts) CourseName() string {
	if p.Course != nil {
		return p.Course.Name
	}
	return ""
}

// Head begins a journal.
func (p *Parts) Head(id string) journal.Session {
	return journal.Session{ID: id, Feed: p.FeedName(), Car: p.Car.Name, Course: p.CourseName()}
}

// Recorded begins a recording that replays alone.
func (p *Parts) Recorded(id string) session.Head {
	units := make([]string, p.Channels.Len())
	for i := range units {
		units[i] = channel.InsideUnit(p.Channels.At(channel.ID(i)).Quantity)
	}
	return session.Head{Session: id, Program: program(), Channels: p.Channels.Names(), Units: units,
		Files: p.in.files()}
}

// OpenVoice opens a voice that ships, with an installed synthesiser for what it lacks.
func OpenVoice(name string) (*voice.Voice, error) {
	pack, err := fs.Sub(configs.Files, path.Join("voices", name))
	if err == nil {
		_, err = fs.Stat(pack, ".")
	}
	if err != nil {
		var have []string
		entries, _ := configs.Files.ReadDir("voices")
		for _, e := range entries {
			if e.IsDir() {
				have = append(have, e.Name())
			}
		}
		return nil, fmt.Errorf("there is no voice %q: use %s", name, strings.Join(have, ", "))
	}
	return voice.Open(pack, voice.Installed())
}
