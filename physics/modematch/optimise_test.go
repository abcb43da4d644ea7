package modematch

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"linewright/internal/refcheck"
)

// offsetStep is the compensated step of coax-S10: the outer conductor steps an
// offset after the inner one.
func offsetStep(d1, o1, d2, o2 float64) Body {
	return Body{Sections: []Section{
		{InnerDiameter: d1, OuterDiameter: o1},
		{InnerDiameter: d2, OuterDiameter: o1, Length: 0.1e-3},
		{InnerDiameter: d2, OuterDiameter: o2},
	}}
}

// TestOffsetOptimum finds the offset of the compensated step and holds the
// rows of coax-S10.
func TestOffsetOptimum(t *testing.T) {
	designs := map[float64]*Design{}
	seen := 0
	for _, r := range refcheck.Rows(t, "em_coax.csv") {
		if r.Inputs["case"] != "optimum_offset_of_compensated_step" {
			continue
		}
		seen++
		f := r.Num(t, "frequency_Hz")
		d := designs[f]
		if d == nil {
			body := offsetStep(r.Num(t, "inner_diameter_1_m"), r.Num(t, "outer_diameter_1_m"), r.Num(t, "inner_diameter_2_m"), r.Num(t, "outer_diameter_2_m"))
			var err error
			d, err = Optimise(context.Background(), body, []Variable{
				{Name: "offset", Apply: Length.Of(2), Start: 0.1e-3, Min: 0.02e-3, Max: 0.5e-3},
			}, Goal{Frequencies: []float64{f}}, nil)
			if err != nil {
				t.Fatal(err)
			}
			designs[f] = d
			t.Logf("offset %.9g m, |S11| %.7g, %d evaluations", d.Values[0], d.Nominal, d.Evaluations)
		}
		switch r.Quantity {
		case "offset_min_S11_m":
			// |S11| near its minimum moves by 1e-4 per µm: 1e-5 in S11 is
			// 0.1 µm, the row's own error 0.03 µm
			r.Within(t, d.Values[0], 1e-7)
		case "S11_mag_at_optimum":
			r.Within(t, cmplx.Abs(d.Result.Network.At(0, 0, 0)), 1e-5)
		default:
			t.Errorf("%s: quantity %s is not covered", r.ID, r.Quantity)
		}
	}
	if seen != 2 {
		t.Errorf("%d rows of coax-S10, want 2", seen)
	}
}

// TestOptimiseTolerance: the worst corner is what is made small, it lies on
// the tolerances, and the design is never worse than the start.
func TestOptimiseTolerance(t *testing.T) {
	body := Body{Sections: []Section{
		{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3},
		{InnerDiameter: 1.1e-3, OuterDiameter: 3.5e-3, Permittivity: 2.1, Length: 1.5e-3},
		{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3},
	}}
	variables := []Variable{
		{Name: "pin in the bead", Apply: InnerDiameter.Of(2), Start: 1.1e-3, Min: 0.7e-3, Max: 1.5e-3, Tolerance: 8e-6},
		{Name: "bead length", Apply: Length.Of(2), Start: 1.5e-3, Min: 1.2e-3, Max: 2e-3, Tolerance: 20e-6},
	}
	limit := math.Pow(10, -28./20)
	goal := Goal{Frequencies: sweep(8, 18e9), Limit: func(float64) float64 { return limit }}
	start := &optimiser{ctx: context.Background(), body: body, variables: variables, goal: goal, solver: newSolver()}
	before, _ := start.worst([]float64{1.1e-3, 1.5e-3})
	var steps []Step
	d, err := Optimise(context.Background(), body, variables, goal, func(s Step) { steps = append(steps, s) })
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("start %.3f, nominal %.3f, worst %.3f of the limit, values %v, %d evaluations", before, d.Nominal, d.Worst, d.Values, d.Evaluations)
	if !(d.Worst < before && d.Nominal <= d.Worst && d.Worst < 1) {
		t.Errorf("start %g, nominal %g, worst %g of the limit", before, d.Nominal, d.Worst)
	}
	for i, v := range variables {
		if !(math.Abs(math.Abs(d.Corner[i]-d.Values[i])-v.Tolerance) <= 1e-12) && d.Worst > d.Nominal {
			t.Errorf("%s: corner %g for value %g, tolerance %g", v.Name, d.Corner[i], d.Values[i], v.Tolerance)
		}
	}
	// a brute-force grid about the optimum holds nothing better than 2 %
	for _, di := range []float64{-20e-6, -5e-6, 0, 5e-6, 20e-6} {
		for _, dl := range []float64{-60e-6, -15e-6, 0, 15e-6, 60e-6} {
			x := []float64{d.Values[0] + di, min(max(d.Values[1]+dl, 1.2e-3), 2e-3)}
			if w, _ := start.worst(x); !(w >= 0.98*d.Worst) {
				t.Errorf("%v is better: %g against %g", x, w, d.Worst)
			}
		}
	}
	for i := 1; i < len(steps); i++ {
		if !(steps[i].Worst < steps[i-1].Worst) || steps[i].Evaluations <= steps[i-1].Evaluations {
			t.Errorf("progress %+v after %+v", steps[i], steps[i-1])
		}
	}
	if len(steps) < 2 {
		t.Errorf("%d messages of progress", len(steps))
	}
}

