package verify

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"linewright/hardware/chain"
	"linewright/internal/refcheck"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/units"
)

func TestMain(m *testing.M) { refcheck.Main(m, "job-verify") }

// The rows of measurement.csv on the errors of a measured reflection. The other
// rows are checked where their quantity is computed.
func TestReferenceRows(t *testing.T) {
	elsewhere := map[string]string{
		"passivity_quality_percent": "network", "reciprocity_quality_percent": "network", "causality_quality_percent": "network", "lower_limit_percent": "network",
		"rise_time_10_90_s": "timedomain", "combined_rise_time_s": "timedomain", "impedance_ohm": "timedomain", "tdr_reflection_area_s": "timedomain", "tdr_peak_reflection": "timedomain",
		"half_amplitude_impulse_width_s": "timedomain", "alias_free_length_m": "timedomain", "excess_phase_lag_rad": "timedomain",
		"resistance_ohm": "sample", "resistance_standard_uncertainty_ohm": "sample", "reactance_ohm": "sample", "correlation_R_X": "sample", "intercept_C": "sample", "intercept_standard_uncertainty_C": "sample",
		"slope": "sample", "combined_standard_uncertainty_nm": "sample", "effective_degrees_of_freedom": "sample", "coverage_factor": "sample", "coverage_interval_95_half_width": "sample",
		"expectation": "sample", "standard_uncertainty": "sample", "shortest_95_interval_upper": "sample", "mean_dB": "sample", "standard_uncertainty_of_mean_dB": "sample",
	}
	for _, r := range refcheck.Rows(t, "measurement.csv") {
		switch r.Quantity {
		case "return_loss_error_plus_dB", "return_loss_error_minus_dB":
			// One error wave in the worst phase, through the bound of the uncertainty.
			d, rl := math.Pow(10, -r.Num(t, "directivity_dB")/20), r.Num(t, "return_loss_dB")
			rho := network.FromReturnLoss(rl)
			e := Uncertainty{Residuals: Residuals{Directivity: d, LoadMatch: 1e-12}}.worstReflection(rho, 0)
			if r.Quantity == "return_loss_error_minus_dB" {
				e = -e
			}
			r.Within(t, network.ReturnLoss(rho-e)-rl, 1e-6)
		case "worst_case_uncertainty":
			u := Uncertainty{Residuals: Residuals{Directivity: r.Num(t, "residual_directivity"), SourceMatch: r.Num(t, "residual_source_match"), Tracking: r.Num(t, "residual_tracking")}}
			r.Check(t, u.worstReflection(r.Num(t, "reflection_magnitude"), 0))
		default:
			if elsewhere[r.Quantity] == "" {
				t.Errorf("%s: %s is checked nowhere", r.ID, r.Quantity)
			}
		}
	}
}

