package field

import (
	"bytes"
	"context"
	"errors"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linewright/app/workspace"
	"linewright/hardware/chain"
	"linewright/physics/fdtd"
	"linewright/physics/material"
	"linewright/physics/touchstone"
)

// structure reads a small structure: a dielectric plug in a guide.
func structure(t *testing.T, more string) workspace.Structure {
	t.Helper()
	s, err := workspace.StructureText("plug.yaml", []byte(`field: plug
region: {x: [0 mm, 22.86 mm], y: [0 mm, 2 mm], z: [-12 mm, 20 mm]}
sides: {rest: electric}
materials: {name: plug, permittivity: 2.1}
solids: {material: plug, box: {z: [0 mm, 8 mm]}}
ports:
  - {name: in, side: z_low, mode: te10, plane: 0 mm}
  - {name: out, side: z_high, mode: te10, plane: 8 mm}
band: {from: 8.5 GHz, to: 12 GHz, points: 3}
`+more))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// plug is the exact S11 and S21 of a slab of a hollow guide, planes at its faces:
// a line of another TE10 impedance.
func plug(f float64) (s11, s21 complex128) {
	const c, a, eps, l = 299792458, 22.86e-3, 2.1, 8e-3
	beta := func(e float64) float64 {
		k, kc := 2*math.Pi*f/c, math.Pi/a
		return math.Sqrt(e*k*k - kc*kc)
	}
	r := complex((beta(1)-beta(eps))/(beta(1)+beta(eps)), 0) // Z goes as 1/β
	p := cmplx.Exp(complex(0, -beta(eps)*l))
	return r * (1 - p*p) / (1 - r*r*p*p), p * (1 - r*r) / (1 - r*r*p*p)
}

// Finer grids are solved until two agree, and the estimated error covers the true one.
func TestAccuracy(t *testing.T) {
	s := structure(t, "grid: {cells_per_wave: 10}\nstop: {energy_down: 50 dB}\n")
	const asked = 0.02
	r, err := Run(context.Background(), s, Options{Options: s.Options, Accuracy: asked})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Grids) < 2 || r.Unmet != "" || !(r.Error <= asked) {
		t.Fatalf("grids %+v, error %g, unmet %q", r.Grids, r.Error, r.Unmet)
	}
	for k, f := range r.Network.Frequency {
		s11, s21 := plug(f)
		for _, d := range []complex128{r.Network.At(k, 0, 0) - s11, r.Network.At(k, 1, 0) - s21} {
			if !(cmplx.Abs(d) <= r.Error) {
				t.Errorf("at %g GHz S is off by %.4f, the estimated error is %.4f", f/1e9, cmplx.Abs(d), r.Error)
			}
		}
	}
}

// A solution that is interrupted keeps its state, and one that goes on from
// there gives the same numbers, whatever it is interrupted in.
func TestInterrupted(t *testing.T) {
	s := structure(t, "grid: {cells_per_wave: 10}\nstop: {energy_down: 50 dB}\n")
	whole, err := Run(context.Background(), s, Options{Options: s.Options, Accuracy: 0.02})
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "plug.state")
	reports, most := 0, 0
	interrupted := 0
	var last Result
	for at := 7; ; at += 29 { // later each time, so that it comes to an end
		ctx, cancel := context.WithCancel(context.Background())
		reports = 0
		last, err = Run(ctx, s, Options{Options: s.Options, Accuracy: 0.02, Checkpoint: name, Key: "k", Speed: 1e5, Progress: func(Progress) { // a slow machine: states lie close
			if reports++; reports == at {
				cancel()
			}
		}})
		cancel()
		if err == nil {
			break
		}
		if !errors.Is(err, context.Canceled) {
			t.Fatal(err)
		}
		if _, err := os.Stat(name); err != nil {
			t.Fatalf("interrupted at report %d, and no state: %v", at, err)
		}
		interrupted++
		most = max(most, at)
	}
	if interrupted < 3 || !last.Resumed {
		t.Fatalf("interrupted %d times, resumed %v", interrupted, last.Resumed)
	}
	if len(last.Grids) != len(whole.Grids) || last.Error != whole.Error {
		t.Errorf("grids %+v, error %g; in one go %+v, %g", last.Grids, last.Error, whole.Grids, whole.Error)
	}
	for i, x := range last.Network.S {
		if !(cmplx.Abs(x-whole.Network.S[i]) <= 1e-12) {
			t.Fatalf("S[%d] is %v, in one go %v", i, x, whole.Network.S[i])
		}
	}
	if _, err := os.Stat(name); !errors.Is(err, os.ErrNotExist) {
		t.Error("the state of the finished solution still stands")
	}
	left, _ := filepath.Glob(filepath.Join(filepath.Dir(name), "*"))
	if len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// What is no state, or that of another structure, is refused and stays.
