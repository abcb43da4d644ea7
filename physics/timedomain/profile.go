package timedomain

import (
	"math"
)

// Impedance returns the impedance, in Ω, of a reflection rho against zref:
// Zref (1+ρ)/(1−ρ).
func Impedance(zref, rho float64) float64 { return zref * (1 + rho) / (1 - rho) }

// Impedance returns the raw impedance profile, in Ω, of the reflection of an
// edge: each value taken as if nothing stood before it. It is right up to the
// first discontinuity and to first order behind; [Spectrum.Profile] takes the
// multiple reflections off.
func (r Response) Impedance(zref float64) Response {
	z := Response{r.Start, r.Step, make([]float64, len(r.Value))}
	for k, rho := range r.Value {
		z.Value[k] = Impedance(zref, rho)
	}
	return z
}

// A Stretch is a length of line, in m, with one velocity, in m/s.
type Stretch struct{ Length, Velocity float64 }

// A Path is what a wave runs through, stretch after stretch from the reference
// plane. The first and last velocity hold before and beyond it.
type Path []Stretch

// Position returns how far, in m, a wave has come in a one-way time t, in s. For
// a reflection seen at time t give t/2. An empty path has no positions: NaN.
func (p Path) Position(t float64) float64 {
	if len(p) == 0 {
		return math.NaN()
	}
	if t < 0 {
		return t * p[0].Velocity
	}
	x := 0.0
	for _, s := range p {
		d := s.Length / s.Velocity
		if t <= d {
			return x + t*s.Velocity
		}
		t -= d
		x += s.Length
	}
	return x + t*p[len(p)-1].Velocity
}

// Time returns the one-way time, in s, to position x, in m. It undoes Position.
func (p Path) Time(x float64) float64 {
	if len(p) == 0 {
		return math.NaN()
	}
	if x < 0 {
		return x / p[0].Velocity
	}
	t := 0.0
	for _, s := range p {
		if x <= s.Length {
			return t + x/s.Velocity
		}
		x -= s.Length
		t += s.Length / s.Velocity
	}
	return t + x/p[len(p)-1].Velocity
}
