package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"linewright/app/demo"
	"linewright/app/wire"
	"linewright/internal/refcheck"
)

// lineJSON runs line and returns its document.
func lineJSON(t *testing.T, args ...string) wire.Line {
	t.Helper()
	var out, errOut bytes.Buffer
	if code := run(context.Background(), append(append([]string{"line"}, args...), "--json"), strings.NewReader(""), &out, &errOut); code != ExitMet {
		t.Fatalf("line %v: exit status %d: %s%s", args, code, out.String(), errOut.String())
	}
	if errOut.Len() > 0 {
		t.Errorf("line %v: standard error is not empty: %s", args, errOut.String())
	}
	var d wire.Line
	if err := json.Unmarshal(out.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	return d
}

// metres writes an SI number with its unit, every digit kept.
func metres(row refcheck.Row, name string) string { return row.Inputs[name] + "m" }

// The numbers that come out of the command line are those of the reference
// tables: flags, units and JSON fields included. The physics has its own tests;
// these rows go through the whole of it.
func TestLineRows(t *testing.T) {
	checked := map[string]int{}
	check := func(row refcheck.Row, got *float64) {
		t.Helper()
		if got == nil {
			t.Errorf("%s: the document holds null", row.ID)
			return
		}
		checked[row.Table]++
		row.Check(t, *got)
	}
	for _, row := range refcheck.Rows(t, "te11.csv") {
		if row.Quantity != "cutoff_frequency_Hz" || !row.Has("outer_diameter_m") || strings.Contains(row.Inputs["method"], "graph") {
			continue
		}
		d := lineJSON(t, "coax", "--inner-diameter", metres(row, "inner_diameter_m"), "--outer-diameter", metres(row, "outer_diameter_m"), "--permittivity", row.Inputs["eps_r"])
		i := slices.IndexFunc(d.Modes, func(m wire.LineMode) bool { return m.Mode == row.Inputs["mode"] })
		if i < 0 {
			t.Errorf("%s: no mode %s among %v", row.ID, row.Inputs["mode"], d.Modes)
			continue
		}
		check(row, d.Modes[i].CutoffHz)
	}
	for _, row := range refcheck.Rows(t, "coax_line.csv") {
		switch {
		case row.Quantity == "characteristic_impedance_ohm" && row.Has("outer_diameter_m"):
			args := []string{"coax", "--inner-diameter", metres(row, "inner_diameter_m"), "--outer-diameter", metres(row, "outer_diameter_m"), "--permittivity", row.Inputs["eps_r"]}
			if row.Has("centre_offset_m") {
				args = append(args, "--offset", metres(row, "centre_offset_m"))
			}
			check(row, lineJSON(t, args...).StaticImpedanceOhm)
		case row.Quantity == "dielectric_attenuation_dB_per_m":
			d := lineJSON(t, "coax", "--inner-diameter", "0.511mm", "--outer-diameter", "1.676mm", "--permittivity", row.Inputs["eps_r"], "--loss-tangent", row.Inputs["tan_delta"], "--at", row.Inputs["frequency_Hz"]+"Hz")
			check(row, d.At[0].DielectricDBPerM)
		case row.Quantity == "outer_to_inner_diameter_ratio" && row.Has("characteristic_impedance_ohm"):
			d := lineJSON(t, "coax", "--inner-diameter", "1mm", "--permittivity", row.Inputs["eps_r"], "--solve-for", "outer-diameter="+row.Inputs["characteristic_impedance_ohm"]+"ohm")
			ratio := d.Solved["outer_diameter_m"] / 1e-3
			check(row, &ratio)
		}
	}
	for _, row := range refcheck.Rows(t, "microstrip.csv") {
		method := map[string]string{"Hammerstad-Jensen 1980": "formula", "exact quasi-static": "field"}[row.Inputs["method"]]
		if row.ID == "microstrip-d015" || row.ID == "microstrip-d016" {
			continue // the rows' own solution is off for so narrow a strip; physics/line derives it
		}
		if method == "" || row.Inputs["thickness_to_height_ratio"] != "0" || !row.Has("width_to_height_ratio") {
			continue
		}
		d := lineJSON(t, "microstrip", "--height", "1mm", "--width", row.Inputs["width_to_height_ratio"]+"mm", "--permittivity", row.Inputs["eps_r"], "--method", method)
		switch row.Quantity {
		case "characteristic_impedance_ohm":
			check(row, d.StaticImpedanceOhm)
		case "effective_permittivity":
			check(row, d.StaticEffectivePermittivity)
		}
	}
	for _, row := range refcheck.Rows(t, "stripline.csv") {
		if row.Quantity == "characteristic_impedance_ohm" && row.Has("strip_width_m") && row.Inputs["thickness_m"] == "0" && row.Has("eps_r") {
			d := lineJSON(t, "stripline", "--width", metres(row, "strip_width_m"), "--spacing", metres(row, "plane_spacing_m"), "--permittivity", row.Inputs["eps_r"], "--method", "formula")
			check(row, d.StaticImpedanceOhm)
		}
	}
	for _, row := range refcheck.Rows(t, "cpw.csv") {
		if row.Inputs["substrate"] != "infinite" || !row.Has("strip_width_m") {
			continue
		}
		d := lineJSON(t, "coplanar", "--width", metres(row, "strip_width_m"), "--gap", metres(row, "gap_m"), "--ground-below=false", "--permittivity", row.Inputs["eps_r"])
		switch row.Quantity {
		case "characteristic_impedance_ohm":
			check(row, d.StaticImpedanceOhm)
		}
	}
	for table, least := range map[string]int{"te11.csv": 8, "coax_line.csv": 8, "microstrip.csv": 4, "stripline.csv": 3, "cpw.csv": 3} {
		if checked[table] < least {
			t.Errorf("%s: only %d rows were checked", table, checked[table])
		}
	}
}

// The fields at one frequency belong together: delay and effective permittivity
// are the phase constant, the two losses the whole.
func TestLineFieldsAgree(t *testing.T) {
	d := lineJSON(t, "stripline", "--width", "0.2mm", "--spacing", "0.508mm", "--thickness", "17um", "--permittivity", "3", "--loss-tangent", "0.001", "--roughness", "0.4um", "--at", "28GHz")
	p := d.At[0]
	near := func(what string, got, want float64) {
		t.Helper()
		if !(math.Abs(got-want) <= 1e-9*math.Abs(want)) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	near("delay", *p.DelaySPerM, *p.PhaseRadPerM/(2*math.Pi*28e9))
	near("effective permittivity", *p.EffectivePermittivity, math.Pow(*p.DelaySPerM*299792458, 2))
	near("attenuation", *p.AttenuationDBPerM, *p.ConductorDBPerM+*p.DielectricDBPerM)
	if !(*p.RoughnessFactor > 1) {
		t.Errorf("a rough line has the factor %v", *p.RoughnessFactor)
	}
}

// Every file that the reader of network data refuses is refused with a place, a
// rule and a cure, and exit status 2.
func TestInspectBadFiles(t *testing.T) {
	names, err := filepath.Glob("../../physics/touchstone/testdata/bad/*.*")
	if err != nil || len(names) < 20 {
		t.Fatalf("%d files, %v", len(names), err)
	}
	for _, name := range names {
		args := []string{"inspect", name, "--json"}
		if filepath.Base(name) == "portsdiffer.ts" { // a one-port that somebody takes for a four-port
			args = append(args, "--ports", "4")
		}
		var out, errOut bytes.Buffer
		code := run(context.Background(), args, strings.NewReader(""), &out, &errOut)
		var doc wire.Errors
		if err := json.Unmarshal(out.Bytes(), &doc); err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if code != ExitUsage || len(doc.Errors) == 0 {
			t.Errorf("%s: exit status %d with %d errors", name, code, len(doc.Errors))
		}
		for _, e := range doc.Errors {
			if e.File != name || e.Line < 1 || e.Problem == "" || e.Help == "" {
				t.Errorf("%s: %+v lacks place, problem or help", name, e)
			}
		}
		if errOut.Len() > 0 {
			t.Errorf("%s: standard error is not empty: %s", name, errOut.String())
		}
	}
}

// bigWorkspace writes an enquiry and a catalogue so large that its search takes
// seconds.
func bigWorkspace(t *testing.T, dir string, parts int) {
	t.Helper()
	for _, name := range demo.Names() {
		data, err := fs.ReadFile(demo.Files(), name)
		if err != nil {
			t.Fatal(err)
		}
		target := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(target), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(target, data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	var b strings.Builder
	b.WriteString("kind,id,source,rated_frequency [GHz],face.series,face.gender,fits,core.diameter [mm],core.permittivity,outer_diameter [mm],velocity_factor,loss.k1,loss.k2,price,mass,reflection.vswr\n")
	for k := range parts { // every cable and connector unlike every other, none better than all
		x := float64(k) / float64(parts)
		fmt.Fprintf(&b, "cable,G%d,generated,26.5,,,,%.4f,1.45,4.8,0.83,%.5f dB/(m·sqrt(GHz)),0.008 dB/(m·GHz),%.3f EUR,%.3f g,%.5f\n", k, 2.5+0.5*x, 0.5-0.2*x, 20+40*x*x, 60-30*math.Sqrt(x), 1.05+0.1*math.Abs(math.Sin(float64(k))))
		fmt.Fprintf(&b, "cable_connector,Q%d,generated,26.5,SMA,male,%s,,,,,,,%.3f EUR,%.3f g,%.5f\n", k, fmt.Sprintf("G%d;G%d;G%d", k, (k+1)%parts, (k+7)%parts), 8+10*x, 6-2*x*x, 1.04+0.1*math.Abs(math.Cos(float64(k))))
	}
	if err := os.WriteFile(filepath.Join(dir, "catalogue", "big.csv"), []byte(b.String()), 0o666); err != nil {
		t.Fatal(err)
	}
}

// Interrupted in the middle of its work, propose writes nothing, not even half
// of a file, says so, and ends with the status of an interrupt.
func TestInterrupt(t *testing.T) {
	t.Chdir(t.TempDir())
	bigWorkspace(t, ".", 1500)
	before := tree(t, ".")
	args := []string{"propose", "enquiries/d1-bench-jumpers.yaml", "--save", "chains/new", "--plots", "plots", "--draws", "10000000"}
	for _, after := range []time.Duration{0, 20 * time.Millisecond, 150 * time.Millisecond, 500 * time.Millisecond} {
		ctx, cancel := context.WithCancel(context.Background())
		timer := time.AfterFunc(after, cancel)
		var out, errOut bytes.Buffer
		start := time.Now()
		code := run(ctx, args, strings.NewReader(""), &out, &errOut)
		timer.Stop()
		cancel()
		t.Logf("interrupted after %v: status %d, %v later", after, code, time.Since(start)-after)
		if code != ExitInterrupted {
			t.Errorf("interrupted after %v: exit status %d: %s", after, code, errOut.String())
		}
		if out.Len() > 0 || !strings.Contains(errOut.String(), "interrupted") {
			t.Errorf("interrupted after %v: printed %q and %q", after, clip(out.String()), errOut.String())
		}
		if now := tree(t, "."); !slices.Equal(now, before) {
			t.Errorf("interrupted after %v: files before %v, after %v", after, before, now)
		}
	}
}

// A disk that is full, or a reader that has gone, is not status 0.
func TestOutputThatCannotBeWritten(t *testing.T) {
	for _, args := range [][]string{{"version"}, {"version", "--json"}, {"schema", "field"}, {"line", "coax", "--inner-diameter", "1mm", "--outer-diameter", "2.3mm", "--at", "1GHz"}} {
		var errOut strings.Builder
		if code := run(t.Context(), args, strings.NewReader(""), fullDisk{}, &errOut); code != ExitUsage {
			t.Errorf("%v: exit status %d, want %d", args, code, ExitUsage)
		}
		if !strings.Contains(errOut.String(), "no space left") {
			t.Errorf("%v: standard error says %q", args, errOut.String())
		}
	}
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

// An interruption too is one document.
func TestInterruptJSON(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("a.s2p", []byte("# GHz S RI R 50\n1 0 0 .9 0 .9 0 0 0\n2 0 0 .9 0 .9 0 0 0\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, errOut bytes.Buffer
	if code := run(ctx, []string{"archive", "add", "a.s2p", "--json"}, strings.NewReader(""), &out, &errOut); code != ExitInterrupted {
		t.Fatalf("exit status %d: %s", code, errOut.String())
	}
	var doc wire.Errors
	if err := json.Unmarshal(out.Bytes(), &doc); err != nil || len(doc.Errors) != 1 || doc.Errors[0].Problem != "interrupted" || !strings.Contains(doc.Errors[0].Help, "0 files are kept") {
		t.Errorf("%v: %s", err, out.String())
	}
}

// The line of progress is cut by a narrow terminal, not wrapped, and whoever
// reads only its beginning sees how far the work is.
func TestProgressLine(t *testing.T) {
	var b strings.Builder
	p := &progress{w: &b, start: time.Now().Add(-time.Minute)}
	p.report(strings.Repeat("a long stage ", 9), 0.25)
	if s := b.String(); !strings.HasPrefix(s, "\r\x1b[?7l 25 % ======....") || !strings.HasSuffix(s, "\x1b[K\x1b[?7h") {
		t.Errorf("%q", s)
	}
}
