package line

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"linewright/physics/material"
)

// Coax is a line of two round conductors, one inside the other. Only the two
// diameters are needed: the zero values of the rest are vacuum, thick smooth
// copper at 20 °C, and a common axis.
type Coax struct {
	InnerDiameter float64 // of the centre conductor, over its plating, m
	OuterDiameter float64 // inside the outer conductor, on its plating, m
	Filling       material.Dielectric
	Inner, Outer  material.Conductor
	// InnerBore is the inside diameter of a tubular centre conductor, m; zero
	// stands for a solid one.
	InnerBore float64
	// WallThickness of the outer conductor, plating included, m; zero stands
	// for a thick one.
	WallThickness float64
	// Offset between the two axes (eccentricity), m.
	Offset float64
	// BraidFactor multiplies the resistance of the outer conductor, for a
	// braid or a served foil against a smooth tube; zero stands for 1. Braids
	// of flexible cables lie between about 1.5 and 3 (common practice): it is
	// to be fitted to a measured cable.
	BraidFactor float64
}

var _ Line = Coax{}

// Check reports every dimension or constant that makes no sense.
func (c Coax) Check() error {
	finite := func(x float64) bool { return x >= 0 && !math.IsInf(x, 0) }
	mm := func(x float64) string { return fmt.Sprintf("%.6g mm", x*1e3) }
	plated := func(ls []material.Layer) (sum float64) {
		for _, l := range ls {
			sum += l.Thickness
		}
		return sum
	}
	switch {
	case !finite(c.InnerDiameter) || c.InnerDiameter == 0:
		return fmt.Errorf("coax: inner diameter is %s; a line needs a centre conductor", mm(c.InnerDiameter))
	case !finite(c.OuterDiameter) || !(c.OuterDiameter > c.InnerDiameter):
		return fmt.Errorf("coax: outer diameter is %s; it must be above the inner diameter, %s", mm(c.OuterDiameter), mm(c.InnerDiameter))
	case !finite(c.Offset) || !(c.InnerDiameter+2*c.Offset < c.OuterDiameter):
		return fmt.Errorf("coax: offset is %s; between 0 and %s the conductors do not touch", mm(c.Offset), mm((c.OuterDiameter-c.InnerDiameter)/2))
	case !finite(c.InnerBore) || !(c.InnerBore+2*plated(c.Inner.Plating) < c.InnerDiameter):
		return fmt.Errorf("coax: a bore of %s and plating of %s leave no metal in an inner diameter of %s", mm(c.InnerBore), mm(plated(c.Inner.Plating)), mm(c.InnerDiameter))
	case !finite(c.WallThickness) || c.WallThickness > 0 && !(plated(c.Outer.Plating) < c.WallThickness):
		return fmt.Errorf("coax: wall thickness is %s with plating of %s; leave it 0 for a thick wall", mm(c.WallThickness), mm(plated(c.Outer.Plating)))
	case !(c.BraidFactor == 0 || c.BraidFactor >= 1) || math.IsInf(c.BraidFactor, 0):
		return fmt.Errorf("coax: braid factor is %g; it must be 1 or above", c.BraidFactor)
	}
	if err := c.Filling.Check(); err != nil {
		return fmt.Errorf("coax: filling: %w", err)
	}
	if err := c.Inner.Check(); err != nil {
		return fmt.Errorf("coax: inner conductor: %w", err)
	}
	if err := c.Outer.Check(); err != nil {
		return fmt.Errorf("coax: outer conductor: %w", err)
	}
	return nil
}

// AtTemperature returns the line with its metals and its filling at kelvin.
// Dimensions stay: thermal expansion is not in it.
func (c Coax) AtTemperature(kelvin float64) Coax {
	c.Inner.Temperature, c.Outer.Temperature, c.Filling.Temperature = kelvin, kelvin, kelvin
	return c
}

// geometry returns Λ, which is ln(D/d) for a common axis and in general
//
//	Λ = acosh((D² + d² − 4e²)/2Dd)
//
// so that L = (μ0/2π)Λ, C = 2πε/Λ and Z0 = (η0/2π√εr)Λ.
//
// Source: [smythe1968] ch. IV. The form below keeps its digits at D/d near 1.
func (c Coax) geometry() float64 {
	gap := c.OuterDiameter - c.InnerDiameter
	t := (gap - 2*c.Offset) * (gap + 2*c.Offset) / (2 * c.OuterDiameter * c.InnerDiameter)
	return math.Log1p(t + math.Sqrt(t*(2+t)))
}

