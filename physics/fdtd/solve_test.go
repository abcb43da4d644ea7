package fdtd

import (
	"bytes"
	"context"
	"io"
	"math"
	"math/cmplx"
	"reflect"
	"strings"
	"testing"
)

// stripe is a parallel-plate line, 20 cells long, filled with a dielectric of
// some length.
func stripe() *Model {
	m := &Model{Region: Box{Point{}, Point{1e-3, 2e-3, 20e-3}}, Band: [2]float64{1e9, 20e9}}
	m.Boundaries[XLow], m.Boundaries[XHigh] = Magnetic, Magnetic
	m.Lines = [3][]float64{{0, 1e-3}, uniform(0, 2e-3, 1e-3), uniform(0, 20e-3, 1e-3)}
	m.Ports = []Port{{Name: "in", Side: ZLow, Signal: [2]float64{0, 2e-3}, Plane: 0}, {Name: "out", Side: ZHigh, Signal: [2]float64{0, 2e-3}, Plane: 20e-3}}
	return m
}

// An empty uniform line reflects nothing, to rounding, and turns the phase by
// its own wave number; its impedance is that of plates, η0 h/w (at rest).
func TestUniformLine(t *testing.T) {
	m := stripe()
	f := []float64{2e9, 10e9, 20e9}
	r := mustSolve(t, m, Options{Double: true, Frequencies: f})
	s := at(r)
	for k := range f {
		if !(cmplx.Abs(s(k, 0, 0)) < 1e-5) || !(math.Abs(cmplx.Abs(s(k, 1, 0))-1) < 1e-5) {
			t.Errorf("%g GHz: S11 %.2g, |S21| %.8f of an empty line", f[k]/1e9, cmplx.Abs(s(k, 0, 0)), cmplx.Abs(s(k, 1, 0)))
		}
		if d := cmplx.Abs(s(k, 1, 0) - s(k, 0, 1)); !(d < 1e-5) {
			t.Errorf("%g GHz: S21 and S12 differ by %.2g", f[k]/1e9, d)
		}
	}
	if z := real(r.Impedance[0][0]); !(math.Abs(z/(2*376.730313)-1) < 1e-3) {
		t.Errorf("impedance %.3f Ω, want %.3f Ω", z, 2*376.730313)
	}
}

// A solution that was cut and resumed, in its first run or in a later one, gives
// what a whole one gives, bit for bit, and does no finished run again; and any
// number of workers gives the same.
func TestResumeAndWorkers(t *testing.T) {
	f := []float64{5e9, 15e9}
	o := Options{Frequencies: f, EnergyLeft: 1e-4, Slices: []Slice{{Axis: 0, At: 0.5e-3, Frequencies: f[:1]}, {Axis: 0, At: 0.5e-3, Port: 1, Times: []float64{1e-10}}}}
	whole := mustSolve(t, stripe(), o)
	states := 0
	count := o
	count.CheckpointSteps = 100
	count.Checkpoint = func() (io.WriteCloser, error) { states++; return discard{}, nil }
	mustSolve(t, stripe(), count)
	for _, which := range []int{2, states / 2, states} {
		var kept bytes.Buffer
		n := 0
		cut := count
		cut.Checkpoint = func() (io.WriteCloser, error) {
			if n++; n == which {
				return nopCloser{&kept}, nil
			}
			return discard{}, nil
		}
		mustSolve(t, stripe(), cut)
		again := o
		again.Resume = &kept
		again.Workers = 2
		first := -1
		again.Progress = func(run, _, _ int, _ float64) {
			if first < 0 {
				first = run
			}
		}
		resumed := mustSolve(t, stripe(), again)
		if !reflect.DeepEqual(whole, resumed) {
			t.Errorf("resumed from state %d of %d: steps %d, energy left %g, S %v; in one go %d, %g, %v", which, states, resumed.Steps, resumed.EnergyLeft, resumed.Network.S, whole.Steps, whole.EnergyLeft, whole.Network.S)
		}
		if want := which * 2 / (states + 1); first != want {
			t.Errorf("resumed from state %d of %d it goes on in run %d, want %d", which, states, first, want)
		}
	}
}

type nopCloser struct{ io.Writer }

func (nopCloser) Close() error { return nil }

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }
func (discard) Close() error                { return nil }

func TestRefusals(t *testing.T) {
	for want, spoil := range map[string]func(*Model){
		"stands on nothing": func(m *Model) { m.Boundaries[YLow], m.Boundaries[YHigh] = Magnetic, Magnetic },
		"overlaps": func(m *Model) {
			b := Box{Point{}, Point{1e-3, 1e-3, 1e-3}}
			w := Material{Metal: true}
			m.Solids = []Solid{{"a", b, w, "1"}, {"b", b, w, "2"}}
		},
		"no port":                     func(m *Model) { m.Ports = nil },
		"not causal":                  func(m *Model) { m.Background.Dielectric.LossTangent = 0.01 },
		"give its lowest and highest": func(m *Model) { m.Band = [2]float64{} },
		"refers to the plane":         func(m *Model) { m.Ports[0].Plane = -1 },
		"has a window":                func(m *Model) { m.Ports[0].Window = [2][2]float64{{1, 1}, {0, 0}} },
		"cage can is open": func(m *Model) { // a lid with a slot
			m.Boundaries[YHigh] = Open
			m.Lines[0] = uniform(0, 1e-3, 0.25e-3)
			lid := Material{Metal: true}
			m.Solids = []Solid{{"lid", Box{Point{0, 1e-3, 0}, Point{0.5e-3, 1e-3, 20e-3}}, lid, ""}, {"lid", Box{Point{0.75e-3, 1e-3, 0}, Point{1e-3, 1e-3, 20e-3}}, lid, ""}}
			m.Cages = []Cage{{"can", Point{0.3e-3, 0.6e-3, 5e-3}}}
		},
		"more than": func(m *Model) { m.Lines[2] = uniform(0, 20e-3, 1e-8) },
	} {
		m := stripe()
		spoil(m)
		if _, err := Solve(context.Background(), m, Options{MaxCells: 1e6}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
	if _, err := Solve(context.Background(), stripe(), Options{MaxBytes: 1e3}); err == nil || !strings.Contains(err.Error(), "GB allowed") {
		t.Errorf("memory: %v", err)
	}
	shut := stripe()
	shut.Boundaries[YHigh] = Open
	shut.Solids = []Solid{{"lid", Box{Point{0, 1e-3, 0}, Point{1e-3, 1e-3, 20e-3}}, Material{Metal: true}, ""}}
	shut.Cages = []Cage{{"can", Point{0.5e-3, 0.5e-3, 5e-3}}}
	if _, err := Solve(context.Background(), shut, Options{MaxSteps: 20}); err != nil {
		t.Errorf("a closed cage: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Solve(ctx, stripe(), Options{}); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
}
