package fdtd

import (
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/material"
)

// openLine is half a microstrip without thickness, n cells to half the strip, in a
// box so many heights away; it ends at z = 16h where end, else it goes on.
func openLine(width, h, er, n, far float64, band [2]float64, end bool) *Model {
	half := width / 2
	step := half / n
	l := 16 * h
	m := &Model{Band: band}
	z := join(uniform(0, l-h, h/n), uniform(l-h, l, step/2))
	m.Ports = []Port{{Side: ZLow, Signal: [2]float64{0, h}, Plane: l}}
	length := l
	if end {
		z = join(z, away(l, l+far*h, step/2))
		length = z[len(z)-1]
	}
	m.Lines = [3][]float64{join(toward(0, half, step/2), away(half, far*h, step/2)), join(toward(0, h, step/2), away(h, far*h, step/2)), z}
	m.Region = Box{Point{}, Point{far * h, far * h, length}}
	m.Boundaries[XLow] = Magnetic
	m.Solids = []Solid{
		{Name: "substrate", Shape: Box{Point{}, Point{far * h, h, length}}, Material: Material{Dielectric: material.Dielectric{Permittivity: er}}},
		{Name: "strip", Shape: Box{Point{0, h, 0}, Point{half, h, l}}, Material: Material{Metal: true}},
	}
	return m
}

// openRows returns the rows of the open microstrip and of its end, and the line.
func openRows(t *testing.T) (rows map[string]refcheck.Row, width, h, er float64) {
	rows = map[string]refcheck.Row{}
	for _, r := range refcheck.Rows(t, "em_3d.csv") {
		if strings.HasPrefix(r.ID, "disp-S02") || strings.HasPrefix(r.ID, "open-S01") {
			rows[r.ID] = r
		}
	}
	one := rows["open-S01.001"]
	return rows, one.Num(t, "strip_width_m"), one.Num(t, "substrate_height_m"), one.Num(t, "eps_r")
}

// The open microstrip: permittivity and impedance at rest, and Kirschning and Jansen's
// dispersion within their 0.6 %. Two grids together; a box 40 heights away stands for none.
func TestOpenMicrostrip(t *testing.T) {
	rows, width, h, er := openRows(t)
	var got [2]map[string]float64
	m := openLine(width, h, er, 4, 40, [2]float64{1e9, 20e9}, false)
	for i := range 2 {
		g, s := firstPort(t, m)
		got[i] = map[string]float64{"eps_eff_static": s.eps, "Z0_static_ohm": real(s.impedance(g, 1e6)) / 2}
		for id, r := range rows {
			if r.Quantity == "eps_eff" {
				got[i][id], _ = s.line(r.Num(t, "frequency_Hz"))
			}
		}
		var err error
		if m, err = m.Halved(Options{}); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		id, key string
		tol     float64
	}{
		{"disp-S02.001", "eps_eff_static", 0.0005}, {"open-S01.002", "eps_eff_static", 0.0005},
		{"disp-S02.002", "Z0_static_ohm", 0.001}, {"open-S01.003", "Z0_static_ohm", 0.001},
		{"disp-S02.003", "disp-S02.003", 0.006}, {"disp-S02.004", "disp-S02.004", 0.006}, {"disp-S02.005", "disp-S02.005", 0.006},
	} {
		r := rows[c.id]
		x := got[1][c.key] + (got[1][c.key]-got[0][c.key])/3
		t.Logf("%s %s: %.4f, %.4f, together %.4f, want %s", c.id, r.Quantity, got[0][c.key], got[1][c.key], x, r.Value)
		r.Within(t, x, c.tol*r.Want(t))
	}
}

// The extension of the open end, from the phase of S11 at 2.5 GHz.
func TestOpenEnd(t *testing.T) {
	if !*long {
		t.Skip("two minutes: -long")
	}
	rows, width, h, er := openRows(t)
	var end [2]float64
	m := openLine(width, h, er, 4, 12, [2]float64{1e9, 5e9}, true)
	for i := range 2 {
		g, s := firstPort(t, m)
		r := mustSolve(t, m, Options{Frequencies: []float64{2.5e9}, EnergyLeft: 1e-9})
		end[i] = -cmplx.Phase(r.Network.S[0]) / (2 * real(s.phase(g, 2.5e9, s.spacing)) / s.spacing) / h
		if d := math.Abs(cmplx.Abs(r.Network.S[0]) - 1); !(d < 2e-3) {
			t.Errorf("in a closed box |S11| differs from 1 by %.1e", d)
		}
		var err error
		if m, err = m.Halved(Options{}); err != nil {
			t.Fatal(err)
		}
	}
	got := end[1] + (end[1]-end[0])/3
	t.Logf("extension over height %.4f, %.4f, together %.4f", end[0], end[1], got)
	// the published fit, within what it claims; the static value lies 6.5 % above it, and
	// the two are a band (EM.md, open end): a box of 12 heights cuts the charge's long tail
	fit, static := rows["open-S01.001"], rows["open-S01.004"]
	fit.Within(t, got, 0.025*fit.Want(t))
	static.Within(t, got, static.Want(t)-fit.Want(t))
}
