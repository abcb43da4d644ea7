package timedomain

import (
	"fmt"
	"math"
	"math/cmplx"

	"linewright/physics/network"
)

// A Spectrum is a scattering parameter at the harmonics 0, Step, 2·Step ... , what
// the low-pass transform works on. S[0] is real; negative frequencies are the
// conjugates.
type Spectrum struct {
	Step float64 // Hz
	S    []complex128
}

// Stop returns the highest frequency, in Hz.
func (s Spectrum) Stop() float64 { return float64(len(s.S)-1) * s.Step }

// DC says how a sweep that does not reach 0 Hz is continued to it. The zero value
// continues smoothly.
type DC struct {
	// Known says that S at 0 Hz is Value: from a resistance, say. The points
	// between, if any are missing, bend smoothly to it.
	Known bool
	Value float64

	// Causal chooses the value for which nothing arrives before time zero: the
	// least mean square of the impulse response over the quarter period before it.
	// It needs a response that has died three quarters of a period after time
	// zero, and repairs what a poor lowest point would spoil.
	Causal bool
}

// Of returns the spectrum of S_ij of a network, continued to 0 Hz.
//
// A sweep at harmonics of its own step is taken as it stands; another one is
// interpolated onto the nearest harmonic grid with the same last frequency
// ([network.Network.Interpolate]). The smooth continuation uses S(−f) = S*(f): real
// part even, imaginary part odd, a spline through the mirrored data with their
// common delay removed. A loss that varies as √f is not smooth at 0 Hz; the
// error is of its order at the first point.
//
// It refuses a sweep that starts above a tenth of its end (ErrGap), and complex
// references, which have no such symmetry.
//
// Source: continuation by conjugate symmetry [dunsmore2020] ch. 4; choice of
// the value at 0 Hz by the response before time zero is the practice of [ieee370]
// (both from memory).
func Of(n network.Network, i, j int, dc DC) (Spectrum, error) {
	const op = "low-pass spectrum"
	if err := n.Check(); err != nil {
		return Spectrum{}, err
	}
	if i < 0 || j < 0 || i >= n.Ports || j >= n.Ports {
		return Spectrum{}, fault(op, network.ErrPort, "", "S[%d][%d] of %d ports", i, j, n.Ports)
	}
	if imag(n.Reference[i]) != 0 || imag(n.Reference[j]) != 0 {
		return Spectrum{}, fault(op, network.ErrReference, "renormalise to real references", "references %v and %v", n.Reference[i], n.Reference[j])
	}
	f := n.Frequency
	if len(f) < 3 {
		return Spectrum{}, fault(op, network.ErrSpacing, "give three frequencies at least", "%d frequencies", len(f))
	}
	last := f[len(f)-1]
	if f[0] > last/10 {
		return Spectrum{}, fault(op, ErrGap, "measure from lower down, or use BandPass", "the sweep runs from %g to %g GHz", f[0]/1e9, last/1e9)
	}
	one := network.New(1, f, n.Reference[i])
	copy(one.S, n.Trace(i, j))

	step := (last - f[0]) / float64(len(f)-1)
	first := math.Round(f[0] / step)
	harmonic := math.Abs(f[0]-first*step) < 1e-4*step
	for k := range f {
		harmonic = harmonic && math.Abs(f[k]-f[0]-float64(k)*step) < 1e-4*step
	}
	count := int(math.Round(last / step)) // the highest harmonic
	if !harmonic {
		step = last / float64(count)
		first = math.Ceil(f[0]/step - 1e-9)
	}
	missing := int(first)
	s := Spectrum{step, make([]complex128, count+1)}
	grid := make([]float64, 0, count+1)
	for k := range s.S {
		if k < missing || !harmonic {
			grid = append(grid, float64(k)*step)
		}
	}
	if harmonic {
		copy(s.S[missing:], one.S)
	} else {
		grid[count] = last
	}
	var warning error
	if len(grid) > 0 {
		filled, err := one.Interpolate(grid, network.Interpolation{ToZero: true})
		if len(filled.S) == 0 {
			return Spectrum{}, err
		}
		warning = err
		copy(s.S, filled.S)
	}
	s.S[0] = complex(real(s.S[0]), 0)
	if missing == 0 {
		return s, warning
	}
	switch {
	case dc.Known:
		s.bend(missing, dc.Value-real(s.S[0]))
	case dc.Causal:
		s.bend(missing, s.causalShift(missing))
	}
	if cmplx.IsNaN(s.S[0]) {
		return s, fmt.Errorf("%s: the continuation to 0 Hz is no number", op)
	}
	return s, warning
}

// bend adds by to S(0), and less to the other missing points: by·(1 − (n/m)²),
// which is even in f, so that the symmetry stands.
func (s Spectrum) bend(missing int, by float64) {
	for n := range missing {
		x := float64(n) / float64(missing)
		s.S[n] += complex(by*(1-x*x), 0)
	}
}

// causalShift returns the bend that leaves least before time zero. The impulse
// response is h + by·p, with p that of the bend alone; least squares over the
// quarter period before time zero, less the window's reach, gives −Σhp/Σp².
func (s Spectrum) causalShift(missing int) float64 {
	unit := Spectrum{s.Step, make([]complex128, len(s.S))}
	unit.bend(missing, 1)
	period := 1 / s.Step
	o := Options{Lead: period / 4}
	h, p := s.Impulse(o), unit.Impulse(o)
	reach := -8 / s.Stop()
	if reach < -period/8 {
		reach = -period / 8
	}
	var hp, pp float64
	for k := range h.Value {
		if h.Time(k) > reach {
			break
		}
		hp += h.Value[k] * p.Value[k]
		pp += p.Value[k] * p.Value[k]
	}
	return -hp / pp
}
