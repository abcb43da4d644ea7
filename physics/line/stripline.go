package line

import (
	"fmt"
	"math"

	"linewright/physics/material"
)

// Stripline is a strip between two ground planes, centred or offset.
type Stripline struct {
	Width     float64 // of the strip's lower face, m
	Spacing   float64 // between the planes, m
	Thickness float64 // of the strip, m; 0: vanishing
	Offset    float64 // of the strip's middle above the middle of the planes, m; either sign
	TopWidth  float64 // of the strip's upper face, m, for an etched trapezoid; 0: Width
	Walls     float64 // between side walls or via fences, taken as solid, the strip in the middle, m; 0: none
	Substrate material.Dielectric
	// Above fills the space above the strip's lower face when it differs from
	// what is below; the zero value is the same as Substrate.
	Above  material.Dielectric
	Metal  material.Conductor // strip and planes
	Method Method
}

// AtTemperature returns the line with its metal and its dielectric at kelvin.
// Dimensions stay: thermal expansion is not in it.
func (l Stripline) AtTemperature(kelvin float64) Stripline {
	if l.twoFold() {
		l.Above.Temperature = kelvin
	}
	l.Metal.Temperature, l.Substrate.Temperature = kelvin, kelvin
	return l
}

// Check reports every dimension or constant that makes no sense.
func (l Stripline) Check() error {
	c := checks{line: "stripline"}
	c.positive("Width", l.Width)
	c.positive("Spacing", l.Spacing)
	c.spread("Width", l.Width, l.Spacing, "Spacing")
	c.optional("Thickness", l.Thickness, "vanishing")
	c.need(l.Thickness < l.Spacing, "Thickness", l.Thickness, "it must be less than the Spacing")
	room := (l.Spacing - l.Thickness) / 2
	c.need(math.Abs(l.Offset) <= room*0.98, "Offset", l.Offset,
		fmt.Sprintf("the strip must clear both planes: at most %.6g m either way", room*0.98))
	c.optional("TopWidth", l.TopWidth, "the same as Width")
	c.need(!(l.TopWidth > 0 && l.Thickness == 0), "TopWidth", l.TopWidth, "a trapezoid needs a Thickness above 0")
	c.spread("TopWidth", l.TopWidth, l.Width, "Width")
	c.optional("Walls", l.Walls, "none")
	c.need(l.Walls == 0 || l.Walls > 1.05*math.Max(l.Width, l.TopWidth), "Walls", l.Walls,
		fmt.Sprintf("the walls must stand clear of the strip: more than %.6g m apart", 1.05*math.Max(l.Width, l.TopWidth)))
	c.spread("Walls", l.Walls, l.Width, "Width")
	side, tall := (l.Walls-math.Max(l.Width, l.TopWidth))/2, l.Spacing
	c.need(!(l.Walls > 0 && side < tall/100), "Walls", l.Walls,
		fmt.Sprintf("%.3g m beside the strip is less than a hundredth of what stands beside it, %.3g m; look for a slipped unit", side, tall))
	c.dielectric("Substrate", l.Substrate)
	if l.twoFold() {
		c.dielectric("Above", l.Above)
	}
	c.metal(l.Metal)
	return c.err()
}

func (l Stripline) twoFold() bool {
	return l.Above != (material.Dielectric{}) && l.Above != l.Substrate
}

// Model names the formulas or the method.
func (l Stripline) Model() string {
	if l.Method == ClosedForm {
		return "stripline: Cohn 1955 (zero thickness, exact), Wheeler 1978 (thick), loss by incremental inductance"
	}
	return "stripline: quasi-static field by boundary elements, loss by incremental inductance"
}

func (l Stripline) fillings(f float64) (lower, upper complex128) {
	lower = relative(l.Substrate, f)
	if l.twoFold() {
		return lower, relative(l.Above, f)
	}
	return lower, lower
}

// At returns the wanted mode at frequency f, in Hz.
func (l Stripline) At(f float64) Point {
	s, err := l.section()
	if err != nil {
		return nanPoint(f)
	}
	return l.at(s, f)
}

