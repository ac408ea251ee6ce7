package feed

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/transport"
	"earshot/assistant/opendata"
)

// A script is a source that gives prepared pieces: at once, or each when it is due.
type script struct {
	pieces [][]byte
	due    []time.Duration // nil: at once; else since begin
	begin  time.Time
	end    error // after the last piece; nil: io.EOF
	closed bool
}

func (s *script) Next(ctx context.Context) ([]byte, float64, error) {
	if ctx.Err() != nil {
		return nil, math.NaN(), context.Cause(ctx)
	}
	if len(s.pieces) == 0 {
		if s.end == nil {
			return nil, math.NaN(), io.EOF
		}
		if s.end == errForever {
			<-ctx.Done()
			return nil, math.NaN(), context.Cause(ctx)
		}
		return nil, math.NaN(), s.end
	}
	if s.due != nil {
		select {
		case <-time.After(s.due[0] - time.Since(s.begin)):
		case <-ctx.Done():
			return nil, math.NaN(), context.Cause(ctx)
		}
		s.due = s.due[1:]
	}
	p := s.pieces[0]
	s.pieces = s.pieces[1:]
	if string(p) == "GAP" {
		return nil, math.NaN(), transport.ErrGap
	}
	if s.begin.IsZero() {
		return p, math.NaN(), nil // as a file
	}
	return p, time.Since(s.begin).Seconds(), nil
}

func (s *script) Stats() transport.Stats { return transport.Stats{} }
func (s *script) Close() error           { s.closed = true; return nil }

var errForever = errors.New("silent until the end of the context")

// streamOf joins scripts as the sources of f.
func streamOf(t require.TestingT, ctx context.Context, f *feedfile.File, set *channel.Set, scripts ...*script) *Stream {
	var files []*feedfile.File
	for _, s := range f.Parts {
		files = append(files, s.File)
	}
	if files == nil {
		files = []*feedfile.File{f}
	}
	var sources []transport.Source
	for _, s := range scripts {
		sources = append(sources, s)
	}
	s, err := newStream(ctx, f, files, set, sources, &reports{changed: make(chan struct{}, 1)})
	require.NoError(t, err)
	return s
}

// drain reads a stream to its end and writes down samples and notices in their order.
func drain(t require.TestingT, ctx context.Context, s *Stream, set *channel.Set) *samples {
	out := &samples{set: set}
	var given int64
	at := 0.0
	var told []Notice
	for {
		err := s.Read(ctx, func(x channel.Sample) {
			if x.At < at {
				require.Fail(t, "time goes backwards", "%v after %v", x.At, at)
			}
			at = x.At
			given++
			out.take(x)
		})
		for _, n := range s.Notices() {
			told = append(told, n)
			if n.After > given {
				require.Fail(t, "a notice of what is still to come", "%+v", n)
			}
		}
		if err == io.EOF {
			for _, n := range told {
				out.list = append(out.list, fmt.Sprintf("%d %+v", n.After, n.Health))
			}
			return out
		}
		require.NoError(t, err)
	}
}

const twoFiles = `sources:
  - name: a
    transport: {kind: file}
    codec: csv
    channels:
      time: {column: t, unit: s}
      speed: {column: v, unit: m/s}
      gear: {column: g}
  - name: b
    transport: {kind: file}
    codec: csv
    channels:
      time: {column: t, unit: ms}
      speed: {column: v, unit: m/s}
      position_x: {column: x, unit: m}
    offset: 21 ms
prefer: {speed: b}
derived: {lap_distance: position_x + speed * 1 s}
`

// cutAt gives pieces of random sizes.
func cutAt(t *rapid.T, all []byte) [][]byte {
	var pieces [][]byte
	for len(all) > 0 {
		n := rapid.IntRange(1, len(all)).Draw(t, "n")
		pieces = append(pieces, bytes.Clone(all[:n]))
		all = all[n:]
	}
	return pieces
}

