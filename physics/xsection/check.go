package xsection

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// The rules a section can break.
var (
	ErrValue       = errors.New("value makes no sense")
	ErrDegenerate  = errors.New("shape has no area or no length")
	ErrCrossing    = errors.New("outline crosses itself")
	ErrOverlap     = errors.New("two conductors share a place")
	ErrOutside     = errors.New("conductor lies outside the region")
	ErrNoReference = errors.New("no reference conductor")
	ErrNoSignal    = errors.New("no signal conductor")
	ErrAccuracy    = errors.New("accuracy not reached")
)

// A Fault says which piece of a section breaks a rule, how, and what to change.
type Fault struct {
	Piece   string // "conductor 2 (trace)"; numbers count from 1 in the order given
	Problem string
	Err     error // one of this package's Err values
	Help    string
}

func (f Fault) Error() string {
	return f.Piece + " " + f.Problem + ": " + f.Err.Error() + "; " + f.Help
}
func (f Fault) Unwrap() error { return f.Err }

// Faults is the list of all faults found.
type Faults []Fault

func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lets errors.Is find each fault.
func (fs Faults) Unwrap() []error {
	errs := make([]error, len(fs))
	for i, f := range fs {
		errs[i] = f
	}
	return errs
}

// pieceName names a conductor; the index after the last is the sides.
func (s Section) pieceName(i int) string {
	switch {
	case i < len(s.Conductors):
		return fmt.Sprintf("conductor %d (%s)", i+1, s.Conductors[i].Name)
	case s.Region.Shield != nil:
		return "the shield"
	}
	return "an electric side"
}

// Check returns every fault of the section, as [Faults], or nil. [Solve] does
// it first.
func (s Section) Check() error {
	_, err := arrange(s)
	return err
}

// checkValues looks at each piece alone.
func (s Section) checkValues() Faults {
	var fs Faults
	fault := func(piece, problem string, err error, help string) {
		fs = append(fs, Fault{piece, problem, err, help})
	}
	material := func(piece string, m Material) {
		if !(m.Permittivity == 0 || m.Permittivity >= 1 && !math.IsInf(m.Permittivity, 0)) {
			fault(piece, fmt.Sprintf("has permittivity %g", m.Permittivity), ErrValue, "write a relative permittivity of at least 1")
		}
		if !(m.LossTangent >= 0 && m.LossTangent < 1) {
			fault(piece, fmt.Sprintf("has loss tangent %g", m.LossTangent), ErrValue, "write a loss tangent between 0 and 1")
		}
	}
	metal := func(piece string, m Metal) {
		if !(m.Conductivity >= 0 && !math.IsInf(m.Conductivity, 0)) {
			fault(piece, fmt.Sprintf("has conductivity %g S/m", m.Conductivity), ErrValue, "write it in S/m, or leave it out for copper")
		}
		if !(m.Roughness >= 0 && !math.IsInf(m.Roughness, 0)) {
			fault(piece, fmt.Sprintf("has roughness %g m", m.Roughness), ErrValue, "write the rms height in m, or leave it out for smooth metal")
		}
	}
	_, size := s.extent()
	shape := func(piece string, sh Shape, conductor bool) {
		finite := func(vs ...float64) bool {
			for _, v := range vs {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					fault(piece, fmt.Sprintf("has a coordinate %g", v), ErrValue, "write a finite coordinate; only sides of rectangles and ends of segments may be open")
					return false
				}
			}
			return true
		}
		switch sh := sh.(type) {
		case nil:
			fault(piece, "has no shape", ErrDegenerate, "give it a polygon, rectangle, circle or segment")
		case Polygon:
			for _, p := range sh {
				if !finite(p.X, p.Y) {
					return
				}
			}
			checkPolygon(sh, size, func(problem string, err error, help string) { fault(piece, problem, err, help) })
		case Rectangle:
			if math.IsNaN(sh.X0) || math.IsNaN(sh.X1) || math.IsNaN(sh.Y0) || math.IsNaN(sh.Y1) {
				fault(piece, "has a side that is not a number", ErrValue, "write a coordinate or open")
				return
			}
			if !(sh.X1-sh.X0 > smallest*size) || !(sh.Y1-sh.Y0 > smallest*size) {
				fault(piece, fmt.Sprintf("runs from x = %g to %g m and y = %g to %g m", sh.X0, sh.X1, sh.Y0, sh.Y1), ErrDegenerate,
					"write the smaller coordinate first; for metal without thickness use a segment")
			}
		case Circle:
			if finite(sh.Centre.X, sh.Centre.Y, sh.Diameter) && !(sh.Diameter > smallest*size) {
				fault(piece, fmt.Sprintf("has diameter %g m", sh.Diameter), ErrDegenerate, "write a positive diameter")
			}
		case Segment:
			switch {
			case !conductor:
				fault(piece, "is a segment", ErrDegenerate, "a dielectric needs an area: use a rectangle, polygon or circle")
			case math.IsNaN(sh.A.X) || math.IsNaN(sh.A.Y) || math.IsNaN(sh.B.X) || math.IsNaN(sh.B.Y):
				fault(piece, "has an end that is not a number", ErrValue, "write a coordinate or open")
			case !(math.Hypot(sh.B.X-sh.A.X, sh.B.Y-sh.A.Y) > smallest*size):
				fault(piece, "has two ends in one place", ErrDegenerate, "move the ends apart")
			case unbounded(sh) && sh.A.X != sh.B.X && sh.A.Y != sh.B.Y:
				fault(piece, "is open and slanted", ErrValue, "an open segment runs along x or along y")
			}
		}
	}
	material("background", s.Background)
	if s.Region.Shield != nil {
		shape("the shield", s.Region.Shield, false)
		if unbounded(s.Region.Shield) {
			fault("the shield", "is open", ErrValue, "close it, or use electric sides instead")
		}
		if r := s.Region; r.Left.Kind != Open || r.Right.Kind != Open || r.Bottom.Kind != Open || r.Top.Kind != Open {
			fault("the shield", "is given together with a side", ErrValue, "leave one of them out: a shield closes the region all round")
		}
	} else {
		r := s.Region
		for _, p := range []struct {
			lo, hi         Side
			loName, hiName string
		}{{r.Left, r.Right, "left", "right"}, {r.Bottom, r.Top, "bottom", "top"}} {
			for _, q := range []struct {
				s    Side
				name string
			}{{p.lo, p.loName}, {p.hi, p.hiName}} {
				if q.s.Kind != Open && (math.IsNaN(q.s.At) || math.IsInf(q.s.At, 0)) {
					fault("the "+q.name+" side", fmt.Sprintf("stands at %g", q.s.At), ErrValue, "write a coordinate, or leave the side open")
				}
			}
			if p.lo.Kind != Open && p.hi.Kind != Open && !(p.hi.At > p.lo.At) {
				fault("the "+p.hiName+" side", fmt.Sprintf("at %g m is not beyond the %s side at %g m", p.hi.At, p.loName, p.lo.At), ErrValue, "exchange or move them")
			}
		}
	}
	metal("region", s.Region.Metal)
	for i, d := range s.Dielectrics {
		piece := fmt.Sprintf("dielectric %d", i+1)
		shape(piece, d.Shape, false)
		material(piece, d.Material)
	}
	for i, c := range s.Conductors {
		piece := s.pieceName(i)
		shape(piece, c.Shape, true)
		metal(piece, c.Metal)
		if c.Name == "" {
			fault(piece, "has no name", ErrValue, fmt.Sprintf("name it; pieces of one name are one conductor, %q joins the reference", Ground))
		}
	}
	if len(fs) == 0 && !(size > 0) {
		fault("section", "has no extent", ErrDegenerate, "add a conductor")
	}
	return fs
}

