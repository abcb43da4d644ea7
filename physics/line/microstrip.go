package line

import (
	"fmt"
	"math"

	"linewright/physics/material"
)

// Microstrip is a strip on a substrate over a wide ground plane, with air
// above, and optionally a metal cover.
type Microstrip struct {
	Width     float64 // of the strip's lower face, m
	Height    float64 // of the substrate, m
	Thickness float64 // of the strip, m; 0: vanishing
	TopWidth  float64 // of the strip's upper face, m, for an etched trapezoid; 0: Width
	Cover     float64 // height of a metal cover above the substrate, m; 0: none
	Walls     float64 // between side walls or via fences, taken as solid, the strip in the middle, m; 0: none
	Substrate material.Dielectric
	Metal     material.Conductor // strip, ground and cover
	Method    Method
}

// AtTemperature returns the line with its metal and its dielectric at kelvin.
// Dimensions stay: thermal expansion is not in it.
func (l Microstrip) AtTemperature(kelvin float64) Microstrip {
	l.Metal.Temperature, l.Substrate.Temperature = kelvin, kelvin
	return l
}

// Check reports every dimension or constant that makes no sense.
func (l Microstrip) Check() error {
	c := checks{line: "microstrip"}
	c.positive("Width", l.Width)
	c.positive("Height", l.Height)
	c.spread("Width", l.Width, l.Height, "Height")
	c.optional("Thickness", l.Thickness, "vanishing")
	c.need(!(l.Thickness > 10*l.Height), "Thickness", l.Thickness, "a strip more than ten heights thick is no microstrip; look for a slipped unit")
	c.optional("TopWidth", l.TopWidth, "the same as Width")
	c.need(!(l.TopWidth > 0 && l.Thickness == 0), "TopWidth", l.TopWidth, "a trapezoid needs a Thickness above 0")
	c.spread("TopWidth", l.TopWidth, l.Width, "Width")
	c.optional("Cover", l.Cover, "none")
	c.need(l.Cover == 0 || l.Cover > l.Thickness, "Cover", l.Cover, "it must lie above the strip: more than the Thickness")
	c.spread("Cover", l.Cover, l.Height, "Height")
	c.optional("Walls", l.Walls, "none")
	c.need(l.Walls == 0 || l.Walls > 1.05*math.Max(l.Width, l.TopWidth), "Walls", l.Walls,
		fmt.Sprintf("the walls must stand clear of the strip: more than %.6g m apart", 1.05*math.Max(l.Width, l.TopWidth)))
	c.spread("Walls", l.Walls, l.Width, "Width")
	room, tall := (l.Walls-math.Max(l.Width, l.TopWidth))/2, math.Max(l.Height, l.Thickness)
	c.need(!(l.Walls > 0 && room < tall/100), "Walls", l.Walls,
		fmt.Sprintf("%.3g m beside the strip is less than a hundredth of what stands beside it, %.3g m; look for a slipped unit", room, tall))
	c.dielectric("Substrate", l.Substrate)
	c.metal(l.Metal)
	return c.err()
}

// Model names the formulas or the method.
func (l Microstrip) Model() string {
	if l.Method == ClosedForm {
		return "microstrip: Hammerstad and Jensen 1980, dispersion Kirschning and Jansen 1982, impedance Jansen and Kirschning 1983, loss by incremental inductance"
	}
	return "microstrip: quasi-static field by boundary elements, dispersion by the full-wave spectral-domain solution of the thin strip, impedance Jansen and Kirschning 1983, loss by incremental inductance"
}

// At returns the wanted mode at frequency f, in Hz.
func (l Microstrip) At(f float64) Point {
	s, err := l.section()
	if err != nil {
		return nanPoint(f)
	}
	return l.at(s, f)
}

// Static returns the quasi-static impedance and effective permittivity.
func (l Microstrip) Static() Static {
	s, err := l.dielectricSection()
	if err != nil {
		return Static{math.NaN(), math.NaN()}
	}
	return s.at(l.fillings(0))
}

func (l Microstrip) fillings(f float64) (lower, upper complex128) {
	return relative(l.Substrate, f), 1
}

