package view

import (
	"context"
	"fmt"
	"math"
	"strings"

	"linewright/app/plot"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/modematch"
	"linewright/physics/units"
	"linewright/physics/xsection"
)

// SolverDrawing is what a solver was given, to scale, in m.
type SolverDrawing struct {
	X0     float64    `json:"x0_m"`
	X1     float64    `json:"x1_m"`
	Y0     float64    `json:"y0_m"`
	Y1     float64    `json:"y1_m"`
	Pieces []CutPiece `json:"pieces"` // later ones lie over earlier ones; "reference" is metal of the reference
	// Potential holds lines of equal potential, the first signal conductor at
	// 1 and all else at 0, at 0.1 to 0.9: straight pieces x0, y0, x1, y1, one after the other.
	Potential []float64 `json:"potential_m"`
}

// SectionWindow is what a drawing of a section shows: the shield, or the
// conductors with room about them, within the sides.
func SectionWindow(s xsection.Section) (x0, x1, y0, y1 float64) {
	x0, x1, y0, y1 = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	see := func(xs, ys []float64) {
		for i := range xs {
			if !math.IsInf(xs[i], 0) {
				x0, x1 = math.Min(x0, xs[i]), math.Max(x1, xs[i])
			}
			if !math.IsInf(ys[i], 0) {
				y0, y1 = math.Min(y0, ys[i]), math.Max(y1, ys[i])
			}
		}
	}
	if s.Region.Shield != nil {
		see(outline(s.Region.Shield))
		p := 0.04 * math.Max(x1-x0, y1-y0)
		return x0 - p, x1 + p, y0 - p, y1 + p
	}
	for _, c := range s.Conductors {
		see(outline(c.Shape))
	}
	for _, side := range []xsection.Side{s.Region.Bottom, s.Region.Top} {
		if side.Kind != xsection.Open {
			y0, y1 = math.Min(y0, side.At), math.Max(y1, side.At)
		}
	}
	p := math.Max(x1-x0, y1-y0)
	x0, x1 = x0-0.7*p, x1+0.7*p
	if s.Region.Bottom.Kind == xsection.Open {
		y0 -= 0.6 * p
	}
	if s.Region.Top.Kind == xsection.Open {
		y1 += 0.6 * p
	}
	if g := s.Region.Left; g.Kind != xsection.Open {
		x0 = math.Max(x0, g.At)
	}
	if g := s.Region.Right; g.Kind != xsection.Open {
		x1 = math.Min(x1, g.At)
	}
	return x0, x1, y0, y1
}

// outline is a shape's boundary, a circle as a polygon.
func outline(sh xsection.Shape) (xs, ys []float64) {
	switch s := sh.(type) {
	case xsection.Rectangle:
		return []float64{s.X0, s.X1, s.X1, s.X0}, []float64{s.Y0, s.Y0, s.Y1, s.Y1}
	case xsection.Circle:
		for k := range 96 {
			a := 2 * math.Pi * float64(k) / 96
			xs, ys = append(xs, s.Centre.X+s.Diameter/2*math.Cos(a)), append(ys, s.Centre.Y+s.Diameter/2*math.Sin(a))
		}
	case xsection.Polygon:
		for _, p := range s {
			xs, ys = append(xs, p.X), append(ys, p.Y)
		}
	case xsection.Segment:
		return []float64{s.A.X, s.B.X}, []float64{s.A.Y, s.B.Y}
	}
	return xs, ys
}

// SectionDrawing draws a section with its lines of equal potential.
func SectionDrawing(s xsection.Section, r *xsection.Result) SolverDrawing {
	x0, x1, y0, y1 := SectionWindow(s)
	rim := 0.03 * math.Max(x1-x0, y1-y0)
	d := SolverDrawing{X0: x0, X1: x1, Y0: y0, Y1: y1, Potential: []float64{}}
	if s.Region.Bottom.Kind != xsection.Open {
		d.Y0 -= rim
	}
	if s.Region.Top.Kind != xsection.Open {
		d.Y1 += rim
	}
	add := func(what, name string, sh xsection.Shape) {
		xs, ys := outline(sh)
		far := 10 * math.Max(x1-x0, y1-y0) // JSON knows no infinity
		for i := range xs {
			xs[i] = math.Min(math.Max(xs[i], x0-far), x1+far)
			ys[i] = math.Min(math.Max(ys[i], y0-far), y1+far)
		}
		d.Pieces = append(d.Pieces, CutPiece{What: what, Name: name, X: xs, Y: ys})
	}
	if s.Region.Shield != nil {
		add("reference", "shield", xsection.Rectangle{X0: x0, X1: x1, Y0: y0, Y1: y1})
		add("air", "inside", s.Region.Shield)
	}
	for i, q := range s.Dielectrics {
		add("dielectric", fmt.Sprintf("dielectric %d", i+1), q.Shape)
	}
	if g := s.Region.Bottom; g.Kind == xsection.Electric {
		add("reference", "bottom", xsection.Rectangle{X0: x0, X1: x1, Y0: y0 - rim, Y1: g.At})
	}
	if g := s.Region.Top; g.Kind == xsection.Electric {
		add("reference", "top", xsection.Rectangle{X0: x0, X1: x1, Y0: g.At, Y1: y1 + rim})
	}
	for _, c := range s.Conductors {
		what := "metal"
		if _, foil := c.Shape.(xsection.Segment); c.Name == xsection.Ground && !foil {
			what = "reference"
		}
		add(what, c.Name, c.Shape)
	}
	volts := make([]float64, len(r.Conductors))
	volts[0] = 1
	const n = 121
	g := r.Field(volts).Grid(xsection.Point{X: x0, Y: y0}, xsection.Point{X: x1, Y: y1}, n, n)
	for _, c := range plot.Contours(g.X, g.Y, g.Potential, []float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9}) {
		d.Potential = append(d.Potential, c.X[0], c.Y[0], c.X[1], c.Y[1])
	}
	return d
}