// permittivity returns ε′ without dispersion: that of the point of the fit.
func (c Coax) permittivity() float64 { return real(c.Filling.At(max(c.Filling.FittedAt, 1))) }

// Static returns the lossless impedance (η0/2π√εr)Λ, Λ = ln(D/d) for a common
// axis. A dispersive filling counts with its value at the frequency of its
// fit.
//
// Source: [pozar2012] Table 2.1.
func (c Coax) Static() Static {
	er := c.permittivity()
	return Static{Impedance: Eta0 / (2 * pi) * c.geometry() / math.Sqrt(er), EffectivePermittivity: er}
}

// Capacitance returns C′ = 2πε/Λ of the lossless line, F/m.
func (c Coax) Capacitance() float64 { return 2 * pi * Eps0 * c.permittivity() / c.geometry() }

// Inductance returns the external L′ = (μ0/2π)Λ, H/m: without the field inside
// the conductors.
func (c Coax) Inductance() float64 { return Mu0 / (2 * pi) * c.geometry() }

// Series returns the series impedance per metre, in Ω/m, at frequency f > 0:
// R′ + jωL′ with the internal impedance of both conductors, exact for round
// conductors from low frequency up (see [Coax.At]).
func (c Coax) Series(f float64) complex128 {
	z, _, _, _ := c.series(f)
	return z
}

// Shunt returns the shunt admittance per metre, jωC′ with complex ε, in S/m.
func (c Coax) Shunt(f float64) complex128 {
	return complex(0, 2*pi*f*2*pi*Eps0/c.geometry()) * c.Filling.At(f)
}

func (c *Coax) series(f float64) (z, zi, zo complex128, roughness float64) {
	a, b := c.InnerDiameter/2, c.OuterDiameter/2
	zi = wireImpedance(&c.Inner, a, c.InnerBore/2, f)
	zo = tubeImpedance(&c.Outer, b, c.WallThickness, f)
	if c.Offset > 0 {
		ki, ko := crowding(a, b, c.Offset)
		zi *= complex(ki, 0)
		zo *= complex(ko, 0)
	}
	if c.BraidFactor > 1 {
		zo = complex(real(zo)*c.BraidFactor, imag(zo))
	}
	smooth := real(zi) + real(zo)
	zi, _ = rough(zi, &c.Inner, f)
	zo, _ = rough(zo, &c.Outer, f)
	roughness = 1
	if r := real(zi) + real(zo); r > smooth {
		roughness = r / smooth
	}
	return complex(0, 2*pi*f*Mu0/(2*pi)*c.geometry()) + zi + zo, zi, zo, roughness
}

// At returns the TEM mode at frequency f > 0, in Hz:
//
//	γ = √(Z′Y′)   Z = √(Z′/Y′)   Z′ = jω(μ0/2π)Λ + Zi + Zo   Y′ = jω 2πε/Λ
//
// Zi and Zo are the exact internal impedances of the round conductors, so
// that resistance and internal inductance are right from the lowest
// frequencies, where the current fills the metal, to the highest, where it
// clings to the surface:
//
//	solid wire  Zi = ζ/(2πa) · I0(ka)/I1(ka)
//	tube        Zo = ζ/(2πb) · [I0(kb)K1(kc) + K0(kb)I1(kc)] / [I1(kc)K1(kb) − I1(kb)K1(kc)]
//
// with c the outside radius of the tube; plated layers are further shells of
// metal, exact at any thickness. Roughness multiplies the impedance by its
// causal factor (Huray models) or the resistance by its real one. With an
// offset, Zi and Zo are raised by the uneven surface current.
//
// In the result, Dielectric is the attenuation that the filling gives with
// perfect conductors, and Conductor is the rest of α.
//
// Sources: [schelkunoff1934]; [pozar2012] §2.2.
func (c Coax) At(f float64) Point {
	z, _, _, k := c.series(f)
	y := c.Shunt(f)
	gamma := cmplx.Sqrt(z * y)
	dielectric := 2 * pi * f / C0 * -imag(cmplx.Sqrt(c.Filling.At(f)))
	return Point{
		Frequency:  f,
		Gamma:      gamma,
		Impedance:  cmplx.Sqrt(z / y),
		Conductor:  real(gamma) - dielectric,
		Dielectric: dielectric,
		Roughness:  k,
	}
}

