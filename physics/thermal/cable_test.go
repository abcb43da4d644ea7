package thermal

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// semirigid is a 0.141 inch copper and PTFE cable with its loss at 18 GHz, by
// order of magnitude; no maker's part.
func semirigid() Cable {
	return Cable{
		InnerRadius: 0.46e-3, DielectricRadius: 1.495e-3, OuterRadius: 1.79e-3,
		DielectricConductivity: 0.25, Emissivity: 0.2,
		Loss: Loss{Inner: 0.10, Dielectric: 0.035, Outer: 0.03},
	}
}

// jacketed is the same cable with a fluoropolymer jacket.
func jacketed() Cable {
	c := semirigid()
	c.Layers = []Layer{{OuterRadius: 2.2e-3, Conductivity: 0.2}}
	c.Emissivity = 0.9
	return c
}

func room() Surroundings { return Surroundings{Temperature: 298.15, Pressure: SeaPressure} }

func must(t *testing.T, c Cable, d Drive, s Surroundings) State {
	t.Helper()
	st, err := c.At(d, s)
	if err != nil {
		t.Fatal(err)
	}
	return st
}

// Energy is conserved and the layers' temperature drops are those of the
// resistances, for any cable and any surroundings.
func TestBalance(t *testing.T) {
	const seed = 7
	rng := rand.New(rand.NewPCG(seed, 0))
	u := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	for i := range 300 {
		a := u(0.1e-3, 1e-3)
		b := a * u(2, 4)
		o := b * u(1.05, 1.3)
		c := Cable{InnerRadius: a, DielectricRadius: b, OuterRadius: o, DielectricConductivity: u(0.05, 0.3), Emissivity: u(0.05, 1),
			Loss: Loss{Inner: u(0.01, 0.3), Dielectric: u(0, 0.1), Outer: u(0.01, 0.1), DielectricCoefficient: u(0, 1e-3)}}
		if i%2 == 0 {
			c.Layers = []Layer{{o * 1.1, u(0.03, 0.3)}, {o * 1.4, u(0.1, 0.3)}}
		}
		s := Surroundings{Temperature: u(220, 390), Pressure: u(0, 1) * SeaPressure, Extra: u(0, 3)}
		if i%3 == 0 {
			s.Radiant = u(220, 390)
		}
		if i%5 == 0 {
			s.Vertical = u(0.1, 2)
		}
		d := Drive{Power: u(0, 40), VSWR: u(1, 3)}
		st, err := c.At(d, s)
		if err != nil {
			t.Fatalf("seed %d, case %d: %v", seed, i, err)
		}
		if !(math.Abs(st.Heat()+s.Extra-st.Shed.Total()) <= 1e-6*(1+st.Heat())) {
			t.Errorf("seed %d, case %d: makes %g + %g W/m, sheds %g", seed, i, st.Heat(), s.Extra, st.Shed.Total())
		}
		drop := (st.InnerHeat + st.DielectricHeat/2) * math.Log(b/a) / (2 * math.Pi * c.DielectricConductivity)
		if !(math.Abs(st.Inner-st.Outer-drop) <= 1e-9*(1+drop)) {
			t.Errorf("seed %d, case %d: dielectric drops %g K, want %g", seed, i, st.Inner-st.Outer, drop)
		}
		want := 2 * d.Power * d.VSWR * c.Loss.At(st.Inner, st.Outer).Total()
		if !(math.Abs(st.Heat()-want) <= 1e-6*want) {
			t.Errorf("seed %d, case %d: heat %g W/m is not that of the loss at temperature, %g", seed, i, st.Heat(), want)
		}
	}
}

// In vacuum, with constant loss and no layers, the surface follows the
// fourth-power law in closed form.
func TestVacuumClosedForm(t *testing.T) {
	c := semirigid()
	c.Loss.InnerCoefficient, c.Loss.OuterCoefficient = 1e-300, 1e-300 // constant
	st := must(t, c, Drive{Power: 10}, Surroundings{Temperature: 293.15})
	q := 2 * 10 * c.Loss.Total()
	want := math.Pow(math.Pow(293.15, 4)+q/(c.Emissivity*StefanBoltzmann*math.Pi*c.Diameter()), 0.25)
	if !(math.Abs(st.Surface-want) <= 1e-9) {
		t.Errorf("surface %.9f K, closed form %.9f", st.Surface, want)
	}
	if st.Shed.Convection != 0 {
		t.Errorf("convection %g W/m in vacuum", st.Shed.Convection)
	}
	if st.Cautions[len(st.Cautions)-1] != CautionMultipactor {
		t.Error("vacuum without the word on multipactor")
	}
}