// BodyDrawing draws the profile of a body of revolution, with some of its port
// lines.
func BodyDrawing(b modematch.Body) SolverDrawing {
	total, largest := 0.0, 0.0
	for _, s := range b.Sections {
		total += s.Length
		largest = math.Max(largest, s.OuterDiameter)
	}
	stub := math.Max(0.6*largest, 0.4*total) // of the port lines that is shown
	top := largest/2 + 0.12*largest
	d := SolverDrawing{X0: -stub, X1: total + stub, Y0: -top, Y1: top, Potential: []float64{}}
	x, last := 0.0, len(b.Sections)-1
	for i, s := range b.Sections {
		x0, x1 := x, x+s.Length
		switch i {
		case 0:
			x0, x1 = -stub, 0
		case last:
			x1 = x + stub
		}
		rect := func(what string, y0, y1 float64) {
			d.Pieces = append(d.Pieces, CutPiece{What: what, Name: fmt.Sprintf("section %d", i+1), X: []float64{x0, x1, x1, x0}, Y: []float64{y0, y0, y1, y1}})
		}
		in, out := s.InnerDiameter/2, s.OuterDiameter/2
		if e := real(s.Permittivity); e != 0 && e != 1 {
			rect("dielectric", -out, out)
		}
		rect("reference", out, top)
		rect("reference", -top, -out)
		if in > 0 {
			rect("metal", -in, in)
		}
		if i != 0 && i != last {
			x = x1
		}
	}
	return d
}

// BodySweep is n frequencies up to just below the mode-free limit of a body's
// port lines; ok is false where a port is an empty guide, which has none.
func BodySweep(ctx context.Context, b modematch.Body, n int) (f []float64, ok bool, err error) {
	if b.Sections[0].InnerDiameter == 0 || b.Sections[len(b.Sections)-1].InnerDiameter == 0 {
		return nil, false, nil
	}
	const some = 1e6 // Hz: the cutoffs do not depend on it
	r, err := modematch.Solve(ctx, b, []float64{some}, modematch.Options{Degree: 3})
	if err != nil {
		return nil, false, err
	}
	limit := 0.99 * math.Min(r.Sections[0].ModeFree, r.Sections[len(r.Sections)-1].ModeFree)
	for k := range n {
		f = append(f, limit*float64(k+1)/float64(n))
	}
	return f, true, nil
}

// Sweep reads frequencies such as 10GHz,28GHz or 1GHz:40GHz:40.
func Sweep(text string) ([]float64, error) {
	v := &values{text: map[string]string{}}
	f := v.sweep(text)
	if len(v.faults) > 0 {
		return nil, v.faults
	}
	return f, nil
}

