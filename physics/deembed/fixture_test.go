package deembed

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/network"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-deembed") }

func harmonicGrid(step float64, points int) []float64 {
	f := make([]float64, points)
	for k := range f {
		f[k] = step * float64(k+1)
	}
	return f
}

// board is a line of which all of a draw's traces are made, but for their impedance.
type board struct {
	points []line.Point
	grid   []float64
}

// newBoard returns a line as lossy as a trace: εr 3.3 to 4.2, tan δ 0.002 to 0.012, both causal,
// on copper 0.3 to 0.8 µm rough, 46 to 55 Ω. It is a coax, whose exact γ and Zc take
// microseconds; the stripline of TestStriplineFixture takes the field solution.
func newBoard(r *rand.Rand, f []float64) board {
	er := 3.3 + 0.9*r.Float64()
	rough := material.Conductor{Roughness: material.Roughness{Model: material.Hammerstad, RMS: (0.3 + 0.5*r.Float64()) * 1e-6}}
	d := 0.25e-3
	z := 46 + 9*r.Float64()
	return traces(line.Coax{
		InnerDiameter: d, OuterDiameter: d * math.Exp(z*math.Sqrt(er)/59.96),
		Filling: material.Dielectric{Permittivity: er, LossTangent: 0.002 + 0.01*r.Float64(), FittedAt: 10e9},
		Inner:   rough, Outer: rough,
	}, f)
}

func traces(l line.Line, f []float64) board {
	b := board{make([]line.Point, len(f)), f}
	for k, x := range f {
		b.points[k] = l.At(x)
	}
	return b
}

// trace returns a length, in m, of the board's line, its impedance times scale.
func (b board) trace(length, scale float64) network.Network {
	k := -1
	return network.Line(b.grid, 50, func(float64) (complex128, complex128) {
		k++
		return b.points[k].Gamma * complex(length, 0), b.points[k].Impedance * complex(scale, 0)
	})
}

// launch is a connector's bead, pad and pin: a short line of wrong impedance, a shunt
// capacitance, a series inductance.
type launch struct {
	c, l, z, tau float64
}

// newLaunch draws 5 to 25 fF, 10 to 60 pH, and 5 to 15 ps of 46 to 54 Ω.
func newLaunch(r *rand.Rand) launch {
	return launch{(5 + 20*r.Float64()) * 1e-15, (10 + 50*r.Float64()) * 1e-12, 46 + 8*r.Float64(), (5 + 10*r.Float64()) * 1e-12}
}

func (l launch) network(f []float64) network.Network {
	return chain(
		network.Line(f, 50, func(f float64) (complex128, complex128) { return complex(0, 2*math.Pi*f*l.tau), complex(l.z, 0) }),
		network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*l.c) }),
		network.Series(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*l.l) }))
}

func chain(n ...network.Network) network.Network {
	c, err := network.Cascade(n...)
	if err != nil {
		panic(err)
	}
	return c
}

func turned(n network.Network) network.Network {
	m, err := n.Reorder(1, 0)
	if err != nil {
		panic(err)
	}
	return m
}

// noisy adds complex Gaussian noise of the given rms magnitude to every parameter.
func noisy(r *rand.Rand, n network.Network, rms float64) network.Network {
	m := network.Network{Ports: n.Ports, Frequency: n.Frequency, Reference: n.Reference, S: make([]complex128, len(n.S))}
	for i, s := range n.S {
		m.S[i] = s + complex(r.NormFloat64(), r.NormFloat64())*complex(rms/math.Sqrt2, 0)
	}
	return m
}

// device is what stands between: a stepped line with a shunt capacitance.
func device(r *rand.Rand, f []float64) network.Network {
	z, tau, c := 40+25*r.Float64(), (20+60*r.Float64())*1e-12, 30e-15*r.Float64()
	return chain(
		network.Line(f, 50, func(f float64) (complex128, complex128) {
			return complex(2e-7*math.Sqrt(f), 2*math.Pi*f*tau), complex(z, 0)
		}),
		network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*c) }),
		network.Line(f, 50, func(f float64) (complex128, complex128) { return complex(0, 2*math.Pi*f*tau/3), 50 }))
}

// apart returns the largest and the rms |difference| over all parameters below a
// frequency.
func apart(a, b network.Network, below float64) (worst, rms float64) {
	n := 0
	for k, f := range a.Frequency {
		if f > below {
			break
		}
		for i := range a.Ports {
			for j := range a.Ports {
				d := cmplx.Abs(a.At(k, i, j) - b.At(k, i, j))
				if !(d <= worst) {
					worst = d
				}
				rms += d * d
				n++
			}
		}
	}
	return worst, math.Sqrt(rms / float64(n))
}