// at applies dispersion. How far εe(f) has gone from its quasi-static value
// towards εr is known for the open line of zero thickness, from the full-wave
// solution or the formula of Kirschning and Jansen; it carries the quasi-static
// solution of the real line, which is complex, so that the dielectric loss
// follows the field into the substrate. The impedance takes the ratio
// Z(f)/Z(0) of Jansen and Kirschning.
func (l Microstrip) at(s section, f float64) Point {
	if !(f > 0) || math.IsInf(f, 1) {
		return nanPoint(f)
	}
	er, up := l.fillings(f)
	e0 := s.eps(er, up)
	static := s.at(er, up)
	p := kirschningP(f, l.Width, l.Height, real(er))
	if d := s.dispersion; d != nil {
		p *= d.p(f) / kirschningP(f, l.Width, l.Height, d.er)
	}
	e := er - (er-e0)/complex(1+p, 0)
	z := JansenKirschning(f, l.Width, l.Height, real(er), static, real(e))
	if !(z > 0) { // far outside the fit
		z = static.Impedance
	}
	return s.point(f, z, e, l.Metal)
}

// Modes returns the onsets of what else travels, the lowest first: the first
// hybrid mode (transverse resonance), strong coupling to the substrate's TM0
// surface wave, the TE1 surface wave. The TM0 surface wave itself has no
// cutoff.
func (l Microstrip) Modes() []Mode {
	er := real(relative(l.Substrate, 0))
	ms := []Mode{{"transverse resonance", TransverseResonance(l.Width, l.Height, er)}}
	if er > 1 {
		ms = append(ms,
			Mode{"surface wave TM0 coupling", SurfaceWaveTM0Coupling(l.Height, er)},
			Mode{"surface wave TE1", SurfaceWaveTE1(l.Height, er)})
	}
	if l.Walls > 0 {
		// at the soonest, with the dielectric from wall to wall and floor to cover
		ms = append(ms, Mode{"half wave between the walls", C0 / (2 * l.Walls * math.Sqrt(er))})
	}
	if l.Cover > 0 {
		ms = append(ms, Mode{"parallel plate under the cover", coveredPlateOnset(l.Height, l.Cover, er)})
	}
	return sorted(ms)
}

// coveredPlateOnset is the cutoff of the first TE mode between ground and
// cover, of height h in permittivity er and d of air: the lowest root of
// tan(k√εr h)/√εr + tan(k d) = 0.
func coveredPlateOnset(h, d, er float64) float64 {
	n := math.Sqrt(er)
	// multiplied by both cosines the equation is smooth; the first root lies
	// between the half waves of all-dielectric and all-air
	g := func(k float64) float64 {
		return math.Sin(k*n*h)*math.Cos(k*d)/n + math.Sin(k*d)*math.Cos(k*n*h)
	}
	lo, hi := pi/(n*(h+d)), pi/(h+d)
	glo, ghi := g(lo), g(hi)
	if glo == 0 || !((glo > 0) != (ghi > 0)) {
		return lo * C0 / (2 * pi)
	}
	return brent(g, lo, hi, glo, ghi) * C0 / (2 * pi)
}

// Warnings lists what is out of its source's range at frequency f.
func (l Microstrip) Warnings(f float64) []Warning {
	s, _ := l.section()
	return l.warnings(s, f)
}

