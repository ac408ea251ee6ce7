package feed

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/transport"
)

// fuzzed are the feeds through which bytes go, one of every codec at least, parsed once.
func fuzzed(t testing.TB) (files []*feedfile.File, sets []*channel.Set) {
	t.Helper()
	for _, text := range []string{chunkedCSV, chunkedJSON, watchedFeed, head + `codec: json
json: {name_value: {time: t}}
channels: {time: {unit: s}, speed: {name: v, unit: m/s, changes: true}}
`, head + `codec: packet
packet:
  byte_order: little
  kinds:
    k:
      length: 12
      fields:
        - {type: u16, to: time, unit: ms}
        - {type: f32, to: speed, unit: m/s}
        - {type: f32, to: position_x, unit: m, changes: true}
        - {type: u16, to: engine_speed, unit: rpm}
`, "transport: {kind: stdin}\ncodec: nmea\n", head + "codec: nmea\nnmea: {checksum: optional}\nderived: {lap_distance: position_z * 2}\n",
		strings.Replace(tornCAN, "can:\n", "can:\n  time: arrival\n  obd: {0x0C: {to: engine_speed}}\n", 1)} {
		f, set := parse(t, text)
		files, sets = append(files, f), append(sets, set)
	}
	f, set := load(t, "../../configs/feeds/example-can.yaml") // with a DBC file, a checksum, a counter, a multiplexer and answers of service 01
	f.Transport = transport.Spec{Kind: transport.Stdin}
	return append(files, f), append(sets, set)
}

// Whatever bytes come, through whatever codec: no panic, what was counted adds up, time never goes back, and a stream that
// was cut is what it is in one piece.
func FuzzStream(f *testing.F) {
	files, sets := fuzzed(f)
	for i := range files {
		for _, text := range []string{
			"t,\"v, air\",g\n10,36,1\n5,7,2\n99999,1,1\n",
			"{\"t\":1,\"car\":{\"v\":3},\"v\":1e9}\n{\"t\":-5,\"v\":2}\n{\"name\":\"v\",\"value\":1,\"t\":9}\n",
			"\x01\x00abcdefghij\x00\x00abcdefghij\xff\xffabcdefghij",
			// The demo car at the turn of a year, as the test of replays writes it.
			"$GNRMC,235959.90,A,0959.8477062,S,01959.7593483,W,68.95500,345.01443,311224,,,A*79\r\n$GNGGA,235959.90,0959.8477062,S,01959.7593483,W,4,17,0.6,12.500,M,0.0,M,,*78\r\n$GNVTG,345.01443,T,,M,68.95500,N,127.70465,K,A*20\r\n" +
				"$GNRMC,000000.00,A,0959.8458424,S,01959.7598540,W,70.04143,344.98843,010125,,,A*70\r\n$GPVTG,1,T,,M,2,N,3,K\r\n$GPRMC,000001,V,,,,,,,010125,,\r\n",
			"(1700000029.900000) can0 1F0#31E200052C00AB00\n(1700000029.900400) can0 18FEF100#0006B3AC\n(1700000029.900800) can1 120#R\n (1700000030.000000)  can0  1F0   [8]  32 AC 00 00 10 00 AE 00\n can0 7E8#04410C1AF8\n",
			exampleLog,
		} {
			for _, cut := range []uint8{0, 7, 12, 20} {
				f.Add(uint8(i), []byte(text), cut)
			}
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, data []byte, cut uint8) {
		file, set := files[int(which)%len(files)], sets[int(which)%len(files)]
		run := func(pieces [][]byte) ([]string, Stats) {
			s := streamOf(t, t.Context(), file, set, &script{pieces: pieces})
			out := drain(t, t.Context(), s, set)
			samples := 0
			for _, line := range out.list {
				if !strings.Contains(line, "Part:") {
					samples++
				}
			}
			stats := s.Stats()
			consistent(t, stats, samples)
			require.NoError(t, s.Close())
			return out.list, stats
		}
		n := int(cut) + 1
		gaps := n%5 == 0
		var pieces [][]byte
		for rest := data; len(rest) > 0; rest = rest[min(n, len(rest)):] {
			pieces = append(pieces, rest[:min(n, len(rest))])
			if gaps {
				pieces = append(pieces, []byte("GAP"))
			}
		}
		got, stats := run(slices.Clone(pieces))
		if gaps || file.Transport.Datagrams() || slices.ContainsFunc(pieces, func(p []byte) bool { return string(p) == "GAP" }) || string(data) == "GAP" {
			return
		}
		want, whole := run([][]byte{data})
		require.Equal(t, want, got)
		require.Equal(t, whole, stats)
	})
}
