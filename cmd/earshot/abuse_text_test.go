package main

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/journal"
	"earshot/assistant/session"
)

// A textWire is a codec of lines in which each line has a checksum, so that what is damaged is known to be.
type textWire struct {
	name, feed string
	beside     map[string]string // files that the feed file names
	// line writes a moment; last tells that the same bytes once more are refused too.
	line func(i int, s channel.Sample) string
	last bool
	// safe is where the line may be damaged: what stands before is under no checksum.
	safe func(line string) int
}

var textWires = []textWire{
	{
		"nmea", "name: text\ntransport: {kind: udp, listen: 127.0.0.1:%d}\ncodec: nmea\n", nil,
		func(i int, s channel.Sample) string {
			at := time.Date(2024, 12, 31, 23, 59, 50, 0, time.UTC).Add(time.Duration(i) * 100 * time.Millisecond) // past midnight and the year
			lat, lon := 600+s.Row[channel.PositionY]/1852, 1200+s.Row[channel.PositionX]/1852                     // minutes
			body := fmt.Sprintf("GNRMC,%s,A,%02.0f%09.6f,S,%03.0f%09.6f,W,%.4f,90.0,%s,,,A", at.Format("150405.00"),
				math.Floor(lat/60), math.Mod(lat, 60), math.Floor(lon/60), math.Mod(lon, 60), s.Row[channel.Speed]*3600/1852,
				at.Format("020106"))
			sum := byte(0)
			for k := range len(body) {
				sum ^= body[k]
			}
			return fmt.Sprintf("$%s*%02X\r\n", body, sum)
		},
		false, func(string) int { return 0 },
	},
	{
		"can", "name: text\ntransport: {kind: udp, listen: 127.0.0.1:%d}\ncodec: can\ncan: {dbc: small.dbc, bus: can0, messages: " +
			"{Motion: {check: {sum: nibbles, total: 8}, counter: Counter, signals: {Speed: {to: speed}, Distance: {to: lap_distance}}}}}\n",
		map[string]string{"small.dbc": "BO_ 288 Motion: 8 X\n SG_ Speed : 7|16@0+ (0.01,0) [0|600] \"km/h\" X\n SG_ Distance : 16|32@1+ " +
			"(0.001,0) [0|100000] \"m\" X\n SG_ Counter : 60|4@1+ (1,0) [0|15] \"\" X\n"},
		func(i int, s channel.Sample) string {
			v, d := uint16(s.Row[channel.Speed]*360), uint32(s.Row[channel.LapDistance]*1000)
			p := []byte{byte(v >> 8), byte(v), byte(d), byte(d >> 8), byte(d >> 16), byte(d >> 24), 0, byte(i%16) << 4}
			sum := 1 + 2 + 0 // the digits of the identifier
			for _, b := range p {
				sum += int(b>>4) + int(b&15)
			}
			p[7] |= byte(8-sum) & 15
			return fmt.Sprintf("(%d.%06d) can0 120#%X\n", 1700000000+i/10, i%10*100000, p)
		},
		true, func(line string) int { return strings.Index(line, ") ") + 2 }, // candump's time has no checksum
	},
}

// bad draws a datagram that must not become a reading.
func (w *textWire) bad(r *rand.Rand, before, line string, seeds [][]byte) []byte {
	for {
		if p := w.draw(r, before, line, seeds); !xored(p) {
			return p
		}
	}
}

// xored tells whether a datagram has a sentence whose checksum is right, be it by chance, as one damaged sentence of
// 256 has.
func xored(p []byte) bool {
	for _, line := range bytes.Split(p, []byte("\n")) {
		line = line[bytes.LastIndexByte(line, '$')+1:]
		body, digits, _ := bytes.Cut(bytes.TrimSpace(line), []byte("*"))
		sum := byte(0)
		for _, b := range body {
			sum ^= b
		}
		if fmt.Sprintf("%02X", sum) == strings.ToUpper(string(digits)) {
			return true
		}
	}
	return false
}

func (w *textWire) draw(r *rand.Rand, before, line string, seeds [][]byte) []byte {
	from := w.safe(line)
	end := len(strings.TrimRight(line, "\r\n"))
	digits := end // small and large letters of a checksum are the same
	if w.name == "nmea" {
		digits -= 2
	}
	cut := from + r.IntN(end-from)
	switch r.IntN(9) {
	case 0: // cut
		return []byte(line[:cut])
	case 1: // its beginning is lost
		return []byte(line[from+1+r.IntN(end-from-1):])
	case 2: // one bit
		p := []byte(line)
		at := from + r.IntN(digits-from)
		p[at] ^= 1 << r.IntN(8)
		if bytes.EqualFold(p, []byte(line)) {
			p[at] = '?' // hexadecimal digits may be small
		}
		return p
	case 3: // a byte lost in the middle
		return []byte(line[:cut] + line[cut+1:])
	case 4: // the first half of this one and the second of that before
		k := w.safe(before) + 2 + r.IntN(len(before)-w.safe(before)-6)
		return []byte(line[:cut] + "\x00" + before[k:])
	case 5:
		if w.last && before != "" {
			return []byte(before) // again
		}
		return []byte("\r\n\r\n")
	case 6:
		return seeds[r.IntN(len(seeds))]
	case 7:
		return bytes.Repeat([]byte(line[:cut]+"9"), 1+r.IntN(60000/len(line)))
	default:
		p := make([]byte, r.IntN(300))
		for i := range p {
			p[i] = byte(r.Uint32())
		}
		return p
	}
}

