package fdtd

import (
	"strings"
	"testing"
)

// A tube whose wall is a fiftieth of the cell is refused, one of a quarter is not; metal
// that another solid hides counts nowhere.
func TestThinMetalIsSeen(t *testing.T) {
	tube := func(wall float64) *Model {
		const l = 4e-3
		m := &Model{Region: Box{Point{-2e-3, -2e-3, 0}, Point{2e-3, 2e-3, l}}, Band: [2]float64{1e9, 20e9}}
		for a, top := range []float64{2e-3, 2e-3, l} {
			m.Lines[a] = uniform(m.Region.Low[a], top, 0.1e-3)
		}
		m.Solids = []Solid{
			{Name: "tube", Shape: Cylinder{Axis: 2, Radius: 1.03e-3, Length: l}, Material: Material{Metal: true}},
			{Name: "hole", Shape: Cylinder{Axis: 2, Radius: 1.03e-3 - wall, Length: l}},
		}
		m.Ports = []Port{{Side: ZLow, Signal: [2]float64{1.03e-3 - wall/2, 0}}}
		return m
	}
	_, err := Survey(tube(2e-6), Options{})
	if err == nil || !strings.Contains(err.Error(), "tube is metal that the grid does not see") {
		t.Errorf("a wall of 2 µm in cells of 100 µm: %v", err)
	}
	g, err := tube(25e-6).divide(Options{})
	if err != nil {
		t.Fatal(err)
	}
	g.measure()
	if err := g.checkSeen(); err != nil {
		t.Errorf("a wall of 25 µm: %v", err)
	}
	m := tube(25e-6)
	m.Solids = append(m.Solids, Solid{Name: "air", Shape: Box{Point{-1.5e-3, -1.5e-3, 0}, Point{1.5e-3, 1.5e-3, 4e-3}}})
	if g, err = m.divide(Options{}); err != nil {
		t.Fatal(err)
	}
	g.measure()
	if err := g.checkSeen(); err != nil {
		t.Errorf("metal under air: %v", err)
	}
}

// A survey tells a port's modes before anything is run.
func TestSurvey(t *testing.T) {
	r, err := Survey(hollowBox(23e-3, 10e-3, 20e-3, 1e-3, [2]float64{14e9, 18e9}, 0), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Steps != 0 || len(r.Waves) != 2 || len(r.Notes) != 2 || !(r.Waves[0].Cutoff > 6.4e9 && r.Waves[0].Cutoff < 6.6e9) {
		t.Errorf("%d steps, waves %+v, notes %q", r.Steps, r.Waves, r.Notes)
	}
}
