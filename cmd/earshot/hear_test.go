package main

// This file is an ear for tests: an independent recogniser, pocketsphinx, that says which of the given phrases a
// recording holds. It measures whether a voice can be understood.

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"earshot/audio"
)

// recogniserRate is what the recogniser's model was trained for.
const recogniserRate = 16000

// recogniserModels are where the packages pocketsphinx-en-us puts its model.
var recogniserModels = []string{"/usr/share/pocketsphinx/model/en-us", "/usr/local/share/pocketsphinx/model/en-us"}

// extraWords holds words of the trade that the recogniser's dictionary does not have,
// in its phonemes.
var extraWords = map[string][]string{
	"understeer":   {"AH N D ER S T IH R"},
	"oversteer":    {"OW V ER S T IH R"},
	"tyre":         {"T AY ER"},
	"tyres":        {"T AY ER Z"},
	"kerb":         {"K ER B"},
	"kerbs":        {"K ER B Z"},
	"wheelspin":    {"W IY L S P IH N"},
	"kilopascals":  {"K IH L AH P AE S K AH L Z", "K IH L OW P AE S K AH L Z"},
	"kilopascal":   {"K IH L AH P AE S K AH L"},
	"litre":        {"L IY T ER"},
	"litres":       {"L IY T ER Z"},
	"metres":       {"M IY T ER Z"},
	"hundredths":   {"HH AH N D R AH D TH S"},
	"telemetry":    {"T AH L EH M AH T R IY"},
	"driveable":    {"D R AY V AH B AH L"},
	"downforce":    {"D AW N F AO R S"},
	"overheating":  {"OW V ER HH IY T IH NG"},
	"hotter":       {"HH AA T ER"},
	"pit":          {"P IH T"},
	"limiter":      {"L IH M AH T ER"},
	"marshals":     {"M AA R SH AH L Z"},
	"carcass":      {"K AA R K AH S"},
	"kilometres":   {"K AH L AA M AH T ER Z", "K IH L AH M IY T ER Z"},
	"bottoming":    {"B AA T AH M IH NG"},
	"undriveable":  {"AH N D R AY V AH B AH L"},
	"millimetres":  {"M IH L AH M IY T ER Z"},
	"milliseconds": {"M IH L AH S EH K AH N D Z"},
}

// recogniserInstalled says what is missing for recognise, nil when nothing is.
func recogniserInstalled() error {
	if _, err := exec.LookPath("pocketsphinx_continuous"); err != nil {
		return errors.New("the recogniser is not installed: install the packages pocketsphinx and pocketsphinx-en-us")
	}
	if recogniserModel() == "" {
		return errors.New("the recogniser's English model is not installed: install the package pocketsphinx-en-us")
	}
	return nil
}

func recogniserModel() string {
	for _, d := range recogniserModels {
		if _, err := os.Stat(filepath.Join(d, "en-us", "mdef")); err == nil {
			return d
		}
	}
	return ""
}

// recognise says which phrase the sound holds, in the phrase's own spelling, or ""
// for none. Phrases are words and spaces, without digits. It skips the test where the
// recogniser is not installed.
func recognise(t testing.TB, samples []float32, sampleRate int, phrases []string) string {
	t.Helper()
	return recogniseAll(t, []audio.Clip{{Rate: sampleRate, Samples: samples}}, phrases)[0]
}

