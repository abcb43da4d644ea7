package line

import (
	"math"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/material"
)

// The plain microstrips, striplines and coplanar lines of em_tline.csv, which
// were solved by hp finite elements bracketed from both sides. The estimate of
// their error is around 3e-7; what this package needs to be right to is 1e-6
// here, 1e-4 for the loss, which is a difference.
func TestCrossSectionRows(t *testing.T) {
	covered := 0
	for _, r := range refcheck.Rows(t, "em_tline.csv") {
		num := func(name string) float64 { return r.Num(t, name) }
		or := func(name string, v float64) float64 {
			if r.Has(name) {
				return num(name)
			}
			return v
		}
		var l Line
		dielectric := material.Dielectric{}
		if r.Has("eps_r") {
			dielectric.Permittivity = num("eps_r")
		}
		perfect := material.Conductor{Metal: material.Metal{Conductivity: math.Inf(1)}}
		switch r.Inputs["case"] {
		case "microstrip_open", "microstrip_low_cover", "microstrip_shielded", "strip_over_ground_air_zero_thickness":
			m := Microstrip{Width: num("strip_width_m"), Height: num("substrate_height_m"), Thickness: or("thickness_m", 0), Substrate: dielectric, Metal: perfect}
			if r.Has("cover_above_ground_m") {
				m.Cover = num("cover_above_ground_m") - m.Height
			}
			if r.Has("sidewall_from_centre_m") {
				m.Walls = 2 * num("sidewall_from_centre_m")
			}
			l = m
		case "microstrip_open_trapezoid":
			l = Microstrip{Width: num("strip_width_bottom_m"), TopWidth: num("strip_width_top_m"), Height: num("substrate_height_m"),
				Thickness: num("thickness_m"), Substrate: dielectric, Metal: perfect}
		case "stripline_centred_zero_thickness":
			l = Stripline{Width: num("strip_width_m"), Spacing: num("plane_spacing_m"), Substrate: dielectric, Metal: perfect}
		case "square_coax_concentric": // a stripline as thick as wide between walls: exact
			in, out := num("inner_side_m"), num("outer_side_m")
			l = Stripline{Width: in, Thickness: in, Spacing: out, Walls: out, Substrate: dielectric, Metal: perfect}
		case "stripline_offset_thick", "stripline_two_dielectrics_trapezoid":
			lo, hi, th := num("h_below_strip_m"), num("h_above_strip_top_m"), num("thickness_m")
			m := Stripline{Width: or("strip_width_m", 0), Spacing: lo + hi + th, Thickness: th, Offset: (lo - hi) / 2, Substrate: dielectric, Metal: perfect}
			if r.Has("strip_width_bottom_m") {
				m.Width, m.TopWidth = num("strip_width_bottom_m"), num("strip_width_top_m")
				m.Substrate.Permittivity = num("eps_r_below_strip_bottom")
				m.Above.Permittivity = num("eps_r_above_strip_bottom")
			}
			l = m
		case "cpw_zero_thickness_infinite_substrate":
			l = Coplanar{Width: num("strip_width_m"), Gap: num("gap_m"), Height: math.Inf(1), Substrate: dielectric, Metal: perfect}
		case "gcpw_open_infinite_ground":
			l = Coplanar{Width: num("strip_width_m"), Gap: num("gap_m"), Height: num("substrate_height_m"), Thickness: num("thickness_m"),
				GroundBelow: true, Substrate: dielectric, Metal: perfect}
		case "gcpw_shielded":
			l = Coplanar{Width: num("strip_width_m"), Gap: num("gap_m"), Height: num("substrate_height_m"), Thickness: num("thickness_m"),
				GroundBelow: true, Walls: 2 * num("sidewall_from_centre_m"), Cover: num("cover_above_bottom_ground_m") - num("substrate_height_m"),
				Substrate: dielectric, Metal: perfect}
		default:
			continue // coax, coupled and general cross-sections: not planar lines
		}
		covered++
		if err := l.Check(); err != nil {
			t.Errorf("%s: %v", r.ID, err)
			continue
		}
		s, err := l.(planar).section()
		if err != nil {
			t.Errorf("%s: %v", r.ID, err)
			continue
		}
		st := s.at(l.(planar).fillings(0))
		want := r.Want(t)
		switch r.Quantity {
		case "C_F_per_m":
			r.Within(t, math.Sqrt(st.EffectivePermittivity)/(C0*st.Impedance), 1e-6*want)
		case "L_H_per_m":
			r.Within(t, math.Sqrt(st.EffectivePermittivity)/C0*st.Impedance, 1e-6*want)
		case "Z0_ohm":
			r.Within(t, st.Impedance, 1e-6*want)
		case "eps_eff":
			r.Within(t, st.EffectivePermittivity, 2e-6*want)
		case "R_over_Rs_per_m":
			r.Within(t, s.loss, 1e-4*want)
		default:
			t.Errorf("%s: quantity %s is not covered", r.ID, r.Quantity)
		}
	}
	if covered != 59 {
		t.Errorf("%d rows covered, want 59", covered)
	}
}
