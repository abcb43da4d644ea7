package line

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"strings"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/material"

	"pgregory.net/rapid"
)

// An n-point rule integrates the Legendre polynomials up to degree 2n−1: two for
// the first, nothing for the others.
func TestLegendreRule(t *testing.T) {
	for n := 1; n <= 64; n++ {
		x, w := legendreRule(n)
		sum := make([]float64, 2*n)
		leg := make([]float64, 2*n)
		for i := range x {
			legendre(x[i], leg)
			for k := range leg {
				sum[k] += w[i] * leg[k]
			}
		}
		sum[0] -= 2
		for k, v := range sum {
			if !(math.Abs(v) <= 1e-13) {
				t.Errorf("%d points, degree %d: off by %g", n, k, v)
			}
		}
	}
}

// Onsets of other waves, TM0 index and open-end extension: board.csv.
func TestBoardRows(t *testing.T) {
	for _, r := range refcheck.Rows(t, "board.csv") {
		num := func(name string) float64 { return r.Num(t, name) }
		var got float64
		switch r.Quantity {
		case "te1_surface_wave_onset_Hz":
			got = SurfaceWaveTE1(num("substrate_height_m"), num("eps_r"))
		case "tm0_coupling_frequency_Hz":
			got = SurfaceWaveTM0Coupling(num("substrate_height_m"), num("eps_r"))
		case "transverse_resonance_Hz":
			if r.Inputs["method"] == "2W+h" {
				// the other textbook's rule, whose 0.8 is 1: a height 1.25 times as large
				got = TransverseResonance(num("strip_width_m"), 1.25*num("substrate_height_m"), num("eps_r"))
				break
			}
			got = TransverseResonance(num("strip_width_m"), num("substrate_height_m"), num("eps_r"))
		case "getsinger_fp_Hz":
			got = GetsingerScale(num("characteristic_impedance_ohm"), num("substrate_height_m"))
		case "parallel_plate_mode_onset_Hz":
			got = ParallelPlateOnset(num("substrate_height_m"), num("eps_r"))
		case "tm0_effective_index":
			got = SurfaceWaveTM0Index(num("frequency_Hz"), num("substrate_height_m"), num("eps_r"))
		case "open_end_extension_over_height":
			got = OpenEnd(num("width_to_height_ratio"), 1, num("effective_permittivity"))
		case "via_inductance_H", "cavity_resonance_Hz", "effective_width_m", "te10_cutoff_Hz", "maximum_via_pitch_m",
			"pitch_to_diameter_limit", "slot_attenuation_dB", "channel_te10_cutoff_Hz", "coaxial_via_impedance_ohm":
			continue // vias, cavities and guides: not this package's
		default:
			t.Errorf("%s: nothing computes %s", r.ID, r.Quantity)
			continue
		}
		r.Check(t, got)
	}
}

// The open-end and dispersion rows of em_3d.csv. The dispersion formula's rows
// stand on an hp finite element static value; ours differs from it by 1e-6.
func TestOpenEndAndDispersionRows(t *testing.T) {
	for _, r := range refcheck.Rows(t, "em_3d.csv") {
		c := r.Inputs["case"]
		if c != "microstrip_open_end_zero_thickness" && c != "microstrip_open_zero_thickness_dispersion_formula" {
			continue
		}
		m := Microstrip{Width: r.Num(t, "strip_width_m"), Height: r.Num(t, "substrate_height_m"),
			Substrate: material.Dielectric{Permittivity: r.Num(t, "eps_r")}}
		s := m.Static()
		want := r.Want(t)
		switch r.Quantity {
		case "open_end_extension_over_h":
			r.Within(t, OpenEndKirschning(m.Width, m.Height, r.Num(t, "eps_r"), s.EffectivePermittivity)/m.Height, 1e-5)
		case "open_end_extension_static_over_h":
			// the static value, which the fits are known to miss by 6 to 10 %
			r.Within(t, OpenEndKirschning(m.Width, m.Height, r.Num(t, "eps_r"), s.EffectivePermittivity)/m.Height, 0.1*want)
		case "eps_eff_static":
			r.Within(t, s.EffectivePermittivity, 2e-6*want)
		case "Z0_static_ohm":
			r.Within(t, s.Impedance, 2e-6*want)
		case "eps_eff":
			r.Within(t, KirschningJansen(r.Num(t, "frequency_Hz"), m.Width, m.Height, r.Num(t, "eps_r"), s.EffectivePermittivity), 2e-6*want)
		default:
			t.Errorf("%s: nothing computes %s", r.ID, r.Quantity)
		}
	}
}

