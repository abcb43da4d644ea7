package xsection

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-xsection") }

var inf = math.Inf(1)

func material(er float64) Material { return Material{Permittivity: er} }

// slab fills a layer from y0 to y1, infinitely wide.
func slab(y0, y1, er float64) Dielectric {
	return Dielectric{Rectangle{-inf, inf, y0, y1}, material(er)}
}

// trace is a rectangular trace, or a foil if t is 0.
func trace(name string, x, base, w, t float64) Conductor {
	if t == 0 {
		return Conductor{Name: name, Shape: Segment{Point{x - w/2, base}, Point{x + w/2, base}}}
	}
	return Conductor{Name: name, Shape: Block(x, base, w, t)}
}

func microstrip(w, h, t, er float64) Section {
	return Section{Region: Region{Bottom: ElectricAt(0)}, Dielectrics: []Dielectric{slab(0, h, er)},
		Conductors: []Conductor{trace("trace", 0, h, w, t)}}
}

func planes(spacing float64) Region {
	return Region{Bottom: ElectricAt(0), Top: ElectricAt(spacing)}
}

// sectionOf builds the section of a row of em_tline.csv.
func sectionOf(t *testing.T, row refcheck.Row) (Section, bool) {
	n := func(name string) float64 { return row.Num(t, name) }
	opt := func(name string) float64 {
		if row.Has(name) {
			return n(name)
		}
		return 0
	}
	er := opt("eps_r")
	th := opt("thickness_m")
	w, h := opt("strip_width_m"), opt("substrate_height_m")
	switch row.Inputs["case"] {
	case "microstrip_open", "strip_over_ground_air_zero_thickness":
		return microstrip(w, h, th, er), true
	case "microstrip_low_cover":
		s := microstrip(w, h, th, er)
		s.Region.Top = ElectricAt(n("cover_above_ground_m"))
		return s, true
	case "microstrip_shielded":
		s := microstrip(w, h, th, er)
		s.Region.Top = ElectricAt(n("cover_above_ground_m"))
		s.Region.Left, s.Region.Right = ElectricAt(-n("sidewall_from_centre_m")), ElectricAt(n("sidewall_from_centre_m"))
		return s, true
	case "microstrip_open_trapezoid":
		s := microstrip(1, h, th, er)
		s.Conductors[0].Shape = Trapezoid(0, h, n("strip_width_bottom_m"), n("strip_width_top_m"), th)
		return s, true
	case "stripline_centred_zero_thickness":
		b := n("plane_spacing_m")
		return Section{Region: planes(b), Background: material(er), Conductors: []Conductor{trace("strip", 0, b/2, w, 0)}}, true
	case "stripline_offset_thick":
		lo := n("h_below_strip_m")
		return Section{Region: planes(lo + th + n("h_above_strip_top_m")), Background: material(er), Conductors: []Conductor{trace("strip", 0, lo, w, th)}}, true
	case "stripline_two_dielectrics_trapezoid":
		lo := n("h_below_strip_m")
		b := lo + th + n("h_above_strip_top_m")
		return Section{Region: planes(b),
			Dielectrics: []Dielectric{slab(0, lo, n("eps_r_below_strip_bottom")), slab(lo, b, n("eps_r_above_strip_bottom"))},
			Conductors:  []Conductor{{Name: "strip", Shape: Trapezoid(0, lo, n("strip_width_bottom_m"), n("strip_width_top_m"), th)}}}, true
	case "gcpw_shielded":
		s := microstrip(w, h, th, er)
		wall := n("sidewall_from_centre_m")
		s.Region.Top = ElectricAt(n("cover_above_bottom_ground_m"))
		s.Region.Left, s.Region.Right = ElectricAt(-wall), ElectricAt(wall)
		e := w/2 + n("gap_m")
		s.Conductors = append(s.Conductors, Conductor{Name: Ground, Shape: Rectangle{-wall, -e, h, h + th}}, Conductor{Name: Ground, Shape: Rectangle{e, wall, h, h + th}})
		return s, true
	case "gcpw_open_infinite_ground":
		return coplanar(w, n("gap_m"), h, th, er, true), true
	case "cpw_zero_thickness_infinite_substrate":
		return coplanar(w, n("gap_m"), inf, 0, er, false), true
	case "coupled_microstrip_open":
		s := microstrip(w, h, th, er)
		p := (w + n("gap_m")) / 2
		s.Conductors = []Conductor{trace("a", -p, h, w, th), trace("b", p, h, w, th)}
		return s, true
	case "asymmetric_pair_microstrip":
		w1, w2, g := n("strip1_width_m"), n("strip2_width_m"), n("gap_m")
		s := microstrip(w1, h, th, er)
		s.Conductors = []Conductor{trace("a", 0, h, w1, th), trace("b", w1/2+g+w2/2, h, w2, th)}
		return s, true
	case "coupled_stripline_edge_zero_thickness", "coupled_stripline_edge_thick":
		b, p := n("plane_spacing_m"), (w+n("gap_m"))/2
		return Section{Region: planes(b), Background: material(er),
			Conductors: []Conductor{trace("a", -p, (b-th)/2, w, th), trace("b", p, (b-th)/2, w, th)}}, true
	case "coax_eccentric":
		return Section{Region: Region{Shield: Circle{Diameter: n("outer_diameter_m")}}, Background: material(er),
			Conductors: []Conductor{{Name: "pin", Shape: Circle{Point{n("offset_m"), 0}, n("inner_diameter_m")}}}}, true
	case "square_coax_concentric":
		a, b := n("inner_side_m")/2, n("outer_side_m")/2
		return Section{Region: Region{Shield: Rectangle{-b, b, -b, b}}, Background: material(er),
			Conductors: []Conductor{{Name: "bar", Shape: Rectangle{-a, a, -a, a}}}}, true
	case "coax_concentric_layers":
		return Section{Region: Region{Shield: Circle{Diameter: 2 * n("layer2_outer_radius_m")}}, Background: material(n("layer2_eps_r")),
			Dielectrics: []Dielectric{{Circle{Diameter: 2 * n("layer1_outer_radius_m")}, material(n("layer1_eps_r"))}},
			Conductors:  []Conductor{{Name: "pin", Shape: Circle{Diameter: 2 * n("inner_radius_m")}}}}, true
	case "coax_sector_filled":
		if n("filled_angle_deg") != 180 {
			return Section{}, false
		}
		d := n("outer_diameter_m")
		return Section{Region: Region{Shield: Circle{Diameter: d}}, Dielectrics: []Dielectric{{Rectangle{-d, d, 0, d}, material(er)}},
			Conductors: []Conductor{{Name: "pin", Shape: Circle{Diameter: n("inner_diameter_m")}}}}, true
	case "round_wire_over_ground":
		return Section{Region: Region{Bottom: ElectricAt(0)}, Background: material(er),
			Conductors: []Conductor{{Name: "wire", Shape: Circle{Point{0, n("centre_height_m")}, n("diameter_m")}}}}, true
	case "round_inner_in_square_outer":
		b := n("outer_side_m") / 2
		return Section{Region: Region{Shield: Rectangle{-b, b, -b, b}}, Background: material(er),
			Conductors: []Conductor{{Name: "pin", Shape: Circle{Diameter: n("diameter_m")}}}}, true
	case "slabline_round_rod_between_planes":
		b := n("plane_spacing_m")
		return Section{Region: planes(b), Background: material(er), Conductors: []Conductor{{Name: "rod", Shape: Circle{Point{0, b / 2}, n("diameter_m")}}}}, true
	case "shielded_pair_round_wires":
		p, d := n("wire_centre_spacing_m")/2, n("wire_diameter_m")
		return Section{Region: Region{Shield: Circle{Diameter: n("shield_diameter_m")}}, Background: material(er),
			Conductors: []Conductor{{Name: "a", Shape: Circle{Point{-p, 0}, d}}, {Name: "b", Shape: Circle{Point{p, 0}, d}}}}, true
	case "two_parallel_round_wires":
		return Section{Background: material(er), Conductors: []Conductor{{Name: "wire", Shape: Circle{Diameter: n("wire1_diameter_m")}},
			{Name: Ground, Shape: Circle{Point{n("centre_distance_m"), 0}, n("wire2_diameter_m")}}}}, true
	}
	return Section{}, false
}

