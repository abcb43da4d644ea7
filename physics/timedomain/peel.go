package timedomain

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Peel returns the reflection coefficients ρ of the junctions of a line made of
// layers of equal delay, from its impulse response: h[k] is what comes back of a
// unit impulse k two-way layer delays after it. It is exact for such a line, all
// multiple reflections counted, whatever stands behind.
//
// At each junction the first of the returning wave b is ρ times the first of the
// incident wave a; beyond it, up to a common factor,
//
//	a ← a − ρ b        b ← b − ρ a, one step earlier
//
// Errors of h grow on the way down: an error of σ in each sample makes one of about
// 2σ√k in ln Z after k junctions, more behind strong reflections. At a total
// reflection the line ends and so does the answer. For |ρ| > 1 it returns what
// it has with an error of ErrPassive. The cost is len(h)²/2 pairs of multiply-adds.
//
// Source: layer peeling (the Schur algorithm) [bruckstein1987]; for reflectometry
// [hsue1997].
func Peel(h []float64) ([]float64, error) {
	a, b := make([]float64, len(h)), append([]float64(nil), h...)
	if len(a) == 0 {
		return nil, nil
	}
	a[0] = 1
	rho := make([]float64, 0, len(h))
	for k := range h {
		r := b[0] / a[0]
		if !(math.Abs(r) <= 1+1e-9) {
			return rho, fault("peel", ErrPassive, "noise, loss not told, or a wrong value at 0 Hz can do this: stop before it", "ρ = %.4g at junction %d", r, k)
		}
		rho = append(rho, r)
		if math.Abs(r) > 1-1e-9 {
			break
		}
		n := len(b)
		for i := 1; i < n; i++ {
			a[i-1], b[i-1] = a[i-1]-r*b[i-1], b[i]-r*a[i]
		}
		a, b = a[:n-1], b[:n-1]
	}
	return rho, nil
}

// Impedances returns the impedance behind each junction, in Ω, from their
// reflections and the impedance zref before the first.
func Impedances(zref float64, rho []float64) []float64 {
	z := make([]float64, len(rho))
	for k, r := range rho {
		zref = Impedance(zref, r)
		z[k] = zref
	}
	return z
}

// Loss is a line's attenuation per one-way delay, Skin·√f + Dielectric·f in Np
// per s of delay, f in Hz, the same in all layers. Causality gives either its phase:
// the skin effect an internal reactance equal to its resistance, so an excess
// phase in rad equal to the attenuation in Np; the dielectric a permittivity that
// falls with frequency, (jf/f₀)^{−2δ/π}, of constant loss angle δ.
type Loss struct {
	Skin       float64 // Np/(s √Hz)
	Dielectric float64 // Np/(s Hz)
	At         float64 // Hz: f₀, where the dielectric's delay is as stated; 0 is the end of the sweep
}

// series and shunt return z' and y' of the line in units of its high-frequency
// impedance, per s of delay, so that γ = √(z'y') and Zc/Z = √(z'/y'):
//
//	z' = jω + (1+j) 2 Skin √f        y' = jω (jf/f₀)^{−2δ/π}, tan δ = Dielectric/π
//
// Source: skin effect [ramo1994]; constant loss angle [kjartansson1979].
func (l Loss) series(f float64) complex128 {
	r := 2 * l.Skin * math.Sqrt(f)
	return complex(r, 2*math.Pi*f+r)
}

func (l Loss) shunt(f float64) complex128 {
	if f == 0 {
		return 0
	}
	y := complex(0, 2*math.Pi*f)
	if l.Dielectric == 0 {
		return y
	}
	e := -2 / math.Pi * math.Atan(l.Dielectric/math.Pi)
	return y * cmplx.Rect(math.Pow(f/l.At, e), e*math.Pi/2)
}