func TestForeignState(t *testing.T) {
	s := structure(t, "")
	name := filepath.Join(t.TempDir(), "x.state")
	for text, says := range map[string]string{
		"# GHz S RI R 50\n":                                                 "no state of a field solve",
		string(header{Key: "other"}.line()):                                 "another structure",
		`{"kind":"` + stateKind + ` 1","key":"k"}` + "\n":                   "another version",
		strings.Replace(string(header{Key: "k"}.line()), "null", "nill", 1): "damaged",
		string(header{Key: "k"}.line()):                                     "ends too early",
	} {
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		_, err := Run(context.Background(), s, Options{Options: s.Options, Checkpoint: name, Key: "k", Speed: 1e8})
		var f workspace.Fault
		if !errors.As(err, &f) || !strings.Contains(f.Problem, says) || f.Help == "" {
			t.Errorf("%q: %v", text, err)
		}
		if got, _ := os.ReadFile(name); string(got) != text {
			t.Error("the file was changed")
		}
	}
}

// A space that is meant to be closed and leads to an open side is refused at its
// place in the file before a step is run; with the side shut it is not.
func TestCage(t *testing.T) {
	const text = `region: {x: [0 mm, 22.86 mm], y: [0 mm, 2 mm], z: [-12 mm, 20 mm]}
sides: {rest: electric, x_high: electric}
solids: {material: metal, box: {x: [22 mm, 22.86 mm], z: [-12 mm, 5 mm]}}
ports: {side: z_low, mode: te10}
band: {from: 8.5 GHz, to: 12 GHz, points: 3}
grid: {cells_per_wave: 10}
stop: {steps: 50}
cages:
  - {name: guide, inside: [5 mm, 1 mm, 0 mm]}
`
	for _, open := range []bool{true, false} {
		in := text
		if open {
			in = strings.Replace(text, "x_high: electric", "x_high: open", 1)
		}
		s, err := workspace.StructureText("f.yaml", []byte(in))
		if err != nil {
			t.Fatal(err)
		}
		steps := 0
		_, err = Run(context.Background(), s, Options{Options: s.Options, Progress: func(Progress) { steps++ }})
		switch {
		case !open && err != nil:
			t.Error("closed:", err)
		case open && (err == nil || steps > 0 || !strings.Contains(err.Error(), "f.yaml:9:5: ") || !strings.Contains(err.Error(), "cage 1 (guide) is open")):
			t.Errorf("open, after %d reports: %v", steps, err)
		}
	}
}

// A grid that does not fit into memory is refused before anything is run.
func TestMemory(t *testing.T) {
	if freeMemory() == 0 {
		t.Skip("this system does not say how much memory is free")
	}
	s := structure(t, "grid: {largest_cell: 2 um, max_cells: 1e12}\n")
	p, err := NewPlan(s, s.Options)
	if !errors.Is(err, ErrMemory) || !(p.Bytes > p.FreeBytes) || p.Total < 1e11 {
		t.Errorf("%+v, %v", p, err)
	}
	if err := (Plan{Size: fdtd.Size{Bytes: 1e9}, FreeBytes: 1.2e9}).Keeps(); !errors.Is(err, ErrMemory) {
		t.Errorf("a state that cannot be written: %v", err)
	}
	s = structure(t, "grid: {largest_cell: 1 um}\n")
	if _, err := NewPlan(s, s.Options); err == nil || !strings.Contains(err.Error(), "cells") {
		t.Errorf("more cells than allowed: %v", err)
	}
}

