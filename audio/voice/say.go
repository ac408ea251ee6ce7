package voice

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"earshot/audio"
)

// A Synthesiser makes a raw clip of a text in normal form.
type Synthesiser interface {
	Name() string
	Synthesise(ctx context.Context, normal string) (audio.Clip, error)
}

// A Report says how a text was said.
type Report struct {
	By      string   // "pack", the name of the synthesiser, or "spelled"
	Missing []string // words that the pack does not have
	Problem error    // why a synthesiser that is there was not used; nil otherwise
}

// synthLimit is longer than any synthesiser here takes (0.1 s) and shorter than a
// driver's patience.
const synthLimit = 2 * time.Second

// Say makes the clip of a text that may not be covered. Without a gap it is the
// same as Clip. Otherwise the whole text is made by the synthesiser that Open was
// given and processed like the pack, or, when there is none or it fails, the
// pack's units are used and the missing words spelled. It returns an error only when
// ctx has ended or there is nothing at all to say.
func (v *Voice) Say(ctx context.Context, text string) (audio.Clip, Report, error) {
	normal := Normal(text)
	p := v.plan(normal)
	r := Report{By: "pack", Missing: p.missing}
	if len(p.missing) == 0 {
		if p.length == 0 {
			return audio.Clip{}, r, fmt.Errorf("there is nothing to say in %q", text)
		}
		return v.render(p), r, nil
	}
	if v.synth != nil {
		limited, cancel := context.WithTimeout(ctx, synthLimit)
		c, err := v.synth.Synthesise(limited, normal)
		cancel()
		if c = Polish(c, v.index.Rate); err == nil && len(c.Samples) == 0 {
			err = errors.New("it gave silence")
		}
		if err == nil {
			r.By = v.synth.Name()
			return c, r, nil
		}
		if ctx.Err() != nil {
			return audio.Clip{}, r, context.Cause(ctx)
		}
		r.Problem = fmt.Errorf("%s did not say %q: %w", v.synth.Name(), text, err)
	}
	r.By = "spelled"
	p = v.plan(v.spell(normal, p.missing))
	if p.length == 0 {
		return audio.Clip{}, r, fmt.Errorf("there is nothing in %q that the voice %s can say or spell", text, v.Name())
	}
	return v.render(p), r, nil
}

// spell puts letters in place of the missing words. Letters with marks and those of
// other alphabets cannot be spelled and are left out.
func (v *Voice) spell(normal string, missing []string) string {
	var out []string
	for word := range strings.SplitSeq(normal, " ") {
		if !slices.Contains(missing, word) {
			out = append(out, word)
			continue
		}
		for _, r := range word {
			if l := strings.ToUpper(string(r)); r < utf8.RuneSelf && v.units[l].Length > 0 {
				out = append(out, l)
			}
		}
	}
	return strings.Join(out, " ")
}

// Installed looks for a synthesiser on the path: flite, espeak-ng, espeak. It is
// nil when there is none.
func Installed() Synthesiser {
	for _, name := range []string{"flite", "espeak-ng", "espeak"} {
		if path, err := exec.LookPath(name); err == nil {
			return Program{Path: path}
		}
	}
	return nil
}

// A Program is an installed synthesiser: flite, espeak-ng or espeak, by the name
// of its file.
type Program struct {
	Path    string
	Voice   string  // the program's own name of a voice; empty for a clear English one
	Stretch float64 // of flite's sounds: 0.9 is quicker than usual; 0 means 1
}

// Name is the file's name.
func (p Program) Name() string { return strings.TrimSuffix(filepath.Base(p.Path), ".exe") }

// Synthesise runs the program. It is killed when ctx ends.
func (p Program) Synthesise(ctx context.Context, normal string) (audio.Clip, error) {
	text := speakable(normal)
	if text == "" {
		return audio.Clip{}, errors.New("there is no word in the text")
	}
	var cmd *exec.Cmd
	file := ""
	if p.Name() == "flite" {
		// flite goes back to the header when it knows the length, so it needs a file.
		dir, err := os.MkdirTemp("", "say")
		if err != nil {
			return audio.Clip{}, err
		}
		defer os.RemoveAll(dir)
		file = filepath.Join(dir, "say.wav")
		cmd = exec.CommandContext(ctx, p.Path, "-voice", cmp.Or(p.Voice, "awb"), "--setf",
			fmt.Sprintf("duration_stretch=%.3f", cmp.Or(p.Stretch, 1)), "-t", text, "-o", file)
	} else {
		cmd = exec.CommandContext(ctx, p.Path, "-v", cmp.Or(p.Voice, "en-us"), "-s", "170", "--stdout", text)
	}
	cmd.WaitDelay = 200 * time.Millisecond
	var out, stderr bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &stderr
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			return audio.Clip{}, ctx.Err()
		}
		return audio.Clip{}, fmt.Errorf("running %s: %w %s", p.Path, err, strings.TrimSpace(stderr.String()))
	}
	if file != "" {
		b, err := os.ReadFile(file)
		if err != nil {
			return audio.Clip{}, err
		}
		return audio.ReadWAV(bytes.NewReader(b))
	}
	return audio.ReadWAV(&out)
}

// speakable writes a normal text for a synthesiser. It never begins with a hyphen,
// so no program takes it for an option. A lone A would be read as the article.
func speakable(normal string) string {
	words := strings.Fields(normal)
	for i, w := range words {
		if w == "A" {
			words[i] = "ay"
		}
	}
	s := strings.Join(words, " ")
	s = strings.ReplaceAll(s, " "+shortPause, shortPause)
	return strings.ReplaceAll(s, " "+longPause, longPause)
}
