package tolerance

import (
	"math"

	"linewright/physics/units"
)

// A segment is a run of evenly spaced frequencies.
type segment struct {
	from        int // index of its first frequency
	n           int
	start, step float64 // Hz
}

// A grid is one or more segments: the bands, cut where a limit starts or ends.
type grid struct {
	f        []float64 // Hz
	segments []segment
}

// A stage is what a chain consists of: a known two-port, or a lossless
// discontinuity, each with the matched lossy line behind it.
//
// A discontinuity of magnitude ρ and phase φ is
//
//	S11 = ρ e^{jφ}    S22 = −ρ e^{−jφ}    S21 = √(1 − ρ²)
//
// an impedance step whose reference planes are moved by φ/2, in opposite
// directions.
type stage struct {
	bound []float64     // ρ at full scale over the grid; nil: no discontinuity
	loss  []float64     // A at full scale, Np, over the grid; nil: none
	known []transmitted // a two-port with phase; nil: none. It stands before the discontinuity.
}

// transmitted is a known two-port at one frequency: M without its 1/S21, and
// |S21|².
type transmitted struct {
	m12, m21, m22 complex128 // −S22, S11, S12·S21 − S11·S22
	power         float64
}

func newTransmitted(s11, s12, s21, s22 complex128) transmitted {
	return transmitted{m12: -s22, m21: s11, m22: s12*s21 - s11*s22, power: real(s21)*real(s21) + imag(s21)*imag(s21)}
}

// A setting is how a stage stands in one built copy.
type setting struct {
	scale float64 // of the discontinuity's bound: ρ = scale·bound; may be negative
	phase float64 // φ, rad
	loss  float64 // scale of A
	tau   float64 // delay of the line behind it, s
}

// A sweep computes the stages from..to−1 of built copies over a grid. It holds
// scratch memory: use one per goroutine.
type sweep struct {
	grid   *grid
	stages []stage
	// Results of the last run: |S11|², |S22|², |S21|² and 1/|M11|², what multiple
	// reflections do to |S21|².
	s11, s22, s21, ripple []float64
	state                 []walker
}

// walker is a stage's moving part along a segment.
type walker struct {
	pr, pi float64 // e^{−j2ωτ}
	qr, qi float64 // its step in frequency
	cr, ci float64 // scale·e^{jφ}
	k      float64 // −2·(loss scale − 1), for the exponential's remainder
	near   bool    // |k·A| is small throughout: a short series does
	steps  bool    // it has a discontinuity
	line   bool    // it has a line
}

func newSweep(g *grid, stages []stage) *sweep {
	n := len(g.f)
	return &sweep{grid: g, stages: stages, s11: make([]float64, n), s22: make([]float64, n), s21: make([]float64, n), ripple: make([]float64, n), state: make([]walker, len(stages))}
}

// prepared holds what of a chain's stages does not vary from copy to copy.
type prepared struct {
	grid   *grid
	stages []stage
	// decay is e^{−2A} at full scale, stage after stage at each frequency;
	// bound and loss lie the same way.
	decay, bound, loss []float64
	most               []float64 // largest A of each stage
	power              []float64 // product of the known two-ports' |S21|²
	known              []bool
}

func prepare(g *grid, stages []stage) *prepared {
	m := len(stages)
	p := &prepared{grid: g, stages: stages, decay: make([]float64, len(g.f)*m), bound: make([]float64, len(g.f)*m), loss: make([]float64, len(g.f)*m),
		most: make([]float64, m), power: make([]float64, len(g.f)), known: make([]bool, m)}
	for i := range g.f {
		p.power[i] = 1
		for k, s := range stages {
			at := i*m + k
			p.decay[at] = 1
			if s.loss != nil {
				p.loss[at], p.decay[at] = s.loss[i], math.Exp(-2*s.loss[i])
				p.most[k] = math.Max(p.most[k], s.loss[i])
			}
			if s.bound != nil {
				p.bound[at] = s.bound[i]
			}
			if s.known != nil {
				p.known[k] = true
				p.power[i] *= s.known[i].power
			}
		}
	}
	return p
}

// smallExponent is below which nine terms of the exponential series are exact
// to rounding: 0.1⁹/9! < 3·10⁻¹⁵.
const smallExponent = 0.1

