package thermal

import (
	"errors"
	"fmt"
	"math"

	"linewright/physics/line"
)

// AirField is the field, peak, V/m, at which dry air at sea level breaks down
// in a gap of the order of a centimetre: 2.9 MV/m (29 kV/cm). [pozar2012] rounds it to 3 MV/m.
// Source: [itt1956], the handbook's value for coaxial lines, quoted second-hand.
const AirField = 2.9e6

// CoaxBreakdownPower returns the matched, peak (envelope) power, in W, at which
// the field at the inner conductor of a coaxial line reaches ed, peak, in V/m:
//
//	P = π a² Ed² √εr ln(b/a)/η0
//
// a and b are the radii, in m. It is V²/(2 Z0) with V = Ed a ln(b/a). At equal b it
// is greatest at b/a = √e, 30 Ω in air. It is a ceiling for smooth, clean,
// concentric conductors.
//
// Source: [pozar2012] §3.5, [ragan1948].
func CoaxBreakdownPower(a, b, er, ed float64) float64 {
	return math.Pi * a * a * ed * ed * math.Sqrt(er) * math.Log(b/a) / line.Eta0
}

// PeakPowerCeiling returns the greatest matched peak power, in W, of any
// coaxial line that carries no higher mode up to fmax, in Hz, with breakdown
// field ed, peak, in V/m: [CoaxBreakdownPower] at kc = 2/(a + b) and its
// optimum b/a = 2.09, whatever its impedance. The mean-circumference rule for
// the cutoff makes it about 5 % low.
//
// Source: [pozar2012] §3.5, who prints 5.8e12 (Ed/fmax)² W for air.
func PeakPowerCeiling(fmax, er, ed float64) float64 {
	const x = 2.093495237 // root of 1 + 1/x = 2 ln x
	a := line.C0 / (math.Pi * fmax * math.Sqrt(er) * (1 + x))
	return CoaxBreakdownPower(a, a*x, er, ed)
}

// MaximumVoltage returns the greatest peak voltage, in V, on a line of
// impedance z0, in Ω, with incident (forward) power p, in W, and voltage
// standing-wave ratio s: √(2 P Z0) (1 + |Γ|).
func MaximumVoltage(p, z0, s float64) float64 {
	return math.Sqrt(2*p*z0) * 2 * s / (s + 1)
}

// DeliveredFactor returns 1/s, the factor on the net delivered power at equal
// peak voltage when the line carries a standing wave of ratio s: Vmax² = 2 P Z0 s.
//
// Source: [ragan1948].
func DeliveredFactor(s float64) float64 { return 1 / s }

// DensityFactor returns the square of air's density relative to sea level, the
// trade's factor on peak power when the breakdown field goes as the density.
// In the standard atmosphere it is 0.55 at 3 km and 0.11 at 10 km; with gas held at
// the sea-level temperature, the pressure squared, 0.48 and 0.068.
//
// Source: common practice.
func DensityFactor(air Air) float64 { r := air.RelativeDensity(); return r * r }

const torrCM = SeaPressure / 760 * 1e-2 // 1 Torr·cm in Pa·m

// Paschen is Townsend's breakdown law of a uniform gas gap with secondary
// emission:
//
//	V = B pd/(ln(A pd) − ln ln(1 + 1/γ))
//
// with the product of pressure and gap pd in Pa·m. It is fitted where E/p is
// 100 to 800 V/(cm·Torr) in air, about 0.4 to 7 Torr·cm; towards larger gaps
// it flatters (17 % high at 1 cm and 1 atm), where [UniformFieldBreakdown] is the better law.
type Paschen struct {
	A     float64 // 1/(Pa·m)
	B     float64 // V/(Pa·m)
	Gamma float64 // secondary emission coefficient of the cathode
}

