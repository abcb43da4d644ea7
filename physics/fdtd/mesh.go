package fdtd

import (
	"fmt"
	"math"
	"sort"
)

// The automatic grid. Along each axis planes stand on every face of a solid and at ports'
// reference planes, and
// between two of them cells no larger than asked. Where a narrow thing stands
// between two planes it gets a number of cells of its own:
//
//   - a gap of whatever is not metal between two metals (or a metal and an electric
//     side): Options.Across, 4 unless told otherwise;
//   - the width of a conductor, and the diameter of a round thing: as many, and twice as many;
//   - a layer of dielectric between others: half as many;
//   - the thickness of a conductor that is thin beside its other extents: a quarter.
//
// From there cells grow by about a third from one to the next. At a side with a port
// six cells are equal. Faces closer to each other than a twentieth of the cell share a
// plane, unless one thing has both, or two things leave a gap between them there.

// growth of the cell along the grid, per cell.
const growth = 0.35

// mostSorted is the number of solids up to which narrow things are looked for, by a
// search of all solids at each plane; beyond, planes and the wavelength alone count.
const mostSorted = 3000

// A face is a plane's reason: a side of a solid.
type face struct {
	x     float64
	solid int // −1: of the region or a port's plane
	high  bool
}

// A mesh is the division of one axis.
type mesh struct {
	at       []float64
	least    float64 // the smallest cell
	smallest string  // what asks for it
}

// Narrow is Across with its default.
func (o Options) Narrow() int { return int(or(float64(o.Across), 4)) }

// divideAxis finds the planes of axis a with cells of at most step.
func divideAxis(m *Model, a int, step float64, across int) mesh {
	if len(m.Lines[a]) > 0 {
		return mesh{at: m.Lines[a]}
	}
	lo, hi := m.Region.Low[a], m.Region.High[a]
	tol := 1e-9 * (hi - lo)
	faces := []face{{lo, -1, false}, {hi, -1, true}}
	for i, s := range m.Solids {
		l, h := s.Shape.Bounds()
		for k, x := range [2]float64{l[a], h[a]} {
			if x > lo+tol && x < hi-tol {
				faces = append(faces, face{x, i, k == 1})
			}
		}
	}
	for _, p := range m.Ports { // the surface of lossy metal is counted up to its plane
		if int(p.Side)/2 == a && p.Plane > lo+tol && p.Plane < hi-tol {
			faces = append(faces, face{p.Plane, -1, false})
		}
	}
	sort.SliceStable(faces, func(i, j int) bool { return faces[i].x < faces[j].x })
	// planes and the faces on each
	var planes []float64
	var on [][]face
	for _, f := range faces {
		n := len(planes)
		same := n > 0 && f.x-planes[n-1] < tol
		if !same && n > 0 && f.x-planes[n-1] < 0.05*step && f.solid >= 0 {
			same = true
			for _, p := range on[n-1] { // a thing between the two, or a gap
				if p.solid < 0 || p.solid == f.solid || p.high && !f.high {
					same = false
				}
			}
		}
		if same {
			on[n-1] = append(on[n-1], f)
			continue
		}
		planes, on = append(planes, f.x), append(on, []face{f})
	}
	n := len(planes) - 1
	size, why := make([]float64, n), make([]string, n) // largest cell of each interval
	for i := range n {
		size[i] = step
		cells, name := m.cells(a, planes[i], planes[i+1], on[i], on[i+1], across)
		if l := (planes[i+1] - planes[i]) / float64(cells); l < size[i] {
			size[i], why[i] = l, name
			if name == "" {
				why[i] = "the distance between the faces of " + m.owner(on[i]) + " and " + m.owner(on[i+1])
			}
		}
	}
	// at the planes, and from there along the axis
	node := make([]float64, n+1)
	for i := range node {
		node[i] = step
		if i > 0 {
			node[i] = min(node[i], size[i-1])
		}
		if i < n {
			node[i] = min(node[i], size[i])
		}
	}
	for i := range n {
		node[i+1] = min(node[i+1], node[i]+growth*(planes[i+1]-planes[i]))
	}
	for i := n - 1; i >= 0; i-- {
		node[i] = min(node[i], node[i+1]+growth*(planes[i+1]-planes[i]))
	}
	out := mesh{at: []float64{lo}, least: math.Inf(1)}
	for i := range n {
		p, q := planes[i], planes[i+1]
		from := len(out.at) - 1
		portLow, portHigh := i == 0 && m.portAt(a, 0), i == n-1 && m.portAt(a, 1)
		out.at = append(out.at, grade(p, q, size[i], node[i], node[i+1], portLow, portHigh)...)
		for k := from; k+1 < len(out.at); k++ {
			if d := out.at[k+1] - out.at[k]; d < out.least*(1-1e-9) {
				out.least, out.smallest = d, why[i]
			}
		}
	}
	return out
}

// owner names what has a face on a plane.
func (m *Model) owner(faces []face) string {
	for _, f := range faces {
		if f.solid >= 0 {
			return m.Solids[f.solid].Name
		}
	}
	return "the region"
}

// portAt says whether a port stands at a side of axis a.
func (m *Model) portAt(a, side int) bool {
	for _, p := range m.Ports {
		if int(p.Side) == 2*a+side {
			return true
		}
	}
	return false
}

