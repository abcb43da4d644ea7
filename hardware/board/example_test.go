package board_test

import (
	"fmt"

	"linewright/hardware/board"
	"linewright/physics/line"
	"linewright/physics/units"
)

// A trace's impedance straight from the stackup.
func ExampleStackup_Line() {
	er, tan := 3.0, 0.001
	at := 10 * units.Must[units.Frequency]("1 GHz")
	s := board.Stackup{Name: "two-layer", Layers: []board.Layer{
		{Name: "top", Kind: board.Copper, Thickness: units.Must[units.Length]("17 um"), Use: board.Mixed},
		{Kind: board.Core, Thickness: units.Must[units.Length]("10 mil"), Permittivity: &er, LossTangent: &tan, At: &at},
		{Name: "bottom", Kind: board.Copper, Thickness: units.Must[units.Length]("17 um"), Use: board.Plane},
	}}
	l, leftOut, err := s.Line(board.Trace{Kind: board.Microstrip, Layer: "top", Width: units.Must[units.Length]("0.6 mm"), Method: line.ClosedForm})
	fmt.Printf("%.1f ohm %q %v\n", l.Static().Impedance, leftOut, err)
	// Output: 51.0 ohm [] <nil>
}

// How far apart may the via rows beside a coplanar line be, so that they carry
// no wave of their own up to 44 GHz?
func ExampleRowWidth() {
	fmt.Printf("%.2f mm\n", board.RowWidth(44e9, 3.0)*1e3)
	// Output: 1.97 mm
}

// A stub of half a millimetre in a via with pads, effective permittivity 4.
func ExampleQuarterWave() {
	fmt.Printf("%.0f GHz\n", board.QuarterWave(0.5e-3, 4)/1e9)
	// Output: 75 GHz
}
