package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/viper"

	"earshot/assistant/channel"
)

// Config is everything a user can set outside feed, car, course and rules files. It comes from, in
// rising order: the defaults, the configuration file, EARSHOT_* variables, flags.
type Config struct {
	Feed    string            `mapstructure:"feed"`
	Car     string            `mapstructure:"car"`
	Course  string            `mapstructure:"course"`
	Rules   []string          `mapstructure:"rules"`
	Voice   string            `mapstructure:"voice"`
	Device  string            `mapstructure:"device"`
	DataDir string            `mapstructure:"data_dir"`
	Courses string            `mapstructure:"courses"`
	Keys    map[string]string `mapstructure:"keys"`
	Units   map[string]string `mapstructure:"units"`
	Talk    Talk              `mapstructure:"talk"`

	Reference string `mapstructure:"reference"` // the lap to compare with: SESSION or SESSION:LAP
	Bests     string `mapstructure:"bests"`     // folder of the best laps of all sessions, or none
}

// Talk sets when Earshot speaks.
type Talk struct {
	Margin           time.Duration `mapstructure:"margin"`
	AdvisoriesPerLap int           `mapstructure:"advisories_per_lap"`
	Mute             time.Duration `mapstructure:"mute"`
}

var defaultKeys = map[string]string{
	"mark": "F9", "fuel": "F10", "tyres": "F11", "brakes": "F12", "repeat": "F8", "mute": "F7",
}

var unitQuantity = map[string]channel.Quantity{
	"pressure": channel.Pressure, "temperature": channel.Temperature, "speed": channel.Velocity, "volume": channel.Volume,
}

// flagKeys are the flags that set a key of the same name.
var flagKeys = []string{"feed", "car", "course", "rules", "voice", "device", "reference", "bests", "courses"}

// loadConfig reads the configuration for command c.
func loadConfig(c *cobra.Command) (Config, error) {
	v := viper.New()
	v.SetDefault("feed", "demo")
	v.SetDefault("car", "demo")
	v.SetDefault("course", "")
	v.SetDefault("rules", []string{})
	v.SetDefault("voice", "clear")
	v.SetDefault("device", "auto")
	v.SetDefault("data_dir", "")
	v.SetDefault("reference", "")
	v.SetDefault("bests", "")
	v.SetDefault("courses", "")
	for command, key := range defaultKeys {
		v.SetDefault("keys."+command, key)
	}
	v.SetDefault("units", map[string]string{"pressure": "psi", "temperature": "°C", "speed": "km/h", "volume": "l"})
	v.SetDefault("talk.margin", "500ms")
	v.SetDefault("talk.advisories_per_lap", 4)
	v.SetDefault("talk.mute", "2m")
	v.SetEnvPrefix("EARSHOT")
	v.SetEnvKeyReplacer(strings.NewReplacer(".", "_"))
	v.AutomaticEnv()
	path, err := configPath(c)
	if err != nil {
		return Config{}, err
	}
	if path != "" {
		v.SetConfigFile(path)
		v.SetConfigType("yaml")
		if err := v.ReadInConfig(); err != nil {
			return Config{}, fmt.Errorf("reading the configuration %s: %w", path, err)
		}
	} else {
		path = "the configuration"
	}
	for _, name := range flagKeys {
		if f := c.Flags().Lookup(name); f != nil {
			if err := v.BindPFlag(name, f); err != nil {
				return Config{}, err
			}
		}
	}
	var cfg Config
	if err := v.UnmarshalExact(&cfg); err != nil {
		return Config{}, fmt.Errorf("%s: %w", path, err)
	}
	return cfg, cfg.validate(path)
}

func configPath(c *cobra.Command) (string, error) {
	given, _ := c.Flags().GetString("config")
	if given == "" {
		given = os.Getenv("EARSHOT_CONFIG")
	}
	if given != "" {
		if _, err := os.Stat(given); err != nil {
			return "", fmt.Errorf("the configuration file: %w", err)
		}
		return given, nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", nil // no home: the defaults do
	}
	path := filepath.Join(dir, "earshot", "earshot.yaml")
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	return path, nil
}

// validate reports every mistake.
func (c Config) validate(path string) error {
	var errs []error
	bad := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("%s: "+format, append([]any{path}, args...)...))
	}
	for _, name := range sortedKeys(c.Units) {
		q, ok := unitQuantity[name]
		if !ok {
			bad("units.%s: there is nothing of that name to set: use %s", name, strings.Join(sortedKeys(unitQuantity), ", "))
			continue
		}
		if u, ok := channel.UnitNamed(c.Units[name]); !ok || u.Quantity != q {
			bad("units.%s is %q: use one of %s", name, c.Units[name], strings.Join(channel.UnitsOf(q), ", "))
		}
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

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
