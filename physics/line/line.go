// Package line computes uniform transmission lines: coax, microstrip,
// stripline and coplanar lines, as functions of frequency.
//
// Everything here is SI. The time convention is e^{+jωt}; a wave travelling
// towards +z goes as e^{−γz} with γ = α + jβ, α in Np/m of field (voltage)
// amplitude, β in rad/m. Permittivity is ε = ε′ − jε″ with tan δ = ε″/ε′.
package line

import (
	"fmt"
	"math/cmplx"
)

// Point is the state of a line's wanted mode at one frequency.
type Point struct {
	Frequency  float64    // Hz
	Gamma      complex128 // propagation constant γ = α + jβ, 1/m
	Impedance  complex128 // characteristic impedance, Ω
	Conductor  float64    // the conductors' share of α, roughness included, Np/m
	Dielectric float64    // the dielectrics' share of α, Np/m
	Roughness  float64    // factor by which roughness raises conductor loss, ≥ 1
}

// EffectivePermittivity returns (β/k0)², the squared ratio of the phase
// constant to that of free space.
func (p Point) EffectivePermittivity() float64 {
	n := imag(p.Gamma) * C0 / (2 * pi * p.Frequency)
	return n * n
}

// Delay returns the phase delay β/ω, in s/m.
func (p Point) Delay() float64 { return imag(p.Gamma) / (2 * pi * p.Frequency) }

// Static holds a line's quasi-static values: no loss, no dispersion.
type Static struct {
	Impedance             float64 // Ω
	EffectivePermittivity float64
}

// Mode is a higher mode of the line and the frequency from which it travels.
type Mode struct {
	Name   string  // "TE11", "surface wave TE1", "transverse resonance"
	Cutoff float64 // Hz
}

// A Warning says that a value was computed outside the range in which its
// source vouches for it, with the numbers.
type Warning struct {
	Model    string  // the formula or method
	Quantity string  // what is out of range, such as "width/height"
	Value    float64 // what it is
	Low      float64 // range of the source
	High     float64
	Effect   string // what to expect, such as "error up to 3 % in impedance"
}

func (w Warning) Error() string {
	return fmt.Sprintf("%s: %s is %.4g, outside %.4g to %.4g: %s", w.Model, w.Quantity, w.Value, w.Low, w.High, w.Effect)
}

// Line is a uniform line. Implementations are plain values; Check must return
// nil before the other methods are used.
type Line interface {
	// Check reports every dimension or constant that makes no sense.
	Check() error
	// At returns the wanted mode at frequency f > 0, in Hz.
	At(f float64) Point
	// Static returns the quasi-static impedance and effective permittivity.
	Static() Static
	// Modes returns the higher modes in order of cutoff, the lowest first.
	Modes() []Mode
	// Warnings lists what is out of its source's range at frequency f.
	Warnings(f float64) []Warning
	// Model names the formulas or the method, and their sources.
	Model() string
}

// ModeFreeLimit returns the lowest cutoff of l's higher modes, in Hz: below
// it only the wanted mode travels.
func ModeFreeLimit(l Line) float64 {
	if c, ok := l.(Coax); ok && c.Offset == 0 {
		return c.cutoffTE11() // the lowest for any diameters: one root instead of ten
	}
	return l.Modes()[0].Cutoff
}

// Chain returns the S-parameters S11 and S21 of length metres of a line with
// p's γ and impedance between ports of real reference z0, in Ω.
// S22 = S11 and S12 = S21.
//
// Source: [pozar2012] Table 4.2 applied to the ABCD matrix of a line.
func (p Point) Chain(length, z0 float64) (s11, s21 complex128) {
	gl := p.Gamma * complex(length, 0)
	r := (p.Impedance - complex(z0, 0)) / (p.Impedance + complex(z0, 0))
	e := cmplx.Exp(-gl)
	den := 1 - r*r*e*e
	return r * (1 - e*e) / den, e * (1 - r*r) / den
}
