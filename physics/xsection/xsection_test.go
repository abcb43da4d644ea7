package xsection

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

func solve(t *testing.T, s Section, accuracy float64) *Result {
	t.Helper()
	r, err := Solve(context.Background(), s, Options{Accuracy: accuracy})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// near fails unless got is within rel of want.
func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.10g, want %.10g, off by %.1e", what, got, want, got/want-1)
	}
}

// guarded is a coated, etched pair beside a via wall: every kind of corner.
func guarded() Section {
	const h = 0.2e-3
	return Section{
		Region: Region{Bottom: ElectricAt(0)},
		Dielectrics: []Dielectric{slab(0, h, 3.66), slab(h, h+20e-6, 3.4),
			{Block(-0.2e-3, h+20e-6, 0.34e-3, 35e-6), material(3.4)}},
		Conductors: []Conductor{
			{Name: "p", Shape: Trapezoid(-0.2e-3, h, 0.3e-3, 0.27e-3, 35e-6)},
			{Name: "n", Shape: Trapezoid(0.2e-3, h, 0.25e-3, 0.22e-3, 35e-6)},
			{Name: Ground, Shape: Rectangle{0.5e-3, 0.8e-3, h, h + 35e-6}},
			{Name: Ground, Shape: Rectangle{0.55e-3, 0.75e-3, 0, h}},
		},
	}
}

// With no dielectric L·C = 1/c²; with one everywhere, ε times that.
func TestHomogeneous(t *testing.T) {
	s := guarded()
	for _, er := range []float64{1, 4.2} {
		s.Background = material(er)
		for i := range s.Dielectrics {
			s.Dielectrics[i].Permittivity = er
		}
		r := solve(t, s, 1e-3)
		var lc mat.Dense
		lc.Mul(r.L, r.C)
		for i := range 2 {
			for j := range 2 {
				want := 0.0
				if i == j {
					want = er / (c0 * c0)
				}
				if !(math.Abs(lc.At(i, j)-want) <= 1e-10*er/(c0*c0)) {
					t.Errorf("permittivity %g: (LC)%d%d = %g, want %g", er, i+1, j+1, lc.At(i, j), want)
				}
			}
		}
	}
}

// C is positive definite, its mutual entries negative, its row sums positive;
// so is the inductance with positive mutuals.
func TestMaxwellMatrix(t *testing.T) {
	r := solve(t, guarded(), 1e-3)
	for _, m := range []*mat.SymDense{r.C, r.CAir, r.L, r.ResistanceFactor()} {
		var chol mat.Cholesky
		if !chol.Factorize(m) {
			t.Errorf("not positive definite: %v", mat.Formatted(m))
		}
	}
	if !(r.C.At(0, 1) < 0 && r.C.At(0, 0) > -r.C.At(0, 1) && r.C.At(1, 1) > -r.C.At(0, 1)) {
		t.Errorf("not a Maxwell capacitance matrix: %v", mat.Formatted(r.C))
	}
	if !(r.L.At(0, 1) > 0) {
		t.Errorf("mutual inductance %g", r.L.At(0, 1))
	}
	if a := r.last.asymmetry(); !(a <= 1e-4) { // reciprocity is not built in: it measures the mesh
		t.Errorf("C fails to be symmetric by %.1e before it is made so", a)
	}
}

// C, L and ε do not depend on size; the resistance goes as its inverse.
func TestScaling(t *testing.T) {
	want := solve(t, guarded(), 1e-2)
	for _, scale := range []float64{1e-3, 1e6} {
		got := solve(t, guarded().scaled(complex(0.3e-3, -2e-3), 1/scale), 1e-2)
		for i := range 2 {
			for j := range 2 {
				near(t, fmt.Sprint("C at scale ", scale), got.C.At(i, j), want.C.At(i, j), 1e-8)
				near(t, fmt.Sprint("L at scale ", scale), got.L.At(i, j), want.L.At(i, j), 1e-8)
				near(t, fmt.Sprint("R at scale ", scale), got.ResistanceFactor().At(i, j), want.ResistanceFactor().At(i, j)/scale, 1e-5)
			}
		}
	}
}

// mapped returns the section with every point moved; flip says that x or y
// change sign or places, which rectangles must follow.
func mapped(s Section, f func(Point) Point) Section {
	shape := func(sh Shape) Shape {
		switch sh := sh.(type) {
		case Polygon:
			p := make(Polygon, len(sh))
			for i := range sh {
				p[i] = f(sh[i])
			}
			return p
		case Rectangle:
			a, b := f(Point{sh.X0, sh.Y0}), f(Point{sh.X1, sh.Y1})
			return Rectangle{min(a.X, b.X), max(a.X, b.X), min(a.Y, b.Y), max(a.Y, b.Y)}
		case Circle:
			return Circle{f(sh.Centre), sh.Diameter}
		case Segment:
			return Segment{f(sh.A), f(sh.B)}
		}
		return sh
	}
	t := s
	t.Dielectrics, t.Conductors = nil, nil
	for _, d := range s.Dielectrics {
		d.Shape = shape(d.Shape)
		t.Dielectrics = append(t.Dielectrics, d)
	}
	for _, c := range s.Conductors {
		c.Shape = shape(c.Shape)
		t.Conductors = append(t.Conductors, c)
	}
	return t
}

