package launch_test

import (
	"fmt"

	"linewright/hardware/board"
	"linewright/hardware/launch"
	"linewright/physics/units"
)

// What do the elementary rules say about a coplanar launch to 40 GHz whose via
// rows stand 2.6 mm apart?
func ExampleCheck() {
	er, rows := 3.0, units.Must[units.Length]("2.6 mm")
	in := launch.Input{Top: units.Must[units.Frequency]("40 GHz"), Board: launch.Board{Permittivity: &er}}
	in.Trace.Kind, in.Fence.RowWidth = board.Coplanar, &rows
	for _, x := range launch.Check(in) {
		if x.Rule == "L8" {
			fmt.Printf("%s %s: %v\n%s\n%s\n", x.Rule, x.Title, x.Verdict, x.Text, x.Help)
		}
	}
	// Output:
	// L8 width between the via rows: fails
	// rows 2.6 mm apart are half a wave at 33.3 GHz in permittivity 3; the top is 40 GHz: inside the wanted span
	// bring the rows to at most 1.97 mm, for 44 GHz with 10 % margin
}

// How much capacity may pad, solder and contact have for 15 dB at 110 GHz?
func ExampleAllowedCapacitance() {
	fmt.Printf("%.0f fF\n", launch.AllowedCapacitance(15, 110e9)*1e15)
	// Output: 10 fF
}
