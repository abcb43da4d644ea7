package timedomain_test

import (
	"fmt"
	"math"

	"linewright/physics/network"
	td "linewright/physics/timedomain"
)

// A 50 Ω launch with a 30 fF pad, 10 mm of 47 Ω line, and a good end: what does a
// time-domain reflectometer with a 10 ps edge show?
func ExampleSpectrum_Excite() {
	f := sweep(10e6, 6700)
	pad := network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*30e-15) })
	trace := network.Line(f, 50, td.Loss{}.Line(47, 60e-12))
	n, err := network.Cascade(pad, trace)
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := td.Of(n, 0, 0, td.DC{})
	if err != nil {
		fmt.Println(err)
		return
	}
	z := s.Excite(td.Gaussian{Rise: 10e-12}, td.Options{}).Impedance(50)
	lowest := 50.0
	for k := range z.Value {
		if t := z.Time(k); t > -20e-12 && t < 20e-12 {
			lowest = math.Min(lowest, z.Value[k])
		}
	}
	fmt.Printf("pad: down to %.1f Ω; line: %.1f Ω; behind it: %.1f Ω\n", lowest, z.At(70e-12), z.At(300e-12))
	// Output: pad: down to 44.5 Ω; line: 47.0 Ω; behind it: 50.0 Ω
}

// How much capacitance is in that dip? The area of the reflection says it, whatever the edge.
func ExampleExcessCapacitance() {
	f := sweep(10e6, 6700)
	pad := network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*30e-15) })
	s, err := td.Of(pad, 0, 0, td.DC{})
	if err != nil {
		fmt.Println(err)
		return
	}
	rho := s.Excite(td.Gaussian{Rise: 10e-12}, td.Options{})
	fmt.Printf("%.1f fF\n", 1e15*td.ExcessCapacitance(rho.Integral(-50e-12, 100e-12), 50))
	// Output: 30.0 fF
}

// Three lines of 75, 35 and 60 Ω: the raw profile is wrong behind the first, the
// peeled one is not.
func ExampleSpectrum_Profile() {
	f := sweep(25e6, 2680)
	var parts []network.Network
	for _, z := range []float64{75, 35, 60} {
		parts = append(parts, network.Line(f, 50, td.Loss{}.Line(z, 100e-12)))
	}
	n, err := network.Cascade(parts...)
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := td.Of(n, 0, 0, td.DC{})
	if err != nil {
		fmt.Println(err)
		return
	}
	raw := s.Excite(nil, td.Options{}).Impedance(50)
	peeled, err := s.Profile(50, td.ProfileOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, t := range []float64{100e-12, 300e-12, 500e-12} {
		fmt.Printf("%3.0f ps: raw %.1f Ω, peeled %.1f Ω\n", t*1e12, raw.At(t), peeled.At(t))
	}
	// Output:
	// 100 ps: raw 75.0 Ω, peeled 75.0 Ω
	// 300 ps: raw 37.0 Ω, peeled 35.0 Ω
	// 500 ps: raw 54.7 Ω, peeled 60.0 Ω
}

func ExampleWindow_Resolution() {
	const c = 299792458
	for _, w := range []struct {
		name string
		td.Window
	}{{"no window", td.Rectangular}, {"Kaiser 6", nil}} {
		r := w.Resolution(67e9, 10e6)
		f := w.Figures()
		fmt.Printf("67 GHz, %s: 1/span %.1f ps, impulse %.1f ps or %.1f mm in air, side lobes %.0f dB, alias free %.1f m\n",
			w.name, r.Cell*1e12, r.Impulse*1e12, r.Impulse*c/2*1e3, f.SideLobe, r.AliasFree*c/2)
	}
	// Output:
	// 67 GHz, no window: 1/span 14.9 ps, impulse 18.0 ps or 2.7 mm in air, side lobes 13 dB, alias free 15.0 m
	// 67 GHz, Kaiser 6: 1/span 14.9 ps, impulse 29.2 ps or 4.4 mm in air, side lobes 44 dB, alias free 15.0 m
}

// The far connector of a cable alone, and how far the last frequencies can be trusted.
func ExampleSpectrum_Gate() {
	l := td.SteppedLine{Reference: 50, Load: 50, Sections: []td.Section{{55, 50e-12}, {50, 2e-9}, {46, 50e-12}}}
	f := sweep(10e6, 4000)
	var parts []network.Network
	for _, s := range l.Sections {
		parts = append(parts, network.Line(f, 50, td.Loss{}.Line(s.Impedance, s.Delay)))
	}
	n, err := network.Cascade(parts...)
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := td.Of(n, 0, 0, td.DC{})
	if err != nil {
		fmt.Println(err)
		return
	}
	g, bound, err := s.Gate(td.Gate{Start: 3.6e-9, Stop: 4.8e-9})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, k := range []int{550, 3550, 3950} {
		fmt.Printf("%g GHz: |S11| %.3f, through the gate %.3f ± %.3f\n", float64(k)*s.Step/1e9, abs(s.S[k]), abs(g.S[k]), bound[k])
	}
	// Output:
	// 5.5 GHz: |S11| 0.173, through the gate 0.081 ± 0.000
	// 35.5 GHz: |S11| 0.173, through the gate 0.081 ± 0.003
	// 39.5 GHz: |S11| 0.005, through the gate 0.013 ± 0.187
}

func abs(c complex128) float64 { return math.Hypot(real(c), imag(c)) }

// Distances along a connector in air and a cable at 70 % of the speed of light.
func ExamplePath() {
	const c = 299792458
	p := td.Path{{Length: 0.02, Velocity: c}, {Length: 0.6, Velocity: 0.7 * c}}
	fmt.Printf("an echo at 2 ns lies at %.1f mm\n", 1e3*p.Position(2e-9/2))
	// Output: an echo at 2 ns lies at 215.9 mm
}

// A fixture's delay was taken off twice: the part answers 10 ps before it is asked.
func ExampleSpectrum_Causality() {
	s := td.Spectrum{Step: 10e6}
	for k := range 6701 {
		f := float64(k) * s.Step
		s.S = append(s.S, cis(2*math.Pi*f*10e-12)/complex(1, f/30e9))
	}
	c, err := s.Causality(td.CausalityOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	excess, _ := c.Excess()
	fmt.Println("not causal:", excess > 0)
	// Output: not causal: true
}

// Every echo of two short lines, multiple reflections and all.
func ExampleSteppedLine() {
	l := td.SteppedLine{Reference: 50, Load: 50, Sections: []td.Section{{60, 100e-12}, {40, 80e-12}}}
	for _, e := range l.Echoes(400e-12) {
		fmt.Printf("%3.0f ps %+.4f\n", e.Time*1e12, e.Amplitude)
	}
	// Output:
	//   0 ps +0.0909
	// 200 ps -0.1983
	// 360 ps +0.1058
	// 400 ps -0.0036
}
