package fuel_test

import (
	"fmt"

	"earshot/assistant/fuel"
)

func ExampleLoad() {
	need, err := fuel.Load(fuel.Plan{Time: 45 * 60, Pace: 102.4, PerLap: 2.65, ReserveVolume: 1, Tank: 60})
	fmt.Println(err)
	fmt.Printf("%.0f laps, %.2f L, %.0f stop\n", need.Laps, need.Volume, need.Stops)
	// Output:
	// <nil>
	// 27 laps, 72.55 L, 1 stop
}
