package course_test

import (
	"fmt"

	"earshot/assistant/course"
)

func ExampleParseFile() {
	_, err := course.ParseFile("mill.yaml", []byte("name: Mill course\nline: {gate: [[0, -8 m], [0 m, 8 m]]}\n"))
	fmt.Println(err)
	// Output:
	// mill.yaml:2:16: "0": the unit is missing (a length is written in one of m, mm, cm, km, in, ft, mi)
	// 	hint: write [365.0 m, 14.7 m] for east and north, or [51.5 deg, -1.25 deg] for latitude and longitude
}
