package xsection

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"
)

// elliptic returns the complete integral K for the complementary modulus k', by
// the arithmetic-geometric mean [abramowitz1964] 17.6.
func elliptic(kc float64) float64 {
	a, b := 1.0, kc
	for math.Abs(a-b) > 1e-15*a {
		a, b = (a+b)/2, math.Sqrt(a*b)
	}
	return math.Pi / 2 / a
}

// ratioK returns K(k)/K(k') for the modulus and its complement.
func ratioK(k, kc float64) float64 { return elliptic(kc) / elliptic(k) }

// upper returns the upper triangle of C/ε0 row by row.
func upper(r *Result) (c []float64) {
	n := len(r.Conductors)
	for i := range n {
		for j := i; j < n; j++ {
			c = append(c, r.C.At(i, j)/eps0)
		}
	}
	return c
}

// closed is a section of known C/ε0: the upper triangle, row by row.
type closed struct {
	name string
	s    Section
	want []float64
}

// closedForms are sections solved by conformal mapping. Where two dielectrics
// meet in a line that no field crosses, their mean stands for both.
func closedForms() (out []closed) {
	add := func(name string, s Section, want ...float64) { out = append(out, closed{name, s, want}) }

	// Strips between planes [cohn1955]: tanh and its complement, sech, to full digits.
	for _, w := range []float64{0.01, 0.3, 10} {
		add(fmt.Sprintf("strip, w/b %g", w), Section{Region: planes(1), Background: material(2.2), Conductors: []Conductor{trace("strip", 0, 0.5, w, 0)}},
			2.2*4*ratioK(math.Tanh(math.Pi*w/2), 1/math.Cosh(math.Pi*w/2)))
	}
	for _, g := range [][2]float64{{0.5, 1e-4}, {1.5, 0.05}, {0.05, 0.5}} {
		w, gap := g[0], g[1]
		a, b := math.Tanh(math.Pi*w/2), math.Tanh(math.Pi*(w+gap)/2)
		even := 4 * ratioK(a*b, math.Sqrt(1-a*a*b*b))
		odd := 4 * ratioK(a/b, math.Sqrt(1-a*a/(b*b)))
		p := (w + gap) / 2
		add(fmt.Sprintf("coupled strips, w/b %g, gap %g", w, gap), Section{Region: planes(1), Conductors: []Conductor{trace("a", -p, 0.5, w, 0), trace("b", p, 0.5, w, 0)}},
			(even+odd)/2, (even-odd)/2, (even+odd)/2)
	}
	// Coplanar line with unequal gaps on half a space [wen1969]: four points of a line.
	for _, g := range [][3]float64{{1, 0.5, 0.1}, {10e-3, 1e-6, 1e-3}, {1, 0.3, 30}} {
		b, c := -g[0]/2, g[0]/2
		a, d := b-g[1], c+g[2]
		add(fmt.Sprintf("coplanar, strip and gaps %g", g), Section{Dielectrics: []Dielectric{slab(-inf, 0, 12.9)}, Conductors: []Conductor{trace("strip", 0, 0, g[0], 0),
			{Name: Ground, Shape: Segment{Point{-inf, 0}, Point{a, 0}}}, {Name: Ground, Shape: Segment{Point{d, 0}, Point{inf, 0}}}}},
			13.9*ratioK(math.Sqrt((c-b)*(d-a)/((c-a)*(d-b))), math.Sqrt((b-a)*(d-c)/((c-a)*(d-b)))))
	}
	// Coplanar line with a plane below and a cover as far above [ghione1987].
	for _, h := range []float64{0.1, 0.5, 3} {
		const w, gap = 0.4, 0.2
		k := math.Tanh(math.Pi*w/4/h) / math.Tanh(math.Pi*(w+2*gap)/4/h)
		s := coplanar(w, gap, h, 0, 10, true)
		s.Region.Top = ElectricAt(h)
		add(fmt.Sprintf("coplanar between planes, h %g", h), s, 2*11*ratioK(k, math.Sqrt(1-k*k)))
	}
	// Circles: two make bipolar coordinates [smythe1968].
	for _, g := range [][3]float64{{0.5, 1, 0.3}, {0.1, 1, 0.8}, {0.9, 1, 0.0999}} {
		a, b, d := g[0], g[1], g[2]
		add(fmt.Sprintf("eccentric coax %g", g), Section{Region: Region{Shield: Circle{Diameter: 2 * b}}, Background: material(2.1),
			Conductors: []Conductor{{Name: "pin", Shape: Circle{Point{d * 0.6, d * 0.8}, 2 * a}}}},
			2.1*2*math.Pi/math.Acosh((a*a+b*b-d*d)/(2*a*b)))
	}
	for _, g := range [][3]float64{{1, 0.1, 1.2}, {1, 1, 2.001}, {1, 0.001, 5}} {
		a, b, d := g[0], g[1], g[2]
		add(fmt.Sprintf("wires half in dielectric %g", g), Section{Dielectrics: []Dielectric{slab(-inf, 0, 9)},
			Conductors: []Conductor{{Name: "wire", Shape: Circle{Diameter: 2 * a}}, {Name: Ground, Shape: Circle{Point{d, 0}, 2 * b}}}},
			5*2*math.Pi/math.Acosh((d*d-a*a-b*b)/(2*a*b)))
	}
	add("thin wire high over ground", Section{Region: Region{Bottom: ElectricAt(0)}, Background: material(100), Conductors: []Conductor{{Name: "wire", Shape: Circle{Point{0, 50}, 1}}}},
		100*2*math.Pi/math.Acosh(100))
	// z → (z+t)/(1+tz) keeps the unit circle and makes layered coax eccentric.
	for _, t := range []float64{0.2, 0.7, 0.9} {
		moved := func(r float64) Circle {
			lo, hi := (t-r)/(1-t*r), (t+r)/(1+t*r)
			return Circle{Point{(lo + hi) / 2, 0}, hi - lo}
		}
		add(fmt.Sprintf("eccentric layered coax, t %g", t), Section{Region: Region{Shield: Circle{Diameter: 2}}, Background: material(2), Dielectrics: []Dielectric{{moved(0.5), material(50)}},
			Conductors: []Conductor{{Name: "pin", Shape: moved(0.2)}}}, 2*math.Pi/(math.Log(0.5/0.2)/50+math.Log(1/0.5)/2))
	}
	// A screen that touches nothing parts inside from outside: coax in a box.
	const w = 0.3
	k := math.Tanh(math.Pi * w / 2)
	add("strip line in a box of its own", Section{Region: planes(4), Conductors: []Conductor{
		trace("strip", 0, 1.5, w, 0), {Name: "box", Shape: Rectangle{-8, 8, 0.9, 1}}, {Name: "box", Shape: Rectangle{-8, 8, 2, 2.1}},
		{Name: "box", Shape: Rectangle{-8, -7.9, 1, 2}}, {Name: "box", Shape: Rectangle{7.9, 8, 1, 2}}}}, 4*ratioK(k, 1/math.Cosh(math.Pi*w/2)), -4*ratioK(k, 1/math.Cosh(math.Pi*w/2)))
	return out
}

