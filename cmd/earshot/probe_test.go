package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"path/filepath"
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

// sendDemoTo sends the demo's datagrams to a port, six times as fast as they were driven, until the test is over.
func sendDemoTo(t *testing.T, port int) {
	t.Helper()
	data, err := configs.Files.ReadFile("feeds/demo.yaml")
	require.NoError(t, err)
	set := channel.NewSet()
	f, err := feedfile.Parse("demo.yaml", data, set)
	require.NoError(t, err)
	e, err := feed.NewEncoder(f, set)
	require.NoError(t, err)
	sim, err := demo.New(set, demo.Options{Seed: 1})
	require.NoError(t, err)
	conn, err := net.Dial("udp", fmt.Sprintf("127.0.0.1:%d", port))
	require.NoError(t, err)
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(10 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
			}
			for range 4 {
				s, ok := sim.Next()
				if !ok {
					return
				}
				_ = e.Encode(s, func(p []byte) { _, _ = conn.Write(p) }) // nobody listens yet, or no more
			}
		}
	}()
	t.Cleanup(func() { close(stop); <-done; conn.Close() })
}

func probeJSON(t *testing.T, into any, args ...string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	require.Equal(t, 0, Main(append([]string{"probe", "--json"}, args...), nil, &stdout, &stderr), stderr.String())
	require.NoError(t, json.Unmarshal(stdout.Bytes(), into), stdout.String())
}

// A live source: with its feed file it is measured, without one its fields are found and a feed file is begun that then
// reads it.
func TestProbeListens(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	port := freePort(t)
	sendDemoTo(t, port)

	var known assembly.Listened
	probeJSON(t, &known, "--feed", demoFeedOn(t, port), "--seconds", "2")
	require.Len(t, known.Sizes, 3, "the demo sends three kinds of datagrams")
	for i, size := range []int{56, 58, 62} {
		require.Equal(t, size, known.Sizes[i].Size)
		require.Equal(t, known.Sizes[i].Count, known.Sizes[i].Samples)
	}
	require.Contains(t, known.Sizes[1].Channels, "speed")
	require.InEpsilon(t, 60+10+2, known.Measured.Rate, 0.1, "by the feed's own clock")
	require.Zero(t, known.Counts.Bad)
	require.Empty(t, known.Measured.Findings)

	mine := filepath.Join(t.TempDir(), "mine.yaml")
	var guessed unknown
	probeJSON(t, &guessed, "--udp", fmt.Sprintf("127.0.0.1:%d", port), "--seconds", "2", "--write", mine)
	require.Equal(t, "d6 c1 4e 7b", guessed.Layout.Magic)
	require.False(t, guessed.Layout.Big)
	kinds := map[int]int{}
	for _, k := range guessed.Layout.Kinds {
		for _, f := range k.Fields {
			if k.Size == 58 && f.Type == "f32" {
				kinds[f.At]++
			}
		}
	}
	require.Equal(t, 1, kinds[12], "the speed of the demo is an f32 at byte 12")
	text, err := os.ReadFile(mine)
	require.NoError(t, err)
	require.Contains(t, string(text), fmt.Sprintf(`listen: "127.0.0.1:%d"`, port))

	var again assembly.Listened
	probeJSON(t, &again, "--feed", mine, "--seconds", "1")
	require.Positive(t, again.Measured.Samples)
}

// A port that another program holds is told, with the way out.
func TestProbeOfABusyPort(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	require.NoError(t, err)
	defer conn.Close()
	for _, args := range [][]string{
		{"--udp", conn.LocalAddr().String()},
		{"--feed", demoFeedOn(t, conn.LocalAddr().(*net.UDPAddr).Port)},
	} {
		var stdout, stderr bytes.Buffer
		require.Equal(t, 1, Main(append([]string{"probe"}, args...), nil, &stdout, &stderr))
		require.Contains(t, stderr.String(), "the port is in use by another program")
		require.Contains(t, stderr.String(), "end that program, or give another port")
	}
}
