package fdtd_test

import (
	"context"
	"fmt"
	"log"
	"math"
	"math/cmplx"

	"linewright/physics/fdtd"
	"linewright/physics/material"
	"linewright/physics/network"
)

// A pair of microstrips on 0.2 mm of ceramic. One of them has a pad at its outer edge, 0.3 mm
// wide and 0.4 mm long. How much of the differential signal passes, and how much turns into
// common mode?
//
// At 5 GHz the pad is a capacitance to ground: a plate of that size has 52 fF without its
// fringes, and turns ωC·50 Ω/4 = 0.020, −34 dB, into common mode.
func ExampleSolve() {
	const mm = 1e-3
	box := func(x0, x1, y0, y1, z0, z1 float64) fdtd.Box {
		return fdtd.Box{Low: fdtd.Point{x0 * mm, y0 * mm, z0 * mm}, High: fdtd.Point{x1 * mm, y1 * mm, z1 * mm}}
	}
	metal := fdtd.Material{Metal: true}
	ceramic := fdtd.Material{Dielectric: material.Dielectric{Permittivity: 9.8}}
	both := [][2]float64{{-0.2 * mm, 0.2 * mm}, {0.2 * mm, 0.2 * mm}} // a point of each strip
	pair := fdtd.Model{
		Region: box(-1.2, 1.2, 0, 1, 0, 2.4),
		Solids: []fdtd.Solid{
			{Name: "substrate", Shape: box(-1.2, 1.2, 0, 0.2, 0, 2.4), Material: ceramic},
			{Name: "left", Net: "p", Shape: box(-0.3, -0.1, 0.2, 0.2, 0, 2.4), Material: metal},
			{Name: "right", Net: "n", Shape: box(0.1, 0.3, 0.2, 0.2, 0, 2.4), Material: metal},
			{Name: "pad", Net: "n", Shape: box(0.3, 0.6, 0.2, 0.2, 1, 1.4), Material: metal},
		},
		Ports: []fdtd.Port{
			{Name: "near", Side: fdtd.ZLow, Signals: both},
			{Name: "far", Side: fdtd.ZHigh, Signals: both, Plane: 2.4 * mm},
		},
		Band: [2]float64{1e9, 20e9},
	}
	r, err := fdtd.Solve(context.Background(), &pair, fdtd.Options{Cell: 0.05 * mm, EnergyLeft: 1e-5, Layers: 8, Frequencies: []float64{5e9, 10e9, 20e9}})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("even mode %.0f Ω, odd mode %.0f Ω at 5 GHz\n", real(r.Waves[0].Own[0]), real(r.Waves[1].Own[0]))
	mixed, err := r.Network.Mixed(network.Pair{Plus: 0, Minus: 1}, network.Pair{Plus: 2, Minus: 3})
	if err != nil {
		log.Fatal(err)
	}
	db := func(s complex128) float64 { return 20 * math.Log10(cmplx.Abs(s)) }
	for k, f := range r.Network.Frequency {
		fmt.Printf("%2.0f GHz: SDD21 %.2f dB, SCD21 %.0f dB\n", f/1e9, db(mixed.DD(k, 1, 0)), db(mixed.CD(k, 1, 0)))
	}
	for _, note := range r.Notes {
		fmt.Println(note)
	}
	// Output:
	// even mode 54 Ω, odd mode 42 Ω at 5 GHz
	//  5 GHz: SDD21 -0.08 dB, SCD21 -33 dB
	// 10 GHz: SDD21 -0.23 dB, SCD21 -27 dB
	// 20 GHz: SDD21 -0.30 dB, SCD21 -21 dB
}
