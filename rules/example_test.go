package rules_test

import (
	"fmt"
	"math"

	"earshot/rules"
)

// A rule is compiled once and stepped with every sample; a transition that has words says so.
func Example() {
	voc := car()
	set, err := rules.Compile([]rules.Source{{Name: "brakes.yaml", Data: []byte(`
rules:
  - name: brakes-cold
    each: axle
    when: brake_peak < brake_cold
    deadband: 20 K
    say: "{axle} brakes cold."
    say_clear: "{axle} brakes ready."
    merge: "{instances} brakes cold."
`)}}, voc)
	if err != nil {
		fmt.Println(err)
		return
	}
	mem := set.NewMemory()
	rear, _ := voc.Name("brake_peak_rear")
	row := voc.set.NewRow()
	var out []rules.Transition
	for i, x := range []float64{math.NaN(), 210, 255, 270} {
		row[rear.Index] = x
		out = mem.Step(float64(i), row, 0, out[:0])
		for _, tr := range out {
			fmt.Println(tr.At, tr.Rule.Name, tr.Wheel, tr.From, tr.To, tr.Text)
		}
	}
	// Output:
	// 1 brakes-cold rear unknown active Rear brakes cold.
	// 3 brakes-cold rear active normal Rear brakes ready.
}

// A mistake tells its place and the way out.
func ExampleCompile() {
	_, err := rules.Compile([]rules.Source{{Name: "my.yaml", Data: []byte("rules:\n  - name: low\n    when: fuel_left < 5\n    say: " +
		"Fuel low.\n")}}, car())
	fmt.Println(err)
	// Output:
	// my.yaml:3:21: rule "low": a bare number cannot be compared with fuel_left (volume): the unit is missing
	// 	hint: write it with one of l, L, ml, m³, m3, gal_us, gal_imp
}
