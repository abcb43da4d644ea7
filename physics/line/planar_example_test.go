package line_test

import (
	"fmt"
	"math"

	"linewright/physics/line"
	"linewright/physics/material"
)

// A 50 Ω microstrip on a 10 mil laminate: what width, and what does it lose at
// 40 GHz with rolled copper of 0.4 µm rms?
func ExampleMicrostrip_Solve() {
	laminate := material.Dielectric{Permittivity: 3.66, LossTangent: 0.0037, FittedAt: 10e9}
	copper := material.Conductor{Roughness: material.Roughness{RMS: 0.4e-6}}
	m := line.Microstrip{Width: 0.5e-3, Height: 0.254e-3, Thickness: 35e-6, Substrate: laminate, Metal: copper}
	m, err := m.Solve(line.Width, 50)
	if err != nil {
		fmt.Println(err)
		return
	}
	sweep, err := line.Prepare(m) // solves the cross-section once
	if err != nil {
		fmt.Println(err)
		return
	}
	p := sweep.At(40e9)
	fmt.Printf("width %.3f mm\n", m.Width*1e3)
	fmt.Printf("%.1f dB/m, of which conductor %.1f\n", real(p.Gamma)*20/math.Ln10, p.Conductor*20/math.Ln10)
	fmt.Printf("other waves from %.0f GHz: %s\n", line.ModeFreeLimit(m)/1e9, m.Modes()[0].Name)
	// Output:
	// width 0.523 mm
	// 34.8 dB/m, of which conductor 14.6
	// other waves from 125 GHz: transverse resonance
}

// Copper of 17 µm in a stripline whose core and prepreg differ by 50 µm.
func ExampleStripline() {
	s := line.Stripline{Width: 0.2e-3, Spacing: 0.55e-3, Thickness: 17e-6, Offset: 25e-6,
		Substrate: material.Dielectric{Permittivity: 3.5, LossTangent: 0.002}}
	fmt.Printf("%.2f Ω\n", s.Static().Impedance)
	for _, w := range s.Warnings(20e9) {
		fmt.Println(w.Effect)
	}
	// Output:
	// 58.07 Ω
	// an offset strip excites the wave between the planes at every frequency; join them with vias along the line
}

// A launch's coplanar line between via fences 1.1 mm apart: the closed form
// knows neither the metal's thickness nor the fences.
func ExampleCoplanar() {
	c := line.Coplanar{Width: 0.4e-3, Gap: 0.15e-3, Height: 0.254e-3, Thickness: 35e-6, GroundBelow: true, Walls: 1.1e-3,
		Substrate: material.Dielectric{Permittivity: 3.66}}
	fmt.Printf("field %.2f Ω\n", c.Static().Impedance)
	c.Method = line.ClosedForm
	fmt.Printf("formula %.2f Ω\n", c.Static().Impedance)
	fmt.Printf("half wave between the fences from %.1f GHz\n", line.ModeFreeLimit(c)/1e9)
	// Output:
	// field 49.00 Ω
	// formula 54.82 Ω
	// half wave between the fences from 71.2 GHz
}

// At 60 GHz on gallium arsenide the fitted dispersion formula, here on its own
// quasi-static value, is a third of a percent high.
func ExampleFullWaveMicrostrip() {
	const f, w, h, er = 60e9, 0.1e-3, 0.1e-3, 12.9
	fmt.Printf("%.4f\n", line.FullWaveMicrostrip(f, w, h, er))
	fmt.Printf("%.4f\n", line.KirschningJansen(f, w, h, er, line.HammerstadJensen(w, h, 0, er).EffectivePermittivity))
	// Output:
	// 9.0424
	// 9.0726
}
