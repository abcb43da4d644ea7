package kernel

import (
	"math"
	"unsafe"
)

// A Stage is a piece of a chain of which many copies are computed: a known
// two-port, behind it a lossless discontinuity, behind that a matched lossy
// line. Tables are over the frequencies of a [Chain]; nil: there is none.
type Stage struct {
	Known [][3]complex128 // m12, m21, m22 of M without its 1/S21: −S22, S11, S12·S21 − S11·S22
	Power []float64       // |S21|² of the known two-port
	Bound []float64       // magnitude of the discontinuity's reflection at full scale
	Loss  []float64       // one-way attenuation of the line at full scale, Np
}

// A Setting is how a stage stands in one copy.
type Setting struct {
	Scale float64 // of the discontinuity's Bound; may be negative
	Phase float64 // of its reflection from the left, rad; from the right π minus this
	Loss  float64 // scale of Loss
	Delay float64 // one way, of the line, s
}

// A Segment is a run of evenly spaced frequencies.
type Segment struct {
	Start, Step float64 // Hz
	N           int
}

// table is a stage's tables, with room for a group beyond the last frequency.
type table struct {
	known              []float64 // six planes
	bound, loss, decay []float64 // decay: e^{−2·loss}
	most               float64   // greatest loss
}

// A Chain holds what does not vary from copy to copy.
type Chain struct {
	segments []Segment
	n        int
	tables   []table
	power    []float64 // product of the known two-ports' |S21|²
}

// NewChain prepares the stages over the segments, whose frequencies lie one
// after the other in the stages' tables.
func NewChain(segments []Segment, stages []Stage) *Chain {
	c := &Chain{segments: segments, tables: make([]table, len(stages))}
	for _, s := range segments {
		c.n += s.N
	}
	room := c.n + Lane
	c.power = make([]float64, room)
	for i := range c.n {
		c.power[i] = 1
	}
	wide := func(x []float64) []float64 { return append(make([]float64, 0, room), x...)[:room] }
	for k, s := range stages {
		t := &c.tables[k]
		if s.Known != nil {
			t.known = make([]float64, 6*room)
			for i, m := range s.Known {
				for p, z := range m {
					t.known[2*p*room+i], t.known[(2*p+1)*room+i] = real(z), imag(z)
				}
				c.power[i] *= s.Power[i]
			}
		}
		if s.Bound != nil {
			t.bound = wide(s.Bound)
		}
		if s.Loss != nil {
			t.loss, t.decay = wide(s.Loss), make([]float64, room)
			for i, a := range s.Loss {
				t.decay[i] = math.Exp(-2 * a)
				t.most = math.Max(t.most, a)
			}
		}
	}
	return c
}

// What the line of a step does.
const (
	noLine     int64 = iota
	lossless         // it only turns
	asStated         // e^{−2A} is in the table
	nearStated       // e^{−2A} times the series of e^{k·A}
	afar             // e^{k·A}
)

// smallExponent is below which nine terms of the exponential series are exact
// to rounding: 0.1⁹/9! < 3·10⁻¹⁵.
const smallExponent = 0.1

// step is a setting prepared for the inner loop; the assembly knows its layout.
type step struct {
	known, bound, loss, decay *float64
	cr, ci                    float64 // scale·e^{jφ}
	re, im                    float64 // rotation from one group of frequencies to the next
	k                         float64 // factor of the loss in the exponent
	kind                      int64
	stride                    int64 // bytes between the planes of known
	_                         int64
}

// copiesImplementation computes groups of Lane frequencies from offset on, at
// the first of which the phasors stand.
type copiesImplementation struct {
	name   string
	sincos func(sin, cos, turns []float64)
	run    func(c *Copies, offset, groups int)
}

var fastestCopies = availableCopies()[0]

// Copies computes copies of a chain. It holds scratch memory: one per goroutine.
type Copies struct {
	with    copiesImplementation
	chain   *Chain
	steps   []step
	phasors []phasor
	turns   []float64 // three angles per stage, rounded up to a multiple of eight
	sin     []float64
	cos     []float64
	// Results of the last run, with room for a group beyond the last frequency.
	s11, s22, s21, ripple []float64
}

// NewCopies returns the scratch memory for copies of c.
func NewCopies(c *Chain) *Copies { return newCopies(fastestCopies, c) }

func newCopies(with copiesImplementation, c *Chain) *Copies {
	m, room := len(c.tables), c.n+Lane
	angles := (3*m + 7) / 8 * 8
	return &Copies{with: with, chain: c, steps: make([]step, m), phasors: make([]phasor, m), turns: make([]float64, angles), sin: make([]float64, angles), cos: make([]float64, angles),
		s11: make([]float64, room), s22: make([]float64, room), s21: make([]float64, room), ripple: make([]float64, room)}
}