// The half resistance of the dielectric's own heat against a finite-volume
// solution of the radial heat equation with source density ∝ 1/r²: second
// order in the cell size.
func TestDielectricHeatSlow(t *testing.T) {
	const a, b, k, qd = 0.5e-3, 1.6e-3, 0.25, 20.0
	exact := qd / 2 * RadialResistance(a, b, k)
	var last float64
	for _, n := range []int{50, 100, 200} {
		h := (b - a) / float64(n)
		drop, through := 0.0, 0.0
		for i := range n { // from the inner wall outwards: flux at the cell's middle drives its drop
			r0, r1 := a+float64(i)*h, a+float64(i+1)*h
			cell := qd * (r1 - r0) / (0.5 * (r0 + r1)) / math.Log(b/a) // midpoint of ∫ 2πr w dr, w ∝ 1/r²
			drop += (through + cell/2) * h / (2 * math.Pi * k * 0.5 * (r0 + r1))
			through += cell
		}
		e := math.Abs(drop - exact)
		if last != 0 && !(last/e > 3.5) {
			t.Errorf("%d cells: error %g K falls by %.2f, want 4", n, e, last/e)
		}
		last = e
	}
	if !(last <= 1e-3*exact) {
		t.Errorf("finest grid is %g K off the closed form's %g", last, exact)
	}
}

// What every engineer expects: more power, height, ambient, VSWR is hotter; a
// matte jacket is cooler than bare bright metal.
func TestDirections(t *testing.T) {
	base := must(t, semirigid(), Drive{Power: 20}, room())
	hotter := func(name string, st State) {
		t.Helper()
		if !(st.Inner > base.Inner) {
			t.Errorf("%s: inner %.2f K, was %.2f", name, st.Inner, base.Inner)
		}
	}
	hotter("more power", must(t, semirigid(), Drive{Power: 21}, room()))
	high := room()
	high.Pressure = isa(t, 15000).Pressure
	up := must(t, semirigid(), Drive{Power: 20}, high)
	hotter("at 15 km", up)
	if !(up.Shed.Coefficient < base.Shed.Coefficient) {
		t.Errorf("h at 15 km %.2f, at sea level %.2f", up.Shed.Coefficient, base.Shed.Coefficient)
	}
	vac := room()
	vac.Pressure = 0
	if st := must(t, semirigid(), Drive{Power: 20}, vac); !(st.Inner > up.Inner) {
		t.Error("vacuum is not hotter than 15 km")
	}
	warm := room()
	warm.Temperature += 10
	hotter("warmer air", must(t, semirigid(), Drive{Power: 20}, warm))
	hotter("VSWR 1.5", must(t, semirigid(), Drive{Power: 20, VSWR: 1.5}, room()))
	if st := must(t, jacketed(), Drive{Power: 20}, room()); !(st.Inner < base.Inner) {
		t.Errorf("jacketed %.2f K, bare and bright %.2f", st.Inner, base.Inner)
	}
	if cold := must(t, semirigid(), Drive{}, room()); !(math.Abs(cold.Inner-298.15) <= 1e-6) {
		t.Errorf("without power the cable is at %g K", cold.Inner)
	}
}

// A rating is what At confirms, and the limit that binds is named.
func TestRatingInverts(t *testing.T) {
	for _, c := range []Cable{semirigid(), jacketed()} {
		r, err := c.Rating(Limits{Inner: HighPowerLimit}, Drive{VSWR: 1.3}, room())
		if err != nil {
			t.Fatal(err)
		}
		if !(math.Abs(r.State.Inner-HighPowerLimit) <= 1e-5) || r.Limit != "inner conductor" {
			t.Errorf("rating %.3f W: inner %.6f K by %s", r.Power, r.State.Inner, r.Limit)
		}
		touch, err := c.Rating(Limits{Inner: HighPowerLimit, Surface: 333.15}, Drive{VSWR: 1.3}, room())
		if err != nil || touch.Limit != "surface" || !(touch.Power < r.Power) {
			t.Errorf("with a 60 °C surface: %.3f W by %s, %v", touch.Power, touch.Limit, err)
		}
		classical, err := c.ClassicalRating()
		if err != nil || !(math.Abs(classical.State.Inner-358.15) <= 1e-5) {
			t.Errorf("classical rating: inner %.6f K, %v", classical.State.Inner, err)
		}
		if !(classical.Power < r.Power) {
			t.Errorf("30 K rise %.3f W is not below 204 °C, %.3f W", classical.Power, r.Power)
		}
	}
	if _, err := semirigid().Rating(Limits{Inner: 290}, Drive{}, room()); err == nil {
		t.Error("ambient above the limit: no error")
	}
	if _, err := semirigid().Rating(Limits{}, Drive{}, room()); err == nil {
		t.Error("no limit: no error")
	}
}