// The uncertainty that follows from the residuals is the spread of the exact
// two-port error model, in which each residual has a random phase: a second,
// independent route, by simulation. Source of the model: [rytting2001].
func TestUncertaintyAgainstTheErrorModel(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	res := Residuals{Directivity: 0.01, SourceMatch: 0.02, LoadMatch: 0.015, Tracking: 0.004, Transmission: 0.004, Isolation: 1e-4}
	u := Uncertainty{Residuals: res}
	phase := func(r float64) complex128 { return cmplx.Rect(r, 2*math.Pi*rng.Float64()) }
	for _, s := range []struct{ s11, s21, s22 float64 }{{0.1, 0.8, 0.15}, {0.3, 0.5, 0.05}, {0.05, 0.95, 0.05}} {
		const draws = 40000
		var sumR, sqR, sumT, sqT float64
		for range draws {
			s11, s21, s22 := complex(s.s11, 0), phase(s.s21), phase(s.s22)
			m, l := phase(res.SourceMatch), phase(res.LoadMatch)
			det := (1-m*s11)*(1-l*s22) - m*l*s21*s21
			gamma := phase(res.Directivity) + (1+phase(res.Tracking))*(s11+l*s21*s21/(1-l*s22))/(1-m*(s11+l*s21*s21/(1-l*s22)))
			trans := phase(res.Isolation) + (1+phase(res.Transmission))*s21/det
			dr, dt := cmplx.Abs(gamma)-s.s11, 20*math.Log10(cmplx.Abs(trans)/s.s21)
			sumR, sqR, sumT, sqT = sumR+dr, sqR+dr*dr, sumT+dt, sqT+dt*dt
		}
		sd := func(sum, sq float64) float64 { return math.Sqrt(sq/draws - sum*sum/draws/draws) }
		// The formula is first order: terms of the order of the residuals squared
		// and of D²/ρ remain.
		if got, want := u.ofReflection(s.s11, s.s21*s.s21), sd(sumR, sqR); !(math.Abs(got/want-1) <= 0.03) {
			t.Errorf("ρ %g: u %.5f, the model spreads by %.5f", s.s11, got, want)
		}
		if got, want := u.ofTransmission(s.s11, s.s22, s.s21), sd(sumT, sqT); !(math.Abs(got/want-1) <= 0.03) {
			t.Errorf("S21 %g: u %.5f dB, the model spreads by %.5f dB", s.s21, got, want)
		}
	}
}

// The three rules at their edges, w = U: readings inside by w, at the limit, and
// outside by w [ilacg8].
func TestRules(t *testing.T) {
	u := Uncertainty{Transmission: 0.1}
	for _, c := range []struct {
		rule Rule
		loss float64 // the limit is 1 dB
		want assess.Verdict
	}{
		{Simple, 0.999, assess.Meets}, {Simple, 1.001, assess.Fails},
		{Guarded, 0.899, assess.Meets}, {Guarded, 0.901, assess.Fails}, {Guarded, 1.2, assess.Fails},
		{ThreeWay, 0.899, assess.Meets}, {ThreeWay, 0.901, assess.AtRisk}, {ThreeWay, 1.099, assess.AtRisk}, {ThreeWay, 1.101, assess.Fails},
	} {
		p := plan(t, asked(1e9, 2e9, 1, 3), jumper(0.2, 1.15), Options{Rule: c.rule, Uncertainty: u, Copies: -1})
		r := judge(t, p, flat(c.loss, 0.05))
		m := r.Margins[0]
		if m.Verdict != c.want || !(math.Abs(m.Margin.Margin-(1-c.loss)) <= 1e-9) {
			t.Errorf("%s at %g dB: %v, margin %g; want %v", c.rule, c.loss, m.Verdict, m.Margin.Margin, c.want)
		}
		// At the edge of the guard band one in 44 lies outside: Φ(−2).
		if c.loss == 0.899 && !(math.Abs(m.Inside-0.978) <= 0.001) {
			t.Errorf("chance inside %g, want 0.978", m.Inside)
		}
		// Reflection has no stated uncertainty: only the simple rule judges it.
		if v := r.Margins[1].Verdict; (v == assess.NotAssessed) != (c.rule != Simple) {
			t.Errorf("%s judges a reflection of unknown uncertainty %v: %s", c.rule, v, r.Margins[1].Why)
		}
	}
	if d := plan(t, asked(1e9, 2e9, 1, 3), jumper(0.2, 1.15), Options{Copies: -1}).Decision; d.Rule != Simple || !d.Default {
		t.Errorf("%+v", d)
	}
	if d := plan(t, asked(1e9, 2e9, 1, 3), jumper(0.2, 1.15), Options{Uncertainty: u, Copies: -1}).Decision; d.Rule != ThreeWay || !d.Default {
		t.Errorf("%+v", d)
	}
}

