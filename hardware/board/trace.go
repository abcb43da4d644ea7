package board

import (
	"fmt"
	"math"

	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// TraceKind is the kind of line a trace makes with its planes.
type TraceKind string

// The kinds of lines on a board.
const (
	Microstrip TraceKind = "microstrip"
	Coplanar   TraceKind = "coplanar" // with the next plane as ground below, where there is one
	Stripline  TraceKind = "stripline"
)

// Options lists the words a file may use.
func (TraceKind) Options() []string { return []string{"microstrip", "coplanar", "stripline"} }

// Trace is a trace on a layer of a stackup.
type Trace struct {
	Kind      TraceKind
	Layer     string
	Width     units.Length  // at the foot
	Gap       units.Length  // coplanar: of each slot
	Walls     *units.Length // coplanar: between the via rows, taken as solid walls
	Reference []string      // its planes where they are not the nearest: cleared layers between are filled
	Method    line.Method   `file:"-"`
}

// Line returns the line that t makes on s, and in words what it leaves out of
// the stackup: mask over the trace, the finish, layers merged into one.
func (s Stackup) Line(t Trace) (l line.Line, leftOut []string, err error) {
	i, err := s.copper(t.Layer)
	if err != nil {
		return nil, nil, err
	}
	note := func(format string, args ...any) { leftOut = append(leftOut, fmt.Sprintf(format, args...)) }
	layer := s.Layers[i]
	metal := layer.metal()
	c := s.Coppers()
	outer := i == c[0] || i == c[len(c)-1]
	top, taper := 0.0, 0.0
	if layer.EtchTaper != nil {
		taper = float64(*layer.EtchTaper)
		top = float64(t.Width) - taper
	}
	fail := func(problem, help string) (line.Line, []string, error) {
		return nil, nil, &LayerError{s.Name, i, layer.Name, problem, help}
	}
	if taper > 0 && !(top > 0) {
		return fail(fmt.Sprintf("an etch taper of %v leaves nothing of a trace %v wide", units.Length(taper), t.Width), "widen the trace")
	}
	if outer {
		if s.Finish.Kind != "" && s.Finish.Kind != BareCopper {
			note("the finish (%s) on the trace: its loss is not in this line", s.Finish.Kind)
		}
		if m := s.mask(i == c[0]); m != nil {
			note("%v of mask: where it covers the trace it lowers the impedance and adds loss", m.Thickness)
		}
	}
	side := 1 // towards the next plane
	if i == c[len(c)-1] && i != c[0] {
		side = -1
	}
	switch t.Kind {
	case Microstrip, Coplanar:
		if !outer {
			return fail(fmt.Sprintf("%s on an inner layer", t.Kind), "an inner trace is a stripline")
		}
		h, err := s.towards(i, side, t.Reference)
		if err != nil && (t.Kind == Microstrip || len(t.Reference) > 0) {
			return nil, nil, err
		}
		h.notes(note)
		if t.Kind == Microstrip {
			m := line.Microstrip{Width: float64(t.Width), Height: h.height, Thickness: float64(layer.Thickness), TopWidth: top, Substrate: h.filling, Metal: metal, Method: t.Method}
			return m, leftOut, m.Check()
		}
		m := line.Coplanar{Width: float64(t.Width), Gap: float64(t.Gap), Height: h.height, Thickness: float64(layer.Thickness), GroundBelow: err == nil, Substrate: h.filling, Metal: metal, Method: t.Method}
		if err != nil { // no plane: the whole board is the substrate
			m.Height, m.Substrate, err = s.all(i, side)
			if err != nil {
				return nil, nil, err
			}
		}
		if t.Walls != nil {
			m.Walls = float64(*t.Walls)
		}
		if taper > 0 {
			note("the etch taper of %v", units.Length(taper))
		}
		return m, leftOut, m.Check()
	case Stripline:
		if outer {
			return fail("a stripline on an outer layer", "an outer trace is a microstrip or coplanar")
		}
		up, err := s.towards(i, -1, t.Reference)
		if err != nil {
			return nil, nil, err
		}
		down, err := s.towards(i, 1, t.Reference)
		if err != nil {
			return nil, nil, err
		}
		up.notes(note)
		down.notes(note)
		th := float64(layer.Thickness)
		b := up.height + th + down.height
		m := line.Stripline{Width: float64(t.Width), Spacing: b, Thickness: th, Offset: down.height + th/2 - b/2, TopWidth: top,
			Substrate: down.filling, Above: up.filling, Metal: metal, Method: t.Method}
		return m, leftOut, m.Check()
	}
	return fail(fmt.Sprintf("a trace of kind %q", t.Kind), "it is microstrip, coplanar or stripline")
}

// Height returns the distance from the trace layer to the next plane below it,
// or above it from the bottom layer, and the combined permittivity of what lies
// between.
func (s Stackup) Height(layer string) (height units.Length, filling material.Dielectric, err error) {
	i, err := s.copper(layer)
	if err != nil {
		return 0, filling, err
	}
	side := 1
	if c := s.Coppers(); i == c[len(c)-1] && i != c[0] {
		side = -1
	}
	b, err := s.towards(i, side, nil)
	return units.Length(b.height), b.filling, err
}

// Between returns the distance of two copper layers and the combined
// permittivity of what lies between them, cleared copper included.
func (s Stackup) Between(a, b string) (height units.Length, filling material.Dielectric, err error) {
	i, err := s.copper(a)
	if err != nil {
		return 0, filling, err
	}
	k, err := s.copper(b)
	if err != nil {
		return 0, filling, err
	}
	if i == k {
		return 0, filling, &LayerError{s.Name, i, a, "a layer and itself", "name two copper layers"}
	}
	x, err := s.span(min(i, k), max(i, k))
	return units.Length(x.height), x.filling, err
}

// body is the dielectric between two coppers.
type body struct {
	height  float64 // m
	filling material.Dielectric
	merged  int // dielectric layers merged into one
	cleared int // copper layers taken as cleared and filled
	noLoss  bool
}

func (b body) notes(note func(string, ...any)) {
	if b.merged > 1 {
		note("%d dielectric layers merged into one by the field across them", b.merged)
	}
	if b.cleared > 0 {
		note("%d copper layers between trace and plane are taken as cleared and filled", b.cleared)
	}
	if b.noLoss {
		note("no loss tangent is stated: the dielectric is taken as lossless")
	}
}

func (s Stackup) copper(name string) (int, error) {
	var names []string
	for _, i := range s.Coppers() {
		if s.Layers[i].Name == name {
			return i, nil
		}
		names = append(names, s.Layers[i].Name)
	}
	return 0, &LayerError{s.Name, -1, "", fmt.Sprintf("no copper layer is called %q", name), fmt.Sprintf("the copper layers are %v", names)}
}

// towards returns the body from copper i to the next plane on a side, or to
// the named one there.
func (s Stackup) towards(i, side int, reference []string) (body, error) {
	for k := i + side; k >= 0 && k < len(s.Layers); k += side {
		l := s.Layers[k]
		if l.Kind != Copper {
			continue
		}
		hit := len(reference) == 0 && (l.Use == Plane || l.Use == Mixed)
		for _, r := range reference {
			hit = hit || r == l.Name
		}
		if hit {
			return s.span(min(i, k), max(i, k))
		}
	}
	where := map[int]string{1: "below", -1: "above"}[side]
	return body{}, &LayerError{s.Name, i, s.Layers[i].Name, "no plane " + where, "mark a copper layer there with use: plane, or name it as reference"}
}

// span merges the layers strictly between two coppers. The field crosses them
// in series:
//
//	h/ε = Σ h_i/ε_i
//
// which is exact for a wide strip and good while the layers are alike. Where
// they are stated at different frequencies each is carried to the highest by
// the wideband Debye law.
func (s Stackup) span(i, k int) (body, error) {
	var b body
	f0 := 0.0
	for n := i + 1; n < k; n++ {
		if at := s.Layers[n].At; at != nil && s.Layers[n].dielectric() {
			f0 = math.Max(f0, float64(*at))
		}
	}
	var sum complex128
	same := true
	var first material.Dielectric
	for n := i + 1; n < k; n++ {
		l := s.Layers[n]
		t := float64(l.Thickness)
		if l.Kind == Copper {
			b.cleared++
			// filled by the dielectric next to it
			for _, m := range []int{n - 1, n + 1} {
				if s.Layers[m].Permittivity != nil {
					l = s.Layers[m]
					break
				}
			}
		} else {
			b.merged++
		}
		if l.Permittivity == nil {
			return b, &LayerError{s.Name, n, l.Name, "no permittivity", "give permittivity, loss_tangent and at, the frequency they stand at"}
		}
		d := l.filling()
		b.noLoss = b.noLoss || l.LossTangent == nil
		if b.height == 0 {
			first = d
		}
		same = same && d == first
		sum += complex(t, 0) / d.At(f0)
		b.height += t
	}
	if b.height == 0 {
		return b, &LayerError{s.Name, i, s.Layers[i].Name, "nothing between two copper layers", "put the dielectric between them"}
	}
	if same {
		b.filling = first
		return b, nil
	}
	e := complex(b.height, 0) / sum
	b.filling = material.Dielectric{Permittivity: real(e), LossTangent: -imag(e) / real(e), FittedAt: f0}
	return b, nil
}

// all merges everything from copper i to the board's other side.
func (s Stackup) all(i, side int) (float64, material.Dielectric, error) {
	c := s.Coppers()
	k := c[len(c)-1]
	if side < 0 {
		k = c[0]
	}
	if k == i { // one copper layer only: the dielectric ends in air
		return 0, material.Dielectric{}, &LayerError{s.Name, i, s.Layers[i].Name, "no copper on the other side", "give the bottom copper layer, with use: signal"}
	}
	b, err := s.span(min(i, k), max(i, k))
	return b.height, b.filling, err
}

func (s Stackup) mask(top bool) *Layer {
	if len(s.Layers) == 0 {
		return nil
	}
	l := s.Layers[len(s.Layers)-1]
	if top {
		l = s.Layers[0]
	}
	if l.Kind != Mask {
		return nil
	}
	return &l
}

// filling returns a dielectric layer's material.
func (l Layer) filling() material.Dielectric {
	d := material.Dielectric{Permittivity: *l.Permittivity}
	if l.LossTangent != nil {
		d.LossTangent = *l.LossTangent
	}
	if l.At != nil {
		d.FittedAt = float64(*l.At)
	}
	return d
}

// metal returns a copper layer's surface as the wave meets it: rms roughness by
// Hammerstad's law, or the ten-point height by the cannonball model.
func (l Layer) metal() material.Conductor {
	var c material.Conductor
	if l.Conductivity != nil {
		c.Conductivity = float64(*l.Conductivity)
	}
	switch {
	case l.Roughness != nil:
		c.Roughness = material.Roughness{Model: material.Hammerstad, RMS: float64(*l.Roughness)}
	case l.RoughnessRz != nil:
		c.Roughness = material.Roughness{Model: material.Cannonball, Rz: float64(*l.RoughnessRz)}
	}
	return c
}
