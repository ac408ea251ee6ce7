package assembly

import (
	"errors"
	"fmt"
	"path"
	"path/filepath"
	"strings"

	"earshot/assistant/feed/feedfile"
	"earshot/assistant/session"
)

// inputs are the files that decide what Earshot does, as bytes, so that a recording can hold them.
type inputs struct {
	feed, car session.File
	course    *session.File
	known     *session.File // the saved courses that could be recognised
	bests     *session.File // best laps of earlier sessions
	rules     []session.File
	included  []session.File               // what the feed file refers to
	open      func(string) ([]byte, error) // reads such a file by the path written in the feed file
}

// files lists them all for a session's folder and recording. Names lose their folders; rule files are
// numbered, since their order counts and two may have one name.
func (in inputs) files() []session.File {
	list := []session.File{in.feed, in.car}
	for _, f := range []*session.File{in.course, in.known} {
		if f != nil {
			list = append(list, *f)
		}
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
		case session.BestsFile:
			in.bests = &f
		case session.RulesFile:
			in.rules = append(in.rules, f)
		case session.IncludedFile:
			in.included = append(in.included, f)
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

// carless tells whether no car file is named.
func (in inputs) carless() bool { return in.car.Name == None+".yaml" }

// carOf reads the car file that goes with a feed, where the user names none.
func (in inputs) carOf(f *feedfile.File) (session.File, error) {
	name := None
	if f != nil && f.Car != "" {
		name = f.Car
	}
	data, shown, err := []byte(nil), name, error(nil)
	if isPath(name) && !filepath.IsAbs(name) && in.open != nil {
		if data, err = in.open(name); err != nil {
			err = fmt.Errorf("the car file that the feed file names: %w", err)
		}
	} else {
		data, shown, err = Cars.Read(name)
	}
	return session.File{Kind: session.CarFile, Name: shown, Data: data}, err
}

// gather reads the files: those of the recording, and those that the configuration names.
func (r Request) gather() (in inputs, err error) {
	if r.Recorded != nil {
		if in, err = inputsOf(r.Recorded); err != nil {
			return in, err
		}
	}
	var errs []error
	one := func(k Kind, as, name string) (session.File, func(string) ([]byte, error)) {
		data, shown, beside, err := k.find(name)
		if err != nil {
			errs = append(errs, err)
		}
		return session.File{Kind: as, Name: shown, Data: data}, beside
	}
	if r.named("feed") {
		in.feed, in.open = one(Feeds, session.FeedFile, r.Feed)
	}
	if r.named("car") && r.Car != "" {
		in.car, _ = one(Cars, session.CarFile, r.Car)
	}
	if r.named("course") && r.Course != "" {
		f, _ := one(Courses, session.CourseFile, r.Course)
		in.course = &f
	}
	if r.named("rules") {
		sources, err := ruleFiles(r.Rules)
		if err != nil {
			errs = append(errs, err)
		}
		in.rules = nil
		for _, s := range sources {
			in.rules = append(in.rules, session.File{Kind: session.RulesFile, Name: s.Name, Data: s.Data})
		}
	}
	return in, errors.Join(errs...)
}
