package fdtd

import (
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/internal/dense"
	"linewright/physics/material"
)

// hollowBox is a rectangular guide of a × b along z, all metal about it.
func hollowBox(a, b, l, step float64, band [2]float64, modes int) *Model {
	m := &Model{Band: band, Lines: [3][]float64{uniform(0, a, step), uniform(0, b, step), uniform(0, l, step)}}
	m.Region = Box{Point{}, Point{a, b, l}}
	m.Ports = []Port{{Name: "1", Side: ZLow, Mode: TE, Modes: modes}, {Name: "2", Side: ZHigh, Mode: TE, Modes: modes, Plane: l}}
	return m
}

func portModes(t *testing.T, m *Model) (*grid, []*section, []string) {
	t.Helper()
	g, err := m.divide(Options{})
	if err != nil {
		t.Fatal(err)
	}
	g.measure()
	modes, notes, err := g.sections(0)
	if err != nil {
		t.Fatal(err)
	}
	return g, modes, notes
}

// The modes of a rectangular guide: kc² = (2/d sin(mπd/2a))² + the same of n and b on
// Yee's grid, exactly; (mπ/a)² + (nπ/b)² in the end ([marcuvitz1951] §2.2).
func TestRectangularGuideModes(t *testing.T) {
	const a, b, d = 23e-3, 10e-3, 1e-3
	g, modes, _ := portModes(t, hollowBox(a, b, 20e-3, d, [2]float64{8e9, 30e9}, 8))
	want := []struct {
		kind Mode
		m, n float64
	}{{TE, 1, 0}, {TE, 2, 0}, {TE, 0, 1}, {TE, 1, 1}, {TM, 1, 1}, {TE, 3, 0}, {TE, 2, 1}, {TM, 2, 1}}
	for i, w := range want {
		s := modes[i]
		x, y := 2/d*math.Sin(w.m*math.Pi*d/2/a), 2/d*math.Sin(w.n*math.Pi*d/2/b)
		if kc := x*x + y*y; s.kind != w.kind || !(math.Abs(s.kc2/kc-1) < 1e-9) {
			t.Errorf("mode %d is %v with kc² %.6f, want %v%g%g with %.6f", i+1, s.kind, s.kc2, w.kind, w.m, w.n, kc)
		}
		f := c0 / 2 * math.Hypot(w.m/a, w.n/b)
		refcheck.Record(t, fmt.Sprintf("guide-%v%g%g", w.kind, w.m, w.n), "cutoff_Hz", "N. Marcuvitz, Waveguide Handbook, 1951, §2.2", f, g.cutoffFrequency(s.kc2), 0.01*f)
	}
	for i, p := range modes { // a port hears each alone
		for j, q := range modes {
			sum, own := 0.0, 0.0
			for c := range 2 {
				for at, e := range p.e[c] {
					_, l, across := p.edge(g, c, at)
					sum += e * q.h[c][at] * l * across
					own += e * p.h[c][at] * l * across
				}
			}
			if i != j && !(math.Abs(sum) < 1e-9) || !(math.Abs(own-1) < 1e-12) {
				t.Errorf("mode %d in mode %d: %.2e, in itself %.12f", i+1, j+1, sum, own)
			}
		}
	}
}

// A uniform guide passes each of its modes alone, with the phase of its own wave.
func TestOvermodedGuide(t *testing.T) {
	const a, b, l, n = 23e-3, 10e-3, 30e-3, 5
	m := hollowBox(a, b, l, 1e-3, [2]float64{18e9, 24e9}, n)
	freq := []float64{18e9, 20e9, 22e9, 24e9}
	r := mustSolve(t, m, Options{Frequencies: freq, Layers: 16, EnergyLeft: 1e-9})
	s := at(r)
	g, modes, _ := portModes(t, m)
	for k, f := range freq {
		for i := range 2 * n {
			for j := range 2 * n {
				want := complex(0, 0)
				if i%n == j%n && i != j {
					want = cmplx.Exp(complex(0, -1) * modes[i%n].phase(g, f, 1e-3) * 30)
				}
				if d := cmplx.Abs(s(k, i, j) - want); !(d < 2e-4) {
					t.Errorf("%g GHz: S%d,%d is %.5f, want %.5f", f/1e9, i+1, j+1, s(k, i, j), want)
				}
			}
		}
	}
}

