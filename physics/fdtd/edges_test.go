package fdtd

import (
	"math"
	"math/rand/v2"
	"testing"

	"linewright/physics/material"
)

// potential is the static solution at an edge: a sheet along −x, or metal in the
// quarter x < 0, y < 0; zero on the metal ([meixner1972]).
func (w wedge) potential(x, y float64) float64 {
	r, t := math.Hypot(x, y), math.Atan2(y, x)
	if w == rim {
		return math.Sqrt(r) * math.Cos(t/2)
	}
	if t += math.Pi / 2; t < 0 || t > 1.5*math.Pi {
		return 0
	}
	return math.Pow(r, 2./3) * math.Sin(2*t/3)
}

// energy of the exact solution in |x| < a, |y| < b: |grad|² is ν² r^(2ν−2).
func (w wedge) energy(a, b float64) float64 {
	nu, from := 0.5, -math.Pi
	if w == corner {
		nu, from = 2./3, -math.Pi/2
	}
	const n = 200000
	sum, d := 0.0, (math.Pi-from)/n
	for i := range n {
		sin, cos := math.Sincos(from + d*(float64(i)+0.5))
		sum += nu / 2 * math.Pow(min(a/math.Abs(cos), b/math.Abs(sin)), 2*nu) * d
	}
	return sum
}

// gridEnergy is that on 2n × 2n cells with the exact solution on the border, the
// links at the edge having a weight.
func (w wedge) gridEnergy(n int, hx, hy, weight float64) float64 {
	m := 2*n + 1
	id := func(i, j int) int { return i + n + (j+n)*m }
	fixed, phi := make([]bool, m*m), make([]float64, m*m)
	type link struct {
		a, b int
		w    float64
	}
	var links []link
	for i := -n; i <= n; i++ {
		for j := -n; j <= n; j++ {
			k := id(i, j)
			metal := w == rim && j == 0 && i <= 0 || w == corner && i <= 0 && j <= 0
			if fixed[k] = metal || i == -n || i == n || j == -n || j == n; !metal {
				phi[k] = w.potential(float64(i)*hx, float64(j)*hy)
			}
			half := func(on bool) float64 {
				if on {
					return 0.5
				}
				return 1
			}
			if i < n {
				x := hy / hx * half(j == -n || j == n)
				if j == 0 && (i == 0 || i == -1) {
					x *= weight
				}
				links = append(links, link{k, id(i+1, j), x})
			}
			if j < n {
				x := hx / hy * half(i == -n || i == n)
				if i == 0 && (j == 0 || j == -1) {
					x *= weight
				}
				links = append(links, link{k, id(i, j+1), x})
			}
		}
	}
	descend(func(x, y []float64) {
		clear(y)
		for _, l := range links {
			d := l.w * (x[l.a] - x[l.b])
			y[l.a] += d
			y[l.b] -= d
		}
		for i := range y {
			if fixed[i] {
				y[i] = 0
			}
		}
	}, phi, nil)
	sum := 0.0
	for _, l := range links {
		d := phi[l.a] - phi[l.b]
		sum += l.w * d * d
	}
	return sum
}

// The table of weights, computed anew: what makes the grid's energy about an edge
// the exact one in the end (what is left of the far field falls with n^(2ν−2)).
func TestEdgeWeights(t *testing.T) {
	for _, w := range []wedge{rim, corner} {
		nu := 0.5
		if w == corner {
			nu = 2. / 3
		}
		for _, k := range []int{0, 2} {
			ratio := math.Pow(2, float64(k)/2)
			hx, hy := math.Sqrt(ratio), 1/math.Sqrt(ratio)
			excess := func(weight float64) float64 {
				of := func(n int) float64 {
					return w.gridEnergy(n, hx, hy, weight) - w.energy(float64(n)*hx, float64(n)*hy)
				}
				f := math.Pow(2, 2-2*nu)
				return (f*of(40) - of(20)) / (f - 1)
			}
			x0, x1 := 1.0, 0.8
			e0, e1 := excess(x0), excess(x1)
			for range 6 {
				if math.Abs(e1) < 1e-6 {
					break
				}
				x0, x1, e0 = x1, x1-e1*(x1-x0)/(e1-e0), e1
				e1 = excess(x1)
			}
			if got := w.weight(ratio, 1); !(math.Abs(got-x1) < 1e-5) || got != w.weight(1, ratio) {
				t.Errorf("kind %d, sides as %.3g to 1: %.6f in the table, %.6f computed", w, ratio, got, x1)
			}
		}
	}
}