// coplanar is a strip between infinitely wide grounds on a substrate, which a
// height of +Inf makes a half space; backed says that a plane lies below.
func coplanar(w, gap, h, th, er float64, backed bool) Section {
	e := w/2 + gap
	s := Section{Dielectrics: []Dielectric{slab(-h, 0, er)}, Conductors: []Conductor{trace("strip", 0, 0, w, th)}}
	if backed {
		s.Region.Bottom = ElectricAt(-h)
	}
	if th == 0 {
		s.Conductors = append(s.Conductors, Conductor{Name: Ground, Shape: Segment{Point{-inf, 0}, Point{-e, 0}}}, Conductor{Name: Ground, Shape: Segment{Point{e, 0}, Point{inf, 0}}})
	} else {
		s.Conductors = append(s.Conductors, Conductor{Name: Ground, Shape: Rectangle{-inf, -e, 0, th}}, Conductor{Name: Ground, Shape: Rectangle{e, inf, 0, th}})
	}
	return s
}

// quantity returns what a row asks for.
func quantity(r *Result, name string) (float64, bool) {
	pair := func() Pair { return r.Pair(0, 1) }
	mode := func(want string) float64 {
		for _, m := range r.Modes {
			if m.Name == want {
				return m.EffectivePermittivity
			}
		}
		return math.NaN()
	}
	switch name {
	case "C_F_per_m", "C11_F_per_m":
		return r.C.At(0, 0), true
	case "C12_F_per_m":
		return r.C.At(0, 1), true
	case "C22_F_per_m":
		return r.C.At(1, 1), true
	case "L_H_per_m", "L11_H_per_m":
		return r.L.At(0, 0), true
	case "L12_H_per_m":
		return r.L.At(0, 1), true
	case "L22_H_per_m":
		return r.L.At(1, 1), true
	case "Z0_ohm":
		return r.Impedance(), true
	case "eps_eff":
		return r.EffectivePermittivity(), true
	case "Z_even_ohm":
		return pair().Even, true
	case "Z_odd_ohm":
		return pair().Odd, true
	case "Z_diff_ohm":
		return pair().Differential, true
	case "Z_comm_ohm":
		return pair().Common, true
	case "eps_eff_even":
		return mode("even"), true
	case "eps_eff_odd":
		return mode("odd"), true
	case "R_over_Rs_per_m":
		return r.ResistanceFactor().At(0, 0), true
	}
	return 0, false
}

