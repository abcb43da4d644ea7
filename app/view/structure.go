package view

import (
	"math"
	"slices"

	"linewright/app/workspace"
	"linewright/physics/fdtd"
)

// Cut is a structure in three dimensions cut by a plane across an axis. What
// stands later lies over what stands before.
type Cut struct {
	Axis   string     `json:"axis"` // that the plane is across
	AtM    float64    `json:"at_m"`
	Across [2]string  `json:"across"` // axes to the right and upward
	X0     float64    `json:"x0_m"`
	X1     float64    `json:"x1_m"`
	Y0     float64    `json:"y0_m"`
	Y1     float64    `json:"y1_m"`
	Pieces []CutPiece `json:"pieces"`
	Planes []CutPlane `json:"planes"` // of the ports whose lines run in this plane
}

// CutPiece is an outline; one of two corners is a sheet.
type CutPiece struct {
	What string    `json:"what"` // "metal", "dielectric", "air"
	Name string    `json:"name"`
	X    []float64 `json:"x_m"`
	Y    []float64 `json:"y_m"`
}

// CutPlane is a port's reference plane, a line across the drawing.
type CutPlane struct {
	Name    string  `json:"name"`
	Upright bool    `json:"upright"`
	AtM     float64 `json:"at_m"`
}

// across are the axes to the right and upward in a plane across a.
func across(a int) (u, v int) {
	switch a {
	case 0:
		return 1, 2
	case 1:
		return 0, 2
	}
	return 0, 1
}

// StructureCuts are two cuts through the signal of the first port: along its
// line, and across it in the middle of the region.
func StructureCuts(s workspace.Structure) []Cut {
	at, line, along := middle(s)
	return []Cut{StructureCut(s, along, at[along]), StructureCut(s, line, at[line])}
}

// UsualSlice is a plane along the line of the first port, at mid-band.
func UsualSlice(s workspace.Structure) fdtd.Slice {
	at, _, along := middle(s)
	return fdtd.Slice{Axis: along, At: at[along], Frequencies: []float64{(s.Model.Band[0] + s.Model.Band[1]) / 2}}
}

// middle is a point on the signal of the first port, in the middle of the region;
// the axis of the port's line; and the axis across the plane that shows it best.
func middle(s workspace.Structure) (at fdtd.Point, line, along int) {
	m := s.Model
	for a := range 3 {
		at[a] = (m.Region.Low[a] + m.Region.High[a]) / 2
	}
	line = 2
	if len(m.Ports) > 0 {
		p := m.Ports[0]
		line = int(p.Side) / 2
		if p.Mode == fdtd.TEM {
			at[(line+1)%3], at[(line+2)%3] = p.Signal[0], p.Signal[1]
		}
	}
	u, v := across(line)
	along = v
	if wide := func(a int) float64 { return m.Region.High[a] - m.Region.Low[a] }; wide(u) < wide(v) {
		along = u
	}
	return at, line, along
}

// StructureCut cuts a structure across an axis. On a side of the region it cuts
// just within.
func StructureCut(s workspace.Structure, a int, at float64) Cut {
	m := s.Model
	u, v := across(a)
	c := Cut{Axis: string("xyz"[a]), AtM: at, Across: [2]string{string("xyz"[u]), string("xyz"[v])}, X0: m.Region.Low[u], X1: m.Region.High[u], Y0: m.Region.Low[v], Y1: m.Region.High[v], Planes: []CutPlane{}}
	in := 1e-6 * (m.Region.High[a] - m.Region.Low[a])
	at = math.Min(math.Max(at, m.Region.Low[a]+in), m.Region.High[a]-in)
	what := func(x fdtd.Material) string {
		switch {
		case x.Metal:
			return "metal"
		case x.Dielectric.Permittivity > 1 || x.Conductivity > 0:
			return "dielectric"
		}
		return "air"
	}
	add := func(name string, x fdtd.Material, xs, ys []float64) {
		c.Pieces = append(c.Pieces, CutPiece{What: what(x), Name: name, X: xs, Y: ys})
	}
	rect := func(name string, x fdtd.Material, x0, x1, y0, y1 float64) {
		if x0 == x1 || y0 == y1 {
			add(name, x, []float64{x0, x1}, []float64{y0, y1})
			return
		}
		add(name, x, []float64{x0, x1, x1, x0}, []float64{y0, y0, y1, y1})
	}
	rect("background", m.Background, c.X0, c.X1, c.Y0, c.Y1)
	for _, o := range m.Solids {
		lo, hi := o.Shape.Bounds()
		if !(at >= lo[a] && at <= hi[a]) {
			continue
		}
		switch sh := o.Shape.(type) {
		case fdtd.Box:
			rect(o.Name, o.Material, lo[u], hi[u], lo[v], hi[v])
		case fdtd.Cylinder:
			if sh.Axis == a {
				var xs, ys []float64
				for k := range 64 {
					t := 2 * math.Pi * float64(k) / 64
					xs, ys = append(xs, sh.Start[u]+sh.Radius*math.Cos(t)), append(ys, sh.Start[v]+sh.Radius*math.Sin(t))
				}
				add(o.Name, o.Material, xs, ys)
				continue
			}
			d := at - sh.Start[a]
			half := math.Sqrt(math.Max(0, sh.Radius*sh.Radius-d*d))
			if sh.Axis == u {
				rect(o.Name, o.Material, lo[u], hi[u], sh.Start[v]-half, sh.Start[v]+half)
			} else {
				rect(o.Name, o.Material, sh.Start[u]-half, sh.Start[u]+half, lo[v], hi[v])
			}
		case fdtd.Prism:
			p, q := (sh.Axis+1)%3, (sh.Axis+2)%3 // the axes of its polygon
			if sh.Axis == a {
				var xs, ys []float64
				for _, k := range sh.Polygon {
					if p == u {
						xs, ys = append(xs, k[0]), append(ys, k[1])
					} else {
						xs, ys = append(xs, k[1]), append(ys, k[0])
					}
				}
				add(o.Name, o.Material, xs, ys)
				continue
			}
			across := 0 // index of the polygon's coordinate along a
			if q == a {
				across = 1
			}
			for _, r := range crossings(sh.Polygon, across, at) {
				if sh.Axis == v {
					rect(o.Name, o.Material, r[0], r[1], sh.From, sh.To)
				} else {
					rect(o.Name, o.Material, sh.From, sh.To, r[0], r[1])
				}
			}
		}
	}
	for _, p := range m.Ports {
		switch int(p.Side) / 2 {
		case u:
			c.Planes = append(c.Planes, CutPlane{p.Name, true, p.Plane})
		case v:
			c.Planes = append(c.Planes, CutPlane{p.Name, false, p.Plane})
		}
	}
	return c
}

// crossings are the stretches of the line where the coordinate of index i is at
// that lie within a polygon, by the other coordinate.
func crossings(p [][2]float64, i int, at float64) [][2]float64 {
	var xs []float64
	for k, a := range p {
		b := p[(k+1)%len(p)]
		if (a[i] > at) != (b[i] > at) {
			xs = append(xs, a[1-i]+(at-a[i])/(b[i]-a[i])*(b[1-i]-a[1-i]))
		}
	}
	slices.Sort(xs)
	var out [][2]float64
	for k := 0; k+1 < len(xs); k += 2 {
		out = append(out, [2]float64{xs[k], xs[k+1]})
	}
	return out
}
