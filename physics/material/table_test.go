package material

import (
	"fmt"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

// The reference table's names of materials, and what ours calls them. Two of
// its rows say "aluminium" and mean the electrical grade: their values
// contradict the pure metal's row by 9 %.
var ourName = map[string]string{
	"copper":                              "copper",
	"copper pure":                         "copper",
	"copper, polished":                    "copper",
	"copper, oxidised":                    "copper",
	"annealed copper":                     "copper",
	"silver":                              "silver",
	"aluminium":                           "aluminium",
	"tungsten":                            "tungsten",
	"stainless steel":                     "stainless steel 304",
	"stainless steel 301":                 "stainless steel 304",
	"stainless steel 303/304":             "stainless steel 304",
	"stainless steel 304":                 "stainless steel 304",
	"annealed copper, IACS 100 %":         "copper",
	"brass (unspecified alloy)":           "free-cutting brass C36000",
	"free-cutting brass C36000, annealed": "free-cutting brass C36000",
	"brass C36000":                        "free-cutting brass C36000",
	"beryllium copper C17200":             "beryllium copper C17200",
	"beryllium copper C17200, aged":       "beryllium copper C17200",
	"Fe-36Ni low-expansion alloy":         "Fe-36Ni",
	"PTFE, expanded or low density (70-85 % velocity)": "PTFE, low density",
	"PTFE solid, 25-100 C":                             "PTFE",
	"PTFE surface":                                     "PTFE",
	"FR-4 in plane":                                    "FR-4",
	"PTFE/ceramic laminate in plane":                   "laminate: PTFE/ceramic",
}

// materials.csv: all 62 rows, under their own tolerances.
func TestMaterialsTable(t *testing.T) {
	for _, r := range refcheck.Rows(t, "materials.csv") {
		name := r.Inputs["material"]
		if name == "" {
			name = r.Inputs["surface"]
		}
		if n, ok := ourName[name]; ok {
			name = n
		}
		if r.ID == "materials-d011" || r.ID == "materials-d016" {
			name = "aluminium, electrical grade"
		}
		metal, notMetal := FindMetal(name)
		diel, notDielectric := FindDielectric(name)
		if notMetal != nil && notDielectric != nil && name != "dry air" {
			t.Errorf("%s: no material %q", r.ID, name)
			continue
		}
		pick := func(a, b Datum) Datum {
			if notMetal == nil {
				return a
			}
			return b
		}
		var d Datum
		switch r.Quantity {
		case "conductivity_S_per_m":
			d = metal.Conductivity
		case "conductivity_percent_IACS":
			d = metal.Conductivity
			d.Value *= 100 / AnnealedCopper
		case "relative_permittivity":
			if name == "dry air" {
				r.Check(t, AirPermittivity(273.15+r.Num(t, "temperature_C"), r.Num(t, "pressure_Pa"), 0))
				continue
			}
			d = diel.Permittivity
			if diel.Frequency != r.Num(t, "frequency_Hz") {
				t.Errorf("%s: our value stands at %g Hz", r.ID, diel.Frequency)
			}
		case "loss_tangent":
			d = diel.LossTangent
		case "linear_expansion_per_K":
			d = pick(metal.Expansion, diel.Expansion)
		case "thermal_conductivity_W_per_m_K":
			d = pick(metal.ThermalConductivity, diel.ThermalConductivity)
		case "total_emissivity":
			d = pick(metal.PolishedEmissivity, diel.Emissivity)
			if strings.HasSuffix(r.Inputs["surface"], "oxidised") {
				d = metal.OxidisedEmissivity
			}
		case "transition_temperature_C":
			r.Check(t, PTFELowerTransition-273.15)
			continue
		default:
			t.Errorf("%s: nothing here answers %s", r.ID, r.Quantity)
			continue
		}
		if !d.Known() {
			t.Errorf("%s: our table has no %s of %s", r.ID, r.Quantity, name)
			continue
		}
		r.Check(t, d.Value)
	}
}

// Every number that the tables give says where it is from, and makes sense.
func TestTablesCarrySources(t *testing.T) {
	check := func(name, what string, d Datum, low, high float64) {
		if !d.Known() {
			if d != (Datum{}) {
				t.Errorf("%s: %s has values but no status", name, what)
			}
			return
		}
		if d.Source == "" && d.Status != CommonPractice {
			t.Errorf("%s: %s has no source", name, what)
		}
		if !(d.Value > low && d.Value < high) || !(d.Spread > 0 && d.Spread < 1) {
			t.Errorf("%s: %s is %g ± %g, outside %g to %g", name, what, d.Value, d.Spread, low, high)
		}
	}
	seen := map[string]bool{}
	for _, m := range Metals() {
		check(m.Name, "conductivity", m.Conductivity, 1e5, 64e6)
		check(m.Name, "temperature coefficient", m.TemperatureCoefficient, 0, 0.007)
		check(m.Name, "expansion", m.Expansion, 0, 30e-6)
		check(m.Name, "thermal conductivity", m.ThermalConductivity, 5, 430)
		check(m.Name, "emissivity", m.PolishedEmissivity, 0, 1)
		check(m.Name, "emissivity", m.OxidisedEmissivity, 0, 1)
		for _, n := range append([]string{m.Name}, m.Aliases...) {
			if seen[n] {
				t.Errorf("the name %q stands twice", n)
			}
			seen[n] = true
			if got, err := FindMetal(strings.ToUpper(n)); err != nil || got.Name != m.Name {
				t.Errorf("FindMetal(%q) = %q, %v", n, got.Name, err)
			}
		}
	}
	for _, d := range Dielectrics() {
		check(d.Name, "permittivity", d.Permittivity, 1, 20)
		check(d.Name, "loss tangent", d.LossTangent, 0, 0.05)
		check(d.Name, "expansion", d.Expansion, 0, 2e-4)
		check(d.Name, "thermal conductivity", d.ThermalConductivity, 0.1, 50)
		check(d.Name, "emissivity", d.Emissivity, 0, 1)
		if d.Permittivity.Known() && d.Frequency == 0 {
			t.Errorf("%s: permittivity without a frequency", d.Name)
		}
		for _, n := range append([]string{d.Name}, d.Aliases...) {
			if seen[n] {
				t.Errorf("the name %q stands twice", n)
			}
			seen[n] = true
		}
	}
	if _, err := FindMetal("unobtainium"); err == nil || !strings.Contains(err.Error(), "copper") {
		t.Errorf("the error for an unknown metal is %v", err)
	}
}

func ExampleFindMetal() {
	brass, _ := FindMetal("brass")
	fmt.Printf("%s: %.3g S/m, %s\n", brass.Name, brass.Conductivity.Value, brass.Conductivity.Status)
	_, err := FindDielectric("rubber")
	fmt.Println(strings.HasPrefix(err.Error(), `no dielectric "rubber" in the table; it holds PTFE`))
	// Output:
	// free-cutting brass C36000: 1.51e+07 S/m, published
	// true
}
