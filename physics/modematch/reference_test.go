package modematch

import (
	"context"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sort"
	"strings"
	"testing"

	"linewright/internal/refcheck"
)

func TestMain(m *testing.M) { refcheck.Main(m, "physics-modematch") }

var long = flag.Bool("long", false, "run the long studies")

// rowBody builds the body that a row of em_coax.csv describes.
func rowBody(t *testing.T, r refcheck.Row) Body {
	t.Helper()
	if !r.Has("n_sections") {
		switch r.Inputs["case"] {
		case "coax_bead_no_compensation":
			d, o := r.Num(t, "inner_diameter_m"), r.Num(t, "outer_diameter_m")
			return Body{Sections: []Section{
				{InnerDiameter: d, OuterDiameter: o},
				{InnerDiameter: d, OuterDiameter: o, Permittivity: complex(r.Num(t, "bead_eps_r"), 0), Length: r.Num(t, "bead_length_m")},
				{InnerDiameter: d, OuterDiameter: o},
			}}
		case "coax_open_in_extended_shield":
			d, o := r.Num(t, "inner_diameter_m"), r.Num(t, "outer_diameter_m")
			e := complex(r.Num(t, "eps_r"), 0)
			return Body{Sections: []Section{{InnerDiameter: d, OuterDiameter: o, Permittivity: e}, {OuterDiameter: o, Permittivity: e}}}
		}
		t.Fatalf("%s: no such case %s", r.ID, r.Inputs["case"])
	}
	n := int(r.Num(t, "n_sections"))
	var b Body
	for k := 1; k <= n; k++ {
		at := fmt.Sprintf("s%d_", k)
		s := Section{
			InnerDiameter: r.Num(t, at+"inner_diameter_m"),
			OuterDiameter: r.Num(t, at+"outer_diameter_m"),
			Permittivity:  complex(r.Num(t, at+"eps_r"), 0),
		}
		if k > 1 && k < n {
			s.Length = r.Num(t, at+"length_m")
		}
		b.Sections = append(b.Sections, s)
	}
	return b
}

// TestAgainstIndependentSolutions holds every row of em_coax.csv to 1e-5 in S
// on top of the row's own error.
func TestAgainstIndependentSolutions(t *testing.T) {
	groups := map[string][]refcheck.Row{}
	for _, r := range refcheck.Rows(t, "em_coax.csv") {
		if r.Inputs["case"] == "optimum_offset_of_compensated_step" {
			continue // in TestOffsetOptimum
		}
		id := strings.SplitN(r.ID, ".", 2)[0]
		groups[id] = append(groups[id], r)
	}
	var ids []string
	for id := range groups {
		ids = append(ids, id)
	}
	sort.Strings(ids)
	for _, id := range ids {
		t.Run(id, func(t *testing.T) {
			rows := groups[id]
			b := rowBody(t, rows[0])
			var fs []float64
			for _, r := range rows {
				if r.Has("frequency_Hz") {
					if f := r.Num(t, "frequency_Hz"); !slices.Contains(fs, f) {
						fs = append(fs, f)
					}
				}
			}
			slices.Sort(fs)
			_, all := rows[0].Inputs["modes_port1"]
			res, err := Solve(context.Background(), b, fs, Options{AllModes: all})
			if err != nil {
				t.Fatal(err)
			}
			port := func(name string) int { // p1.TEM
				for i, p := range res.Ports {
					if name == fmt.Sprintf("p%d.%s", p.End, p.Mode) {
						return i
					}
				}
				t.Fatalf("no port %s", name)
				return 0
			}
			worst := 0.0
			for _, r := range rows {
				var s complex128
				var own float64 // the row's own error
				fmt.Sscan(r.Tolerance, &own)
				if r.Has("frequency_Hz") {
					k := slices.Index(fs, r.Num(t, "frequency_Hz"))
					to, from := 0, 0
					switch {
					case strings.HasPrefix(r.Quantity, "S21"):
						to = 1
					case strings.HasPrefix(r.Quantity, "S22"):
						to, from = 1, 1
					case strings.HasPrefix(r.Quantity, "mag_S("):
						x, y, _ := strings.Cut(strings.TrimSuffix(strings.TrimPrefix(r.Quantity, "mag_S("), ")"), "<-")
						to, from = port(x), port(y)
					}
					s = res.Network.At(k, to, from)
				}
				const target = 1e-5
				switch {
				case strings.HasSuffix(r.Quantity, "_mag") || strings.HasPrefix(r.Quantity, "mag_S("):
					worst = max(worst, math.Abs(cmplx.Abs(s)-r.Want(t)))
					r.Within(t, cmplx.Abs(s), target+own)
				case strings.HasSuffix(r.Quantity, "_deg"):
					got := cmplx.Phase(s) * 180 / math.Pi
					got += 360 * math.Round((r.Want(t)-got)/360)
					worst = max(worst, math.Abs(got-r.Want(t))*math.Pi/180*cmplx.Abs(s))
					r.Within(t, got, target/cmplx.Abs(s)*180/math.Pi+own)
				case r.Quantity == "C_step_static_F" || r.Quantity == "C_open_static_F":
					r.Within(t, res.Planes[0].Capacitance, 1e-5*r.Want(t)+own)
				case r.Quantity == "C_step_static_published_fit_F":
					r.Within(t, res.Planes[0].Capacitance, own)
				default:
					t.Errorf("%s: quantity %s is not covered", r.ID, r.Quantity)
				}
			}
			t.Logf("worst %.2g, estimated %.2g, unitarity %.2g, modes %d, functions %d", worst, res.EstimatedError, res.UnitarityError, res.ModesUsed, res.FunctionsUsed)
		})
	}
}