// Mirrored, or turned so that the ground stands upright, a section is the same.
func TestMirrorAndTurn(t *testing.T) {
	s := guarded()
	want := solve(t, s, 1e-3)
	mirror := mapped(s, func(p Point) Point { return Point{-p.X, p.Y} })
	turn := mapped(s, func(p Point) Point { return Point{-p.Y, p.X} })
	turn.Region = Region{Right: ElectricAt(0)}
	for name, s := range map[string]Section{"mirrored": mirror, "turned": turn} {
		got := solve(t, s, 1e-3)
		for i := range 2 {
			for j := range 2 {
				near(t, "C "+name, got.C.At(i, j), want.C.At(i, j), 1e-8)
				near(t, "L "+name, got.L.At(i, j), want.L.At(i, j), 1e-8)
			}
		}
	}
}

// coupled is a symmetric pair on a substrate.
func coupled() Section {
	s := microstrip(0.3e-3, 0.2e-3, 35e-6, 4)
	s.Conductors = []Conductor{trace("a", -0.25e-3, 0.2e-3, 0.3e-3, 35e-6), trace("b", 0.25e-3, 0.2e-3, 0.3e-3, 35e-6)}
	return s
}

// Two conductors under one name carry the sum of their charges at one voltage.
func TestSuperposition(t *testing.T) {
	s := coupled()
	two := solve(t, s, 1e-5)
	s.Conductors[1].Name = s.Conductors[0].Name
	one := solve(t, s, 1e-5)
	near(t, "C of both", one.C.At(0, 0), two.C.At(0, 0)+2*two.C.At(0, 1)+two.C.At(1, 1), 1e-5)
	near(t, "C in air of both", one.CAir.At(0, 0), two.CAir.At(0, 0)+2*two.CAir.At(0, 1)+two.CAir.At(1, 1), 1e-5)
}

// Solving a symmetric section by halves gives what solving it whole gives, on
// the same panels.
func TestFold(t *testing.T) {
	sections := map[string]Section{"pair": coupled(), "coax": {Region: Region{Shield: Circle{Diameter: 3}},
		Dielectrics: []Dielectric{{Rectangle{-2, 2, -0.1, 0.4}, material(2.1)}},
		Conductors:  []Conductor{{Name: "pin", Shape: Circle{Point{0, 0.3}, 1}}}}}
	// Signal on one side, ground on the other: symmetric but for the names.
	mixed := coupled()
	mixed.Conductors[0].Name = Ground
	sections["one and ground"] = mixed
	for name, s := range sections {
		a, err := arrange(s)
		if err != nil {
			t.Fatal(err)
		}
		if a.mirror == nil {
			t.Errorf("%s: symmetry not found", name)
			continue
		}
		r := newRule(6)
		half, err := a.compute(context.Background(), a.firstMesh(), r)
		if err != nil {
			t.Fatal(err)
		}
		a.mirror = nil
		var mesh []stretch
		for _, p := range half.panels {
			mesh = append(mesh, stretch{p.edge, p.t0, p.t1})
		}
		whole, err := a.compute(context.Background(), mesh, r)
		if err != nil {
			t.Fatal(err)
		}
		if off := change(half, whole); !(off <= 1e-10) || whole.n < 2*half.n-1 {
			t.Errorf("%s: by halves off by %.1e, %d and %d unknowns", name, off, half.n, whole.n)
		}
	}
	if a, err := arrange(guarded()); err != nil || a.mirror != nil {
		t.Errorf("a section that is not symmetric was taken for one: %v", err)
	}
}

// A magnetic side in the plane of symmetry leaves half the capacitance and
// twice the impedance, whether or not it cuts the conductor; an electric one
// gives the odd mode of a pair, a magnetic one the even.
func TestSymmetryPlanes(t *testing.T) {
	whole := microstrip(0.5e-3, 0.254e-3, 35e-6, 3.66)
	half := whole
	half.Region.Left = MagneticAt(0)
	w, h := solve(t, whole, 1e-5), solve(t, half, 1e-5)
	near(t, "C of half", h.C.At(0, 0), w.C.At(0, 0)/2, 1e-5)
	near(t, "Z of half", h.Impedance(), w.Impedance()*2, 1e-5)
	near(t, "R of half", h.ResistanceFactor().At(0, 0), w.ResistanceFactor().At(0, 0)*2, 1e-3)

	pair := coupled()
	both := solve(t, pair, 1e-5).Pair(0, 1)
	pair.Conductors = pair.Conductors[1:]
	pair.Region.Left = MagneticAt(0)
	near(t, "even", solve(t, pair, 1e-5).Impedance(), both.Even, 1e-5)
	pair.Region.Left = ElectricAt(0)
	near(t, "odd", solve(t, pair, 1e-5).Impedance(), both.Odd, 1e-5)
}