// A cable whose dielectric gets lossier faster than it can shed heat burns,
// and says so instead of returning a number.
func TestRunaway(t *testing.T) {
	c := semirigid()
	c.Loss.DielectricCoefficient = 0.05
	if _, err := c.At(Drive{Power: 200}, room()); !errors.Is(err, ErrRunaway) {
		t.Errorf("got %v", err)
	}
	r, err := c.Rating(Limits{Inner: 1500}, Drive{}, room())
	if err != nil || !(r.Power > 0) {
		t.Errorf("rating with runaway: %+v, %v", r.Power, err)
	}
}

// The standing wave: mean and worst by averaging |1+ρe^{jθ}|² over a period,
// and the smoothed value between them, against a finite-difference solution of
// the fin with a sinusoidal source.
func TestStandingWave(t *testing.T) {
	for _, s := range []float64{1, 1.2, 1.75, 3} {
		rho := (s - 1) / (s + 1)
		const n = 720
		sum, most := 0.0, 0.0
		for i := range n {
			th := 2 * math.Pi * float64(i) / n
			i2 := (1 + rho*rho + 2*rho*math.Cos(th)) / (1 - rho*rho)
			sum += i2 / n
			most = math.Max(most, i2)
		}
		worst, mean := StandingWave(s)
		if !(math.Abs(worst-most) <= 1e-12*most && math.Abs(mean-sum) <= 1e-12*sum) {
			t.Errorf("VSWR %g: worst %g, mean %g; direct %g, %g", s, worst, mean, most, sum)
		}
		if got := smoothed(s, 0, 0.01); got != worst {
			t.Errorf("VSWR %g without β: %g, want the worst %g", s, got, worst)
		}
		if got := smoothed(s, 1e6, 0.01); !(math.Abs(got-mean) <= 1e-6) {
			t.Errorf("VSWR %g, short wave: %g, want the mean %g", s, got, mean)
		}
	}
	// θ − L² θ″ = mean + ripple cos Kz on one period, cyclic, 400 cells, by
	// Gauss-Seidel would be slow: the discrete mode is an eigenvector, so its
	// amplitude is ripple/(1 + (2L sin(Kh/2)/h)²).
	const beta, fin, n = 800.0, 0.002, 400
	k := 2 * beta
	h := 2 * math.Pi / k / n
	eig := 2 * math.Sin(k*h/2) / h * fin
	worst, mean := StandingWave(2)
	want := mean + (worst-mean)/(1+eig*eig)
	if got := smoothed(2, beta, fin); !(math.Abs(got-want) <= 1e-4) {
		t.Errorf("smoothed factor %g, discrete fin %g", got, want)
	}
	st := must(t, semirigid(), Drive{Power: 20, VSWR: 2, PhaseConstant: 540}, room())
	flat := must(t, semirigid(), Drive{Power: 20, VSWR: 2}, room())
	if !(st.Factor >= mean && st.Factor < worst && flat.Factor == worst) {
		t.Errorf("factors %g and %g, mean %g, worst %g", st.Factor, flat.Factor, mean, worst)
	}
}

func TestCheck(t *testing.T) {
	bad := Cable{InnerRadius: -1, Emissivity: 2, Layers: []Layer{{}}, Loss: Loss{Inner: -1}}
	err := bad.Check()
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok || len(joined.Unwrap()) != 6 {
		t.Errorf("six things are wrong, found: %v", err)
	}
	if err := semirigid().Check(); err != nil {
		t.Error(err)
	}
	for _, c := range []struct {
		d Drive
		s Surroundings
	}{
		{Drive{Power: -1}, room()}, {Drive{Power: math.NaN()}, room()}, {Drive{VSWR: 0.5}, room()},
		{Drive{VSWR: math.NaN()}, room()}, {Drive{}, Surroundings{}}, {Drive{}, Surroundings{Temperature: 300, Pressure: -1}},
	} {
		if _, err := semirigid().At(c.d, c.s); err == nil {
			t.Errorf("%+v: no error", c)
		}
	}
	black := semirigid()
	black.Emissivity = 0
	if _, err := black.At(Drive{}, Surroundings{Temperature: 300}); err == nil {
		t.Error("no way out for the heat, and no error")
	}
}