// AirPaschen returns the law for air: A = 15 /(cm·Torr), B = 365 V/(cm·Torr),
// γ = 0.01. Its minimum is 305 V at 0.84 Torr·cm; measured air has 327 V near
// 0.57 Torr·cm (from memory).
//
// Source: [lieberman2005] Table 14.1 (table number from memory).
func AirPaschen() Paschen { return Paschen{A: 15 / torrCM, B: 365 / torrCM, Gamma: 0.01} }

// Voltage returns the breakdown voltage, peak, in V, at pd, in Pa·m. Left of
// the law's pole it is +Inf: the law knows no breakdown there.
func (p Paschen) Voltage(pd float64) float64 {
	den := math.Log(p.A*pd) - math.Log(math.Log1p(1/p.Gamma))
	if den <= 0 {
		return math.Inf(1)
	}
	return p.B * pd / den
}

// Minimum returns the least breakdown voltage, in V, and the pd, in Pa·m, at
// which it stands:
//
//	pd = e ln(1 + 1/γ)/A,    V = e B ln(1 + 1/γ)/A
func (p Paschen) Minimum() (volts, pd float64) {
	pd = math.E * math.Log1p(1/p.Gamma) / p.A
	return p.B * pd, pd
}

// UniformFieldBreakdown returns the breakdown voltage, peak, in V, of a uniform
// gap, in m, in air:
//
//	V/kV = 24.22 δd + 6.08 √(δd)        δd = gap/cm · (293 K/T) · (p/760 Torr)
//
// It is good to about 3 % for gaps of 0.1 mm to 10 cm near atmospheric
// pressure (range from memory).
//
// Source: [naidu2013] ch. 2, quoted from memory.
func UniformFieldBreakdown(gap float64, air Air) float64 {
	dd := gap * 100 * 293 / air.Temperature * air.Pressure / SeaPressure
	return 1e3 * (24.22*dd + 6.08*math.Sqrt(dd))
}

// Law names the law that a breakdown voltage comes from.
type Law string

// The laws that [GapBreakdown] joins.
const (
	LawUniform Law = "uniform-field formula"
	LawPaschen Law = "Paschen"
	LawMinimum Law = "Paschen minimum"
)

// GapBreakdown returns the breakdown voltage, peak, in V, of a clean uniform
// air gap, in m, at any pressure, always the lower branch of what the laws allow:
// the lesser of [UniformFieldBreakdown] and [AirPaschen] above 5 Torr·cm, Paschen
// down to its minimum, and the minimum itself below, because a discharge then takes a
// longer way around. pd is reduced to 293 K, for density is what counts.
//
// Below the minimum multipactor may set in at less voltage; see
// [CautionMultipactor].
func GapBreakdown(gap float64, air Air) (float64, Law) {
	law := AirPaschen()
	pd := air.Pressure * gap * 293 / air.Temperature
	least, at := law.Minimum()
	if pd <= at {
		return least, LawMinimum
	}
	v := law.Voltage(pd)
	if u := UniformFieldBreakdown(gap, air); pd > 5*torrCM && u < v {
		return u, LawUniform
	}
	return v, LawPaschen
}

// PeakCase is a coaxial line under peak power.
type PeakCase struct {
	InnerRadius, OuterRadius float64 // radii of the gap's conductors, m
	Er                       float64 // of the filling; zero means 1

	// Field is the breakdown field of the filling, peak, V/m: of air at
	// sea-level density, or of a solid. Zero means AirField.
	Field float64
	// Solid says that a solid dielectric fills the line, so that the air's
	// density leaves Field alone; the result then also gives the power at
	// which a gas film at the inner conductor breaks down.
	Solid bool
	// Air at the inner conductor; the zero value is the standard sea level.
	// Give the conductor's temperature: hot gas is thin.
	Air Air
	// VSWR of the load; zero means 1.
	VSWR float64
}