// Codecs of lines under abuse, as TestAbuseOverUDP has it for packets: good lines among thousands that are cut,
// damaged, glued or something else, through a socket into the real program. Its recording has the good ones, bit for
// bit, and nothing else; and it replays with the files that it holds, the DBC file among them.
func TestAbuseOfLinesOverUDP(t *testing.T) {
	if testing.Short() {
		t.Skip("sends tens of thousands of datagrams; run without -short")
	}
	bin := buildPrograms(t)
	for k, w := range textWires {
		t.Run(w.name, func(t *testing.T) {
			const moments, badOnes = 600, 20_000
			dir := t.TempDir()
			text := ""
			l := startLiveOn(t, bin, func(t testing.TB, port int) string {
				text = fmt.Sprintf(w.feed, port)
				for name, data := range w.beside {
					require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(data), 0o600))
				}
				path := filepath.Join(dir, "text.yaml")
				require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
				return path
			}, "PULSE_SERVER=", "DISPLAY=", "EARSHOT_DEVICE=silent")
			set := channel.NewSet()
			f, err := feedfile.ParseWith("text.yaml", []byte(text), set,
				func(name string) ([]byte, error) { return []byte(w.beside[name]), nil })
			require.NoError(t, err)
			newDecoder := func() feed.Decoder {
				d, err := feed.NewDecoder(f, set)
				require.NoError(t, err)
				return d
			}
			sim, err := demo.New(set, demo.Options{Seed: 1, Rate: 10})
			require.NoError(t, err)

			out := newFlood(t, l.port)
			r := rand.New(rand.NewPCG(7, uint64(k)))
			seeds := fuzzSeeds(t)
			undisturbed, shadow := newDecoder(), newDecoder()
			var want []string
			taken, sentBad, before := 0, 0, ""
			send := func(p []byte) {
				out.send(p)
				shadow.Decode(p, 0, func(channel.Sample) { taken++ })
			}
			for i := range moments {
				s, ok := sim.Next()
				require.True(t, ok)
				line := w.line(i, s)
				send([]byte(line))
				undisturbed.Decode([]byte(line), 0, func(s channel.Sample) { want = append(want, sampleBits(s.At, s.Row)) })
				for before != "" && sentBad < badOnes*(i+1)/moments {
					p := w.bad(r, line, w.line(i+1, s), seeds)
					send(p)
					sentBad++
					require.Equal(t, i+1, taken, "taken for good: %q", p)
				}
				before = line
			}
			out.drain(0)
			refused := func(e journal.Event) bool {
				h, ok := e.Body.(*journal.Health)
				return ok && h.Part == "feed" && counted(h.Text) > 0
			}
			l.waitFor("the refusals are told", func() bool {
				_, _ = out.conn.Write([]byte("no line of ours")) // it looks once a second, when something comes
				return l.has(refused)
			})
			require.NoError(t, l.run.Process.Signal(syscall.SIGTERM))
			require.NoError(t, l.run.Wait(), l.err.String())
			require.Len(t, want, moments)
			stats := shadow.Stats()
			t.Logf("%d good, %d bad: %+v", moments, sentBad, stats.Reasons)

			require.NoError(t, os.RemoveAll(dir)) // from here on the recording stands alone
			found, err := filepath.Glob(filepath.Join(l.sessions, "*", "recording.mcap"))
			require.NoError(t, err)
			require.Len(t, found, 1)
			rec, err := session.OpenRecording(found[0])
			require.NoError(t, err)
			defer rec.Close()
			require.Empty(t, rec.Bind(set))
			for name, data := range w.beside {
				require.True(t, slices.ContainsFunc(rec.Head.Files, func(f session.File) bool {
					return f.Kind == session.IncludedFile && f.Name == name && string(f.Data) == data
				}), name)
			}
			var got []string
			for e, err := rec.Next(); err == nil; e, err = rec.Next() {
				if e.Kind == session.KindSample {
					got = append(got, sampleBits(e.At, e.Row))
				}
			}
			require.Len(t, got, moments)
			for i := range want {
				require.Equal(t, want[i], got[i], "sample %d is another", i)
			}
			told := 0
			for _, e := range l.journal() {
				if refused(e) {
					told++
				}
			}
			require.LessOrEqual(t, told, 6, "a line for each power of ten, not more")
			l.checkReplay()
		})
	}
}