// Line returns γ·delay and Zc, as [network.Line] asks for them, of a line of the
// given high-frequency impedance, in Ω, and one-way delay, in s. At must be set
// if Dielectric is.
func (l Loss) Line(impedance, delay float64) func(f float64) (gammaLength, zc complex128) {
	return func(f float64) (complex128, complex128) {
		z, y := l.series(f), l.shunt(f)
		if f == 0 {
			return 0, complex(impedance, 0)
		}
		return cmplx.Sqrt(z*y) * complex(delay, 0), cmplx.Sqrt(z/y) * complex(impedance, 0)
	}
}

// ProfileOptions say how a profile is peeled. The zero value is a lossless line,
// a Kaiser window of β = 6, and the first half of the period.
type ProfileOptions struct {
	Window Window
	Loss   Loss
	Until  float64 // s, two-way; 0 is half the period

	// Layer is the two-way delay of a layer, in s, a whole part of the period
	// 1/Δf and at most 1/(2 f_max + Δf); 0 is near that. A line whose sections
	// are all whole layers, swept to just half of 1/Layer, comes out exactly under
	// a rectangular window.
	Layer float64
}

// Profile returns the impedance profile of a reflection S_ii over two-way time,
// in Ω, with multiple reflections and known loss taken off: [Peel] on the windowed
// impulse response. Each value stands at the middle of its layer. It starts a few
// rise times before the reference plane, where the line is zref.
//
// Each step shows as wide as the window's impulse ([Window.Resolution] with span
// 2 f_max), and two nearer than that show as one. Away from steps what is left is what
// the blur does to multiple reflections: third order, less than ρ³/2 of Z for five
// sections whose largest step is ρ (computed here, TestProfileOfSteppedLines),
// whatever the band; and the window's side lobes.
//
// Under Loss each layer behind the reference plane is taken off as a lossy line, for
// as far as is asked: set Until to the line's end. Noise then grows by the two-way
// loss to the layer. The line disperses the edges of its steps, which adds about
// half a per cent of Z at 4 dB there and back (TestProfileOfLossyLines). Resistance at 0 Hz is
// not in Loss: a resistive line's profile rises by it.
//
// What lies behind a total reflection, or further than half a period, is not seen.
//
// Source: [bruckstein1987]; taking off lossy layers in the frequency domain is the
// same step with each harmonic's own line matrix.
func (s Spectrum) Profile(zref float64, o ProfileOptions) (Response, error) {
	const op = "profile"
	last := len(s.S) - 1
	points := smoothSize(2*last + 2)
	if o.Layer != 0 {
		p := 1 / (s.Step * o.Layer)
		points = int(math.Round(p))
		if !(math.Abs(p-float64(points)) <= 1e-6*p) || points < 2*last+1 {
			return Response{}, fault(op, ErrLayer, "leave Layer at 0, or resample the sweep", "layers of %g s: %.6g in the period, %d harmonics", o.Layer, p, last)
		}
	}
	dt := 1 / (s.Step * float64(points))
	w := o.Window.orDefault()
	lead := int(math.Ceil(4 * w.Figures().HalfWidth / (2 * s.Stop()) / dt))
	until := o.Until
	if until == 0 {
		until = 0.5 / s.Step
	}
	layers := min(points-lead-1, int(math.Ceil(until/dt))) + lead
	if layers < 1 || lead >= points/4 {
		return Response{}, fault(op, ErrFew, "give more frequencies", "%d layers, %d of them before the reference plane", points, lead)
	}

	b := make([]complex128, points/2+1)
	weight := w.weights(last)
	for n, v := range weight {
		b[n] = s.S[n] * complex(v, 0)
	}
	var rho []float64
	var err error
	if o.Loss.Skin == 0 && o.Loss.Dielectric == 0 {
		whole := fourier.NewFFT(points).Sequence(nil, b)
		h := append(append([]float64(nil), whole[points-lead:]...), whole[:layers-lead]...)
		for k := range h {
			h[k] /= float64(points)
		}
		rho, err = Peel(h)
	} else {
		loss := o.Loss
		if loss.At == 0 {
			loss.At = s.Stop()
		}
		rho, err = peelLossy(b, weight, points, lead, layers, s.Step, loss)
	}
	return Response{(0.5 - float64(lead)) * dt, dt, Impedances(zref, rho)}, err
}