// The boxed full-wave rows of em_3d.csv, by spectral-domain Galerkin with
// harmonics extrapolated; their error estimate is 2e-5.
func TestBoxedFullWaveRows(t *testing.T) {
	for _, r := range refcheck.Rows(t, "em_3d.csv") {
		if r.Inputs["case"] != "microstrip_shielded_fullwave_zero_thickness" {
			continue
		}
		w, h, er := r.Num(t, "strip_width_m"), r.Num(t, "substrate_height_m"), r.Num(t, "eps_r")
		f := r.Num(t, "frequency_Hz")
		s := newFullWave(f, w, h, er, r.Num(t, "box_height_m")-h, r.Num(t, "box_width_m")/2)
		guess := KirschningJansen(f, w, h, er, HammerstadJensen(w, h, 0, er).EffectivePermittivity)
		r.Within(t, s.solve(guess), 3e-5)
	}
}

// The full-wave solutions' other ends: at low frequency each tends to its own
// quasi-static solution, found by other means; a coplanar line over ground with
// wide gaps is a microstrip; and the table that a prepared line interpolates
// is the solution.
func TestFullWaveLimits(t *testing.T) {
	near := func(what string, got, want, rel float64) {
		t.Helper()
		if !(math.Abs(got-want) <= rel*want) {
			t.Errorf("%s: %.8g, want %.8g", what, got, want)
		}
	}
	perfect := material.Conductor{Metal: material.Metal{Conductivity: math.Inf(1)}}
	for _, er := range []float64{2.2, 3.66, 9.8} {
		d := material.Dielectric{Permittivity: er}
		for _, u := range []float64{0.2, 1, 5} {
			m := Microstrip{Width: u * 1e-3, Height: 1e-3, Substrate: d, Metal: perfect}
			near("microstrip at 1 MHz", FullWaveMicrostrip(1e6, m.Width, m.Height, er), m.Static().EffectivePermittivity, 1e-6)
			p, err := Prepare(m)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range []float64{0.7e9, 3e9, 11e9, 47e9} {
				near("table", p.At(f).EffectivePermittivity(), FullWaveMicrostrip(f, m.Width, m.Height, er), 1e-5)
			}
			c := Coplanar{Width: u * 1e-3, Gap: 0.5e-3, Height: 1e-3, Substrate: d, Metal: perfect}
			near("coplanar at 1 MHz", c.slot(0, 0).wave(1e6, er).solve(c.Static().EffectivePermittivity), c.Static().EffectivePermittivity, 2e-6)
			c.GroundBelow, c.Walls = true, 1e-3*u+1.5e-3
			near("coplanar over ground at 1 MHz", c.slot(0, 0).wave(1e6, er).solve(c.Static().EffectivePermittivity), c.Static().EffectivePermittivity, 2e-6)
			q, err := Prepare(c)
			if err != nil {
				t.Fatal(err)
			}
			for _, share := range []float64{0.05, 0.4, 0.95} {
				f := share * math.Exp(q.(prepared).s.dispersion.high)
				e := q.At(f).EffectivePermittivity()
				near("coplanar table", e, c.slot(0, 0).wave(f, er).solve(e), 2e-5)
			}
		}
	}
	const w, h = 0.25e-3, 0.127e-3
	c := slotSection{width: w, gap: 20 * h, lower: h, backed: true, wall: w/2 + 30*h}
	near("wide gaps at 40 GHz", FullWaveCoplanar(40e9, w, 20*h, h, 3, true, 2*c.wall), FullWaveMicrostrip(40e9, w, h, 3), 5e-6)
}

