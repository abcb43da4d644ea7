package material

import (
	"fmt"
	"math"
	"math/cmplx"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"linewright/internal/refcheck"
)

// roughness_dispersion.csv: all 23 rows.
func TestRoughnessDispersionTable(t *testing.T) {
	for _, r := range refcheck.Rows(t, "roughness_dispersion.csv") {
		switch r.Quantity {
		case "conductor_loss_multiplier":
			delta := func() float64 {
				if r.Inputs["frequency_Hz"] == "infinite" {
					return 1e-30
				}
				sigma := AnnealedCopper // the conductivity of every row that names one
				if r.Has("conductivity_S_per_m") {
					sigma = r.Num(t, "conductivity_S_per_m")
				}
				return SkinDepth(r.Num(t, "frequency_Hz"), sigma)
			}
			var rough Roughness
			switch r.Inputs["model"] {
			case "Hammerstad", "Groiss":
				m, err := ParseRoughnessModel(r.Inputs["model"])
				if err != nil {
					t.Fatal(err)
				}
				if q, ok := r.Inputs["rms_roughness_over_skin_depth"]; ok {
					x, err := strconv.ParseFloat(q, 64)
					if err != nil {
						x = 1e20 // infinite
					}
					r.Check(t, Roughness{Model: m, RMS: x}.AtDepth(1))
					continue
				}
				rough = Roughness{Model: m, RMS: r.Num(t, "rms_roughness_m")}
			case "Huray one size":
				rough = Roughness{Model: Huray, Spheres: []Spheres{{r.Num(t, "sphere_radius_m"), r.Num(t, "number_of_spheres") / r.Num(t, "tile_area_m2")}}}
			case "cannonball-Huray":
				rz := 1e-6
				if r.Has("ten_point_roughness_Rz_m") {
					rz = r.Num(t, "ten_point_roughness_Rz_m")
				}
				rough = Roughness{Model: Cannonball, Rz: rz}
			default:
				t.Errorf("%s: no model %q", r.ID, r.Inputs["model"])
				continue
			}
			if err := rough.Check(); err != nil {
				t.Errorf("%s: %v", r.ID, err)
			}
			r.Check(t, rough.AtDepth(delta()))
		case "complex_relative_permittivity":
			d := Dielectric{Permittivity: r.Num(t, "eps_r_at_f0"), LossTangent: r.Num(t, "tan_delta_at_f0"), FittedAt: r.Num(t, "f0_Hz")}
			r.WithinComplex(t, d.At(r.Num(t, "frequency_Hz")), 1e-7)
		case "permittivity_drop_per_decade":
			r.Check(t, FitWidebandDebye(r.Num(t, "eps_r_at_f0"), r.Num(t, "tan_delta_at_f0"), r.Num(t, "f0_Hz")).PerDecade())
		default:
			t.Errorf("%s: nothing here answers %s", r.ID, r.Quantity)
		}
	}
}

// The trade's check values at 77 GHz in copper, two decimals: skin depth
// 0.238 µm, rms 0.3 µm gives 1.73, 0.5 µm gives 1.90.
func TestRoughnessAt77GHz(t *testing.T) {
	for _, c := range []struct {
		id, value string
		got, tol  float64
	}{
		{"skin depth of copper at 77 GHz, m", "0.238e-6", SkinDepth(77e9, AnnealedCopper), 0.0006e-6},
		{"Hammerstad factor, 0.3 um at 77 GHz", "1.73", Roughness{RMS: 0.3e-6}.Factor(77e9, AnnealedCopper), 0.0051},
		{"Hammerstad factor, 0.5 um at 77 GHz", "1.90", Roughness{RMS: 0.5e-6}.Factor(77e9, AnnealedCopper), 0.0051},
	} {
		row := refcheck.Row{Table: "other", ID: c.id, Quantity: "roughness at 77 GHz", Value: c.value, Source: "1 + (2/π) atan(1.4 (Rq/δ)²), evaluated independently", Status: "computed"}
		row.Within(t, c.got, c.tol)
	}
}

