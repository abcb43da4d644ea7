package xsection

import (
	"fmt"
	"math"
	"math/cmplx"
	"sort"
)

// The section is worked on moved to the origin and scaled to unit size, so
// that one set of tolerances serves every size.
const (
	farEdge  = 1e4  // where open sides are cut off; the error falls as its square
	snap     = 1e-9 // points closer than this are one point
	beside   = 1e-7 // how far beside a curve its two sides are looked up
	smallest = 1e-6 // pieces must be at least this long, so that beside stays inside them
)

// A place says what lies at a point.
type place struct {
	out    bool
	metal  int // index of the conductor, or -1
	eps    float64
	region int // index of the first dielectric of the same material, or -1 for the background
}

// What an edge separates.
type edgeKind int

const (
	metalEdge    edgeKind = iota // a conductor's surface: potential given
	mirrorEdge                   // a magnetic side: no flux
	materialEdge                 // two dielectrics: flux continuous
)

// An edge is a stretch of boundary on which charge sits.
type edge struct {
	curve
	kind        edgeKind
	v           [2]int
	net         int // 0: the reference, then signals in order
	metal       int // index of the conductor; len(conductors) for the sides and the shield
	foil        bool
	left, right place
	open        [2]float64 // metal: angle open to the field at either end, rad
}

// An arrangement is the section cut into edges.
type arrangement struct {
	centre   complex128 // of the unscaled section, m
	scale    float64    // m
	section  Section    // moved and scaled
	edges    []edge
	vertex   []complex128
	corner   []bool // vertices at which the charge is not smooth
	nets     []string
	mirrored bool // some side is magnetic: then the outside is not free of field

	symmetric bool   // about the axis x = 0, but for the names of the conductors
	mirror    []twin // if symmetric: of each edge
}

// piece is a curve of the input before and after cutting.
type piece struct {
	curve
	v      [2]int
	side   bool // of the region
	kind   Kind
	foil   int // index of the conductor that is a segment, or -1
	solid  int // index of the conductor it outlines, or -1
	source string
}