func planarLines() map[string]Line {
	ro := material.Dielectric{Permittivity: 3.66, LossTangent: 0.0037}
	debye := material.Dielectric{Permittivity: 3.66, LossTangent: 0.0037, FittedAt: 10e9}
	rough := material.Conductor{Roughness: material.Roughness{RMS: 0.4e-6}}
	return map[string]Line{
		"microstrip":            Microstrip{Width: 0.54e-3, Height: 0.254e-3, Thickness: 35e-6, Substrate: ro, Metal: rough},
		"microstrip formula":    Microstrip{Width: 0.54e-3, Height: 0.254e-3, Thickness: 35e-6, Substrate: ro, Metal: rough, Method: ClosedForm},
		"microstrip debye":      Microstrip{Width: 0.54e-3, Height: 0.254e-3, Thickness: 35e-6, Substrate: debye},
		"microstrip covered":    Microstrip{Width: 0.54e-3, Height: 0.254e-3, Thickness: 35e-6, Cover: 1e-3, Substrate: ro},
		"microstrip in air":     Microstrip{Width: 1e-3, Height: 0.254e-3, Thickness: 35e-6},
		"stripline":             Stripline{Width: 0.25e-3, Spacing: 0.6e-3, Thickness: 17e-6, Substrate: ro, Metal: rough},
		"stripline formula":     Stripline{Width: 0.25e-3, Spacing: 0.6e-3, Thickness: 17e-6, Substrate: ro, Method: ClosedForm},
		"stripline offset":      Stripline{Width: 0.25e-3, Spacing: 0.6e-3, Thickness: 17e-6, Offset: -0.1e-3, Substrate: debye},
		"stripline fenced":      Stripline{Width: 0.25e-3, Spacing: 0.6e-3, Thickness: 17e-6, Walls: 1e-3, Substrate: ro},
		"microstrip boxed":      Microstrip{Width: 0.54e-3, Height: 0.254e-3, Thickness: 35e-6, Cover: 1e-3, Walls: 3e-3, Substrate: ro},
		"stripline thin":        Stripline{Width: 0.25e-3, Spacing: 0.6e-3, Substrate: ro},
		"coplanar over ground":  Coplanar{Width: 0.45e-3, Gap: 0.15e-3, Height: 0.254e-3, Thickness: 35e-6, GroundBelow: true, Substrate: ro, Metal: rough},
		"coplanar fenced":       Coplanar{Width: 0.45e-3, Gap: 0.15e-3, Height: 0.254e-3, Thickness: 35e-6, GroundBelow: true, Walls: 1.2e-3, Substrate: debye},
		"coplanar over air":     Coplanar{Width: 0.2e-3, Gap: 0.1e-3, Height: 0.635e-3, Thickness: 5e-6, Substrate: material.Dielectric{Permittivity: 9.8, LossTangent: 2e-4}},
		"coplanar half space":   Coplanar{Width: 0.2e-3, Gap: 0.1e-3, Height: math.Inf(1), Substrate: material.Dielectric{Permittivity: 12.9}},
		"coplanar formula":      Coplanar{Width: 0.45e-3, Gap: 0.15e-3, Height: 0.254e-3, GroundBelow: true, Substrate: ro, Method: ClosedForm},
		"coplanar bare of both": Coplanar{Width: 0.45e-3, Gap: 0.15e-3, Height: 0.254e-3, Thickness: 35e-6},
	}
}

