package launch_test

import (
	"fmt"
	"math"
	"math/cmplx"

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

// A blind via from a 0.5 mm pad: closed formulas tell which way a change goes.
func ExampleEstimate() {
	mm := func(s string) *units.Length { l := units.Must[units.Length](s); return &l }
	er := 3.0
	in := launch.Input{Board: launch.Board{Permittivity: &er, Height: mm("0.254 mm")}}
	in.Via = launch.Via{Kind: launch.Blind, Drill: mm("0.2 mm"), Pad: mm("0.4 mm"), Length: mm("0.25 mm")}
	for _, antipad := range []string{"0.6 mm", "0.8 mm", "1.2 mm"} {
		in.Via.Antipad = mm(antipad)
		e, err := launch.Estimate(in, []float64{67e9})
		if err != nil {
			fmt.Println(err)
			return
		}
		s11 := e.Network.At(0, 0, 0)
		fmt.Printf("antipad %s: %.1f dB at 67 GHz, at worst %.1f dB (%s)\n", antipad, -20*math.Log10(cmplx.Abs(s11)), -20*math.Log10(e.Bound[0]), e.Step)
	}
	// Output:
	// antipad 0.6 mm: 9.1 dB at 67 GHz, at worst 4.6 dB (closed formula, trend only)
	// antipad 0.8 mm: 17.1 dB at 67 GHz, at worst 16.8 dB (closed formula, trend only)
	// antipad 1.2 mm: 21.4 dB at 67 GHz, at worst 14.7 dB (closed formula, trend only)
}