// The true error stays within the estimate, and the estimate within what was
// asked, from a coarse request to a fine one. 2e-8 is left for the open sides,
// which end far away.
func TestClosedForms(t *testing.T) {
	for _, c := range closedForms() {
		for _, accuracy := range []float64{1e-3, 1e-6} {
			r, err := Solve(context.Background(), c.s, Options{Accuracy: accuracy})
			if err != nil {
				t.Errorf("%s, asked %g: %v", c.name, accuracy, err)
				continue
			}
			got := upper(r)
			for i, want := range c.want {
				off := math.Abs(got[i]-want) / math.Abs(c.want[0])
				if !(off <= r.EstimatedError+2e-8 && r.EstimatedError <= accuracy) {
					t.Errorf("%s, asked %g: entry %d is %.10g, want %.10g, off by %.1e, estimated %.1e", c.name, accuracy, i, got[i], want, off, r.EstimatedError)
				}
			}
		}
	}
}

// checkerboard is a cell of two by two squares of two dielectrics between
// plates, which between plates has the permittivity √(ε1·ε2) [keller1964].
func checkerboard(e1, e2 float64) Section {
	return Section{Region: Region{Left: ElectricAt(0), Right: MagneticAt(2), Bottom: MagneticAt(0), Top: MagneticAt(1)}, Background: material(e1),
		Dielectrics: []Dielectric{{Rectangle{0, 0.5, 0, 0.5}, material(e2)}, {Rectangle{0.5, 1, 0.5, 1}, material(e2)}},
		Conductors:  []Conductor{{Name: "plate", Shape: Rectangle{1, 2, -1, 2}}}}
}

// Where four squares of dielectric meet the field grows as r^(ν−1) with a ν
// that the contrast makes as small as one likes: 0.39 for 10, 0.13 for 100.
// The first is followed as far as is asked; the second, which no mesh in
// floating point can follow, is refused with an estimate that covers the error.
func TestCheckerboard(t *testing.T) {
	for _, c := range []struct {
		contrast, accuracy float64
		reached            bool
	}{{4, 1e-5, true}, {10, 1e-4, true}, {100, 1e-3, false}} {
		r, err := Solve(context.Background(), checkerboard(1, c.contrast), Options{Accuracy: c.accuracy})
		if r == nil {
			t.Errorf("contrast %g: %v", c.contrast, err)
			continue
		}
		off := math.Abs(r.C.At(0, 0)/eps0/math.Sqrt(c.contrast) - 1)
		if reached := err == nil; reached != c.reached || !reached && !errors.Is(err, ErrAccuracy) || !(off <= r.EstimatedError) || !(off <= 0.01) {
			t.Errorf("contrast %g: off by %.1e, estimated %.1e, %v", c.contrast, off, r.EstimatedError, err)
		}
	}
}

// Metal that touches a dielectric's corner with its own leaves wedges of air,
// in which the field is steep: refining without end once gave no number, and
// an estimate of 2e-11 with it.
func TestCornerOnCorner(t *testing.T) {
	s := Section{Region: Region{Bottom: ElectricAt(0)}, Dielectrics: []Dielectric{{Rectangle{-1, 0, 0, 1}, material(10)}},
		Conductors: []Conductor{{Name: "bar", Shape: Rectangle{0, 1, 1, 1.2}}}}
	coarse := solve(t, s, 1e-4)
	fine, err := Solve(context.Background(), s, Options{Accuracy: 2e-5})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "C", fine.C.At(0, 0), coarse.C.At(0, 0), coarse.EstimatedError)
	near(t, "Z0", fine.Impedance(), math.Sqrt(fine.L.At(0, 0)/fine.C.At(0, 0)), 1e-9)
}
