package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant"
	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/journal"
	"earshot/assistant/opendata"
	"earshot/assistant/session"
)

// An ovalColumn is a column of the measured log: its name in the header, the channel, the unit in which it was written
// and the unit used inside.
type ovalColumn struct{ header, channel, unit, inside string }

// ovalColumns are those that testdata/feeds/racecar-oval.yaml maps, named once more so that a mistake there shows.
var ovalColumns = []ovalColumn{
	{"time(s)", "time", "s", "s"},
	{"x(m)", "position_x", "m", "m"}, {"y(m)", "position_y", "m", "m"},
	{"vx(m/s)", "velocity_forward", "m/s", "m/s"}, {"vy(m/s)", "velocity_left", "m/s", "m/s"},
	{"phi(rad)", "heading", "rad", "rad"}, {"delta(rad)", "road_wheel_angle", "rad", "rad"}, {"omega(rad/s)", "yaw_rate", "rad/s", "rad/s"},
	{"ax(m/s^2)", "acceleration_longitudinal", "m/s²", "m/s²"},
	{"wheel_fl(kmph)", "wheel_speed_fl", "km/h", "m/s"}, {"wheel_fr(kmph)", "wheel_speed_fr", "km/h", "m/s"},
	{"wheel_rl(kmph)", "wheel_speed_rl", "km/h", "m/s"}, {"wheel_rr(kmph)", "wheel_speed_rr", "km/h", "m/s"},
	{"throttle_ped_cmd(%)", "throttle", "%", "1"}, {"brake_ped_cmd(kPa)", "brake_pressure_command", "kPa", "kPa"},
}

// ovalFiles are the files in force for the measured log, with another feed.
func ovalFiles(t testing.TB, feedText string) []session.File {
	t.Helper()
	own := filepath.Join(projectRoot(t), "testdata")
	read := func(kind, name string) session.File {
		data, err := os.ReadFile(filepath.Join(own, name))
		require.NoError(t, err)
		return session.File{Kind: kind, Name: filepath.Base(name), Data: data}
	}
	feed := read(session.FeedFile, "feeds/racecar-oval.yaml")
	if feedText != "" {
		feed = session.File{Kind: session.FeedFile, Name: "feed.yaml", Data: []byte(feedText)}
	}
	return []session.File{feed, read(session.CarFile, "cars/racecar-oval.yaml"), read(session.CourseFile, "courses/racecar-oval.yaml")}
}

// loadOval compiles them with the user's defaults.
func loadOval(t testing.TB, feedText string) *assembly.Parts {
	t.Helper()
	c := newReplay()
	cfg, err := loadConfig(c)
	require.NoError(t, err)
	l, err := assembly.Build(assembly.Request{Config: cfg, Recorded: ovalFiles(t, feedText), Over: []string{"rules"}})
	require.NoError(t, err)
	return l
}

// ovalFeed writes a feed file with the own and derived channels of the log's and other ways of bringing the bytes.
func ovalFeed(t testing.TB, name, body string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(projectRoot(t), "testdata", "feeds", "racecar-oval.yaml"))
	require.NoError(t, err)
	_, own, ok := strings.Cut(string(data), "\nown_channels:")
	require.True(t, ok)
	return "name: " + name + "\n" + body + "\nown_channels:" + own
}

// ovalTable is the measured log: its text and its cells.
func ovalTable(t testing.TB) (path string, text []byte, cells [][]string) {
	t.Helper()
	path = filepath.Join(opendata.Path(t, ""), "racecar-oval-25hz", "LVMS_23_01_04_B.csv.gz")
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	z, err := gzip.NewReader(f)
	require.NoError(t, err)
	text, err = io.ReadAll(z)
	require.NoError(t, err)
	rows := lines(strings.ReplaceAll(string(text), "\r", ""))
	header := strings.Split(strings.TrimPrefix(rows[0], "# "), ",")
	var places []int
	for _, c := range ovalColumns {
		i := slices.Index(header, c.header)
		require.GreaterOrEqual(t, i, 0, c.header)
		places = append(places, i)
	}
	for _, r := range rows[1:] {
		all := strings.Split(r, ",")
		row := make([]string, len(places))
		for i, p := range places {
			row[i] = strings.TrimSpace(all[p])
		}
		cells = append(cells, row)
	}
	require.Greater(t, len(cells), 16000, "672 s at 25 Hz")
	return path, text, cells
}

