package assembly

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"earshot/assistant"
	"earshot/assistant/journal"
	"earshot/assistant/session"
	"earshot/assistant/timing"
)

// referenceLap finds the lap that the configuration names, SESSION or SESSION:LAP, by driving that session's recording
// again. Without a number it is the best valid flying lap.
func referenceLap(cfg Config) (*timing.Trace, error) {
	ref, number := cfg.Reference, 0
	if i := strings.LastIndexByte(ref, ':'); i > 0 {
		if n, err := strconv.Atoi(ref[i+1:]); err == nil && n > 0 {
			ref, number = ref[:i], n
		}
	}
	path := ref
	if !strings.HasSuffix(ref, ".mcap") {
		root, err := cfg.SessionsFolder()
		if err != nil {
			return nil, err
		}
		d, err := session.Find(root, ref)
		if err != nil {
			return nil, err
		}
		path = d.Recording()
	}
	// The lap is found by its time and its place alone: what is kept of other sessions has no part in it.
	cfg.Reference, cfg.Bests = "", None
	d, err := openRecording(Request{Config: cfg, Over: []string{"rules"}}, path)
	if err != nil {
		return nil, err
	}
	defer d.Close()
	trace, laps, err := findLap(d.Core(), d.Inputs, number)
	switch {
	case err != nil || trace != nil:
		return trace, err
	case number > 0:
		return nil, fmt.Errorf("the session has no lap %d that was seen whole: it has %d laps", number, laps)
	}
	return nil, fmt.Errorf("none of the session's %d laps is a valid flying lap that was seen whole: name one, %s:LAP",
		laps, ref)
}

// findLap carries inputs through a core and returns the lap of that number by distance, or the best valid flying lap
// where it is 0; nil where there is none that was seen whole. laps is how many there are.
func findLap(core *assistant.Core, inputs assistant.Inputs, number int) (found *timing.Trace, laps int, err error) {
	var out assistant.Output
	best := math.Inf(1)
	for {
		in, err := inputs.Next()
		if errors.Is(err, io.EOF) {
			return found, laps, nil
		}
		if err != nil {
			return nil, laps, err
		}
		out.Reset()
		core.Step(in, &out)
		for i := range out.Events {
			lap, ok := out.Events[i].Body.(*journal.Lap)
			if !ok {
				continue
			}
			laps++
			better := number == 0 && lap.Valid && lap.Class == string(timing.Flying) && lap.Inexact == "" &&
				float64(lap.Time) < best
			if lap.Number != number && !better {
				continue
			}
			if trace := core.LastTrace(); trace != nil {
				found, best = trace, float64(lap.Time)
			}
		}
	}
}
