package fdtd

import (
	"context"
	"math"
	"testing"

	"linewright/physics/xsection"
)

// A second route to the modes of two microstrips in a box: the boundary elements of
// physics/xsection. Impedance and permittivity at rest, two grids taken together; the strips are
// sheets, whose error falls with the first power of the cell.
func TestCoupledMicrostripOfCrossSection(t *testing.T) {
	const width, gap, low, top, side, er = 0.3e-3, 0.15e-3, 0.2e-3, 0.9e-3, 0.8e-3, 9.8
	far := gap/2 + width + side
	r, err := xsection.Solve(context.Background(), xsection.Section{
		Region:      xsection.Region{Left: xsection.ElectricAt(-far), Right: xsection.ElectricAt(far), Bottom: xsection.ElectricAt(0), Top: xsection.ElectricAt(top)},
		Dielectrics: []xsection.Dielectric{{Shape: xsection.Rectangle{X0: -far, X1: far, Y0: 0, Y1: low}, Material: xsection.Material{Permittivity: er}}},
		Conductors: []xsection.Conductor{
			{Name: "left", Shape: xsection.Segment{A: xsection.Point{X: -gap/2 - width, Y: low}, B: xsection.Point{X: -gap / 2, Y: low}}},
			{Name: "right", Shape: xsection.Segment{A: xsection.Point{X: gap / 2, Y: low}, B: xsection.Point{X: gap/2 + width, Y: low}}},
		},
	}, xsection.Options{})
	if err != nil {
		t.Fatal(err)
	}
	c := [2]float64{r.C.At(0, 0) + r.C.At(0, 1), r.C.At(0, 0) - r.C.At(0, 1)} // even, odd: one strip's
	air := [2]float64{r.CAir.At(0, 0) + r.CAir.At(0, 1), r.CAir.At(0, 0) - r.CAir.At(0, 1)}
	var z, eps [2][2]float64
	m := twoStrips(width, gap, 0, low, top, side, er, low, gap/4, 1e-3, [2]float64{1e9, 10e9})
	for k := range 2 {
		g, modes, _ := portModes(t, m)
		for i, s := range modes {
			z[k][i], eps[k][i] = real(s.impedance(g, 1e7)), s.eps
		}
		if m, err = m.Halved(Options{}); err != nil {
			t.Fatal(err)
		}
	}
	for i, name := range []string{"even", "odd"} {
		zi, ei := 2*z[1][i]-z[0][i], 2*eps[1][i]-eps[0][i]
		zw, ew := 1/(c0*math.Sqrt(c[i]*air[i])), c[i]/air[i]
		t.Logf("%s: %.3f, %.3f, together %.3f Ω, boundary elements %.3f Ω; permittivity %.4f, %.4f, together %.4f, boundary elements %.4f", name, z[0][i], z[1][i], zi, zw, eps[0][i], eps[1][i], ei, ew)
		if !(math.Abs(zi/zw-1) < 0.002 && math.Abs(ei/ew-1) < 0.002) {
			t.Errorf("%s: %.3f Ω, permittivity %.4f; by boundary elements %.3f Ω, %.4f", name, zi, ei, zw, ew)
		}
	}
}