func checkPolygon(p Polygon, size float64, fault func(problem string, err error, help string)) {
	if len(p) < 3 {
		fault(fmt.Sprintf("has %d corners", len(p)), ErrDegenerate, "a polygon needs three; for metal without thickness use a segment")
		return
	}
	area, round := 0.0, 0.0
	for i, a := range p {
		b := p[(i+1)%len(p)]
		l := math.Hypot(b.X-a.X, b.Y-a.Y)
		if !(l > smallest*size) {
			fault(fmt.Sprintf("has corners %d and %d in one place, (%g, %g) m", i+1, (i+1)%len(p)+1, a.X, a.Y), ErrDegenerate, "delete one of them")
			return
		}
		area += ((a.X-p[0].X)*(b.Y-p[0].Y) - (b.X-p[0].X)*(a.Y-p[0].Y)) / 2
		round += l
	}
	cs := p.outline(0)
	for i := range cs {
		for j := i + 1; j < len(cs); j++ {
			neighbours := j == i+1 || i == 0 && j == len(cs)-1
			zs := crossings(cs[i], cs[j], snap*size)
			shared := complex(p[j].X, p[j].Y)
			if j != i+1 {
				shared = complex(p[0].X, p[0].Y)
			}
			for _, z := range zs {
				if neighbours && math.Hypot(real(z-shared), imag(z-shared)) <= 4*snap*size {
					continue
				}
				fault(fmt.Sprintf("has sides %d and %d that meet at (%.6g, %.6g) m", i+1, j+1, real(z), imag(z)), ErrCrossing,
					"put the corners in order round the outline, or make two pieces of one name")
				return
			}
		}
	}
	if !(math.Abs(area) > smallest*size*round/2) {
		fault(fmt.Sprintf("has an area of only %.3g m²", math.Abs(area)), ErrDegenerate, "move its corners apart, or use a segment")
	}
}
