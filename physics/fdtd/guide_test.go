package fdtd

import (
	"math"
	"slices"
	"strings"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/material"
)

// guide builds a case of sections along z from its rows.
func guide(t *testing.T, r refcheck.Row, freq []float64, step float64) *Model {
	t.Helper()
	m := &Model{Background: Material{Metal: true}, Band: [2]float64{freq[0], freq[len(freq)-1]}}
	c := r.Inputs["case"]
	run := func(s int, axis string) (lo, hi float64) {
		return r.Num(t, "s"+string('0'+rune(s))+"_"+axis+"lo_m"), r.Num(t, "s"+string('0'+rune(s))+"_"+axis+"hi_m")
	}
	arm := 0.024 // the next mode decays by 217 Np/m at 12.4 GHz
	if c == "wg_hplane_asymmetric_iris_thin" {
		arm = 0.06 // TE20 decays by 89 Np/m only at 12.4 GHz
	}
	var axis string
	switch {
	case strings.HasPrefix(c, "wg_hplane"):
		axis = "x"
	case strings.HasPrefix(c, "wg_eplane"):
		axis = "y"
	case strings.HasPrefix(c, "parallel_plate"):
		axis, arm = "y", 0.012
	default:
		axis = ""
	}
	var length []float64
	n := 1
	if axis != "" {
		for r.Has("s" + string('0'+rune(n+1)) + "_" + axis + "lo_m") {
			n++
		}
	}
	planes := []float64{-arm, 0}
	for s := 2; s < n; s++ {
		length = append(length, r.Num(t, "s"+string('0'+rune(s))+"_length_m"))
		planes = append(planes, planes[len(planes)-1]+length[len(length)-1])
	}
	if axis == "" {
		planes = append(planes, r.Num(t, "plug_length_m"))
	}
	last := planes[len(planes)-1]
	planes = append(planes, last+arm)
	mode := TE
	width := 0.0
	if strings.HasPrefix(c, "parallel") {
		mode, width = TEM, step
		m.Boundaries[XLow], m.Boundaries[XHigh] = Magnetic, Magnetic
		m.Lines[0] = []float64{0, step}
	} else if axis == "y" {
		width = r.Num(t, "a_m") / 2 // the other half is the mirror's
		m.Boundaries[XHigh] = Magnetic
		m.Lines[0] = uniform(0, width, width/16)
	}
	var points []float64
	side := 0.0
	if axis == "" {
		side = r.Num(t, "a_m")
		points = []float64{0, side}
		m.Solids = []Solid{
			{Name: "guide", Shape: Box{Point{0, 0, planes[0]}, Point{side, step, last + arm}}},
			{Name: "plug", Shape: Box{Point{0, 0, 0}, Point{side, step, last}}, Material: Material{Dielectric: material.Dielectric{Permittivity: r.Num(t, "plug_eps_r")}}},
		}
	} else {
		for s := 1; s <= n; s++ {
			lo, hi := run(s, axis)
			points = append(points, lo, hi)
			side = math.Max(side, hi)
			b := Box{Point{lo, 0, planes[s-1]}, Point{hi, step, planes[s]}}
			if axis == "y" {
				b = Box{Point{0, lo, planes[s-1]}, Point{width, hi, planes[s]}}
			}
			m.Solids = append(m.Solids, Solid{Name: "section", Shape: b})
		}
	}
	m.Region = Box{Point{0, 0, planes[0]}, Point{side, step, last + arm}}
	cross := through(step, points...)
	if axis == "y" {
		m.Lines[1] = cross
		m.Region.High = Point{width, side, last + arm}
	} else {
		m.Lines[0], m.Lines[1] = cross, []float64{0, step}
	}
	m.Lines[2] = through(step, planes...)
	m.Ports = []Port{
		{Name: "1", Side: ZLow, Mode: mode, Plane: 0, Signal: [2]float64{0, side}},
		{Name: "2", Side: ZHigh, Mode: mode, Plane: last, Signal: [2]float64{0, 0}},
	}
	if mode == TEM { // both count voltage upwards
		lo, hi := run(n, "y")
		_ = lo
		m.Ports[1].Signal = [2]float64{0, hi}
	}
	return m
}

