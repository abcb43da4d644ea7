package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"linewright/app/wire"
	"linewright/internal/refcheck"
)

// solved runs a command on a file's text and reads its JSON.
func solved[D any](t *testing.T, command, text string, flags ...string) D {
	t.Helper()
	name := filepath.Join(t.TempDir(), "f.yaml")
	if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	var out, errOut bytes.Buffer
	if code := run(context.Background(), append([]string{command, name, "--json"}, flags...), nil, &out, &errOut); code != ExitMet {
		t.Fatalf("exit status %d\n%s%s\n%s", code, out.String(), errOut.String(), text)
	}
	var d D
	if err := json.Unmarshal(out.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	return d
}

// Every row of a chain of coaxial sections, through the file, the flags and the
// JSON. The solver's own tests record them; here the way in and out is judged.
// A row's digits and error estimate come on top of the accuracy asked for; an
// angle of a small reflection is worth as much as its complex number, so the
// tolerance on it is that of S over |S|.
func TestBodyRows(t *testing.T) {
	magnitude := map[string]float64{} // of S11, by the inputs of a row
	rows := refcheck.Rows(t, "em_coax.csv")
	key := func(r refcheck.Row) string { return fmt.Sprint(r.Inputs) }
	for _, r := range rows {
		if r.Quantity == "S11_mag" {
			magnitude[key(r)] = r.Want(t)
		}
	}
	docs := map[string]wire.Body{}
	checked := 0
	cases := solverCases{}
	for _, r := range rows {
		if !r.Has("n_sections") || r.Has("modes_port1") || strings.Contains(r.Quantity, "published") {
			continue // those that n_sections does not describe, the multimode case, and a published fit with its own error
		}
		n := int(r.Num(t, "n_sections"))
		var b strings.Builder
		b.WriteString("sections:\n")
		for k := 1; k <= n; k++ {
			p := func(name string) float64 { return r.Num(t, fmt.Sprintf("s%d_%s", k, name)) }
			fmt.Fprintf(&b, "  - {inner_diameter: %.12g mm, outer_diameter: %.12g mm, permittivity: %g", p("inner_diameter_m")*1e3, p("outer_diameter_m")*1e3, p("eps_r"))
			if k > 1 && k < n {
				fmt.Fprintf(&b, ", length: %.12g mm", p("length_m")*1e3)
			}
			b.WriteString("}\n")
		}
		at := "1GHz"
		if r.Has("frequency_Hz") {
			at = fmt.Sprintf("%.12gHz", r.Num(t, "frequency_Hz"))
		}
		d, ok := docs[b.String()+at]
		if !ok {
			begun := time.Now()
			d = solved[wire.Body](t, "body", b.String(), "--at", at, "--accuracy", "1e-6")
			docs[b.String()+at] = d
			cases.solved(r, d.ModesUsed, begun)
		}
		s := func(i, j int) complex128 { return complex(*d.At[0].S[i][j].Re, *d.At[0].S[i][j].Im) }
		degrees := func(z complex128) float64 { return cmplx.Phase(z) * 180 / math.Pi }
		var got float64
		tol := 1e-5
		switch r.Quantity {
		case "C_step_static_F":
			got, tol = *d.Planes[0].ShuntCapacitanceStaticF, 2e-5*r.Want(t)
		case "S11_mag":
			got = cmplx.Abs(s(0, 0))
		case "S21_mag":
			got = cmplx.Abs(s(1, 0))
		case "S11_deg":
			got, tol = degrees(s(0, 0)), 1e-5*180/math.Pi/magnitude[key(r)]
		case "S22_deg":
			got, tol = degrees(s(1, 1)), 1e-5*180/math.Pi/magnitude[key(r)]
		case "S21_deg":
			got, tol = degrees(s(1, 0)), 2e-5*180/math.Pi
		default:
			t.Errorf("%s: no way to compare %s", r.ID, r.Quantity)
			continue
		}
		diff := got - r.Want(t)
		if strings.HasSuffix(r.Quantity, "_deg") {
			diff = math.Remainder(diff, 360)
		}
		if !(math.Abs(diff) <= tol) {
			t.Errorf("%s %s = %.9g, want %.9g ± %.2g", r.ID, r.Quantity, got, r.Want(t), tol)
		}
		switch { // as a part of S, or of C
		case r.Quantity == "C_step_static_F":
			diff /= r.Want(t)
		case strings.HasPrefix(r.Quantity, "S21_deg"):
			diff *= math.Pi / 180
		case strings.HasSuffix(r.Quantity, "_deg"):
			diff *= math.Pi / 180 * magnitude[key(r)]
		}
		cases.differs(r, diff)
		checked++
	}
	if checked < 200 {
		t.Errorf("%d rows were compared", checked)
	}
	cases.write(t, "modes")
}

// The static capacitance of single steps, from the table of steps.
func TestBodyStepRows(t *testing.T) {
	checked := 0
	for _, r := range refcheck.Rows(t, "coax_step.csv") {
		if r.Quantity != "step_capacitance_F" || r.Status != "computed" || !r.Has("step") {
			continue
		}
		either := func(name string, k int) (float64, bool) {
			for _, n := range []string{fmt.Sprintf("%s_diameter_%d_m", name, k), name + "_diameter_m"} {
				if r.Has(n) {
					return r.Num(t, n) * 1e3, true
				}
			}
			return 0, false
		}
		var b strings.Builder
		b.WriteString("sections:\n")
		complete := true
		for k := 1; k <= 2; k++ {
			in, ok1 := either("inner", k)
			out, ok2 := either("outer", k)
			complete = complete && ok1 && ok2
			e := 1.0
			for _, name := range []string{"eps_r", fmt.Sprintf("eps_r_%d", k)} {
				if r.Has(name) {
					e = r.Num(t, name)
				}
			}
			fmt.Fprintf(&b, "  - {inner_diameter: %.12g mm, outer_diameter: %.12g mm, permittivity: %g}\n", in, out, e)
		}
		if !complete {
			continue
		}
		d := solved[wire.Body](t, "body", b.String(), "--at", "1MHz")
		if got, want := *d.Planes[0].ShuntCapacitanceStaticF, r.Want(t); !(math.Abs(got-want) <= 2e-5*want) { // the rows' own tolerance
			t.Errorf("%s: %.9g F, want %.9g", r.ID, got, want)
		}
		checked++
	}
	if checked < 5 {
		t.Errorf("%d rows were compared", checked)
	}
}

// Rows of every kind of cross-section that a file can describe.
func TestSectionRows(t *testing.T) {
	const tol = 3e-4 // the default accuracy is 1e-4 of the capacitances, as estimated; impedance and mutual terms follow within three times
	docs := map[string]wire.Section{}
	checked := map[string]int{}
	cases := solverCases{}
	for _, r := range refcheck.Rows(t, "em_tline.csv") {
		mm := func(name string) float64 { return r.Num(t, name) * 1e3 }
		e := func() float64 { return r.Num(t, "eps_r") }
		layer := func(h float64) string {
			return fmt.Sprintf("dielectrics:\n  - {rectangle: {x: [open, open], y: [0 mm, %.12g mm]}, permittivity: %g}\n", h, e())
		}
		const grounded = "region: {left: open, right: open, bottom: {electric: 0 mm}, top: open}\n"
		block := func(name string, x0, x1, y0, y1 float64) string {
			return fmt.Sprintf("  - {name: %s, rectangle: {x: [%.12g mm, %.12g mm], y: [%.12g mm, %.12g mm]}}\n", name, x0, x1, y0, y1)
		}
		var text string
		switch r.Inputs["case"] {
		case "microstrip_open":
			w, h, th := mm("strip_width_m"), mm("substrate_height_m"), mm("thickness_m")
			text = grounded + layer(h) + "conductors:\n" + block("trace", -w/2, w/2, h, h+th)
		case "microstrip_open_trapezoid":
			b, c, h, th := mm("strip_width_bottom_m"), mm("strip_width_top_m"), mm("substrate_height_m"), mm("thickness_m")
			text = grounded + layer(h) + fmt.Sprintf("conductors:\n  - {name: trace, polygon: [[%.12g mm, %.12g mm], [%.12g mm, %.12g mm], [%.12g mm, %.12g mm], [%.12g mm, %.12g mm]]}\n", -b/2, h, b/2, h, c/2, h+th, -c/2, h+th)
		case "microstrip_low_cover":
			w, h, th := mm("strip_width_m"), mm("substrate_height_m"), mm("thickness_m")
			text = fmt.Sprintf("region: {bottom: {electric: 0 mm}, top: {electric: %.12g mm}}\n", mm("cover_above_ground_m")) + layer(h) + "conductors:\n" + block("trace", -w/2, w/2, h, h+th)
		case "stripline_centred_zero_thickness":
			w, b := mm("strip_width_m"), mm("plane_spacing_m")
			text = fmt.Sprintf("region: {bottom: {electric: %.12g mm}, top: {electric: %.12g mm}}\nbackground: {permittivity: %g}\nconductors:\n  - {name: foil, segment: [[%.12g mm, 0 mm], [%.12g mm, 0 mm]]}\n", -b/2, b/2, e(), -w/2, w/2)
		case "coupled_microstrip_open":
			w, g, h, th := mm("strip_width_m"), mm("gap_m"), mm("substrate_height_m"), mm("thickness_m")
			text = grounded + layer(h) + "conductors:\n" + block("a", -g/2-w, -g/2, h, h+th) + block("b", g/2, g/2+w, h, h+th)
		case "asymmetric_pair_microstrip":
			w1, w2, g, h, th := mm("strip1_width_m"), mm("strip2_width_m"), mm("gap_m"), mm("substrate_height_m"), mm("thickness_m")
			text = grounded + layer(h) + "conductors:\n" + block("a", -g/2-w1, -g/2, h, h+th) + block("b", g/2, g/2+w2, h, h+th)
		case "coax_eccentric":
			text = fmt.Sprintf("region: {shield: {circle: {centre: [0 mm, 0 mm], diameter: %.12g mm}}}\nbackground: {permittivity: %g}\nconductors:\n  - {name: pin, circle: {centre: [%.12g mm, 0 mm], diameter: %.12g mm}}\n", mm("outer_diameter_m"), e(), mm("offset_m"), mm("inner_diameter_m"))
		case "round_wire_over_ground":
			text = grounded + fmt.Sprintf("conductors:\n  - {name: wire, circle: {centre: [0 mm, %.12g mm], diameter: %.12g mm}}\n", mm("centre_height_m"), mm("diameter_m"))
		case "square_coax_concentric":
			a, b := mm("inner_side_m"), mm("outer_side_m")
			text = fmt.Sprintf("region: {shield: {rectangle: {x: [%g mm, %g mm], y: [%g mm, %g mm]}}}\nconductors:\n", -b/2, b/2, -b/2, b/2) + block("bar", -a/2, a/2, -a/2, a/2)
		case "shielded_pair_round_wires":
			d, s := mm("wire_diameter_m"), mm("wire_centre_spacing_m")
			text = fmt.Sprintf("region: {shield: {circle: {centre: [0 mm, 0 mm], diameter: %.12g mm}}}\nbackground: {permittivity: %g}\nconductors:\n  - {name: a, circle: {centre: [%g mm, 0 mm], diameter: %g mm}}\n  - {name: b, circle: {centre: [%g mm, 0 mm], diameter: %g mm}}\n", mm("shield_diameter_m"), e(), -s/2, d, s/2, d)
		default:
			continue // the solver's own tests cover every case of the table
		}
		d, ok := docs[text]
		if !ok {
			begun := time.Now()
			d = solved[wire.Section](t, "section", text)
			docs[text] = d
			cases.solved(r, d.Unknowns, begun)
		}
		mode := func(name string) wire.SectionMode {
			for _, m := range d.Modes {
				if m.Name == name {
					return m
				}
			}
			t.Fatalf("%s: no mode %s", r.ID, name)
			return wire.SectionMode{}
		}
		var got float64
		switch r.Quantity {
		case "C_F_per_m", "C11_F_per_m":
			got = *d.CapacitanceFPerM[0][0]
		case "C12_F_per_m":
			got = *d.CapacitanceFPerM[0][1]
		case "C22_F_per_m":
			got = *d.CapacitanceFPerM[1][1]
		case "L_H_per_m", "L11_H_per_m":
			got = *d.InductanceHPerM[0][0]
		case "L12_H_per_m":
			got = *d.InductanceHPerM[0][1]
		case "L22_H_per_m":
			got = *d.InductanceHPerM[1][1]
		case "Z0_ohm":
			got = *d.ImpedanceOhm
		case "eps_eff":
			got = *d.EffectivePermittivity
		case "R_over_Rs_per_m":
			got = *d.ResistanceOverSurfaceResistancePM
		case "Z_even_ohm":
			got = *mode("even").ImpedanceOhm
		case "Z_odd_ohm":
			got = *mode("odd").ImpedanceOhm
		case "eps_eff_even":
			got = *mode("even").EffectivePermittivity
		case "eps_eff_odd":
			got = *mode("odd").EffectivePermittivity
		case "Z_diff_ohm":
			got = *d.Pair.DifferentialOhm
		case "Z_comm_ohm":
			got = *d.Pair.CommonOhm
		default:
			t.Errorf("%s: no way to compare %s", r.ID, r.Quantity)
			continue
		}
		cases.differs(r, (got-r.Want(t))/r.Want(t))
		limit := tol
		if r.Quantity == "C12_F_per_m" {
			limit = 1e-3 // accuracy is relative to the diagonal, some seven times larger
		}
		if want := r.Want(t); !(math.Abs(got-want) <= limit*math.Abs(want)) {
			t.Errorf("%s %s = %.9g, want %.9g", r.ID, r.Quantity, got, want)
		}
		checked[r.Inputs["case"]]++
	}
	if len(checked) < 10 {
		t.Errorf("cases compared: %v", checked)
	}
	cases.write(t, "unknowns")
}

var writeTable = flag.Bool("table", false, "write the tables of docs/solvers.md")

// solverCases gathers, by case of a reference table, how far its rows are met
// and what that took.
type solverCases map[string]*solverCase

type solverCase struct {
	name        string
	rows, solve int
	worst       float64
	size        int
	seconds     float64
}

func (c solverCases) of(r refcheck.Row) *solverCase {
	id, _, _ := strings.Cut(r.ID, ".")
	if c[id] == nil {
		c[id] = &solverCase{name: strings.ReplaceAll(r.Inputs["case"], "_", " ")}
	}
	return c[id]
}

func (c solverCases) solved(r refcheck.Row, size int, begun time.Time) {
	x := c.of(r)
	x.solve++
	x.size = max(x.size, size)
	x.seconds = max(x.seconds, time.Since(begun).Seconds())
}

func (c solverCases) differs(r refcheck.Row, by float64) {
	x := c.of(r)
	x.rows++
	x.worst = max(x.worst, math.Abs(by))
}

// write puts the cases into docs/solvers.md, between the marks of their table.
func (c solverCases) write(t *testing.T, what string) {
	t.Helper()
	if !*writeTable {
		return
	}
	const name = "../../docs/solvers.md"
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	mark := "<!-- " + what + " -->\n"
	before, rest, ok := strings.Cut(string(data), mark)
	_, after, ok2 := strings.Cut(rest, mark)
	if !ok || !ok2 {
		t.Fatalf("%s has no pair of marks %s", name, mark)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "| case | rows | worst error | %s | longest solve |\n| --- | --- | --- | --- | --- |\n", what)
	for _, id := range slices.Sorted(maps.Keys(c)) {
		x := c[id]
		fmt.Fprintf(&b, "| %s %s | %d | %.1g | %d | %.0f ms |\n", id, x.name, x.rows, x.worst, x.size, math.Ceil(x.seconds*1e3))
	}
	if err := os.WriteFile(name, []byte(before+mark+b.String()+mark+after), 0o666); err != nil {
		t.Fatal(err)
	}
}