// What has no straight edge is left alone; a strip has two edges and a bar four, on each of
// which three and two links change; round things have none however the grid cuts them.
func TestEdgesFound(t *testing.T) {
	const l, h = 4e-3, 0.5e-3
	build := func(s ...Solid) *grid {
		m := blank(h, []float64{-3e-3, 3e-3}, []float64{-3e-3, 3e-3}, []float64{0, l})
		m.Solids = s
		g, err := m.divide(Options{})
		if err != nil {
			t.Fatal(err)
		}
		g.measure()
		return g
	}
	metal := Material{Metal: true}
	changed := func(g *grid) (edges, faces int) {
		for a := range 3 {
			edges += len(g.sharp[a])
			faces += len(g.faces[a])
		}
		return edges, faces
	}
	if e, f := changed(build(Solid{Shape: Cylinder{Axis: 2, Radius: 1.5e-3, Length: l}, Material: metal})); e+f != 0 {
		t.Errorf("a round rod: %d edges and %d faces", e, f)
	}
	if e, f := changed(build(Solid{Shape: Box{Point{-1e-3, -1e-3, 0}, Point{1e-3, 1e-3, l}}, Material: Material{Dielectric: material.Dielectric{Permittivity: 4}}})); e+f != 0 {
		t.Errorf("a dielectric bar: %d edges and %d faces", e, f)
	}
	n := int(math.Round(l / h))
	if e, f := changed(build(Solid{Shape: Box{Point{-1e-3, 0, 0}, Point{1e-3, 0, l}}, Material: metal})); e != 6*(n+1) || f != 6*n {
		t.Errorf("a strip: %d edges and %d faces, want %d and %d", e, f, 6*(n+1), 6*n)
	}
	if e, f := changed(build(Solid{Shape: Box{Point{-1e-3, -1e-3, 0}, Point{1e-3, 1e-3, l}}, Material: metal})); e != 8*(n+1) || f != 8*n {
		t.Errorf("a bar: %d edges and %d faces, want %d and %d", e, f, 8*(n+1), 8*n)
	}
}

// The fields about edges of cells of uneven sides stay bounded over many steps.
func TestEdgesAreStable(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 9))
	for range 3 {
		m := blank(0.5e-3, []float64{0, 8e-3}, []float64{0, 6e-3}, []float64{0, 8e-3})
		for a := range 3 {
			l := m.Lines[a]
			for i := 1; i < len(l)-1; i++ {
				l[i] += (r.Float64() - 0.5) * 0.3e-3
			}
		}
		x, y, z := m.Lines[0], m.Lines[1], m.Lines[2]
		m.Solids = []Solid{
			{Name: "block", Shape: Box{Point{x[4], y[3], z[4]}, Point{x[7], y[6], z[8]}}, Material: Material{Metal: true}},
			{Name: "sheet", Shape: Box{Point{x[9], y[2], z[2]}, Point{x[12], y[2], z[12]}}, Material: Material{Metal: true}},
		}
		m.Ports = []Port{{Side: ZLow, Mode: TE}}
		m.Lines[2] = append(uniform(-3e-3, 0, 0.5e-3), m.Lines[2][1:]...)
		m.Region.Low[2] = -3e-3
		m.Band = [2]float64{25e9, 40e9}
		res := mustSolve(t, m, Options{MaxSteps: 6000, EnergyLeft: 1e-30, Frequencies: []float64{30e9}})
		if !(res.EnergyLeft < 1) {
			t.Errorf("after 6000 steps %g of the peak's energy is there", res.EnergyLeft)
		}
	}
}