// Whatever line passes Check is solved, and to something that can be: between
// air and the substrate, with loss.
func TestRandomPlanarLines(t *testing.T) {
	const seed = 20
	r := rand.New(rand.NewPCG(seed, 0))
	between := func(a, b float64) float64 { return a * math.Exp(r.Float64()*math.Log(b/a)) }
	maybe := func(x float64) float64 {
		if r.IntN(2) == 0 {
			return 0
		}
		return x
	}
	solved := 0
	for i := range 120 {
		er := between(1, 15)
		d := material.Dielectric{Permittivity: er, LossTangent: 0.002}
		var l Line
		switch i % 3 {
		case 0:
			m := Microstrip{Width: between(1e-5, 2e-3), Height: between(5e-5, 1e-3), Substrate: d}
			m.Thickness = maybe(m.Height * between(1e-2, 1))
			if m.Thickness > 0 {
				m.TopWidth = maybe(m.Width * between(0.5, 1.5))
			}
			m.Cover = maybe((m.Thickness + m.Height) * between(1.02, 20))
			m.Walls = maybe(math.Max(m.Width, m.TopWidth) * between(1.1, 20))
			l = m
		case 1:
			m := Stripline{Width: between(1e-5, 2e-3), Spacing: between(1e-4, 2e-3), Substrate: d}
			m.Thickness = maybe(m.Spacing * between(1e-2, 0.8))
			m.Offset = maybe((m.Spacing - m.Thickness) / 2 * (1.8*r.Float64() - 0.9))
			m.Walls = maybe(m.Width * between(1.1, 20))
			l = m
		case 2:
			m := Coplanar{Width: between(1e-5, 1e-3), Gap: between(2e-5, 5e-4), Height: between(5e-5, 1e-3), GroundBelow: r.IntN(2) == 0, Substrate: d}
			m.Thickness = maybe(m.Gap * between(1e-2, 2))
			m.Cover = maybe(m.Thickness + m.Height*between(0.2, 20))
			m.Walls = maybe((m.Width + 2*m.Gap) * between(1.05, 10))
			l = m
		}
		if l.Check() != nil {
			continue
		}
		solved++
		p, err := Prepare(l)
		if err != nil {
			t.Errorf("seed %d, %+v: %v", seed, l, err)
			continue
		}
		s, at := p.Static(), p.At(10e9)
		if !(s.Impedance > 0.1 && s.Impedance < 400 && s.EffectivePermittivity >= 1-1e-6 && s.EffectivePermittivity <= er*(1+1e-6)) ||
			!(at.Conductor > 0 && at.Dielectric >= 0) {
			t.Errorf("seed %d, %+v: %+v, %+v", seed, l, s, at)
		}
	}
	if solved < 80 {
		t.Errorf("only %d lines were fit to solve", solved)
	}
}

// What any passive line must do, from 1 Hz to 110 GHz: a wave that decays and
// travels forward, passive impedance, shares that add up, and the resistance of
// the strip's metal to direct current at the low end.
func TestPlanarLinesPhysics(t *testing.T) {
	for name, l := range planarLines() {
		p, err := Prepare(l)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		s := p.(prepared).s
		for f := 1.0; f < 1.2e11; f *= 10 {
			a := p.At(f)
			if f == 1e9 {
				if b := l.At(f); a != b {
					t.Errorf("%s at %g Hz: prepared %v, plain %v", name, f, a, b)
				}
			}
			if !(real(a.Gamma) > 0 && imag(a.Gamma) > 0 && real(a.Impedance) > 0 && a.Roughness >= 1) {
				t.Errorf("%s at %g Hz: %+v", name, f, a)
			}
			if !(math.Abs(a.Conductor+a.Dielectric-real(a.Gamma)) <= 1e-12*real(a.Gamma)) || !(a.Conductor > 0) {
				t.Errorf("%s at %g Hz: the shares %g and %g do not add up to %g", name, f, a.Conductor, a.Dielectric, real(a.Gamma))
			}
			// power waves of any length are passive
			s11, s21 := a.Chain(1, 50)
			if got := real(s11*cmplx.Conj(s11) + s21*cmplx.Conj(s21)); !(got <= 1+1e-12) {
				t.Errorf("%s at %g Hz: |S11|²+|S21|² = %.15g", name, f, got)
			}
		}
		// series resistance at 1 Hz: Re(γZ) = 1/σA
		q := p.At(1)
		if got, want := real(q.Gamma*q.Impedance), 1/(material.AnnealedCopper*s.area); !(math.Abs(got-want) <= 1e-3*want) {
			t.Errorf("%s: series resistance %g Ω/m at 1 Hz, the metal's is %g", name, got, want)
		}
		for _, f := range []float64{0, -1, math.NaN(), math.Inf(1)} {
			if q := p.At(f); !math.IsNaN(real(q.Gamma)) {
				t.Errorf("%s at %g Hz: γ = %v, want NaN", name, f, q.Gamma)
			}
		}
		if st, pr := l.Static(), p.Static(); st != pr {
			t.Errorf("%s: static %v, prepared %v", name, st, pr)
		}
		if ms := p.Modes(); len(ms) == 0 || !(ModeFreeLimit(p) > 0) {
			t.Errorf("%s: modes %v", name, ms)
		}
		if !strings.Contains(name, strings.SplitN(p.Model(), ":", 2)[0]) {
			t.Errorf("%s: model %q", name, p.Model())
		}
	}
}

