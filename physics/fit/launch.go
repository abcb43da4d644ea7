package fit

import (
	"math"
	"math/cmplx"

	"linewright/physics/network"
)

// Launch is the least that describes a launch: from the connector to the board a
// shunt capacitance, a series inductance, and a short line.
type Launch struct {
	Capacitance float64 // F
	Inductance  float64 // H
	Impedance   float64 // Ω, of the short line
	Delay       float64 // s, one way, of the short line
	Skin        float64 // attenuation of the short line over √f, Np/√Hz
}

// Network returns the launch as a two-port between equal real references, in Ω.
func (l Launch) Network(frequency []float64, reference float64) network.Network {
	n := network.New(2, frequency, complex(reference, 0))
	m := make([]network.ABCD, len(frequency))
	for k, f := range frequency {
		w := 2 * math.Pi * f
		t := network.ABCD{A: 1, C: complex(0, w*l.Capacitance), D: 1}.
			Times(network.ABCD{A: 1, B: complex(0, w*l.Inductance), D: 1})
		if l.Delay > 0 && l.Impedance > 0 {
			a := l.Skin * math.Sqrt(f)
			t = t.Times(lineABCD(complex(a, w*l.Delay), complex(l.Impedance, 0)))
		}
		m[k] = t
	}
	out, err := network.FromABCD(frequency, m, complex(reference, 0), complex(reference, 0))
	if err != nil {
		return n
	}
	return out
}

// LaunchFit is the outcome of [OfLaunch].
type LaunchFit struct {
	Launch
	Uncertainty Launch // standard uncertainties, of scatter alone
	// Residual is the rms of |S measured − S of the launch| over all four parameters;
	// well above the noise it says that the launch is more than this.
	Residual float64
	Worst    network.Deviation // the greatest, where, and of which S_ij
	From, To float64           // Hz
	Fit      Fit
}

// OfLaunch fits a launch to the S-parameters of one, such as half of a 2x-thru, port 0
// at the connector. A value that is zero in start is not in the model and stays zero.
//
// A capacitance beside an inductance is a short line too, and a short line at low
// frequencies is its own capacitance and inductance: fit with the short line's delay only where it is
// a good part of a wavelength at the top of the band, and look at [Fit.Correlation].
//
// Source: elements of [pozar2012] Table 4.1; least squares over the real and imaginary parts of S.
func OfLaunch(n network.Network, start Launch) (LaunchFit, error) {
	const op = "launch fit"
	if n.Ports != 2 || n.Reference[0] != n.Reference[1] || imag(n.Reference[0]) != 0 {
		return LaunchFit{}, fault(op, network.ErrReference, "renormalise both ports to one real reference", "%d ports, references %v", n.Ports, n.Reference)
	}
	z := real(n.Reference[0])
	of := func(l *Launch) []*float64 {
		return []*float64{&l.Capacitance, &l.Inductance, &l.Impedance, &l.Delay, &l.Skin}
	}
	var free []int
	for i, p := range of(&start) {
		if *p != 0 {
			free = append(free, i)
		}
	}
	at := func(q []float64) Launch {
		l := start
		ps := of(&l)
		for i, k := range free {
			*ps[k] *= q[i]
		}
		return l
	}
	model := func(q, out []float64) {
		l := at(q)
		m := l.Network(n.Frequency, z)
		for i, s := range m.S {
			out[2*i], out[2*i+1] = real(s), imag(s)
		}
	}
	y := make([]float64, 2*len(n.S))
	for i, s := range n.S {
		y[2*i], y[2*i+1] = real(s), imag(s)
	}
	// The squares have several minima: the reactances are also started a few times lower and higher.
	var fit Fit
	err := error(nil)
	for _, c := range [][2]float64{{1, 1}, {0.3, 1}, {1, 0.3}, {2, 1}, {1, 2}, {0.3, 0.3}, {2, 2}} {
		first := make([]float64, len(free))
		for i, k := range free {
			first[i] = 1
			if k < 2 {
				first[i] = c[k]
			}
		}
		g, e := Nonlinear(model, first, y, nil, NonlinearOptions{})
		if len(g.Value) == 0 {
			return LaunchFit{}, e
		}
		if len(fit.Value) == 0 || g.RMS < fit.RMS*(1-1e-9) || err != nil && e == nil && g.RMS <= fit.RMS*(1+1e-6) {
			fit, err = g, e
		}
	}
	l := LaunchFit{Launch: at(fit.Value), Fit: fit, From: n.Frequency[0], To: n.Frequency[len(n.Frequency)-1], Residual: fit.RMS * math.Sqrt2}
	us, ss := of(&l.Uncertainty), of(&start)
	for i, k := range free {
		*us[k] = math.Abs(*ss[k]) * fit.Uncertainty(i)
	}
	for i := range n.S {
		if d := math.Hypot(fit.Residual[2*i], fit.Residual[2*i+1]); d > l.Worst.Value {
			l.Worst = network.Deviation{Value: d, Frequency: n.Frequency[i/4], I: i % 4 / 2, J: i % 2}
		}
	}
	return l, err
}

func lineABCD(gl, zc complex128) network.ABCD {
	c, s := cmplx.Cosh(gl), cmplx.Sinh(gl)
	return network.ABCD{A: c, B: zc * s, C: s / zc, D: c}
}