// flat is a two-port of one loss, in dB, and one reflection at both ends.
func flat(loss, rho float64) network.Network {
	n := network.New(2, sweep(0.5e9, 20e9, 196), 50)
	for k, f := range n.Frequency {
		s := cmplx.Rect(math.Pow(10, -loss/20), -2*math.Pi*f*0.9e-9)
		n.Set(k, 1, 0, s)
		n.Set(k, 0, 1, s)
		n.Set(k, 0, 0, complex(rho, 0))
		n.Set(k, 1, 1, complex(rho, 0))
	}
	return n
}

// A limit is judged where it holds, corner by corner, and not where it does not.
func TestMaskSegments(t *testing.T) {
	e := asked(1e9, 10e9, 1, 3)
	e.Limits = enquiry.Limits{ReturnLoss: []enquiry.ReturnLossLimit{{Mask: []enquiry.MaskPoint{{At: 1e9, Level: 30}, {At: 4e9, Level: 24}, {At: 10e9, Level: 24}}}}}
	p := plan(t, e, jumper(0.2, 1.15), Options{Copies: -1})
	r := judge(t, p, flat(0.5, network.FromReturnLoss(28)))
	m := r.Margins[0]
	if len(m.Segments) != 2 || !(math.Abs(m.Segments[0].Margin+2) <= 1e-9) || !(math.Abs(m.Segments[1].Margin-4) <= 1e-9) || m.Segments[0].At != 1e9 {
		t.Fatalf("%+v", m.Segments)
	}
	if m.Verdict != assess.Fails || m.At != 1e9 || m.Trace != "S11" || r.Margins[1].Trace != "S22" {
		t.Errorf("%+v", m)
	}
	// The corner at 4 GHz lies between no two readings of this sweep, but the band's
	// end does: 10.05 GHz is no reading, and the value there is interpolated.
	e.Band[0].To = 10.05e9
	e.Limits.ReturnLoss[0].Mask[2].At = 10.05e9
	if m := judge(t, plan(t, e, jumper(0.2, 1.15), Options{Copies: -1}), flat(0.5, network.FromReturnLoss(28))).Margins[0]; !(math.Abs(m.Segments[1].Margin-4) <= 1e-9) {
		t.Errorf("%+v", m.Segments)
	}
	// Beyond the file it is not assessed, unless it fails already.
	e.Band[0].To, e.Limits.ReturnLoss[0].Mask[2].At = 30e9, 30e9
	p = plan(t, e, jumper(0.2, 1.15), Options{Copies: -1})
	if m := judge(t, p, flat(0.5, 0.001)).Margins[0]; m.Verdict != assess.NotAssessed || !strings.Contains(m.Why, "the file covers") {
		t.Errorf("%v: %s", m.Verdict, m.Why)
	}
	if m := judge(t, p, flat(0.5, 0.5)).Margins[0]; m.Verdict != assess.Fails {
		t.Errorf("%v: %s", m.Verdict, m.Why)
	}
}

// A reading at 23 °C is carried to the limit's temperature by the law of the
// parts' losses, and without a temperature it is not judged. The factor is that
// of copper, √((1+0.00393·65)/(1+0.00393·3)) from 23 to 85 °C.
func TestTemperatureIsCarried(t *testing.T) {
	e := asked(1e9, 16e9, 2, 3)
	e.Environment.MaxTemperature = ptr(units.Celsius(85))
	if m := judge(t, plan(t, e, jumper(1, 1.15), Options{Copies: -1}), flat(1, 0.01)).Margins[0]; m.Verdict != assess.NotAssessed {
		t.Errorf("%v: %s", m.Verdict, m.Why)
	}
	p := plan(t, e, jumper(1, 1.15), Options{Copies: -1, Temperature: ptr(units.Celsius(23))})
	m := judge(t, p, flat(1, 0.01)).Margins[0]
	// All of the loss is the conductors': (0.3 + 2·0.03)·√16 dB at 25 °C.
	at25 := 0.36 * 4
	r := func(c float64) float64 { return math.Sqrt((1 + 0.00393*(c-20)) / (1 + 0.00393*5)) }
	want := 1 + at25*(r(85)-r(23))
	if !(math.Abs(m.Worst-want) <= 2e-3) || m.At != 16e9 {
		t.Errorf("reads %g at %v, want %g", m.Worst, m.At, want)
	}
}

