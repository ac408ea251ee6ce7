package voice

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/audio/spoken"
)

const shippedFolder = "../../configs/voices/clear"

var shippedOnce = sync.OnceValues(func() (*Voice, error) { return Open(os.DirFS(shippedFolder), nil) })

func shipped(t testing.TB) *Voice {
	t.Helper()
	v, err := shippedOnce()
	require.NoError(t, err)
	return v
}

func TestShippedPackIsSmall(t *testing.T) {
	var total int64
	for _, name := range []string{IndexName, "units.flac"} {
		info, err := os.Stat(filepath.Join(shippedFolder, name))
		require.NoError(t, err)
		total += info.Size()
	}
	require.Less(t, total, int64(5_000_000))
}

func TestShippedPackSaysEveryWord(t *testing.T) {
	v := shipped(t)
	for _, w := range spoken.Words() {
		_, ok := v.units[w]
		_, letter := v.units[strings.ToUpper(w)]
		require.True(t, ok || len(w) == 1 && letter, "%q", w)
	}
	for c := 'A'; c <= 'Z'; c++ {
		require.Contains(t, v.units, string(c))
	}
	for n := range int64(1200) {
		_, covered := v.Duration(spoken.Cardinal(n))
		require.True(t, covered, "%d", n)
	}
	for s := 0.0; s < 4000; s += 7.3 {
		_, covered := v.Duration(strings.Join([]string{
			spoken.LapTime(s, 1), spoken.LapBrief(s), spoken.Gap(s / 100), spoken.Compared(s/100 - 20), spoken.Laps(s / 100), spoken.Tens(s),
		}, ". "))
		require.True(t, covered, "%v", s)
	}
}

// The wordings of the shipped rules, with their braces taken out, and the example
// calls of the trade.
func TestShippedPackSaysTheShippedRules(t *testing.T) {
	v := shipped(t)
	files, err := filepath.Glob("../../configs/rules/*.yaml")
	require.NoError(t, err)
	wording := regexp.MustCompile(`(?m)^[ -]*(?:say|say_short|say_clear|merge|merge_short): *"([^"]*)"`)
	braces := regexp.MustCompile(`\{(?:[^}']*'([^']*)'\))?[^}]*\}`)
	var texts []string
	for _, file := range files {
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range wording.FindAllStringSubmatch(string(b), -1) {
			texts = append(texts, braces.ReplaceAllString(m[1], " $1 "))
		}
	}
	require.NotEmpty(t, texts, "there are rules, and they say something")
	for _, text := range append(texts, cues(t)...) {
		_, missing := v.Clip(text)
		require.Empty(t, missing, "%q: add it to configs/voices/phrases.txt and make the pack again", text)
	}
}

// cues are calls of every kind.
func cues(t *testing.T) []string {
	t.Helper()
	b, err := os.ReadFile("testdata/cues.txt")
	require.NoError(t, err)
	return strings.Split(strings.TrimSpace(string(b)), "\n")
}

// No cue may be much louder than another: a driver sets the level once.
func TestShippedPackIsEvenlyLoud(t *testing.T) {
	v := shipped(t)
	for _, c := range cues(t) {
		clip, _ := v.Clip(c)
		require.InDelta(t, TargetLoudness, clip.Loudness(), 2, "%q", c)
		require.Less(t, clip.Peak(), 1.0, "%q", c)
	}
}

func BenchmarkOpen(b *testing.B) {
	for b.Loop() {
		v, err := Open(os.DirFS(shippedFolder), nil)
		require.NoError(b, err)
		require.NoError(b, v.Ready())
	}
}

func BenchmarkDuration(b *testing.B) {
	v := shipped(b)
	b.ReportAllocs()
	for b.Loop() {
		v.Duration("Front left hot, one hundred and twelve.")
	}
}

func BenchmarkClip(b *testing.B) {
	v := shipped(b)
	b.ReportAllocs()
	for b.Loop() {
		v.Clip("Front left hot, one hundred and twelve.")
	}
}
