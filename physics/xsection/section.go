package xsection

import (
	"math"

	"linewright/physics/line"
)

// A Point lies in the plane of the section, in m.
type Point struct{ X, Y float64 }

// A Shape is an area (or, for [Segment], a foil) of the section: [Polygon],
// [Rectangle], [Circle] or [Segment].
type Shape interface{ outline(far float64) []curve }

// Polygon is a simple polygon, its corners in either order, not closed by a
// repeated first corner.
type Polygon []Point

// Rectangle has its sides parallel to the axes. A side at ±Inf is open: the
// layer goes on for ever.
type Rectangle struct{ X0, X1, Y0, Y1 float64 } // m

// Circle is a disc; its boundary is taken exactly, not as a polygon.
type Circle struct {
	Centre   Point
	Diameter float64 // m
}

// Segment is a conductor without thickness between two points. An end at ±Inf
// is open.
type Segment struct{ A, B Point }

// Trapezoid returns the cross-section of an etched trace that stands on the
// height base, centred on x, with the given bottom and top widths: the foot
// lies on the dielectric.
func Trapezoid(x, base, bottom, top, thickness float64) Polygon {
	y := base + thickness
	return Polygon{{x - bottom/2, base}, {x + bottom/2, base}, {x + top/2, y}, {x - top/2, y}}
}

// Block returns the rectangle of width w that stands on the height base,
// centred on x, h high.
func Block(x, base, w, h float64) Rectangle { return Rectangle{x - w/2, x + w/2, base, base + h} }

// Kind says what closes the section on one side.
type Kind int

const (
	Open     Kind = iota // nothing, out to infinity
	Electric             // a perfectly conducting plane, part of the reference
	Magnetic             // a plane no electric field line crosses: a symmetry plane
)

// A Side closes the section at the coordinate At, in m; At of an open side
// does not matter.
type Side struct {
	Kind Kind
	At   float64
}

// ElectricAt and MagneticAt return sides at a coordinate, in m.
func ElectricAt(at float64) Side { return Side{Electric, at} }
func MagneticAt(at float64) Side { return Side{Magnetic, at} }

// A Region bounds the section. Its zero value is open on all sides.
type Region struct {
	Left, Right, Bottom, Top Side
	Shield                   Shape // closes the section all round, in place of the four sides
	Metal                    Metal // what the electric sides or the shield are made of
}

// Metal is what a conductor is made of. The zero value is smooth annealed
// copper.
type Metal struct {
	Conductivity float64 // S/m; 0 stands for [CopperConductivity]
	Roughness    float64 // rms height Rq of the surface, m
}

// CopperConductivity is that of the International Annealed Copper Standard,
// S/m [iec60028].
const CopperConductivity = 58e6

// Material is a lossy dielectric, ε = ε0·Permittivity·(1 − j·LossTangent).
type Material struct {
	Permittivity float64 // relative; 0 stands for 1
	LossTangent  float64
}

// A Dielectric is a piece of material. Where two overlap the later one of the
// list is there.
type Dielectric struct {
	Shape Shape
	Material
}

// A Conductor is a piece of metal; it displaces every dielectric. Pieces of
// one name are one conductor. The name [Ground] joins the reference.
type Conductor struct {
	Name  string
	Shape Shape
	Metal
}

// Ground is the name of conductors that belong to the reference, with the
// electric sides and the shield.
const Ground = "ground"

// A Section is the cross-section of a uniform line.
type Section struct {
	Region      Region
	Background  Material // where no dielectric lies; zero value: vacuum
	Dielectrics []Dielectric
	Conductors  []Conductor
}

const (
	c0   = line.C0
	mu0  = line.Mu0
	eps0 = line.Eps0
)

func (m Material) permittivity() float64 {
	if m.Permittivity == 0 {
		return 1
	}
	return m.Permittivity
}

// Signals returns the names of the signal conductors in the order in which
// they first appear: the order of rows in every matrix of the [Result].
func (s Section) Signals() []string {
	var names []string
	seen := map[string]bool{Ground: true}
	for _, c := range s.Conductors {
		if !seen[c.Name] {
			seen[c.Name] = true
			names = append(names, c.Name)
		}
	}
	return names
}

func (p Polygon) outline(float64) []curve {
	cs := make([]curve, len(p))
	for i, a := range p {
		b := p[(i+1)%len(p)]
		cs[i] = straight(complex(a.X, a.Y), complex(b.X, b.Y))
	}
	return cs
}

func (r Rectangle) outline(far float64) []curve {
	x0, x1, y0, y1 := reach(r.X0, far), reach(r.X1, far), reach(r.Y0, far), reach(r.Y1, far)
	return Polygon{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}.outline(far)
}

func (c Circle) outline(float64) []curve {
	cs := make([]curve, 4)
	for i := range cs {
		cs[i] = arc(complex(c.Centre.X, c.Centre.Y), c.Diameter/2, float64(i)*math.Pi/2, math.Pi/2)
	}
	return cs
}

func (s Segment) outline(far float64) []curve {
	return []curve{straight(complex(reach(s.A.X, far), reach(s.A.Y, far)), complex(reach(s.B.X, far), reach(s.B.Y, far)))}
}

// thickness estimates how thick a piece of metal is: twice the area over the
// circumference, the radius of a circle, 0 of a foil.
func thickness(s Shape) float64 {
	switch s := s.(type) {
	case Circle:
		return s.Diameter / 2
	case Rectangle:
		w, h := s.X1-s.X0, s.Y1-s.Y0
		return 1 / (1/w + 1/h)
	case Polygon:
		area, round := 0.0, 0.0
		for i, a := range s {
			b := s[(i+1)%len(s)]
			area += ((a.X-s[0].X)*(b.Y-s[0].Y) - (b.X-s[0].X)*(a.Y-s[0].Y)) / 2
			round += math.Hypot(b.X-a.X, b.Y-a.Y)
		}
		return 2 * math.Abs(area) / round
	}
	return 0
}

// reach puts an open end a little beyond the region's far edge, so that the
// region clips it.
func reach(x, far float64) float64 { return min(max(x, -1.5*far), 1.5*far) }

// inside says whether z lies in the shape. Points on the outline are the
// caller's business: he asks beside them.
func inside(s Shape, z complex128) bool {
	x, y := real(z), imag(z)
	switch s := s.(type) {
	case Circle:
		return math.Hypot(x-s.Centre.X, y-s.Centre.Y) < s.Diameter/2
	case Rectangle:
		return x > s.X0 && x < s.X1 && y > s.Y0 && y < s.Y1
	case Polygon:
		in := false
		for i, a := range s {
			b := s[(i+1)%len(s)]
			if (a.Y > y) != (b.Y > y) && x < a.X+(y-a.Y)*(b.X-a.X)/(b.Y-a.Y) {
				in = !in
			}
		}
		return in
	}
	return false // a segment has no inside
}