// stepTE is a symmetric step of a guide's broad wall from a1 to a2 > a1, by mode
// matching of TEm0, odd m [marcuvitz1951 §5.24 describes it]: the wider side's fields
// expanded in those of the narrow one in the aperture, n modes there and n·a2/a1 beyond.
// It returns S of the lowest p and q modes.
func stepTE(a1, a2, f float64, n, p, q int) func(i, j int) complex128 {
	n2 := int(float64(n)*a2/a1 + 0.5)
	k := 2 * math.Pi * f / c0
	beta := func(a float64, i int) complex128 {
		kc := float64(2*i+1) * math.Pi / a
		if kc < k {
			return complex(math.Sqrt(k*k-kc*kc), 0)
		}
		return complex(0, -math.Sqrt(kc*kc-k*k))
	}
	overlap := func(i, j int) float64 { // of normalised cosines about the middle
		u, v := float64(2*i+1)*math.Pi/a1, float64(2*j+1)*math.Pi/a2
		in := func(w float64) float64 {
			if w == 0 {
				return a1 / 2
			}
			return math.Sin(w*a1/2) / w
		}
		return 2 / math.Sqrt(a1*a2) * (in(u-v) + in(u+v))
	}
	// E: V2 = Xᵀ V1 (metal beyond the aperture); H: Y1 I-balance in the aperture:
	// Y1 (a − b) = X Y2 (b2 − a2), V1 = a + b, V2 = a2 + b2
	size := n
	m := make([]complex128, size*size) // Y1 + X Y2 Xᵀ
	x := make([][]float64, n)
	for i := range n {
		x[i] = make([]float64, n2)
		for j := range n2 {
			x[i][j] = overlap(i, j)
		}
	}
	for i := range n {
		for j := range n {
			for l := range n2 {
				m[i*n+j] += complex(x[i][l]*x[j][l], 0) * beta(a2, l)
			}
		}
		m[i*n+i] += beta(a1, i)
	}
	feed := func(j int) []complex128 { // V1 when wave j of 1 √W comes in
		rhs := make([]complex128, n)
		if j < p {
			rhs[j] = 2 * beta(a1, j) / cmplx.Sqrt(beta(a1, j))
		} else {
			for i := range n {
				rhs[i] = 2 * complex(x[i][j-p], 0) * beta(a2, j-p) / cmplx.Sqrt(beta(a2, j-p))
			}
		}
		solveDense(n, append([]complex128(nil), m...), rhs)
		return rhs
	}
	return func(i, j int) complex128 {
		v := feed(j)
		one := complex(0, 0)
		if i == j {
			one = 1
		}
		if i < p {
			return v[i]*cmplx.Sqrt(beta(a1, i)) - one
		}
		sum := complex(0, 0)
		for k := range n {
			sum += complex(x[k][i-p], 0) * v[k]
		}
		return sum*cmplx.Sqrt(beta(a2, i-p)) - one
	}
}