// Loss at high frequency tends to R/2Z, and the dielectric's to
// k0 εr tan δ ∂εe/∂εr / 2√εe, here in stripline, where ∂εe/∂εr = 1.
func TestStriplineLoss(t *testing.T) {
	l := Stripline{Width: 0.25e-3, Spacing: 0.6e-3, Thickness: 17e-6, Substrate: material.Dielectric{Permittivity: 3.5, LossTangent: 0.002}}
	p, _ := Prepare(l)
	f := 40e9
	got := p.At(f)
	want := p.(prepared).s.loss * material.SurfaceResistance(f, material.AnnealedCopper) / 2 / p.Static().Impedance
	if !(math.Abs(got.Conductor-want) <= 2e-3*want) {
		t.Errorf("conductor loss %g Np/m, R/2Z is %g", got.Conductor, want)
	}
	want = pi * f / C0 * math.Sqrt(3.5) * 0.002
	if !(math.Abs(got.Dielectric-want) <= 1e-2*want) { // the metal's internal inductance adds to it
		t.Errorf("dielectric loss %g Np/m, TEM wave's is %g", got.Dielectric, want)
	}
}

// With everything air the four structures meet each other's limits.
func TestLimits(t *testing.T) {
	d := material.Dielectric{Permittivity: 3.66}
	near := func(what string, got, want, rel float64) {
		t.Helper()
		if !(math.Abs(got-want) <= rel*want) {
			t.Errorf("%s: %.8g, want %.8g", what, got, want)
		}
	}
	// a coplanar line with gaps of 100 heights is a microstrip
	m := Microstrip{Width: 0.2e-3, Height: 0.1e-3, Thickness: 20e-6, Substrate: d}
	c := Coplanar{Width: 0.2e-3, Gap: 10e-3, Height: 0.1e-3, Thickness: 20e-6, GroundBelow: true, Substrate: d}
	near("wide gaps, impedance", c.Static().Impedance, m.Static().Impedance, 3e-5)
	near("wide gaps, permittivity", c.Static().EffectivePermittivity, m.Static().EffectivePermittivity, 3e-5)
	// a microstrip with a cover and its dielectric above too is a stripline:
	// the boundary elements must not see an interface that is not there
	s := Stripline{Width: 0.2e-3, Spacing: 0.35e-3, Thickness: 20e-6, Offset: -0.065e-3}
	a := Microstrip{Width: 0.2e-3, Height: 0.1e-3, Thickness: 20e-6, Cover: 0.25e-3}
	near("covered air line", a.Static().Impedance, s.Static().Impedance, 1e-12)
	// offset either way
	u := s
	u.Offset = -s.Offset
	near("offset up or down", u.Static().Impedance, s.Static().Impedance, 1e-7)
	// thickness tends to zero
	z := Stripline{Width: 0.2e-3, Spacing: 0.35e-3, Substrate: d}
	near("zero thickness", z.Static().Impedance, CohnStripline(z.Width, z.Spacing, 3.66).Impedance, 1e-8)
	z.Thickness = z.Spacing / 1e5
	near("vanishing thickness", z.Static().Impedance, CohnStripline(z.Width, z.Spacing, 3.66).Impedance, 1e-4)
	// a far cover and far walls
	f := c
	f.Gap, f.Cover, f.Walls = 0.1e-3, 60e-3, 60e-3
	g := f
	g.Cover, g.Walls = 0, 0
	near("far cover and walls", f.Static().Impedance, g.Static().Impedance, 1e-5)
	// far walls; near ones are held against square coax in TestCrossSectionRows
	b := s
	b.Walls = 4e-3
	near("far walls", b.Static().Impedance, s.Static().Impedance, 1e-8)
	// wide stripline: plates plus Cohn's exact fringes
	w := Stripline{Width: 5e-3, Spacing: 1e-3, Thickness: 0.1e-3}
	near("Cohn's fringing capacitance", w.Static().Impedance, CohnWideStripline(w.Width, w.Spacing, w.Thickness, 1).Impedance, 1e-7)
}