// arrange cuts the section into edges. It returns every fault it finds.
func arrange(s Section) (*arrangement, error) {
	if f := s.checkValues(); len(f) > 0 {
		return nil, f
	}
	a := &arrangement{nets: append([]string{Ground}, s.Signals()...)}
	a.centre, a.scale = s.extent()
	s = s.scaled(a.centre, a.scale)
	a.section = s
	var faults Faults
	netOf := make([]int, len(s.Conductors)+1)
	for i, c := range s.Conductors {
		for k, name := range a.nets {
			if name == c.Name {
				netOf[i] = k
			}
		}
	}
	name := func(i int) string { return s.pieceName(i) }

	pieces := a.cut(s)
	x0, x1, y0, y1 := s.Region.box()
	overlap := map[[2]int]bool{}
	first := s.firstOfMaterial()
	locate := func(z complex128) place {
		p := place{metal: -1, region: -1, eps: s.Background.permittivity()}
		if s.Region.Shield != nil {
			p.out = !inside(s.Region.Shield, z)
		} else {
			p.out = real(z) < x0 || real(z) > x1 || imag(z) < y0 || imag(z) > y1
		}
		for i, c := range s.Conductors {
			if inside(c.Shape, z) {
				if p.metal >= 0 && netOf[p.metal] != netOf[i] {
					overlap[[2]int{p.metal, i}] = true
				}
				p.metal = i
			}
		}
		for i := len(s.Dielectrics) - 1; i >= 0; i-- {
			if inside(s.Dielectrics[i].Shape, z) {
				p.region, p.eps = first[i], s.Dielectrics[i].permittivity()
				break
			}
		}
		return p
	}
	outside := make([]bool, len(s.Conductors))
	within := make([]bool, len(s.Conductors))
	touch := func(i, j int) { overlap[[2]int{min(i, j), max(i, j)}] = true }
	wall := len(s.Conductors)
	for _, p := range pieces {
		h := min(beside, p.length()/4)
		n := p.direction(0.5) * 1i * complex(h, 0)
		l, r := locate(p.at(0.5)+n), locate(p.at(0.5)-n)
		own := max(p.solid, p.foil)
		if own >= 0 {
			if l.out && r.out {
				outside[own] = outside[own] || !s.Region.mirrors(p.at(0.5))
			} else {
				within[own] = true
			}
		}
		e := edge{curve: p.curve, v: p.v, left: l, right: r, metal: -1}
		switch {
		case l.out && r.out:
			continue
		case l.out || r.out:
			in := l
			if l.out {
				in = r
			}
			if p.kind == Electric && (in.metal >= 0 && netOf[in.metal] != 0 || p.foil >= 0 && netOf[p.foil] != 0) {
				touch(max(in.metal, p.foil), wall)
			}
			if p.kind == Open || p.kind == Electric && in.metal >= 0 {
				continue
			}
			e.kind = mirrorEdge
			switch {
			case p.kind == Electric:
				e.kind, e.metal = metalEdge, wall
			case in.metal >= 0: // cut by a mirror: the cut keeps the inside closed, and carries nothing
				e.kind, e.metal = metalEdge, in.metal
			case p.foil >= 0:
				e.kind, e.metal = metalEdge, p.foil
			}
			a.mirrored = a.mirrored || p.kind == Magnetic
		case l.metal >= 0 && r.metal >= 0:
			if netOf[l.metal] != netOf[r.metal] {
				touch(l.metal, r.metal)
			}
			if p.foil >= 0 && netOf[p.foil] != netOf[l.metal] {
				touch(p.foil, l.metal)
			}
			continue
		case l.metal >= 0 || r.metal >= 0:
			e.kind, e.metal = metalEdge, max(l.metal, r.metal)
			if p.foil >= 0 && netOf[p.foil] != netOf[e.metal] {
				touch(p.foil, e.metal)
			}
		case p.foil >= 0:
			e.kind, e.metal, e.foil = metalEdge, p.foil, true
			if p.solid >= 0 && netOf[p.solid] != netOf[p.foil] {
				touch(p.solid, p.foil)
			}
		case l.region != r.region: // of one permittivity too: the loss may differ, and the energies are told apart here
			e.kind = materialEdge
		default:
			continue
		}
		if e.metal >= 0 {
			e.net = netOf[e.metal]
		}
		a.edges = append(a.edges, e)
	}

	// Two nets must not meet in a point either.
	met := make([]int, len(a.vertex))
	for _, e := range a.edges {
		if e.kind != metalEdge {
			continue
		}
		for _, v := range e.v {
			switch {
			case met[v] == 0:
				met[v] = e.metal + 1
			case netOf[met[v]-1] != e.net:
				touch(met[v]-1, e.metal)
			}
		}
	}
	pairs := make([][2]int, 0, len(overlap))
	for k := range overlap {
		pairs = append(pairs, k)
	}
	sort.Slice(pairs, func(i, j int) bool {
		return pairs[i][0] < pairs[j][0] || pairs[i][0] == pairs[j][0] && pairs[i][1] < pairs[j][1]
	})
	for _, k := range pairs {
		faults = append(faults, Fault{name(k[0]), "touches or overlaps " + name(k[1]), ErrOverlap,
			"move one of them, or give both the same name if they are one conductor"})
	}
	for i, c := range s.Conductors {
		if outside[i] && (netOf[i] != 0 && !unbounded(c.Shape) || !within[i]) {
			faults = append(faults, Fault{name(i), "reaches outside the region", ErrOutside,
				"move the side or the shield outwards, or the conductor inwards"})
		}
	}
	exposed := make([]bool, len(a.nets))
	for _, e := range a.edges {
		if e.kind == metalEdge {
			exposed[e.net] = true
		}
	}
	if len(faults) == 0 {
		for k, name := range a.nets {
			switch {
			case exposed[k]:
			case k == 0:
				faults = append(faults, Fault{"section", "has no reference conductor", ErrNoReference,
					fmt.Sprintf("close a side with an electric plane, add a shield, or name the return conductor %q", Ground)})
			default:
				faults = append(faults, Fault{"conductor " + name, "has no surface in the region", ErrOutside, "move it out of the other metal"})
			}
		}
		if len(a.nets) == 1 {
			faults = append(faults, Fault{"section", "has no signal conductor", ErrNoSignal,
				fmt.Sprintf("add a conductor whose name is not %q", Ground)})
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	a.findCorners()
	a.symmetric = a.pairUp() != nil
	a.join()
	a.mirror = a.pairUp()
	return a, nil
}

// cut splits the outlines of everything where they meet.
func (a *arrangement) cut(s Section) []piece {
	var raw []piece
	add := func(cs []curve, p piece) {
		for _, c := range cs {
			if c.length() > snap {
				q := p
				q.curve = c
				raw = append(raw, q)
			}
		}
	}
	none := piece{foil: -1, solid: -1}
	if s.Region.Shield != nil {
		p := none
		p.side, p.kind, p.source = true, Electric, "the shield"
		add(s.Region.Shield.outline(farEdge), p)
	} else {
		x0, x1, y0, y1 := s.Region.box()
		box := Rectangle{x0, x1, y0, y1}.outline(farEdge)
		for i, side := range []Side{s.Region.Bottom, s.Region.Right, s.Region.Top, s.Region.Left} {
			p := none
			p.side, p.kind = true, side.Kind
			add(box[i:i+1], p)
		}
	}
	for _, d := range s.Dielectrics {
		add(d.Shape.outline(farEdge), none)
	}
	for i, c := range s.Conductors {
		p := none
		if _, ok := c.Shape.(Segment); ok {
			p.foil = i
		} else {
			p.solid = i
		}
		add(c.Shape.outline(farEdge), p)
	}

	axis := straight(complex(0, -2*farEdge), complex(0, 2*farEdge)) // of a symmetry there may be
	ts := make([][]float64, len(raw))
	for i := range raw {
		ts[i] = append(ts[i], 0, 1)
		for _, z := range crossings(raw[i].curve, axis, snap) {
			if t, _ := raw[i].nearest(z); t > 0 && t < 1 {
				ts[i] = append(ts[i], t)
			}
		}
		for j := 0; j < i; j++ {
			for _, z := range crossings(raw[i].curve, raw[j].curve, snap) {
				for _, k := range []int{i, j} {
					if t, _ := raw[k].nearest(z); t > 0 && t < 1 {
						ts[k] = append(ts[k], t)
					}
				}
			}
		}
	}
	grid := map[[2]int64][]int{}
	vertexOf := func(z complex128) int {
		const cell = 4 * snap
		x, y := int64(math.Floor(real(z)/cell)), int64(math.Floor(imag(z)/cell))
		for i := x - 1; i <= x+1; i++ {
			for j := y - 1; j <= y+1; j++ {
				for _, v := range grid[[2]int64{i, j}] {
					if cmplx.Abs(a.vertex[v]-z) <= cell/2 {
						return v
					}
				}
			}
		}
		a.vertex = append(a.vertex, z)
		grid[[2]int64{x, y}] = append(grid[[2]int64{x, y}], len(a.vertex)-1)
		return len(a.vertex) - 1
	}
	var out []piece
	seen := map[[2]int][]int{}
	for i, p := range raw {
		sort.Float64s(ts[i])
		from, v0 := 0.0, vertexOf(p.at(0))
		for _, t := range ts[i][1:] {
			v1 := vertexOf(p.at(t))
			if v1 == v0 && (t-from)*p.length() < smallest {
				continue
			}
			q := p
			q.curve = p.part(from, t)
			q.v = [2]int{v0, v1}
			from, v0 = t, v1
			if q.radius == 0 {
				q.a, q.b = a.vertex[q.v[0]], a.vertex[q.v[1]]
			}
			key := [2]int{min(q.v[0], q.v[1]), max(q.v[0], q.v[1])}
			twin := -1
			for _, k := range seen[key] {
				if _, d := out[k].nearest(q.at(0.5)); d <= 4*snap {
					twin = k
				}
			}
			if twin < 0 {
				seen[key] = append(seen[key], len(out))
				out = append(out, q)
				continue
			}
			if q.side {
				out[twin].side, out[twin].kind = true, q.kind
			}
			out[twin].foil = max(out[twin].foil, q.foil)
			out[twin].solid = max(out[twin].solid, q.solid)
		}
	}
	return out
}

// findCorners marks the vertices at which charge density is not smooth, and
// measures the angle open to the field at the ends of metal edges.
func (a *arrangement) findCorners() {
	type end struct {
		e, k int
		away complex128 // direction leaving the vertex
	}
	at := make([][]end, len(a.vertex))
	for i, e := range a.edges {
		at[e.v[0]] = append(at[e.v[0]], end{i, 0, e.direction(0)})
		at[e.v[1]] = append(at[e.v[1]], end{i, 1, -e.direction(1)})
	}
	a.corner = make([]bool, len(a.vertex))
	for v, ends := range at {
		if len(ends) == 0 || cmplx.Abs(a.vertex[v]) > farEdge/2 {
			continue
		}
		a.corner[v] = true
		if len(ends) == 2 {
			p, q := a.edges[ends[0].e], a.edges[ends[1].e]
			pl, pr, ql, qr := p.left, p.right, q.left, q.right
			if ends[0].k == ends[1].k {
				ql, qr = qr, ql
			}
			same := func(s, t place) bool {
				return s.out == t.out && (s.metal >= 0) == (t.metal >= 0) && (s.region == t.region || s.metal >= 0 || s.out)
			}
			if p.kind == q.kind && p.net == q.net && same(pl, ql) && same(pr, qr) &&
				cmplx.Abs(ends[0].away+ends[1].away) < 1e-6 {
				a.corner[v] = false
			}
		}
	}
	for v, ends := range at {
		for _, s := range ends {
			e := &a.edges[s.e]
			e.open[s.k] = math.Pi
			if e.kind != metalEdge || !a.corner[v] {
				continue
			}
			// Turn from this edge through the field to the next metal or mirror.
			free := func(p place) bool { return !p.out && p.metal < 0 }
			ccw := free(e.left) == (s.k == 0) // the field lies counter-clockwise of the direction away
			if free(e.left) && free(e.right) {
				ccw = true
			}
			turn := 2 * math.Pi
			for _, o := range ends {
				if o == s || a.edges[o.e].kind == materialEdge {
					continue
				}
				d := cmplx.Phase(o.away * cmplx.Conj(s.away))
				if !ccw {
					d = -d
				}
				if d <= 1e-9 {
					d += 2 * math.Pi
				}
				if a.edges[o.e].kind == mirrorEdge {
					d *= 2 // the mirror image closes the wedge
				}
				turn = min(turn, d)
			}
			e.open[s.k] = turn
		}
	}
}

// A twin is an edge's image in the axis.
type twin struct {
	edge     int
	reversed bool // it runs from the image of the end to that of the start
	here     bool // the edge lies at x > 0: its charge is an unknown, its twin's follows
}

// pairUp finds each edge's image in the axis x = 0, or nil if one is missing.
// The section was centred, so that no other upright axis is possible.
func (a *arrangement) pairUp() []twin {
	image := func(z complex128) complex128 { return -cmplx.Conj(z) }
	alike := func(p, q place) bool {
		return p.out == q.out && (p.metal >= 0) == (q.metal >= 0) && (p.metal >= 0 || p.out || p.eps == q.eps)
	}
	out := make([]twin, len(a.edges))
	for i := range a.edges {
		e := &a.edges[i]
		out[i].edge = -1
		middle := image(e.at(0.5))
		for j := range a.edges {
			f := &a.edges[j]
			if i == j || e.kind != f.kind || e.foil != f.foil || cmplx.Abs(f.at(0.5)-middle) > 4*snap {
				continue
			}
			straightOn := cmplx.Abs(f.a-image(e.a)) < 8*snap && cmplx.Abs(f.b-image(e.b)) < 8*snap
			back := cmplx.Abs(f.a-image(e.b)) < 8*snap && cmplx.Abs(f.b-image(e.a)) < 8*snap
			l, r := f.left, f.right
			if straightOn {
				l, r = r, l // a reflection exchanges the sides
			}
			if (straightOn || back) && alike(e.left, l) && alike(e.right, r) {
				out[i] = twin{j, back, real(e.at(0.5)) > 0}
			}
		}
		if out[i].edge < 0 {
			return nil
		}
	}
	return out
}

// join makes one edge of straight ones that go on smoothly, so that panels need
// not end where only an invisible line meets the edge.
func (a *arrangement) join() {
	at := make([][]int, len(a.vertex))
	for i, e := range a.edges {
		at[e.v[0]] = append(at[e.v[0]], i)
		at[e.v[1]] = append(at[e.v[1]], i)
	}
	gone := make([]bool, len(a.edges))
	for v, both := range at {
		if a.corner[v] || len(both) != 2 || both[0] == both[1] || a.symmetric && math.Abs(real(a.vertex[v])) < 4*snap {
			continue
		}
		p, q := &a.edges[both[0]], &a.edges[both[1]]
		if p.radius > 0 || q.radius > 0 || p.kind != q.kind || p.metal != q.metal || p.foil != q.foil {
			continue
		}
		if p.v[0] == v && q.v[1] == v {
			p, q, both[0], both[1] = q, p, both[1], both[0]
		}
		if p.v[1] != v || q.v[0] != v || p.left != q.left || p.right != q.right || cmplx.Abs(p.direction(0)-q.direction(0)) > 1e-6 {
			continue
		}
		p.b, p.v[1], p.open[1] = q.b, q.v[1], q.open[1]
		gone[both[1]] = true
		for k, i := range at[p.v[1]] {
			if i == both[1] {
				at[p.v[1]][k] = both[0]
			}
		}
	}
	kept := a.edges[:0]
	for i, e := range a.edges {
		if !gone[i] {
			kept = append(kept, e)
		}
	}
	a.edges = kept
}

// box returns the region's sides, open ones at the far edge.
func (r Region) box() (x0, x1, y0, y1 float64) {
	at := func(s Side, open float64) float64 {
		if s.Kind == Open {
			return open
		}
		return s.At
	}
	return at(r.Left, -farEdge), at(r.Right, farEdge), at(r.Bottom, -farEdge), at(r.Top, farEdge)
}

// firstOfMaterial maps each dielectric to the first of the same material, or to
// −1 if that is the background's.
func (s Section) firstOfMaterial() []int {
	out := make([]int, len(s.Dielectrics))
	same := func(m, n Material) bool {
		return m.permittivity() == n.permittivity() && m.LossTangent == n.LossTangent
	}
	for i, d := range s.Dielectrics {
		out[i] = i
		for j := i - 1; j >= 0; j-- {
			if same(d.Material, s.Dielectrics[j].Material) {
				out[i] = j
			}
		}
		if same(d.Material, s.Background) {
			out[i] = -1
		}
	}
	return out
}

// mirrors says whether z lies beyond magnetic sides only: there is the image of
// what is inside.
func (r Region) mirrors(z complex128) bool {
	if r.Shield != nil {
		return false
	}
	beyond := func(s Side, by float64) bool { return s.Kind != Magnetic && by > 0 }
	x0, x1, y0, y1 := r.box()
	return !(beyond(r.Left, x0-real(z)) || beyond(r.Right, real(z)-x1) || beyond(r.Bottom, y0-imag(z)) || beyond(r.Top, imag(z)-y1))
}

// extent returns the middle and the size of the bounding box of all that is
// finite.
func (s Section) extent() (centre complex128, size float64) {
	lox, hix, loy, hiy := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	x := func(vs ...float64) {
		for _, v := range vs {
			if !math.IsInf(v, 0) {
				lox, hix = min(lox, v), max(hix, v)
			}
		}
	}
	y := func(vs ...float64) {
		for _, v := range vs {
			if !math.IsInf(v, 0) {
				loy, hiy = min(loy, v), max(hiy, v)
			}
		}
	}
	shape := func(sh Shape) {
		switch sh := sh.(type) {
		case Polygon:
			for _, p := range sh {
				x(p.X)
				y(p.Y)
			}
		case Rectangle:
			x(sh.X0, sh.X1)
			y(sh.Y0, sh.Y1)
		case Circle:
			x(sh.Centre.X-sh.Diameter/2, sh.Centre.X+sh.Diameter/2)
			y(sh.Centre.Y-sh.Diameter/2, sh.Centre.Y+sh.Diameter/2)
		case Segment:
			x(sh.A.X, sh.B.X)
			y(sh.A.Y, sh.B.Y)
		}
	}
	if s.Region.Shield != nil {
		shape(s.Region.Shield)
	} else {
		for _, d := range s.Dielectrics {
			shape(d.Shape)
		}
		for i, side := range []Side{s.Region.Left, s.Region.Right, s.Region.Bottom, s.Region.Top} {
			if side.Kind != Open {
				[]func(...float64){x, y}[i/2](side.At)
			}
		}
	}
	for _, c := range s.Conductors {
		shape(c.Shape)
	}
	mid := func(lo, hi float64) float64 {
		if lo > hi {
			return 0
		}
		return (lo + hi) / 2
	}
	return complex(mid(lox, hix), mid(loy, hiy)), max(hix-lox, hiy-loy)
}

// scaled returns the section moved by −centre and divided by size.
func (s Section) scaled(centre complex128, size float64) Section {
	x := func(v float64) float64 { return (v - real(centre)) / size }
	y := func(v float64) float64 { return (v - imag(centre)) / size }
	shape := func(sh Shape) Shape {
		switch sh := sh.(type) {
		case Polygon:
			p := make(Polygon, len(sh))
			for i, c := range sh {
				p[i] = Point{x(c.X), y(c.Y)}
			}
			return p
		case Rectangle:
			return Rectangle{x(sh.X0), x(sh.X1), y(sh.Y0), y(sh.Y1)}
		case Circle:
			return Circle{Point{x(sh.Centre.X), y(sh.Centre.Y)}, sh.Diameter / size}
		case Segment:
			return Segment{Point{x(sh.A.X), y(sh.A.Y)}, Point{x(sh.B.X), y(sh.B.Y)}}
		}
		return sh
	}
	t := s
	t.Dielectrics = append([]Dielectric(nil), s.Dielectrics...)
	for i := range t.Dielectrics {
		t.Dielectrics[i].Shape = shape(t.Dielectrics[i].Shape)
	}
	t.Conductors = append([]Conductor(nil), s.Conductors...)
	for i := range t.Conductors {
		t.Conductors[i].Shape = shape(t.Conductors[i].Shape)
	}
	if t.Region.Shield != nil {
		t.Region.Shield = shape(t.Region.Shield)
	}
	t.Region.Left.At, t.Region.Right.At = x(s.Region.Left.At), x(s.Region.Right.At)
	t.Region.Bottom.At, t.Region.Top.At = y(s.Region.Bottom.At), y(s.Region.Top.At)
	return t
}

func unbounded(s Shape) bool {
	switch s := s.(type) {
	case Rectangle:
		return math.IsInf(s.X0, 0) || math.IsInf(s.X1, 0) || math.IsInf(s.Y0, 0) || math.IsInf(s.Y1, 0)
	case Segment:
		return math.IsInf(s.A.X, 0) || math.IsInf(s.B.X, 0) || math.IsInf(s.A.Y, 0) || math.IsInf(s.B.Y, 0)
	}
	return false
}