// However the files are cut: the same samples and the same notices. And they are those of the plain definition: all
// records sorted by their time, those of one moment as one, the better source's reading of a channel while it is fresh.
func TestTheJoinOfFilesDoesNotDependOnChunks(t *testing.T) {
	f, set := parse(t, twoFiles)
	rapid.Check(t, func(t *rapid.T) {
		base := rapid.SampledFrom([]float64{0, 1.6e9}).Draw(t, "base")
		type record struct {
			at      float64
			b       bool
			v, g, x string
		}
		var all []record
		var texts [2]bytes.Buffer
		texts[0].WriteString("t,v,g\n")
		texts[1].WriteString("t,v,x\n")
		first := [2]float64{math.NaN(), math.NaN()}
		for k := range texts {
			ms := 7 * rapid.IntRange(0, 8).Draw(t, "begin")
			for range rapid.IntRange(1, 15).Draw(t, "records") {
				r := record{b: k == 1, v: rapid.SampledFrom([]string{"10", "20", "", "x"}).Draw(t, "v"), g: "2", x: rapid.SampledFrom([]string{"", "5"}).Draw(t, "x")}
				at := base + float64(ms)/1e3
				if math.IsNaN(first[k]) {
					first[k] = at
				}
				r.at = at - first[k]
				if k == 0 {
					fmt.Fprintf(&texts[0], "%.3f,%s,2\n", at, r.v)
				} else {
					if r.v == "" && r.x == "" {
						r.x = "7" // a line without a reading is no record
					}
					if r.v == "x" && r.x == "" {
						r.x = "7"
					}
					fmt.Fprintf(&texts[1], "%.0f,%s,%s\n", at*1e3, r.v, r.x)
				}
				all = append(all, r)
				ms += rapid.SampledFrom([]int{7, 14, 700, 2800}).Draw(t, "step")
			}
		}
		run := func(a, b [][]byte) *samples {
			s := streamOf(t, t.Context(), f, set, &script{pieces: a}, &script{pieces: b})
			defer s.Close()
			out := drain(t, t.Context(), s, set)
			require.Equal(t, s.Stats().Records, s.Stats().Samples+s.Stats().Ignored+s.Stats().Bad)
			return out
		}
		whole := run([][]byte{texts[0].Bytes()}, [][]byte{texts[1].Bytes()})
		require.Equal(t, whole.list, run(cutAt(t, texts[0].Bytes()), cutAt(t, texts[1].Bytes())).list)

		shift := [2]float64{0, -0.021}
		if base > 0 {
			least := min(first[0], first[1])
			shift[0] += first[0] - least
			shift[1] += first[1] - least
		}
		zero := min(shift[0], shift[1])
		for i := range all {
			k := 0
			if all[i].b {
				k = 1
			}
			all[i].at += shift[k] - zero
		}
		slices.SortStableFunc(all, func(p, q record) int {
			if math.Abs(p.at-q.at) < 1e-5 {
				return 0
			}
			return int(math.Copysign(1, p.at-q.at))
		})
		speedB := math.Inf(-1)
		var want []string // time in ms, speed, gear and position of each record
		for _, r := range all {
			v := r.v
			switch {
			case v == "x":
				v = ""
			case r.b && v != "":
				speedB = r.at
			case v != "" && r.at-speedB <= 1+1e-7:
				v = ""
			}
			line := fmt.Sprintf("%.0f %s", r.at*1e3, v)
			if r.b {
				line += " x" + r.x
			} else {
				line += " g" + r.g
			}
			want = append(want, line)
		}
		// The samples of the join, taken apart again, are those records; a moment of both counts as two.
		s := streamOf(t, t.Context(), f, set, &script{pieces: [][]byte{texts[0].Bytes()}}, &script{pieces: [][]byte{texts[1].Bytes()}})
		defer s.Close()
		n := 0
		for err := error(nil); err == nil; {
			err = s.Read(t.Context(), func(x channel.Sample) {
				for _, from := range s.from {
					ms := fmt.Sprintf("%.0f ", x.At*1e3)
					i := slices.IndexFunc(want, func(w string) bool {
						return strings.HasPrefix(w, ms) && strings.Contains(w, map[int]string{0: " g", 1: " x"}[from])
					})
					if i < 0 {
						t.Fatalf("no record at %s for source %d in %q", ms, from, want)
					}
					if len(s.from) == 1 {
						v := ""
						if x.Row.Has(channel.Speed) {
							v = fmt.Sprint(x.Row[channel.Speed])
						}
						if got := strings.Fields(strings.Replace(want[i], "  ", " - ", 1))[1]; got != map[bool]string{true: "-", false: v}[v == ""] {
							t.Fatalf("speed %q in %q", v, want[i])
						}
					}
					want = slices.Delete(want, i, i+1)
					n++
				}
			})
		}
		require.Empty(t, want)
	})
}

