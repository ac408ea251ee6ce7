package main

import (
	"math"
	"os"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"

	"earshot/audio"
)

func readWAV(path string) (audio.Clip, error) {
	f, err := os.Open(path)
	if err != nil {
		return audio.Clip{}, err
	}
	defer f.Close()
	return audio.ReadWAV(f)
}

func wavSeconds(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 3 || neg {
		ts.Fatalf("usage: wavseconds FILE MIN MAX")
	}
	lo, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	hi, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	clip, err := readWAV(ts.MkAbs(args[0]))
	ts.Check(err)
	if s := clip.Seconds(); s < lo || s > hi {
		ts.Fatalf("%s lasts %.2f s, not %v to %v", args[0], s, lo, hi)
	}
	if level := clip.RMS(); !(level > 1e-3) {
		ts.Fatalf("%s is silent (RMS %.5f)", args[0], level)
	}
}

// wavSame A B: both hold the same sound; the silences around it, which are as long as the machine was busy, may differ.
func wavSame(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) != 2 || neg {
		ts.Fatalf("usage: wavsame FILE FILE")
	}
	var sounds [2]audio.Clip
	for i, name := range args {
		clip, err := readWAV(ts.MkAbs(name))
		ts.Check(err)
		from := onset(clip, 0.01)
		if from < 0 {
			ts.Fatalf("%s is silent", name)
		}
		to := len(clip.Samples)
		for to > 0 && math.Abs(float64(clip.Samples[to-1])) < 0.01 {
			to--
		}
		sounds[i] = cut(clip, from, float64(to)/float64(clip.Rate))
	}
	a, b := sounds[0].Samples, sounds[1].Samples
	if len(a) != len(b) {
		ts.Fatalf("%s sounds for %d samples, %s for %d", args[0], len(a), args[1], len(b))
	}
	for i := range a {
		if math.Abs(float64(a[i]-b[i])) > 2e-4 { // some steps of 16 bits
			ts.Fatalf("%s and %s differ %d samples after the sound begins", args[0], args[1], i)
		}
	}
}

// cut returns the part of a clip between two times in seconds.
func cut(c audio.Clip, from, to float64) audio.Clip {
	at := func(s float64) int {
		return int(math.Max(0, math.Min(float64(len(c.Samples)), s*float64(c.Rate))))
	}
	return audio.Clip{Rate: c.Rate, Samples: c.Samples[at(from):at(to)]}
}

// onset returns when the sound first rises above a level (of full scale), in seconds; -1 where it never does.
func onset(c audio.Clip, level float64) float64 {
	for i, x := range c.Samples {
		if math.Abs(float64(x)) > level {
			return float64(i) / float64(c.Rate)
		}
	}
	return -1
}