// Identity: Re{H (1+j)} is the real Huray factor, for any spheres. A causal
// factor also has the reactance it needs: H tends to B at low frequency.
func TestHurayComplex(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Roughness{Model: Huray, BaseRatio: rapid.Float64Range(1, 1.5).Draw(t, "base")}
		for range rapid.IntRange(1, 4).Draw(t, "sizes") {
			r.Spheres = append(r.Spheres, Spheres{
				math.Pow(10, rapid.Float64Range(-7.5, -5.5).Draw(t, "radius")),
				math.Pow(10, rapid.Float64Range(10, 13).Draw(t, "density"))})
		}
		delta := math.Pow(10, rapid.Float64Range(-7, -4).Draw(t, "delta"))
		h, ok := r.Complex((1 + 1i) / complex(delta, 0))
		k := r.AtDepth(delta)
		if !ok || !(math.Abs(real(h*(1+1i))-k) <= 1e-13*k) {
			t.Fatalf("Re H(1+j) = %.15g, factor %.15g", real(h*(1+1i)), k)
		}
	})
	r := Roughness{Model: Cannonball, Rz: 3e-6}
	if h, _ := r.Complex(complex(1, 1)); !(cmplx.Abs(h-1) <= 1e-5) {
		t.Errorf("at a skin depth of 1 m the factor is %g, want 1", h)
	}
	if _, ok := (Roughness{RMS: 1e-7}).Complex(1 + 1i); ok {
		t.Error("Hammerstad has no published complex form, yet one is returned")
	}
}

// Property: the factor never falls with frequency, is 1 for deep skins.
func TestRoughnessRises(t *testing.T) {
	for _, r := range []Roughness{{RMS: 4e-7}, {Model: Groiss, RMS: 4e-7}, {Model: Cannonball, Rz: 3e-6},
		{Model: Huray, Spheres: []Spheres{{5e-7, 4e11}}}} {
		last := 1.0
		for f := 1e3; f < 1e13; f *= 1.3 {
			k := r.Factor(f, AnnealedCopper)
			if !(k >= last) {
				t.Errorf("%v: factor falls from %g to %g at %g Hz", r.Model, last, k, f)
			}
			last = k
		}
		if k := r.Factor(1, AnnealedCopper); !(k-1 <= 1e-4) {
			t.Errorf("%v: factor %g at 1 Hz", r.Model, k)
		}
	}
	if k := (Roughness{}).Factor(1e11, 58e6); k != 1 {
		t.Errorf("a smooth surface has factor %g", k)
	}
}

func TestRoughnessCheck(t *testing.T) {
	for _, r := range []Roughness{
		{Model: 9}, {RMS: -1}, {RMS: math.NaN()}, {Rz: 1e-6}, {Model: Cannonball, RMS: 1e-6}, {Model: Groiss, BaseRatio: 2},
		{Model: Huray, BaseRatio: 0.5}, {Model: Huray, Spheres: []Spheres{{0, 1}}}, {Model: Hammerstad, Spheres: []Spheres{{1e-6, 1e11}}},
	} {
		if r.Check() == nil {
			t.Errorf("%+v passes", r)
		}
	}
	if _, err := ParseRoughnessModel("nonsense"); err == nil {
		t.Error("a model named nonsense is known")
	}
	if m, err := ParseRoughnessModel("Cannonball-huray"); err != nil || m != Cannonball {
		t.Errorf("cannonball reads as %v, %v", m, err)
	}
}

func ExampleRoughness_Factor() {
	// What 0.4 µm rms foil costs at 10 and 40 GHz.
	foil := Roughness{RMS: 0.4e-6}
	fmt.Printf("%.2f %.2f\n", foil.Factor(10e9, AnnealedCopper), foil.Factor(40e9, AnnealedCopper))
	// Output: 1.30 1.71
}
