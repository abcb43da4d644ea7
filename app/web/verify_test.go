package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linewright/app/measured"
	"linewright/app/view"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

// sampleOf is a built copy of the demo's bench jumper as a file: lines with two
// small capacitances, a bead at 83 mm, and noise.
func sampleOf(t *testing.T, seed uint64, bead, more float64) string {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 0))
	f := make([]float64, 1601)
	for i := range f {
		f[i] = 10e6 + (18e9-10e6)*float64(i)/1600
	}
	lossy := func(k, length, v float64) network.Network {
		return network.Line(f, 50, func(f float64) (complex128, complex128) {
			a := k * math.Sqrt(f/1e9) / units.DecibelsPerNeper
			return complex(a, a+2*math.Pi*f*length/(v*line.C0)), 50
		})
	}
	lump := func(c float64) network.Network {
		return network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*c) })
	}
	k := 0.29 + more/math.Sqrt(18)/1.2 + 0.003*rng.NormFloat64()
	n, err := network.Cascade(lossy(0.028, 12e-3, 1), lump(15e-15*rng.Float64()), lossy(k*71e-3, 71e-3, 0.83), lump(bead), lossy(k*1.129, 1.129, 0.83), lump(15e-15*rng.Float64()), lossy(0.028, 12e-3, 1))
	if err != nil {
		t.Fatal(err)
	}
	for i := range n.S {
		n.S[i] += complex(1e-4*rng.NormFloat64(), 1e-4*rng.NormFloat64())
	}
	file, err := touchstone.FromNetwork(n, touchstone.GHz, touchstone.RI)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := file.Write(&b, touchstone.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

type verifiedAnswer struct {
	Files        []measuredFile
	Drawing      *view.Drawing
	Band         *predictedBand
	Verification *measured.Document
}

// Dropped files against a chain: the verdict, the band, the place of a bead along
// the chain, and with enough of them the lot.
func TestVerifyDroppedFiles(t *testing.T) {
	s := serverOf(t, copyOfDemo(t))
	send := func(fields, files []string) verifiedAnswer {
		t.Helper()
		w := do(s, upload(t, fields, files))
		var d verifiedAnswer
		if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil || w.Code != 200 {
			t.Fatalf("%d %v %.300s", w.Code, err, w.Body)
		}
		return d
	}
	fields := []string{"chain", "bench-jumper", "chain_planes", "true", "temperature", "23 °C", "uncertainty", "0.05 dB", "uncertainty_reflection", "0.01"}
	d := send(fields, []string{"sn1.s2p", sampleOf(t, 1, 0, 0), "sn2.s2p", sampleOf(t, 2, 90e-15, 0), "sn3.s2p", "# GHz S RI R 50\n1 2 3\n"})
	v := d.Verification
	if v == nil || len(v.Files) != 3 || len(d.Files) != 3 || d.Drawing == nil || d.Band == nil || v.Decision.Rule != "three-way" {
		t.Fatalf("%+v", d)
	}
	if x := v.Files[0]; x.Difference != nil || len(x.Margins) != 3 || x.Along == nil || x.Along.Near == nil || x.Margins[0].Verdict != "meets" {
		t.Errorf("%+v", x)
	}
	if x := v.Files[1].Difference; x == nil || x.Piece != "cable" || !(math.Abs(x.PositionM-83e-3) <= x.WithinM) || x.Kind != "lower impedance" {
		t.Errorf("the bead at 83 mm: %+v", x)
	}
	if x := v.Files[2]; len(x.Errors) == 0 || len(d.Files[2].Errors) == 0 {
		t.Errorf("%+v", x)
	}
	if n := len(d.Band.FrequencyHz); n < 100 || len(d.Band.LossMost) != n || !(*d.Band.LossMost[n-1] > *d.Band.LossLeast[n-1]) {
		t.Errorf("band of %d frequencies", n)
	}
	// Without a word on the planes the sample is not compared; the quality is told.
	d = send([]string{"chain", "bench-jumper"}, []string{"sn1.s2p", sampleOf(t, 1, 0, 0)})
	if x := d.Verification.Files[0]; len(x.Errors) != 1 || !strings.Contains(x.Errors[0].Problem, "planes") || d.Files[0].Inspection == nil {
		t.Errorf("%+v", x)
	}
	// The demo's own samples say at which planes and temperature they were measured.
	sound, err := os.ReadFile(filepath.Join(s.ws.Root, "measured", "jumper-sn0006.s2p"))
	if err != nil {
		t.Fatal(err)
	}
	d = send([]string{"chain", "bench-jumper"}, []string{"jumper-sn0006.s2p", string(sound)})
	if v := d.Verification; v.Verdict != "meets" || v.TemperatureC == nil || !(math.Abs(*v.TemperatureC-23) <= 1e-9) || v.Files[0].Planes.From != "file" || d.Band == nil {
		t.Errorf("%+v", v)
	}
	// A proposal stands in for a chain.
	d = send([]string{"enquiry", "d1-bench-jumpers", "rank", "1", "chain_planes", "true", "temperature", "23 °C"}, []string{"sn1.s2p", sampleOf(t, 1, 0, 0)})
	if d.Verification == nil || len(d.Verification.Files[0].Margins) == 0 {
		t.Errorf("%+v", d.Verification)
	}
	// A lot: pictures of the first files only, the verdicts of all, a lossy one named.
	var files []string
	for i := range 24 {
		more := 0.0
		if i == 20 {
			more = 0.4
		}
		files = append(files, fmt.Sprintf("sn%03d.s2p", i+1), sampleOf(t, uint64(i), 0, more))
	}
	d = send(fields, files)
	if len(d.Files) != 24 || d.Files[15].Sample == nil || d.Files[16].Sample != nil || d.Verification.Files[20].Verdict != "at risk" && d.Verification.Files[20].Verdict != "fails" {
		t.Errorf("%d files; the lossy one %s", len(d.Files), d.Verification.Files[20].Verdict)
	}
	lot := d.Verification.Lot
	if lot == nil || lot.Units != 24 || len(lot.Quantities[0].Outliers) != 1 || lot.Quantities[0].Outliers[0].File != "sn021.s2p" || d.Verification.Set == nil || d.Verification.Set.Size != 24 {
		t.Errorf("%+v", lot)
	}
}

// Every field that is read is in the description, with what to write.
func TestMeasuredFieldsAreDescribed(t *testing.T) {
	schema := termSchema()
	for _, f := range termFields() {
		if x := schema[f.name]; x == nil || x.Description == "" {
			t.Errorf("%s is not described", f.name)
		}
	}
	if schema["file"] == nil {
		t.Error("the files are not described")
	}
}