// A datagramFeed is a live source without a socket: each datagram comes when it is due.
type datagramFeed struct {
	decoder feed.Decoder
	list    [][]byte
	period  time.Duration
	begin   time.Time
}

func (f *datagramFeed) Read(ctx context.Context, emit func(channel.Sample)) error {
	if f.begin.IsZero() {
		f.begin = time.Now()
	}
	if len(f.list) == 0 {
		return io.EOF
	}
	select {
	case <-time.After(f.period):
	case <-ctx.Done():
		return ctx.Err()
	}
	f.decoder.Decode(f.list[0], time.Since(f.begin).Seconds(), emit)
	f.list = f.list[1:]
	return nil
}

func (f *datagramFeed) Stats() feed.Stats { return f.decoder.Stats() }

// runDatagrams is a live run in time of its own over such a source.
func runDatagrams(t *testing.T, l *assembly.Parts, list [][]byte, period time.Duration) (text string, bits []string) {
	t.Helper()
	decoder, err := feed.NewDecoder(l.Feed, l.Channels)
	require.NoError(t, err)
	var b bytes.Buffer
	synctest.Test(t, func(t *testing.T) {
		a := &assistant.Assistant{
			Core: l.Core(), Session: journal.Session{ID: "replay", Feed: l.FeedName(), Car: l.Car.Name, Course: l.CourseName()},
			Feed: &datagramFeed{decoder: decoder, list: list, period: period},
			Sinks: []assistant.Sink{assembly.JournalTo(&b), assistant.InputsTo(func(in assistant.Input) error {
				if in.Kind == assistant.KindSample {
					bits = append(bits, sampleBits(in.At, in.Row))
				}
				return nil
			})},
		}
		require.NoError(t, a.Run(t.Context()))
	})
	return b.String(), bits
}

// sampleBits is every bit of a sample.
func sampleBits(at float64, row channel.Row) string {
	b := binary.BigEndian.AppendUint64(nil, math.Float64bits(at))
	for _, v := range row {
		if math.IsNaN(v) {
			v = math.NaN() // one absence is like another
		}
		b = binary.BigEndian.AppendUint64(b, math.Float64bits(v))
	}
	return string(b)
}

// fileBits decodes a log.
func fileBits(t testing.TB, l *assembly.Parts, path string) (bits []string) {
	t.Helper()
	decodeFile(t, l, path, func(s channel.Sample) { bits = append(bits, sampleBits(s.At, s.Row)) })
	return bits
}

// replayFile is `earshot replay` of a file with these flags.
func replayFile(t *testing.T, file string, flags ...string) string {
	t.Helper()
	own := filepath.Join(projectRoot(t), "testdata")
	var stdout, stderr bytes.Buffer
	code := Main(append([]string{"replay", file,
		"--course", filepath.Join(own, "courses", "racecar-oval.yaml"), "--car", filepath.Join(own, "cars", "racecar-oval.yaml"),
	}, flags...), nil, &stdout, &stderr)
	require.Equal(t, 0, code, stderr.String())
	return stdout.String()
}

// withoutSession cuts off the line that names the feed, after a look that it is that one.
func withoutSession(t testing.TB, text string) []string {
	t.Helper()
	all := lines(text)
	require.Contains(t, all[0], `"kind":"session"`)
	return all[1:]
}

