package timedomain

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"linewright/physics/network"
)

// Options say how a response is computed. The zero value is a Kaiser window of
// β = 6 and eight values per shortest period.
type Options struct {
	Window Window
	Points int     // over the whole period, at least; rounded up to a product of 2, 3 and 5; 0 is 8 per highest harmonic
	Lead   float64 // s, how much is shown before time zero; 0 is a tenth of the period
}

// grid returns the number of points of a period and how many of them lead.
func (o Options) grid(step float64, harmonics int) (points, lead int) {
	points = o.Points
	if points == 0 {
		points = 8 * harmonics
	}
	points = smoothSize(max(points, 2*harmonics+2))
	back := o.Lead * step
	if o.Lead == 0 {
		back = 0.1
	}
	return points, min(points-1, max(0, int(math.Round(back*float64(points)))))
}

// smoothSize returns the least even product of 2, 3 and 5 that is n or more: sizes
// the fast transform is fast at.
func smoothSize(n int) int {
	for ; ; n++ {
		if n%2 != 0 {
			continue
		}
		m := n
		for _, p := range []int{2, 3, 5} {
			for m%p == 0 {
				m /= p
			}
		}
		if m == 1 {
			return n
		}
	}
}

// weights returns w at the harmonics 0 ... last.
func (w Window) weights(last int) []float64 {
	w = w.orDefault()
	v := make([]float64, last+1)
	for n := range v {
		v[n] = w(float64(n) / float64(last))
	}
	return v
}

// Impulse returns the low-pass impulse response, in 1/s:
//
//	h(t) = Δf [S(0) W₀ + 2 Σ Re{S_n W_n e^{j2πnΔf t}}]        n = 1 ... N
//
// Its integral over a reflection that stands alone is that reflection.
func (s Spectrum) Impulse(o Options) Response {
	last := len(s.S) - 1
	w := o.Window.weights(last)
	c := make([]complex128, last+1)
	for n, v := range s.S {
		c[n] = v * complex(w[n]*s.Step, 0)
	}
	points, lead := o.grid(s.Step, last)
	return s.sequence(c, points, lead)
}

// ImpulseAt returns the value of [Spectrum.Impulse] at any time t, in s, summed
// as defined. It is the slow twin.
func (s Spectrum) ImpulseAt(t float64, window Window) float64 {
	last := len(s.S) - 1
	w := window.weights(last)
	sum := real(s.S[0]) * w[0]
	for n := 1; n <= last; n++ {
		sum += 2 * w[n] * real(s.S[n]*cmplx.Rect(1, 2*math.Pi*math.Mod(float64(n)*s.Step*t, 1)))
	}
	return s.Step * sum
}

// sequence sums c₀ + 2 Σ Re c_n e^{j2πnΔf t} over one period, lead points of it
// before time zero.
func (s Spectrum) sequence(c []complex128, points, lead int) Response {
	padded := make([]complex128, points/2+1)
	copy(padded, c)
	whole := fourier.NewFFT(points).Sequence(nil, padded)
	r := Response{Step: 1 / (s.Step * float64(points))}
	r.Start = -float64(lead) * r.Step
	r.Value = append(append(make([]float64, 0, points), whole[points-lead:]...), whole[:points-lead]...)
	return r
}

// Excite returns the response to an edge, ideal when e is nil: the running
// integral of impulse response and edge from the first time shown, where it is
// set to zero. With E the edge's spectrum
//
//	ρ(t) = Δf S(0) W₀ (t−t₀) + 2 Δf Σ Re{S_n W_n E_n (e^{jω_n t} − e^{jω_n t₀})/jω_n}
//
// The window widens the edge: together they rise in about [CombinedRise] of the
// two. Options.Lead must reach back to where edge and window have begun.
func (s Spectrum) Excite(e Edge, o Options) Response {
	if e == nil {
		e = Step{}
	}
	last := len(s.S) - 1
	w := o.Window.weights(last)
	c := make([]complex128, last+1)
	for n := 1; n <= last; n++ {
		f := float64(n) * s.Step
		c[n] = s.S[n] * e.Spectrum(f) * complex(w[n]*s.Step, 0) / complex(0, 2*math.Pi*f)
	}
	points, lead := o.grid(s.Step, last)
	r := s.sequence(c, points, lead)
	slope, first := s.Step*real(s.S[0])*w[0]*r.Step, r.Value[0]
	for k := range r.Value {
		r.Value[k] += slope*float64(k) - first
	}
	return r
}

// An Envelope is a band-pass response over evenly spaced times. |Value| is the
// envelope; the phase turns with the middle of the band and depends on the sub-wavelength
// position, so that the sign of a reflection cannot be read off it.
type Envelope struct {
	Start, Step float64 // s
	Value       []complex128
}

// Time returns the time of the k-th value, in s.
func (e Envelope) Time(k int) float64 { return e.Start + float64(k)*e.Step }

// BandPass returns the band-pass impulse response of s over evenly spaced
// frequencies, in Hz, wherever the band lies:
//
//	h(t) = Σ S_k W_k e^{j2πf_k t} / Σ W_k
//
// A single reflection ρ shows |ρ| at its time.
func BandPass(frequency []float64, s []complex128, o Options) (Envelope, error) {
	step, err := evenStep("band-pass transform", frequency, len(s))
	if err != nil {
		return Envelope{}, err
	}
	last := len(s) - 1
	w := o.Window.orDefault()
	points, lead := o.grid(step, last)
	c := make([]complex128, points)
	sum := 0.0
	for k, v := range s {
		x := w(2*float64(k)/float64(last) - 1)
		sum += x
		c[k] = v * complex(x, 0)
	}
	whole := fourier.NewCmplxFFT(points).Sequence(nil, c)
	e := Envelope{Step: 1 / (step * float64(points)), Value: make([]complex128, points)}
	e.Start = -float64(lead) * e.Step
	for k := range e.Value {
		turns := math.Mod(frequency[0]*e.Time(k), 1)
		e.Value[k] = whole[(k+points-lead)%points] * cmplx.Rect(1/sum, 2*math.Pi*turns)
	}
	return e, nil
}

// evenStep returns the step of evenly spaced frequencies, to 1e-3 of it.
func evenStep(op string, f []float64, values int) (float64, error) {
	if len(f) < 3 || len(f) != values {
		return 0, fault(op, network.ErrShape, "give three frequencies at least, and a value to each", "%d frequencies, %d values", len(f), values)
	}
	step := (f[len(f)-1] - f[0]) / float64(len(f)-1)
	for k := range f {
		if !(math.Abs(f[k]-f[0]-float64(k)*step) <= 1e-3*step) {
			return 0, fault(op, network.ErrSpacing, "interpolate onto even spacing", "%g GHz where %g GHz was due", f[k]/1e9, (f[0]+float64(k)*step)/1e9)
		}
	}
	return step, nil
}