// The fin between two held ends: it meets them, satisfies ℓ²θ″ = θ, tends to
// the undisturbed state in a long cable and to a straight line in a short one.
func TestAlong(t *testing.T) {
	st := must(t, jacketed(), Drive{Power: 20}, room())
	for _, length := range []float64{0.01 * st.EndLength, 0.3, 3, 300} {
		const first, last = 400.0, 310.0
		if a, b := st.Along(0, length, first, last), st.Along(length, length, first, last); !(math.Abs(a-first) <= 1e-9 && math.Abs(b-last) <= 1e-9) {
			t.Errorf("%g m: ends at %g and %g K", length, a, b)
		}
		h := math.Min(length/10, st.EndLength/50)
		for _, z := range []float64{0.2 * length, 0.5 * length, 0.9 * length} {
			at := func(z float64) float64 { return st.Along(z, length, first, last) - st.Outer }
			curve := (at(z-h) - 2*at(z) + at(z+h)) / (h * h) * st.EndLength * st.EndLength
			if !(math.Abs(curve-at(z)) <= 1e-3*math.Abs(at(z))+1e-6) {
				t.Errorf("%g m at %g: ℓ²θ″ = %g, θ = %g", length, z, curve, at(z))
			}
		}
	}
	if got := st.Along(150, 300, 400, 310); !(math.Abs(got-st.Outer) <= 1e-9) {
		t.Errorf("middle of a long cable: %g K, undisturbed %g K", got, st.Outer)
	}
	l := 1e-3 * st.EndLength
	if got := st.Along(l/4, l, 400, 300); !(math.Abs(got-375) <= 1e-3) {
		t.Errorf("quarter of a short cable: %g K, want 375", got)
	}
}

// Thin air warns where it stops being a continuum beside the cable.
func TestRarefiedWarning(t *testing.T) {
	s := room()
	s.Pressure = 5
	if st := must(t, semirigid(), Drive{Power: 1}, s); len(st.Warnings) == 0 {
		t.Error("5 Pa: no warning")
	}
	if st := must(t, semirigid(), Drive{Power: 20}, room()); len(st.Warnings) != 0 {
		t.Errorf("sea level: %v", st.Warnings)
	}
}

// The bound on porous dielectrics meets its limits, and the parallel and
// series models enclose it.
func TestPorousConductivity(t *testing.T) {
	if got := PorousConductivity(0.25, 0.026, 0); !(math.Abs(got-0.25) <= 1e-15) {
		t.Errorf("solid: %g", got)
	}
	if got := PorousConductivity(0.25, 0.026, 1); !(math.Abs(got-0.026) <= 1e-15) {
		t.Errorf("gas: %g", got)
	}
	for _, p := range []float64{0.1, 0.5, 0.9} {
		k := PorousConductivity(0.25, 0.026, p)
		series, parallel := 1/((1-p)/0.25+p/0.026), (1-p)*0.25+p*0.026
		if !(k > series && k < parallel) {
			t.Errorf("porosity %g: %g outside %g to %g", p, k, series, parallel)
		}
	}
}

// The chain of factors is the product, and the linear rule agrees with the
// heat balance only roughly: at 85 °C instead of 40 °C it stands within 25 %.
func TestDerating(t *testing.T) {
	d := Derating{Frequency: 0.5, Temperature: 0.64, VSWR: 1 / 1.5}
	if got, want := d.Factor(), 0.5*0.64/1.5; !(math.Abs(got-want) <= 1e-15) {
		t.Errorf("factor %g, want %g", got, want)
	}
	rate := func(ambient float64) float64 {
		s := room()
		s.Temperature = ambient
		r, err := jacketed().Rating(Limits{Inner: 438.15}, Drive{}, s)
		if err != nil {
			t.Fatal(err)
		}
		return r.Power
	}
	model, linear := rate(358.15)/rate(313.15), LinearDerating(438.15, 358.15, 313.15)
	if !(math.Abs(model/linear-1) <= 0.25) {
		t.Errorf("model %.3f, linear rule %.3f", model, linear)
	}
}