// The measured log tells one and the same story whichever way its numbers come: as the table that it is, as another
// table, as JSON, as binary datagrams by our encoder and as datagrams put together here with the standard library
// alone, and as our own recording. Lap times and lengths of that story are checked in TestReplayOfMeasuredOval.
func TestOneLogInEveryCodecIsOneStory(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	path, _, cells := ovalTable(t)
	own := filepath.Join(projectRoot(t), "testdata", "feeds", "racecar-oval.yaml")
	want := withoutSession(t, replayFile(t, path, "--feed", own))
	require.Greater(t, len(want), 10)
	// The journal rounds; the samples before it are compared with every bit of theirs.
	wantBits := fileBits(t, loadOval(t, ""), path)
	require.Len(t, wantBits, len(cells))
	same := func(t *testing.T, got string, bits []string) {
		t.Helper()
		require.Equal(t, want, withoutSession(t, got))
		require.Len(t, bits, len(wantBits))
		for i := range bits {
			require.Equal(t, wantBits[i], bits[i], "sample %d", i)
		}
	}
	write := func(t *testing.T, name string, data []byte) string {
		t.Helper()
		p := filepath.Join(t.TempDir(), name)
		require.NoError(t, os.WriteFile(p, data, 0o600))
		return p
	}
	period := 40 * time.Millisecond // the log's own; no tick of the clock falls between two samples, in a replay neither

	t.Run("json lines", func(t *testing.T) {
		body := "transport: {kind: file}\ncodec: json\nchannels:\n"
		for i, c := range ovalColumns {
			body += fmt.Sprintf("  %s: {path: 'car.v[%d]', unit: %s}\n", c.channel, i, strconv.Quote(c.unit))
		}
		var b bytes.Buffer
		for _, row := range cells { // the digits of the table, none of them touched
			fmt.Fprintf(&b, `{"car":{"v":[%s]}}`+"\n", strings.Join(row, ","))
		}
		text := ovalFeed(t, "j", body)
		log := write(t, "log.jsonl", b.Bytes())
		same(t, replayFile(t, log, "--feed", write(t, "json.yaml", []byte(text))), fileBits(t, loadOval(t, text), log))
	})
	t.Run("another table", func(t *testing.T) { // semicolons, decimal commas, columns the other way round, a row of units
		body := "transport: {kind: file}\ncodec: csv\ncsv: {delimiter: ';', decimal: comma, units_row: true}\nchannels:\n"
		var names, units []string
		for i := len(ovalColumns) - 1; i >= 0; i-- {
			c := ovalColumns[i]
			body += fmt.Sprintf("  %s: {column: c%d}\n", c.channel, i)
			names, units = append(names, fmt.Sprintf("c%d", i)), append(units, "["+c.unit+"]")
		}
		var b bytes.Buffer
		fmt.Fprintf(&b, "%s\r\n%s\r\n", strings.Join(names, ";"), strings.Join(units, ";"))
		for _, row := range cells {
			row := slices.Clone(row)
			slices.Reverse(row)
			b.WriteString(strings.ReplaceAll(strings.Join(row, ";"), ".", ",") + "\r\n")
		}
		text := ovalFeed(t, "c", body)
		log := write(t, "log.csv", b.Bytes())
		same(t, replayFile(t, log, "--feed", write(t, "csv.yaml", []byte(text))), fileBits(t, loadOval(t, text), log))
	})
	t.Run("datagrams by hand", func(t *testing.T) { // in the units of the table, every second one with the other byte first
		body := "transport: {kind: udp, listen: 127.0.0.1:47119}\ncodec: packet\npacket:\n  kinds:\n    k:\n      length: 120\n      " +
			"fields:\n"
		for i, c := range ovalColumns {
			body += fmt.Sprintf("        - {type: f64, to: %s, unit: %s, byte_order: %s}\n", c.channel, strconv.Quote(c.unit),
				[]string{"little", "big"}[i%2])
		}
		var list [][]byte
		for _, row := range cells {
			var p []byte
			for i, cell := range row {
				x, err := strconv.ParseFloat(cell, 64)
				require.NoError(t, err)
				if i%2 == 0 {
					p = binary.LittleEndian.AppendUint64(p, math.Float64bits(x))
				} else {
					p = binary.BigEndian.AppendUint64(p, math.Float64bits(x))
				}
			}
			list = append(list, p)
		}
		got, bits := runDatagrams(t, loadOval(t, ovalFeed(t, "p", body)), list, period)
		same(t, got, bits)
	})
	t.Run("datagrams by our encoder", func(t *testing.T) { // in the units used inside, so that nothing is rounded on the way
		body := "transport: {kind: udp, listen: 127.0.0.1:47119}\ncodec: packet\npacket:\n  sequence: {at: 0, type: u32}\n  check: " +
			"{sum: crc32}\n  kinds:\n    k:\n      length: 128\n      fields:\n        - {skip: 4}\n"
		for _, c := range ovalColumns {
			body += fmt.Sprintf("        - {type: f64, to: %s, unit: %s}\n", c.channel, strconv.Quote(c.inside))
		}
		l := loadOval(t, ovalFeed(t, "e", body))
		encoder, err := feed.NewEncoder(l.Feed, l.Channels)
		require.NoError(t, err)
		var list [][]byte
		decodeFile(t, loadOval(t, ""), path, func(s channel.Sample) {
			require.NoError(t, encoder.Encode(s, func(p []byte) { list = append(list, bytes.Clone(p)) }))
		})
		require.Len(t, list, len(cells))
		got, bits := runDatagrams(t, l, list, period)
		same(t, got, bits)
	})
	t.Run("can", func(t *testing.T) {
		// Of 14 readings in double precision eight fill the longest frame of CAN FD, so a moment is two frames of one
		// time and two samples. Together they have every bit of the one; but at the first the position is still the one
		// before, and what follows from both is found one sample later. So it is the same story in the same order, with
		// the same laps to the last digit of the journal, and not the same line for line. What cars send, scaled whole
		// numbers of 8 to 16 bits, would not hold the log's digits. NMEA 0183 is not here: it has a position on the
		// earth, a speed and a track; no plane, no yaw rate, no wheels, no pedals.
		text, log := ovalFrames(t, cells)
		file, frames := write(t, "can.yaml", []byte(text)), write(t, "log.candump", log)
		require.Equal(t, plot(t, want), plot(t, withoutSession(t, replayFile(t, frames, "--feed", file))))
		var pair []float64
		var bits []string
		n := 0
		decodeFile(t, loadOval(t, text), frames, func(s channel.Sample) {
			if n++; n%2 == 1 {
				pair = slices.Clone(s.Row)
				return
			}
			for id, v := range s.Row {
				if !math.IsNaN(v) {
					pair[id] = v
				}
			}
			bits = append(bits, sampleBits(s.At, pair))
		})
		require.Len(t, bits, len(wantBits))
		for i := range bits {
			require.Equal(t, wantBits[i], bits[i], "sample %d", i)
		}
	})
	t.Run("our recording", func(t *testing.T) {
		l := loadOval(t, "")
		file := filepath.Join(t.TempDir(), "recording.mcap")
		recorder, err := session.NewRecorder(file, l.Recorded("replay"), session.Options{Wait: true})
		require.NoError(t, err)
		source, err := feed.Open(t.Context(), l.Feed, l.Channels, feed.Options{Paths: map[string]string{"": path}})
		require.NoError(t, err)
		defer source.Close()
		a := &assistant.Assistant{Core: l.Core(), Session: journal.Session{ID: "replay", Feed: "r"},
			Sinks: []assistant.Sink{assistant.RecordTo(recorder)}}
		require.NoError(t, a.Replay(t.Context(), assistant.NewFeedReplay(source, nil), 0))
		require.NoError(t, recorder.Close())
		var stdout, stderr bytes.Buffer
		require.Equal(t, 0, Main([]string{"replay", file}, nil, &stdout, &stderr), stderr.String())
		var bits []string
		again, err := session.OpenRecording(file)
		require.NoError(t, err)
		defer again.Close()
		require.Empty(t, again.Bind(l.Channels))
		for e, err := again.Next(); err == nil; e, err = again.Next() {
			if e.Kind == session.KindSample {
				bits = append(bits, sampleBits(e.At, e.Row))
			}
		}
		same(t, stdout.String(), bits)
	})
	t.Run("one digit tells another story", func(t *testing.T) { // a comparison that always holds would prove nothing
		body := "transport: {kind: file}\ncodec: json\nchannels:\n"
		for i, c := range ovalColumns {
			body += fmt.Sprintf("  %s: {path: 'v[%d]', unit: %s}\n", c.channel, i, strconv.Quote(c.unit))
		}
		var b bytes.Buffer
		for i, row := range cells {
			if i == 5000 { // 200 s into the log, on a full lap
				row = slices.Clone(row)
				row[0] = row[0][:len(row[0])-7] + "9" + row[0][len(row[0])-6:] // the hundredths of one time
			}
			fmt.Fprintf(&b, `{"v":[%s]}`+"\n", strings.Join(row, ","))
		}
		got := replayFile(t, write(t, "log.jsonl", b.Bytes()), "--feed", write(t, "json.yaml", []byte(ovalFeed(t, "j", body))))
		require.NotEqual(t, want, withoutSession(t, got))
	})
}

