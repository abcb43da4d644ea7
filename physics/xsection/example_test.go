package xsection_test

import (
	"context"
	"fmt"
	"math"

	"linewright/physics/xsection"
)

// A 0.5 mm trace of 35 µm copper on 0.254 mm of laminate, under 20 µm of
// solder mask. What does the mask do to the impedance?
func ExampleSolve() {
	open := math.Inf(1)
	bare := xsection.Section{
		Region:      xsection.Region{Bottom: xsection.ElectricAt(0)},
		Dielectrics: []xsection.Dielectric{{Shape: xsection.Rectangle{X0: -open, X1: open, Y0: 0, Y1: 0.254e-3}, Material: xsection.Material{Permittivity: 3.66, LossTangent: 0.0037}}},
		Conductors:  []xsection.Conductor{{Name: "trace", Shape: xsection.Trapezoid(0, 0.254e-3, 0.5e-3, 0.48e-3, 35e-6)}},
	}
	mask := xsection.Material{Permittivity: 3.4, LossTangent: 0.03}
	coated := bare
	coated.Dielectrics = append(coated.Dielectrics,
		xsection.Dielectric{Shape: xsection.Rectangle{X0: -open, X1: open, Y0: 0.254e-3, Y1: 0.274e-3}, Material: mask},
		xsection.Dielectric{Shape: xsection.Trapezoid(0, 0.274e-3, 0.54e-3, 0.52e-3, 35e-6), Material: mask})
	for _, s := range []xsection.Section{bare, coated} {
		r, err := xsection.Solve(context.Background(), s, xsection.Options{})
		if err != nil {
			fmt.Println(err)
			return
		}
		m := r.At(20e9, nil).Modes[0]
		const dB = 8.685889638
		fmt.Printf("%.2f Ω, εeff %.3f, 20 GHz: conductor %.1f dB/m, dielectric %.1f dB/m\n",
			r.Impedance(), r.EffectivePermittivity(), dB*m.Conductor, dB*m.Dielectric)
	}
	// Output:
	// 51.64 Ω, εeff 2.771, 20 GHz: conductor 6.4 dB/m, dielectric 9.7 dB/m
	// 50.44 Ω, εeff 2.905, 20 GHz: conductor 6.6 dB/m, dielectric 14.2 dB/m
}

// An edge-coupled pair: odd and even impedance, and the termination between
// the lines.
func ExampleResult_Pair() {
	open := math.Inf(1)
	r, err := xsection.Solve(context.Background(), xsection.Section{
		Region:      xsection.Region{Bottom: xsection.ElectricAt(0)},
		Dielectrics: []xsection.Dielectric{{Shape: xsection.Rectangle{X0: -open, X1: open, Y0: 0, Y1: 0.2e-3}, Material: xsection.Material{Permittivity: 4}}},
		Conductors: []xsection.Conductor{
			{Name: "p", Shape: xsection.Block(-0.225e-3, 0.2e-3, 0.3e-3, 35e-6)},
			{Name: "n", Shape: xsection.Block(0.225e-3, 0.2e-3, 0.3e-3, 35e-6)},
		},
	}, xsection.Options{Accuracy: 1e-3})
	if err != nil {
		fmt.Println(err)
		return
	}
	p := r.Pair(0, 1)
	fmt.Printf("odd %.1f Ω, even %.1f Ω, differential %.1f Ω\n", p.Odd, p.Even, p.Differential)
	for _, m := range r.Modes {
		fmt.Printf("%s: εeff %.2f\n", m.Name, m.EffectivePermittivity)
	}
	// Output:
	// odd 44.8 Ω, even 66.8 Ω, differential 89.6 Ω
	// odd: εeff 2.49
	// even: εeff 3.13
}

// Two traces that touch are one net or a mistake: it asks.
func ExampleSection_Check() {
	s := xsection.Section{
		Region: xsection.Region{Bottom: xsection.ElectricAt(0)},
		Conductors: []xsection.Conductor{
			{Name: "a", Shape: xsection.Block(0, 0.2e-3, 0.3e-3, 35e-6)},
			{Name: "b", Shape: xsection.Block(0.3e-3, 0.2e-3, 0.3e-3, 35e-6)},
		},
	}
	fmt.Println(s.Check())
	// Output:
	// conductor 1 (a) touches or overlaps conductor 2 (b): two conductors share a place; move one of them, or give both the same name if they are one conductor
}