// The planes of a file must be the chain's.
func TestPlanes(t *testing.T) {
	c := chain.Chain{LeftPlane: "mating plane of the near connector", RightPlane: "mating plane of the far connector"}
	for _, x := range []struct {
		p      Planes
		turned bool
		fault  int // port; −1: both or none
	}{
		{Planes{"Mating plane, near connector", "mating plane of far connector"}, false, 0},
		{Planes{"mating plane of the far connector", "mating plane of the near connector"}, true, 0},
		{Planes{}, false, -1},
		{Planes{"mating plane of the near connector", "solder edge"}, false, 2},
		{Planes{"solder edge", "mating plane of the far connector"}, false, 1},
		{Planes{"mating plane of the near connector", ""}, false, 2},
	} {
		turned, err := CheckPlanes(c, x.p)
		var e *PlaneError
		switch {
		case x.fault == 0 && (err != nil || turned != x.turned):
			t.Errorf("%+v: %v, %v", x.p, turned, err)
		case x.fault != 0 && (!errors.As(err, &e) || e.Help == "" || x.fault > 0 && e.Port != x.fault):
			t.Errorf("%+v: %v", x.p, err)
		}
	}
	if _, err := CheckPlanes(chain.Chain{}, Planes{"a", "b"}); err == nil {
		t.Error("a chain without planes is compared")
	}
}

// Two reflections on a loss of the fitted form leave their ripple, 20 log (1+x)/(1−x) peak to peak with x = Γ₁Γ₂ ([pozar2012] §2.4).
func TestRippleOfTwoReflections(t *testing.T) {
	f := sweep(1e9, 18e9, 3401)
	loss, want := make([]float64, len(f)), 0.0
	for i, x := range f {
		loss[i] = 0.1 + 0.3*math.Sqrt(x/1e9) + 0.02*x/1e9 + 1e-4*x*x/1e18
	}
	const x = 0.1 * 0.1
	for i := range f {
		loss[i] += 20 * math.Log10(cmplx.Abs(1-x*cmplx.Exp(complex(0, -4*math.Pi*f[i]*1e-9))))
	}
	want = 20 * math.Log10((1+x)/(1-x))
	e := asked(1e9, 18e9, 9, 3)
	e.Limits = enquiry.Limits{Ripple: []enquiry.RippleLimit{{AtMost: 0.2, Window: ptr(units.Frequency(1e9))}, {AtMost: 0.1}, {AtMost: 0.2, Window: ptr(units.Frequency(1e6))}}}
	n := network.New(2, f, 50)
	for k := range f {
		s := cmplx.Rect(math.Pow(10, -loss[k]/20), -2*math.Pi*f[k]*1e-9)
		n.Set(k, 1, 0, s)
		n.Set(k, 0, 1, s)
	}
	r := judge(t, plan(t, e, jumper(0.2, 1.15), Options{Copies: -1}), n)
	if m := r.Margins[0]; m.Verdict != assess.Meets || !(math.Abs(m.Worst-want) <= 0.003*want+2e-3) {
		t.Errorf("%+v, want %g", m, want)
	}
	if m := r.Margins[1]; m.Verdict != assess.Fails || !(math.Abs(r.Ripple.PeakToPeak-m.Worst) <= 1e-12) {
		t.Errorf("%+v, ripple of the band %+v", m, r.Ripple)
	}
	if m := r.Margins[2]; m.Verdict != assess.NotAssessed { // the window is finer than the readings
		t.Errorf("%+v", m)
	}
}

