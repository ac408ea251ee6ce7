package assembly

import (
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"earshot/assistant"
	"earshot/assistant/channel"
	"earshot/assistant/course/store"
	"earshot/assistant/folder"
	"earshot/assistant/hand"
	"earshot/assistant/session"
	"earshot/assistant/words"
)

// Config is everything a user can set outside feed, car, course and rules files.
type Config struct {
	Feed     string            `mapstructure:"feed"`
	Car      string            `mapstructure:"car"` // empty: the one that the feed file names, else none
	Course   string            `mapstructure:"course"`
	Rules    []string          `mapstructure:"rules"`
	Voice    string            `mapstructure:"voice"`
	Language string            `mapstructure:"language"` // of what Earshot says besides the rules; empty: English
	Device   string            `mapstructure:"device"`
	DataDir  string            `mapstructure:"data_dir"`
	Courses  string            `mapstructure:"courses"` // folder of the saved courses, or none
	Keys     map[string]string `mapstructure:"keys"`
	Units    map[string]string `mapstructure:"units"`
	Talk     Talk              `mapstructure:"talk"`

	Reference string `mapstructure:"reference"` // the lap to compare with: SESSION or SESSION:LAP
	Bests     string `mapstructure:"bests"`     // folder of the best laps of all sessions, or none
}

// Talk sets when Earshot speaks.
type Talk struct {
	Margin           time.Duration `mapstructure:"margin"`
	AdvisoriesPerLap int           `mapstructure:"advisories_per_lap"`
	Mute             time.Duration `mapstructure:"mute"`
}

// None is what the folders of courses and of best laps are called where there is to be none.
const None = "none"

// Defaults is the configuration of a user who has set nothing.
func Defaults() Config {
	return Config{
		Feed: "demo", Voice: "clear", Language: words.English.Name, Device: "auto",
		Keys: map[string]string{"mark": "F9", "fuel": "F10", "tyres": "F11", "brakes": "F12", "repeat": "F8",
			"mute": "F7"},
		Units: map[string]string{"pressure": "psi", "temperature": "°C", "speed": "km/h", "volume": "l"},
		Talk:  Talk{Margin: 500 * time.Millisecond, AdvisoriesPerLap: 4, Mute: 2 * time.Minute},
	}
}

var unitQuantity = map[string]channel.Quantity{
	"pressure": channel.Pressure, "temperature": channel.Temperature, "speed": channel.Velocity,
	"volume": channel.Volume,
}

// Validate reports every mistake. path is what they are reported under.
func (c Config) Validate(path string) error {
	var errs []error
	bad := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("%s: "+format, append([]any{path}, args...)...))
	}
	for _, name := range sortedKeys(c.Units) {
		q, ok := unitQuantity[name]
		if !ok {
			bad("units.%s: there is nothing of that name to set: use %s", name,
				strings.Join(sortedKeys(unitQuantity), ", "))
			continue
		}
		if u, ok := channel.UnitNamed(c.Units[name]); !ok || u.Quantity != q {
			bad("units.%s is %q: use one of %s", name, c.Units[name], strings.Join(channel.UnitsOf(q), ", "))
		}
	}
	if _, err := words.Named(c.Language); err != nil {
		bad("language: %v", err)
	}
	if c.Talk.Margin < 0 {
		bad("talk.margin is %v: it must not be less than 0", c.Talk.Margin)
	}
	if c.Talk.AdvisoriesPerLap < 0 {
		bad("talk.advisories_per_lap is %d: it must not be less than 0", c.Talk.AdvisoriesPerLap)
	}
	if c.Talk.Mute <= 0 {
		bad("talk.mute is %v: it must be more than 0", c.Talk.Mute)
	}
	return errors.Join(errs...)
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// Words is the language in which Earshot speaks.
func (c Config) Words() *words.Language {
	l, err := words.Named(c.Language)
	if err != nil { // a recording of a later version
		return words.English
	}
	return l
}

// SessionsFolder is where sessions are kept.
func (c Config) SessionsFolder() (string, error) {
	if c.DataDir != "" {
		return c.DataDir, nil
	}
	return session.Root()
}

// CoursesFolder is where learned courses are kept; empty: they are not.
func (c Config) CoursesFolder() (string, error) {
	switch c.Courses {
	case None:
		return "", nil
	case "":
		return store.Root()
	}
	return c.Courses, nil
}

// BestsFolder is where the best laps of all sessions are kept; empty: they are not.
func (c Config) BestsFolder() (string, error) {
	switch c.Bests {
	case None:
		return "", nil
	case "":
		dir, err := folder.State()
		return filepath.Join(dir, "bests"), err
	}
	return c.Bests, nil
}

// Bindings checks the keys of the configuration; the questions that the rules answer can be bound too. An empty key
// takes a binding away.
func (p *Parts) Bindings() (*hand.Bindings, error) {
	var list []hand.Binding
	for _, command := range sortedKeys(p.Config.Keys) {
		if key := p.Config.Keys[command]; key != "" {
			list = append(list, hand.Binding{Key: key, Command: command})
		}
	}
	b, err := hand.Bind(list, p.Rules.Asks())
	if err != nil {
		return nil, fmt.Errorf("the keys in the configuration:\n%w", err)
	}
	return b, nil
}

// Display says how quantities are spoken and shown.
func (c Config) Display() map[channel.Quantity]assistant.Display {
	d := make(map[channel.Quantity]assistant.Display)
	for name, unit := range c.Units {
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