// Peak is the breakdown estimate of a line.
type Peak struct {
	Field     float64 // at which the filling breaks down in this air, peak, V/m
	Voltage   float64 // between the conductors at breakdown, peak, V
	Matched   float64 // peak power of a matched line at breakdown, W
	Delivered float64 // net delivered peak power at breakdown with the VSWR, W
	Incident  float64 // incident peak power at breakdown with the VSWR, W
	// Film is the net delivered peak power at which a thin film of this air
	// on the inner conductor of a solid-filled line breaks down, W; zero for
	// air lines. It is usually far below Delivered.
	Film float64

	Warnings    []line.Warning
	Assumptions []Assumption
	Cautions    []Caution
}

// Breakdown returns the peak power at which the line's filling breaks down:
// [CoaxBreakdownPower] with the field in proportion to the air's density, and
// with the standing wave's voltage maximum at the worst place.
//
// These are ceilings of ideal geometry. A warning is given where the air gap
// is so thin that pressure times gap is below the Paschen minimum.
func (c PeakCase) Breakdown() (Peak, error) {
	if c.Er == 0 {
		c.Er = 1
	}
	if c.Field == 0 {
		c.Field = AirField
	}
	if c.Air == (Air{}) {
		c.Air = Air{SeaTemp, SeaPressure}
	}
	if c.VSWR == 0 {
		c.VSWR = 1
	}
	switch {
	case !(c.InnerRadius > 0 && c.OuterRadius > c.InnerRadius):
		return Peak{}, fmt.Errorf("thermal: radii %g and %g m: the outer must exceed the inner, both positive", c.InnerRadius, c.OuterRadius)
	case !(c.Er >= 1):
		return Peak{}, fmt.Errorf("thermal: relative permittivity %g: must be 1 or more", c.Er)
	case !(c.Field > 0):
		return Peak{}, fmt.Errorf("thermal: breakdown field %g V/m: must be positive", c.Field)
	case !(c.VSWR >= 1):
		return Peak{}, fmt.Errorf("thermal: VSWR %g: must be 1 or more", c.VSWR)
	case !(c.Air.Temperature > 0 && c.Air.Pressure >= 0):
		return Peak{}, fmt.Errorf("thermal: air of %g K and %g Pa: the temperature must be positive, the pressure not negative", c.Air.Temperature, c.Air.Pressure)
	case c.Air.Pressure == 0:
		return Peak{}, errors.New("thermal: no gas breakdown in vacuum: multipactor decides there; use ECSS-E-ST-20-01C and qualified practice")
	}
	density := c.Air.RelativeDensity()
	p := Peak{Field: c.Field}
	if !c.Solid {
		p.Field *= density
	}
	share := (c.VSWR + 1) * (c.VSWR + 1) / (4 * c.VSWR) // incident over net power
	p.Voltage = p.Field * c.InnerRadius * math.Log(c.OuterRadius/c.InnerRadius)
	p.Matched = CoaxBreakdownPower(c.InnerRadius, c.OuterRadius, c.Er, p.Field)
	p.Delivered = p.Matched * DeliveredFactor(c.VSWR)
	p.Incident = p.Delivered * share
	p.Assumptions = []Assumption{AssumesSmooth, AssumesStaticRF, AssumesGas}
	if c.Solid {
		p.Film = CoaxBreakdownPower(c.InnerRadius, c.OuterRadius, c.Er, AirField*density/c.Er) * DeliveredFactor(c.VSWR)
		p.Assumptions = append(p.Assumptions, AssumesFilled)
	}
	p.Cautions = []Caution{CautionEstimate, CautionVoltage, CautionExposure, CautionMating}
	if c.Air.Pressure < 0.9*SeaPressure {
		p.Cautions = append(p.Cautions, CautionPressure)
	}
	_, at := AirPaschen().Minimum()
	if pd := c.Air.Pressure * (c.OuterRadius - c.InnerRadius) * 293 / c.Air.Temperature; pd < at {
		p.Warnings = append(p.Warnings, line.Warning{Model: "breakdown field proportional to density", Quantity: "pressure × gap, Pa·m",
			Value: pd, Low: at, High: math.Inf(1), Effect: "below the Paschen minimum: longer paths and multipactor decide"})
		p.Cautions = append(p.Cautions, CautionMultipactor)
	}
	return p, nil
}
