package network

import (
	"fmt"
	"math"

	"linewright/physics/network/internal/kernel"
)

// A Stage is a piece of a chain of which many varied copies are computed: a
// known two-port, behind it a lossless discontinuity, behind that a matched,
// lossy line. What a piece has not is nil.
//
// A discontinuity of magnitude ρ and phase φ is
//
//	S11 = ρ e^{jφ}    S22 = −ρ e^{−jφ}    S21 = √(1 − ρ²)
//
// an impedance step whose reference planes are moved by φ/2, in opposite
// directions.
type Stage struct {
	Known *Network  // two-port at the chain's frequencies
	Bound []float64 // ρ at full scale, over the chain's frequencies
	Loss  []float64 // A at full scale, one way, Np, over the chain's frequencies
}

// A Setting is how a [Stage] stands in one copy.
type Setting struct {
	Scale float64 // of the discontinuity's bound: ρ = Scale·Bound; may be negative
	Phase float64 // φ, rad
	Loss  float64 // scale of A
	Delay float64 // of the line, one way, s
}

// A Segment is a run of evenly spaced frequencies.
type Segment struct {
	Start, Step float64 // Hz
	Points      int
}

// Varied is a chain of which copies are to be computed; it does not change.
type Varied struct {
	frequency []float64
	stages    []Stage
	chain     *kernel.Chain
}

// NewVaried prepares stages over segments of frequencies, one after the other.
// All known two-ports must have one real reference impedance at both ports.
func NewVaried(segments []Segment, stages []Stage) (*Varied, error) {
	const op = "varied chain"
	v := &Varied{stages: stages}
	var ks []kernel.Segment
	for _, s := range segments {
		ks = append(ks, kernel.Segment{Start: s.Start, Step: s.Step, N: s.Points})
		for k := range s.Points {
			v.frequency = append(v.frequency, s.Start+s.Step*float64(k))
		}
	}
	var reference complex128
	prepared := make([]kernel.Stage, len(stages))
	for i, s := range stages {
		for _, t := range [][]float64{s.Bound, s.Loss} {
			if t != nil && len(t) != len(v.frequency) {
				return nil, fault(op, ErrShape, "give one value for each frequency", "stage %d has a table of %d values for %d frequencies", i, len(t), len(v.frequency))
			}
		}
		p := kernel.Stage{Bound: s.Bound, Loss: s.Loss}
		if n := s.Known; n != nil {
			if err := n.twoPort(op); err != nil {
				return nil, err
			}
			if len(n.Frequency) != len(v.frequency) {
				return nil, fault(op, ErrGrid, "interpolate it onto the chain's frequencies", "stage %d has %s, the chain %d points", i, describeGrid(n.Frequency), len(v.frequency))
			}
			if reference == 0 {
				reference = n.Reference[0]
			}
			if imag(reference) != 0 || n.Reference[0] != reference || n.Reference[1] != reference {
				return nil, fault(op, ErrReference, "renormalise all to one real impedance", "stage %d is referred to %v and %v Ω", i, n.Reference[0], n.Reference[1])
			}
			p.Known, p.Power = make([][3]complex128, len(n.Frequency)), make([]float64, len(n.Frequency))
			for k := range p.Known {
				s11, s12, s21, s22 := n.At(k, 0, 0), n.At(k, 0, 1), n.At(k, 1, 0), n.At(k, 1, 1)
				p.Known[k] = [3]complex128{-s22, s11, s12*s21 - s11*s22}
				p.Power[k] = real(s21)*real(s21) + imag(s21)*imag(s21)
			}
		}
		prepared[i] = p
	}
	v.chain = kernel.NewChain(ks, prepared)
	return v, nil
}

// Copies computes copies of a [Varied] chain, thousands a second: about two
// nanoseconds per stage and frequency where there is AVX-512 or AVX2 (measure
// with BenchmarkCopies of the kernel). It holds scratch memory: use one per
// goroutine.
type Copies struct {
	// Of the last run, at each frequency.
	S11, S22, S21 []float64 // |S|²
	Ripple        []float64 // what multiple reflections do to |S21|²: 1 without them

	with *kernel.Copies
	set  []kernel.Setting
}

// Copies returns the means to compute copies of v.
func (v *Varied) Copies() *Copies {
	return &Copies{with: kernel.NewCopies(v.chain), set: make([]kernel.Setting, len(v.stages))}
}

// Run computes the copy of the settings, one for each stage. It panics if their
// numbers differ. The results are the receiver's own, until its next run.
//
// Transmission matrices with the factors 1/S21 taken out are multiplied from
// the left end, with all multiple reflections; Ripple is 1/|M11|². Phases step
// along a segment by multiplication and are set afresh every 512 points. On
// chains of up to nineteen stages |S|² is within 1e-13 of star products.
//
// Source: the usual product of transmission matrices; tested against [Cascade].
func (c *Copies) Run(set []Setting) {
	if len(set) != len(c.set) {
		panic(fmt.Sprintf("network: %d settings for %d stages", len(set), len(c.set)))
	}
	for k, x := range set {
		c.set[k] = kernel.Setting{Scale: x.Scale, Phase: x.Phase, Loss: x.Loss, Delay: x.Delay}
	}
	c.S11, c.S22, c.S21, c.Ripple = c.with.Run(c.set)
}

// Phase returns what multiple reflections add to the phase of a copy's
// transmission at the i-th frequency, in rad: the phase of 1/M11, beside the
// lines' −ωΣτ and the phases of the known two-ports' own S21.
func (v *Varied) Phase(set []Setting, i int) float64 {
	a, b := complex(1, 0), complex(0, 0)
	for k, x := range set {
		s := &v.stages[k]
		if n := s.Known; n != nil {
			s11, s12, s21, s22 := n.At(i, 0, 0), n.At(i, 0, 1), n.At(i, 1, 0), n.At(i, 1, 1)
			a, b = a+b*s11, b*(s12*s21-s11*s22)-a*s22
		}
		if s.Bound != nil {
			sin, cos := math.Sincos(x.Phase)
			u := complex(x.Scale*s.Bound[i]*cos, x.Scale*s.Bound[i]*sin)
			a, b = a+b*u, b+a*complex(real(u), -imag(u))
		}
		loss := 0.0
		if s.Loss != nil {
			loss = x.Loss * s.Loss[i]
		}
		sin, cos := math.Sincos(-4 * math.Pi * v.frequency[i] * x.Delay)
		b *= complex(math.Exp(-2*loss), 0) * complex(cos, sin)
	}
	return -math.Atan2(imag(a), real(a))
}

// Range returns the least and the greatest of x·weight, of x where weight is
// nil; both are NaN when one of the products is, and +Inf and −Inf of nothing.
// It is for the trials of many copies: about a tenth of a nanosecond per number
// where there is AVX-512 or AVX2.
func Range(x, weight []float64) (least, most float64) { return kernel.Range(x, weight) }