// What a two-port does not show is not assessed, and says why.
func TestWhatAFileDoesNotShow(t *testing.T) {
	e := asked(1e9, 10e9, 1, 3)
	e.Limits.Mass = ptr(units.Mass(0.1))
	e.Limits.Price = &units.Money{Micros: 1e7, Currency: "EUR"}
	e.Limits.Isolation = []enquiry.IsolationLimit{{AtLeast: 60}}
	e.Limits.InsertionLoss[0].Of = enquiry.OfLaunch
	e.Match = &enquiry.Match{Phase: ptr(units.Angle(0.1))}
	r := judge(t, plan(t, e, jumper(0.2, 1.15), Options{Copies: -1}), flat(0.5, 0.01))
	seen := map[string]bool{}
	for _, m := range r.Margins {
		seen[m.Limit] = true
		switch m.Limit {
		case "mass", "price", "isolation", "insertion loss of the launch", "match":
			if m.Verdict != assess.NotAssessed || m.Why == "" {
				t.Errorf("%s: %v, %q", m.Limit, m.Verdict, m.Why)
			}
		}
	}
	if len(seen) != 7 || r.Verdict != assess.NotAssessed {
		t.Errorf("%v, verdict %v", seen, r.Verdict)
	}
}

// A set's width is the difference of its longest and shortest; with each one's
// own delay taken off nothing of pure length remains.
func TestSet(t *testing.T) {
	e := asked(2e9, 18e9, 3, 3)
	e.Match = &enquiry.Match{Kind: enquiry.Relative, Phase: ptr(units.Angle(5 * math.Pi / 180)), At: ptr(units.Frequency(10e9)), SetSize: ptr(3)}
	p := plan(t, e, jumper(0.2, 1.15), Options{Copies: -1})
	rng := rand.New(rand.NewPCG(9, 9))
	f := sweep(0.1e9, 18e9, 1791)
	run := func(lengths ...float64) SetReport {
		s := p.NewSet()
		for i, l := range lengths {
			x := truth{length: l, loss: [3]float64{1, 1, 1}}
			s.Add(fmt.Sprint(i), f, judge(t, p, x.make(f, rng)))
		}
		return s.Report()
	}
	r := run(0.2, 0.2003, 0.1999)
	// The skin effect adds a little phase to the extra length: 0.05 % of it here.
	want := 0.4e-3 / (velocity * 299792458) // s
	if !(math.Abs(r.Width.Seconds-want) <= 1e-15) || r.Longest.Name != "1" || r.Shortest.Name != "2" {
		t.Errorf("%+v, want %g s", r, want)
	}
	if !(math.Abs(r.Width.Degrees-360*10e9*want) <= 4e-3) || !(math.Abs(r.Width.Metres-0.4e-3) <= 5e-7) {
		t.Errorf("%+v", r.Width)
	}
	if !(r.Absolute.Degrees > 1.7*r.Width.Degrees) || r.AbsoluteAt != 18e9 || !(r.Flat.Degrees <= 0.05) {
		t.Errorf("absolute %+v at %v, flat %+v", r.Absolute, r.AbsoluteAt, r.Flat)
	}
	// 5 deg at 10 GHz is 1.39 ps either way, 2.78 ps in all; the set is 1.61 ps wide.
	if m := r.Match; m == nil || m.Verdict != assess.Meets || !(math.Abs(m.LimitValue-2.7778) <= 1e-3) {
		t.Errorf("%+v", m)
	}
	if m := run(0.2, 0.201, 0.2).Match; m.Verdict != assess.Fails {
		t.Errorf("%+v", m)
	}
	// 0.1 dB of expanded uncertainty is 0.66 deg of each phase: √2 of that at
	// 10 GHz is 0.259 ps.
	p = plan(t, e, jumper(0.2, 1.15), Options{Copies: -1, Uncertainty: Uncertainty{Transmission: 0.1}})
	if m := run(0.2, 0.2003, 0.1999).Match; !(math.Abs(m.Guard-0.2591) <= 1e-3) || m.Verdict != assess.Meets {
		t.Errorf("%+v", m)
	}
	p = plan(t, e, jumper(0.2, 1.15), Options{Copies: -1})
	if m := run(0.2, 0.2).Match; m.Verdict != assess.NotAssessed {
		t.Errorf("two of three: %+v", m)
	}
}