// A step of the broad wall where the wide guide carries TE10 and TE30: the power goes to
// both, by mode matching written for this test.
func TestStepIntoOvermodedGuide(t *testing.T) {
	const a1, a2, b = 16e-3, 36e-3, 2e-3
	freq := []float64{13.5e9, 14.5e9, 16e9, 17.5e9} // TE30 of the wide guide from 12.5 GHz
	solve := func(step float64) *Result {
		m := &Model{Background: Material{Metal: true}, Band: [2]float64{13e9, 18e9}}
		m.Lines = [3][]float64{through(step, 0, a1/2, a2/2), uniform(0, b, b), through(step, -16e-3, 0, 24e-3)}
		m.Region = Box{Point{0, 0, -16e-3}, Point{a2 / 2, b, 24e-3}}
		m.Boundaries[XLow] = Magnetic
		m.Solids = []Solid{{Name: "narrow", Shape: Box{Point{0, 0, -16e-3}, Point{a1 / 2, b, 0}}}, {Name: "wide", Shape: Box{Point{0, 0, 0}, Point{a2 / 2, b, 24e-3}}}}
		m.Ports = []Port{{Side: ZLow, Mode: TE}, {Side: ZHigh, Mode: TE, Modes: 2}}
		return mustSolve(t, m, Options{Frequencies: freq, Layers: 16})
	}
	coarse, fine := solve(1e-3), solve(0.5e-3)
	n, _, err := Extrapolate(coarse, fine, Smooth)
	if err != nil {
		t.Fatal(err)
	}
	for k, f := range freq {
		want, power := stepTE(a1, a2, f, 40, 1, 2), 0.0
		for i := range 3 {
			power += math.Pow(cmplx.Abs(fine.Network.S[(k*3+i)*3]), 2)
			for j := range 3 {
				got, ref := n.S[(k*3+i)*3+j], want(i, j)
				if i != j && (i == 2 || j == 2) && real(got*cmplx.Conj(ref)) < 0 {
					ref = -ref // a mode's sign is a choice
				}
				t.Logf("%g GHz S%d%d: %.4f, mode matching %.4f", f/1e9, i+1, j+1, got, ref)
				if !(cmplx.Abs(got-ref) < 0.001) {
					t.Errorf("%g GHz S%d%d: %.4f, mode matching %.4f", f/1e9, i+1, j+1, got, ref)
				}
				if d := cmplx.Abs(fine.Network.S[(k*3+i)*3+j] - fine.Network.S[(k*3+j)*3+i]); !(d < 1e-3) {
					t.Errorf("%g GHz: S%d%d and S%d%d differ by %.5f", f/1e9, i+1, j+1, j+1, i+1, d)
				}
			}
		}
		if !(math.Abs(power-1) < 1e-3) {
			t.Errorf("%g GHz: of 1 W %.5f W come out", f/1e9, power)
		}
	}
}

// The rows of the thin iris at 12.4 GHz are not believed: they lie 0.005 off mode
// matching, and off this solver on three grids, of which the finest agrees with the other two
// frequencies to 0.00005. TE20 decays by 89 Np/m only there.
var doubted = map[string]bool{"wg-S05.013": true, "wg-S05.014": true, "wg-S05.015": true, "wg-S05.016": true, "wg-S05.017": true, "wg-S05.018": true}

// oneSided is S11 and S21 of a plate of thickness t that leaves 0 to w of a guide's broad
// wall a open, by mode matching of TEm0, n modes in the opening and n·a/w in the guide:
// the two halves of it, with a mirror and with metal in the middle.
func oneSided(a, w, t, f float64, n int) (s11, s21 complex128) {
	k := 2 * math.Pi * f / c0
	beta := func(width float64, m int) complex128 {
		kc := float64(m) * math.Pi / width
		if kc < k {
			return complex(math.Sqrt(k*k-kc*kc), 0)
		}
		return complex(0, -math.Sqrt(kc*kc-k*k))
	}
	guide := int(float64(n)*a/w + 0.5)
	x := make([][]float64, n)
	for m := range x {
		x[m] = make([]float64, guide)
		for l := range x[m] {
			u, v := float64(m+1)*math.Pi/w, float64(l+1)*math.Pi/a
			in := func(q float64) float64 {
				if math.Abs(q) < 1e-9 {
					return w
				}
				return math.Sin(q*w) / q
			}
			x[m][l] = (in(u-v) - in(u+v)) / math.Sqrt(w*a)
		}
	}
	var half [2]complex128
	for p := range half {
		y, v := make([]complex128, n*n), make([]complex128, n)
		for m := range n {
			for q := range n {
				for l := range guide {
					y[m*n+q] += complex(x[m][l]*x[q][l], 0) * beta(a, l+1)
				}
			}
			b := beta(w, m+1)
			th := cmplx.Tanh(complex(0, 1) * b * complex(t/2, 0))
			if p == 1 {
				th = 1 / th
			}
			y[m*n+m] += b * th
			v[m] = 2 * complex(x[m][0], 0) * beta(a, 1)
		}
		solveDense(n, y, v)
		for m := range n {
			half[p] += complex(x[m][0], 0) * v[m]
		}
		half[p]--
	}
	return (half[0] + half[1]) / 2, (half[0] - half[1]) / 2
}