// Dielectric beyond magnetic side walls: plates in series capacitance, exact.
func TestParallelPlates(t *testing.T) {
	const w, d1, d2, e1, e2 = 1e-3, 0.02e-3, 0.05e-3, 50.0, 2.1
	s := Section{Region: Region{Left: MagneticAt(0), Right: MagneticAt(w), Bottom: ElectricAt(0), Top: MagneticAt(0.2e-3)},
		Dielectrics: []Dielectric{slab(0, d1, e1), slab(d1, d1+d2, e2)},
		Conductors:  []Conductor{{Name: "plate", Shape: Rectangle{-w, 2 * w, d1 + d2, 0.1e-3}}}}
	r := solve(t, s, 1e-5)
	near(t, "C of plates", r.C.At(0, 0), eps0*w/(d1/e1+d2/e2), 1e-5)
	near(t, "R of plates", r.ResistanceFactor().At(0, 0), 2/w, 1e-4)
}

// Round conductors almost in touch: C = 2πε/acosh(...), both exact.
func TestCloseCircles(t *testing.T) {
	for _, gap := range []float64{1e-1, 1e-2, 1e-3} {
		const a, b = 0.5e-3, 1e-3
		e := b - a - gap*a
		r := solve(t, Section{Region: Region{Shield: Circle{Diameter: 2 * b}},
			Conductors: []Conductor{{Name: "pin", Shape: Circle{Point{e, 0}, 2 * a}}}}, 1e-5)
		near(t, fmt.Sprint("eccentric coax, gap ", gap), r.C.At(0, 0), 2*math.Pi*eps0/math.Acosh((a*a+b*b-e*e)/(2*a*b)), 1e-5)
		y := a * (1 + gap)
		r = solve(t, Section{Region: Region{Bottom: ElectricAt(0)},
			Conductors: []Conductor{{Name: "wire", Shape: Circle{Point{0, y}, 2 * a}}}}, 1e-5)
		near(t, fmt.Sprint("wire over ground, gap ", gap), r.C.At(0, 0), 2*math.Pi*eps0/math.Acosh(y/a), 1e-5)
	}
}

// The error falls with the length δ of the panels at a corner as δ^2ν, with ν
// = 2/3 at a right angle of metal and 1/2 at an edge of foil; exact answers
// from em_tline (tl-S10.003 and tl-S18.003). With dielectrics at the corner
// the impedance of tl-S19.003 is approached at least as fast as δ.
func TestOrderOfConvergence(t *testing.T) {
	square := Section{Region: Region{Shield: Rectangle{-1, 1, -1, 1}}, Conductors: []Conductor{{Name: "bar", Shape: Rectangle{-0.5, 0.5, -0.5, 0.5}}}}
	for _, c := range []struct {
		name    string
		s       Section
		exact   float64
		lo, hi  float64 // range of the order
		rounded float64 // the exact value's own error
	}{
		{"square coax", square, 36.81130603, 4. / 3 * 0.95, 4. / 3 * 1.05, 1e-9},
		{"strip over ground", microstrip(1.5, 1, 0, 1), 104.0041694, 0.97, 1.03, 1e-9},
		{"thick microstrip", microstrip(0.15e-3, 0.1e-3, 0.1e-3, 3), 56.795828, 1, 1.6, 3e-7},
	} {
		a, err := arrange(c.s)
		if err != nil {
			t.Fatal(err)
		}
		mesh, r := a.firstMesh(), newRule(8)
		var off []float64
		for range 4 {
			s, err := a.compute(context.Background(), mesh, r)
			if err != nil {
				t.Fatal(err)
			}
			z := 1 / (c0 * eps0 * math.Sqrt(s.cap[filled].At(0, 0)*s.cap[air].At(0, 0)))
			off = append(off, math.Abs(z/c.exact-1))
			var finer []stretch
			for _, m := range mesh {
				e := &a.edges[m.edge]
				at := 0.0
				switch {
				case m.t0 == 0 && a.corner[e.v[0]]:
					at = m.t0 + ratio*(m.t1-m.t0)
				case m.t1 == 1 && a.corner[e.v[1]]:
					at = m.t1 - ratio*(m.t1-m.t0)
				default:
					finer = append(finer, m)
					continue
				}
				finer = append(finer, stretch{m.edge, m.t0, at}, stretch{m.edge, at, m.t1})
			}
			mesh = finer
		}
		for k := 1; k < len(off); k++ {
			if off[k] < 20*c.rounded {
				break
			}
			order := math.Log(off[k-1]/off[k]) / math.Log(1/ratio)
			if !(order >= c.lo && order <= c.hi) {
				t.Errorf("%s: errors %.1e, order %.3f, want %.3f to %.3f", c.name, off, order, c.lo, c.hi)
				break
			}
		}
	}
}