// The aperture fields' error falls exponentially with the number of functions,
// two hundred times for each one more against Wen's exact line; with thick
// metal, whose two edges of a slot see each other, against 30 functions, by
// five orders from one to eight. C is a minimum: it is met from above.
func TestApertureConvergence(t *testing.T) {
	thin := slotSection{width: 0.5e-3, gap: 0.25e-3, lower: math.Inf(1)}
	want := Eta0 / Wen(thin.width, thin.gap, 1).Impedance
	last := 1.0
	for n := 1; n <= 5; n++ {
		thin.functions = n
		e := thin.capacitance(1)/want - 1
		if !(e > 0 && e < last/100) {
			t.Errorf("thin: %d functions are %.2g off, one less %.2g", n, e, last)
		}
		last = e
	}
	thick := slotSection{width: 0.45e-3, gap: 0.15e-3, lower: 0.254e-3, thickness: 35e-6, backed: true, functions: 30}
	want = thick.capacitance(3.66)
	last = 1
	for n := 1; n <= 8; n++ {
		thick.functions = n
		e := thick.capacitance(3.66)/want - 1
		if !(e > 0 && e < last) {
			t.Errorf("thick: %d functions are %.2g off, one less %.2g", n, e, last)
		}
		last = e
	}
	if !(last < 2e-7) {
		t.Errorf("thick: 8 functions are %.2g off", last)
	}
}

// Roughness multiplies the conductors' loss where skin effect rules.
func TestPlanarRoughness(t *testing.T) {
	rough := Coplanar{Width: 0.45e-3, Gap: 0.15e-3, Height: 0.254e-3, Thickness: 35e-6, GroundBelow: true, Method: FieldSolution,
		Metal: material.Conductor{Roughness: material.Roughness{RMS: 0.5e-6}}}
	smooth := rough
	smooth.Metal.Roughness = material.Roughness{}
	a, b := rough.At(40e9), smooth.At(40e9)
	if got := a.Conductor / b.Conductor; !(math.Abs(got-a.Roughness) <= 0.01*a.Roughness) || b.Roughness != 1 || !(a.Roughness > 1.5) {
		t.Errorf("loss rises %.4f times, the factor is %.4f", got, a.Roughness)
	}
}

