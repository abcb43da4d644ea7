package line

import (
	"fmt"
	"math"
	"math/cmplx"

	"linewright/physics/material"
)

// Coplanar is a strip between two ground planes in the same metal layer on a
// substrate, with a ground plane below the substrate or with air below it.
// The lateral grounds reach to infinity or to a pair of walls, and where there
// is a ground below they are taken to be joined to it.
type Coplanar struct {
	Width       float64 // of the strip, m
	Gap         float64 // of each slot, m
	Height      float64 // of the substrate, m; +Inf without GroundBelow: half space
	Thickness   float64 // of the metal layer, m; 0: vanishing
	GroundBelow bool
	Walls       float64 // between the via fences or side walls, m, taken as solid walls as high as the section; 0: none
	Cover       float64 // height of a metal cover above the substrate, m; 0: none
	Substrate   material.Dielectric
	Metal       material.Conductor // strip, grounds, cover
	Method      Method
}

// AtTemperature returns the line with its metal and its dielectric at kelvin.
// Dimensions stay: thermal expansion is not in it.
func (l Coplanar) AtTemperature(kelvin float64) Coplanar {
	l.Metal.Temperature, l.Substrate.Temperature = kelvin, kelvin
	return l
}

// Check reports every dimension or constant that makes no sense.
func (l Coplanar) Check() error {
	c := checks{line: "coplanar"}
	c.positive("Width", l.Width)
	c.positive("Gap", l.Gap)
	c.spread("Gap", l.Gap, l.Width, "Width")
	if !math.IsInf(l.Height, 1) || l.GroundBelow {
		c.positive("Height", l.Height)
		c.spread("Height", l.Height, l.Width, "Width")
		c.spread("Height", l.Height, l.Gap, "Gap")
	}
	c.optional("Thickness", l.Thickness, "vanishing")
	c.need(!(l.Thickness > 10*l.Gap), "Thickness", l.Thickness, "metal more than ten gaps thick is no coplanar line; look for a slipped unit")
	c.need(!(l.Thickness > 0 && l.Thickness < l.Gap/1000), "Thickness", l.Thickness, "metal below a thousandth of the gap: give 0 (vanishing) or look for a slipped unit")
	c.optional("Walls", l.Walls, "none")
	c.need(l.Walls == 0 || l.Walls > 1.001*(l.Width+2*l.Gap), "Walls", l.Walls,
		fmt.Sprintf("the walls must stand outside the slots: more than %.6g m apart", l.Width+2*l.Gap))
	c.optional("Cover", l.Cover, "none")
	c.need(l.Cover == 0 || l.Cover > l.Thickness, "Cover", l.Cover, "it must lie above the metal: more than the Thickness")
	c.dielectric("Substrate", l.Substrate)
	c.metal(l.Metal)
	return c.err()
}

// Model names the formulas or the method.
func (l Coplanar) Model() string {
	if l.Method == ClosedForm {
		return "coplanar: Ghione and Naldi 1984, 1987 (zero thickness), dispersion Frankel 1991, loss by incremental inductance of the field"
	}
	return "coplanar: quasi-static field by the slots' aperture fields, dispersion by the full-wave spectral-domain solution of the thin line, loss by incremental inductance"
}

// At returns the wanted mode at frequency f, in Hz: the even mode, both
// grounds at the same potential. The odd (slot) mode has no cutoff and is
// excited by every asymmetry unless bridges or vias join the grounds.
func (l Coplanar) At(f float64) Point {
	s, err := l.section()
	if err != nil {
		return nanPoint(f)
	}
	return l.at(s, f)
}

// Static returns the quasi-static impedance and effective permittivity.
func (l Coplanar) Static() Static {
	s, err := l.dielectricSection()
	if err != nil {
		return Static{math.NaN(), math.NaN()}
	}
	return s.at(l.fillings(0))
}

func (l Coplanar) fillings(f float64) (lower, upper complex128) {
	return relative(l.Substrate, f), 1
}

