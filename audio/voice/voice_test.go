package voice

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/audio"
)

// seekable lets the FLAC encoder put the length into its header.
type seekable struct {
	b  []byte
	at int
}

func (s *seekable) Write(p []byte) (int, error) {
	if grow := s.at + len(p) - len(s.b); grow > 0 {
		s.b = append(s.b, make([]byte, grow)...)
	}
	copy(s.b[s.at:], p)
	s.at += len(p)
	return len(p), nil
}

func (s *seekable) Seek(to int64, whence int) (int64, error) {
	s.at = int(to)
	if whence == io.SeekEnd {
		s.at += len(s.b)
	}
	return int64(s.at), nil
}

// pack makes a pack whose unit k is 1000+k samples of the value k+1.
func pack(t testing.TB, texts ...string) fstest.MapFS {
	t.Helper()
	x := &Index{Voice: "test", Licence: "none", Rate: 8000, Sound: "u.flac"}
	var pcm []int32
	for k, text := range texts {
		x.Units = append(x.Units, Unit{text, len(pcm), 1000 + k})
		for range 1000 + k {
			pcm = append(pcm, int32(k+1)*100)
		}
	}
	var out seekable
	enc, err := flac.NewEncoder(&out, &meta.StreamInfo{BlockSizeMin: 16, BlockSizeMax: 4096, SampleRate: 8000, NChannels: 1, BitsPerSample: 16})
	require.NoError(t, err)
	for i := 0; i < len(pcm); i += 4096 {
		b := pcm[i:min(i+4096, len(pcm))]
		require.NoError(t, enc.WriteFrame(&frame.Frame{
			Header:    frame.Header{BlockSize: uint16(len(b)), SampleRate: 8000, Channels: frame.ChannelsMono, BitsPerSample: 16},
			Subframes: []*frame.Subframe{{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, Samples: b, NSamples: len(b)}},
		}))
	}
	require.NoError(t, enc.Close())
	return fstest.MapFS{IndexName: {Data: x.Encode()}, "u.flac": {Data: out.b}}
}

func open(t testing.TB, s Synthesiser, texts ...string) *Voice {
	t.Helper()
	v, err := Open(pack(t, texts...), s)
	require.NoError(t, err)
	return v
}

func TestFewestUnits(t *testing.T) {
	v := open(t, nil, "front", "left", "front left", "front left hot", "left hot brake", "hot", "brake")
	for in, want := range map[string][]string{
		"front left hot":       {"front left hot"},
		"front left hot brake": {"front left hot", "brake"}, // not front + left hot brake: as many units, the longer first
		"left front":           {"left", "front"},
		"front left cold hot":  {"front left", "cold", "hot"},
		"":                     nil,
	} {
		require.Equal(t, want, v.cover(in), "%q", in)
	}
}

// The clip is the units themselves, overlapping by 12 ms within a fragment and apart
// by a pause between fragments.
func TestClipJoins(t *testing.T) {
	v := open(t, nil, "front", "left", "hot")
	c, missing := v.Clip("Front left, hot. Hot.")
	require.Empty(t, missing)
	const overlap, comma, stop = 96, 880, 1920 // 12, 110 and 240 ms at 8 kHz
	require.Len(t, c.Samples, 1000+1001-overlap+comma+1002+stop+1002)
	at := func(i int) float64 { return math.Round(float64(c.Samples[i]) * 32768) }
	require.Equal(t, 100.0, at(0))
	require.Equal(t, 100.0, at(1000-overlap-1))
	require.Equal(t, 300.0, at(1000-overlap), "both sound in the overlap")
	require.Equal(t, 200.0, at(1000))
	require.Equal(t, 0.0, at(2001-overlap+10), "the comma")
	require.Equal(t, 300.0, at(2001-overlap+comma))
	require.Equal(t, 0.0, at(2001-overlap+comma+1002))

	c, missing = v.Clip("front xyzzy left, xyzzy, plugh")
	require.Equal(t, []string{"xyzzy", "plugh"}, missing)
	require.Len(t, c.Samples, 1000+1001-overlap)
}

