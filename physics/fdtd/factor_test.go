package fdtd

import (
	"math"
	"slices"
	"testing"

	"linewright/physics/material"
)

// A band is LDLᵀ of a symmetric band matrix, not pivoted.
type band struct {
	n, w int
	v    []float64 // row i holds columns i−w to i
}

// bandFactor is the slow twin of factor.
func bandFactor(n int, a, b *entries, shift float64) (*band, bool) {
	w := 0
	for _, e := range []*entries{a, b} {
		for k := range e.i {
			w = max(w, e.i[k]-e.j[k])
		}
	}
	m := &band{n, w, make([]float64, n*(w+1))}
	for k, i := range a.i {
		m.v[i*(w+1)+a.j[k]-i+w] += a.v[k]
	}
	for k, i := range b.i {
		m.v[i*(w+1)+b.j[k]-i+w] -= shift * b.v[k]
	}
	for i := range n {
		ri := m.v[i*(w+1) : (i+1)*(w+1)]
		low := max(0, i-w)
		for j := low; j < i; j++ { // L_ij D_j
			rj := m.v[j*(w+1) : (j+1)*(w+1)]
			from := max(low, j-w)
			ri[j-i+w] -= dot(ri[from-i+w:j-i+w], rj[from-j+w:w])
		}
		for j := low; j < i; j++ {
			x := ri[j-i+w]
			l := x / m.v[j*(w+1)+w]
			ri[w] -= x * l
			ri[j-i+w] = l
		}
		if ri[w] == 0 || math.IsNaN(ri[w]) {
			return nil, false
		}
	}
	return m, true
}

func (m *band) solve(x []float64) {
	w := m.w
	for i := range m.n {
		low := max(0, i-w)
		x[i] -= dot(m.v[i*(w+1)+low-i+w:i*(w+1)+w], x[low:i])
	}
	for i := range m.n {
		x[i] /= m.v[i*(w+1)+w]
	}
	for i := m.n - 1; i >= 0; i-- {
		for j := max(0, i-w); j < i; j++ {
			x[j] -= m.v[i*(w+1)+j-i+w] * x[i]
		}
	}
}

// The equations of a microstrip's cross-section: the factors solve them to rounding
// error, and at a high frequency as a band matrix without pivots does. (At a low one the curl
// outweighs the rest by 10⁶; two solutions of equal residual are then further apart.)
func TestFactorOfCrossSection(t *testing.T) {
	rows, freq := caseRows(t, "disp-S01")
	g, s := firstPort(t, boxed(rows[0], t, 5, [2]float64{freq[0], freq[len(freq)-1]}))
	for _, f := range []float64{1e9, 20e9} {
		p := s.pencil(g, s.cross(g), f)
		shift := s.eps * (1 + 1e-3)
		k, ok := factor(p.n, &p.a, &p.b, shift)
		slow, ok2 := bandFactor(p.n, &p.a, &p.b, shift)
		if !ok || !ok2 {
			t.Fatalf("%g GHz: factors %v, of the band %v", f/1e9, ok, ok2)
		}
		right := make([]float64, p.n)
		p.b.apply(strangers(p.n, 1)[0], right)
		residual := func(x []float64) float64 { // over |A| |x| + |right|, each by its largest
			u, v := make([]float64, p.n), make([]float64, p.n)
			p.a.apply(x, u)
			p.b.apply(x, v)
			r, top := 0.0, 0.0
			for i := range u {
				r = math.Max(r, math.Abs(u[i]-shift*v[i]-right[i]))
				top = math.Max(top, math.Abs(x[i]))
			}
			most := 0.0
			for _, w := range p.a.v {
				most = math.Max(most, math.Abs(w))
			}
			return r / (most * top)
		}
		x, y := slices.Clone(right), slices.Clone(right)
		k.Solve(x)
		slow.solve(y)
		top, off := 0.0, 0.0
		for i := range x {
			top, off = math.Max(top, math.Abs(y[i])), math.Max(off, math.Abs(x[i]-y[i]))
		}
		t.Logf("%g GHz: %d unknowns, %d numbers in the factors, %d in the band; residuals %.1e and %.1e, apart by %.1e", f/1e9, p.n, k.Numbers(), len(slow.v), residual(x), residual(y), off/top)
		if r := residual(x); !(r < 1e-14) {
			t.Errorf("%g GHz: the residual is %.1e", f/1e9, r)
		}
		if f > 10e9 && !(off < 1e-10*top) {
			t.Errorf("%g GHz: apart by %.1e of the largest", f/1e9, off/top)
		}
	}
}

