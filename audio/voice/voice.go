package voice

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"sync"

	"github.com/mewkiz/flac"

	"earshot/audio"
)

// Pauses and joints. The lengths are chosen for about 160 words a minute (NHTSA
// 1996 guidelines give 156) and are otherwise common practice, no source.
const (
	shortPauseSeconds = 0.11
	longPauseSeconds  = 0.24
	// overlapSeconds is how far one unit runs into the next: units fade in and
	// out over this time, so that the joint is a cross-fade.
	overlapSeconds = 0.012

	wordsAMinute = 160
)

// A Voice says texts with the units of a pack.
type Voice struct {
	index *Index
	units map[string]Unit
	most  int                     // words in the longest unit
	load  func() ([]int16, error) // the whole pack: nine minutes are 17 MB this way, and twice that as floats
	synth Synthesiser
}

// Open reads a pack: the folder itself, not its parent. It checks that every unit lies inside the sound, by the length
// that the sound's header tells. The sound stays packed until the first clip is made or Ready is called: unpacking
// takes a third of a second, which a program that may never speak does not want to wait for.
//
// Say uses s for texts that the pack does not cover; nil means to spell.
func Open(pack fs.FS, s Synthesiser) (*Voice, error) {
	f, err := pack.Open(IndexName)
	if err != nil {
		return nil, fmt.Errorf("opening the voice: %w", err)
	}
	defer f.Close()
	x, err := ReadIndex(f)
	if err != nil {
		return nil, fmt.Errorf("opening the voice: %w", err)
	}
	v := &Voice{index: x, units: make(map[string]Unit, len(x.Units)), synth: s}
	length, err := soundLength(pack, x)
	if err != nil {
		return nil, fmt.Errorf("opening the voice: %w", err)
	}
	v.load = sync.OnceValues(func() ([]int16, error) { return readSound(pack, x, length) })
	var errs []error
	for _, u := range x.Units {
		if u.Start > length || u.Length > length-u.Start {
			errs = append(errs, &IndexError{Msg: fmt.Sprintf("unit %q ends at sample %d, but %s has %d: make the pack again",
				u.Text, u.Start+u.Length, x.Sound, length)})
			continue
		}
		v.units[u.Text] = u
		v.most = max(v.most, strings.Count(u.Text, " ")+1)
	}
	if errs != nil {
		return nil, fmt.Errorf("opening the voice: %w", errors.Join(errs...))
	}
	return v, nil
}

// Ready unpacks the sound now, where that has not been done, and tells whether it is whole. Without a whole sound all
// clips are silent.
func (v *Voice) Ready() error {
	_, err := v.load()
	return err
}

// longestSound bounds the sound of a pack: an hour.
const longestSound = 3600 * 48000

// openSound opens the sound and checks its form against the index. The caller closes the file.
func openSound(pack fs.FS, x *Index) (fs.File, *flac.Stream, error) {
	f, err := pack.Open(x.Sound)
	if err != nil {
		return nil, nil, err
	}
	s, err := flac.New(f)
	if err != nil {
		f.Close()
		return nil, nil, fmt.Errorf("%s: %w", x.Sound, err)
	}
	if i := s.Info; int(i.SampleRate) != x.Rate || i.NChannels != 1 || i.BitsPerSample != 16 {
		f.Close()
		return nil, nil, fmt.Errorf("%s: %d Hz, %d channels, %d bits; the index wants %d Hz, one channel, 16 bits", x.Sound,
			i.SampleRate, i.NChannels, i.BitsPerSample, x.Rate)
	}
	return f, s, nil
}

func soundLength(pack fs.FS, x *Index) (int, error) {
	f, s, err := openSound(pack, x)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	if s.Info.NSamples > longestSound {
		return 0, fmt.Errorf("%s: longer than an hour", x.Sound)
	}
	return int(s.Info.NSamples), nil
}

// readSound unpacks the sound. It must have the length that its header tells.
func readSound(pack fs.FS, x *Index, length int) ([]int16, error) {
	f, s, err := openSound(pack, x)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	sound := make([]int16, 0, length)
	for {
		fr, err := s.ParseNext()
		if errors.Is(err, io.EOF) {
			if len(sound) != length {
				return nil, fmt.Errorf("%s, sample %d: the end, and the header tells of %d", x.Sound, len(sound), length)
			}
			return sound, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s, sample %d: %w", x.Sound, len(sound), err)
		}
		if len(fr.Subframes) != 1 || len(sound) > longestSound {
			return nil, fmt.Errorf("%s, sample %d: more than one channel or an hour", x.Sound, len(sound))
		}
		for _, v := range fr.Subframes[0].Samples {
			sound = append(sound, int16(v))
		}
	}
}

// Name is the name of the pack, for people.
func (v *Voice) Name() string { return v.index.Voice }

// Rate is the sample rate of the clips.
func (v *Voice) Rate() int { return v.index.Rate }

// Units lists the texts of the pack, in order.
func (v *Voice) Units() []string {
	out := make([]string, len(v.index.Units))
	for i, u := range v.index.Units {
		out[i] = u.Text
	}
	return out
}

// Duration says how long the text takes to say, in seconds, and whether the pack
// covers all of it. When it does, the length is exactly that of the clip; else it
// is an estimate from the number of words.
func (v *Voice) Duration(text string) (seconds float64, covered bool) {
	p := v.plan(Normal(text))
	if len(p.missing) > 0 {
		return float64(p.words)*60/wordsAMinute + float64(p.short)*shortPauseSeconds + float64(p.long)*longPauseSeconds, false
	}
	return float64(p.length) / float64(v.index.Rate), true
}

// Clip joins the units for the text. Words that the pack does not have are left
// out of the clip and returned, each once, in order of appearance.
func (v *Voice) Clip(text string) (clip audio.Clip, missing []string) {
	p := v.plan(Normal(text))
	return v.render(p), p.missing
}

func (v *Voice) render(p plan) audio.Clip {
	out := make([]float32, p.length)
	sound, err := v.load()
	if err != nil {
		return audio.Clip{Rate: v.index.Rate, Samples: out} // Ready tells why
	}
	for _, pc := range p.pieces {
		for i, s := range sound[pc.unit.Start : pc.unit.Start+pc.unit.Length] {
			out[pc.at+i] += float32(s) / 32768
		}
	}
	return audio.Clip{Rate: v.index.Rate, Samples: out}
}