// solveDense sets x to m⁻¹ x.
func solveDense(n int, m, x []complex128) {
	var lu dense.LU
	if err := lu.Factor(&dense.Matrix{Rows: n, Cols: n, Data: m}); err != nil {
		panic(err)
	}
	lu.Solve(&dense.Matrix{Rows: n, Cols: 1, Data: x})
}

// The thin iris of the rows wg-S05 against mode matching, at all its frequencies, on one
// grid of two cells to its thickness.
func TestThinIris(t *testing.T) {
	rows, freq := caseRows(t, "wg-S05")
	num := func(s string) float64 { return rows[0].Num(t, s) }
	m := guide(t, rows[0], freq, 0.25e-3)
	s := at(mustSolve(t, turned(m), Options{Frequencies: freq, MaxSteps: 20000, EnergyLeft: 1e-9}))
	for k, f := range freq {
		s11, s21 := oneSided(num("s1_xhi_m"), num("s2_xhi_m"), num("s2_length_m"), f, 100)
		t.Logf("%g GHz: S11 %.5f, mode matching %.5f; S21 %.5f, %.5f", f/1e9, s(k, 0, 0), s11, s(k, 1, 0), s21)
		if d := max(cmplx.Abs(s(k, 0, 0)-s11), cmplx.Abs(s(k, 1, 0)-s21)); !(d < 0.001) {
			t.Errorf("%g GHz: off mode matching by %.5f", f/1e9, d)
		}
	}
}

// The coaxial step of the rows coax-S09, above the cutoff of TM01: a quarter of it. Two
// mirrors leave TEM, TM01 and, of the odd modes, TE21 alone.
func TestCoaxialStepOfTwoModes(t *testing.T) {
	var rows []refcheck.Row
	for _, r := range refcheck.Rows(t, "em_coax.csv") {
		if strings.HasPrefix(r.ID, "coax-S09") {
			rows = append(rows, r)
		}
	}
	num := func(s string) float64 { return rows[0].Num(t, s) / 2 }
	pin, thin, out := num("s1_inner_diameter_m"), num("s2_inner_diameter_m"), num("s1_outer_diameter_m")
	freq := []float64{80e9, 100e9}
	var found [2]func(k, i, j int) complex128
	index := map[string]int{}
	for g := range 2 {
		step := out / float64(10*(g+1))
		const arm = 2.8e-3
		m := &Model{Background: Material{Metal: true}, Band: [2]float64{75e9, 105e9}}
		x := uniform(0, out, step)
		m.Lines = [3][]float64{x, x, through(step, -arm, 0, arm)}
		m.Region = Box{Point{0, 0, -arm}, Point{out, out, arm}}
		m.Boundaries[XLow], m.Boundaries[YLow] = Magnetic, Magnetic
		m.Solids = []Solid{
			{Name: "bore", Shape: Cylinder{Axis: 2, Start: Point{0, 0, -arm}, Radius: out, Length: 2 * arm}},
			{Name: "pin", Shape: Cylinder{Axis: 2, Start: Point{0, 0, -arm}, Radius: pin, Length: arm}, Material: Material{Metal: true}},
			{Name: "thin pin", Shape: Cylinder{Axis: 2, Start: Point{}, Radius: thin, Length: arm}, Material: Material{Metal: true}},
		}
		m.Ports = []Port{{Side: ZLow, Modes: 4}, {Side: ZHigh, Modes: 4}}
		r := mustSolve(t, m, Options{Frequencies: freq, EnergyLeft: 1e-6})
		found[g] = at(r)
		for i, w := range r.Waves {
			t.Logf("port %d: %v, cutoff %.3f GHz", w.Port+1, w.Mode, w.Cutoff/1e9)
			if key := "p" + string('1'+rune(w.Port)) + "." + w.Mode.String(); w.Mode != TE {
				if _, had := index[key]; !had {
					index[key] = i
				}
			}
		}
	}
	for _, r := range rows {
		var names []string
		for s := range strings.SplitSeq(strings.TrimSuffix(strings.TrimPrefix(r.Quantity, "mag_S("), ")"), "<-") {
			names = append(names, strings.TrimSuffix(s, "01"))
		}
		k := 0
		if r.Num(t, "frequency_Hz") == freq[1] {
			k = 1
		}
		i, j := index[names[0]], index[names[1]]
		c, f := cmplx.Abs(found[0](k, i, j)), cmplx.Abs(found[1](k, i, j))
		both := f + (f-c)/(math.Pow(2, Edged)-1)
		t.Logf("%s %g GHz: %.4f, %.4f, together %.4f, want %s", r.Quantity, freq[k]/1e9, c, f, both, r.Value)
		r.Within(t, both, 0.005)
	}
}

