package car_test

import (
	"fmt"

	"earshot/assistant/car"
	"earshot/assistant/channel"
)

func ExampleParse() {
	c, err := car.Parse("mine.yaml", []byte(`
wheelbase: 2.65 m
limits:
  tyre_low: 167 °F
  tyre_high: {front: 100 °C, rear: 98 °C}
`))
	fmt.Println(err)
	fmt.Printf("%.0f %.0f\n", c.At("tyre_low", channel.FL), c.At("tyre_high", channel.RL))
	// Output:
	// <nil>
	// 75 98
}

func ExampleParse_mistakes() {
	_, err := car.Parse("mine.yaml", []byte("wheelbase: 2.65\nfuel: {tnak: 100 l}\n"))
	fmt.Println(err)
	// Output:
	// mine.yaml:1:12: wheelbase is "2.65": the unit is missing
	// 	hint: a length is written in one of m, mm, cm, km, in, ft, mi
	// mine.yaml:2:8: fuel has no "tnak"
	// 	hint: did you mean tank?
}