// peelLossy is [Peel] with waves held as harmonics: a and b at the present junction,
// b advanced and a delayed by the travel so far, so that the first sample of each
// is the mean of its harmonics. The first lead layers are lossless.
//
// A layer's chain matrix cosh γd, Zc sinh γd ..., in units of its own impedance, takes
// a and b at its entry to
//
//	a' = (p − (u+v)/2) a + ((u−v)/2) b        p = cosh γd, u = Zc sinh γd, v = sinh γd / Zc
//	b' = (p + (u+v)/2) b − ((u−v)/2) a
//
// and both then turn by e^{jωd}, which makes a lossless layer a → a, b → b e^{2jωd}.
//
// A lossy layer reflects by itself, since its Zc is not its high-frequency impedance,
// and the abrupt beginning of that comes with the first sample: it is taken off
// before the sample is read as a step. The data show it through the window, so the
// layer is given the window too.
func peelLossy(b []complex128, weight []float64, points, lead, layers int, step float64, loss Loss) ([]float64, error) {
	half := len(b)
	a := make([]complex128, half)
	dt := 1 / (step * float64(points))
	type matrix struct{ aa, ab, bb complex128 }
	lossy := make([]matrix, half)
	plain := make([]complex128, half)
	for n := range a {
		f := float64(n) * step
		a[n] = 1
		b[n] *= cmplx.Rect(1, -2*math.Pi*float64(n*lead%points)/float64(points)) // and b begins lead layers before it
		plain[n] = cmplx.Rect(1, 2*math.Pi*float64(n)/float64(points))
		gd, zc := loss.Line(1, dt/2)(f)
		p, q := cmplx.Cosh(gd), cmplx.Sinh(gd)
		u, v := zc*q, q/zc
		turn := cmplx.Rect(1, math.Pi*float64(n)/float64(points))
		seen := 0.0
		if n < len(weight) {
			seen = weight[n]
		}
		lossy[n] = matrix{turn * (p - (u+v)/2), turn * (u - v) / 2 * complex(seen, 0), turn * (p + (u+v)/2)}
	}
	first := func(c []complex128) float64 {
		s := real(c[0])
		for n := 1; n < half; n++ {
			s += 2 * real(c[n])
		}
		if points%2 == 0 {
			s -= real(c[half-1])
		}
		return s
	}
	// own[m] is the sum of what a lossy layer itself reflects up to m samples before
	// its entry: the window spreads the abrupt part of it.
	layer := make([]complex128, half)
	for n, m := range lossy {
		layer[n] = m.ab / m.bb / complex(float64(points), 0)
	}
	layer[half-1] = complex(real(layer[half-1]), 0)
	own := make([]float64, lead+1)
	whole := fourier.NewFFT(points).Sequence(nil, layer)
	sum := 0.0
	for m := lead; m >= 0; m-- {
		sum += whole[(points-m)%points]
		own[m] = sum
	}
	rho := make([]float64, 0, layers)
	for k := range layers {
		r := first(b)/first(a) - own[max(0, lead-k)]
		if !(math.Abs(r) <= 1+1e-9) {
			return rho, fault("peel", ErrPassive, "noise, loss told too high, or a wrong value at 0 Hz can do this: stop before it", "ρ = %.4g at junction %d", r, k)
		}
		rho = append(rho, r)
		if math.Abs(r) > 1-1e-9 {
			break
		}
		c := complex(r, 0)
		for n := range a {
			x, y := a[n]-c*b[n], b[n]-c*a[n]
			if k < lead {
				a[n], b[n] = x, y*plain[n]
			} else {
				m := lossy[n]
				a[n], b[n] = m.aa*x+m.ab*y, m.bb*y-m.ab*x
			}
		}
	}
	return rho, nil
}