// A dielectric's share of the capacitance is ε·∂C/∂ε, and all shares make C.
func TestDielectricShares(t *testing.T) {
	s := microstrip(0.5e-3, 0.254e-3, 35e-6, 3.66)
	s.Dielectrics = append(s.Dielectrics, slab(0.254e-3, 0.274e-3, 3.4),
		Dielectric{Block(0, 0.274e-3, 0.54e-3, 35e-6), Material{3.4, 0.02}}) // the loss tells it from the second
	r := solve(t, s, 1e-4)
	for i := range r.Conductors {
		for j := range r.Conductors {
			sum := 0.0
			for _, d := range r.Dielectrics {
				sum += d.Capacitance.At(i, j)
			}
			near(t, "sum of shares", sum, r.C.At(i, j), 1e-9)
		}
	}
	const step = 0.05
	for k := range s.Dielectrics {
		var c [2]*mat.SymDense
		for side := range c {
			v := s
			v.Dielectrics = append([]Dielectric(nil), s.Dielectrics...)
			v.Dielectrics[k].Permittivity *= 1 + step*float64(2*side-1)
			c[side] = solve(t, v, 1e-4).C
		}
		for _, d := range r.Dielectrics {
			if d.Index != k {
				continue
			}
			for i := range r.Conductors {
				want := (c[1].At(i, i) - c[0].At(i, i)) / (2 * step)
				if !(math.Abs(d.Capacitance.At(i, i)-want) <= 2e-4*r.C.At(i, i)) {
					t.Errorf("dielectric %d: share of C%d%d %.6g, derivative %.6g", k+1, i+1, i+1, d.Capacitance.At(i, i), want)
				}
			}
		}
	}
}

// Wheeler's incremental inductance rule, R/Rs = (1/μ0)·∂L/∂n with every metal
// surface receding by n, is another road to the resistance [wheeler1942].
func TestIncrementalInductance(t *testing.T) {
	const h, w1, w2, th = 0.2e-3, 0.36e-3, 0.31e-3, 45e-6
	section := func(n float64) Section {
		// The slanted sides recede by n along their normal.
		slope := (w1 - w2) / 2 / th
		shift := n * math.Hypot(1, slope)
		at := func(y float64) float64 { return w1/2 - slope*(y-h) - shift }
		lo, hi := h+n, h+th-n
		return Section{Region: Region{Bottom: ElectricAt(-n)}, Conductors: []Conductor{{Name: "trace",
			Shape: Polygon{{-at(lo), lo}, {at(lo), lo}, {at(hi), hi}, {-at(hi), hi}}}}}
	}
	const n = 0.5e-6
	up, down := solve(t, section(n), 1e-7), solve(t, section(-n), 1e-7)
	want := (up.L.At(0, 0) - down.L.At(0, 0)) / (2 * n * mu0)
	for accuracy, rel := range map[float64]float64{1e-2: 1e-2, 1e-3: 1e-2, 1e-4: 1e-3, 1e-5: 1e-3} {
		near(t, fmt.Sprintf("R/Rs at accuracy %g", accuracy), solve(t, section(0), accuracy).ResistanceFactor().At(0, 0), want, rel)
	}
}

// The surface integral over round conductors has a closed form, each its own.
func TestMetalShares(t *testing.T) {
	const d, D = 1.27e-3, 2.92e-3
	s := Section{Region: Region{Shield: Circle{Diameter: D}, Metal: Metal{Conductivity: 15e6}}, Background: Material{2.1, 0.0003},
		Conductors: []Conductor{{Name: "pin", Shape: Circle{Diameter: d}, Metal: Metal{Roughness: 1e-6}}}}
	r := solve(t, s, 1e-4)
	want := map[string]float64{"pin": 1 / (math.Pi * d), "shield": 1 / (math.Pi * D)}
	for _, m := range r.Metals {
		near(t, m.Name, m.Factor.At(0, 0), want[m.Name], 1e-8)
		delete(want, m.Name)
	}
	if len(want) > 0 {
		t.Errorf("no share of %v", want)
	}
	// α = (Rs1/πd + Rs2/πD)/2Z0 and π√ε·f·tan δ/c [pozar2012] §2.7, to first order.
	const f = 20e9
	p := r.At(f, nil)
	rough, smooth := HammerstadResistance(s.Conductors[0].Metal, f)
	shield, _ := HammerstadResistance(s.Region.Metal, f)
	m := p.Modes[0]
	near(t, "conductor loss", m.Conductor, (rough/(math.Pi*d)+shield/(math.Pi*D))/(2*r.Impedance()), 2e-3)
	near(t, "dielectric loss", m.Dielectric, math.Pi*f*math.Sqrt(2.1)*0.0003/c0, 2e-3)
	near(t, "sum", real(m.Gamma), m.Conductor+m.Dielectric, 1e-12)
	near(t, "roughness", m.Roughness, (rough/d+shield/D)/(smooth/d+shield/D), 1e-6)
}