// at: a stripline's wave is TEM and has no dispersion but its materials'. With
// two dielectrics it is nearly so, and that small dispersion is left out.
func (l Stripline) at(s section, f float64) Point {
	if !(f > 0) || math.IsInf(f, 1) {
		return nanPoint(f)
	}
	lower, upper := l.fillings(f)
	e := s.eps(lower, upper)
	return s.point(f, s.air/math.Sqrt(real(e)), e, l.Metal)
}

// Static returns the quasi-static impedance and effective permittivity.
func (l Stripline) Static() Static {
	s, err := l.dielectricSection()
	if err != nil {
		return Static{math.NaN(), math.NaN()}
	}
	return s.at(l.fillings(0))
}

// Modes returns the higher modes, the lowest first: the half wave across the
// strip, the half wave between the planes. The wave between the planes without
// the strip has no cutoff; a centred strip does not excite it, an offset one,
// a bend or a launch does, unless vias join the planes.
func (l Stripline) Modes() []Mode {
	lower, upper := l.fillings(0)
	er := math.Max(real(lower), real(upper))
	ms := []Mode{
		{"stripline TE", StriplineTE(math.Max(l.Width, l.TopWidth), l.Spacing, er)},
		{"parallel plate TE1", ParallelPlateOnset(l.Spacing, er)},
	}
	if l.Walls > 0 {
		ms = append(ms, Mode{"half wave between the walls", C0 / (2 * l.Walls * math.Sqrt(er))})
	}
	return sorted(ms)
}

// Warnings lists what is out of its source's range at frequency f.
func (l Stripline) Warnings(f float64) []Warning {
	return l.warnings(section{}, f)
}

func (l Stripline) warnings(_ section, f float64) []Warning {
	var ws []Warning
	if l.Method == ClosedForm {
		ws = outside(ws, "Wheeler 1978", "offset/spacing", math.Abs(l.Offset)/l.Spacing, 0, 0.001, "the formula is for the centred strip: use the field solution")
		if l.Thickness > 0 {
			ws = outside(ws, "Wheeler 1978", "width/(spacing − thickness)", l.Width/(l.Spacing-l.Thickness), 0, 10, "error above 0.5 %")
		}
		if l.twoFold() {
			lower, upper := l.fillings(f)
			ws = append(ws, Warning{"Wheeler 1978", "permittivity above/below", real(upper) / real(lower), 1, 1, "the formula takes the mean permittivity: use the field solution"})
		}
		if l.TopWidth > 0 {
			ws = outside(ws, "Wheeler 1978", "top width/width", l.TopWidth/l.Width, 1, 1, "the formula takes the mean width: use the field solution")
		}
	}
	if l.Method == ClosedForm && l.Walls > 0 {
		ws = outside(ws, "Wheeler 1978", "(walls − width)/spacing", (l.Walls-l.Width)/l.Spacing, 3, math.Inf(1), "the formula knows no walls: use the field solution")
	}
	if l.Offset != 0 && l.Walls == 0 && f > 0 {
		ws = append(ws, Warning{"stripline", "offset in m", l.Offset, 0, 0,
			"an offset strip excites the wave between the planes at every frequency; join them with vias along the line"})
	}
	if f > 0 {
		ws = skinWarnings(ws, f, l.Thickness, l.nominalThickness(), l.Metal)
	}
	return ws
}

func (l Stripline) nominalThickness() float64 {
	if l.Thickness > 0 {
		return l.Thickness
	}
	return math.Min(l.Width, l.Spacing/2-math.Abs(l.Offset)) / 50
}

func (l Stripline) meanWidth() float64 {
	if l.TopWidth > 0 {
		return (l.Width + l.TopWidth) / 2
	}
	return l.Width
}

// formula is the closed form in air.
func (l Stripline) formula(width, spacing, thickness float64) float64 {
	if thickness == 0 {
		return CohnStripline(width, spacing, 1).Impedance
	}
	return WheelerStripline(width, spacing, thickness, 1).Impedance
}

