// Package timedomain turns scattering parameters into what an edge or an impulse
// does in time: responses, impedance profiles, gates, and a test of causality.
//
// Symbols: S(f) a scattering parameter, N its highest harmonic, Δf the frequency
// step, W a window over frequency, u = f/f_max its argument, h(t) the impulse
// response in 1/s, ρ(t) the reflection of an edge, T = 1/Δf the period in which
// every response repeats, τ a time constant. Times are in s, frequencies in Hz,
// impedances in Ω; a time of a reflection is there and back, unless it says one
// way. The time convention is e^{+jωt}.
//
// Two transforms exist. The low-pass transform needs a sweep that reaches down
// to a few steps from 0 Hz, uses S(−f) = S*(f), and knows the sign of a
// reflection: [Of], then [Spectrum.Impulse], [Spectrum.Excite], [Spectrum.Profile].
// The [BandPass] transform takes any sweep and shows only where and how much.
//
// What no transform can do: see finer than about 1/span ([Window.Resolution]),
// tell a response from one a period T later, or know what lies beyond the sweep.
package timedomain

import (
	"errors"
	"fmt"
	"math"

	"linewright/physics/network"
)

// The rules an error of this package can say are broken, beside those of package
// network. Errors are of type [network.Error].
var (
	ErrGap     = errors.New("a low-pass transform needs a sweep that starts near 0 Hz")
	ErrPassive = errors.New("no passive line reflects more than it is given")
	ErrGate    = errors.New("a gate needs a start before its stop, and an edge no wider than it")
	ErrFew     = errors.New("the sweep has too few frequencies for this")
	ErrLayer   = errors.New("layers must divide the period 1/Δf, more often than there are harmonics on both sides")
)

func fault(op string, err error, help, format string, args ...any) error {
	return &network.Error{Op: op, Frequency: math.NaN(), Found: fmt.Sprintf(format, args...), Err: err, Help: help}
}

// A Response is a quantity over evenly spaced times.
type Response struct {
	Start, Step float64 // s
	Value       []float64
}

// Time returns the time of the k-th value, in s.
func (r Response) Time(k int) float64 { return r.Start + float64(k)*r.Step }

// At returns the value at time t, in s, on a straight line between neighbours;
// NaN outside.
func (r Response) At(t float64) float64 {
	x := (t - r.Start) / r.Step
	k := int(math.Floor(x))
	switch {
	case !(x >= 0 && x <= float64(len(r.Value)-1)):
		return math.NaN()
	case k == len(r.Value)-1:
		return r.Value[k]
	}
	return r.Value[k] + (x-float64(k))*(r.Value[k+1]-r.Value[k])
}

// Integral returns the trapezoidal integral of the values from time from to time
// to, in the values' unit times s: the area under a dip of ρ(t) gives
// [ExcessCapacitance].
func (r Response) Integral(from, to float64) float64 {
	sum, last, at := 0.0, r.At(from), from
	for k := range r.Value {
		if t := r.Time(k); t > from && t < to {
			sum += (t - at) * (r.Value[k] + last) / 2
			last, at = r.Value[k], t
		}
	}
	return sum + (to-at)*(r.At(to)+last)/2
}
