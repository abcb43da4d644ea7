package fdtd

import (
	"bytes"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"reflect"
	"testing"

	"linewright/physics/material"
)

// A crooked is a closed, lossless two-port without symmetry between its ports: a
// round via through a caged cavity, drawn from a seed. size scales every length;
// flipped turns it end for end.
func crooked(seed uint64, size float64, flipped bool) *Model {
	r := rand.New(rand.NewPCG(seed, 1))
	step := 0.1e-3 * size
	pin, low, high := (0.12+0.06*r.Float64())*1e-3*size, (0.4+0.1*r.Float64())*1e-3*size, (0.4+0.1*r.Float64())*1e-3*size
	cage, arm, h := (0.7+0.25*r.Float64())*1e-3*size, 6*step, 3*step
	er := 2 + 2*r.Float64()
	fill := Material{Dielectric: material.Dielectric{Permittivity: er}}
	if flipped {
		low, high = high, low
	}
	m := &Model{Background: Material{Metal: true}, Band: [2]float64{5e9 / size, 40e9 / size}}
	m.Boundaries[XLow], m.Boundaries[YLow] = Magnetic, Magnetic
	side := 10 * step
	m.Lines = [3][]float64{uniform(0, side, step), uniform(0, side, step), uniform(-arm, h+arm, step)}
	m.Region = Box{Point{0, 0, m.Lines[2][0]}, Point{side, side, m.Lines[2][len(m.Lines[2])-1]}}
	rod := func(from, to, radius float64, w Material) Solid {
		return Solid{Shape: Cylinder{Axis: 2, Start: Point{0, 0, from}, Radius: radius, Length: to - from}, Material: w}
	}
	m.Solids = []Solid{rod(0, h, cage, fill), rod(-2*arm, 0, low, Material{}), rod(h, h+2*arm, high, Material{}), rod(-2*arm, h+2*arm, pin, Material{Metal: true})}
	m.Ports = []Port{{Name: "low", Side: ZLow, Plane: 0}, {Name: "high", Side: ZHigh, Plane: h}}
	return m
}

// What holds of any closed, lossless structure: S21 = S12, no power is made or
// lost, twice the size is half the frequency, and turning it end for end changes the
// ports' places alone.
func TestInvariants(t *testing.T) {
	seeds := []uint64{1}
	if *long {
		seeds = []uint64{1, 2, 3, 4, 5, 6, 7, 8}
	}
	for _, seed := range seeds {
		f := []float64{5e9, 15e9, 30e9}
		o := Options{Frequencies: f, EnergyLeft: 1e-9, Layers: 8}
		a := at(mustSolve(t, turned(crooked(seed, 1, false)), o))
		big := at(mustSolve(t, turned(crooked(seed, 2, false)), Options{Frequencies: []float64{2.5e9, 7.5e9, 15e9}, EnergyLeft: 1e-9, Layers: 8}))
		turned := at(mustSolve(t, turned(crooked(seed, 1, true)), o))
		for k := range f {
			if d := cmplx.Abs(a(k, 1, 0) - a(k, 0, 1)); !(d < 2e-4) {
				t.Errorf("seed %d, %g GHz: S21 and S12 differ by %.2g", seed, f[k]/1e9, d)
			}
			for j := range 2 {
				p := math.Pow(cmplx.Abs(a(k, 0, j)), 2) + math.Pow(cmplx.Abs(a(k, 1, j)), 2)
				if !(math.Abs(p-1) < 1e-3) {
					t.Errorf("seed %d, %g GHz: of 1 W into port %d %.6f W leave a lossless structure", seed, f[k]/1e9, j, p)
				}
				for i := range 2 {
					if d := cmplx.Abs(a(k, i, j) - big(k, i, j)); !(d < 1e-5) {
						t.Errorf("seed %d, %g GHz: S%d%d of twice the size differs by %.2g", seed, f[k]/1e9, i+1, j+1, d)
					}
					if d := cmplx.Abs(a(k, i, j) - turned(k, 1-i, 1-j)); !(d < 1e-4) {
						t.Errorf("seed %d, %g GHz: S%d%d turned end for end differs by %.2g", seed, f[k]/1e9, i+1, j+1, d)
					}
				}
			}
		}
	}
}