// grade divides p to q into cells no larger than most, that begin with about first and
// end with about last; it returns the planes after p. Six are equal at a port.
func grade(p, q, most, first, last float64, portLow, portHigh bool) (out []float64) {
	const equal = 6
	if portLow || portHigh {
		ends := 0.0
		if portLow {
			ends++
		}
		if portHigh {
			ends++
		}
		h := most
		if portHigh && !portLow {
			h = min(most, first+growth*(q-p))
		} else if portLow && !portHigh {
			h = min(most, last+growth*(q-p))
		}
		if h = min(h, (q-p)/(equal+2)/ends); q-p > (equal*ends+1)*h && h < most*(1-1e-9) || ends == 2 || q-p > 2*equal*h {
			if ends == 2 { // between two ports and no face: equal cells
				return even(p, q, int(max(2*equal, math.Ceil((q-p)/most-1e-9))))
			}
			if portLow {
				out = even(p, p+equal*h, equal)
				return append(out, grade(p+equal*h, q, most, h, last, false, false)...)
			}
			out = grade(p, q-equal*h, most, first, h, false, false)
			return append(out, even(q-equal*h, q, equal)...)
		}
		return even(p, q, int(max(equal, math.Ceil((q-p)/min(most, first, last)-1e-9))))
	}
	const parts = 400
	sum := make([]float64, parts+1) // cells up to each part
	l := q - p
	for i := range parts {
		x := (float64(i) + 0.5) / parts * l
		sum[i+1] = sum[i] + l/parts/min(most, first+growth*x, last+growth*(l-x))
	}
	n := max(1, int(math.Ceil(sum[parts]-1e-6)))
	for i := 1; i < n; i++ {
		want := sum[parts] * float64(i) / float64(n)
		k := sort.SearchFloat64s(sum, want)
		part := (want - sum[k-1]) / (sum[k] - sum[k-1])
		out = append(out, p+l*(float64(k-1)+part)/parts)
	}
	return append(out, q)
}

func even(p, q float64, n int) (out []float64) {
	for i := 1; i < n; i++ {
		out = append(out, p+(q-p)*float64(i)/float64(n))
	}
	return append(out, q)
}

// cells returns how many cells the things between two planes of axis a ask for, at
// least one, and says which thing.
func (m *Model) cells(a int, p, q float64, low, high []face, across int) (cells int, name string) {
	cells = 1
	if len(m.Solids) > mostSorted {
		return cells, ""
	}
	ask := func(n int, format string, args ...any) {
		if n > cells || n == cells && name == "" {
			cells, name = n, fmt.Sprintf(format, args...)
		}
	}
	pairs := 16
	if len(m.Solids) > 300 {
		pairs = 2
	}
	for _, f := range low {
		for _, h := range high {
			if pairs--; pairs < 0 {
				return cells, name
			}
			at, ok := m.between(a, f, h)
			if !ok {
				continue
			}
			what := func(x float64) (metal bool, solid int) {
				at[a] = x
				return m.standing(at)
			}
			l := q - p
			mid, thing := what(p + l/2)
			beyond := func(x, out float64) (metal bool, solid int) { // a sheet stands on the plane itself
				if metal, solid = what(x); metal {
					return metal, solid
				}
				return what(out)
			}
			before, below := beyond(p, p-0.01*l)
			after, above := beyond(q, q+0.01*l)
			if p <= m.Region.Low[a] {
				before, below = m.Boundaries[2*a] == Electric, -2
			}
			if q >= m.Region.High[a] {
				after, above = m.Boundaries[2*a+1] == Electric, -2
			}
			title := "the background"
			if thing >= 0 {
				title = m.Solids[thing].Name
			}
			_, round := m.shape(thing).(Cylinder)
			if round {
				round = m.Solids[thing].Shape.(Cylinder).Axis != a && f.solid == thing && h.solid == thing
			}
			switch {
			case round:
				ask(2*across, "the diameter of %s", title)
			case !mid && before && after && (f.solid >= 0 || h.solid >= 0): // a hollow guide needs no more than its wavelength
				ask(across, "the gap in %s", title)
			case mid && thing >= 0 && !before && !after:
				n, extent := across, "width"
				lo, hi := m.Solids[thing].Shape.Bounds()
				u, v := (a+1)%3, (a+2)%3
				if 4*l < min(hi[u]-lo[u], hi[v]-lo[v]) {
					n, extent = max(1, across/4), "thickness"
				}
				ask(n, "the %s of %s", extent, title)
			case !mid && thing != below && thing != above && below != -2 && above != -2:
				ask((across+1)/2, "the thickness of %s", title)
			}
		}
	}
	return cells, name
}

func (m *Model) shape(i int) Shape {
	if i < 0 {
		return nil
	}
	return m.Solids[i].Shape
}

// between returns the middle of what two faces have in common across axis a.
func (m *Model) between(a int, f, h face) (p Point, ok bool) {
	lo, hi := m.Region.Low, m.Region.High
	for _, s := range []int{f.solid, h.solid} {
		if s < 0 {
			continue
		}
		l, u := m.Solids[s].Shape.Bounds()
		for b := range 3 {
			lo[b], hi[b] = max(lo[b], l[b]), min(hi[b], u[b])
		}
	}
	for b := range 3 {
		if b != a && lo[b] > hi[b] {
			return p, false
		}
		p[b] = (lo[b] + hi[b]) / 2
	}
	return p, true
}

// standing returns what stands at p: whether it is metal, and which solid; −1: the background.
func (m *Model) standing(p Point) (metal bool, solid int) {
	for i := len(m.Solids) - 1; i >= 0; i-- {
		if m.Solids[i].Shape.Holds(p, 1e-12) {
			return m.Solids[i].Material.Metal, i
		}
	}
	return m.Background.Metal, -1
}
