package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"net"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/demo"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/configs"
)

// What --send puts on the wire is what its feed file describes: the first seconds are received and compared with the
// simulation.
func TestDemoIsSent(t *testing.T) {
	for as, scheme := range map[string]string{assembly.AsPacket: "", assembly.AsJSON: "udp://"} {
		t.Run(scheme+as, func(t *testing.T) {
			conn, err := net.ListenPacket("udp", "127.0.0.1:0")
			require.NoError(t, err)
			defer conn.Close()
			set := channel.NewSet()
			name := map[string]string{assembly.AsPacket: "demo.yaml", assembly.AsJSON: "demo-json.yaml"}[as]
			data, err := configs.Files.ReadFile("feeds/" + name)
			require.NoError(t, err)
			f, err := feedfile.Parse(name, data, set)
			require.NoError(t, err)
			decoder, err := feed.NewDecoder(f, set)
			require.NoError(t, err)
			sim, err := demo.New(set, demo.Options{Seed: 5, Story: true, Rate: 60})
			require.NoError(t, err)

			// Slow enough that nothing is lost for so long that the feed's clock would stop believing the source.
			ctx, stop := context.WithCancel(t.Context())
			ended := make(chan error, 1)
			defer func() {
				stop()
				require.NoError(t, <-ended)
			}()
			c := newRoot()
			c.SetArgs([]string{"demo", "--send", scheme + conn.LocalAddr().String(), "--as", as, "--seed", "5", "--rate", "60", "--speed",
				"4"})
			c.SetErr(&bytes.Buffer{})
			go func() { ended <- c.ExecuteContext(ctx) }()
			buffer := make([]byte, 1<<16)
			want, ok := sim.Next()
			compared := 0
			for compared < 750 { // 12 s: the car has moved off
				require.NoError(t, conn.SetReadDeadline(time.Now().Add(20*time.Second)))
				n, _, err := conn.ReadFrom(buffer)
				require.NoError(t, err)
				decoder.Decode(buffer[:n], 0, func(got channel.Sample) {
					if math.IsNaN(got.Row[channel.Speed]) {
						return // another kind of datagram
					}
					for ok && want.At < got.At-0.004 { // lost on the way
						want, ok = sim.Next()
					}
					require.InDelta(t, want.At, got.At, 1e-3)
					require.InDelta(t, want.Row[channel.Speed], got.Row[channel.Speed], 1e-3)
					require.InDelta(t, want.Row[channel.LapDistance], got.Row[channel.LapDistance], 1e-2)
					if as == assembly.AsJSON {
						require.Equal(t, want.Row[channel.OilPressure], got.Row[channel.OilPressure])
					}
					compared++
				})
			}
			require.Greater(t, want.Row[channel.Speed], 1.0)
		})
	}
}

// The line on the terminal changes now and then, and makes room for what is printed.
func TestProgressLine(t *testing.T) {
	var b bytes.Buffer
	p := &progressLine{w: &b, on: true}
	now := time.Unix(100, 0)
	p.show(0, 61.25, now)
	p.show(0, 61.3, now.Add(often/2))
	fmt.Fprintln(p, "a cue")
	fmt.Fprintln(p, "another")
	p.show(3, 300, now.Add(often))
	require.Equal(t, "\r\x1b[K  1:01.3  out-lap\r\x1b[Ka cue\nanother\n\r\x1b[K  5:00.0  lap 3", b.String())

	b.Reset()
	off := newProgressLine(&b)
	off.show(3, 300, now)
	require.Empty(t, b.String(), "not on what is no terminal")
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	require.NoError(t, err)
	defer null.Close()
	require.False(t, isTerminal(null))
}

// The drive is written with bounded memory: what is kept does not grow with what is driven.
func TestWritingKeepsNothing(t *testing.T) {
	perSample := func(laps int) float64 {
		dir := t.TempDir()
		c := newDemo()
		c.SetArgs([]string{"--write", dir, "--laps", fmt.Sprint(laps), "--course", "saucer", "--rate", "60"})
		c.SetOut(&bytes.Buffer{})
		allocated := testing.AllocsPerRun(1, func() { require.NoError(t, c.Execute()) })
		info, err := os.Stat(dir + "/" + samplesFile)
		require.NoError(t, err)
		return allocated / float64(info.Size()) * 1e6
	}
	short, long := perSample(1), perSample(12)
	require.Less(t, long, short/2, "allocations per megabyte: nothing is allocated for a sample")
}