// Run computes a copy; set has a setting for each stage. It returns |S11|²,
// |S22|², |S21|² and 1/|M11|², what multiple reflections do to |S21|², at the
// chain's frequencies, in memory that the next run uses again.
//
// Between stages the transmission matrix, with 1/S21 taken out, is multiplied
// from the left end:
//
//	M ← M · [1, c*; c, 1] · diag(1, e^{−2A−4πjfτ})        c = ρ e^{jφ}
//
// and at the end S11 = M21/M11, S22 = −M12/M11, |S21|² = Π(1−ρ²) e^{−2A}/|M11|².
//
// Source: the usual product of transmission matrices; the step's S-matrix is
// that of an ideal impedance step whose reference planes are moved by φ/2.
func (w *Copies) Run(set []Setting) (s11, s22, s21, ripple []float64) {
	c := w.chain
	for k, x := range set {
		t, s := &c.tables[k], &w.steps[k]
		*s = step{known: first(t.known), loss: first(t.loss), decay: first(t.decay), stride: int64(8 * (c.n + Lane))}
		if x.Scale != 0 && t.bound != nil {
			sin, cos := math.Sincos(x.Phase)
			s.bound, s.cr, s.ci = &t.bound[0], x.Scale*cos, x.Scale*sin
		}
		switch {
		case t.loss != nil && x.Loss != 0:
			s.kind, s.k = asStated, -2*(x.Loss-1)
			switch z := math.Abs(s.k) * t.most; {
			case !(z <= smallExponent): // NaN too
				s.kind, s.k = afar, -2*x.Loss
			case z != 0:
				s.kind = nearStated
			}
		case x.Delay != 0:
			s.kind = lossless
		}
	}
	from := 0
	for _, g := range c.segments {
		for k := 0; k < g.N; k += fresh * Lane {
			w.prepare(set, g.Start+g.Step*float64(k), g.Step)
			// The last group may reach beyond the segment: into what the next one
			// writes again, or into the room at the end.
			w.with.run(w, from+k, (min(fresh*Lane, g.N-k)+Lane-1)/Lane)
		}
		from += g.N
	}
	return w.s11[:c.n], w.s22[:c.n], w.s21[:c.n], w.ripple[:c.n]
}

func first(x []float64) *float64 {
	if len(x) == 0 {
		return nil
	}
	return &x[0]
}

// prepare sets the phasors to the frequency f.
func (w *Copies) prepare(set []Setting, f, df float64) {
	for k, x := range set {
		at := 2 * f * x.Delay
		w.turns[3*k] = -(at - math.Floor(at))
		w.turns[3*k+1] = -2 * df * x.Delay
		w.turns[3*k+2] = -2 * Lane * df * x.Delay
	}
	w.with.sincos(w.sin, w.cos, w.turns)
	for k := range set {
		w.steps[k].im, w.steps[k].re = w.sin[3*k+2], w.cos[3*k+2]
		w.phasors[k].fill(w.sin[3*k], w.cos[3*k], w.sin[3*k+1], w.cos[3*k+1])
	}
}

var plainCopies = copiesImplementation{"plain Go", sincosPlain, copiesPlain}

func copiesPlain(w *Copies, offset, groups int) {
	c := w.chain
	for i := offset; i < offset+groups*Lane; i += Lane {
		for j := range Lane {
			// Rows of M: (a, b) and (c, d), each complex.
			ar, ai, br, bi := 1.0, 0.0, 0.0, 0.0
			cr, ci, dr, di := 0.0, 0.0, 1.0, 0.0
			power, at := 1.0, i+j
			for k := range w.steps {
				x, t := &w.steps[k], &c.tables[k]
				if x.known != nil {
					n := c.n + Lane
					m12, m21, m22 := complex(t.known[at], t.known[n+at]), complex(t.known[2*n+at], t.known[3*n+at]), complex(t.known[4*n+at], t.known[5*n+at])
					a, b, c, d := complex(ar, ai), complex(br, bi), complex(cr, ci), complex(dr, di)
					a, b = a+b*m21, a*m12+b*m22
					c, d = c+d*m21, c*m12+d*m22
					ar, ai, br, bi = real(a), imag(a), real(b), imag(b)
					cr, ci, dr, di = real(c), imag(c), real(d), imag(d)
				}
				if x.bound != nil { // first column + second·u, second + first·u*
					ur, ui := x.cr*t.bound[at], x.ci*t.bound[at]
					power *= 1 - ur*ur - ui*ui
					ar, ai, br, bi = ar+br*ur-bi*ui, ai+br*ui+bi*ur, br+ar*ur+ai*ui, bi+ai*ur-ar*ui
					cr, ci, dr, di = cr+dr*ur-di*ui, ci+dr*ui+di*ur, dr+cr*ur+ci*ui, di+ci*ur-cr*ui
				}
				if x.kind == noLine {
					continue
				}
				e := 1.0
				switch x.kind {
				case asStated:
					e = t.decay[at]
				case nearStated:
					z := x.k * t.loss[at]
					e = t.decay[at] * (1 + z*(1+z*(1./2+z*(1./6+z*(1./24+z*(1./120+z*(1./720+z*(1./5040+z*(1./40320)))))))))
				case afar:
					e = math.Exp(math.Max(x.k*t.loss[at], -700))
				}
				power *= e
				p := &w.phasors[k]
				pr, pi := p.re[j], p.im[j]
				p.re[j], p.im[j] = pr*x.re-pi*x.im, pr*x.im+pi*x.re
				er, ei := e*pr, e*pi
				br, bi = br*er-bi*ei, br*ei+bi*er
				dr, di = dr*er-di*ei, dr*ei+di*er
			}
			over := 1 / (ar*ar + ai*ai)
			w.ripple[at] = over
			w.s11[at] = (cr*cr + ci*ci) * over
			w.s22[at] = (br*br + bi*bi) * over
			w.s21[at] = power * c.power[at] * over
		}
	}
}

// stepsOf gives the assembly the steps as a pointer to their first word.
func stepsOf(s []step) *float64 {
	if len(s) == 0 {
		return nil
	}
	return (*float64)(unsafe.Pointer(&s[0]))
}
