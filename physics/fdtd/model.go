package fdtd

import (
	"errors"
	"fmt"
	"math"

	"linewright/physics/material"
)

// Point is a place, or an extent, in m.
type Point [3]float64

// A Shape says which points it holds.
type Shape interface {
	// Holds says whether p lies inside; a shape without thickness holds what
	// lies within tol, in m, of it.
	Holds(p Point, tol float64) bool
	// Bounds returns the corners of the box about the shape.
	Bounds() (low, high Point)
}

// Box is a block along the axes; one without thickness is a sheet.
type Box struct{ Low, High Point }

func (b Box) Bounds() (Point, Point) { return b.Low, b.High }

func (b Box) Holds(p Point, tol float64) bool {
	for a := range 3 {
		m := 0.0
		if b.High[a] == b.Low[a] {
			m = tol
		}
		if !(p[a] > b.Low[a]-m && p[a] < b.High[a]+m) {
			return false
		}
	}
	return true
}

// Cylinder is a round rod along an axis (0 x, 1 y, 2 z) from Start.
type Cylinder struct {
	Axis           int
	Start          Point
	Radius, Length float64 // m
}

func (c Cylinder) Bounds() (low, high Point) {
	low, high = c.Start, c.Start
	for a := range 3 {
		if a == c.Axis {
			high[a] += c.Length
		} else {
			low[a] -= c.Radius
			high[a] += c.Radius
		}
	}
	return low, high
}

func (c Cylinder) Holds(p Point, tol float64) bool {
	u, v := (c.Axis+1)%3, (c.Axis+2)%3
	z, m := p[c.Axis]-c.Start[c.Axis], 0.0
	if c.Length == 0 {
		m = tol
	}
	return z > -m && z < c.Length+m && math.Hypot(p[u]-c.Start[u], p[v]-c.Start[v]) < c.Radius
}

// Prism is a polygon drawn out along an axis. The polygon's coordinates are
// those of the two axes that follow Axis in the cycle x, y, z.
type Prism struct {
	Axis     int
	Polygon  [][2]float64 // m
	From, To float64      // m, along Axis
}

func (s Prism) Bounds() (low, high Point) {
	u, v := (s.Axis+1)%3, (s.Axis+2)%3
	low[s.Axis], high[s.Axis] = s.From, s.To
	low[u], low[v], high[u], high[v] = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, q := range s.Polygon {
		low[u], high[u] = min(low[u], q[0]), max(high[u], q[0])
		low[v], high[v] = min(low[v], q[1]), max(high[v], q[1])
	}
	return low, high
}

func (s Prism) Holds(p Point, tol float64) bool {
	m := 0.0
	if s.From == s.To {
		m = tol
	}
	if !(p[s.Axis] > s.From-m && p[s.Axis] < s.To+m) {
		return false
	}
	x, y := p[(s.Axis+1)%3], p[(s.Axis+2)%3]
	in := false
	for i, a := range s.Polygon {
		b := s.Polygon[(i+1)%len(s.Polygon)]
		if (a[1] > y) != (b[1] > y) && x < a[0]+(y-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
			in = !in
		}
	}
	return in
}

// Material fills a solid. The zero value is vacuum.
type Material struct {
	Metal        bool    // a conductor
	Conductivity float64 // S/m, of a lossy dielectric
	// Conductor is the surface of metal, rough or plated; nil: perfect.
	Conductor *material.Conductor
	// Dielectric as a function of frequency. A loss tangent needs FittedAt: a
	// time-domain solution must be causal.
	Dielectric material.Dielectric
}

// Solid is a shape of a material. Where solids overlap, the later one counts.
type Solid struct {
	Name     string
	Shape    Shape
	Material Material
	// Net is the conductor a piece of metal belongs to. Metal of two nets must
	// not overlap. Empty: not checked.
	Net string
}

// Boundary is what stands at a side of the region.
type Boundary int

// The kinds of sides.
const (
	Electric Boundary = iota // a perfect conductor
	Magnetic                 // a mirror: no tangential magnetic field
	Open                     // nothing but space, or the line goes on
)

// Side is a side of the region: 2·axis, plus 1 for the high one.
type Side int

// The sides.
const (
	XLow Side = iota
	XHigh
	YLow
	YHigh
	ZLow
	ZHigh
)

// mostModes is more than a port's cross-section carries on a sensible grid.
const mostModes = 100

// Mode is what travels in a port's line.
type Mode int

// The kinds of modes.
const (
	TEM Mode = iota // between the signal and all other metal; quasi-TEM where the filling is not uniform
	TE              // of a guide: the lowest TE mode, TE10 of a hollow rectangular one
	TM              // what a mode of a port may turn out to be; not to be asked for
)

