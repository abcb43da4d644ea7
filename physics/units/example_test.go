package units_test

import (
	"fmt"

	"linewright/physics/units"
)

func ExampleParse() {
	pitch, err := units.Parse[units.Length]("0.138 in")
	fmt.Println(pitch, err)

	_, err = units.Parse[units.Length]("5")
	fmt.Println(err)
	_, err = units.Parse[units.Frequency]("28 ghz")
	fmt.Println(err)
	// Output:
	// 3.505 mm <nil>
	// "5": a unit is missing; write "5 mm" (or um, m, mil, in)
	// "28 ghz": unknown unit; "ghz" is not known here: did you mean "GHz"?
}

func ExampleWrite() {
	trace := units.Must[units.Length]("0.635 mm")
	fmt.Println(units.Write(trace, "mil"), "=", trace)
	// Output: 25 mil = 0.635 mm
}
