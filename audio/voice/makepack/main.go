// Command makepack makes a voice pack: it synthesises every unit with flite, fits
// it for noise, and writes the folder's index and sound. It needs flite and sox; the
// pack needs neither.
//
//	go run ./audio/voice/makepack -list configs/voices/phrases.txt -out configs/voices/clear
//
// The units are every word that the package spoken can produce, the letters, the
// numbers to 199 with what goes around them, and the list: one text a line, where # begins a
// remark. Every part of a line between two pauses becomes a unit, and so does each of
// its words. The same input gives the same pack.
package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"earshot/audio"
	"earshot/audio/spoken"
	"earshot/audio/voice"
)

func main() {
	list := flag.String("list", "configs/voices/phrases.txt", "file of texts, one a line")
	out := flag.String("out", "configs/voices/clear", "folder of the pack; it must be there")
	from := flag.String("voice", "awb", "flite's name of the voice")
	flag.Parse()
	if err := run(context.Background(), *list, *out, *from); err != nil {
		fmt.Fprintln(os.Stderr, "makepack:", err)
		os.Exit(1)
	}
}

const (
	rate = 16000
	// block is the length of a FLAC frame, and of the stretches whose noise is shaped
	// to their level.
	block = 1024
	// keep is how far under the level of a stretch its rounding lies, in decibels:
	// well below what can be heard beside an engine, and it halves the pack.
	keep = 27.0
	// stretch makes up for the slow ends that a word has when it is said alone.
	stretch   = 0.85
	soundName = "units.flac"
)

func run(ctx context.Context, list, out, from string) error {
	texts, err := units(list)
	if err != nil {
		return err
	}
	flite, err := exec.LookPath("flite")
	if err != nil {
		return fmt.Errorf("flite makes the sound: install it: %w", err)
	}
	synth := voice.Program{Path: flite, Voice: from, Stretch: stretch}
	x := &voice.Index{
		Voice: filepath.Base(out), Rate: rate, Sound: soundName,
		Licence: "made with flite, voice " + from + "; Carnegie Mellon University, permissive",
	}
	clips := make([]audio.Clip, len(texts))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.NumCPU())
	for i, text := range texts {
		g.Go(func() (err error) {
			if clips[i], err = record(ctx, synth, text); err != nil {
				err = fmt.Errorf("%q: %w", text, err)
			}
			return err
		})
	}
	if err := g.Wait(); err != nil {
		return err
	}
	var sound []float32
	for i, c := range clips {
		x.Units = append(x.Units, voice.Unit{Text: texts[i], Start: len(sound), Length: len(c.Samples)})
		sound = append(sound, c.Samples...)
	}
	if err := encode(context.WithoutCancel(ctx), filepath.Join(out, soundName), sound); err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(out, voice.IndexName), x.Encode(), 0o644); err != nil {
		return err
	}
	fmt.Printf("%d units, %.0f s\n", len(x.Units), float64(len(sound))/rate)
	return nil
}

func record(ctx context.Context, synth voice.Program, text string) (audio.Clip, error) {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	raw, err := synth.Synthesise(ctx, text)
	if err != nil {
		return audio.Clip{}, err
	}
	c := voice.Polish(raw, rate)
	if len(c.Samples) == 0 {
		return audio.Clip{}, errors.New("flite gave silence")
	}
	return c, nil
}

// units lists the texts to record, each once, in the order in which they come up.
func units(list string) ([]string, error) {
	var texts []string
	seen := map[string]bool{}
	add := func(text string) {
		for _, f := range voice.Fragments(text) {
			for _, t := range append([]string{f}, strings.Fields(f)...) {
				if !seen[t] {
					seen[t] = true
					texts = append(texts, t)
				}
			}
		}
	}
	for c := 'A'; c <= 'Z'; c++ {
		seen[string(c)] = true
		texts = append(texts, string(c))
	}
	for _, w := range spoken.Words() {
		add(w)
	}
	for n := range 100 {
		add(spoken.Cardinal(int64(n)))
	}
	for n := range 10 {
		add("point " + spoken.Cardinal(int64(n)))
		add("oh " + spoken.Cardinal(int64(n)))
	}
	for n := 2; n < 10; n++ {
		add(spoken.Cardinal(int64(n)) + " tenths")
	}
	for n := 1; n < 10; n++ {
		add(spoken.Cardinal(int64(n)) + " hundred")
		add(spoken.Cardinal(int64(n)) + " hundred and")
	}
	b, err := os.ReadFile(list)
	if err != nil {
		return nil, err
	}
	for line := range strings.Lines(string(b)) {
		line, _, _ = strings.Cut(line, "#")
		add(line)
	}
	return texts, nil
}

// encode rounds the sound and has sox write it as FLAC, which predicts better than
// the encoder in Go and so saves a third.
func encode(ctx context.Context, file string, sound []float32) error {
	var wav bytes.Buffer
	if err := audio.WriteWAV(&wav, audio.Clip{Rate: rate, Samples: sound}); err != nil {
		return err
	}
	coarse(wav.Bytes()[44:])
	cmd := exec.CommandContext(ctx, "sox", "-D", "-t", "wav", "-", "-t", "flac", "-C", "8", file)
	cmd.Stdin = &wav
	if msg, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("running sox: %w: %s", err, bytes.TrimSpace(msg))
	}
	return nil
}

// coarse rounds 16-bit samples to as many low zero bits as their stretch allows; FLAC
// leaves such bits out.
func coarse(pcm []byte) {
	for ; len(pcm) > 0; pcm = pcm[min(len(pcm), 2*block):] {
		b := pcm[:min(len(pcm), 2*block)]
		var energy float64
		for i := 0; i < len(b); i += 2 {
			v := float64(int16(binary.LittleEndian.Uint16(b[i:])))
			energy += v * v
		}
		rms := math.Sqrt(energy / float64(len(b)/2))
		// Rounding to a step s leaves noise of s/sqrt(12).
		step := rms * math.Pow(10, -keep/20) * math.Sqrt(12)
		bits := 0
		for bits < 12 && float64(int(2)<<bits) <= step {
			bits++
		}
		s := float64(int(1) << bits)
		for i := 0; i < len(b); i += 2 {
			v := float64(int16(binary.LittleEndian.Uint16(b[i:])))
			v = min(math.RoundToEven(v/s)*s, 32768-s)
			binary.LittleEndian.PutUint16(b[i:], uint16(int16(v)))
		}
	}
}
