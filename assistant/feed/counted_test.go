package feed

import (
	"context"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
)

// What a transport passes over is counted with the rest, so that a driver who named the wrong sender learns why nothing comes.
func TestWhatATransportPassesOverIsCounted(t *testing.T) {
	named, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 2)})
	if err != nil {
		t.Skip("this system has one loopback address only")
	}
	defer named.Close()
	stranger, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	defer stranger.Close()

	f, set := parse(t, "name: x\ntransport: {kind: udp, listen: 127.0.0.1:0, from: 127.0.0.2, largest: 60}\ncodec: json\nchannels: {gear: {path: g}}\n")
	ctx, done := context.WithTimeout(t.Context(), 20*time.Second)
	defer done()
	s, err := Open(ctx, f, set, Options{})
	require.NoError(t, err)
	defer s.Close()
	to := s.lanes[0].source.(interface{ LocalAddr() net.Addr }).LocalAddr()
	send := func(c *net.UDPConn, text string) {
		_, err := c.WriteTo([]byte(text), to)
		require.NoError(t, err)
	}
	send(stranger, `{"g":1}`)
	send(stranger, `{"g":2}`)
	send(named, `{"g":3,"more":"`+string(make([]byte, 100))+`"}`)
	send(named, `{"g":4}`)
	var gears []float64
	for len(gears) == 0 {
		require.NoError(t, s.Read(ctx, func(x channel.Sample) { gears = append(gears, x.Row[channel.Gear]) }))
	}
	require.Equal(t, []float64{4}, gears)
	require.EqualValues(t, 2, s.Stats().Foreign)
	require.EqualValues(t, 1, s.Stats().Oversized)
}

// A file that is being written is as live as a socket.
func TestAFollowedFileJoinsALiveSource(t *testing.T) {
	sources := func(follow string) error {
		f, err := feedfile.Parse("f", []byte("name: x\nsources:\n- {name: log, transport: {kind: file, path: log.csv"+follow+"}, codec: csv, clock: {period: 10 ms}, channels: {gear: {column: g}}}\n"+
			"- {name: gps, transport: {kind: udp, listen: 47119}, codec: nmea, channels: {latitude: {item: latitude}}}\n"), channel.NewSet())
		if err == nil {
			_, err = withPaths(f, nil)
		}
		return err
	}
	require.NoError(t, sources(", follow: true"))
	require.ErrorContains(t, sources(""), "do not join")
}