// at applies dispersion: how far εe(f) has gone from its quasi-static value
// towards εr, from the full-wave solution of the line of zero thickness or from
// Frankel's formula, carries the quasi-static solution of the real line. The
// impedance keeps the quasi-static inductance: Z(f)√εe(f) is constant.
func (l Coplanar) at(s section, f float64) Point {
	if !(f > 0) || math.IsInf(f, 1) {
		return nanPoint(f)
	}
	er, up := l.fillings(f)
	e := s.eps(er, up)
	if d := s.dispersion; d != nil {
		e = er - (er-e)/complex(1+d.p(f), 0)
	} else {
		x := complex(frankelShare(f, l.Width, l.Gap, l.Height, real(er)), 0)
		n := cmplx.Sqrt(e)
		n += (cmplx.Sqrt(er) - n) * x
		e = n * n
	}
	return s.point(f, s.air/math.Sqrt(real(e)), e, l.Metal)
}

// disperse tabulates the full-wave dispersion, nil where there is none: up to
// where the line's wave falls in step with the slab's TM0 wave (air below) or
// the first wave between the fences begins to travel (ground below). A line
// over ground needs fences to have a bound wave at all; without Walls they are
// taken at fenceless.
func (l Coplanar) disperse(er float64) *dispersion {
	if !(er > 1) || math.IsInf(l.Height, 1) {
		return nil
	}
	c := l.slot(0, 0)
	var high float64
	if l.GroundBelow {
		if c.wall == 0 {
			c.wall = l.fenceless() / 2
		}
		high = 0.9 * C0 / (4 * c.wall * math.Sqrt(er))
	}
	static := c.capacitance(er) / c.capacitance(1)
	if !l.GroundBelow {
		if !(static > 1) {
			return nil
		}
		// TM0 has εe of the line where εr √(εe−1) = √(εr−εe) tan(k0 h √(εr−εe))
		q := math.Sqrt(er - static)
		high = 0.9 * C0 / (2 * pi * l.Height * q) * math.Atan(er*math.Sqrt(static-1)/q)
	}
	return tabulate(high/300, high, er, static, 8, func(f, guess float64) float64 {
		return c.wave(f, er).solve(guess)
	})
}

// fenceless is the distance of the fences assumed for the dispersion of a line
// over ground that has none: one height beyond each slot. The farther they
// stand, the more the wave between the planes draws the line's wave to itself.
func (l Coplanar) fenceless() float64 { return l.Width + 2*l.Gap + 2*l.Height }

// Modes returns the onsets of what else travels, the lowest first. With a
// ground below: the half wave between the walls, the strip's own transverse
// resonance where the gaps are wide, the half wave from plane to plane. With
// air below: the surface waves of the slab under the metal.
//
// Without walls the waves between the lateral grounds and the ground below have
// no cutoff (see Warnings); the mode listed is what fences would leave that
// stand one height off the slots. The slot mode has none either.
func (l Coplanar) Modes() []Mode {
	er := real(relative(l.Substrate, 0))
	var ms []Mode
	if l.GroundBelow {
		ms = append(ms, Mode{"parallel plate TE1", ParallelPlateOnset(l.Height, er)})
		if l.Gap > l.Height {
			ms = append(ms, Mode{"transverse resonance", TransverseResonance(l.Width, l.Height, er)})
		}
	} else if er > 1 && !math.IsInf(l.Height, 1) {
		ms = append(ms,
			Mode{"surface wave TM0 coupling", SurfaceWaveTM0Coupling(l.Height, er)},
			Mode{"surface wave TE1", SurfaceWaveTE1(l.Height, er)})
	}
	switch {
	case l.Walls > 0:
		ms = append(ms, Mode{"half wave between the walls", C0 / (2 * l.Walls * math.Sqrt(er))})
	case l.GroundBelow:
		ms = append(ms, Mode{"half wave between fences one height off the slots", C0 / (2 * l.fenceless() * math.Sqrt(er))})
	}
	return sorted(ms)
}

// Warnings lists what is out of its source's range at frequency f.
func (l Coplanar) Warnings(f float64) []Warning {
	s, _ := l.section()
	return l.warnings(s, f)
}

