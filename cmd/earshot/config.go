package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/viper"

	"earshot/assistant/assembly"
	"earshot/assistant/folder"
	"earshot/configs/document"
)

// flagKeys are the flags that set a key of the same name.
var flagKeys = []string{"feed", "car", "course", "rules", "voice", "device", "reference", "bests", "courses"}

// loadConfig reads the configuration for command c. It comes from, in rising order: the defaults, the configuration
// file, EARSHOT_* variables, flags.
func loadConfig(c *cobra.Command) (assembly.Config, error) {
	v := viper.New()
	d := assembly.Defaults()
	for key, value := range map[string]any{
		"feed": d.Feed, "car": d.Car, "course": d.Course, "rules": d.Rules, "voice": d.Voice, "language": d.Language,
		"device": d.Device, "data_dir": d.DataDir,
		"reference": d.Reference, "bests": d.Bests, "courses": d.Courses, "units": d.Units,
		"talk.margin": d.Talk.Margin, "talk.advisories_per_lap": d.Talk.AdvisoriesPerLap, "talk.mute": d.Talk.Mute,
	} {
		v.SetDefault(key, value)
	}
	for command, key := range d.Keys {
		v.SetDefault("keys."+command, key)
	}
	for _, e := range os.Environ() { // viper asks the environment only for what it knows
		name, _, _ := strings.Cut(e, "=")
		if command, ok := strings.CutPrefix(name, "EARSHOT_KEYS_"); ok && d.Keys[strings.ToLower(command)] == "" {
			v.SetDefault("keys."+strings.ToLower(command), "")
		}
	}
	v.SetEnvPrefix("EARSHOT")
	v.SetEnvKeyReplacer(strings.NewReplacer(".", "_"))
	v.AutomaticEnv()
	path, err := configPath(c)
	if err != nil {
		return assembly.Config{}, err
	}
	if path != "" {
		v.SetConfigType("yaml")
		text, err := folder.ReadFile(path, 1<<20)
		if err == nil {
			if err := checkKeys(path, text); err != nil {
				return assembly.Config{}, err
			}
			err = v.ReadConfig(bytes.NewReader(text))
		}
		if err != nil {
			return assembly.Config{}, fmt.Errorf("reading the configuration %s: %w", path, err)
		}
	} else {
		path = "the configuration"
	}
	for _, name := range flagKeys {
		if f := c.Flags().Lookup(name); f != nil {
			if err := v.BindPFlag(name, f); err != nil {
				return assembly.Config{}, err
			}
		}
	}
	if f := c.Flags().Lookup("sessions"); f != nil {
		if err := v.BindPFlag("data_dir", f); err != nil {
			return assembly.Config{}, err
		}
	}
	var cfg assembly.Config
	if err := v.UnmarshalExact(&cfg); err != nil {
		return assembly.Config{}, fmt.Errorf("%s: %w", path, err)
	}
	return cfg, cfg.Validate(path)
}

// checkKeys reports every unknown key of the configuration at its place, which viper does not know.
func checkKeys(path string, text []byte) error {
	r, top := document.Read(path, text, "")
	tags := func(of reflect.Type) (names []string) {
		for f := range of.Fields() {
			names = append(names, f.Tag.Get("mapstructure"))
		}
		return names
	}
	if top != nil {
		o := r.Object(top, "the configuration", tags(reflect.TypeFor[assembly.Config]())...)
		r.Object(o.Get("talk"), "talk", tags(reflect.TypeFor[assembly.Talk]())...)
	}
	return r.Err()
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
		return "", nil // no home: the defaults hold
	}
	path := filepath.Join(dir, "earshot", "earshot.yaml")
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	return path, nil
}

// addFileFlags adds the flags for feed, car, course, rules and voice.
func addFileFlags(c *cobra.Command) {
	c.Flags().String("feed", "", "feed file, or the name of one (default: demo)")
	c.Flags().String("car", "", "car file, or the name of one (default: the one that the feed file names, else none)")
	c.Flags().String("course", "", "course file, or the name of one (default: learned)")
	c.Flags().StringSlice("rules", nil, "rules file or folder, on top of the rules that ship; may be given again")
	c.Flags().String("voice", "", "name of a voice")
}

// addBestsFlags adds the flags about laps of other sessions.
func addBestsFlags(c *cobra.Command) {
	c.Flags().String("reference", "", "lap to compare with: SESSION or SESSION:LAP of an earlier session, or of a "+
		"recording (default: the best of all sessions)")
	c.Flags().String("bests", "", "folder of the best laps of all sessions, or none (default: in the user's state "+
		"folder)")
}

func addCoursesFlag(c *cobra.Command, about string) { c.Flags().String("courses", "", about) }

// addSessionsFlag adds the flag that takes the place of data_dir.
func addSessionsFlag(c *cobra.Command, about string) {
	c.Flags().String("sessions", "", about+" (default: the user's data folder)")
}

// configured makes a command of run, which gets the configuration with the flags. Files that flags name replace those
// of a recording.
func configured(run func(c *cobra.Command, r assembly.Request, args []string) error) func(*cobra.Command,
	[]string) error {
	return func(c *cobra.Command, args []string) error {
		cfg, err := loadConfig(c)
		if err != nil {
			return err
		}
		r := assembly.Request{Config: cfg, Tell: tellOn(c), Over: []string{}}
		for _, name := range []string{"feed", "car", "course", "rules", "reference"} {
			if c.Flags().Changed(name) {
				r.Over = append(r.Over, name)
			}
		}
		return run(c, r, args)
	}
}