// twoStrips are two strips between or above planes, along z.
func twoStrips(width, gap, thick, low, top, side, er, fill, step, l float64, band [2]float64) *Model {
	in, far := gap/2, gap/2+width
	m := &Model{Band: band}
	half := join(uniform(0, in, step), uniform(in, far, step), away(far, far+side, step))
	var x []float64
	for i := len(half) - 1; i > 0; i-- {
		x = append(x, -half[i])
	}
	x = append(x, half...)
	y := toward(0, low, step)
	if thick > 0 {
		y = join(y, uniform(low, low+thick, thick/2))
	}
	y = join(y, away(low+thick, top, step))
	m.Lines = [3][]float64{x, y, uniform(0, l, l/20)}
	m.Region = Box{Point{x[0], 0, 0}, Point{x[len(x)-1], top, l}}
	strip := func(name string, from, to float64) Solid {
		return Solid{Name: name, Net: name, Shape: Box{Point{from, low, 0}, Point{to, low + thick, l}}, Material: Material{Metal: true}}
	}
	m.Solids = []Solid{
		{Name: "filling", Shape: Box{Point{x[0], 0, 0}, Point{x[len(x)-1], fill, l}}, Material: Material{Dielectric: material.Dielectric{Permittivity: er}}},
		strip("left", -far, -in), strip("right", in, far),
	}
	both := [][2]float64{{-(in + far) / 2, low + thick/2}, {(in + far) / 2, low + thick/2}}
	m.Ports = []Port{{Name: "1", Side: ZLow, Signals: both}, {Name: "2", Side: ZHigh, Signals: both, Plane: l}}
	return m
}

