package condition_test

import (
	"fmt"
	"math"

	"earshot/assistant/condition"
)

func ExampleColdPressure() {
	// Set 135 kPa at 18 °C, it came in with 186 kPa; 175 kPa were wanted. Now it is 12 °C.
	run := condition.Build{Cold: 135, Hot: 186, Set: condition.Air{Pressure: 101.325, Temperature: 18}}
	p, err := condition.ColdPressure(175, run, condition.Air{Pressure: 101.325, Temperature: 12}, math.NaN())
	fmt.Printf("%.1f %v\n", p, err)
	_, err = condition.ColdPressure(175, run, condition.Air{Pressure: 101.325, Temperature: 12}, 130)
	fmt.Println(err != nil)
	// Output:
	// 121.3 <nil>
	// true
}