// recogniseAll is recognise for many recordings at once, which saves loading
// the model for each.
func recogniseAll(t testing.TB, clips []audio.Clip, phrases []string) []string {
	t.Helper()
	if err := recogniserInstalled(); err != nil {
		t.Skip(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	heard, err := matchPhrases(ctx, clips, phrases)
	if err != nil {
		t.Fatal(err)
	}
	return heard
}

// matchPhrases is recogniseAll outside of a test.
func matchPhrases(ctx context.Context, clips []audio.Clip, phrases []string) ([]string, error) {
	if err := recogniserInstalled(); err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "hear")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if err := writeGrammar(dir, phrases); err != nil {
		return nil, err
	}
	heard := make([]string, len(clips))
	for i, c := range clips {
		file := filepath.Join(dir, "sound.wav")
		if err := writePadded(file, c); err != nil {
			return nil, err
		}
		// The whole recording is one utterance: without it the recogniser would cut
		// at every pause and match the phrase piece by piece.
		cmd := exec.CommandContext(ctx, "pocketsphinx_continuous", "-infile", file, "-hmm", filepath.Join(recogniserModel(), "en-us"),
			"-dict", filepath.Join(dir, "words.dict"), "-jsgf", filepath.Join(dir, "phrases.gram"), "-logfn", os.DevNull,
			"-remove_silence", "no", "-vad_threshold", "1", "-vad_postspeech", "500")
		var said bytes.Buffer
		cmd.Stderr = &said
		out, err := cmd.Output()
		if err != nil {
			return nil, fmt.Errorf("running the recogniser: %w: %s", err, bytes.TrimSpace(said.Bytes()))
		}
		got := strings.Join(strings.Fields(string(out)), " ")
		for _, p := range phrases {
			if plainPhrase(p) == got {
				heard[i] = p
			}
		}
	}
	return heard, nil
}

// plainPhrase is the form in which a phrase stands in the grammar.
func plainPhrase(p string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(p), func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r == '\'')
	}), " ")
}

func writeGrammar(dir string, phrases []string) error {
	dict, err := recogniserDictionary()
	if err != nil {
		return err
	}
	lines := map[string]bool{}
	var alternatives []string
	var unknown []string
	for _, p := range phrases {
		words := strings.Fields(plainPhrase(p))
		if len(words) == 0 {
			return fmt.Errorf("the phrase %q has no word", p)
		}
		for _, w := range words {
			ways := append(slices.Clone(dict[w]), extraWords[w]...)
			if len(ways) == 0 {
				unknown = append(unknown, w)
			}
			for i, way := range slices.Compact(ways) {
				name := w
				if i > 0 {
					name = fmt.Sprintf("%s(%d)", w, i+1)
				}
				lines[name+" "+way] = true
			}
		}
		alternatives = append(alternatives, "("+strings.Join(words, " ")+")")
	}
	if unknown != nil {
		return fmt.Errorf("the recogniser has no pronunciation of %q: add it to extraWords", unknown)
	}
	var sorted []string
	for l := range lines {
		sorted = append(sorted, l)
	}
	slices.Sort(sorted)
	if err := os.WriteFile(filepath.Join(dir, "words.dict"), []byte(strings.Join(sorted, "\n")+"\n"), 0o600); err != nil {
		return err
	}
	g := "#JSGF V1.0;\ngrammar phrases;\npublic <phrase> = " + strings.Join(alternatives, " | ") + ";\n"
	return os.WriteFile(filepath.Join(dir, "phrases.gram"), []byte(g), 0o600)
}

func recogniserDictionary() (map[string][]string, error) {
	b, err := os.ReadFile(filepath.Join(recogniserModel(), "cmudict-en-us.dict"))
	if err != nil {
		return nil, fmt.Errorf("reading the recogniser's dictionary: %w", err)
	}
	dict := map[string][]string{}
	for line := range strings.Lines(string(b)) {
		word, way, ok := strings.Cut(strings.TrimSpace(line), " ")
		if !ok {
			continue
		}
		word, _, _ = strings.Cut(word, "(")
		dict[word] = append(dict[word], way)
	}
	return dict, nil
}

// writePadded surrounds the sound with half a second of very faint noise: the
// recogniser estimates the background there, and digital silence upsets it.
func writePadded(file string, c audio.Clip) error {
	c = c.Resample(recogniserRate)
	pad := recogniserRate / 2
	x := make([]float32, len(c.Samples)+2*pad)
	copy(x[pad:], c.Samples)
	r := rand.New(rand.NewPCG(1, 2))
	for i := range x {
		x[i] = x[i]*0.5 + float32(r.NormFloat64())*3e-4
	}
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	return errors.Join(audio.WriteWAV(f, audio.Clip{Rate: recogniserRate, Samples: x}), f.Close())
}
