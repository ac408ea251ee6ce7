package assembly

import (
	"cmp"
	"fmt"
	"path/filepath"
	"strings"

	"earshot/assistant"
	"earshot/assistant/car"
	"earshot/assistant/folder"
	"earshot/assistant/session/model"
	"earshot/rules"
	"earshot/rules/story"
)

// A Checked tells which rules are on with a feed and a car, as `earshot check --json` writes it.
type Checked struct {
	Feed     string        `json:"feed"`
	Channels []string      `json:"channels"`
	Rules    []CheckedRule `json:"rules"`
	Answers  []string      `json:"answers"`
	Unspoken []string      `json:"not_in_voice,omitempty"`
	Courses  []string      `json:"courses,omitempty"` // saved, that can be recognised
	Notes    []string      `json:"notes,omitempty"`
	Driven   *Driven       `json:"driven,omitempty"` // what a session has shown of it
}

// A CheckedRule is on, or off for reasons.
type CheckedRule struct {
	Name      string   `json:"name"`
	File      string   `json:"file"`
	Priority  string   `json:"priority"`
	On        bool     `json:"on"`
	Instances []string `json:"instances,omitempty"`
	Why       []string `json:"why,omitempty"`
	Learned   []string `json:"learned,omitempty"` // what has to be learned while driving before it can speak
}

// Test tries a file of tests (configs/rules/README.md describes it) on the rules, and on others that it names.
func (p *Parts) Test(name string) ([]story.Result, error) {
	data, err := readFile(name)
	if err != nil {
		return nil, fmt.Errorf("the tests: %w", err)
	}
	b := story.Bench{Words: p.names, Open: func(rel string) ([]byte, error) {
		return folder.ReadFile(filepath.Join(filepath.Dir(name), filepath.FromSlash(rel)), mostRules)
	}}
	for _, f := range p.in.rules {
		b.Rules = append(b.Rules, rules.Source{Name: f.Name, Data: f.Data})
	}
	b.Car = func(named string) (rules.Vocabulary, error) {
		if isPath(named) && !filepath.IsAbs(named) {
			named = filepath.Join(filepath.Dir(name), filepath.FromSlash(named))
		}
		data, shown, err := Cars.Read(named)
		if err != nil {
			return nil, err
		}
		k, err := car.Parse(shown, data)
		if err != nil {
			return nil, err
		}
		return assistant.NewVocabulary(p.Channels, p.Feed.Covers, k, p.Course, p.Config.Display()), nil
	}
	return story.Run(name, data, b)
}

// Check lists which rules are on with these parts, and notes.
func (p *Parts) Check() Checked {
	found := Checked{Feed: p.FeedName(), Answers: p.Rules.Asks()}
	for _, id := range p.Feed.Covers {
		found.Channels = append(found.Channels, p.Channels.At(id).Name)
	}
	for _, r := range p.Rules.Rules() {
		found.Rules = append(found.Rules, CheckedRule{r.Name, r.File, string(r.Priority), r.Active, r.Instances, r.Why,
			r.Learned})
	}
	phrases := append(p.Rules.Phrases(), assistant.Phrases(p.Config.Words(), p.Rules.Asks())...)
	for _, text := range phrases {
		if _, covered := p.voice.Duration(text); !covered {
			found.Unspoken = append(found.Unspoken, text)
		}
	}
	for _, s := range p.Feed.Sources() {
		if at := s.Transport.Exposed(); at != "" && len(s.Transport.From) == 0 {
			found.Notes = append(found.Notes, fmt.Sprintf("the feed listens on %s: anyone on the network can send "+
				"to it, unless transport: has from: [ADDRESS]", at))
		}
	}
	for _, k := range p.Known {
		found.Courses = append(found.Courses, k.Name)
	}
	if text := p.CarNote(); text != "" {
		found.Notes = append(found.Notes, text)
	}
	found.Notes = append(found.Notes, p.courseNotes()...)
	return found
}

// Driven is what a session has shown of what has to be learned, and of sensors that did not measure.
type Driven struct {
	Session string          `json:"session"`
	Learned []model.Learned `json:"learned,omitempty"`
	Sensors []model.Episode `json:"sensors,omitempty"`
}

// Driven reads the journal of a session: an id or its beginning, "last", the session's folder, or the path of a
// journal.
func (c Config) Driven(ref string) (*Driven, error) {
	found, err := c.FindJournal(ref)
	if err != nil {
		return nil, err
	}
	events, err := ReadJournal(found.Journal)
	if len(events) == 0 && err != nil {
		return nil, err
	}
	m := model.Of(events)
	d := &Driven{Session: cmp.Or(m.ID, found.Journal), Learned: m.Learned}
	for _, e := range m.Health {
		if strings.HasPrefix(e.Part, "sensor ") {
			d.Sensors = append(d.Sensors, e)
		}
	}
	return d, nil
}
