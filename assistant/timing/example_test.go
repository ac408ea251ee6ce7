package timing_test

import (
	"fmt"

	"earshot/assistant/channel"
	"earshot/assistant/timing"
)

// A feed that counts the metres from the line, at 50 m/s on a course of 1000 m.
func Example() {
	row := channel.NewSet().NewRow()
	t := timing.New(timing.Config{})
	var events []timing.Event
	for i := range 250 {
		row[channel.Speed] = 50
		row[channel.LapDistance] = float64((i*10 + 505) % 1000)
		events = t.Step(float64(i)*0.2, row, events[:0])
		for _, e := range events {
			if e.Kind == timing.LapDone {
				fmt.Printf("%s %d: %.3f s, %s\n", e.Kind, e.Number, e.Lap.Time, e.Lap.Class)
			}
		}
	}
	// Output:
	// lap done 1: 20.000 s, flying
}
