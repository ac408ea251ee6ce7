package demo_test

import (
	"fmt"

	"earshot/assistant/channel"
	"earshot/assistant/demo"
)

// A session is driven sample by sample; what it really was is known afterwards.
func Example() {
	sim, err := demo.New(channel.NewSet(), demo.Options{Seed: 1, Story: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	for {
		sample, ok := sim.Next()
		if !ok {
			break
		}
		for _, press := range sim.Presses() {
			fmt.Printf("lap %.0f: the driver presses %q", sample.Row[channel.LapNumber], press.Command)
			if press.Memo != "" {
				fmt.Printf(": %s", press.Memo)
			}
			fmt.Println()
		}
	}
	for _, lap := range sim.Truth().Done {
		fmt.Println(lap.Number, lap.Class, lap.Valid)
	}
	// Output:
	// lap 2: the driver presses "tyres"
	// lap 4: the driver presses "mark": washes out from the apex, more steering does nothing
	// lap 5: the driver presses "mark": the same again
	// lap 7: the driver presses "fuel"
	// 0 out true
	// 1 flying true
	// 2 flying true
	// 3 flying true
	// 4 flying false
	// 5 flying true
	// 6 flying true
	// 7 flying true
	// 8 flying true
	// 9 flying true
	// 10 flying true
	// 11 flying true
	// 12 in true
}
