package chain_test

import (
	"fmt"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/physics/units"
)

// Two cables of solid PTFE, matched at 23 °C, one of them 2 K warmer: straight
// lines between the points of the datasheet's table (invented here) promise
// 96 ppm, but the crystal transition at 19 °C may put the whole step between them.
func ExampleLengthCurve_Difference() {
	cable := part.Cable{Core: part.Core{Dielectric: "solid PTFE"}, LengthChanges: []part.LengthChange{
		{At: units.Celsius(0), Change: 620e-6}, {At: units.Celsius(15), Change: 300e-6},
		{At: units.Celsius(20), Change: 60e-6}, {At: units.Celsius(25), Change: 0},
	}}
	curve, _ := chain.NewLengthCurve(cable)
	straight, worst, beyond := curve.Difference(units.Celsius(15), units.Celsius(25), 2)
	fmt.Printf("%.0f ppm by straight lines, %.0f ppm at worst; beyond the table: %v\n", straight*1e6, worst*1e6, beyond)
	// Output: 96 ppm by straight lines, 264 ppm at worst; beyond the table: false
}