// turned puts the z axis of a model of boxes and cylinders along x, where the rows of the grid
// are long.
func turned(m *Model) *Model {
	turn := func(p Point) Point { return Point{p[2], p[0], p[1]} }
	t := *m
	t.Region = Box{turn(m.Region.Low), turn(m.Region.High)}
	t.Solids, t.Ports = nil, nil
	for a := range 3 {
		t.Lines[(a+1)%3] = m.Lines[a]
		for side := range 2 {
			t.Boundaries[(2*a+2+side)%6] = m.Boundaries[2*a+side]
		}
	}
	for _, s := range m.Solids {
		switch b := s.Shape.(type) {
		case Box:
			s.Shape = Box{turn(b.Low), turn(b.High)}
		case Cylinder:
			b.Axis, b.Start = (b.Axis+1)%3, turn(b.Start)
			s.Shape = b
		}
		t.Solids = append(t.Solids, s)
	}
	for _, p := range m.Ports {
		p.Side = (p.Side + 2) % 6
		t.Ports = append(t.Ports, p)
	}
	return &t
}

// The waveguide and parallel-plate rows of em_3d.csv. Sharp edges make the error
// fall with about the first power of the cell (4/3 at a right angle): two grids
// and extrapolation.
func TestGuides(t *testing.T) {
	for _, c := range []struct {
		id    string
		step  float64 // m, of the coarse grid
		power float64
		steps int
	}{
		{"wg-S01", 0.55e-3, Smooth, 8000},
		{"wg-S02", 0.635e-3, Smooth, 8000},
		{"wg-S03", 0.2e-3, Smooth, 16000},
		{"wg-S04", 0.75e-3, 2, 9000},
		{"wg-S05", 0.5e-3, Smooth, 8000},
		{"wg-S06", 0.75e-3, Smooth, 8000},
	} {
		t.Run(c.id, func(t *testing.T) {
			t.Parallel()
			rows, freq := caseRows(t, c.id)
			o := Options{Frequencies: freq, MaxSteps: c.steps, EnergyLeft: 1e-9}
			coarse := mustSolve(t, turned(guide(t, rows[0], freq, c.step)), o)
			fine := mustSolve(t, turned(guide(t, rows[0], freq, c.step/2)), o)
			if c.id == "wg-S05" { // see TestThinIris
				rows, freq = slices.DeleteFunc(rows, func(r refcheck.Row) bool { return doubted[r.ID] }), freq[:2]
			}
			worst := compare(t, rows, freq, extrapolate(coarse, fine, c.power), 0.001)
			together, moved, err := Extrapolate(coarse, fine, c.power)
			if err != nil {
				t.Fatal(err)
			}
			if got, want := together.At(0, 1, 0), extrapolate(coarse, fine, c.power)(0, 1, 0); got != want {
				t.Errorf("S21 extrapolated is %v, want %v", got, want)
			}
			if !(worst <= max(slices.Max(moved), 0.001)) { // below, what does not fall with the cell counts: the division along x, the ends of the runs
				t.Errorf("the error %.4f is above its estimate, %.4f", worst, slices.Max(moved))
			}
			t.Logf("%s: %d and %d cells, %d steps: extrapolated %.4f, estimate %.4f, energy left %.1e", c.id, coarse.Cells, fine.Cells, fine.Steps, worst, slices.Max(moved), fine.EnergyLeft)
			for _, r := range rows {
				if r.Quantity == "C_step_static_F_per_m_width" {
					// below cutoff of the higher modes the plane is a shunt
					// capacitance: S11 − of the bare step gives it at 1 GHz
					s := extrapolate(coarse, fine, c.power)(0, 0, 0)
					y1 := 1 / (376.730313 * 0.004) // S times m of width
					y2 := 1 / (376.730313 * 0.002)
					y := complex(y1, 0)*(1-s)/(1+s) - complex(y2, 0)
					r.Within(t, imag(y)/(2*math.Pi*freq[0]), 0.02*r.Want(t))
				}
			}
		})
	}
}