func (l Stripline) dielectricSection() (section, error) {
	lower, upper := l.fillings(0)
	ratio := real(lower) / real(upper)
	if l.Method == ClosedForm {
		s := section{air: l.formula(l.meanWidth(), l.Spacing, l.Thickness)}
		s.expand(ratio, func(r float64) float64 { return (1 + r) / 2 })
		return s, nil
	}
	c := l.strip(l.Thickness, 0)
	if l.twoFold() {
		return c.section(ratio)
	}
	// one dielectric: εe is its permittivity, whatever the field
	s := section{air: c.air(), ratio: 1, g: 1, slope: 0.5}
	if !(s.air > 0) {
		return s, errField
	}
	return s, nil
}

func (l Stripline) section() (section, error) {
	s, err := l.dielectricSection()
	if err != nil {
		return s, err
	}
	t := l.nominalThickness()
	s.area = l.meanWidth() * t
	room := l.Spacing/2 - math.Abs(l.Offset) - t/2
	small := math.Min(math.Min(l.meanWidth(), room), t)
	if l.Walls > 0 {
		small = math.Min(small, (l.Walls-math.Max(l.Width, l.TopWidth))/2)
	}
	s.loss = recede(small, func(n float64) float64 {
		if l.Method == ClosedForm {
			return l.formula(l.meanWidth()-2*n, l.Spacing+2*n, t-2*n)
		}
		return l.strip(t, n).air()
	})
	return s, nil
}

// strip is the cross-section, of thickness t, with every metal surface
// receded by n.
func (l Stripline) strip(t, n float64) stripSection {
	top := l.TopWidth
	if top == 0 {
		top = l.Width
	}
	c := stripSection{
		below:  l.Spacing/2 + l.Offset - t/2 + 2*n,
		cover:  l.Spacing/2 - l.Offset + t/2,
		bottom: l.Width - 2*n,
		top:    top - 2*n,
	}
	if t > 0 {
		c.thickness = t - 2*n
	}
	if l.Walls > 0 {
		c.wall = l.Walls/2 + n
	}
	return c
}

// Solve returns the line with what chosen so that its quasi-static impedance is
// ohms; all else stays. It takes [Width], [Spacing], [Thickness], [Offset]
// (upwards) and [Permittivity]. A TopWidth keeps its distance to the width. An
// impedance that no value gives is a [*ReachError] with the attainable range.
func (l Stripline) Solve(what Parameter, ohms float64) (Stripline, error) {
	small, large := l.Spacing/100, l.Spacing*25
	var set func(x float64) Stripline
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
		set = func(x float64) Stripline {
			m := l
			m.Width = x
			if l.TopWidth > 0 {
				m.TopWidth = x - under
			}
			return m
		}
	case Spacing:
		small, large = math.Max((l.Thickness+2*math.Abs(l.Offset))*1.02, l.Width/25), l.Width*100
		set = func(x float64) Stripline { m := l; m.Spacing = x; return m }
	case Thickness:
		small, large = l.Spacing/500, (l.Spacing-2*math.Abs(l.Offset))*0.95
		set = func(x float64) Stripline { m := l; m.Thickness = x; return m }
	case Offset:
		small, large = 0, (l.Spacing-l.Thickness)/2*0.98
		set = func(x float64) Stripline { m := l; m.Offset = x; return m }
	case Permittivity:
		small, large = 1, 100
		set = func(x float64) Stripline { m := l; m.Substrate.Permittivity = x; return m }
	default:
		return l, fmt.Errorf("stripline: cannot solve for %q; choose width, spacing, thickness, offset or permittivity", what)
	}
	probe := set(math.Sqrt(small * large))
	if err := probe.Check(); err != nil {
		return l, err
	}
	x, err := solveDimension("stripline", what, ohms, small, large, func(x float64) float64 { return set(x).impedance() })
	if err != nil {
		return l, err
	}
	return set(x), nil
}

// impedance is Static().Impedance without the derivatives.
func (l Stripline) impedance() float64 {
	lower, upper := l.fillings(0)
	ratio := real(lower) / real(upper)
	if l.Method == ClosedForm {
		return l.formula(l.meanWidth(), l.Spacing, l.Thickness) / math.Sqrt((real(lower)+real(upper))/2)
	}
	c := l.strip(l.Thickness, 0)
	air := c.capacitance(1)
	filled := air
	if l.twoFold() {
		filled = c.capacitance(ratio)
	}
	return Eta0 / math.Sqrt(real(upper)*filled*air)
}