// Every row of em_tline.csv within 1e-4 of its value (1e-4 of the diagonal for
// mutual entries), resistance within 1 %, at the default accuracy. Rows of
// coax_lossy are in TestLossyCoax.
func TestReferenceLines(t *testing.T) {
	results := map[string]*Result{}
	for _, row := range refcheck.Rows(t, "em_tline.csv") {
		if row.Inputs["case"] == "coax_lossy" {
			continue
		}
		key := strings.SplitN(row.ID, ".", 2)[0]
		r := results[key]
		if r == nil {
			s, ok := sectionOf(t, row)
			if !ok {
				t.Errorf("%s: no section for case %q", row.ID, row.Inputs["case"])
				continue
			}
			var err error
			if r, err = Solve(context.Background(), s, Options{}); err != nil {
				t.Errorf("%s: %v", row.ID, err)
				continue
			}
			results[key] = r
		}
		got, ok := quantity(r, row.Quantity)
		if !ok {
			t.Errorf("%s: nothing computes %q", row.ID, row.Quantity)
			continue
		}
		tol := 1e-4 * math.Abs(row.Want(t))
		switch row.Quantity {
		case "C12_F_per_m":
			tol = 1e-4 * r.C.At(0, 0)
		case "L12_H_per_m":
			tol = 1e-4 * r.L.At(0, 0)
		case "R_over_Rs_per_m":
			tol *= 100
		}
		row.Within(t, got, tol)
	}
}