// A block of a lossy dielectric that follows the wideband Debye law, in a
// parallel-plate line: S of one section of line with the complex permittivity
// (ABCD of one section, as for the rows wg-S04), and the power that is missing is
// not negative.
func TestDebyeBlock(t *testing.T) {
	d := material.Dielectric{Permittivity: 3.5, LossTangent: 0.05, FittedAt: 10e9}
	const length = 8e-3
	var s [2]func(k, i, j int) complex128
	f := []float64{2e9, 6e9, 10e9, 16e9}
	for n, step := range []float64{0.5e-3, 0.25e-3} {
		m := stripe()
		m.Lines[0], m.Lines[1], m.Lines[2] = []float64{0, 1e-3}, uniform(0, 2e-3, 1e-3), uniform(0, 20e-3, step)
		m.Solids = []Solid{{Name: "block", Shape: Box{Point{0, 0, 6e-3}, Point{1e-3, 2e-3, 6e-3 + length}}, Material: Material{Dielectric: d}}}
		m.Ports[0].Plane, m.Ports[1].Plane = 6e-3, 6e-3+length
		s[n] = at(mustSolve(t, m, Options{Frequencies: f, EnergyLeft: 1e-9, Double: true}))
	}
	for k, fr := range f {
		n := cmplx.Sqrt(d.At(fr))
		g := complex(0, 2*math.Pi*fr/c0*length) * n
		a, b, c := cmplx.Cosh(g), cmplx.Sinh(g)/n, cmplx.Sinh(g)*n
		s21, s11 := 2/(2*a+b+c), (b-c)/(2*a+b+c)
		got := func(i, j int) complex128 { return s[1](k, i, j) + (s[1](k, i, j)-s[0](k, i, j))/3 }
		if d1, d2 := cmplx.Abs(got(0, 0)-s11), cmplx.Abs(got(1, 0)-s21); !(d1 < 0.002 && d2 < 0.002) {
			t.Errorf("%g GHz: S11 %.5f, want %.5f; S21 %.5f, want %.5f", fr/1e9, got(0, 0), s11, got(1, 0), s21)
		}
		if p := math.Pow(cmplx.Abs(got(0, 0)), 2) + math.Pow(cmplx.Abs(got(1, 0)), 2); !(p < 1) {
			t.Errorf("%g GHz: a lossy block gives %.5f of the power back", fr/1e9, p)
		}
	}
}

// What a checkpoint must also carry: Debye currents, coupled faces, and the
// fields at lossy metal.
func TestResumeOfLossyRoundMetal(t *testing.T) {
	build := func() *Model {
		m := turned(crooked(3, 1, false))
		m.Solids[0].Material.Dielectric = material.Dielectric{Permittivity: 3, LossTangent: 0.02, FittedAt: 10e9}
		m.Solids[3].Material.Conductor = &material.Conductor{}
		return m
	}
	o := Options{Frequencies: []float64{10e9, 20e9}, MaxSteps: 400, EnergyLeft: 1e-30, CheckpointSteps: 150}
	whole := mustSolve(t, build(), o)
	perfect := build()
	perfect.Solids[3].Material.Conductor = nil
	if a, b := at(whole)(1, 1, 0), at(mustSolve(t, perfect, o))(1, 1, 0); !(cmplx.Abs(a) < cmplx.Abs(b)) {
		t.Errorf("|S21| is %.6f with a copper pin, %.6f with a perfect one", cmplx.Abs(a), cmplx.Abs(b))
	}
	var kept bytes.Buffer
	n := 0
	cut := o
	cut.Checkpoint = func() (io.WriteCloser, error) {
		if n++; n == 3 { // in the second run
			return nopCloser{&kept}, nil
		}
		return discard{}, nil
	}
	mustSolve(t, build(), cut)
	o.Resume = &kept
	if resumed := mustSolve(t, build(), o); !reflect.DeepEqual(whole.Network, resumed.Network) {
		t.Errorf("S is %v after resuming, %v in one go", resumed.Network.S, whole.Network.S)
	}
}
