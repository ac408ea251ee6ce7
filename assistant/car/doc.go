// Package car reads the car file: what no feed says about a car — wheelbase, steering ratio, tank, reserve, pressures,
// and the limits with which rules compare readings.
//
// Every number in a car file carries its unit. All mistakes in a file are reported at
// once, each with its place and a way out.
//
//	name: My car
//	wheelbase: 2.65 m
//	fuel:   {tank: 100 l, density: 0.745 kg/l, reserve: 1 lap}
//	tyres:  {hot_pressure: 26 psi, cold_pressure_minimum: 19 psi}
//	limits: {tyre_low: 75 °C, tyre_high: {front: 100 °C, rear: 98 °C}}
//
// What a file leaves out is unknown (NaN), never zero. Limits that depend on the kind of car are assumed only where the
// file says `baseline: gt`; limits that suit any car have values of their own.
//
// The package is pure: it reads bytes that it is given and never touches files,
// clocks, goroutines or the network.
package car