// Rows that two roads of our own contradict: the panels here and the spectral
// domain in TestSpectralDomain agree to 1e-8 in C, and the rows are off by
// 3e-4 in impedance and 6e-4 in permittivity. Sampling the Fourier integral as
// coarsely for w/h = 0.1 as for wider strips gives an error of that size.
var doubted = map[string]bool{"microstrip-d015": true, "microstrip-d016": true}

// The quasi-static limits of the spectral-domain solutions in microstrip.csv
// and cpw.csv, strips without thickness, under the rows' own tolerance for
// numerical solutions.
func TestReferenceSpectralDomain(t *testing.T) {
	for _, table := range []string{"microstrip.csv", "cpw.csv"} {
		results := map[string]*Result{}
		for _, row := range refcheck.Rows(t, table) {
			if row.Inputs["method"] != "exact quasi-static" {
				continue
			}
			words := strings.Fields(row.Tolerance)
			tol, err := strconv.ParseFloat(words[1], 64)
			if words[0] != "rel" || err != nil {
				t.Errorf("%s: tolerance %q", row.ID, row.Tolerance)
				continue
			}
			key := fmt.Sprint(row.Inputs)
			r := results[key]
			if r == nil {
				var s Section
				if table == "microstrip.csv" {
					s = microstrip(row.Num(t, "width_to_height_ratio")*1e-3, 1e-3, 0, row.Num(t, "eps_r"))
				} else {
					s = coplanar(row.Num(t, "strip_width_m"), row.Num(t, "gap_m"), row.Num(t, "substrate_height_m"), 0, row.Num(t, "eps_r"), row.Inputs["conductor_backing"] == "yes")
				}
				if r, err = Solve(context.Background(), s, Options{Accuracy: 1e-6}); err != nil {
					t.Errorf("%s: %v", row.ID, err)
					continue
				}
				results[key] = r
			}
			got := r.EffectivePermittivity()
			if row.Quantity == "characteristic_impedance_ohm" {
				got = r.Impedance()
			}
			if doubted[row.ID] {
				if off := math.Abs(got/row.Want(t) - 1); !(off > tol && off < 1e-3) {
					t.Errorf("%s: off by %.1e: no longer a row in doubt", row.ID, off)
				}
				continue
			}
			row.Within(t, got, tol*row.Want(t))
		}
	}
}

