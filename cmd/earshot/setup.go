package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"path/filepath"
	"strings"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/course"
	"earshot/assistant/course/store"
	"earshot/assistant/cue"
	"earshot/assistant/feed"
	"earshot/assistant/session"
	"earshot/assistant/timing"
	"earshot/audio/voice"
	"earshot/configs"
	"earshot/rules"
)

// inputs are the files that decide what Earshot does, as bytes, so that a recording can hold them.
type inputs struct {
	feed, car session.File
	course    *session.File
	known     *session.File // the saved courses that could be recognised
	rules     []session.File
	included  []session.File               // what the feed file refers to, known once it is compiled
	open      func(string) ([]byte, error) // reads such a file by the path written in the feed file
	bests     *session.File                // best laps of earlier sessions, known once car and course are
	fresh     bool                         // a new session: best laps are read from where they are kept
	compare   bool                         // the lap to compare with is the configuration's
}

// files lists them all for a session's folder and recording. Names lose their folders; rule files are
// numbered, since their order counts and two may have one name.
func (in inputs) files() []session.File {
	list := []session.File{in.feed, in.car}
	if in.course != nil {
		list = append(list, *in.course)
	}
	if in.known != nil {
		list = append(list, *in.known)
	}
	list = append(list, in.included...)
	if in.bests != nil {
		list = append(list, *in.bests)
	}
	for i, f := range in.rules {
		f.Name = fmt.Sprintf("%02d-%s", i, filepath.Base(f.Name))
		list = append(list, f)
	}
	for i := range list {
		list[i].Name = filepath.Base(list[i].Name)
	}
	return list
}

// inputsOf is the reverse of files: what a recording holds.
func inputsOf(files []session.File) (inputs, error) {
	var in inputs
	for _, f := range files {
		switch f.Kind {
		case session.FeedFile:
			in.feed = f
		case session.CarFile:
			in.car = f
		case session.CourseFile:
			in.course = &f
		case session.KnownFile:
			in.known = &f
		case session.RulesFile:
			in.rules = append(in.rules, f)
		case session.IncludedFile:
			in.included = append(in.included, f)
		case session.BestsFile:
			in.bests = &f
		}
	}
	in.open = func(name string) ([]byte, error) {
		for _, f := range in.included {
			if strings.EqualFold(f.Name, path.Base(name)) {
				return f.Data, nil
			}
		}
		return nil, errors.New("the recording does not hold it")
	}
	if in.feed.Data == nil || in.car.Data == nil {
		return in, errors.New("the recording does not hold its feed and car files, so it does not replay alone")
	}
	return in, nil
}

// gather reads the files that the configuration names.
func gather(cfg Config) (inputs, error) {
	var in inputs
	var errs []error
	one := func(k kind, as string, name string) session.File {
		data, shown, err := k.read(name)
		if err != nil {
			errs = append(errs, err)
		}
		return session.File{Kind: as, Name: shown, Data: data}
	}
	in.feed = one(feedFiles, session.FeedFile, cfg.Feed)
	in.open = feedFiles.beside(cfg.Feed)
	in.car = one(carFiles, session.CarFile, cfg.Car)
	if cfg.Course != "" {
		f := one(courseFiles, session.CourseFile, cfg.Course)
		in.course = &f
	}
	sources, err := ruleFiles(cfg.Rules)
	if err != nil {
		errs = append(errs, err)
	}
	for _, s := range sources {
		in.rules = append(in.rules, session.File{Kind: session.RulesFile, Name: s.Name, Data: s.Data})
	}
	return in, errors.Join(errs...)
}

// loaded is everything checked and compiled.
type loaded struct {
	cfg      Config
	in       inputs
	channels *channel.Set
	feed     *feed.File
	car      *car.Car
	course   *course.File
	known    []*course.Known // that can be recognised
	saved    []store.Entry   // all that the user's folder has
	rules    *rules.Set
	names    *assistant.Vocabulary
	bests    *timing.Bests
	bestsOf  map[string]*timing.Bests // of saved courses, where there is no course file
	voice    *voice.Voice
}