// Even and odd mode of the coupled striplines of em_tline, two grids taken together.
func TestCoupledStriplineModes(t *testing.T) {
	for _, c := range []struct {
		prefix string
		power  float64
	}{{"tl-S08", Smooth}, {"tl-S27", Smooth}} {
		var z [2][2]float64
		var rows []refcheck.Row
		for _, r := range refcheck.Rows(t, "em_tline.csv") {
			if strings.HasPrefix(r.ID, c.prefix) && (r.Quantity == "Z_even_ohm" || r.Quantity == "Z_odd_ohm") {
				rows = append(rows, r)
			}
		}
		num := func(s string) float64 { return rows[0].Num(t, s) }
		thick := 0.0
		if rows[0].Has("thickness_m") {
			thick = num("thickness_m")
		}
		top := num("plane_spacing_m")
		m := twoStrips(num("strip_width_m"), num("gap_m"), thick, (top-thick)/2, top, 4*top, num("eps_r"), top, num("gap_m")/6, 1e-3, [2]float64{1e9, 10e9})
		for k := range 2 {
			g, modes, _ := portModes(t, m)
			for i, s := range modes {
				z[k][i] = real(s.impedance(g, 1e8))
			}
			var err error
			if m, err = m.Halved(Options{}); err != nil {
				t.Fatal(err)
			}
		}
		w := 1 / (math.Pow(2, c.power) - 1)
		for i, r := range rows { // even, odd
			got := z[1][i] + w*(z[1][i]-z[0][i])
			t.Logf("%s: %.3f, %.3f, together %.3f, want %s", r.Quantity, z[0][i], z[1][i], got, r.Value)
			r.Within(t, got, 0.001*r.Want(t))
		}
	}
}

// A uniform pair of microstrips, in a box: between its conductors S is that of two lines of the
// port's own even and odd mode, and no mode turns into the other.
func TestCoupledMicrostrip(t *testing.T) {
	const l = 2e-3
	band := [2]float64{1e9, 30e9}
	m := twoStrips(0.3e-3, 0.15e-3, 0, 0.2e-3, 0.9e-3, 0.8e-3, 9.8, 0.2e-3, 0.05e-3, l, band)
	freq := []float64{2e9, 10e9, 20e9, 29e9}
	r := mustSolve(t, m, Options{Frequencies: freq, EnergyLeft: 1e-7})
	g, modes, _ := portModes(t, m)
	if len(r.Notes) != 0 {
		t.Errorf("%q", r.Notes)
	}
	if !(modes[0].eps > modes[1].eps) || len(modes[0].patterns) == 0 || len(modes[1].patterns) == 0 {
		t.Fatalf("permittivities %.4f and %.4f at rest, %d and %d patterns", modes[0].eps, modes[1].eps, len(modes[0].patterns), len(modes[1].patterns))
	}
	s := at(r)
	for k, f := range freq {
		var near, far [2]complex128 // of the even and the odd line, between 50 Ω
		for i, p := range modes {
			th, z := p.phase(g, f, l/20)*20, p.impedance(g, f)
			c, n := cmplx.Cos(th), complex(0, 1)*cmplx.Sin(th)
			d := 2*c + n*(z/50+50/z)
			near[i], far[i] = n*(z/50-50/z)/d, 2/d
			t.Logf("%g GHz mode %d: permittivity %.4f, %.3f Ω", f/1e9, i, real(th*th)/math.Pow(2*math.Pi*f*l/c0, 2), real(z))
		}
		want := [4][4]complex128{}
		for i := range 4 {
			for j := range 4 {
				v := near
				if i/2 != j/2 {
					v = far
				}
				want[i][j] = (v[0] + v[1]) / 2
				if i%2 != j%2 {
					want[i][j] = (v[0] - v[1]) / 2
				}
				if d := cmplx.Abs(s(k, i, j) - want[i][j]); !(d < 0.002) {
					t.Errorf("%g GHz S%d%d: %.5f, of two lines %.5f", f/1e9, i+1, j+1, s(k, i, j), want[i][j])
				}
			}
		}
	}
}