// run computes a copy. Between stages the transmission matrix, with 1/S21 taken
// out, is multiplied from the left end:
//
//	M ← M · [1, c*; c, 1] · diag(1, e^{−2A−2jωτ})        c = ρ e^{jφ}
//
// and at the end S11 = M21/M11, S22 = −M12/M11, |S21|² = Π(1−ρ²) e^{−2A}/|M11|².
// The phasors step along a segment by multiplication: over the two thousand
// points of the longest grid their error stays below 10⁻¹³.
//
// Source: derived here; the usual product of transmission matrices.
func (s *sweep) run(p *prepared, set []setting) {
	m := len(set)
	w := s.state[:m]
	for k, x := range set {
		sin, cos := math.Sincos(x.phase)
		w[k].cr, w[k].ci = x.scale*cos, x.scale*sin
		w[k].k = -2 * (x.loss - 1)
		w[k].steps = x.scale != 0 && p.stages[k].bound != nil
		w[k].line = x.tau != 0 || p.stages[k].loss != nil && x.loss != 0
		w[k].near = math.Abs(w[k].k)*p.most[k] <= smallExponent
	}
	for _, g := range p.grid.segments {
		for k, x := range set {
			w[k].pi, w[k].pr = math.Sincos(-4 * math.Pi * g.start * x.tau)
			w[k].qi, w[k].qr = math.Sincos(-4 * math.Pi * g.step * x.tau)
		}
		for i := g.from; i < g.from+g.n; i++ {
			// Rows of M: (a, b) and (c, d), each complex.
			ar, ai, br, bi := 1.0, 0.0, 0.0, 0.0
			cr, ci, dr, di := 0.0, 0.0, 1.0, 0.0
			power := p.power[i]
			decay, bound, loss := p.decay[i*m:i*m+m:i*m+m], p.bound[i*m:i*m+m:i*m+m], p.loss[i*m:i*m+m:i*m+m]
			for k := range w {
				x := &w[k]
				if p.known[k] {
					t := &p.stages[k].known[i]
					a, b, c, d := complex(ar, ai), complex(br, bi), complex(cr, ci), complex(dr, di)
					a, b = a+b*t.m21, a*t.m12+b*t.m22
					c, d = c+d*t.m21, c*t.m12+d*t.m22
					ar, ai, br, bi = real(a), imag(a), real(b), imag(b)
					cr, ci, dr, di = real(c), imag(c), real(d), imag(d)
				}
				if x.steps { // first column + second·c, second + first·c*
					ur, ui := x.cr*bound[k], x.ci*bound[k]
					power *= 1 - ur*ur - ui*ui
					ar, ai, br, bi = ar+br*ur-bi*ui, ai+br*ui+bi*ur, br+ar*ur+ai*ui, bi+ai*ur-ar*ui
					cr, ci, dr, di = cr+dr*ur-di*ui, ci+dr*ui+di*ur, dr+cr*ur+ci*ui, di+ci*ur-cr*ui
				}
				if !x.line {
					continue
				}
				e := decay[k]
				if x.k != 0 {
					if z := x.k * loss[k]; x.near {
						e *= 1 + z*(1+z*(1./2+z*(1./6+z*(1./24+z*(1./120+z*(1./720+z*(1./5040+z*(1./40320))))))))
					} else {
						e *= math.Exp(z)
					}
				}
				power *= e
				er, ei := e*x.pr, e*x.pi
				br, bi = br*er-bi*ei, br*ei+bi*er
				dr, di = dr*er-di*ei, dr*ei+di*er
				x.pr, x.pi = x.pr*x.qr-x.pi*x.qi, x.pr*x.qi+x.pi*x.qr
			}
			over := 1 / (ar*ar + ai*ai)
			s.s11[i] = (cr*cr + ci*ci) * over
			s.s22[i] = (br*br + bi*bi) * over
			s.s21[i] = power * over
			s.ripple[i] = over
		}
	}
}

// phaseOf returns the phase of 1/M11 at frequency f, in rad: what multiple
// reflections add to the transmission's phase beside −ωΣτ. Known two-ports are
// taken at grid index i.
func (s *sweep) phaseOf(p *prepared, set []setting, f float64, i int) float64 {
	a, b := complex(1, 0), complex(0, 0)
	for k, x := range set {
		if p.known[k] {
			t := p.stages[k].known[i]
			a, b = a+b*t.m21, a*t.m12+b*t.m22
		}
		at := i*len(set) + k
		sin, cos := math.Sincos(x.phase)
		c := complex(x.scale*p.bound[at]*cos, x.scale*p.bound[at]*sin)
		sin, cos = math.Sincos(-4 * math.Pi * f * x.tau)
		e := complex(math.Exp(-2*x.loss*p.loss[at]), 0) * complex(cos, sin)
		a, b = a+b*c, (b+a*complex(real(c), -imag(c)))*e
	}
	return -math.Atan2(imag(a), real(a))
}

// nepers turns decibels into nepers, point by point.
func nepers(db []float64) []float64 {
	out := make([]float64, len(db))
	for i, x := range db {
		out[i] = x / units.DecibelsPerNeper
	}
	return out
}
