package modematch

import (
	"math"
	"testing"

	"linewright/internal/refcheck"
)

// stepCapacitance is the static capacitance of a plane on its own.
func stepCapacitance(l, r Section) float64 {
	return newPlane(l, r, 4, planeModes(l, r, 4), nil, math.Inf(1)).capacitance()
}

// perCircumference returns the capacitance over the circumference of the
// conductor that does not step, for radii r1 < r2 < r3 in units of r1.
func perCircumference(kind string, alpha, tau float64) float64 {
	r1, r3 := 1e-3, tau*1e-3
	r2 := r3 - alpha*(r3-r1)
	l, r := Section{InnerDiameter: 2 * r1, OuterDiameter: 2 * r3}, Section{InnerDiameter: 2 * r2, OuterDiameter: 2 * r3}
	unstepped := r3
	if kind == "outer" {
		r2 = r1 + alpha*(r3-r1)
		r = Section{InnerDiameter: 2 * r1, OuterDiameter: 2 * r2}
		unstepped = r1
	}
	return stepCapacitance(l, r) / (2 * math.Pi * unstepped)
}

// somlo is the explicit expression of [somlo1967], F/m of circumference.
func somlo(kind string, alpha, tau float64) float64 {
	c := eps0 / 100 / math.Pi * ((alpha*alpha+1)/alpha*math.Log((1+alpha)/(1-alpha)) - 2*math.Log(4*alpha/(1-alpha*alpha)))
	if kind == "inner" {
		c += 1.11e-15 * (1 - alpha) * (tau - 1)
	} else {
		c += 4.12e-15 * (0.8 - alpha) * (tau - 1.4)
	}
	return c * 100
}

// TestStepCapacitances holds every row of coax_step.csv.
func TestStepCapacitances(t *testing.T) {
	for _, r := range refcheck.Rows(t, "coax_step.csv") {
		e := complex(1, 0)
		if r.Has("eps_r") {
			e = complex(r.Num(t, "eps_r"), 0)
		}
		switch r.Quantity {
		case "step_capacitance_F":
			var l, s Section
			switch r.Inputs["step"] {
			case "inner":
				d := r.Num(t, "outer_diameter_m")
				l = Section{InnerDiameter: r.Num(t, "inner_diameter_1_m"), OuterDiameter: d, Permittivity: e}
				s = Section{InnerDiameter: r.Num(t, "inner_diameter_2_m"), OuterDiameter: d, Permittivity: e}
			case "outer":
				d := r.Num(t, "inner_diameter_m")
				l = Section{InnerDiameter: d, OuterDiameter: r.Num(t, "outer_diameter_1_m"), Permittivity: e}
				s = Section{InnerDiameter: d, OuterDiameter: r.Num(t, "outer_diameter_2_m"), Permittivity: e}
			default:
				t.Errorf("%s: step %q is not covered", r.ID, r.Inputs["step"])
				continue
			}
			if r.Has("eps_r_1") {
				l.Permittivity, s.Permittivity = complex(r.Num(t, "eps_r_1"), 0), complex(r.Num(t, "eps_r_2"), 0)
			}
			r.Check(t, stepCapacitance(l, s))
			r.Check(t, stepCapacitance(s, l)) // seen from the other side
		case "open_end_capacitance_F":
			d := r.Num(t, "outer_diameter_m")
			l := Section{InnerDiameter: r.Num(t, "inner_diameter_m"), OuterDiameter: d, Permittivity: e}
			r.Check(t, stepCapacitance(l, Section{OuterDiameter: d, Permittivity: e}))
		case "parallel_plate_step_capacitance_F_per_m":
			// The exact formula of [whinneryjamieson1944] for plates is the
			// limit of the coaxial step at a large radius. The excess over it
			// starts in proportion to gap over radius: extrapolate from two.
			a := r.Num(t, "plate_spacing_ratio")
			const gap = 1e-3
			at := func(radius float64) float64 {
				l := Section{InnerDiameter: 2 * radius, OuterDiameter: 2 * (radius + gap)}
				s := Section{InnerDiameter: 2 * (radius + (1-a)*gap), OuterDiameter: 2 * (radius + gap)}
				return stepCapacitance(l, s) / (2 * math.Pi * (radius + gap))
			}
			r.Within(t, 2*at(0.4)-at(0.2), 2e-6*r.Want(t))
		case "step_capacitance_per_circumference_F_per_m":
			kind, alpha, tau := r.Inputs["step"], r.Num(t, "alpha"), r.Num(t, "tau")
			exact := perCircumference(kind, alpha, tau)
			switch r.Inputs["method"] {
			case "exact":
				r.Check(t, exact)
			case "Somlo fit":
				// the row pins the formula; the formula bounds the solution
				r.Within(t, somlo(kind, alpha, tau), 1e-6*r.Want(t))
				bound := 0.3e-13 // quoted maximum error, 0.3 fF/cm inner
				if kind == "outer" {
					bound = 0.6e-13
				}
				if !(math.Abs(exact-somlo(kind, alpha, tau)) <= bound) {
					t.Errorf("%s: solution %g is outside the fit's quoted error about %g", r.ID, exact, somlo(kind, alpha, tau))
				}
			default:
				t.Errorf("%s: method %q is not covered", r.ID, r.Inputs["method"])
			}
		default:
			t.Errorf("%s: quantity %s is not covered", r.ID, r.Quantity)
		}
	}
}

// TestCapacitanceConverges shows the exponential convergence in the degree of
// the trial functions, an upper bound at each degree, for a large step.
func TestCapacitanceConverges(t *testing.T) {
	l, r := Section{InnerDiameter: 1e-3, OuterDiameter: 7e-3}, Section{InnerDiameter: 4e-3, OuterDiameter: 7e-3}
	var c []float64
	for degree := 1; degree <= 5; degree++ {
		c = append(c, newPlane(l, r, degree, 400, nil, math.Inf(1)).capacitance())
	}
	t.Logf("degrees 1 to 5: %.9g", c)
	for i := range 3 {
		d0, d1 := c[i]-c[i+1], c[i+1]-c[i+2]
		if !(d0 > -1e-8*c[0]) {
			t.Errorf("degree %d raised the capacitance by %.2g of itself", i+2, -d0/c[0])
		}
		if d0 > 1e-7*c[0] && !(d1 < d0/4) {
			t.Errorf("degree %d improves by %.2g, the one before by %.2g", i+3, d1/c[0], d0/c[0])
		}
	}
}