// TestOptimiseManyTolerances uses the collected corner.
func TestOptimiseManyTolerances(t *testing.T) {
	o := &optimiser{ctx: context.Background(), body: tenPlanes(), goal: Goal{Frequencies: []float64{10e9, 30e9}}, solver: newSolver()}
	var x []float64
	for _, s := range []int{2, 3, 4, 6, 8} {
		l := tenPlanes().Sections[s-1].Length
		o.variables = append(o.variables, Variable{Apply: Length.Of(s), Start: l, Min: l / 2, Max: 2 * l, Tolerance: 10e-6})
		x = append(x, l)
	}
	worst, corner := o.worst(x)
	if nominal := o.nominal(x); !(worst > nominal) {
		t.Errorf("worst %g, nominal %g", worst, nominal)
	}
	if again := o.nominal(corner); again != worst {
		t.Errorf("the corner gives %g, not %g", again, worst)
	}
}

func TestOptimiseFaults(t *testing.T) {
	body := offsetStep(1.52e-3, 3.5e-3, 1.27e-3, 2.92e-3)
	offset := Variable{Name: "offset", Apply: Length.Of(2), Start: 0.1e-3, Min: 0.02e-3, Max: 0.5e-3}
	goal := Goal{Frequencies: []float64{20e9}}
	ctx := context.Background()
	if _, err := Optimise(ctx, body, nil, goal, nil); !errors.Is(err, ErrVariables) {
		t.Errorf("no variables: %v", err)
	}
	v := offset
	v.Start = 1
	if _, err := Optimise(ctx, body, []Variable{v}, goal, nil); !errors.Is(err, ErrVariables) {
		t.Errorf("start outside: %v", err)
	}
	if _, err := Optimise(ctx, body, []Variable{offset}, Goal{}, nil); !errors.Is(err, ErrFrequency) {
		t.Errorf("no frequency: %v", err)
	}
	v = offset
	v.Apply = OuterDiameter.Of(2)
	if _, err := Optimise(ctx, body, []Variable{v}, goal, nil); !errors.Is(err, ErrDiameter) {
		t.Errorf("impossible start: %v", err)
	}
	stopped, cancel := context.WithCancel(ctx)
	if _, err := Optimise(stopped, body, []Variable{offset}, goal, func(Step) { cancel() }); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// A step from a 3.5 mm line to a 2.92 mm line, both 50 Ω: how far must the
// outer step trail the inner one, and what is gained?
func ExampleOptimise() {
	step := Body{Sections: []Section{
		{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3},
		{InnerDiameter: 1.27e-3, OuterDiameter: 3.5e-3, Length: 0.02e-3},
		{InnerDiameter: 1.27e-3, OuterDiameter: 2.92e-3},
	}}
	offset := Variable{Name: "offset", Apply: Length.Of(2), Start: 0.02e-3, Min: 0.01e-3, Max: 0.5e-3, Tolerance: 10e-6}
	goal := Goal{Frequencies: []float64{10e9, 20e9, 30e9, 40e9}}
	design, err := Optimise(context.Background(), step, []Variable{offset}, goal, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("offset %.0f µm ± 10 µm\n", design.Values[0]*1e6)
	fmt.Printf("return loss up to 40 GHz: %.0f dB, in the worst corner %.0f dB\n",
		-20*math.Log10(design.Nominal), -20*math.Log10(design.Worst))
	// Output:
	// offset 223 µm ± 10 µm
	// return loss up to 40 GHz: 52 dB, in the worst corner 50 dB
}

func ExampleSolve() {
	// A PTFE bead of 1.5 mm in a 3.5 mm line, its pin undercut for 50 Ω. The
	// reflections are those of reference case coax-S05.
	bead := Body{Sections: []Section{
		{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3},
		{InnerDiameter: 1.0453e-3, OuterDiameter: 3.5e-3, Permittivity: 2.1, Length: 1.5e-3},
		{InnerDiameter: 1.52e-3, OuterDiameter: 3.5e-3},
	}}
	res, err := Solve(context.Background(), bead, []float64{10e9, 18e9, 26.5e9}, Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f Ω lines, %.2f fF at each face\n", res.Ports[0].Impedance, 1e15*res.Planes[0].Capacitance)
	for k, f := range res.Network.Frequency {
		fmt.Printf("%4.1f GHz: return loss %.1f dB\n", f/1e9, -20*math.Log10(cmplx.Abs(res.Network.At(k, 0, 0))))
	}
	// Output:
	// 50.0 Ω lines, 8.41 fF at each face
	// 10.0 GHz: return loss 32.7 dB
	// 18.0 GHz: return loss 30.1 dB
	// 26.5 GHz: return loss 33.2 dB
}