// Foil has no finite loss in a thin skin, and says so.
func TestFoilLoss(t *testing.T) {
	r := solve(t, microstrip(1e-3, 1e-3, 0, 3), 1e-3)
	if x := r.ResistanceFactor().At(0, 0); !math.IsInf(x, 1) {
		t.Errorf("R/Rs of foil = %g", x)
	}
	p := r.At(1e9, nil)
	m := p.Modes[0]
	if !math.IsInf(m.Conductor, 1) || math.IsNaN(imag(m.Gamma)) || len(p.Warnings) != 1 || !strings.Contains(p.Warnings[0].Error(), "thickness of trace") {
		t.Errorf("foil at 1 GHz: %+v, warnings %v", m, p.Warnings)
	}
	near(t, "phase of foil", imag(m.Gamma), 2*math.Pi*1e9*math.Sqrt(r.EffectivePermittivity())/c0, 1e-9)
}

// Modes of three coupled lines: CV = C_air·V·Λ, and matched ends take the
// waves: Zc·C·(speed of each mode) is the identity on each pattern.
func TestModes(t *testing.T) {
	s := microstrip(1, 0.2e-3, 35e-6, 4)
	s.Conductors = nil
	for i, x := range []float64{-0.4e-3, 0, 0.5e-3} {
		s.Conductors = append(s.Conductors, trace(fmt.Sprint("line ", i+1), x, 0.2e-3, 0.2e-3, 35e-6))
	}
	r := solve(t, s, 1e-4)
	zc := r.CharacteristicImpedance()
	for k, m := range r.Modes {
		if !(m.EffectivePermittivity > 1 && m.EffectivePermittivity < 4) || m.Name != fmt.Sprint("mode ", k+1) {
			t.Errorf("%s: effective permittivity %g", m.Name, m.EffectivePermittivity)
		}
		v, i := mat.NewVecDense(3, m.Voltage), mat.NewVecDense(3, m.Current)
		var zi, li mat.VecDense
		zi.MulVec(zc, i)
		li.MulVec(r.L, i)
		for n := range 3 {
			if !(math.Abs(zi.AtVec(n)-v.AtVec(n)) <= 1e-9) {
				t.Errorf("%s: Zc·i = %g, v = %g", m.Name, zi.AtVec(n), v.AtVec(n))
			}
			// v = speed·L·i, the other telegrapher's equation.
			if got := c0 / math.Sqrt(m.EffectivePermittivity) * li.AtVec(n); !(math.Abs(got-v.AtVec(n)) <= 1e-9) {
				t.Errorf("%s: v = %g from L, %g from C", m.Name, got, v.AtVec(n))
			}
		}
	}
}

// The field of layered coax is known; metal has none; outside there is nothing.
func TestField(t *testing.T) {
	const a, b, c, e1 = 0.255e-3, 0.6e-3, 0.84e-3, 2.1
	s := Section{Region: Region{Shield: Circle{Diameter: 2 * c}}, Dielectrics: []Dielectric{{Circle{Diameter: 2 * b}, material(e1)}},
		Conductors: []Conductor{{Name: "pin", Shape: Circle{Diameter: 2 * a}}}}
	f := solve(t, s, 1e-6).Field([]float64{5})
	k := 5 / (math.Log(b/a)/e1 + math.Log(c/b))
	for _, r := range []float64{0.26e-3, 0.4e-3, 0.599e-3, 0.6001e-3, 0.7e-3, 0.8399e-3} {
		x, y := r*math.Cos(1), r*math.Sin(1)
		u, ex, ey := f.At(x, y)
		want, field := k*math.Log(c/r), k/r
		if r < b {
			want, field = k*(math.Log(c/b)+math.Log(b/r)/e1), k/r/e1
		}
		near(t, fmt.Sprint("potential at ", r), u, want, 1e-5)
		near(t, fmt.Sprint("field at ", r), ex*x/r+ey*y/r, field, 1e-5)
		if cross := ex*y/r - ey*x/r; !(math.Abs(cross) <= 1e-5*field) {
			t.Errorf("field along the circle at %g: %g", r, cross)
		}
	}
	if u, ex, ey := f.At(0.1e-3, 0); u != 5 || ex != 0 || ey != 0 {
		t.Errorf("in the pin: %g V, (%g, %g) V/m", u, ex, ey)
	}
	if u, _, _ := f.At(0.9e-3, 0); !math.IsNaN(u) {
		t.Errorf("outside the shield: %g V", u)
	}
}

