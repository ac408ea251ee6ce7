package feed_test

import (
	"fmt"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
)

// A feed file is parsed with a set of channels; its decoder turns bytes into samples.
func Example() {
	set := channel.NewSet()
	file, err := feedfile.Parse("car.yaml", []byte(`
transport: {kind: udp, listen: 127.0.0.1:47119}
codec: json
channels:
  time: {path: t, unit: s}
  speed: {path: v, unit: km/h}
`), set)
	if err != nil {
		fmt.Println(err)
		return
	}
	d, err := feed.NewDecoder(file, set)
	if err != nil {
		fmt.Println(err)
		return
	}
	show := func(s channel.Sample) { fmt.Printf("%.1f s: %.1f m/s\n", s.At, s.Row[channel.Speed]) }
	d.Decode([]byte(`{"t": 100, "v": 90}`), 0, show)
	d.Decode([]byte(`{"t": 100.5, "v": "fast"}`), 0, show)
	d.Decode([]byte(`{"t": 101, "v": 180}`), 0, show)
	d.End(show)
	fmt.Println(d.Stats().LastBad)
	// Output:
	// 0.0 s: 25.0 m/s
	// 1.0 s: 50.0 m/s
	// datagram 2: speed: not a number
}
