package fdtd

import (
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/material"
)

// away returns lines from lo to hi whose cells grow from step at lo, and toward the
// same from hi.
func away(lo, hi, step float64) []float64 {
	l := graded(3*step, hi-lo, step, 1.3, (hi-lo)/8)
	for i := range l {
		l[i] += lo
	}
	return l
}

func toward(lo, hi, step float64) []float64 {
	l := away(0, hi-lo, step)
	slices.Reverse(l)
	for i := range l {
		l[i] = hi - l[i]
	}
	return l
}

func join(pieces ...[]float64) []float64 {
	out := pieces[0]
	for _, p := range pieces[1:] {
		out = append(out[:len(out):len(out)], p[1:]...)
	}
	return out
}

// Quasi-TEM ports of thick and of flat strips: impedance and effective
// permittivity of em_tline.csv within 0.3 %, two grids extrapolated.
func TestStripPorts(t *testing.T) {
	covered := map[string]float64{"tl-S02": Edged, "tl-S04": Sheets, "tl-S05": Edged}
	grids := map[string][2][2]float64{} // eps, Z by grid
	for _, r := range refcheck.Rows(t, "em_tline.csv") {
		power, ok := covered[r.ID[:6]]
		if !ok || r.Quantity != "Z0_ohm" && r.Quantity != "eps_eff" {
			continue
		}
		if _, done := grids[r.ID[:6]]; !done {
			grids[r.ID[:6]] = stripPort(t, r)
		}
		x := grids[r.ID[:6]]
		n := 0
		if r.Quantity == "Z0_ohm" {
			n = 1
		}
		w := 1 / (map[float64]float64{Sheets: 2, Edged: 2.519842}[power] - 1)
		got := x[1][n] + w*(x[1][n]-x[0][n])
		t.Logf("%s %s: %.5f, %.5f, together %.5f, want %s", r.ID, r.Quantity, x[0][n], x[1][n], got, r.Value)
		r.Within(t, got, 0.003*r.Want(t))
	}
}

func stripPort(t *testing.T, r refcheck.Row) (out [2][2]float64) {
	num := func(s string) float64 { return r.Num(t, s) }
	half, er := num("strip_width_m")/2, num("eps_r")
	m := &Model{Band: [2]float64{1e9, 2e9}}
	var side, low, high, top, filled float64
	switch {
	case r.Has("cover_above_ground_m"):
		side, low, top = num("sidewall_from_centre_m"), num("substrate_height_m"), num("cover_above_ground_m")
		high, filled = low+num("thickness_m"), low
	case r.Has("plane_spacing_m"):
		top = num("plane_spacing_m")
		low, filled, side = top/2, top, half+5*top
		high = low
	default:
		low = num("h_below_strip_m")
		high = low + num("thickness_m")
		top = high + num("h_above_strip_top_m")
		filled, side = top, half+5*top
	}
	step := half / 12
	y := join(toward(0, low, step), away(low, top, step))
	if high > low {
		y = join(toward(0, low, step), uniform(low, high, (high-low)/2), away(high, top, step))
	}
	x := join(uniform(0, half, step), away(half, side, step))
	m.Lines = [3][]float64{x, y, uniform(0, 10*step, step)}
	m.Region = Box{Point{}, Point{side, top, 10 * step}}
	m.Boundaries[XLow] = Magnetic
	m.Solids = []Solid{
		{Name: "filling", Shape: Box{Point{}, Point{side, filled, 10 * step}}, Material: Material{Dielectric: material.Dielectric{Permittivity: er}}},
		{Name: "strip", Shape: Box{Point{0, low, 0}, Point{half, high, 10 * step}}, Material: Material{Metal: true}},
	}
	m.Ports = []Port{{Side: ZLow, Signal: [2]float64{0, (low + high) / 2}}}
	for i := range 2 {
		g, err := m.divide(Options{})
		if err != nil {
			t.Fatal(err)
		}
		g.measure()
		s, err := g.section(m.Ports[0])
		if err != nil {
			t.Fatal(err)
		}
		out[i] = [2]float64{s.eps, real(s.impedance(g, 1e8)) / 2} // of the half line
		if m, err = m.Halved(Options{}); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// A quasi-TEM port carries the static mode at all frequencies. What that costs on a
// microstrip of er 9.9 in a box, 0.635 mm high: the uniform line seems to reflect
// 0.001 at 1 GHz and up to 0.04 at 20 GHz, and its effective permittivity, read off
// the phase of S21 over 6 mm, is within 2 % of the full-wave rows disp-S01.
func TestQuasiTEMPortDispersion(t *testing.T) {
	if !*long {
		t.Skip("10 s: behind -long")
	}
	rows, freq := caseRows(t, "disp-S01")
	num := func(s string) float64 { return rows[0].Num(t, s) }
	half, h, side, top := num("strip_width_m")/2, num("substrate_height_m"), num("box_width_m")/2, num("box_height_m")
	const l = 6e-3
	step := half / 5
	m := &Model{Band: [2]float64{freq[0], freq[len(freq)-1]}}
	m.Lines = [3][]float64{join(uniform(0, half, step), away(half, side, step)), join(toward(0, h, step), away(h, top, step)), uniform(0, l, 0.2e-3)}
	m.Region = Box{Point{}, Point{side, top, l}}
	m.Boundaries[XLow] = Magnetic
	m.Solids = []Solid{
		{Name: "substrate", Shape: Box{Point{}, Point{side, h, l}}, Material: Material{Dielectric: material.Dielectric{Permittivity: num("eps_r")}}},
		{Name: "strip", Shape: Box{Point{0, h, 0}, Point{half, h, l}}, Material: Material{Metal: true}},
	}
	m.Ports = []Port{{Side: ZLow, Signal: [2]float64{0, h}}, {Side: ZHigh, Signal: [2]float64{0, h}, Plane: l}}
	r := mustSolve(t, turned(m), Options{Frequencies: freq, EnergyLeft: 1e-6, Layers: 10})
	s := at(r)
	for k, f := range freq {
		limit := 0.04
		if f < 2e9 {
			limit = 0.001
		}
		if d := cmplx.Abs(s(k, 0, 0)); !(d < limit) {
			t.Errorf("%g GHz: a uniform line reflects %.4f", f/1e9, d)
		}
		// the turn of phase nearest to the static line's
		static := 2 * math.Pi * f / c0 * l * math.Sqrt(r.Effective[0])
		turn := -cmplx.Phase(s(k, 1, 0))
		turn += 2 * math.Pi * math.Round((static-turn)/(2*math.Pi))
		eps := math.Pow(turn*c0/(2*math.Pi*f*l), 2)
		t.Logf("%g GHz: |S11| %.4f, effective permittivity %.4f, want %s", f/1e9, cmplx.Abs(s(k, 0, 0)), eps, rows[k].Value)
		if want := rows[k].Want(t); !(math.Abs(eps/want-1) < 0.02) {
			t.Errorf("%s: effective permittivity %.4f at %g GHz, want %.4f", rows[k].ID, eps, f/1e9, want)
		}
	}
}