// The flux of D through a box round one trace is its charge, and the grid
// agrees with single points, and the field with the slope of the potential.
func TestFieldFlux(t *testing.T) {
	s := guarded()
	r := solve(t, s, 1e-3)
	f := r.Field([]float64{1, -0.5})
	x0, x1, y0, y1 := -0.4e-3, 0.0, 0.1e-3, 0.3e-3
	eps := func(x, y float64) float64 {
		e := 1.0
		for _, d := range s.Dielectrics {
			if inside(d.Shape, complex(x, y)) {
				e = d.Permittivity
			}
		}
		return e
	}
	flux := 0.0
	rule := newRule(8)
	side := func(ax, ay, bx, by float64) { // the field leaves to the right
		const parts = 60
		for k := range parts {
			for j, t := range rule.x {
				q := (float64(k) + (1+t)/2) / parts
				x, y := ax+(bx-ax)*q, ay+(by-ay)*q
				_, ex, ey := f.At(x, y)
				flux += rule.w[j] / 2 / parts * eps(x, y) * (ex*(by-ay) - ey*(bx-ax))
			}
		}
	}
	side(x0, y0, x1, y0)
	side(x1, y0, x1, y1)
	side(x1, y1, x0, y1)
	side(x0, y1, x0, y0)
	near(t, "flux", flux*eps0, r.C.At(0, 0)-0.5*r.C.At(0, 1), 2e-4)

	g := f.Grid(Point{-0.49e-3, 0.05e-3}, Point{0.49e-3, 0.4e-3}, 7, 5)
	for j, y := range g.Y {
		for i, x := range g.X {
			u, ex, ey := f.At(x, y)
			k := j*len(g.X) + i
			if u != g.Potential[k] || ex != g.Ex[k] || ey != g.Ey[k] {
				t.Errorf("grid at (%g, %g): %g V, point: %g V", x, y, g.Potential[k], u)
			}
			const h = 1e-9
			up, _, _ := f.At(x+h, y)
			down, _, _ := f.At(x-h, y)
			if !(math.Abs(ex+(up-down)/(2*h)) <= 1e-4*math.Hypot(ex, ey)+1) {
				t.Errorf("at (%g, %g): Ex = %g, slope gives %g", x, y, ex, -(up-down)/(2*h))
			}
		}
	}
}

// A polygon of many sides is nearly a circle: its capacity lies between those
// of the circles inside and round it.
func TestPolygonAndCircle(t *testing.T) {
	const sides, a, b = 48, 0.5, 1.2
	var p Polygon
	for k := range sides {
		s, c := math.Sincos(2 * math.Pi * float64(k) / sides)
		p = append(p, Point{a * c, a * s})
	}
	r := solve(t, Section{Region: Region{Shield: Circle{Diameter: 2 * b}}, Conductors: []Conductor{{Name: "pin", Shape: p}}}, 1e-4)
	hi := 2 * math.Pi * eps0 / math.Log(b/a)
	lo := 2 * math.Pi * eps0 / math.Log(b/(a*math.Cos(math.Pi/sides)))
	if c := r.C.At(0, 0); !(c > lo && c < hi) {
		t.Errorf("C = %g, circles give %g and %g", c, lo, hi)
	}
}

var long = flag.Bool("long", false, "run the long studies")

// Random sections, some of high permittivity: the estimate of the error is not
// far from what a much finer solution shows. The long study has 40 of them.
func TestEstimate(t *testing.T) {
	seeds := uint64(3)
	if *long {
		seeds = 40
	}
	for seed := range seeds {
		g := rand.New(rand.NewPCG(seed, 7))
		u := func(a, b float64) float64 { return a + (b-a)*g.Float64() }
		h, top := u(0.05, 0.5), 12.0
		if seed%4 == 0 {
			top = 100
		}
		s := Section{Region: Region{Bottom: ElectricAt(0)}, Dielectrics: []Dielectric{slab(0, h, u(2, top)), slab(h, h+u(0.01, 0.1), u(2, top))}}
		if g.IntN(2) == 0 {
			s.Dielectrics = append(s.Dielectrics, Dielectric{Rectangle{u(-0.5, 0), u(0.3, 1), h, h + u(0.02, 0.2)}, material(u(2, top))})
		}
		x := 0.0
		for i := range 1 + g.IntN(2) {
			w, th := u(0.05, 0.8), u(0.01, 0.1)
			c := Conductor{Name: fmt.Sprint("line ", i+1), Shape: Trapezoid(x+w/2, h, w, w-u(0, 0.04), th)}
			if d := u(0.05, 0.15); g.IntN(3) == 0 {
				c.Shape = Circle{Point{x + d/2, h + d/2 + u(0, 0.05)}, d}
			}
			s.Conductors = append(s.Conductors, c)
			x += w + u(0.05, 0.5)
		}
		fine := solve(t, s, 1e-5)
		for _, accuracy := range []float64{1e-3, 1e-4} {
			if accuracy < 1e-3 && !*long {
				continue
			}
			r := solve(t, s, accuracy)
			if off := change(r.last, fine.last); !(r.EstimatedError <= accuracy && off <= 3*r.EstimatedError+1e-5) {
				t.Errorf("seed %d: asked %g, estimated %.1e, off by %.1e", seed, accuracy, r.EstimatedError, off)
			}
		}
	}
}

