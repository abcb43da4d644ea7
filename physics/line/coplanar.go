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

// Check reports every dimension or constant that makes no sense.
func (l Coplanar) Check() error {
	c := checks{line: "coplanar"}
	c.positive("Width", l.Width, "m")
	c.positive("Gap", l.Gap, "m")
	c.spread("Gap", l.Gap, l.Width, "Width")
	if !math.IsInf(l.Height, 1) || l.GroundBelow {
		c.positive("Height", l.Height, "m")
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
	static := "quasi-static field by the slots' aperture fields"
	if l.Method == ClosedForm {
		static = "Ghione and Naldi 1984, 1987 (zero thickness)"
	}
	disp := "dispersion Frankel 1991"
	if l.GroundBelow {
		disp = "dispersion between Frankel 1991 (coplanar) and Kirschning and Jansen 1982 (microstrip) by gap and height"
	}
	return "coplanar: " + static + ", " + disp + ", loss by incremental inductance"
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

// at applies dispersion to the complex quasi-static permittivity; the
// impedance keeps the quasi-static inductance, that is Z(f)√εe(f) is constant.
func (l Coplanar) at(s section, f float64) Point {
	if !(f > 0) || math.IsInf(f, 1) {
		return nanPoint(f)
	}
	er, up := l.fillings(f)
	e := l.disperse(f, er, s.eps(er, up))
	return s.point(f, s.air/math.Sqrt(real(e)), e, l.Metal)
}

// disperse returns εe(f). With a ground below the line is between a coplanar
// line, when the gap is small beside the height, and a microstrip, when it is
// large; no published formula covers it, and the two are weighed by
// g²/(g²+h²).
func (l Coplanar) disperse(f float64, er, e0 complex128) complex128 {
	x := complex(frankelShare(f, l.Width, l.Gap, l.Height, real(er)), 0)
	n := cmplx.Sqrt(e0)
	n += (cmplx.Sqrt(er) - n) * x
	e := n * n
	if l.GroundBelow {
		m := er - (er-e0)/complex(1+kirschningP(f, l.Width, l.Height, real(er)), 0)
		g := l.Gap * l.Gap / (l.Gap*l.Gap + l.Height*l.Height)
		e += (m - e) * complex(g, 0)
	}
	return e
}

// Modes returns the onsets of what else travels, the lowest first. With a
// ground below: the half wave between the walls (with walls), or else the
// strip's own transverse resonance; the half wave from plane to plane. With
// air below: the surface waves of the slab under the metal.
//
// Without walls the waves between the lateral grounds and the ground below,
// and the slot mode, have no cutoff: see Warnings.
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
	if l.Walls > 0 {
		ms = append(ms, Mode{"half wave between the walls", C0 / (2 * l.Walls * math.Sqrt(er))})
	}
	return sorted(ms)
}

// Warnings lists what is out of its source's range at frequency f.
func (l Coplanar) Warnings(f float64) []Warning {
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
		const m = "Frankel 1991"
		ws = outside(ws, m, "width/gap", l.Width/l.Gap, 0.1, 5, "dispersion not vouched for (range from memory)")
		ws = outside(ws, m, "width/height", l.Width/l.Height, 0.1, 5, "dispersion not vouched for (range from memory)")
		ws = outside(ws, m, "frequency/TE1 onset", f/SurfaceWaveTE1(l.Height, er), 0, 10, "dispersion not vouched for (range from memory)")
	}
	if l.GroundBelow {
		if l.Walls == 0 {
			ws = append(ws, Warning{"coplanar", "distance between via fences in m", 0, 0, C0 / (2 * f * math.Sqrt(er)),
				"without fences the waves between the grounds above and below travel at every frequency; set the fences closer than the upper value"})
		} else {
			ws = outside(ws, "coplanar", "distance between via fences in m", l.Walls, 0, C0/(2*f*math.Sqrt(er)),
				"a half wave fits between the fences")
		}
		e0 := complex(l.Static().EffectivePermittivity, 0)
		d := math.Abs(real(l.disperseAs(f, false, e0)-l.disperseAs(f, true, e0))) / real(e0)
		ws = outside(ws, "dispersion over ground", "spread of the coplanar and the microstrip formula", d, 0, 0.01,
			"effective permittivity uncertain by about this share")
	}
	return skinWarnings(ws, f, l.Thickness, l.nominalThickness(), l.Metal)
}

// disperseAs is one of the two formulas that disperse weighs.
func (l Coplanar) disperseAs(f float64, microstrip bool, e0 complex128) complex128 {
	er, _ := l.fillings(f)
	if microstrip {
		return complex(KirschningJansen(f, l.Width, l.Height, real(er), real(e0)), 0)
	}
	return complex(FrankelDispersion(f, l.Width, l.Gap, l.Height, real(er), real(e0)), 0)
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

// Solve returns the line with one dimension, "width", "gap", "height" or
// "thickness", changed so that its quasi-static impedance is ohms.
func (l Coplanar) Solve(dimension string, ohms float64) (Coplanar, error) {
	var small, large float64
	var set func(x float64) Coplanar
	base := l.Gap
	if !math.IsInf(l.Height, 1) {
		base = math.Sqrt(l.Gap * l.Height)
	}
	switch dimension {
	case "width":
		small, large = base/50, base*50
		if l.Walls > 0 {
			large = math.Min(large, 0.98*(l.Walls-2*l.Gap))
		}
		set = func(x float64) Coplanar { m := l; m.Width = x; return m }
	case "gap":
		small, large = l.Width/50, l.Width*20
		if l.Thickness > 0 {
			small, large = math.Max(small, l.Thickness/9), math.Min(large, 900*l.Thickness)
		}
		if l.Walls > 0 {
			large = math.Min(large, 0.49*(l.Walls-l.Width))
		}
		set = func(x float64) Coplanar { m := l; m.Gap = x; return m }
	case "height":
		b := math.Min(l.Width, l.Gap)
		small, large = b/20, b*200
		set = func(x float64) Coplanar { m := l; m.Height = x; return m }
	case "thickness":
		small, large = l.Gap/500, 2*l.Gap
		if l.Cover > 0 {
			large = math.Min(large, 0.9*l.Cover)
		}
		set = func(x float64) Coplanar { m := l; m.Thickness = x; return m }
	default:
		return l, fmt.Errorf("coplanar: no dimension %q to solve for; give width, gap, height or thickness", dimension)
	}
	probe := set(math.Sqrt(small * large))
	if err := probe.Check(); err != nil {
		return l, err
	}
	x, err := solveDimension("coplanar", dimension, ohms, small, large, func(x float64) float64 { return set(x).impedance() })
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