func TestPlanarCheck(t *testing.T) {
	ok := material.Dielectric{Permittivity: 3.5}
	for _, c := range []struct {
		line  Line
		field string
	}{
		{Microstrip{Height: 1e-3, Substrate: ok}, "Width"},
		{Microstrip{Width: math.NaN(), Height: 1e-3}, "Width"},
		{Microstrip{Width: 1e-3, Height: math.Inf(1)}, "Height"},
		{Microstrip{Width: 1, Height: 1e-3}, "Width"}, // a slipped unit
		{Microstrip{Width: 1e-3, Height: 1e-3, Thickness: -1e-6}, "Thickness"},
		{Microstrip{Width: 1e-3, Height: 1e-3, TopWidth: 1e-3}, "TopWidth"},
		{Microstrip{Width: 1e-3, Height: 1e-3, Thickness: 1e-4, Cover: 5e-5}, "Cover"},
		{Microstrip{Width: 1e-3, Height: 1e-3, Substrate: material.Dielectric{Permittivity: 0.5}}, "Substrate.Permittivity"},
		{Stripline{Width: 1e-3}, "Spacing"},
		{Stripline{Width: 1e-3, Spacing: 1e-3, Thickness: 2e-3}, "Thickness"},
		{Stripline{Width: 1e-3, Spacing: 1e-3, Offset: 0.6e-3}, "Offset"},
		{Coplanar{Width: 1e-3, Height: 1e-3}, "Gap"},
		{Coplanar{Width: 1e-3, Gap: 1e-4, Height: math.Inf(1), GroundBelow: true}, "Height"},
		{Coplanar{Width: 1e-3, Gap: 1e-4, Height: 1e-3, Walls: 1e-3}, "Walls"},
		{Coplanar{Width: 1e-3, Gap: 1e-4, Height: 1e-3, Thickness: 2e-3}, "Thickness"},
	} {
		// a dielectric checks itself; the rest are ours
		var de *DimensionError
		err := c.line.Check()
		if err == nil || !strings.Contains(err.Error(), strings.TrimSuffix(c.field, ".Permittivity")) || strings.HasPrefix(c.field, "Substrate") != !errors.As(err, &de) {
			t.Errorf("%+v: %v, want a complaint about %s", c.line, err, c.field)
		}
		if _, err := Prepare(c.line); err == nil {
			t.Errorf("%+v was prepared", c.line)
		}
	}
	if err := (Coplanar{Width: -1, Gap: -1, Height: -1}).Check(); strings.Count(err.Error(), "\n") < 2 {
		t.Errorf("three faults, told only %q", err)
	}
}

// Solving for a dimension and computing its impedance are each other's inverse.
func TestPlanarSolve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		er := rapid.Float64Range(1, 12).Draw(t, "er")
		z := rapid.Float64Range(30, 90).Draw(t, "ohms") / math.Sqrt(er/3)
		d := material.Dielectric{Permittivity: er}
		m := Microstrip{Width: 1e-3, Height: 0.25e-3, Thickness: 20e-6, Substrate: d, Method: ClosedForm}
		if s, err := m.Solve(Width, z); err != nil || !(math.Abs(s.Static().Impedance-z) <= 1e-9*z) {
			t.Errorf("width %g m gives %g Ω, asked for %g (%v)", s.Width, s.Static().Impedance, z, err)
		}
	})
	d := material.Dielectric{Permittivity: 3.5}
	solved := func(what string, l Line, err error, ohms float64) {
		t.Helper()
		if err != nil {
			t.Errorf("%s: %v", what, err)
			return
		}
		if got := l.Static().Impedance; !(math.Abs(got-ohms) <= 1e-7*ohms) {
			t.Errorf("%s: %.8g Ω, asked for %g", what, got, ohms)
		}
	}
	m := Microstrip{Width: 0.4e-3, Height: 0.25e-3, Thickness: 20e-6, TopWidth: 0.37e-3, Substrate: d}
	for _, dim := range []Parameter{Width, Height, Thickness, Permittivity} {
		ohms := 50.0
		if dim == Thickness {
			ohms = m.Static().Impedance * 0.98
		}
		l, err := m.Solve(dim, ohms)
		solved("microstrip "+string(dim), l, err, ohms)
	}
	s := Stripline{Width: 0.2e-3, Spacing: 0.5e-3, Thickness: 20e-6, Offset: 0.05e-3, Substrate: d}
	for _, dim := range []Parameter{Width, Spacing, Thickness, Offset, Permittivity} {
		ohms := 50.0
		if dim == Thickness || dim == Offset {
			ohms = s.Static().Impedance * 0.98
		}
		l, err := s.Solve(dim, ohms)
		solved("stripline "+string(dim), l, err, ohms)
	}
	c := Coplanar{Width: 0.4e-3, Gap: 0.2e-3, Height: 0.25e-3, Thickness: 20e-6, GroundBelow: true, Substrate: d}
	for _, dim := range []Parameter{Width, Gap, Height, Thickness, Permittivity} {
		ohms := 50.0
		if dim == Thickness {
			ohms = c.Static().Impedance * 0.98
		}
		l, err := c.Solve(dim, ohms)
		solved("coplanar "+string(dim), l, err, ohms)
	}
	_, err := m.Solve(Width, 500)
	var reach *ReachError
	if !errors.As(err, &reach) || !strings.Contains(err.Error(), "attainable") {
		t.Errorf("500 Ω: %v, want the attainable range", err)
	}
	if _, err := m.Solve("colour", 50); err == nil {
		t.Error("solved for the colour")
	}
}