// On a clock of its own the watch foresees the end of a run whose energy falls
// evenly, before it does only says at least, and never goes back.
func TestWatch(t *testing.T) {
	s := structure(t, "stop: {energy_down: 80 dB, steps: 20000}\n")
	var clock time.Time
	w := newWatch(s, s.Options, clock, func() time.Time { return clock })
	const perStep = 2 * time.Millisecond
	fall := func(step int) float64 { // 1 until the pulse is over, then 10 dB each 500 steps
		return math.Pow(10, -math.Max(0, float64(step-w.least))/500)
	}
	last := -1.0
	end := w.least + 8*500
	for run := range 2 {
		for step := 50; step <= end; step += 50 {
			clock = clock.Add(50 * perStep)
			p := w.at(run, 2, step, fall(step))
			if p.Fraction < last || p.Fraction > 1 {
				t.Fatalf("fraction %g after %g", p.Fraction, last)
			}
			last = p.Fraction
			if run == 0 && step < w.least && p.Sure != AtLeast {
				t.Errorf("step %d: sure %v during the pulse", step, p.Sure)
			}
			if fallen := step - w.least; fallen > 1000 {
				want := float64(end-step+(1-run)*end) * perStep.Seconds()
				if p.Sure != About || !(math.Abs(p.Left-want) <= 0.03*want+0.5) {
					t.Errorf("run %d step %d: %v %.2f s left, want about %.2f s", run, step, p.Sure, p.Left, want)
				}
			}
		}
	}
	if !(last > 0.95) {
		t.Errorf("the last fraction is %g", last)
	}
	// energy that hardly falls: the last step is what ends the run
	w = newWatch(s, s.Options, clock, func() time.Time { return clock })
	var p Progress
	for step := 50; step <= 10000; step += 50 {
		clock = clock.Add(50 * perStep)
		p = w.at(0, 1, step, 0.4*math.Exp(-float64(step)/1e6))
	}
	if want := 10000 * perStep.Seconds(); p.Sure != AtMost || !(math.Abs(p.Left-want) <= 0.02*want) {
		t.Errorf("%v %.2f s left, want at most %.2f s", p.Sure, p.Left, want)
	}
}

// The model handed over says what it is and reads back.
func TestTouchstone(t *testing.T) {
	s := structure(t, "grid: {cells_per_wave: 10}\nstop: {energy_down: 50 dB}\n")
	r, err := Run(context.Background(), s, Options{Options: s.Options})
	if err != nil {
		t.Fatal(err)
	}
	data, err := Touchstone("plug", s, r, r.Network)
	if err != nil {
		t.Fatal(err)
	}
	f, err := touchstone.Read(bytes.NewReader(data), "plug.s2p", 2)
	if err != nil {
		t.Fatal(err)
	}
	h, err := touchstone.ParseHeader("plug.s2p", f.Comments)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(h.Origin, chain.FieldOrigin) || len(h.Ports) != 2 || h.Ports[1].Plane != "z = 8 mm" || h.Passivity.Verdict != touchstone.Met || h.Reciprocity.Verdict != touchstone.Met {
		t.Errorf("%+v", h)
	}
}

func TestClock(t *testing.T) {
	for s, want := range map[float64]string{0.2: "1 s", 42: "42 s", 100: "2 min", 3600: "60 min", 7200: "2.0 h", 260000: "3 days"} {
		if got := Clock(s); got != want {
			t.Errorf("Clock(%g) = %q, want %q", s, got, want)
		}
	}
}

// A guide of copper loses what [pozar2012] eq. 3.96 says of TE10, and the model
// file says of which metal it is.
func TestMetal(t *testing.T) {
	const text = `region: {x: [0 mm, 22.86 mm], y: [0 mm, 10.16 mm], z: [-6 mm, 26 mm]}
sides: {rest: electric}
metal: {conductivity: 58 MS/m}
ports:
  - {name: in, side: z_low, mode: te10, plane: 0 mm}
  - {name: out, side: z_high, mode: te10, plane: 20 mm}
band: {from: 9 GHz, to: 11 GHz, points: 3}
grid: {largest_cell: 1.5 mm}
stop: {energy_down: 70 dB}
`
	s, err := workspace.StructureText("guide.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	r, err := Run(context.Background(), s, Options{Options: s.Options})
	if err != nil {
		t.Fatal(err)
	}
	const a, b, length, f = 22.86e-3, 10.16e-3, 20e-3, 10e9
	k := 2 * math.Pi * f / 299792458
	beta := math.Sqrt(k*k - math.Pow(math.Pi/a, 2))
	want := material.SurfaceResistance(f, 58e6) / (a * a * a * b * beta * k * 376.730313) * (2*b*math.Pi*math.Pi + a*a*a*k*k) * length
	got := -math.Log(cmplx.Abs(r.Network.At(1, 1, 0)))
	if !(math.Abs(got/want-1) < 0.02) {
		t.Errorf("%.4g Np, want %.4g", got, want)
	}
	file, err := Touchstone("guide", s, r, r.Network)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(file, []byte("metal of 58 MS/m, smooth")) || bytes.Contains(file, []byte("no conductor loss")) {
		t.Errorf("the model file says\n%.900s", file)
	}
	for more, want := range map[string]string{
		"metal: {roughness: -1 um}": "guide.yaml:3:",
		"metal: {roughness: 1 um}\nsolids: {material: metal, sheet: {at: 3 mm, low: [0 mm, 0 mm], high: [5 mm, 10.16 mm]}}": "a sheet without thickness",
	} {
		if _, err := workspace.StructureText("guide.yaml", []byte(strings.Replace(text, "metal: {conductivity: 58 MS/m}", more, 1))); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", more, err)
		}
	}
}