func (m Mode) String() string {
	switch m {
	case TEM:
		return "TEM"
	case TE:
		return "TE"
	case TM:
		return "TM"
	}
	return fmt.Sprintf("Mode(%d)", int(m))
}

// Port is where a line leaves the region. The side needs not be Open: the
// line behind the port always goes on.
type Port struct {
	Name string
	Side Side
	Mode Mode
	// Signal is a point of the signal conductor (TEM only), in the
	// coordinates of the two axes that follow the side's own in the cycle.
	Signal [2]float64 // m
	// Signals are points of the signal conductors of a line that has several, such as
	// a pair of strips; Signal is then not looked at. S is between the conductors, each
	// to the port's other metal, referred to Reference.
	Signals [][2]float64 // m
	// Reference is that of the conductors in Signals, in Ω; 0: 50.
	Reference float64
	// Modes is the number of modes of the port; 0: one for each signal conductor, or
	// the lowest TE. Further ones follow by their cutoffs, TE and TM, the lowest first.
	Modes int
	// Window bounds the port's cross-section, low and high corner; the whole
	// side when zero.
	Window [2][2]float64 // m
	// Plane is the coordinate, along the side's axis, of the plane that S is
	// referred to, in m.
	Plane float64
}

// signals returns the points of the port's signal conductors.
func (p Port) signals() [][2]float64 {
	if len(p.Signals) > 0 {
		return p.Signals
	}
	return [][2]float64{p.Signal}
}

// Waves is the number of rows of S that are the port's.
func (p Port) Waves() int {
	if p.Mode == TEM {
		return max(p.Modes, len(p.signals()))
	}
	return max(p.Modes, 1)
}

// Waves is the number of rows of S, and of runs.
func (m *Model) Waves() (sum int) {
	for _, p := range m.Ports {
		sum += p.Waves()
	}
	return sum
}

// Cage is a space that is meant to be closed by metal: from Inside no way of
// free cells leads to an open side of the region. [Solve] refuses a model whose cage
// has a gap the grid can see.
type Cage struct {
	Name   string
	Inside Point
}

// Model is what is solved.
type Model struct {
	Region     Box
	Background Material
	Solids     []Solid
	Boundaries [6]Boundary // by Side
	Ports      []Port
	Walls      *material.Conductor // the surface of Electric sides; nil: perfect
	Band       [2]float64          // Hz, lowest and highest frequency of interest
	Cages      []Cage              // spaces that are meant to be closed
	// Lines are the grid's planes along each axis, increasing, from one side
	// of the region to the other; an axis without lines is divided by the
	// solver (see Options.CellsPerWave).
	Lines [3][]float64 // m
}