func (l Microstrip) warnings(s section, f float64) []Warning {
	var ws []Warning
	u := l.Width / l.Height
	er := real(relative(l.Substrate, f))
	if l.Method == ClosedForm {
		ws = outside(ws, "Hammerstad-Jensen 1980", "width/height", u, 0.01, 100, "error above 0.2 %")
		ws = outside(ws, "Hammerstad-Jensen 1980", "relative permittivity", er, 1, 128, "error above 0.2 %")
		ws = outside(ws, "Hammerstad-Jensen 1980", "thickness/height", l.Thickness/l.Height, 0, 0.2, "impedance off by 1 % and more: use the field solution")
		if l.Cover > 0 {
			ws = outside(ws, "Hammerstad-Jensen 1980", "cover height/height", l.Cover/l.Height, 20, math.Inf(1), "the formula knows no cover: use the field solution")
		}
		if l.Walls > 0 {
			ws = outside(ws, "Hammerstad-Jensen 1980", "(walls − width)/height", (l.Walls-l.Width)/l.Height, 20, math.Inf(1), "the formula knows no walls: use the field solution")
		}
		if l.TopWidth > 0 {
			ws = outside(ws, "Hammerstad-Jensen 1980", "top width/width", l.TopWidth/l.Width, 1, 1, "the formula takes the mean width: use the field solution")
		}
	}
	if f > 0 {
		if l.Method == ClosedForm {
			ws = outside(ws, "Kirschning-Jansen 1982", "width/height", u, 0.1, 100, "dispersion error above 0.6 %")
			ws = outside(ws, "Kirschning-Jansen 1982", "relative permittivity", er, 1, 20, "dispersion error above 0.6 %")
			ws = outside(ws, "Kirschning-Jansen 1982", "height/free-space wavelength", l.Height*f/C0, 0, 0.13, "dispersion error above 0.6 %")
			if l.Walls > 0 {
				ws = outside(ws, "Kirschning-Jansen 1982", "walls/width", l.Walls/l.Width, 10, math.Inf(1), "dispersion is that of the open line")
			}
			if l.Cover > 0 {
				ws = outside(ws, "Kirschning-Jansen 1982", "cover height/height", l.Cover/l.Height, 10, math.Inf(1), "dispersion is that of the open line; a near cover lowers it")
			}
		} else {
			if s.dispersion == nil && er > 1 {
				ws = append(ws, Warning{"full-wave dispersion", "frequency in Hz", f, 0, 0, "no full-wave solution was found; dispersion is Kirschning and Jansen's formula, good to 0.6 %"})
			}
			if d := s.dispersion; d != nil {
				ws = outside(ws, "full-wave dispersion", "frequency in Hz", f, 0, math.Exp(d.high), "dispersion is extrapolated as f²")
			}
			ws = outside(ws, "full-wave dispersion", "thickness/height", l.Thickness/l.Height, 0, 0.2, "dispersion is that of a thin strip")
		}
		ws = outside(ws, "Jansen-Kirschning 1983", "width/height", u, 0.1, 10, "impedance dispersion not vouched for (range from memory)")
		ws = outside(ws, "Jansen-Kirschning 1983", "height/free-space wavelength", l.Height*f/C0, 0, 0.1, "impedance dispersion not vouched for (range from memory)")
		ws = skinWarnings(ws, f, l.Thickness, l.nominalThickness(), l.Metal)
	}
	return ws
}

// skinWarnings speaks of metal whose thickness the loss rests on.
func skinWarnings(ws []Warning, f, thickness, nominal float64, metal material.Conductor) []Warning {
	if math.IsInf(metal.Conductivity, 1) {
		return ws
	}
	if thickness == 0 {
		return append(ws, Warning{"incremental inductance", "thickness in m", 0, nominal, nominal,
			fmt.Sprintf("the loss of a vanishing strip is infinite; conductor loss is that of a strip %.3g m thick", nominal)})
	}
	return outside(ws, "incremental inductance", "thickness/skin depth", thickness/metal.SkinDepth(f), 3, math.Inf(1),
		"current fills the strip; conductor loss is interpolated between skin effect and direct current, good to about 10 %")
}

// nominalThickness is the thickness for which the loss is computed.
func (l Microstrip) nominalThickness() float64 {
	if l.Thickness > 0 {
		return l.Thickness
	}
	return math.Min(l.Width, l.Height) / 50
}

// dielectricSection solves without the loss.
func (l Microstrip) dielectricSection() (section, error) {
	er := real(relative(l.Substrate, 0))
	var s section
	if l.Method == ClosedForm {
		w := l.meanWidth()
		s.air = HammerstadJensen(w, l.Height, l.Thickness, 1).Impedance
		s.expand(er, func(r float64) float64 {
			if r < 1 {
				// the fit has no meaning below 1; εe runs straight through (1, 1)
				return 2 - HammerstadJensen(w, l.Height, l.Thickness, 2-r).EffectivePermittivity
			}
			h := HammerstadJensen(w, l.Height, l.Thickness, r)
			// so that Z and εe are each the published ones at nominal
			return h.EffectivePermittivity
		})
		h := HammerstadJensen(w, l.Height, l.Thickness, er)
		s.air = h.Impedance * math.Sqrt(h.EffectivePermittivity)
		return s, nil
	}
	return l.strip(l.Thickness, 0).section(er)
}

func (l Microstrip) meanWidth() float64 {
	if l.TopWidth > 0 {
		return (l.Width + l.TopWidth) / 2
	}
	return l.Width
}

