package material

import (
	"fmt"
	"math"
	"math/cmplx"
)

// AnnealedCopper is the conductivity of the International Annealed Copper
// Standard (100 % IACS) at 293.15 K, in S/m: 1/(17.241 nΩ m).
// Source: [iec60028].
const AnnealedCopper = 58e6

// CopperCoefficient is the linear temperature coefficient of the resistivity
// of annealed copper about 293.15 K, in 1/K. Source: [iec60028].
const CopperCoefficient = 0.00393

// ConductivityAt returns the conductivity, in S/m, at temperature kelvin of a
// metal with conductivity sigma20 at 293.15 K and linear coefficient of
// resistivity coefficient, in 1/K:
//
//	σ(T) = σ20 / (1 + α (T − 293.15 K))
//
// The straight line holds for copper within 1 % from about 220 K to 420 K
// (range from memory); the formula is [iec60028].
func ConductivityAt(sigma20, coefficient, kelvin float64) float64 {
	return sigma20 / (1 + coefficient*(kelvin-ReferenceTemperature))
}

// SkinDepth returns δ = 1/√(πfμ0σ), in m, at frequency f, in Hz, in a
// non-magnetic metal of conductivity sigma, in S/m.
//
// Source: [pozar2012] §1.7, eq. 1.60.
func SkinDepth(f, sigma float64) float64 { return 1 / math.Sqrt(math.Pi*f*mu0*sigma) }

// SurfaceResistance returns Rs = √(πfμ0/σ), in ohms, at frequency f, in Hz,
// of a thick, smooth, non-magnetic metal of conductivity sigma, in S/m.
//
// Source: [pozar2012] §1.7, eq. 1.125.
func SurfaceResistance(f, sigma float64) float64 { return math.Sqrt(math.Pi * f * mu0 / sigma) }

// Metal holds what Maxwell's equations ask of a metal.
type Metal struct {
	// Conductivity at 293.15 K, S/m. Zero stands for annealed copper, 58 MS/m;
	// +Inf is a perfect conductor.
	Conductivity float64
	// TemperatureCoefficient of the resistivity about 293.15 K, 1/K. Zero
	// stands for copper's 0.00393, which pure metals share within 20 % and
	// alloys stay below. It matters only where a temperature is given.
	TemperatureCoefficient float64
	// Permeability relative to vacuum, μ′ − jμ″; zero stands for 1. That of
	// nickel depends on its phosphorus, its grain and the frequency: use a
	// measured value.
	Permeability complex128
}

// At returns the conductivity, in S/m, at temperature kelvin; 0 K stands for
// 293.15 K.
func (m Metal) At(kelvin float64) float64 {
	s, a := m.Conductivity, m.TemperatureCoefficient
	if s == 0 {
		s = AnnealedCopper
	}
	if kelvin == 0 {
		return s
	}
	if a == 0 {
		a = CopperCoefficient
	}
	return ConductivityAt(s, a, kelvin)
}

// Wave returns the wave number k = √(jωμσ), in 1/m, and the wave impedance
// ζ = √(jωμ/σ), in ohms, of a plane wave in the metal at frequency f, in Hz,
// and temperature kelvin (0 K stands for 293.15 K). Displacement current is
// left out: at 1 THz in copper it is 1e-6 of the conduction current.
func (m Metal) Wave(f, kelvin float64) (k, zeta complex128) {
	mu := m.Permeability
	if mu == 0 {
		mu = 1
	}
	sigma := m.At(kelvin)
	if math.IsInf(sigma, 1) {
		return complex(math.Inf(1), math.Inf(1)), 0
	}
	jwmu := complex(0, 2*math.Pi*f*mu0) * mu
	k = cmplx.Sqrt(jwmu * complex(sigma, 0))
	return k, k / complex(sigma, 0)
}

// Layer is one plated layer.
type Layer struct {
	Metal
	Thickness float64 // m
}

// Conductor is a metal surface as a wave meets it: the bulk, what is plated
// on it, and how rough it is. The zero value is thick, smooth annealed copper
// at 20 °C.
type Conductor struct {
	Metal
	// Plating lists the layers, the one that faces the field first.
	Plating []Layer
	// Roughness of the surface that faces the field.
	Roughness Roughness
	// Temperature in K; zero stands for 293.15 K.
	Temperature float64
}