// Check reports everything in the model that makes no sense, joined, or nil.
func (m *Model) Check() error {
	var errs []error
	bad := func(format string, args ...any) { errs = append(errs, fmt.Errorf("fdtd: "+format, args...)) }
	for a := range 3 {
		if !(m.Region.High[a] > m.Region.Low[a]) {
			bad("the region runs from %g m to %g m along %c: give it a positive extent", m.Region.Low[a], m.Region.High[a], 'x'+rune(a))
		}
		for i := 1; i < len(m.Lines[a]); i++ {
			if !(m.Lines[a][i] > m.Lines[a][i-1]) {
				bad("line %d along %c, at %g m, does not lie beyond the one before: sort the lines", i, 'x'+rune(a), m.Lines[a][i])
			}
		}
		if n := len(m.Lines[a]); n > 0 && (n < 2 || m.Lines[a][0] != m.Region.Low[a] || m.Lines[a][n-1] != m.Region.High[a]) {
			bad("the lines along %c must begin at %g m and end at %g m, the sides of the region", 'x'+rune(a), m.Region.Low[a], m.Region.High[a])
		}
	}
	if !(m.Band[1] > 0 && m.Band[0] >= 0 && m.Band[1] >= m.Band[0]) {
		bad("the band runs from %g Hz to %g Hz: give its lowest and highest frequency", m.Band[0], m.Band[1])
	}
	material := func(name string, s Material) {
		if s.Conductor != nil {
			if err := s.Conductor.Check(); err != nil {
				errs = append(errs, fmt.Errorf("fdtd: %s: %w", name, err))
			}
			if !s.Metal {
				bad("%s has a conductor's surface and is not metal: make it metal, or take the surface off", name)
			}
		}
		if err := s.Dielectric.Check(); err != nil {
			errs = append(errs, fmt.Errorf("fdtd: %s: %w", name, err))
		}
		if s.Dielectric.LossTangent > 0 && s.Dielectric.FittedAt == 0 {
			bad("%s has a loss tangent of %g that is the same at all frequencies, which is not causal: say at which frequency it was measured", name, s.Dielectric.LossTangent)
		}
		if !(s.Conductivity >= 0) {
			bad("%s has a conductivity of %g S/m: it cannot be negative", name, s.Conductivity)
		}
	}
	material("the background", m.Background)
	if m.Walls != nil {
		if err := m.Walls.Check(); err != nil {
			errs = append(errs, fmt.Errorf("fdtd: the walls: %w", err))
		}
	}
	for i, s := range m.Solids {
		if s.Shape == nil {
			bad("solid %d (%s) has no shape: give it one or leave it out", i, s.Name)
			continue
		}
		material("solid "+s.Name, s.Material)
		lo, hi := s.Shape.Bounds()
		for a := range 3 {
			if !(hi[a] >= lo[a]) {
				bad("solid %s runs from %g m to %g m along %c: exchange them", s.Name, lo[a], hi[a], 'x'+rune(a))
			}
		}
		for k, o := range m.Solids[:i] {
			if s.Material.Metal && o.Material.Metal && s.Net != "" && o.Net != "" && s.Net != o.Net && m.overlap(k, i) {
				bad("%s of net %s overlaps %s of net %s: move them apart, or give them one net", s.Name, s.Net, o.Name, o.Net)
			}
		}
	}
	for i, p := range m.Ports {
		if p.Side < XLow || p.Side > ZHigh {
			bad("port %d (%s) stands on side %d: choose XLow to ZHigh", i, p.Name, p.Side)
			continue
		}
		if p.Mode != TEM && p.Mode != TE {
			bad("port %d (%s) asks for mode %v: choose TEM or TE", i, p.Name, p.Mode)
		}
		if least := len(p.signals()); p.Mode == TEM && p.Modes != 0 && p.Modes < least || p.Modes < 0 || p.Modes > mostModes {
			bad("port %d (%s) asks for %d modes: choose 0, or %d to %d", i, p.Name, p.Modes, least, mostModes)
		}
		if !(p.Reference >= 0) || math.IsInf(p.Reference, 0) {
			bad("port %d (%s) is referred to %g Ω: give a resistance above zero", i, p.Name, p.Reference)
		}
		if w := p.Window; w != ([2][2]float64{}) && !(w[1][0] > w[0][0] && w[1][1] > w[0][1]) {
			bad("port %d (%s) has a window from (%g, %g) m to (%g, %g) m: give its low and its high corner", i, p.Name, w[0][0], w[0][1], w[1][0], w[1][1])
		}
		if a := int(p.Side) / 2; !(p.Plane >= m.Region.Low[a] && p.Plane <= m.Region.High[a]) {
			bad("port %d (%s) refers to the plane at %g m along %c, outside the region from %g m to %g m: move it inside", i, p.Name, p.Plane, 'x'+rune(a), m.Region.Low[a], m.Region.High[a])
		}
	}
	for _, c := range m.Cages {
		for a := range 3 {
			if !(c.Inside[a] > m.Region.Low[a] && c.Inside[a] < m.Region.High[a]) {
				bad("cage %s has its inside at %g m along %c, outside the region: give a point within it", c.Name, c.Inside[a], 'x'+rune(a))
			}
		}
	}
	return errors.Join(errs...)
}

// overlap looks, on a lattice over their common box, for a point where solid i is put
// onto solid k: one that no solid between them has taken from k before.
func (m *Model) overlap(k, i int) bool {
	a, b := m.Solids[k].Shape.Bounds()
	c, d := m.Solids[i].Shape.Bounds()
	const n = 12
	for u := range 3 {
		a[u], b[u] = max(a[u], c[u]), min(b[u], d[u])
		if a[u] > b[u] {
			return false
		}
	}
	const tol = 1e-12
	for l := range n * n * n {
		at := [3]int{l % n, l / n % n, l / n / n}
		var p Point
		for u := range 3 {
			p[u] = a[u] + (b[u]-a[u])*(float64(at[u])+0.5)/n
		}
		if !m.Solids[k].Shape.Holds(p, tol) || !m.Solids[i].Shape.Holds(p, tol) {
			continue
		}
		taken := false
		for _, o := range m.Solids[k+1 : i] {
			taken = taken || o.Shape != nil && o.Shape.Holds(p, tol)
		}
		if !taken {
			return true
		}
	}
	return false
}