// plot is a journal without when and where: laps whole, of the rest what it was about.
func plot(t testing.TB, journal []string) (list []string) {
	t.Helper()
	for _, line := range journal {
		var e map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &e))
		about := fmt.Sprint(e["kind"], e["lap"], e["number"], e["event"], e["rule"], e["to"], e["text"], e["verdict"])
		if e["kind"] == "lap" {
			about += fmt.Sprint(e["time"], e["valid"], e["class"], e["stint"], e["length"])
		}
		list = append(list, about)
	}
	return list
}

// ovalFrames writes the measured log as candump does, and the feed file for it: every second number with its other byte
// first.
func ovalFrames(t testing.TB, cells [][]string) (text string, log []byte) {
	t.Helper()
	frames := [2][]int{{3, 4, 5, 6, 7, 8, 13, 14}, {1, 2, 9, 10, 11, 12}} // columns; those of the derived speed in one
	ids := [2]string{"120", "18000121"}
	body := "transport: {kind: file}\ncodec: can\ncan:\n  messages:\n"
	for k, columns := range frames {
		body += "    0x" + ids[k] + ":\n      signals:\n"
		for i, c := range columns {
			place := fmt.Sprintf("start: %d, order: intel", 64*i)
			if i%2 == 1 {
				place = fmt.Sprintf("start: %d, order: motorola", 64*i+7)
			}
			body += fmt.Sprintf("        s%d: {%s, length: 64, float: true, to: %s, unit: %s}\n", i, place, ovalColumns[c].channel,
				strconv.Quote(ovalColumns[c].unit))
		}
	}
	var b bytes.Buffer
	for _, row := range cells {
		for k, columns := range frames {
			var p []byte
			for i, c := range columns {
				x, err := strconv.ParseFloat(row[c], 64)
				require.NoError(t, err)
				if i%2 == 0 {
					p = binary.LittleEndian.AppendUint64(p, math.Float64bits(x))
				} else {
					p = binary.BigEndian.AppendUint64(p, math.Float64bits(x))
				}
			}
			fmt.Fprintf(&b, "(%s) can0 %s##0%X\n", row[0], ids[k], p)
		}
	}
	return ovalFeed(t, "can", body), b.Bytes()
}

// decodeFile gives the samples of a log.
func decodeFile(t testing.TB, l *assembly.Parts, path string, emit func(channel.Sample)) {
	t.Helper()
	f, err := feed.Open(t.Context(), l.Feed, l.Channels, feed.Options{Paths: map[string]string{"": path}})
	require.NoError(t, err)
	defer f.Close()
	for err == nil {
		err = f.Read(t.Context(), emit)
	}
	require.ErrorIs(t, err, io.EOF)
}