// A round guide whose grid cuts it unevenly: TE11 in both polarizations, TM01 and
// TE21, cutoffs of p'/(2πa) ([marcuvitz1951] §2.4), none turning into another though faces that
// lend area couple to their neighbours.
func TestRoundGuideModes(t *testing.T) {
	const a, l, step = 5e-3, 8e-3, 5e-4
	m := &Model{Background: Material{Metal: true}, Band: [2]float64{27e9, 33e9}}
	m.Lines = [3][]float64{uniform(-5.5e-3, 6e-3, step), uniform(-5.7e-3, 5.8e-3, step), uniform(0, l, step)}
	m.Region = Box{Point{-5.5e-3, -5.7e-3, 0}, Point{6e-3, 5.8e-3, l}}
	m.Solids = []Solid{{Name: "bore", Shape: Cylinder{Axis: 2, Radius: a, Length: l}}}
	m.Ports = []Port{{Side: ZLow, Mode: TE, Modes: 3}, {Side: ZHigh, Mode: TE, Modes: 3, Plane: l}}
	g, modes, _ := portModes(t, m)
	for i, w := range []struct {
		name string
		x    float64
	}{{"TE11", 1.84118}, {"TE11'", 1.84118}, {"TM01", 2.40483}} {
		f := w.x * c0 / (2 * math.Pi * a)
		refcheck.Record(t, "round-guide-"+w.name, "cutoff_Hz", "N. Marcuvitz, Waveguide Handbook, 1951, §2.4", f, g.cutoffFrequency(modes[i].kc2/modes[i].eps), 0.002*f)
	}
	freq := []float64{27e9, 30e9, 33e9}
	s := at(mustSolve(t, m, Options{Frequencies: freq, EnergyLeft: 1e-9}))
	for k, f := range freq {
		for i := range 6 {
			for j := range 6 {
				want := complex(0, 0)
				if i%3 == j%3 && i != j {
					want = cmplx.Exp(complex(0, -l/step) * modes[i%3].phase(g, f, step))
				}
				if d := cmplx.Abs(s(k, i, j) - want); !(d < 1e-3) {
					t.Errorf("%g GHz: S%d,%d is %.5f, want %.5f", f/1e9, i+1, j+1, s(k, i, j), want)
				}
			}
		}
	}
}

// What a port is silent about and what not.
func TestPortNotes(t *testing.T) {
	_, _, notes := portModes(t, hollowBox(23e-3, 10e-3, 20e-3, 1e-3, [2]float64{8e9, 12e9}, 0))
	if len(notes) != 0 {
		t.Errorf("an X-band guide: %q", notes)
	}
	_, _, notes = portModes(t, hollowBox(23e-3, 10e-3, 20e-3, 1e-3, [2]float64{6e9, 14e9}, 0))
	if len(notes) != 2 || !strings.Contains(notes[0], "6.5") || !strings.Contains(notes[1], "13.0") {
		t.Errorf("a guide from below its cutoff to above the next: %q", notes)
	}
}

// A window that ends at a mirror leaves the mirror what it is: half a coaxial line has twice
// the impedance of the whole.
func TestWindowAtMirror(t *testing.T) {
	const b, r, l, step = 1e-3, 0.4e-3, 3e-3, 0.1e-3
	build := func(half bool) *Model {
		x := uniform(-1.5e-3, 1.5e-3, step)
		m := &Model{Background: Material{Metal: true}, Band: [2]float64{1e9, 20e9}}
		if half {
			x = x[15:]
			m.Boundaries[XLow] = Magnetic
		}
		m.Lines = [3][]float64{x, uniform(-1.5e-3, 1.5e-3, step), uniform(0, l, step)}
		m.Region = Box{Point{x[0], -1.5e-3, 0}, Point{1.5e-3, 1.5e-3, l}}
		m.Solids = []Solid{
			{Name: "bore", Shape: Cylinder{Axis: 2, Radius: b, Length: l}},
			{Name: "pin", Shape: Cylinder{Axis: 2, Radius: r, Length: l}, Material: Material{Metal: true}},
		}
		m.Ports = []Port{{Side: ZLow, Window: [2][2]float64{{x[0], -1.2e-3}, {1.2e-3, 1.2e-3}}}}
		return m
	}
	g, whole, _ := portModes(t, build(false))
	h, half, _ := portModes(t, build(true))
	if z, w := real(half[0].impedance(h, 1e9)), 2*real(whole[0].impedance(g, 1e9)); !(math.Abs(z/w-1) < 1e-3) {
		t.Errorf("half the line has %.4f Ω, want %.4f", z, w)
	}
}