// The measured log of a race car (racecar-oval-25hz: github.com/linklab-uva/deep-dynamics at 88c8565, GPL-3.0), split into
// two tables with clocks of different origins, joined again: what each moment tells is what the one table told.
func TestASplitLogJoinsAgain(t *testing.T) {
	path := opendata.Path(t, "racecar-oval-25hz/LVMS_23_01_04_B.csv.gz")
	f, set := load(t, "../../testdata/feeds/racecar-oval.yaml")
	f.Transport = transport.Spec{Kind: transport.File, Path: path}
	want, _ := play(t, f, set)
	dir := t.TempDir()
	positions, rest := splitOval(t, gunzip(t, path), dir)

	g, set2 := load(t, "../../testdata/feeds/racecar-oval-split.yaml")
	s, err := Open(t.Context(), g, set2, Options{Paths: map[string]string{"gps": positions, "car": rest}})
	require.NoError(t, err)
	defer s.Close()
	n, fixes := 0, 0
	for err == nil {
		err = s.Read(t.Context(), func(x channel.Sample) {
			w := want[n]
			require.InDelta(t, w.At, x.At, 2e-6)
			for _, id := range []channel.ID{channel.Speed, channel.YawRate, channel.WheelSpeed + 3, channel.Throttle} {
				require.Equal(t, math.Float64bits(w.Row[id]), math.Float64bits(x.Row[id]))
			}
			if n%2 == 0 {
				fixes++
				require.Equal(t, w.Row[channel.PositionX], x.Row[channel.PositionX])
				require.Equal(t, w.Row[channel.Heading], x.Row[channel.Heading])
			} else {
				require.False(t, x.Row.Has(channel.PositionX), "what a source does not tell is absent")
			}
			n++
		})
		require.Empty(t, s.Notices(), "all is well")
	}
	require.Equal(t, io.EOF, err)
	require.Equal(t, len(want), n)
	require.Equal(t, (len(want)+1)/2, fixes)
}

// splitOval writes the position of every second row into one table, whose clock begins at 1000 s, and all the rest of
// every row into another.
func splitOval(t testing.TB, table []byte, dir string) (positions, rest string) {
	t.Helper()
	var a, b bytes.Buffer
	a.WriteString("clock,x,y,phi\n")
	first := math.NaN()
	for i, line := range strings.Split(strings.TrimSpace(string(table)), "\n") {
		cells := strings.Split(line, ",")
		if i == 0 {
			fmt.Fprintln(&b, strings.Join(append([]string{strings.TrimPrefix(cells[0], "# ")}, append(cells[3:5:5], cells[6:]...)...), ","))
			continue
		}
		var at float64
		_, err := fmt.Sscan(cells[0], &at)
		require.NoError(t, err)
		if math.IsNaN(first) {
			first = at
		}
		if i%2 == 1 {
			fmt.Fprintf(&a, "%.9f,%s,%s,%s\n", at-first+1000, cells[1], cells[2], cells[5])
		}
		fmt.Fprintln(&b, strings.Join(append([]string{cells[0]}, append(cells[3:5:5], cells[6:]...)...), ","))
	}
	positions, rest = filepath.Join(dir, "positions.csv"), filepath.Join(dir, "rest.csv")
	require.NoError(t, os.WriteFile(positions, a.Bytes(), 0o600))
	require.NoError(t, os.WriteFile(rest, b.Bytes(), 0o600))
	return positions, rest
}