// Cross-sections of more than some 10 000 nodes used to keep the static mode. The modes of a
// microstrip with four times the nodes are those of the coarse one, but for its cells.
func TestLargeCrossSection(t *testing.T) {
	const w, h, high, l = 3e-3, 2e-3, 0.4e-3, 1e-3
	var eps [2]float64
	for i, step := range []float64{40e-6, 20e-6} {
		m := &Model{Band: [2]float64{1e9, 20e9}}
		m.Lines = [3][]float64{uniform(0, w, step), uniform(0, h, step), uniform(0, l, 0.1e-3)}
		m.Region = Box{Point{}, Point{w, h, l}}
		m.Boundaries[XLow] = Magnetic
		m.Solids = []Solid{
			{Shape: Box{Point{}, Point{w, high, l}}, Material: Material{Dielectric: material.Dielectric{Permittivity: 9.8}}},
			{Shape: Box{Point{0, high, 0}, Point{0.2e-3, high, l}}, Material: Material{Metal: true}},
		}
		m.Ports = []Port{{Side: ZLow, Signal: [2]float64{0, high}}}
		g, modes, notes := portModes(t, m)
		s := modes[0]
		if len(notes) != 0 || len(s.patterns) == 0 {
			t.Fatalf("%d nodes: %d patterns, %q", g.n[0]*g.n[1], len(s.patterns), notes)
		}
		eps[i], _ = s.line(20e9)
		t.Logf("%d nodes: permittivity %.5f at rest, %.5f at 20 GHz", g.n[0]*g.n[1], s.eps, eps[i])
		if rise := eps[i]/s.eps - 1; !(rise > 0.01) {
			t.Errorf("the permittivity rises by %.2f %% to 20 GHz", 100*rise)
		}
	}
	if d := eps[1]/eps[0] - 1; !(math.Abs(d) < 0.01) {
		t.Errorf("permittivity %.5f and %.5f at 20 GHz", eps[0], eps[1])
	}
}

// The memory of a port's modes counts where the grid is short: a millimetre of microstrip
// on 38 400 cells of cross-section took 478 MB at its peak, filled with air 177 MB. A long grid
// has its run's memory alone, and a window leaves out what is not seen.
func TestEstimateCountsPorts(t *testing.T) {
	size := func(er, long float64, window [2][2]float64) float64 {
		const step = 12.5e-6
		m := &Model{Band: [2]float64{1e9, 20e9}}
		m.Lines = [3][]float64{uniform(0, 3e-3, step), uniform(0, 2e-3, step), uniform(0, long, 0.1e-3)}
		m.Region = Box{Point{}, Point{3e-3, 2e-3, long}}
		m.Solids = []Solid{{Shape: Box{Point{}, Point{3e-3, 0.4e-3, long}}, Material: Material{Dielectric: material.Dielectric{Permittivity: er}}}}
		m.Ports = []Port{{Side: ZLow, Signal: [2]float64{0, 0.4e-3}, Window: window}}
		z, err := Estimate(m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return z.Bytes
	}
	whole := [2][2]float64{}
	for _, c := range []struct {
		er, peak float64
	}{{9.8, 478e6}, {1, 177e6}} {
		if got := size(c.er, 1e-3, whole); !(math.Abs(got/c.peak-1) < 0.25) {
			t.Errorf("εr %g: %.0f MB, measured %.0f MB", c.er, got/1e6, c.peak/1e6)
		}
	}
	if filled, air := size(9.8, 50e-3, whole), size(1, 50e-3, whole); filled != air {
		t.Errorf("a long grid: %.0f and %.0f MB", filled/1e6, air/1e6)
	}
	if half := size(9.8, 1e-3, [2][2]float64{{0, 0}, {1.5e-3, 2e-3}}); !(half < 0.65*size(9.8, 1e-3, whole)) {
		t.Errorf("half the window: %.0f MB", half/1e6)
	}
}