// LineSection writes a uniform line as the file of a cross-section.
func LineSection(q LineRequest) (string, error) {
	a, err := readLine(q)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "section: %s\n", a.kind)
	mm := func(x float64) string { return units.Write(units.Length(x), "mm") }
	fill := func(d material.Dielectric) string {
		t := fmt.Sprintf("permittivity: %g", math.Max(d.Permittivity, 1))
		if d.LossTangent > 0 {
			t += fmt.Sprintf(", loss_tangent: %g", d.LossTangent)
		}
		return t
	}
	metal := func(c material.Conductor) string {
		t := ""
		if c.Metal.Conductivity > 0 {
			t += ", conductivity: " + units.Write(units.Conductivity(c.Metal.Conductivity), "MS/m")
		}
		if c.Roughness.RMS > 0 {
			t += ", roughness: " + units.Write(units.Length(c.Roughness.RMS), "um")
		}
		return t
	}
	side := func(at float64) string {
		if at == 0 {
			return "open"
		}
		return "{electric: " + mm(at) + "}"
	}
	// strip is a trapezoid, or a foil, whose lower face lies at y.
	strip := func(name string, w, top, y, t float64, c material.Conductor) {
		switch {
		case t == 0:
			fmt.Fprintf(&b, "  - {name: %s, segment: [[%s, %s], [%s, %s]]%s}\n", name, mm(-w/2), mm(y), mm(w/2), mm(y), metal(c))
		case top == 0 || top == w:
			fmt.Fprintf(&b, "  - {name: %s, rectangle: {x: [%s, %s], y: [%s, %s]}%s}\n", name, mm(-w/2), mm(w/2), mm(y), mm(y+t), metal(c))
		default:
			fmt.Fprintf(&b, "  - {name: %s, polygon: [[%s, %s], [%s, %s], [%s, %s], [%s, %s]]%s}\n", name, mm(-w/2), mm(y), mm(w/2), mm(y), mm(top/2), mm(y+t), mm(-top/2), mm(y+t), metal(c))
		}
	}
	cover := func(height, cover float64) float64 {
		if cover == 0 {
			return 0
		}
		return height + cover
	}
	switch c := a.x.(type) {
	case line.Coax:
		fmt.Fprintf(&b, "region: {shield: {circle: {centre: [0 mm, 0 mm], diameter: %s}}}\nbackground: {%s}\nconductors:\n", mm(c.OuterDiameter), fill(c.Filling))
		fmt.Fprintf(&b, "  - {name: pin, circle: {centre: [%s, 0 mm], diameter: %s}%s}\n", mm(c.Offset), mm(c.InnerDiameter), metal(c.Inner))
	case line.Microstrip:
		fmt.Fprintf(&b, "region: {left: %s, right: %s, bottom: {electric: 0 mm}, top: %s}\ndielectrics:\n", side(-c.Walls/2), side(c.Walls/2), side(cover(c.Height, c.Cover)))
		fmt.Fprintf(&b, "  - {rectangle: {x: [open, open], y: [0 mm, %s]}, %s}\nconductors:\n", mm(c.Height), fill(c.Substrate))
		strip("strip", c.Width, c.TopWidth, c.Height, c.Thickness, c.Metal)
	case line.Stripline:
		fmt.Fprintf(&b, "region: {left: %s, right: %s, bottom: {electric: 0 mm}, top: {electric: %s}}\nbackground: {%s}\n", side(-c.Walls/2), side(c.Walls/2), mm(c.Spacing), fill(c.Substrate))
		low := c.Spacing/2 + c.Offset - c.Thickness/2
		if c.Above != (material.Dielectric{}) {
			fmt.Fprintf(&b, "dielectrics:\n  - {rectangle: {x: [open, open], y: [%s, %s]}, %s}\n", mm(low), mm(c.Spacing), fill(c.Above))
		}
		b.WriteString("conductors:\n")
		strip("strip", c.Width, c.TopWidth, low, c.Thickness, c.Metal)
	case line.Coplanar:
		below := "open"
		if c.GroundBelow {
			below = "{electric: 0 mm}"
		}
		h, low := c.Height, "0 mm"
		if math.IsInf(h, 1) {
			h, low = 0, "open"
		}
		fmt.Fprintf(&b, "region: {left: %s, right: %s, bottom: %s, top: %s}\ndielectrics:\n", side(-c.Walls/2), side(c.Walls/2), below, side(cover(h, c.Cover)))
		fmt.Fprintf(&b, "  - {rectangle: {x: [open, open], y: [%s, %s]}, %s}\nconductors:\n", low, mm(h), fill(c.Substrate))
		strip("strip", c.Width, 0, h, c.Thickness, c.Metal)
		edge, end := c.Width/2+c.Gap, "open"
		for _, sign := range []float64{-1, 1} {
			if c.Walls > 0 {
				end = mm(sign * c.Walls / 2)
			}
			x := [2]string{mm(edge), end}
			if sign < 0 {
				x = [2]string{end, mm(-edge)}
			}
			if c.Thickness == 0 {
				fmt.Fprintf(&b, "  - {name: ground, segment: [[%s, %s], [%s, %s]]%s}\n", x[0], mm(h), x[1], mm(h), metal(c.Metal))
			} else {
				fmt.Fprintf(&b, "  - {name: ground, rectangle: {x: [%s, %s], y: [%s, %s]}%s}\n", x[0], x[1], mm(h), mm(h+c.Thickness), metal(c.Metal))
			}
		}
	}
	return b.String(), nil
}
