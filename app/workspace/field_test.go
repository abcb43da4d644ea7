package workspace

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"linewright/physics/fdtd"
	"linewright/physics/material"
)

var almost = cmp.Comparer(func(x, y float64) bool { return math.Abs(x-y) <= 1e-15*(1+math.Abs(y)) })

const viaText = `field: via through two planes, in a cage
region: {x: [-1.6 mm, 1.6 mm], y: [-1.6 mm, 1.6 mm], z: [-1 mm, 1.5 mm]}
sides: {rest: electric, x_low: magnetic, z_high: open}
materials:
  - {name: laminate, permittivity: 3.66, loss_tangent: 0.0037, measured_at: 10 GHz}
background: metal
solids:                          # later ones lie over earlier ones
  - {name: inside, material: laminate, cylinder: {diameter: 3 mm, centre: [0 mm, 0 mm], from: 0 mm, to: 0.5 mm}}
  - {name: block, material: air, box: {y: [0 mm, 1 mm]}}
  - {material: metal, net: sheet, sheet: {axis: y, at: 1 mm, low: [-1 mm, 0 mm], high: [1 mm, 0.5 mm]}}
  - {material: metal, prism: {axis: y, polygon: [[0 mm, 0 mm], [1 mm, 0 mm], [0 mm, 0.5 mm]], to: 0.2 mm}}
  - name: via
    net: signal
    via:
      centre: [0 mm, 0.1 mm]
      drill: 0.3 mm
      plating: 25 um
      fill: laminate
      pads: {diameter: 0.6 mm, from: 0 mm, to: 0 mm}
      antipads: [{diameter: 0.9 mm, from: -1 mm, to: 0 mm}]
ports:
  - {name: below, side: z_low, signal: [0 mm, 0.1 mm], plane: 0 mm, window: {low: [-1 mm, -0.9 mm], high: [1 mm, 1.1 mm]}}
  - {name: aside, side: y_high, signal: [0.3 mm, 0.2 mm]}
  - {side: x_high, mode: te10}
band: {from: 1 GHz, to: 40 GHz, points: 40}
accuracy: 0.01
grid: {cells_per_wave: 30, layers: 8, double: true}
stop: {energy_down: 60 dB, steps: 5000}
slices:
  - {axis: y, at: 0.1 mm}
  - {at: 0.25 mm, fed: aside, frequency: 10 GHz}
`

