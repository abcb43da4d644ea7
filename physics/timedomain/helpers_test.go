package timedomain_test

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/physics/network"
	td "linewright/physics/timedomain"
)

func cis(x float64) complex128 { return cmplx.Rect(1, x) }

// sweep returns n frequencies step, 2 step ...
func sweep(step float64, n int) []float64 {
	f := make([]float64, n)
	for k := range f {
		f[k] = float64(k+1) * step
	}
	return f
}

// cascade returns the two-port of a stepped line, and its end, with loss.
func cascade(t testing.TB, f []float64, l td.SteppedLine, loss td.Loss) network.Network {
	t.Helper()
	var parts []network.Network
	for _, s := range l.Sections {
		parts = append(parts, network.Line(f, complex(l.Reference, 0), loss.Line(s.Impedance, s.Delay)))
	}
	n, err := network.Cascade(parts...)
	if err != nil {
		t.Fatal(err)
	}
	end := network.Load(f, complex(l.Reference, 0), func(float64) complex128 { return complex(l.Load, 0) })
	n, err = network.Join(n, 1, end, 0)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func spectrum(t testing.TB, n network.Network, dc td.DC) td.Spectrum {
	t.Helper()
	s, err := td.Of(n, 0, 0, dc)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// random draws a stepped line of sections of whole multiples of unit, one way.
func random(r *rand.Rand, sections int, unit float64, most int) td.SteppedLine {
	l := td.SteppedLine{Reference: 50, Load: 30 + 50*r.Float64()}
	for range sections {
		l.Sections = append(l.Sections, td.Section{Impedance: 30 + 50*r.Float64(), Delay: unit * float64(1+r.IntN(most))})
	}
	return l
}

// at returns the true impedance at a two-way time.
func impedanceAt(l td.SteppedLine, t float64) float64 {
	if t < 0 {
		return l.Reference
	}
	for _, s := range l.Sections {
		if t < 2*s.Delay {
			return s.Impedance
		}
		t -= 2 * s.Delay
	}
	return l.Load
}

// steps returns the two-way times of the impedance steps.
func steps(l td.SteppedLine) []float64 {
	at := []float64{0}
	for _, s := range l.Sections {
		at = append(at, at[len(at)-1]+2*s.Delay)
	}
	return at
}

func nearest(at []float64, t float64) float64 {
	d := math.Inf(1)
	for _, x := range at {
		d = math.Min(d, math.Abs(t-x))
	}
	return d
}