// A scheduler counts with Duration, so it has to be the length of the clip to the
// sample, whatever the text; and half-covered texts have to be estimated, not zero.
func TestDurationIsTheClips(t *testing.T) {
	v := open(t, nil, "front", "left", "front left", "hot", "one", "two", "point", "point two", "A", "B", "a")
	words := rapid.SampledFrom([]string{"front", "left", "hot", "1", "2.2", "A", "B", ",", ". ", "!", "-", "a", "front left"})
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(words, 0, 20).Draw(t, "text"), " ")
		seconds, covered := v.Duration(text)
		c, missing := v.Clip(text)
		if covered != (missing == nil) {
			t.Fatalf("%q: covered is %v with %q missing", text, covered, missing)
		}
		if covered && seconds != c.Seconds() {
			t.Fatalf("%q: %v s, but the clip has %v", text, seconds, c.Seconds())
		}
		if again, _ := v.Clip(text); !bytes.Equal(raw(c), raw(again)) {
			t.Fatalf("%q: not the same twice", text)
		}
	})
	seconds, covered := v.Duration("sixteen unknown words here and more to fill a line until there are sixteen of them")
	require.False(t, covered)
	require.InDelta(t, 6.0, seconds, 0.01, "160 words a minute")
}

func raw(c audio.Clip) []byte {
	var b bytes.Buffer
	_ = audio.WriteWAV(&b, c)
	return b.Bytes()
}

func TestOpenRefuses(t *testing.T) {
	good := pack(t, "front")
	with := func(name string, data []byte) fs.FS {
		m := fstest.MapFS{}
		for k, f := range good {
			m[k] = f
		}
		m[name] = &fstest.MapFile{Data: data}
		return m
	}
	index := string(good[IndexName].Data)
	for want, p := range map[string]fs.FS{
		"opening the voice: open index.tsv: file does not exist":                                                   fstest.MapFS{},
		"opening the voice: open v.flac: file does not exist":                                                      with(IndexName, []byte(strings.Replace(index, "u.flac", "v.flac", 1))),
		"opening the voice: u.flac: 8000 Hz, 1 channels, 16 bits; the index wants 16000 Hz, one channel, 16 bits":  with(IndexName, []byte(strings.Replace(index, "8000", "16000", 1))),
		`opening the voice: index.tsv: unit "front" ends at sample 1001, but u.flac has 1000: make the pack again`: with(IndexName, []byte(strings.Replace(index, "\t1000", "\t1001", 1))),
	} {
		_, err := Open(p, nil)
		require.EqualError(t, err, want)
	}
	lazy, err := Open(with("u.flac", good["u.flac"].Data[:90]), nil)
	require.NoError(t, err, "nothing has been unpacked")
	require.ErrorContains(t, lazy.Ready(), "u.flac, sample ")
	c, missing := lazy.Clip("front")
	require.Nil(t, missing)
	require.Zero(t, c.RMS())
	seconds, covered := lazy.Duration("front")
	require.True(t, covered)
	require.Equal(t, c.Seconds(), seconds)
	_, err = Open(with("u.flac", []byte("RIFF")), nil)
	require.ErrorContains(t, err, "u.flac: ")
}

// pretend is a synthesiser for tests.
type pretend func(ctx context.Context, normal string) (audio.Clip, error)

func (pretend) Name() string { return "pretend" }
func (p pretend) Synthesise(ctx context.Context, normal string) (audio.Clip, error) {
	return p(ctx, normal)
}

func beep(seconds float64) audio.Clip {
	x := make([]float32, int(seconds*22050))
	for i := range x {
		x[i] = float32(0.01 * math.Sin(float64(i)/5))
	}
	return audio.Clip{Rate: 22050, Samples: x}
}

// louder gives the samples of a clip, louder or softer by gain in decibels.
func louder(c audio.Clip, gain float64) []float32 {
	out := make([]float32, len(c.Samples))
	for i, s := range c.Samples {
		out[i] = s * float32(math.Pow(10, gain/20))
	}
	return out
}

