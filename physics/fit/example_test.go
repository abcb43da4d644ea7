package fit_test

import (
	"fmt"
	"math"

	"linewright/physics/fit"
)

// The lumps behind a half of a 2x-thru; the launch is invented.
func ExampleOfLaunch() {
	f := make([]float64, 80)
	for k := range f {
		f[k] = 0.5e9 * float64(k+1)
	}
	n := fit.Launch{Capacitance: 24e-15, Inductance: 55e-12, Impedance: 47, Delay: 18e-12}.Network(f, 50)
	l, err := fit.OfLaunch(n, fit.Launch{Capacitance: 10e-15, Inductance: 30e-12, Impedance: 50, Delay: 15e-12})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f fF, %.1f pH, then %.1f Ω for %.1f ps\n", l.Capacitance*1e15, l.Inductance*1e12, l.Impedance, l.Delay*1e12)
	// Output:
	// 24.0 fF, 55.0 pH, then 47.0 Ω for 18.0 ps
}

// A ripple of 0.1 dB rides on a loss of 0.12 √f + 0.03 f, f in GHz: the deviation is the ripple.
func ExampleInsertionLoss() {
	var f []float64
	var s21 []complex128
	for k := range 400 {
		g := 0.1 * float64(k+1) // GHz
		il := 0.12*math.Sqrt(g) + 0.03*g + 0.1*math.Sin(2*math.Pi*g/0.8)
		f, s21 = append(f, g*1e9), append(s21, complex(math.Pow(10, -il/20), 0))
	}
	i, err := fit.InsertionLoss(f, s21, 1e9, 40e9, fit.Terms{})
	if err != nil {
		fmt.Println(err)
		return
	}
	worst := 0.0
	for _, d := range i.Deviation {
		worst = math.Max(worst, math.Abs(d))
	}
	fmt.Printf("largest deviation %.2f dB\n", worst)
	// Output:
	// largest deviation 0.10 dB
}
