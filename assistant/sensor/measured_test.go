package sensor_test

import (
	"errors"
	"io"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/transport"
	"earshot/assistant/opendata"
	"earshot/assistant/sensor"
)

// The sensors of measured drives work: a race car on an oval, a road car in traffic with long stops. As they are, and
// as if they told only coarse steps.
func TestMeasuredSensorsAreBelieved(t *testing.T) {
	for _, tt := range []struct{ file, feed string }{
		{"racecar-oval-25hz/LVMS_23_01_04_B.csv.gz", "racecar-oval.yaml"},
		{"road-loop/2014-03-26-000-Data.csv.gz", "road-loop.yaml"},
	} {
		path := opendata.Path(t, tt.file)
		own := channel.NewSet()
		text, err := os.ReadFile("../../testdata/feeds/" + tt.feed)
		require.NoError(t, err)
		f, err := feedfile.Parse(tt.feed, text, own)
		require.NoError(t, err)
		f.Transport = transport.Spec{Kind: transport.File, Path: path}
		for _, step := range []bool{false, true} {
			src, err := feed.Open(t.Context(), f, own, feed.Options{})
			require.NoError(t, err)
			g, hold, samples := sensor.New(own), channel.NewHold(own), 0
			for err == nil {
				err = src.Read(t.Context(), func(s channel.Sample) {
					samples++
					if step {
						coarse(s.Row)
					}
					g.Update(hold, s)
					for _, x := range g.Findings() {
						t.Errorf("%s: %s has fault %d at %.1f: %v for %v s", tt.feed, own.At(x.Channel).Name, x.Fault, s.At, x.Value, x.For)
					}
				})
			}
			require.True(t, errors.Is(err, io.EOF), err)
			require.Greater(t, samples, 5000)
		}
	}
}
