package fdtd

import (
	"math"
	"slices"
	"strings"
	"testing"

	"linewright/physics/material"
)

// planesOf divides a model and returns its planes without the layers.
func planesOf(t *testing.T, m *Model, o Options) (at [3][]float64, why string) {
	t.Helper()
	g, err := m.divide(o)
	if err != nil {
		t.Fatal(err)
	}
	for a := range 3 {
		at[a] = g.at[a][g.layers[a][0] : len(g.at[a])-g.layers[a][1]]
	}
	z, err := Estimate(m, o)
	if err != nil {
		t.Fatal(err)
	}
	return at, z.Why
}

// count returns the cells from x to y, which must be planes.
func count(t *testing.T, at []float64, x, y float64) int {
	t.Helper()
	find := func(x float64) int {
		for i, p := range at {
			if math.Abs(p-x) < 1e-12 {
				return i
			}
		}
		t.Errorf("no plane at %g mm", x*1e3)
		return 0
	}
	return find(y) - find(x)
}

// traceModel is a board 0.2 mm high and 20 mm long with a trace of 0.38 mm, 35 µm thick,
// as one would write it.
func traceModel() *Model {
	m := &Model{Region: Box{Point{-5e-3, 0, 0}, Point{5e-3, 4e-3, 20e-3}}, Band: [2]float64{1e9, 40e9}}
	m.Boundaries[YHigh] = Open
	m.Solids = []Solid{
		{Name: "board", Shape: Box{Point{-5e-3, 0, 0}, Point{5e-3, 0.2e-3, 20e-3}}, Material: Material{Dielectric: material.Dielectric{Permittivity: 3.5}}},
		{Name: "trace", Shape: Box{Point{-0.19e-3, 0.2e-3, 0}, Point{0.19e-3, 0.235e-3, 20e-3}}, Material: Material{Metal: true}},
	}
	m.Ports = []Port{{Side: ZLow, Signal: [2]float64{0, 0.22e-3}}, {Side: ZHigh, Signal: [2]float64{0, 0.22e-3}, Plane: 20e-3}}
	return m
}

func TestAutomaticGrid(t *testing.T) {
	at, why := planesOf(t, traceModel(), Options{})
	t.Log(why)
	if n := count(t, at[1], 0, 0.2e-3); n < 4 || n > 5 {
		t.Errorf("%d cells in the board below the trace", n)
	}
	if n := count(t, at[0], -0.19e-3, 0.19e-3); n < 4 {
		t.Errorf("%d cells across the trace", n)
	}
	if n := count(t, at[1], 0.2e-3, 0.235e-3); n != 1 {
		t.Errorf("%d cells in the trace's thickness", n)
	}
	if !strings.Contains(why, " along y sets the smallest cell") {
		t.Errorf("the reason: %s", why)
	}
	step := c0 / 40e9 / math.Sqrt(3.5) / 20
	for a := range 3 {
		for i := 1; i < len(at[a]); i++ {
			d := at[a][i] - at[a][i-1]
			if !(d > 0 && d <= step*(1+1e-9)) {
				t.Errorf("axis %d: a cell of %g mm", a, d*1e3)
			}
			if i > 1 {
				if r := d / (at[a][i-1] - at[a][i-2]); !(r < 1.8 && r > 1/1.8) {
					t.Errorf("axis %d, at %.4f mm: a cell %.2f times the one before", a, at[a][i-1]*1e3, r)
				}
			}
		}
	}
	n := len(at[2])
	for i := range 6 { // at the ports
		for _, d := range []float64{at[2][i+1] - at[2][i], at[2][n-1-i] - at[2][n-2-i]} {
			if math.Abs(d/(at[2][1]-at[2][0])-1) > 1e-9 {
				t.Errorf("cell %d from a port is %g mm, the first %g", i, d*1e3, (at[2][1]-at[2][0])*1e3)
			}
		}
	}
}

