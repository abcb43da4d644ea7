package kernel

import "math"

// Lane is the number of frequencies a sweep is rounded up to a multiple of.
const Lane = 16

// fresh is the number of groups of [Lane] frequencies between fresh sines, so
// that the rounding of the recurrence does not add up.
const fresh = 32

// Line is a line and the step of impedance before it, as a [Sweeper] wants it.
type Line struct {
	Rho    float64 // reflection coefficient of the step, from before it
	Delay  float64 // one way, s
	Phase  float64 // turns, added to the phase of the way there and back
	Skin   float64 // one-way attenuation at 1 Hz that grows as √f, Np
	Linear float64 // one-way attenuation at 1 Hz that grows as f, Np
	Fixed  float64 // one-way attenuation at all frequencies, Np; Reflect only
}

// section is a [Line] prepared for the inner loop; the assembly knows its layout.
type section struct {
	rho    float64
	re, im float64 // rotation from one group of frequencies to the next
	skin   float64 // −2 Skin
	linear float64 // −2 Linear
	_      [3]float64
}

// phasor holds e^{−jωτ·2} of one line at a group of frequencies.
type phasor struct{ re, im [Lane]float64 }

// far is what lies at the chain's end, and what the transmission needs.
type far struct {
	rho          float64 // step after the last line
	skin, linear float64 // sums over the lines
	scale        float64 // product of 1 − ρ²
}

// sweepImplementation computes groups of Lane frequencies, the first of which the
// phasors stand at; it leaves them at the group after the last.
type sweepImplementation struct {
	name string
	// sincos writes the sines and cosines of angles in turns, eight or a multiple of eight.
	sincos func(sin, cos, turns []float64)
	// lines writes |S11|² and |S21|² of lossy lines.
	lines func(s11, s21, root, frequency []float64, s []section, p []phasor, f *far)
	// reflect writes |S11|² where the loss does not depend on frequency: it is
	// in the phasors.
	reflect func(s11 []float64, s []section, p []phasor, f *far)
}

var fastestSweep = availableSweeps()[0]

// A Sweeper computes chains of mismatched lines over evenly spaced
// frequencies. It holds scratch memory: one per goroutine.
type Sweeper struct {
	with            sweepImplementation
	start, step     float64
	root, frequency []float64
	s11, s21        []float64
	sections        []section
	phasors         []phasor
	turns, sin, cos []float64 // three angles per line, rounded up to a multiple of eight
}

// NewSweeper returns a Sweeper of the given frequencies, in Hz. They are
// rounded up to a multiple of [Lane]; results have the rounded length.
func NewSweeper(start, step float64, points int) *Sweeper {
	return newSweeper(fastestSweep, start, step, points)
}

func newSweeper(with sweepImplementation, start, step float64, points int) *Sweeper {
	n := (points + Lane - 1) / Lane * Lane
	s := &Sweeper{with: with, start: start, step: step,
		root: make([]float64, n), frequency: make([]float64, n), s11: make([]float64, n), s21: make([]float64, n)}
	for k := range n {
		s.frequency[k] = start + step*float64(k)
		s.root[k] = math.Sqrt(s.frequency[k])
	}
	return s
}

// Lines returns |S11|² and |S21|² of a chain of lines with a last step of
// reflection coefficient end after it, at the sweep's frequencies. The slices are the
// Sweeper's own, until its next use.
//
// From the far end, with E = e^{−2γl} of a line and ρ of the step before it,
//
//	u ← u E,  (u, v) ← (u + ρ v, v + ρ u)        S11 = u/v
//	|S21|² = Π(1−ρ²) · Π|E| / |v|²
//
// starting from u = end, v = 1.
func (s *Sweeper) Lines(lines []Line, end float64) (s11, s21 []float64) {
	f := far{rho: end, scale: 1 - end*end}
	for _, l := range lines {
		f.skin -= 2 * l.Skin
		f.linear -= 2 * l.Linear
		f.scale *= 1 - l.Rho*l.Rho
	}
	for k := 0; k < len(s.s11); k += fresh * Lane {
		to := min(k+fresh*Lane, len(s.s11))
		s.prepare(lines, k)
		s.with.lines(s.s11[k:to], s.s21[k:to], s.root[k:to], s.frequency[k:to], s.sections, s.phasors, &f)
	}
	return s.s11, s.s21
}

// Reflect returns |S11|² as Lines does, with the lines' Fixed attenuation.
func (s *Sweeper) Reflect(lines []Line, end float64) (s11 []float64) {
	f := far{rho: end}
	for k := 0; k < len(s.s11); k += fresh * Lane {
		to := min(k+fresh*Lane, len(s.s11))
		s.prepare(lines, k)
		for i, l := range lines {
			if l.Fixed != 0 {
				a := math.Exp(-2 * l.Fixed)
				for j := range Lane {
					s.phasors[i].re[j] *= a
					s.phasors[i].im[j] *= a
				}
			}
		}
		s.with.reflect(s.s11[k:to], s.sections, s.phasors, &f)
	}
	return s.s11
}

