package fdtd

import (
	"math"
	"math/cmplx"
	"slices"
	"strings"
	"testing"
	"time"

	"linewright/internal/refcheck"
	"linewright/physics/material"
)

// graded returns lines from 0 to hi: cells of step up to fine, then each longer
// than the last by the ratio, up to the step coarse.
func graded(fine, hi, step, ratio, coarse float64) []float64 {
	n := math.Ceil(fine/step - 1e-9)
	out := uniform(0, n*step, step)
	for d := step; ; {
		d = math.Min(d*ratio, coarse)
		last := out[len(out)-1]
		if last+1.5*d > hi {
			return append(out, hi)
		}
		out = append(out, last+d)
	}
}

// coaxFed builds the probe and via cases of em_3d.csv, a quarter of them between
// mirrors, with cells of step about the axis.
func coaxFed(t *testing.T, r refcheck.Row, freq []float64, step float64) *Model {
	t.Helper()
	num := func(name string) float64 { return r.Num(t, name) }
	m := &Model{Background: Material{Metal: true}, Band: [2]float64{freq[0], freq[len(freq)-1]}}
	m.Boundaries[XLow], m.Boundaries[YLow] = Magnetic, Magnetic
	dielectric := func(er float64) Material { return Material{Dielectric: material.Dielectric{Permittivity: er}} }
	h := num("plate_separation_m")
	probe := r.Has("probe_radius_m")
	var pin, lower float64
	if probe {
		pin, lower = num("probe_radius_m"), num("coax_outer_radius_m")
	} else {
		pin, lower = num("via_radius_m"), num("lower_antipad_radius_m")
	}
	gap := lower - pin
	arm := step * math.Ceil(math.Max(1.6*gap, 7*step)/step) // the first higher mode loses exp(−2π·1.6) there and back
	top := h
	if !probe {
		top += arm
	}
	side := 0.0
	if r.Has("cage_radius_m") {
		side = num("cage_radius_m")
		m.Lines[0] = uniform(0, side, step)
		m.Solids = []Solid{{Name: "cage", Shape: Cylinder{Axis: 2, Radius: side, Length: h}, Material: dielectric(num("plate_eps_r"))}}
	} else {
		side = 3.5 * lower
		m.Lines[0] = graded(1.2*lower, side, step, 1.25, 3*step)
		m.Boundaries[XHigh], m.Boundaries[YHigh] = Open, Open
		m.Solids = []Solid{{Name: "plates", Shape: Box{Point{-1, -1, 0}, Point{1, 1, h}}, Material: dielectric(num("plate_eps_r"))}}
	}
	m.Lines[1] = m.Lines[0]
	m.Lines[2] = through(step, -arm, 0, h, top)
	m.Region = Box{Point{0, 0, -arm}, Point{side, side, top}}
	er := "lower_eps_r"
	if probe {
		er = "coax_eps_r"
	}
	m.Solids = append(m.Solids, Solid{Name: "coax", Shape: Cylinder{Axis: 2, Start: Point{0, 0, -2 * arm}, Radius: lower, Length: 2 * arm}, Material: dielectric(num(er))})
	m.Ports = []Port{{Name: "1", Side: ZLow, Plane: 0}}
	if !probe {
		m.Solids = append(m.Solids, Solid{Name: "upper coax", Shape: Cylinder{Axis: 2, Start: Point{0, 0, h}, Radius: num("upper_antipad_radius_m"), Length: 2 * arm}, Material: dielectric(num("upper_eps_r"))})
		m.Ports = append(m.Ports, Port{Name: "2", Side: ZHigh, Plane: h})
	}
	m.Solids = append(m.Solids, Solid{Name: "pin", Shape: Cylinder{Axis: 2, Start: Point{0, 0, -2 * arm}, Radius: pin, Length: 4*arm + h}, Material: Material{Metal: true}})
	return m
}

// Round coaxial ports, probes and vias: every S of em_3d.csv within 0.005, two
// grids and the power 4/3 of the aperture's rim.
func TestCoaxFed(t *testing.T) {
	for _, c := range []struct {
		id   string
		step float64 // m, of the coarse grid
		left float64 // of the energy: low frequencies stay longest
	}{
		{"probe-S01", 0.5e-3, 1e-8}, {"probe-S02", 0.2e-3, 1e-8}, {"via-S01", 0.1e-3, 1e-6}, {"via-S02", 0.1e-3, 1e-8},
	} {
		t.Run(c.id, func(t *testing.T) {
			t.Parallel()
			rows, freq := caseRows(t, c.id)
			o := Options{Frequencies: freq, EnergyLeft: c.left, Layers: 8}
			start := time.Now()
			coarse := mustSolve(t, turned(coaxFed(t, rows[0], freq, c.step)), o)
			fine := mustSolve(t, turned(coaxFed(t, rows[0], freq, c.step/2)), o)
			worst := compare(t, rows, freq, extrapolate(coarse, fine, 4./3), 0.005)
			t.Logf("%d and %d cells, %d and %d steps: coarse %.4f, fine %.4f, extrapolated %.4f, %v", coarse.Cells, fine.Cells, coarse.Steps, fine.Steps,
				distance(t, rows, freq, at(coarse)), distance(t, rows, freq, at(fine)), worst, time.Since(start))
			for _, r := range rows {
				switch {
				case r.Quantity[0] == 'S':
				case strings.HasPrefix(r.Quantity, "Zin"):
					k := slices.Index(freq, r.Num(t, "frequency_Hz"))
					s := extrapolate(coarse, fine, 4./3)(k, 0, 0)
					z0 := 376.730313 / (2 * math.Pi) * math.Log(r.Num(t, "coax_outer_radius_m")/r.Num(t, "probe_radius_m")) / math.Sqrt(r.Num(t, "coax_eps_r"))
					z := complex(z0, 0) * (1 + s) / (1 - s)
					tol := 0.005 * 2 * z0 / math.Pow(cmplx.Abs(1-s), 2) // of 0.005 in S
					if r.Quantity == "Zin_re_ohm" {
						r.Within(t, real(z), tol)
					} else {
						r.Within(t, imag(z), tol)
					}
				default:
					t.Errorf("%s: nothing checks %s", r.ID, r.Quantity)
				}
			}
		})
	}
}

// distance returns the largest error of any S of the rows.
func distance(t *testing.T, rows []refcheck.Row, freq []float64, s func(k, i, j int) complex128) (worst float64) {
	t.Helper()
	for k, want := range reference(t, rows, freq) {
		for q, w := range want {
			worst = math.Max(worst, cmplx.Abs(s(k, int(q[1]-'1'), int(q[2]-'1'))-w))
		}
	}
	return worst
}