func (l Coplanar) warnings(s section, f float64) []Warning {
	var ws []Warning
	er := real(relative(l.Substrate, f))
	if l.Method == ClosedForm {
		if l.GroundBelow {
			ws = outside(ws, "Ghione-Naldi 1987", "gap/height", l.Gap/l.Height, 0, 0.5, "impedance 1.2 % high at gap = height, 7 % at 5 heights: use the field solution")
		} else {
			ws = outside(ws, "Ghione-Naldi 1984", "gap/height", l.Gap/l.Height, 0, 0.5, "impedance up to 1 % high: use the field solution")
		}
		ws = outside(ws, "Ghione-Naldi", "thickness/gap", l.Thickness/l.Gap, 0, 0.01, "the formula is for vanishing thickness: use the field solution")
		if l.Walls > 0 {
			ws = outside(ws, "Ghione-Naldi", "walls/(width + 2 gap)", l.Walls/(l.Width+2*l.Gap), 3, math.Inf(1), "the formula knows no walls: use the field solution")
		}
		if l.Cover > 0 {
			ws = outside(ws, "Ghione-Naldi", "cover height/(width + 2 gap)", l.Cover/(l.Width+2*l.Gap), 3, math.Inf(1), "the formula knows no cover: use the field solution")
		}
	}
	if !(f > 0) {
		return ws
	}
	if er > 1 && !math.IsInf(l.Height, 1) {
		if l.Method == ClosedForm {
			const m = "Frankel 1991"
			ws = outside(ws, m, "width/gap", l.Width/l.Gap, 0.1, 5, "dispersion not vouched for (range from memory)")
			ws = outside(ws, m, "width/height", l.Width/l.Height, 0.1, 5, "dispersion not vouched for (range from memory)")
			ws = outside(ws, m, "frequency/TE1 onset", f/SurfaceWaveTE1(l.Height, er), 0, 10, "dispersion not vouched for (range from memory)")
			if l.GroundBelow {
				ws = append(ws, Warning{m, "height of the ground below in m", l.Height, math.Inf(1), math.Inf(1),
					"the formula is for a line with air below; over ground it is up to a few per cent of permittivity low"})
			}
		} else {
			switch d := s.dispersion; {
			case d == nil:
				ws = append(ws, Warning{"full-wave dispersion", "frequency in Hz", f, 0, 0, "no full-wave solution was found; dispersion is Frankel's formula, good to a few per cent of permittivity"})
			default:
				ws = outside(ws, "full-wave dispersion", "frequency in Hz", f, 0, math.Exp(d.high), "another wave is in step with the line's or travels beside it; dispersion is extrapolated as f²")
			}
			if l.GroundBelow && l.Walls == 0 {
				ws = append(ws, Warning{"full-wave dispersion", "distance between via fences in m", math.Inf(1), l.fenceless(), l.fenceless(),
					"dispersion is that of a line with fences this far apart"})
			}
		}
	}
	if l.GroundBelow {
		if l.Walls == 0 {
			ws = append(ws, Warning{"coplanar", "distance between via fences in m", math.Inf(1), 0, C0 / (2 * f * math.Sqrt(er)),
				"without fences the waves between the grounds above and below travel at every frequency; set the fences closer than the upper value"})
		} else {
			ws = outside(ws, "coplanar", "distance between via fences in m", l.Walls, 0, C0/(2*f*math.Sqrt(er)),
				"a half wave fits between the fences")
		}
	}
	return skinWarnings(ws, f, l.Thickness, l.nominalThickness(), l.Metal)
}

func (l Coplanar) nominalThickness() float64 {
	if l.Thickness > 0 {
		return l.Thickness
	}
	return math.Min(l.Width, math.Min(l.Gap, l.Height)) / 50
}

func (l Coplanar) dielectricSection() (section, error) {
	er := real(relative(l.Substrate, 0))
	if l.Method == ClosedForm {
		var s section
		s.air = l.formula(1).Impedance // its own Z·√εe
		s.expand(er, func(r float64) float64 { return l.formula(r).EffectivePermittivity })
		return s, nil
	}
	return l.slot(l.Thickness, 0).section(er)
}

func (l Coplanar) formula(er float64) Static {
	if math.IsInf(l.Height, 1) {
		return Wen(l.Width, l.Gap, er)
	}
	return GhioneNaldi(l.Width, l.Gap, l.Height, er, l.GroundBelow)
}