// Check reports every value that makes no sense, or nil.
func (c Conductor) Check() error {
	if err := c.Metal.check("bulk metal"); err != nil {
		return err
	}
	for i, l := range c.Plating {
		if err := l.Metal.check(fmt.Sprintf("plating layer %d", i+1)); err != nil {
			return err
		}
		if !(l.Thickness > 0) || math.IsInf(l.Thickness, 0) {
			return fmt.Errorf("plating layer %d: thickness is %g m; it must be above 0", i+1, l.Thickness)
		}
		if !(l.At(c.Temperature) > 0) {
			return fmt.Errorf("plating layer %d: resistivity is not positive at %g K: the straight line does not reach that far", i+1, c.Temperature)
		}
	}
	if !(c.Temperature >= 0) || math.IsInf(c.Temperature, 0) {
		return fmt.Errorf("temperature is %g K; it must be above 0, or 0 for 293.15 K", c.Temperature)
	}
	if !(c.At(c.Temperature) > 0) {
		return fmt.Errorf("bulk metal: resistivity is not positive at %g K: the straight line does not reach that far", c.Temperature)
	}
	return c.Roughness.Check()
}

func (m Metal) check(what string) error {
	if !(m.Conductivity >= 0) {
		return fmt.Errorf("%s: conductivity is %g S/m; it must be above 0, or 0 for copper", what, m.Conductivity)
	}
	if !(math.Abs(m.TemperatureCoefficient) <= 0.1) {
		return fmt.Errorf("%s: temperature coefficient is %g per kelvin; metals lie between 0 and about 0.007", what, m.TemperatureCoefficient)
	}
	if m.Permeability != 0 && (!(real(m.Permeability) > 0) || !(imag(m.Permeability) <= 0) || cmplx.IsInf(m.Permeability)) {
		return fmt.Errorf("%s: relative permeability is %g; it must have a real part above 0 and an imaginary part of 0 or below (μ′ − jμ″)", what, m.Permeability)
	}
	return nil
}

// surface is the metal that faces the field.
func (c Conductor) surface() Metal {
	if len(c.Plating) > 0 {
		return c.Plating[0].Metal
	}
	return c.Metal
}

// SkinDepth returns δ = 1/Re k, in m, in the metal that faces the field at
// frequency f, in Hz.
func (c Conductor) SkinDepth(f float64) float64 {
	k, _ := c.surface().Wave(f, c.Temperature)
	return 1 / real(k)
}

// SurfaceImpedance returns the impedance E/H, in ohms, that the smooth flat
// surface shows to a tangential field at frequency f, in Hz. Without plating
// it is ζ = (1+j)Rs. With plating each layer of thickness t transforms what
// lies under it like a length of line, which is exact for flat layers of any
// thickness, thin or thick beside their skin depth:
//
//	Z = ζ (Z′ + ζ tanh kt)/(ζ + Z′ tanh kt)
//
// On a round conductor it is the limit of skin depths small beside the
// radius. Roughness is not in it: see [Conductor.RoughnessFactor].
//
// Source: [ramo1994] ch. 3 (coated conductors).
func (c Conductor) SurfaceImpedance(f float64) complex128 {
	_, z := c.Metal.Wave(f, c.Temperature)
	for i := len(c.Plating) - 1; i >= 0; i-- {
		l := &c.Plating[i]
		k, zeta := l.Wave(f, c.Temperature)
		if zeta == 0 {
			z = 0
			continue
		}
		r := (z - zeta) / (z + zeta) * cmplx.Exp(-2*k*complex(l.Thickness, 0))
		z = zeta * (1 + r) / (1 - r)
	}
	return z
}

// RoughnessFactor returns the factor by which roughness multiplies the
// resistance of the surface at frequency f, in Hz.
func (c Conductor) RoughnessFactor(f float64) float64 {
	return c.Roughness.AtDepth(c.SkinDepth(f))
}