// What cannot be judged is an error that says what to do.
func TestRefusals(t *testing.T) {
	p := plan(t, asked(1e9, 2e9, 1, 3), jumper(0.2, 1.15), Options{Copies: -1})
	for name, n := range map[string]network.Network{"one port": network.New(1, sweep(1e9, 2e9, 11), 50), "one point": network.New(2, []float64{1e9}, 50)} {
		if _, err := p.Judge(t.Context(), n); err == nil {
			t.Errorf("%s: judged", name)
		}
	}
	b := jumper(0.2, 1.15)
	for name, o := range map[string]Options{"rule": {Rule: "lenient"}, "guard": {Guard: -1}, "uncertainty": {Uncertainty: Uncertainty{Transmission: -1}}, "residual": {Uncertainty: Uncertainty{Residuals: Residuals{Directivity: 40}}}} {
		if _, err := New(t.Context(), asked(1e9, 2e9, 1, 3), b, o); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	// A sweep too coarse for the time domain says so and judges the rest.
	x := truth{length: 0.2, loss: [3]float64{1, 1, 1}}
	r := judge(t, p, x.make(sweep(1e9, 2e9, 5), nil))
	if r.Along != nil || r.NotAlong == "" || r.Margins[0].Verdict == assess.NotAssessed {
		t.Errorf("%q, %v", r.NotAlong, r.Margins[0].Verdict)
	}
}

// A piece that is known by a file is known no further than it: a sweep that
// starts below is judged all the same, the ends held.
func TestSweepBeyondAPiece(t *testing.T) {
	e := asked(2e9, 16e9, 1.2, 1.6)
	x := truth{length: 0.2, loss: [3]float64{1, 1, 1}, near: 10e-15, far: 10e-15, bead: 80e-15, beadAt: 83e-3, noise: 1e-4}
	b := jumper(0.2, 1.15)
	k := network.Line(sweep(2e9, 16e9, 141), 50, func(f float64) (complex128, complex128) {
		return complex(0.0035*math.Sqrt(f/1e9), 2*math.Pi*f*12e-3/299792458), 50
	})
	b.Elements[0] = chain.File{Where: "near connector", Spec: chain.FileSpec{Path: "k.s2p", Planes: "both", Network: &k}}
	p := plan(t, e, b, Options{Uncertainty: Uncertainty{Residuals: Residuals{Directivity: 0.01, Transmission: 0.005}}})
	r := judge(t, p, x.make(sweep(10e6, 18e9, 1800), rand.New(rand.NewPCG(1, 2))))
	if r.Margins[0].Verdict != assess.Meets || r.Along == nil || r.Along.Difference == nil || !(math.Abs(r.Along.Difference.Position-83e-3) <= r.Along.Difference.Within) {
		t.Errorf("%v %q %+v", r.Margins[0].Verdict, r.NotAlong, r.Along)
	}
	if len(p.Notes) != 3 || !strings.Contains(p.Notes[1], "load match") {
		t.Errorf("%q", p.Notes)
	}
	// A file that ends inside the band cannot be predicted there.
	short := network.Line(sweep(2e9, 10e9, 81), 50, func(f float64) (complex128, complex128) { return complex(0, 2*math.Pi*f*40e-12), 50 })
	b.Elements[0] = chain.File{Where: "near connector", Spec: chain.FileSpec{Path: "k.s2p", Planes: "both", Network: &short}}
	p = plan(t, e, b, Options{})
	if _, err := p.Judge(t.Context(), x.make(sweep(10e6, 18e9, 901), rand.New(rand.NewPCG(1, 2)))); err == nil || p.NoBand == "" {
		t.Errorf("predicted beyond what is known: %v, %q", err, p.NoBand)
	}
}
