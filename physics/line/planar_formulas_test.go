package line

import (
	"math"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

// Every row of microstrip.csv, stripline.csv and cpw.csv that names a formula
// is met by that formula, and every row that asks for the truth by the field
// solution, in TestPlanarRows. This test is the formulas' half.
func TestFormulaRows(t *testing.T) {
	for _, table := range []string{"microstrip.csv", "stripline.csv", "cpw.csv"} {
		for _, r := range refcheck.Rows(t, table) {
			got, ok := formulaRow(t, r)
			if ok {
				r.Check(t, got)
			}
		}
	}
}

func formulaRow(t *testing.T, r refcheck.Row) (float64, bool) {
	num := func(name string) float64 { return r.Num(t, name) }
	or := func(name string, v float64) float64 {
		if r.Has(name) {
			return num(name)
		}
		return v
	}
	pick := func(s Static) (float64, bool) {
		switch r.Quantity {
		case "characteristic_impedance_ohm":
			return s.Impedance, true
		case "effective_permittivity":
			return s.EffectivePermittivity, true
		}
		return 0, false
	}
	switch r.Table {
	case "microstrip.csv":
		w, h, th := 0.0, 1.0, 0.0
		switch {
		case r.Has("width_to_height_ratio"):
			w, th = num("width_to_height_ratio"), or("thickness_to_height_ratio", 0)
		case r.Has("strip_width_m"):
			w, h, th = num("strip_width_m"), num("substrate_height_m"), or("thickness_m", 0)
		}
		switch m := r.Inputs["method"]; {
		case m == "Hammerstad-Jensen 1980":
			return pick(HammerstadJensen(w, h, th, num("eps_r")))
		case m == "Kirschning-Jansen 1982":
			s := HammerstadJensen(w, h, th, num("eps_r"))
			return KirschningJansen(num("frequency_Hz"), w, h, num("eps_r"), s.EffectivePermittivity), true
		case strings.HasPrefix(m, "Jansen-Kirschning 1983"):
			s := HammerstadJensen(w, h, th, num("eps_r"))
			e := KirschningJansen(num("frequency_Hz"), w, h, num("eps_r"), s.EffectivePermittivity)
			return JansenKirschning(num("frequency_Hz"), w, h, num("eps_r"), s, e), true
		case r.Quantity == "dielectric_attenuation_Np_per_m":
			return SchneiderLoss(num("frequency_Hz"), num("eps_r"), num("effective_permittivity"), num("tan_delta")), true
		case m == "Rs/(Z0 W)":
			z := HammerstadJensen(w, h, 0, num("eps_r")).Impedance
			return math.Sqrt(pi*num("frequency_Hz")*Mu0/num("conductivity_S_per_m")) / (z * w), true
		}
	case "stripline.csv":
		if r.Quantity == "fringing_capacitance_over_eps" {
			return CohnFringing(num("thickness_to_spacing_ratio"), 1), true
		}
		w, b, th := or("strip_width_m", or("width_to_spacing_ratio", 0)), or("plane_spacing_m", 1), or("thickness_m", 0)
		switch m := r.Inputs["method"]; {
		case m == "Wheeler 1978":
			return pick(WheelerStripline(w, b, th, num("eps_r")))
		case m == "Cohn approximation", r.ID == "stripline-d008":
			z := or("characteristic_impedance_ohm", 50) // Pozar's example is designed for 50 Ω
			rs := math.Sqrt(pi * num("frequency_Hz") * Mu0 / num("conductivity_S_per_m"))
			return CohnConductorLoss(rs, w, b, th, num("eps_r"), z), true
		case r.ID == "stripline-d009": // the example adds Cohn's loss and the dielectric's
			rs := math.Sqrt(pi * num("frequency_Hz") * Mu0 / num("conductivity_S_per_m"))
			a := CohnConductorLoss(rs, w, b, th, num("eps_r"), 50) + pi*num("frequency_Hz")/C0*math.Sqrt(num("eps_r"))*num("tan_delta")
			return a * 20 / math.Ln10, true
		case m == "" && th == 0 && r.Quantity == "characteristic_impedance_ohm":
			return pick(CohnStripline(w, b, num("eps_r")))
		}
	case "cpw.csv":
		switch {
		case r.Quantity == "complete_elliptic_integral_K":
			return CompleteK(math.Sqrt(1 - num("parameter_m_equals_k_squared"))), true
		case r.Inputs["k"] == "1/sqrt(2)":
			return pick(Wen(1/math.Sqrt2, (1-1/math.Sqrt2)/2, 1))
		case r.Inputs["substrate"] == "infinite":
			return pick(Wen(num("strip_width_m"), num("gap_m"), num("eps_r")))
		case strings.HasPrefix(r.Inputs["method"], "conformal"):
			return pick(GhioneNaldi(num("strip_width_m"), num("gap_m"), num("substrate_height_m"), num("eps_r"), r.Inputs["conductor_backing"] == "yes"))
		}
	}
	return 0, false
}
