package assembly

import (
	"fmt"

	"earshot/assistant"
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

// Check tells what the parts come to.
func (p *Parts) Check() Checked {
	found := Checked{Feed: p.FeedName(), Answers: p.Rules.Asks()}
	for _, id := range p.Feed.Covers(p.Channels) {
		found.Channels = append(found.Channels, p.Channels.At(id).Name)
	}
	for _, r := range p.Rules.Rules() {
		found.Rules = append(found.Rules, CheckedRule{r.Name, r.File, string(r.Priority), r.Active, r.Instances, r.Why, r.Learned})
	}
	phrases := append(p.Rules.Phrases(), assistant.Phrases(p.Config.Words(), p.Rules.Asks())...)
	for _, text := range phrases {
		if _, covered := p.voice.Duration(text); !covered {
			found.Unspoken = append(found.Unspoken, text)
		}
	}
	for _, s := range p.Feed.Sources() {
		if at := s.Transport.Exposed(); at != "" && len(s.Transport.From) == 0 {
			found.Notes = append(found.Notes, fmt.Sprintf("the feed listens on %s: anyone on the network can send to it, unless transport: has from: [ADDRESS]", at))
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