// SkinEffectLoss returns the conductors' attenuation, in Np/m, at frequency f,
// in Hz, by the closed form of all textbooks, for thick, smooth, unplated
// conductors with a common axis:
//
//	α = (Rs_i/πd + Rs_o/πD) / 2Z0
//
// It is the limit of [Coax.At] for skin depths small beside the radii; at
// δ = a/50 it lies 1 % below. No real cable of these diameters and metals
// loses less.
//
// Source: [pozar2012] Table 2.1, with α = R/2Z0 of §2.7.
func (c Coax) SkinEffectLoss(f float64) float64 {
	ri := material.SurfaceResistance(f, c.Inner.At(c.Inner.Temperature)) / (pi * c.InnerDiameter)
	ro := material.SurfaceResistance(f, c.Outer.At(c.Outer.Temperature)) / (pi * c.OuterDiameter)
	z0 := Eta0 / (2 * pi) * math.Log(c.OuterDiameter/c.InnerDiameter) / math.Sqrt(c.permittivity())
	return (ri + ro) / (2 * z0)
}

// Modes returns the ten higher modes of lowest cutoff, and TM01.
func (c Coax) Modes() []Mode { return c.HigherModes(10) }

// cutoffTE11 returns the cutoff of TE11 between conductors on a common axis, Hz.
func (c Coax) cutoffTE11() float64 {
	return c.cutoff(CutoffNumber(true, 1, 1, c.InnerDiameter, c.OuterDiameter))
}

// HigherModes returns the count ≥ 1 higher modes of lowest cutoff, lowest
// first, and TM01 if it is not among them. The cutoffs are exact: for a common
// axis see [CutoffNumber]. An offset splits each mode of N > 0 into one that
// is even about the plane of the axes (H_z of TE, E_z of TM) and one that is
// odd, named "TE11 even" and "TE11 odd"; the mode-free limit hardly moves (an
// offset of a tenth of the gap of a 50 Ω air line shifts the lower of the two
// TE11 by 1e-5, the other by 2e-3). A dispersive filling counts with its
// permittivity at the cutoff.
func (c Coax) HigherModes(count int) []Mode {
	var modes []Mode
	if c.Offset > 0 {
		for _, m := range eccentricModes(c.InnerDiameter/2, c.OuterDiameter/2, c.Offset, max(count, 1)) {
			modes = append(modes, Mode{Name: m.name, Cutoff: c.cutoff(m.kc)})
		}
		return modes
	}
	ms := CircularModes(c.InnerDiameter, c.OuterDiameter, max(count, 1))
	if !slices.ContainsFunc(ms, func(m CircularMode) bool { return m.Name() == "TM01" }) {
		ms = append(ms, CircularMode{N: 0, M: 1, Kc: CutoffNumber(false, 0, 1, c.InnerDiameter, c.OuterDiameter)})
	}
	for _, m := range ms {
		modes = append(modes, Mode{Name: m.Name(), Cutoff: c.cutoff(m.Kc)})
	}
	return modes
}

// lowestCutoff returns the cutoff of the first higher mode, in Hz.
func (c *Coax) lowestCutoff() float64 {
	a, b := c.InnerDiameter/2, c.OuterDiameter/2
	if c.Offset > 0 {
		return c.cutoff(min(eccentricCutoffs(true, false, a, b, c.Offset, 1)[0], eccentricCutoffs(true, true, a, b, c.Offset, 1)[0]))
	}
	return c.cutoff(CutoffNumber(true, 1, 1, 2*a, 2*b))
}

func (c Coax) cutoff(kc float64) float64 {
	f0 := C0 * kc / (2 * pi)
	f := f0 / math.Sqrt(c.permittivity())
	for range 50 { // ε′ falls by less than 1 % per octave: each round gains two digits
		next := f0 / math.Sqrt(real(c.Filling.At(f)))
		if math.Abs(next-f) <= 1e-15*f {
			break
		}
		f = next
	}
	return f
}

// Evanescent returns the attenuation, in Np/m, of a lossless line's higher
// mode of cutoff frequency cutoff at frequency f, both in Hz:
// √(kc² − k²), 0 above cutoff.
//
// Source: [pozar2012] §3.1.
func (c Coax) Evanescent(cutoff, f float64) float64 {
	kc := 2 * pi * cutoff / C0 * math.Sqrt(real(c.Filling.At(cutoff)))
	k := 2 * pi * f / C0 * math.Sqrt(real(c.Filling.At(f)))
	if !(k < kc) {
		return 0
	}
	return math.Sqrt((kc - k) * (kc + k))
}

