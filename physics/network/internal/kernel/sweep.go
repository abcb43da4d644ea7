package kernel

import "math"

// Lane is the number of frequencies a sweep is rounded up to a multiple of.
const Lane = 8

// fresh is the number of groups of [Lane] frequencies between fresh sines, so
// that the rounding of the recurrence does not add up.
const fresh = 64

// Line is a line and the step of impedance before it, as a [Sweeper] wants it.
type Line struct {
	Rho    float64 // reflection coefficient of the step, from before it
	Delay  float64 // one way, s
	Phase  float64 // rad, added to the phase of the way there and back
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
	}
	s.sections, s.phasors = s.sections[:len(lines)], s.phasors[:len(lines)]
	for i, l := range lines {
		x := &s.sections[i]
		*x = section{rho: l.Rho, skin: -2 * l.Skin, linear: -2 * l.Linear}
		x.im, x.re = sincosTurns(-2 * Lane * s.step * l.Delay)
		// The eight lanes as products of three rotations: three sines and cosines
		// instead of eight.
		si, sr := sincosTurns(-2 * s.step * l.Delay)
		p := &s.phasors[i]
		turns := -2 * s.frequency[k] * l.Delay
		p.im[0], p.re[0] = math.Sincos(2*math.Pi*(turns-math.Round(turns)) + l.Phase)
		for width := 1; width < Lane; width *= 2 {
			for j := range width {
				p.re[width+j], p.im[width+j] = p.re[j]*sr-p.im[j]*si, p.re[j]*si+p.im[j]*sr
			}
			sr, si = sr*sr-si*si, 2*sr*si
		}
	}
}

// sincosTurns returns the sine and cosine of x turns.
func sincosTurns(x float64) (sin, cos float64) {
	return math.Sincos(2 * math.Pi * (x - math.Round(x)))
}

var plainSweep = sweepImplementation{"plain Go", linesPlain, reflectPlain}

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
