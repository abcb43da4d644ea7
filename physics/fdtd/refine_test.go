package fdtd

import (
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