func TestOpenNeedsAFileForEverySource(t *testing.T) {
	f, set := load(t, "../../testdata/feeds/racecar-oval-split.yaml")
	_, err := Open(t.Context(), f, set, Options{Paths: map[string]string{"": "x"}})
	require.ErrorContains(t, err, "such as gps=drive.csv")
	_, err = Open(t.Context(), f, set, Options{Paths: map[string]string{"gpx": "x"}})
	require.ErrorContains(t, err, "did you mean gps?")
	_, err = Open(t.Context(), f, set, Options{Paths: map[string]string{"gps": "stream_test.go"}})
	require.ErrorIs(t, err, transport.ErrUnavailable)
	require.ErrorContains(t, err, "source car: ")
	g, set := load(t, twoSources)
	_, err = Open(t.Context(), g, set, Options{Paths: map[string]string{"gps": "stream_test.go"}})
	require.ErrorContains(t, err, "do not join")
	s, err := Open(t.Context(), g, set, Options{})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, s.Read(ctx, nil), context.Canceled)
	require.NoError(t, s.Close())
}

// A receiver's last fix stands in each row of a faster table (road-loop: github.com/balzer82/Kalman at 61b1ec4, CC BY-SA 2.0:
// "50 Hz IMU with GPS held at 9.8 Hz"). With changes: gps only the fixes are readings; and a receiver that stops,
// here after 200 s, is old a second later although its last fix is repeated to the end.
func TestAHeldPositionIsOldWhenItIs(t *testing.T) {
	path := opendata.Path(t, "road-loop/2014-03-26-000-Data.csv.gz")
	lines := strings.Split(strings.TrimSpace(string(gunzip(t, path))), "\n")
	const stops = 200.0
	column := func(cells []string, name string) *string {
		return &cells[slices.Index(strings.Split(lines[0], ","), name)]
	}
	var begin, last float64
	var held map[string]string
	fixes, before := 0, ""
	names := []string{"latitude", "longitude", "speed", "course"}
	for i, line := range lines[1:] {
		cells := strings.Split(line, ",")
		var ms float64
		_, err := fmt.Sscan(*column(cells, "millis"), &ms)
		require.NoError(t, err)
		if i == 0 {
			begin = ms
		}
		last = (ms - begin) / 1e3
		if held == nil && last >= stops {
			held = map[string]string{}
			for _, n := range names {
				held[n] = *column(strings.Split(lines[i], ","), n)
			}
		}
		for n, v := range held {
			*column(cells, n) = v
		}
		if now := fmt.Sprint(*column(cells, names[0]), *column(cells, names[1])); now != before {
			fixes, before = fixes+1, now
		}
		lines[i+1] = strings.Join(cells, ",")
	}
	text, err := os.ReadFile("../../testdata/feeds/road-loop.yaml")
	require.NoError(t, err)
	for name, src := range map[string]string{"changes": string(text), "as it stands": strings.NewReplacer(", changes: gps", "", ", changes: motion", "").Replace(string(text)), "alone": strings.ReplaceAll(string(text), "changes: gps", "changes: true")} {
		f, set := parse(t, src)
		s := streamOf(t, t.Context(), f, set, &script{pieces: [][]byte{[]byte(strings.Join(lines, "\n"))}})
		hold := channel.NewHold(set)
		readings, absentBefore, presentAfter := 0, 0, 0
		fresh := math.Inf(-1)
		for err := error(nil); err == nil; {
			err = s.Read(t.Context(), func(x channel.Sample) {
				if x.Row.Has(channel.Latitude) {
					readings++
					fresh = x.At
				}
				hold.Update(x)
				if x.At < stops {
					if !hold.Row.Has(channel.Longitude) || !hold.Row.Has(channel.Latitude) {
						absentBefore++
					}
				} else if hold.Row.Has(channel.Longitude) && hold.Row.Has(channel.Latitude) {
					presentAfter++
				}
			})
		}
		switch name {
		case "changes":
			require.Equal(t, fixes, readings)
			require.InDelta(t, 9.8, float64(readings)/stops, 0.2, "Hz: SOURCES.md")
			require.Zero(t, absentBefore)
			require.InDelta(t, 50, presentAfter, 10, "a second of the table")
			require.InDelta(t, stops, fresh, 0.2)
		case "as it stands":
			require.Equal(t, len(lines)-1, readings)
			require.Greater(t, presentAfter, 700, "without it the last fix looks new for ever")
		case "alone":
			require.Positive(t, absentBefore, "one coordinate repeats for more than a second on a straight road")
		}
	}
}