// compile checks everything and reports every mistake in every file at once.
func compile(cfg Config, in inputs) (*loaded, error) {
	l := &loaded{cfg: cfg, in: in, channels: channel.NewSet()}
	var errs []error
	var err error
	if l.feed, err = feed.ParseWith(in.feed.Name, in.feed.Data, l.channels, in.open); err != nil {
		errs = append(errs, err)
	} else {
		l.in.included = nil
		for _, i := range l.feed.Includes() {
			l.in.included = append(l.in.included, session.File{Kind: session.IncludedFile, Name: i.Base(), Data: i.Data})
		}
	}
	if l.car, err = car.Parse(in.car.Name, in.car.Data); err != nil {
		errs = append(errs, err)
	}
	if in.course != nil {
		if l.course, err = course.ParseFile(in.course.Name, in.course.Data); err != nil {
			errs = append(errs, err)
		}
	}
	if l.known, err = knownIn(in.known); err != nil {
		errs = append(errs, err)
	}
	if l.voice, err = openVoice(cfg.Voice); err != nil {
		errs = append(errs, err)
	}
	if l.feed == nil || l.car == nil {
		return nil, errors.Join(errs...) // without them the rules' names would all look wrong
	}
	if l.course != nil || in.course == nil {
		if err := l.bring(); err != nil {
			errs = append(errs, err)
		}
	}
	if err := pitByDistance(l); err != nil {
		errs = append(errs, err)
	}
	l.names = assistant.NewVocabulary(l.channels, l.feed.Covers(l.channels), l.car, l.course, display(cfg.Units))
	if l.bests != nil {
		l.names.KeepBests()
	}
	var sources []rules.Source
	for _, f := range in.rules {
		sources = append(sources, rules.Source{Name: f.Name, Data: f.Data})
	}
	if l.rules, err = rules.Compile(sources, l.names); err != nil {
		errs = append(errs, err)
	}
	return l, errors.Join(errs...)
}

// load gathers and compiles what the configuration names.
func load(cfg Config) (*loaded, error) {
	in, err := gather(cfg)
	if err != nil {
		return nil, err
	}
	in.fresh, in.compare = true, true
	return compile(cfg, in)
}

// core returns a core for what was loaded.
func (l *loaded) core() *assistant.Core {
	advisories := l.cfg.Talk.AdvisoriesPerLap
	if advisories == 0 {
		advisories = -1 // the user's 0 is "no limit", the scheduler's is "the default"
	}
	return assistant.NewCore(assistant.Setup{
		Channels: l.channels, Car: l.car, Course: l.course, Known: l.known, Rules: l.rules, Names: l.names, Voice: l.voice, Bests: l.bests, BestsOf: l.bestsOf,
		Talk:    cue.Config{Margin: l.cfg.Talk.Margin.Seconds(), MaxAdvisoriesPerLap: advisories},
		MuteFor: l.cfg.Talk.Mute.Seconds(),
	})
}

// courseName is what the journal calls the course.
func (l *loaded) courseName() string {
	if l.course != nil {
		return l.course.Name
	}
	return ""
}

func display(units map[string]string) map[channel.Quantity]assistant.Display {
	d := make(map[channel.Quantity]assistant.Display)
	for name, unit := range units {
		q := unitQuantity[name]
		d[q] = assistant.Display{Unit: unit, Decimals: decimals(unit)}
		switch {
		case q == channel.Temperature && (unit == "°F" || unit == "degF"):
			d[channel.TemperatureDifference] = assistant.Display{Unit: "delta_degF"}
		case q == channel.Volume && strings.HasPrefix(unit, "gal_us"):
			d[channel.VolumePerLap] = assistant.Display{Unit: "gal_us/lap", Decimals: 2}
		}
	}
	return d
}

// decimals is how finely a driver hears a unit.
func decimals(unit string) int {
	switch unit {
	case "psi":
		return 1
	case "bar", "atm", "MPa":
		return 2
	}
	return 0
}

// openVoice opens a voice that ships, with an installed synthesiser for what it lacks.
func openVoice(name string) (*voice.Voice, error) {
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
	return voice.Open(pack, voice.With(voice.Installed()), voice.Lazily())
}

// table prints rows in columns that line up.
func table(w io.Writer, rows [][]string) {
	var width []int
	for _, r := range rows {
		for i, cell := range r {
			if i == len(width) {
				width = append(width, 0)
			}
			width[i] = max(width[i], len([]rune(cell)))
		}
	}
	for _, r := range rows {
		var b strings.Builder
		for i, cell := range r {
			b.WriteString(cell)
			if i < len(r)-1 {
				b.WriteString(strings.Repeat(" ", width[i]-len([]rune(cell))+2))
			}
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
}
