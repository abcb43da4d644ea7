package network

import "linewright/physics/network/internal/kernel"

// A Section is a uniform lossy line in a study of many varied chains. Its
// impedance is taken as real and constant, its delay as constant: the internal
// inductance of the skin effect must be in Delay at the frequency of interest.
type Section struct {
	Impedance  float64 // Ω
	Delay      float64 // one way, s
	Skin       float64 // attenuation in Np is Skin·√f + Dielectric·f, f in Hz
	Dielectric float64
}

// LineSweep computes chains of mismatched lossy lines at evenly spaced
// frequencies, for tolerance studies with thousands of samples: about two
// nanoseconds per section and frequency where there is AVX-512 or AVX2
// (measure with BenchmarkSweep of the kernel). It holds scratch memory: use one per goroutine.
type LineSweep struct {
	sweeper *kernel.Sweeper
	points  int
	lines   []kernel.Line
}

// NewLineSweep returns a LineSweep of the frequencies start + k·step, in Hz, k < points.
func NewLineSweep(start, step float64, points int) *LineSweep {
	return &LineSweep{sweeper: kernel.NewSweeper(start, step, points), points: points}
}

// Powers returns |S11|² and |S21|² of the sections in a chain between ports of
// reference z0, in Ω. The slices are valid until the next call.
//
// The reflection is built up from the far end, Γ ← (ρ + Γ e^{−2γl})/(1 + ρ Γ e^{−2γl})
// over each step ρ between neighbouring impedances and each line, without
// division until the end; |S21|² is Π(1−ρ²)·Π|e^{−2γl}| over the squared
// denominator.
//
// Source: derived from [pozar2012] eq. 2.44 and the step's S-matrix; tested
// against [Cascade] of [Line].
func (s *LineSweep) Powers(z0 float64, sections []Section) (s11, s21 []float64) {
	s.lines = s.lines[:0]
	before := z0
	for _, x := range sections {
		s.lines = append(s.lines, kernel.Line{Rho: (x.Impedance - before) / (x.Impedance + before),
			Delay: x.Delay, Skin: x.Skin, Linear: x.Dielectric})
		before = x.Impedance
	}
	s11, s21 = s.sweeper.Lines(s.lines, (z0-before)/(z0+before))
	return s11[:s.points], s21[:s.points]
}