func (l Microstrip) section() (section, error) {
	s, err := l.dielectricSection()
	if err != nil {
		return s, err
	}
	t := l.nominalThickness()
	s.area = l.meanWidth() * t
	small := math.Min(math.Min(l.meanWidth(), l.Height), t)
	if l.Method == ClosedForm {
		w := l.meanWidth()
		s.loss = recede(small, func(n float64) float64 {
			return HammerstadJensen(w-2*n, l.Height+2*n, t-2*n, 1).Impedance
		})
		return s, nil
	}
	if l.Cover > 0 {
		small = math.Min(small, l.Cover-t)
	}
	if l.Walls > 0 {
		small = math.Min(small, (l.Walls-math.Max(l.Width, l.TopWidth))/2)
	}
	s.loss = recede(small, func(n float64) float64 { return l.strip(t, n).air() })
	if er := real(relative(l.Substrate, 0)); er > 1 {
		w := l.meanWidth()
		thin := stripSection{below: l.Height, cover: l.Cover, wall: l.Walls / 2, bottom: w, top: w}.effective(er)
		high := 0.3 * C0 / l.Height
		if l.Walls > 0 { // as far as no wave between the walls crosses the line's
			high = math.Min(high, 0.9*C0/(2*l.Walls*math.Sqrt(er)))
		}
		s.dispersion = tabulate(high/600, high, er, thin, 20, func(f, guess float64) float64 {
			return newFullWave(f, w, l.Height, er, l.Cover, l.Walls/2).solve(guess)
		})
	}
	return s, nil
}

// strip is the cross-section with every metal surface receded by n.
func (l Microstrip) strip(t, n float64) stripSection {
	top := l.TopWidth
	if top == 0 {
		top = l.Width
	}
	c := stripSection{below: l.Height + 2*n, bottom: l.Width - 2*n, top: top - 2*n, thickness: 0}
	if t > 0 {
		c.thickness = t - 2*n
	}
	if l.Cover > 0 {
		c.cover = l.Cover // cover and lower face both move up
	}
	if l.Walls > 0 {
		c.wall = l.Walls/2 + n
	}
	return c
}

// Solve returns the line with what chosen so that its quasi-static impedance is
// ohms; all else stays. It takes [Width], [Height], [Thickness] and
// [Permittivity]. A TopWidth keeps its distance to the width. An impedance that
// no value gives is a [*ReachError] with the attainable range.
func (l Microstrip) Solve(what Parameter, ohms float64) (Microstrip, error) {
	small, large := l.Height/100, l.Height*50
	var set func(x float64) Microstrip
	switch what {
	case Width:
		under := 0.0
		if l.TopWidth > 0 {
			under = l.Width - l.TopWidth
		}
		small = math.Max(small, under*1.01)
		if l.Walls > 0 {
			large = math.Min(large, 0.95*l.Walls)
		}
		set = func(x float64) Microstrip {
			m := l
			m.Width = x
			if l.TopWidth > 0 {
				m.TopWidth = x - under
			}
			return m
		}
	case Height:
		small, large = l.Width/50, l.Width*100
		set = func(x float64) Microstrip { m := l; m.Height = x; return m }
	case Thickness:
		small, large = l.Height/500, 2*l.Height
		if l.Cover > 0 {
			large = math.Min(large, 0.9*l.Cover)
		}
		set = func(x float64) Microstrip { m := l; m.Thickness = x; return m }
	case Permittivity:
		small, large = 1, 100
		set = func(x float64) Microstrip { m := l; m.Substrate.Permittivity = x; return m }
	default:
		return l, fmt.Errorf("microstrip: cannot solve for %q; choose width, height, thickness or permittivity", what)
	}
	probe := set(math.Sqrt(small * large))
	if err := probe.Check(); err != nil {
		return l, err
	}
	x, err := solveDimension("microstrip", what, ohms, small, large, func(x float64) float64 { return set(x).impedance() })
	if err != nil {
		return l, err
	}
	return set(x), nil
}

// impedance is Static().Impedance without the derivatives.
func (l Microstrip) impedance() float64 {
	er := real(relative(l.Substrate, 0))
	if l.Method == ClosedForm {
		return HammerstadJensen(l.meanWidth(), l.Height, l.Thickness, er).Impedance
	}
	c := l.strip(l.Thickness, 0)
	return Eta0 / math.Sqrt(c.capacitance(er)*c.capacitance(1))
}