func TestSay(t *testing.T) {
	letters := []string{"front", "A", "B", "X"}
	ctx := t.Context()

	t.Run("covered texts do not wake the synthesiser", func(t *testing.T) {
		v := open(t, pretend(func(context.Context, string) (audio.Clip, error) { panic("asked") }), letters...)
		c, r, err := v.Say(ctx, "Front.")
		require.NoError(t, err)
		require.Equal(t, Report{By: "pack"}, r)
		require.Len(t, c.Samples, 1000)
	})
	t.Run("others are synthesised and made alike", func(t *testing.T) {
		v := open(t, pretend(func(_ context.Context, s string) (audio.Clip, error) {
			require.Equal(t, "front , abba", s)
			return beep(0.7), nil
		}), letters...)
		c, r, err := v.Say(ctx, "Front, abba.")
		require.NoError(t, err)
		require.Equal(t, Report{By: "pretend", Missing: []string{"abba"}}, r)
		require.Equal(t, 8000, c.Rate)
		require.InDelta(t, 0.7, c.Seconds(), 0.02)
		require.InDelta(t, TargetLoudness, c.Loudness(), 1)
	})
	t.Run("none: spelled", func(t *testing.T) {
		v := open(t, nil, letters...)
		c, r, err := v.Say(ctx, "Front abbé")
		require.NoError(t, err)
		require.Equal(t, Report{By: "spelled", Missing: []string{"abbé"}}, r)
		require.Len(t, c.Samples, 1000+1001+1002+1002-3*96, "front A B B")
	})
	t.Run("failing or silent: spelled, with the reason", func(t *testing.T) {
		for want, answer := range map[string]pretend{
			`pretend did not say "ab": broken`: func(context.Context, string) (audio.Clip, error) { return audio.Clip{Rate: 8000}, errors.New("broken") },
			`pretend did not say "ab": it gave silence`: func(context.Context, string) (audio.Clip, error) {
				return audio.Clip{Rate: 8000, Samples: make([]float32, 8000)}, nil
			},
		} {
			c, r, err := open(t, answer, letters...).Say(ctx, "ab")
			require.NoError(t, err)
			require.EqualError(t, r.Problem, want)
			require.Equal(t, "spelled", r.By)
			require.NotEmpty(t, c.Samples)
		}
	})
	t.Run("nothing at all", func(t *testing.T) {
		v := open(t, nil, letters...)
		_, _, err := v.Say(ctx, "...")
		require.EqualError(t, err, `there is nothing to say in "..."`)
		_, _, err = v.Say(ctx, "日本")
		require.EqualError(t, err, `there is nothing in "日本" that the voice test can say or spell`)
	})
	t.Run("the end of the context", func(t *testing.T) {
		ctx, cancel := context.WithCancel(ctx)
		v := open(t, pretend(func(ctx context.Context, _ string) (audio.Clip, error) {
			cancel()
			<-ctx.Done()
			return audio.Clip{}, ctx.Err()
		}), letters...)
		_, _, err := v.Say(ctx, "ab")
		require.ErrorIs(t, err, context.Canceled)
	})
}

// A program that hangs is ended; a program that is there but broken is told.
func TestProgramIsLimited(t *testing.T) {
	if _, err := os.Stat("/bin/sh"); err != nil {
		t.Skip("this test needs a shell")
	}
	script := func(name, body string) Program {
		file := filepath.Join(t.TempDir(), name)
		require.NoError(t, os.WriteFile(file, []byte("#!/bin/sh\n"+body), 0o700))
		return Program{Path: file}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	begin := time.Now()
	_, err := script("espeak-ng", "exec sleep 60").Synthesise(ctx, "hello")
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Less(t, time.Since(begin), 30*time.Second)
	_, err = script("espeak", "echo no voice >&2; exit 3").Synthesise(t.Context(), "hello")
	require.ErrorContains(t, err, "exit status 3 no voice")
	_, err = script("flite", "exit 0").Synthesise(t.Context(), "hello")
	require.ErrorIs(t, err, fs.ErrNotExist)
	_, err = script("espeak", "echo rubbish").Synthesise(t.Context(), "hello")
	require.ErrorContains(t, err, "WAV, byte 0")
}

func TestInstalledProgramsSpeak(t *testing.T) {
	s := Installed()
	if s == nil {
		t.Skip("no synthesiser is installed: install flite or espeak-ng")
	}
	for _, name := range []string{"flite", "espeak-ng"} {
		p := Program{Path: filepath.Join(filepath.Dir(s.(Program).Path), name)}
		if _, err := os.Stat(p.Path); err != nil {
			continue
		}
		c, err := p.Synthesise(t.Context(), "front left hot , one hundred and twelve")
		require.NoError(t, err, name)
		c = Polish(c, 16000)
		require.InDelta(t, 2.5, c.Seconds(), 1.0, "seven words by %s", name)
		require.InDelta(t, TargetLoudness, c.Loudness(), 1.5, name)
	}
}

func TestPolish(t *testing.T) {
	// Half a second of silence, a burst 40 dB softer than the next sample set, silence.
	for _, gain := range []float64{0, -30} {
		x := make([]float32, 8000)
		x = append(x, louder(beep(0.5).Resample(16000), gain)...)
		x = append(x, make([]float32, 8000)...)
		c := Polish(audio.Clip{Rate: 16000, Samples: x}, 16000)
		require.InDelta(t, 0.53, c.Seconds(), 0.02, "the silences are cut off")
		require.InDelta(t, TargetLoudness, c.Loudness(), 0.7, "equally loud whatever came in")
		require.Less(t, c.Peak(), 0.9)
		require.Zero(t, c.Samples[0])
		require.Zero(t, c.Samples[len(c.Samples)-1])
	}
	require.Empty(t, Polish(audio.Clip{Rate: 16000, Samples: make([]float32, 100)}, 16000).Samples)
	require.Empty(t, Polish(audio.Clip{Rate: 16000}, 16000).Samples)
}