// Every rule has a section that breaks it; the message names the piece.
func TestFaults(t *testing.T) {
	good := func() Section { return microstrip(0.5e-3, 0.254e-3, 35e-6, 3.66) }
	add := func(c ...Conductor) Section {
		s := good()
		s.Conductors = append(s.Conductors, c...)
		return s
	}
	with := func(f func(s *Section)) Section {
		s := good()
		f(&s)
		return s
	}
	shape := func(sh Shape) Section { return with(func(s *Section) { s.Conductors[0].Shape = sh }) }
	nan := math.NaN()
	for _, c := range []struct {
		name, piece string
		s           Section
		err         error
	}{
		{"crossing nets", "conductor 2 (b)", add(trace("b", 0.2e-3, 0.26e-3, 0.5e-3, 35e-6)), ErrOverlap},
		{"one inside the other", "conductor 2 (b)", add(trace("b", 0, 0.26e-3, 0.1e-3, 10e-6)), ErrOverlap},
		{"side by side", "conductor 2 (b)", add(trace("b", 0.5e-3, 0.254e-3, 0.5e-3, 35e-6)), ErrOverlap},
		{"corner to corner", "conductor 2 (b)", add(Conductor{Name: "b", Shape: Rectangle{0.25e-3, 0.3e-3, 0.289e-3, 0.3e-3}}), ErrOverlap},
		{"touching circle", "conductor 2 (b)", add(Conductor{Name: "b", Shape: Circle{Point{0, 0.389e-3}, 0.2e-3}}), ErrOverlap},
		{"foil through a trace", "conductor 2 (b)", add(Conductor{Name: "b", Shape: Segment{Point{0, 0.2e-3}, Point{0, 0.4e-3}}}), ErrOverlap},
		{"the same place twice", "conductor 2 (b)", add(trace("b", 0, 0.254e-3, 0.5e-3, 35e-6)), ErrOverlap},
		{"on the ground plane", "an electric side", shape(Block(0, 0, 1e-3, 1e-3)), ErrOverlap},
		{"below the ground plane", "conductor 1 (trace)", shape(Block(0, -2e-3, 1e-3, 1e-3)), ErrOutside},
		{"through the ground plane", "conductor 1 (trace)", shape(Block(0, -1e-3, 1e-3, 2e-3)), ErrOutside},
		{"outside the shield", "conductor 1 (pin)", Section{Region: Region{Shield: Circle{Diameter: 1}}, Conductors: []Conductor{{Name: "pin", Shape: Circle{Point{2, 0}, 0.5}}}}, ErrOutside},
		{"through the shield", "conductor 1 (pin)", Section{Region: Region{Shield: Circle{Diameter: 1}}, Conductors: []Conductor{{Name: "pin", Shape: Circle{Point{0.4, 0}, 0.5}}}}, ErrOutside},
		{"bow tie", "conductor 1 (trace)", shape(Polygon{{0, 1e-3}, {1e-3, 2e-3}, {1e-3, 1e-3}, {0, 2e-3}}), ErrCrossing},
		{"spike", "conductor 1 (trace)", shape(Polygon{{0, 1e-3}, {1e-3, 1e-3}, {2e-3, 1e-3}, {1e-3, 1e-3}}), ErrCrossing},
		{"repeated corner", "conductor 1 (trace)", shape(Polygon{{0, 1e-3}, {1e-3, 1e-3}, {1e-3, 1e-3}, {1e-3, 2e-3}}), ErrDegenerate},
		{"flat polygon", "conductor 1 (trace)", shape(Polygon{{0, 1e-3}, {1e-3, 1e-3}, {2e-3, 1e-3}}), ErrCrossing},
		{"two corners", "conductor 1 (trace)", shape(Polygon{{0, 1e-3}, {1e-3, 1e-3}}), ErrDegenerate},
		{"rectangle inside out", "conductor 1 (trace)", shape(Rectangle{1e-3, 0, 1e-3, 2e-3}), ErrDegenerate},
		{"no diameter", "conductor 1 (trace)", shape(Circle{Point{0, 1e-3}, 0}), ErrDegenerate},
		{"no length", "conductor 1 (trace)", shape(Segment{Point{0, 1e-3}, Point{0, 1e-3}}), ErrDegenerate},
		{"no shape", "conductor 1 (trace)", shape(nil), ErrDegenerate},
		{"slanted open foil", "conductor 1 (trace)", shape(Segment{Point{0, 1e-3}, Point{inf, 2e-3}}), ErrValue},
		{"not a number", "conductor 1 (trace)", shape(Circle{Point{nan, 1e-3}, 1e-3}), ErrValue},
		{"not a number in a rectangle", "conductor 1 (trace)", shape(Rectangle{0, nan, 1e-3, 2e-3}), ErrValue},
		{"no name", "conductor 1 ()", with(func(s *Section) { s.Conductors[0].Name = "" }), ErrValue},
		{"negative conductivity", "conductor 1 (trace)", with(func(s *Section) { s.Conductors[0].Conductivity = -1 }), ErrValue},
		{"negative roughness", "conductor 1 (trace)", with(func(s *Section) { s.Conductors[0].Roughness = nan }), ErrValue},
		{"permittivity below 1", "dielectric 1", with(func(s *Section) { s.Dielectrics[0].Permittivity = 0.5 }), ErrValue},
		{"loss tangent", "background", with(func(s *Section) { s.Background.LossTangent = -1 }), ErrValue},
		{"dielectric segment", "dielectric 1", with(func(s *Section) { s.Dielectrics[0].Shape = Segment{Point{0, 0}, Point{1, 1}} }), ErrDegenerate},
		{"open shield", "the shield", with(func(s *Section) { s.Region.Shield = Rectangle{0, inf, 0, 1} }), ErrValue},
		{"shield and sides", "the shield", with(func(s *Section) { s.Region.Shield = Circle{Diameter: 1} }), ErrValue},
		{"sides crossed", "the top side", with(func(s *Section) { s.Region.Top = ElectricAt(-1e-3) }), ErrValue},
		{"side nowhere", "the left side", with(func(s *Section) { s.Region.Left = ElectricAt(nan) }), ErrValue},
		{"no reference", "section", Section{Conductors: []Conductor{{Name: "wire", Shape: Circle{Diameter: 1}}}}, ErrNoReference},
		{"no signal", "section", Section{Conductors: []Conductor{{Name: Ground, Shape: Circle{Diameter: 1}}}}, ErrNoSignal},
		{"nothing", "section", Section{}, ErrDegenerate},
	} {
		r, err := Solve(context.Background(), c.s, Options{})
		if r != nil || !errors.Is(err, c.err) || !strings.Contains(err.Error(), c.piece) {
			t.Errorf("%s: got %v, want one that says %q and %q", c.name, err, c.piece, c.err)
		}
	}
	if err := good().Check(); err != nil {
		t.Error(err)
	}
	if _, err := Solve(context.Background(), good(), Options{Accuracy: -1}); !errors.Is(err, ErrValue) {
		t.Errorf("accuracy −1: %v", err)
	}
	r, err := Solve(context.Background(), good(), Options{Accuracy: 1e-9, MaxUnknowns: 700})
	if !errors.Is(err, ErrAccuracy) || r == nil || !(math.Abs(r.Impedance()-51.31) < 0.01) {
		t.Errorf("too few unknowns: %v", err)
	}
}