// prepare sets the phasors to the k-th frequency.
func (s *Sweeper) prepare(lines []Line, k int) {
	if cap(s.sections) < len(lines) {
		s.sections, s.phasors = make([]section, len(lines)), make([]phasor, len(lines))
		n := (3*len(lines) + 7) / 8 * 8
		s.turns, s.sin, s.cos = make([]float64, n), make([]float64, n), make([]float64, n)
	}
	s.sections, s.phasors = s.sections[:len(lines)], s.phasors[:len(lines)]
	for i, l := range lines {
		twice := 2 * l.Delay
		at := s.frequency[k] * twice
		s.turns[3*i] = l.Phase - (at - math.Floor(at))
		s.turns[3*i+1] = -s.step * twice
		s.turns[3*i+2] = -Lane * s.step * twice
	}
	s.with.sincos(s.sin, s.cos, s.turns)
	for i, l := range lines {
		x := &s.sections[i]
		x.rho, x.skin, x.linear = l.Rho, -2*l.Skin, -2*l.Linear
		x.im, x.re = s.sin[3*i+2], s.cos[3*i+2]
		s.phasors[i].fill(s.sin[3*i], s.cos[3*i], s.sin[3*i+1], s.cos[3*i+1])
	}
}

// fill sets the lanes to the phasor of the first angle, each next one turned by
// the second: products of rotations, four sines and cosines instead of
// thirty-two.
func (p *phasor) fill(sin, cos, si, sr float64) {
	re, im := &p.re, &p.im
	re[0], im[0] = cos, sin
	for j := range 1 {
		re[1+j], im[1+j] = re[j]*sr-im[j]*si, re[j]*si+im[j]*sr
	}
	sr, si = sr*sr-si*si, 2*sr*si
	for j := range 2 {
		re[2+j], im[2+j] = re[j]*sr-im[j]*si, re[j]*si+im[j]*sr
	}
	sr, si = sr*sr-si*si, 2*sr*si
	for j := range 4 {
		re[4+j], im[4+j] = re[j]*sr-im[j]*si, re[j]*si+im[j]*sr
	}
	sr, si = sr*sr-si*si, 2*sr*si
	for j := range 8 {
		re[8+j], im[8+j] = re[j]*sr-im[j]*si, re[j]*si+im[j]*sr
	}
}

// sincosTurns returns the sine and cosine of x turns, within 2⁻⁵² for |x| < 2⁵⁰:
// the nearest quarter turn is taken off exactly, and the Taylor series to r¹⁵
// and r¹⁶ serve |r| ≤ π/4, where the first terms left out are 5e-17 and 2e-18.
func sincosTurns(x float64) (sin, cos float64) {
	quarter := math.Floor(4*x + 0.5)
	r := 2 * math.Pi * (x - 0.25*quarter)
	z := r * r
	s := r + r*z*(-1./6+z*(1./120+z*(-1./5040+z*(1./362880+z*(-1./39916800+z*(1./6227020800-z*(1./1307674368000)))))))
	c := 1 + z*(-1./2+z*(1./24+z*(-1./720+z*(1./40320+z*(-1./3628800+z*(1./479001600+z*(-1./87178291200+z*(1./20922789888000))))))))
	q := int64(quarter) & 3
	both := [2]float64{s, c}
	return both[q&1] * quadrantSign[q], both[q&1^1] * quadrantSign[(q+1)&3]
}

func sincosPlain(sin, cos, turns []float64) {
	for i, x := range turns {
		sin[i], cos[i] = sincosTurns(x)
	}
}

// quadrantSign is the sign of the sine in quarters 0 to 3 about their centres.
var quadrantSign = [4]float64{1, 1, -1, -1}

var plainSweep = sweepImplementation{"plain Go", sincosPlain, linesPlain, reflectPlain}

func linesPlain(s11, s21, root, frequency []float64, s []section, p []phasor, f *far) {
	for g := 0; g < len(s11); g += Lane {
		for j := range Lane {
			ur, ui, vr, vi := f.rho, 0.0, 1.0, 0.0
			for i := len(s) - 1; i >= 0; i-- {
				x := &s[i]
				a := math.Exp(math.Max(x.skin*root[g+j]+x.linear*frequency[g+j], -700))
				pr, pi := p[i].re[j], p[i].im[j]
				p[i].re[j], p[i].im[j] = pr*x.re-pi*x.im, pr*x.im+pi*x.re
				pr, pi = pr*a, pi*a
				ur, ui = ur*pr-ui*pi, ur*pi+ui*pr
				ur, ui, vr, vi = ur+x.rho*vr, ui+x.rho*vi, vr+x.rho*ur, vi+x.rho*ui
			}
			inverse := 1 / (vr*vr + vi*vi)
			s11[g+j] = (ur*ur + ui*ui) * inverse
			s21[g+j] = math.Exp(math.Max(f.skin*root[g+j]+f.linear*frequency[g+j], -700)) * f.scale * inverse
		}
	}
}

func reflectPlain(s11 []float64, s []section, p []phasor, f *far) {
	for g := 0; g < len(s11); g += Lane {
		for j := range Lane {
			ur, ui, vr, vi := f.rho, 0.0, 1.0, 0.0
			for i := len(s) - 1; i >= 0; i-- {
				x := &s[i]
				pr, pi := p[i].re[j], p[i].im[j]
				p[i].re[j], p[i].im[j] = pr*x.re-pi*x.im, pr*x.im+pi*x.re
				ur, ui = ur*pr-ui*pi, ur*pi+ui*pr
				ur, ui, vr, vi = ur+x.rho*vr, ui+x.rho*vi, vr+x.rho*ur, vi+x.rho*ui
			}
			s11[g+j] = (ur*ur + ui*ui) * (1 / (vr*vr + vi*vi))
		}
	}
}