// Striplines and eccentric coax of the other tables: exact rows to 1e-7 (the
// asked accuracy, not the printed digits, is the limit), the rest under their
// own tolerance.
func TestReferenceStriplineAndCoax(t *testing.T) {
	strip := func(row refcheck.Row) Section {
		b, th := row.Num(t, "plane_spacing_m"), row.Num(t, "thickness_m")
		return Section{Region: planes(b), Background: material(row.Num(t, "eps_r")),
			Conductors: []Conductor{trace("strip", 0, (b-th)/2, row.Num(t, "strip_width_m"), th)}}
	}
	n := 0
	for _, row := range refcheck.Rows(t, "stripline.csv") {
		if !row.Has("strip_width_m") || row.Inputs["method"] == "Wheeler 1978" || row.Inputs["method"] == "Cohn approximation" {
			continue
		}
		if row.ID == "stripline-d008" || row.ID == "stripline-d009" {
			continue // Cohn's formula in print; the surface integral gives 2.4 % less (0.1191 Np/m)
		}
		n++
		r, err := Solve(context.Background(), strip(row), Options{Accuracy: 1e-6})
		if err != nil {
			t.Errorf("%s: %v", row.ID, err)
			continue
		}
		loss := func() LossyMode {
			rs := func(m Metal, f float64) (float64, float64) {
				m.Conductivity = row.Num(t, "conductivity_S_per_m")
				return HammerstadResistance(m, f)
			}
			for i := range r.Dielectrics {
				if row.Has("tan_delta") {
					r.Dielectrics[i].Material.LossTangent = row.Num(t, "tan_delta")
				}
			}
			return r.At(row.Num(t, "frequency_Hz"), rs).Modes[0]
		}
		switch row.Quantity {
		case "characteristic_impedance_ohm":
			if row.Num(t, "thickness_m") == 0 {
				row.Within(t, r.Impedance(), 1e-7*r.Impedance())
			} else {
				row.Check(t, r.Impedance())
			}
		case "conductor_attenuation_Np_per_m":
			row.Check(t, loss().Conductor)
		case "dielectric_attenuation_Np_per_m":
			row.Check(t, loss().Dielectric)
		case "attenuation_dB_per_m":
			row.Check(t, real(loss().Gamma)*20*math.Log10(math.E))
		default:
			t.Errorf("%s: nothing computes %q", row.ID, row.Quantity)
		}
	}
	for _, row := range refcheck.Rows(t, "coax_line.csv") {
		if !row.Has("centre_offset_m") || row.Quantity != "characteristic_impedance_ohm" {
			continue
		}
		n++
		r, err := Solve(context.Background(), Section{Region: Region{Shield: Circle{Diameter: row.Num(t, "outer_diameter_m")}}, Background: material(row.Num(t, "eps_r")),
			Conductors: []Conductor{{Name: "pin", Shape: Circle{Point{0, row.Num(t, "centre_offset_m")}, row.Num(t, "inner_diameter_m")}}}}, Options{Accuracy: 1e-6})
		if err != nil {
			t.Errorf("%s: %v", row.ID, err)
			continue
		}
		row.Check(t, r.Impedance())
	}
	if n != 13 {
		t.Errorf("%d rows of stripline.csv and coax_line.csv were for this package, 15 expected", n)
	}
}

// The rows of coax_lossy: exact Bessel solutions, against the thin skin taken
// here. The skin, 66 µm at 1 MHz and 0.36 µm at 34 GHz, must be thin beside the
// radius of 760 µm: R is off by about δ/2a, 4 % at 1 MHz. Tolerances are 1 %
// from 100 MHz; at 1 MHz, where the thin skin does not hold, 6 %, so that the
// error is on record.
func TestLossyCoax(t *testing.T) {
	var r *Result
	for _, row := range refcheck.Rows(t, "em_tline.csv") {
		if row.Inputs["case"] != "coax_lossy" {
			continue
		}
		if r == nil {
			s := Section{Region: Region{Shield: Circle{Diameter: row.Num(t, "outer_diameter_m")}, Metal: Metal{Conductivity: row.Num(t, "sigma_outer_S_per_m")}},
				Background: Material{row.Num(t, "eps_r"), row.Num(t, "tand")},
				Conductors: []Conductor{{Name: "pin", Shape: Circle{Diameter: row.Num(t, "inner_diameter_m")}, Metal: Metal{Conductivity: row.Num(t, "sigma_inner_S_per_m")}}}}
			var err error
			if r, err = Solve(context.Background(), s, Options{}); err != nil {
				t.Fatal(err)
			}
		}
		f := row.Num(t, "frequency_Hz")
		p := r.At(f, nil)
		m := p.Modes[0]
		tol := 0.01
		if f < 1e8 {
			tol = 0.06
		}
		tol *= math.Abs(row.Want(t))
		switch row.Quantity {
		case "R_ohm_per_m":
			row.Within(t, p.R.At(0, 0), tol)
		case "L_H_per_m":
			row.Within(t, p.L.At(0, 0), tol)
		case "alpha_dB_per_m":
			row.Within(t, real(m.Gamma)*20*math.Log10(math.E), tol)
		case "beta_rad_per_m":
			row.Within(t, imag(m.Gamma), tol)
		case "Zc_re_ohm":
			row.Within(t, real(m.Impedance), tol)
		case "Zc_im_ohm":
			row.Within(t, imag(m.Impedance), tol)
		default:
			t.Errorf("%s: nothing computes %q", row.ID, row.Quantity)
		}
	}
}
