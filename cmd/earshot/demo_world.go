package main

import (
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/demo"
)

// worldSettings are what --with switches on: one choice each among those that package demo has.
var worldSettings = []struct {
	name string
	set  func(*demo.Options)
}{
	{"rivals", func(o *demo.Options) { o.Rivals = 9 }},
	{"weather", func(o *demo.Options) { o.Weather.AirDrift, o.Weather.RoadDrift, o.Weather.Cloud = 3, 8, 2.5 }},
	{"rain", func(o *demo.Options) {
		o.Weather.Rain = append(o.Weather.Rain, demo.Shower{From: 120, To: 600, Amount: 0.8})
	}},
	{"stop", func(o *demo.Options) {
		stop := demo.Stop{Lap: max(1, laps(o)/2), Fuel: 12, Tyres: true}
		if len(o.Weather.Rain) > 0 {
			stop.Compound = 5 // wet tyres
		}
		o.Stops = append(o.Stops, stop)
	}},
	{"caution", func(o *demo.Options) {
		o.Faults = append(o.Faults, demo.Fault{Kind: demo.Caution, FromLap: max(1, laps(o)-2), Corner: 1, Amount: 120})
	}},
	{"time", func(o *demo.Options) { o.Duration = 15 * 60 }},
}

func laps(o *demo.Options) int {
	if o.Laps == 0 {
		return demo.StoryLaps
	}
	return o.Laps
}

func worldParts() (names []string) {
	for _, w := range worldSettings {
		names = append(names, w.name)
	}
	return names
}

// putWorld switches on what the list names.
func putWorld(c *cobra.Command, o *demo.Options, list string) error {
	if list == "" {
		return nil
	}
	wanted := strings.Split(list, ",")
	for i := range wanted {
		wanted[i] = strings.TrimSpace(wanted[i])
		if !slices.Contains(worldParts(), wanted[i]) {
			return usage(c, "--with %s: use a list of %s", wanted[i], strings.Join(worldParts(), ", "))
		}
	}
	for _, w := range worldSettings { // in this order, however they are written
		if slices.Contains(wanted, w.name) {
			w.set(o)
		}
	}
	return nil
}

// putFaults switches on what the flags name, and tells all mistakes at once.
func putFaults(o *demo.Options, list []string) error {
	var errs []error
	for _, text := range list {
		f, err := demo.ParseFault(text)
		errs = append(errs, err)
		o.Faults = append(o.Faults, f)
	}
	return errors.Join(errs...)
}
