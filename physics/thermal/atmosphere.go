package thermal

import (
	"fmt"
	"math"
)

// Constants of the standard atmosphere. Source: [iso2533], Table 1 and §2.
const (
	Gravity     = 9.80665   // standard acceleration of free fall, m/s²
	GasConstant = 287.05287 // specific gas constant of dry air, J/(kg·K)
	SeaPressure = 101325.0  // Pa
	SeaTemp     = 288.15    // K
	SeaDensity  = 1.225     // kg/m³
	earthRadius = 6356766.0 // nominal radius of the Earth, m
	lowestISA   = -2000.0   // geopotential altitude at which the tabulation begins, m
	highestISA  = 80000.0   // and ends, m
)

// layers of the standard atmosphere: base geopotential altitude, m, and the
// temperature gradient above it, K/m. Source: [iso2533] Table 4.
var layers = [...]struct{ base, lapse float64 }{
	{0, -6.5e-3}, {11e3, 0}, {20e3, 1e-3}, {32e3, 2.8e-3}, {47e3, 0}, {51e3, -2.8e-3}, {71e3, -2e-3},
}

// Geopotential returns the geopotential altitude H, in m, of the geometric
// altitude z, in m:
//
//	H = r z/(r + z)        r = 6 356 766 m
//
// Source: [iso2533] eq. 8.
func Geopotential(z float64) float64 { return earthRadius * z / (earthRadius + z) }

// Geometric returns the geometric altitude, in m, of the geopotential altitude
// h, in m. It is the inverse of [Geopotential].
func Geometric(h float64) float64 { return earthRadius * h / (earthRadius - h) }

// ISA returns the standard atmosphere at geometric altitude z, in m, the
// height a map or an altitude limit in an enquiry means:
//
//	p = pb (T/Tb)^(−g/(R L))    in a layer of gradient L, T = Tb + L (H − Hb)
//	p = pb exp(−g (H − Hb)/(R T))    in an isothermal layer
//
// It is the International Standard Atmosphere (below 32 km the same as the U.S. Standard Atmosphere 1976), of dry
// air at rest; weather moves the pressure on the ground by ±5 % and the
// density by ±20 % (common practice). An altitude outside −2 to 80 km
// geopotential is an error.
//
// Source: [iso2533] eq. 12 and 13.
func ISA(z float64) (Air, error) { return ISAGeopotential(Geopotential(z)) }

// ISAGeopotential is [ISA] at a geopotential altitude h, in m, by which
// aviation tables are ordered.
func ISAGeopotential(h float64) (Air, error) {
	if !(h >= lowestISA && h <= highestISA) {
		return Air{}, fmt.Errorf("thermal: geopotential altitude %.6g m: the standard atmosphere is tabulated from %.0f to %.0f m", h, lowestISA, highestISA)
	}
	t, p := SeaTemp, SeaPressure
	for i, l := range layers {
		top := h
		if i+1 < len(layers) && h > layers[i+1].base {
			top = layers[i+1].base
		}
		dh := top - l.base
		if l.lapse == 0 {
			p *= math.Exp(-Gravity * dh / (GasConstant * t))
		} else {
			next := t + l.lapse*dh
			p *= math.Pow(next/t, -Gravity/(GasConstant*l.lapse))
			t = next
		}
		if top == h {
			break
		}
	}
	return Air{Temperature: t, Pressure: p}, nil
}

// Air is dry air in a state of temperature and pressure, an ideal gas. Its
// methods give the transport properties that convection and breakdown need.
//
// The range is that of the viscosity law, 100 to 1900 K, at pressures where a
// gas is a continuum (see [Air.MeanFreePath]). Humidity is not included: at 40 °C
// and saturation it raises the conductivity by about 1 % (from memory).
type Air struct {
	Temperature float64 // K
	Pressure    float64 // Pa
}

// Density returns p/(R T), in kg/m³.
func (a Air) Density() float64 { return a.Pressure / (GasConstant * a.Temperature) }

// RelativeDensity returns the density relative to that of the standard
// atmosphere at sea level, 1.225 kg/m³.
func (a Air) RelativeDensity() float64 { return a.Density() / SeaDensity }

// Viscosity returns the dynamic viscosity after Sutherland, in Pa·s:
//
//	μ = βs T^(3/2)/(T + S)        βs = 1.458e-6 kg/(m·s·K^½), S = 110.4 K
//
// Source: [iso2533] eq. 22.
func (a Air) Viscosity() float64 {
	return 1.458e-6 * math.Pow(a.Temperature, 1.5) / (a.Temperature + 110.4)
}

// Conductivity returns the thermal conductivity, in W/(m·K):
//
//	λ = 2.648151e-3 T^(3/2)/(T + 245.4·10^(−12/T))
//
// Source: [iso2533] eq. 24.
func (a Air) Conductivity() float64 {
	return 2.648151e-3 * math.Pow(a.Temperature, 1.5) / (a.Temperature + 245.4*math.Pow(10, -12/a.Temperature))
}

// HeatCapacity returns the specific heat at constant pressure, in J/(kg·K), of
// the ideal gas, by counting: rotation and translation of the diatomic
// molecules, translation of argon (0.93 % of the volume), and the vibration of
// nitrogen (θ = 3390 K) and oxygen (θ = 2270 K):
//
//	cp/R = 7/2 − x_Ar + Σ x (θ/T)² e^(θ/T)/(e^(θ/T) − 1)²
//
// It lies within 0.4 % of tabulated real air between 250 and 600 K.
//
// Source: [vincenti1965] ch. IV, characteristic temperatures (from memory);
// checked against [incropera2007] Table A.4.
func (a Air) HeatCapacity() float64 {
	vib := func(theta float64) float64 {
		u := theta / a.Temperature
		s := math.Sinh(u / 2)
		return u * u / (4 * s * s)
	}
	return GasConstant * (3.5 - 0.0093 + 0.7808*vib(3390) + 0.2095*vib(2270))
}

// KinematicViscosity returns μ/ρ, in m²/s.
func (a Air) KinematicViscosity() float64 { return a.Viscosity() / a.Density() }

// Diffusivity returns the thermal diffusivity λ/(ρ cp), in m²/s.
func (a Air) Diffusivity() float64 { return a.Conductivity() / (a.Density() * a.HeatCapacity()) }

// Prandtl returns μ cp/λ, a ratio, near 0.7 and independent of pressure.
func (a Air) Prandtl() float64 { return a.Viscosity() * a.HeatCapacity() / a.Conductivity() }

// MeanFreePath returns the mean free path of the molecules, in m:
//
//	ℓ = (μ/p) √(π R T/2)
//
// Source: kinetic theory of gases, [vincenti1965] ch. I.
func (a Air) MeanFreePath() float64 {
	return a.Viscosity() / a.Pressure * math.Sqrt(math.Pi*GasConstant*a.Temperature/2)
}