// Every form of a structure's file and what the solver is given.
func TestStructureForms(t *testing.T) {
	s, err := StructureText("f.yaml", []byte(viaText))
	if err != nil {
		t.Fatal(err)
	}
	m := s.Model
	laminate := fdtd.Material{Dielectric: material.Dielectric{Permittivity: 3.66, LossTangent: 0.0037, FittedAt: 10e9}}
	metal := fdtd.Material{Metal: true}
	air := fdtd.Material{}
	low, high := fdtd.Point{-1.6e-3, -1.6e-3, -1e-3}, fdtd.Point{1.6e-3, 1.6e-3, 1.5e-3}
	rod := func(d, from, to float64) fdtd.Cylinder {
		return fdtd.Cylinder{Axis: 2, Start: fdtd.Point{0, 0.1e-3, from}, Radius: d / 2, Length: to - from}
	}
	want := fdtd.Model{
		Region: fdtd.Box{Low: low, High: high}, Background: metal,
		Boundaries: [6]fdtd.Boundary{fdtd.XLow: fdtd.Magnetic, fdtd.ZHigh: fdtd.Open},
		Band:       [2]float64{1e9, 40e9},
		Solids: []fdtd.Solid{
			{Name: "solid 1 (inside)", Material: laminate, Shape: fdtd.Cylinder{Axis: 2, Radius: 1.5e-3, Length: 0.5e-3}},
			{Name: "solid 2 (block)", Material: fdtd.Material{}, Shape: fdtd.Box{Low: fdtd.Point{low[0], 0, low[2]}, High: fdtd.Point{high[0], 1e-3, high[2]}}},
			{Name: "solid 3", Material: metal, Net: "sheet", Shape: fdtd.Box{Low: fdtd.Point{-1e-3, 1e-3, 0}, High: fdtd.Point{1e-3, 1e-3, 0.5e-3}}},
			// across y the solver counts [z, x], the file [x, z]
			{Name: "solid 4", Material: metal, Shape: fdtd.Prism{Axis: 1, Polygon: [][2]float64{{0, 0}, {0, 1e-3}, {0.5e-3, 0}}, From: low[1], To: 0.2e-3}},
			{Name: "solid 5 (via), antipad 1", Material: laminate, Shape: rod(0.9e-3, -1e-3, 0)},
			{Name: "solid 5 (via), pad 1", Material: metal, Net: "signal", Shape: rod(0.6e-3, 0, 0)},
			{Name: "solid 5 (via), barrel", Material: metal, Net: "signal", Shape: rod(0.3e-3, -1e-3, 1.5e-3)},
			{Name: "solid 5 (via), bore", Material: air, Shape: rod(0.25e-3, -1e-3, 1.5e-3)},
		},
		Ports: []fdtd.Port{
			{Name: "1 (below)", Side: fdtd.ZLow, Signal: [2]float64{0, 0.1e-3}, Window: [2][2]float64{{-1e-3, -0.9e-3}, {1e-3, 1.1e-3}}},
			{Name: "2 (aside)", Side: fdtd.YHigh, Signal: [2]float64{0.2e-3, 0.3e-3}, Plane: high[1]},
			{Name: "3", Side: fdtd.XHigh, Mode: fdtd.TE, Plane: high[0]},
		},
	}
	if d := cmp.Diff(want, m, almost); d != "" {
		t.Error(d)
	}
	o := s.Options
	if o.CellsPerWave != 30 || o.Layers != 8 || !o.Double || o.MaxSteps != 5000 || !(math.Abs(o.EnergyLeft-1e-6) <= 1e-18) || len(o.Frequencies) != 40 || o.Frequencies[0] != 1e9 || o.Frequencies[39] != 40e9 {
		t.Errorf("options are %+v", o)
	}
	if d := cmp.Diff([]fdtd.Slice{{Axis: 1, At: 0.1e-3, Frequencies: []float64{20.5e9}}, {Axis: 2, At: 0.25e-3, Port: 1, Frequencies: []float64{10e9}}}, o.Slices, almost); d != "" {
		t.Error(d)
	}
}