// All faults are found at once.
func TestFaultList(t *testing.T) {
	s := microstrip(0.5e-3, 0.254e-3, 35e-6, 0.2)
	s.Conductors[0].Name = ""
	s.Region.Top = ElectricAt(-1)
	var fs Faults
	if err := s.Check(); !errors.As(err, &fs) || len(fs) != 3 {
		t.Errorf("faults: %v", err)
	}
}

// Pieces of one name may overlap, touch and repeat; dielectrics may reach
// anywhere; ground may lie in the ground plane.
func TestHarmlessOverlap(t *testing.T) {
	plain := microstrip(0.5e-3, 0.254e-3, 35e-6, 3.66)
	want := solve(t, plain, 1e-4)
	s := microstrip(0.4e-3, 0.254e-3, 35e-6, 3.66)
	s.Conductors = append(s.Conductors,
		Conductor{Name: "trace", Shape: Rectangle{-0.25e-3, 0.1e-3, 0.254e-3, 0.289e-3}},
		Conductor{Name: "trace", Shape: Rectangle{0.1e-3, 0.25e-3, 0.254e-3, 0.289e-3}},
		Conductor{Name: "trace", Shape: Segment{Point{-0.25e-3, 0.254e-3}, Point{0.25e-3, 0.254e-3}}},
		Conductor{Name: Ground, Shape: Rectangle{-1e-3, 1e-3, -0.1e-3, 0}},
	)
	s.Dielectrics = []Dielectric{slab(-1, 0.254e-3, 9), slab(0, 0.254e-3, 3.66), {Rectangle{-0.1e-3, 0.1e-3, 0.25e-3, 0.28e-3}, material(7)},
		{Polygon{{-0.3e-3, 0.24e-3}, {0, 0.24e-3}, {0.3e-3, 0.24e-3}, {0.3e-3, 0.254e-3}, {0.1e-3, 0.254e-3}, {-0.3e-3, 0.254e-3}}, material(3.66)}}
	got := solve(t, s, 1e-4)
	near(t, "C", got.C.At(0, 0), want.C.At(0, 0), 5e-5)
	near(t, "L", got.L.At(0, 0), want.L.At(0, 0), 5e-5)
	near(t, "R", got.ResistanceFactor().At(0, 0), want.ResistanceFactor().At(0, 0), 2e-3)
}

// A context that ends stops the solution, and each mesh is announced.
func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	var steps []Step
	r, err := Solve(ctx, guarded(), Options{Accuracy: 1e-8, Progress: func(s Step) {
		if steps = append(steps, s); len(steps) == 2 {
			cancel()
		}
	}})
	if r != nil || !errors.Is(err, context.Canceled) || len(steps) != 2 || steps[1].Solves != 1 || !(steps[1].Unknowns > steps[0].Unknowns) {
		t.Errorf("%v after %+v", err, steps)
	}
}