// The parabola in the permittivity stands for the field solution over ±10 %.
func TestPermittivityParabola(t *testing.T) {
	for name, l := range planarLines() {
		p := l.(planar)
		s, err := p.section()
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range []float64{0.92, 1.03, 1.1} {
			var want float64
			er := 0.0
			switch m := l.(type) {
			case Microstrip:
				m.Substrate = material.Dielectric{Permittivity: k * real(relative(m.Substrate, 0))}
				er = m.Substrate.Permittivity
				if er < 1 {
					continue
				}
				want = m.Static().EffectivePermittivity
			case Coplanar:
				m.Substrate = material.Dielectric{Permittivity: k * real(relative(m.Substrate, 0))}
				er = m.Substrate.Permittivity
				want = m.Static().EffectivePermittivity
			default:
				continue
			}
			if got := real(s.eps(complex(er, 0), 1)); !(math.Abs(got-want) <= 2e-5*want) {
				t.Errorf("%s at %g times the permittivity: %.8g, field gives %.8g", name, k, got, want)
			}
		}
	}
}

// The formulas' claims, held against the field: 0.2 % for Hammerstad and
// Jensen at zero thickness, of which up to 0.22 % in εe is seen; for Wheeler's
// stripline 0.5 %, of which up to 0.6 % is seen (and so say the reference rows).
func TestFormulasAgainstField(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		er := rapid.Float64Range(1, 20).Draw(t, "er")
		u := math.Exp(rapid.Float64Range(math.Log(0.05), math.Log(20)).Draw(t, "ln u"))
		m := Microstrip{Width: u, Height: 1, Substrate: material.Dielectric{Permittivity: er}}
		a, b := m.Static(), HammerstadJensen(u, 1, 0, er)
		if !(math.Abs(a.Impedance-b.Impedance) <= 2e-3*b.Impedance) || !(math.Abs(a.EffectivePermittivity-b.EffectivePermittivity) <= 2.5e-3*b.EffectivePermittivity) {
			t.Errorf("u = %g, εr = %g: field %+v, Hammerstad-Jensen %+v", u, er, a, b)
		}
		w := rapid.Float64Range(0.1, 3).Draw(t, "w/b")
		th := rapid.Float64Range(0.005, 0.2).Draw(t, "t/b")
		s := Stripline{Width: w, Spacing: 1, Thickness: th}
		if x, y := s.Static().Impedance, WheelerStripline(w, 1, th, 1).Impedance; !(math.Abs(x-y) <= 6e-3*x) {
			t.Errorf("w/b = %g, t/b = %g: field %g Ω, Wheeler %g Ω", w, th, x, y)
		}
	})
}