// What is wrong in a structure is told with its place and a cure.
func TestStructureFaults(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		line, column   int
		says, help     string
	}{
		{"no side", "rest: electric, ", "", 3, 8, "nothing is said of x_high, y_low", "rest: for all"},
		{"no extent", "z: [-1 mm, 1.5 mm]", "z: [1 mm, -1.5 mm]", 2, 57, "no extent", "lower place first"},
		{"too far", "z: [-1 mm, 1.5 mm]", "z: [-1 mm, 1e300 mm]", 2, 57, "out of range", "within 1 km"},
		{"a port's name twice", "name: aside", "name: below", 23, 12, "a second port of this name, after port 1", "name of its own"},
		{"two guides on a side", "side: y_high, signal: [0.3 mm, 0.2 mm]", "side: x_high, mode: te10", 24, 5, "on side x_high where port 2 does", "a window: of its own"},
		{"no region", "x: [-1.6 mm, 1.6 mm], ", "", 2, 9, "x is missing", "add x:"},
		{"loss without frequency", ", measured_at: 10 GHz", "", 5, 5, "without the frequency it was measured at", "measured_at: 10 GHz"},
		{"a material twice", "materials:", "materials:\n  - {name: laminate}", 6, 12, "a second material", "name of its own"},
		{"metal redefined", "name: laminate, perm", "name: metal, perm", 5, 12, "a meaning of its own", "choose another"},
		{"permittivity", "permittivity: 3.66", "permittivity: 0.5", 5, 36, "below that of vacuum", "at least 1"},
		{"unknown material", "material: laminate", "material: laminat", 8, 30, "no material of this name", "did you mean laminate?"},
		{"two shapes", "box: {y: [0 mm, 1 mm]}", "box: {y: [0 mm, 1 mm]}, sheet: {at: 0 mm}", 9, 5, "2 shapes", "exactly one of box"},
		{"no material", "material: air, ", "", 9, 5, "material is missing", "add material:"},
		{"outside", "at: 1 mm, low", "at: 9 mm, low", 10, 5, "outside the region along y", "move it"},
		{"flat polygon", "[0 mm, 0.5 mm]]", "[0.5 mm, 0 mm]]", 11, 30, "an area of 0 mm²", "at least three corners"},
		{"pad within the hole", "pads: {diameter: 0.6", "pads: {diameter: 0.2", 19, 13, "within the drilled hole", "larger than drill"},
		{"plating", "plating: 25 um", "plating: 150 um", 17, 16, "plating of 0.15 mm", "below half of drill"},
		{"no signal", ", signal: [0.3 mm, 0.2 mm]", "", 23, 5, "signal is missing", "a point [x, z]"},
		{"signal of a guide", "mode: te10", "mode: te10, signal: [0 mm, 0 mm]", 24, 40, "a hollow guide has no signal conductor", "leave signal out"},
		{"band", "from: 1 GHz, to: 40 GHz", "from: 40 GHz, to: 1 GHz", 25, 7, "from 40 GHz to 1 GHz", "band: {from: 1 GHz"},
		{"accuracy", "accuracy: 0.01", "accuracy: 3", 26, 11, "out of range", "such as 0.01"},
		{"cells", "cells_per_wave: 30", "cells_per_wave: 3", 27, 24, "out of range", "from 8 to 1000"},
		{"stop", "energy_down: 60 dB", "energy_down: 3 dB", 28, 21, "out of range", "10 dB to 200 dB"},
		{"slice", "at: 0.1 mm", "at: 7 mm", 30, 19, "outside the region", "-1.6 mm to 1.6 mm"},
		{"fed", "fed: aside", "fed: aisde", 31, 24, "no port of this name", "one of the ports"},
		{"slice beyond the band", "frequency: 10 GHz", "frequency: 50 GHz", 31, 42, "outside the band", "within band"},
		{"a word", "side: x_high", "side: right", 24, 12, "not one of the words", "x_low, x_high"},
	} {
		text := strings.Replace(viaText, c.old, c.new, 1)
		if text == viaText {
			t.Errorf("%s: nothing to replace", c.name)
			continue
		}
		_, err := StructureText("f.yaml", []byte(text))
		var all Faults
		if !errors.As(err, &all) {
			t.Errorf("%s: %v is no list of faults", c.name, err)
			continue
		}
		f := all[0]
		if f.Line != c.line || f.Column != c.column || !strings.Contains(f.Problem, c.says) || !strings.Contains(f.Help, c.help) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// Metal of two nets that overlaps is found, and the fault stands at the later piece.
func TestStructureNets(t *testing.T) {
	_, err := StructureText("f.yaml", []byte(`region: {x: [0 mm, 4 mm], y: [0 mm, 4 mm], z: [0 mm, 4 mm]}
sides: {rest: open}
solids:
  - {name: plane, material: metal, net: ground, box: {z: [0 mm, 1 mm]}}
  - {name: trace, material: metal, net: signal, box: {x: [1 mm, 2 mm], z: [0.5 mm, 2 mm]}}
ports: {side: y_low, signal: [1.5 mm, 1.5 mm]}
band: {from: 1 GHz, to: 10 GHz}
`))
	if err == nil || !strings.Contains(err.Error(), "f.yaml:5:5: ") || !strings.Contains(err.Error(), "of net signal overlaps solid 1 (plane) of net ground; move them apart") {
		t.Error(err)
	}
}

// A hollow guide needs walls: without any metal the sides have to be them.
func TestGuideWithoutWalls(t *testing.T) {
	text := `region: {x: [0 mm, 22.86 mm], y: [0 mm, 10.16 mm], z: [0 mm, 20 mm]}
sides: {x_low: open, rest: electric}
ports: {side: z_low, mode: te10}
band: {from: 8 GHz, to: 12 GHz}
`
	_, err := StructureText("f.yaml", []byte(text))
	if err == nil || !strings.Contains(err.Error(), "f.yaml:3:8: ") || !strings.Contains(err.Error(), "side x_low is open and there is no metal") {
		t.Error(err)
	}
	if _, err := StructureText("f.yaml", []byte(text+"solids: {material: metal, box: {x: [0 mm, 1 mm]}}\n")); err != nil {
		t.Error("with a wall of metal:", err)
	}
}