// section adds the loss; the formulas know no thickness, so the loss always
// comes from the field.
func (l Coplanar) section() (section, error) {
	s, err := l.dielectricSection()
	if err != nil {
		return s, err
	}
	t := l.nominalThickness()
	s.area = l.Width * t
	small := math.Min(math.Min(l.Width, l.Gap), t)
	if l.GroundBelow {
		small = math.Min(small, l.Height)
	}
	if l.Cover > 0 {
		small = math.Min(small, l.Cover-t)
	}
	if l.Walls > 0 {
		small = math.Min(small, l.Walls/2-l.Width/2-l.Gap)
	}
	s.loss = recede(small, func(n float64) float64 { return l.slot(t, n).air() })
	if l.Method != ClosedForm {
		s.dispersion = l.disperse(real(relative(l.Substrate, 0)))
	}
	return s, nil
}

// slot is the cross-section, of thickness t, with every metal surface receded
// by n.
func (l Coplanar) slot(t, n float64) slotSection {
	c := slotSection{width: l.Width - 2*n, gap: l.Gap + 2*n, lower: l.Height, backed: l.GroundBelow}
	if l.GroundBelow {
		c.lower += 2 * n
	}
	if t > 0 {
		c.thickness = t - 2*n
	}
	if l.Cover > 0 {
		c.upper = l.Cover - t + 2*n
	}
	if l.Walls > 0 {
		c.wall = l.Walls/2 + n
	}
	return c
}

// Solve returns the line with what chosen so that its quasi-static impedance is
// ohms; all else stays. It takes [Width], [Gap], [Height], [Thickness] and
// [Permittivity]. An impedance that no value gives is a [*ReachError] with the
// attainable range.
func (l Coplanar) Solve(what Parameter, ohms float64) (Coplanar, error) {
	var small, large float64
	var set func(x float64) Coplanar
	base := l.Gap
	if !math.IsInf(l.Height, 1) {
		base = math.Sqrt(l.Gap * l.Height)
	}
	switch what {
	case Width:
		small, large = base/50, base*50
		if l.Walls > 0 {
			large = math.Min(large, 0.98*(l.Walls-2*l.Gap))
		}
		set = func(x float64) Coplanar { m := l; m.Width = x; return m }
	case Gap:
		small, large = l.Width/50, l.Width*20
		if l.Thickness > 0 {
			small, large = math.Max(small, l.Thickness/9), math.Min(large, 900*l.Thickness)
		}
		if l.Walls > 0 {
			large = math.Min(large, 0.49*(l.Walls-l.Width))
		}
		set = func(x float64) Coplanar { m := l; m.Gap = x; return m }
	case Height:
		b := math.Min(l.Width, l.Gap)
		small, large = b/20, b*200
		set = func(x float64) Coplanar { m := l; m.Height = x; return m }
	case Thickness:
		small, large = l.Gap/500, 2*l.Gap
		if l.Cover > 0 {
			large = math.Min(large, 0.9*l.Cover)
		}
		set = func(x float64) Coplanar { m := l; m.Thickness = x; return m }
	case Permittivity:
		small, large = 1, 100
		set = func(x float64) Coplanar { m := l; m.Substrate.Permittivity = x; return m }
	default:
		return l, fmt.Errorf("coplanar: cannot solve for %q; choose width, gap, height, thickness or permittivity", what)
	}
	probe := set(math.Sqrt(small * large))
	if err := probe.Check(); err != nil {
		return l, err
	}
	x, err := solveDimension("coplanar", what, ohms, small, large, func(x float64) float64 { return set(x).impedance() })
	if err != nil {
		return l, err
	}
	return set(x), nil
}

// impedance is Static().Impedance without the derivatives.
func (l Coplanar) impedance() float64 {
	er := real(relative(l.Substrate, 0))
	if l.Method == ClosedForm {
		return l.formula(er).Impedance
	}
	c := l.slot(l.Thickness, 0)
	return Eta0 / math.Sqrt(c.capacitance(er)*c.capacitance(1))
}