// Warnings lists what is out of its source's range at frequency f, in Hz.
func (c Coax) Warnings(f float64) []Warning {
	var ws []Warning
	add := func(model, quantity string, value, low, high float64, effect string) {
		if !(value >= low && value <= high) {
			ws = append(ws, Warning{Model: model, Quantity: quantity, Value: value, Low: low, High: high, Effect: effect})
		}
	}
	// TE11 has less than one period on the outer wall, so kc ≥ 1/b for a
	// common axis; an offset lowers it by less than half. Only near it is
	// the exact cutoff worth its price.
	if f > 0.5*C0/(pi*c.OuterDiameter*math.Sqrt(c.permittivity())) {
		add("TEM mode", "frequency, Hz", f, 0, c.lowestCutoff(), "TE11 travels too; the values hold for the TEM mode alone")
	}
	if c.Offset > 0 {
		depth := max(c.Inner.SkinDepth(f)/c.InnerDiameter, c.Outer.SkinDepth(f)/c.OuterDiameter)
		if c.WallThickness > 0 {
			depth = max(depth, c.Outer.SkinDepth(f)/(4*c.WallThickness))
		}
		ki, ko := crowding(c.InnerDiameter/2, c.OuterDiameter/2, c.Offset)
		add("current crowding of eccentric conductors", "skin depth over diameter", depth, 0, 0.05,
			fmt.Sprintf("resistance up to %.2g %% too high", 100*(max(ki, ko)-1)))
	}
	for _, side := range []struct {
		name string
		c    *material.Conductor
	}{{"inner", &c.Inner}, {"outer", &c.Outer}} {
		if r := side.c.Roughness; !r.Smooth() && (r.Model == material.Hammerstad || r.Model == material.Groiss) {
			add(r.Model.String()+" roughness", side.name+" rms height over skin depth", r.RMS/side.c.SkinDepth(f), 0, 1,
				"the factor saturates at 2; very rough metal loses more")
		}
	}
	if c.Filling.FittedAt > 0 && c.Filling.LossTangent > 0 {
		add("wideband Debye", "frequency, Hz", f, 1e4, 1e12, "the loss leaves its plateau; fitted data do not reach there")
	}
	return ws
}

// Model names the method and its sources.
func (c Coax) Model() string {
	return "coax: exact round conductors (Schelkunoff 1934), exact cutoffs (Marcuvitz 1951)"
}

// Solve returns the line with what chosen so that [Coax.Static] has the given
// impedance, in Ω; all else stays. It takes [InnerDiameter], [OuterDiameter],
// [Permittivity] and [Offset]. An impedance that no value gives is a
// [*ReachError] with the attainable range.
func (c Coax) Solve(what Parameter, impedance float64) (Coax, error) {
	var set func(x float64) Coax
	var lo, hi float64
	const near = 1e-9 // how close the conductors may come, of the diameter
	switch what {
	case InnerDiameter:
		set = func(x float64) Coax { c.InnerDiameter = x; return c }
		hi = (c.OuterDiameter - 2*c.Offset) * (1 - near)
		lo = hi * 1e-6
	case OuterDiameter:
		set = func(x float64) Coax { c.OuterDiameter = x; return c }
		lo = (c.InnerDiameter + 2*c.Offset) * (1 + near)
		hi = lo * 1e6
	case Permittivity:
		set = func(x float64) Coax { c.Filling.Permittivity = x; return c }
		lo, hi = 1, 1000
	case Offset:
		set = func(x float64) Coax { c.Offset = x; return c }
		hi = (c.OuterDiameter - c.InnerDiameter) / 2 * (1 - near)
	default:
		return c, fmt.Errorf("coax: cannot solve for %q; choose %q, %q, %q or %q", what, InnerDiameter, OuterDiameter, Permittivity, Offset)
	}
	if !(lo >= 0) || !(hi > lo) || math.IsInf(hi, 0) {
		return c, fmt.Errorf("coax: the other dimensions leave no room for the %s", what)
	}
	x, err := solve(impedance, lo, hi, func(x float64) float64 { return set(x).Static().Impedance })
	if err != nil {
		return c, fmt.Errorf("coax: no %s gives %.6g Ω: %w", what, impedance, err)
	}
	solved := set(x)
	return solved, solved.Check()
}