// Faces a micrometre apart by a slip of the drawing share a plane; a plating a micrometre
// thick does not.
func TestNearFaces(t *testing.T) {
	m := traceModel()
	m.Solids = append(m.Solids, Solid{Name: "pad", Shape: Box{Point{-0.191e-3, 0.2e-3, 8e-3}, Point{0.191e-3, 0.235e-3, 9e-3}}, Material: Material{Metal: true}})
	at, _ := planesOf(t, m, Options{})
	for i := 1; i < len(at[0]); i++ {
		if d := at[0][i] - at[0][i-1]; d < 20e-6 {
			t.Errorf("a cell of %g µm", d*1e6)
		}
	}
	m.Solids = append(m.Solids, Solid{Name: "plating", Shape: Box{Point{-0.19e-3, 0.235e-3, 0}, Point{0.19e-3, 0.236e-3, 20e-3}}, Material: Material{Metal: true}})
	at, _ = planesOf(t, m, Options{})
	if n := count(t, at[1], 0.235e-3, 0.236e-3); n != 1 {
		t.Errorf("%d cells in the plating", n)
	}
}

// A pin that runs over a pad of its hole is no overlap of nets: the hole took the metal
// before. Without the hole it is.
func TestNetsOverHoles(t *testing.T) {
	m := traceModel()
	metal := Material{Metal: true}
	plane := Solid{Name: "plane", Net: "ground", Shape: Box{Point{-5e-3, 1e-3, 0}, Point{5e-3, 1.2e-3, 20e-3}}, Material: metal}
	hole := Solid{Name: "hole", Shape: Cylinder{Axis: 1, Start: Point{0, 1e-3, 5e-3}, Radius: 0.5e-3, Length: 0.2e-3}}
	pin := Solid{Name: "pin", Net: "signal", Shape: Cylinder{Axis: 1, Start: Point{0, 0.235e-3, 5e-3}, Radius: 0.2e-3, Length: 2e-3}, Material: metal}
	board := m.Solids
	m.Solids = append(board[:len(board):len(board)], plane, hole, pin)
	if err := m.Check(); err != nil {
		t.Errorf("a pin through a hole: %v", err)
	}
	m.Solids = append(board[:len(board):len(board)], plane, pin)
	if err := m.Check(); err == nil || !strings.Contains(err.Error(), "pin of net signal overlaps plane of net ground") {
		t.Errorf("a pin through a plane: %v", err)
	}
}

// A coaxial line gets its cells across the gap and the pin; all divisions begin and end
// at the region, increase, and do not depend on where the model stands.
func TestAutomaticGridOfCoax(t *testing.T) {
	const b, r, l = 0.5e-3, 0.217e-3, 3e-3
	build := func(x float64) *Model {
		m := &Model{Background: Material{Metal: true}, Region: Box{Point{x - 0.6e-3, -0.6e-3, 0}, Point{x + 0.6e-3, 0.6e-3, l}}, Band: [2]float64{1e9, 110e9}}
		m.Solids = []Solid{
			{Name: "bore", Shape: Cylinder{Axis: 2, Start: Point{x, 0, 0}, Radius: b, Length: l}},
			{Name: "pin", Shape: Cylinder{Axis: 2, Start: Point{x, 0, 0}, Radius: r, Length: l}, Material: Material{Metal: true}},
		}
		m.Ports = []Port{{Side: ZLow, Signal: [2]float64{x, 0}}, {Side: ZHigh, Signal: [2]float64{x, 0}, Plane: l}}
		return m
	}
	at, _ := planesOf(t, build(0), Options{})
	if n := count(t, at[0], r, b); n < 4 {
		t.Errorf("%d cells across the gap", n)
	}
	if n := count(t, at[1], -r, r); n < 8 {
		t.Errorf("%d cells across the pin", n)
	}
	moved, _ := planesOf(t, build(7e-3), Options{})
	if len(moved[0]) != len(at[0]) || !slices.IsSorted(at[0]) {
		t.Fatalf("%d planes, moved %d", len(at[0]), len(moved[0]))
	}
	for i := range at[0] {
		if math.Abs(moved[0][i]-at[0][i]-7e-3) > 1e-9 {
			t.Errorf("plane %d at %g mm, moved at %g", i, at[0][i]*1e3, moved[0][i]*1e3)
		}
	}
	if got := mustSolve(t, build(0), Options{Frequencies: []float64{10e9, 60e9}, EnergyLeft: 1e-6}); math.Abs(real(got.Impedance[0][0])/(59.9585*math.Log(b/r))-1) > 0.02 {
		t.Errorf("%.3f Ω on the automatic grid, exactly %.3f", real(got.Impedance[0][0]), 59.9585*math.Log(b/r))
	}
}
