package material

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"pgregory.net/rapid"

	"linewright/internal/refcheck"
)

// The wave that enters a stack of flat layers, solved as one linear system of
// boundary conditions instead of layer by layer: forward and backward waves in
// each layer, forward only in the bulk, E and H continuous.
func stackByLinearSystem(c Conductor, f float64) complex128 {
	n := len(c.Plating)
	size := 2*n + 1
	m := make([][]complex128, size)
	for i := range m {
		m[i] = make([]complex128, size+1)
	}
	// unknown 2i, 2i+1: amplitudes that start at the front and at the back of
	// layer i; the last: the bulk. First equation: H = 1 at the surface.
	type layer struct{ zeta, decay complex128 }
	var ls []layer
	for _, l := range c.Plating {
		k, z := l.Wave(f, c.Temperature)
		ls = append(ls, layer{z, cmplx.Exp(-k * complex(l.Thickness, 0))})
	}
	_, zb := c.Metal.Wave(f, c.Temperature)
	m[0][0], m[0][1], m[0][size] = 1/ls[0].zeta, -ls[0].decay/ls[0].zeta, 1
	for i, l := range ls {
		e, h := m[2*i+1], m[2*i+2]
		e[2*i], e[2*i+1] = l.decay, 1
		h[2*i], h[2*i+1] = l.decay/l.zeta, -1/l.zeta
		if i+1 < n {
			g := ls[i+1]
			e[2*i+2], e[2*i+3] = -1, -g.decay
			h[2*i+2], h[2*i+3] = -1/g.zeta, g.decay/g.zeta
		} else {
			e[2*i+2], h[2*i+2] = -1, -1/zb
		}
	}
	for i := range size { // Gauss with pivots
		p := i
		for r := i; r < size; r++ {
			if cmplx.Abs(m[r][i]) > cmplx.Abs(m[p][i]) {
				p = r
			}
		}
		m[i], m[p] = m[p], m[i]
		for r := range m {
			if r != i {
				q := m[r][i] / m[i][i]
				for k := i; k <= size; k++ {
					m[r][k] -= q * m[i][k]
				}
			}
		}
	}
	forward, backward := m[0][size]/m[0][0], m[1][size]/m[1][1]
	return forward + backward*ls[0].decay
}

func goldNickelCopper(gold, nickel float64, mu complex128) Conductor {
	return Conductor{Plating: []Layer{
		{Metal{Conductivity: 41e6}, gold},
		{Metal{Conductivity: 14.3e6, Permeability: mu}, nickel},
	}}
}

func TestPlatingAgainstLinearSystem(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := goldNickelCopper(
			math.Pow(10, rapid.Float64Range(-9, -5.5).Draw(t, "gold")),
			math.Pow(10, rapid.Float64Range(-8, -5.5).Draw(t, "nickel")),
			complex(rapid.Float64Range(1, 100).Draw(t, "mu"), -rapid.Float64Range(0, 50).Draw(t, "mu loss")))
		f := math.Pow(10, rapid.Float64Range(5, 11.3).Draw(t, "f"))
		got, want := c.SurfaceImpedance(f), stackByLinearSystem(c, f)
		if !(cmplx.Abs(got-want) <= 1e-9*cmplx.Abs(want)) {
			t.Fatalf("layered impedance %.12g, linear system %.12g", got, want)
		}
		if !(real(got) > 0 && imag(got) > 0) {
			t.Fatalf("a passive metal surface shows %g", got)
		}
	})
}

// From thin to thick: without plating copper, in the end gold alone, and at
// the middle the known overshoot below the thick value (tanh of (1+j)x).
func TestPlatingLimits(t *testing.T) {
	const f = 40e9
	near := func(what string, got, want complex128, tol float64) {
		t.Helper()
		if !(cmplx.Abs(got-want) <= tol*cmplx.Abs(want)) {
			t.Errorf("%s: %.10g, want %.10g", what, got, want)
		}
	}
	rs := SurfaceResistance(f, AnnealedCopper)
	gold := SurfaceResistance(f, 41e6)
	near("bare copper", Conductor{}.SurfaceImpedance(f), complex(rs, rs), 1e-14)
	near("no thickness", goldNickelCopper(1e-18, 1e-18, 1).SurfaceImpedance(f), complex(rs, rs), 1e-9)
	near("thick gold", goldNickelCopper(20e-6, 4e-6, 10).SurfaceImpedance(f), complex(gold, gold), 1e-14)
	near("same metal over itself", Conductor{Plating: []Layer{{Metal{}, 0.3e-6}}}.SurfaceImpedance(f), complex(rs, rs), 1e-14)
	// A thin resistive film on a much better conductor costs no resistance
	// to first order: the current runs beneath. Its inductance is μ0 t.
	thin := Conductor{Metal: Metal{Conductivity: 1e12}, Plating: []Layer{{Metal{Conductivity: 1e4}, 1e-6}}}
	z := thin.SurfaceImpedance(1e9)
	base := SurfaceResistance(1e9, 1e12)
	near("thin film", z, complex(base, base+2*math.Pi*1e9*mu0*1e-6), 1e-4)
	// A perfect conductor under a film of thickness t: Z = ζ tanh kt.
	pec := Conductor{Metal: Metal{Conductivity: math.Inf(1)}, Plating: []Layer{{Metal{}, 0.2e-6}}}
	k, zeta := Metal{}.Wave(f, 0)
	near("film on a perfect conductor", pec.SurfaceImpedance(f), zeta*cmplx.Tanh(k*0.2e-6), 1e-12)
	if z := (Conductor{Metal: Metal{Conductivity: math.Inf(1)}}).SurfaceImpedance(f); z != 0 {
		t.Errorf("perfect conductor shows %g", z)
	}
}

// ENIG: thin gold over nickel makes the surface nearly that of nickel.
func TestNickelUnderThinGold(t *testing.T) {
	const f = 28e9
	c := goldNickelCopper(0.05e-6, 4e-6, 1)
	got := real(c.SurfaceImpedance(f)) / SurfaceResistance(f, AnnealedCopper)
	nickel := math.Sqrt(AnnealedCopper / 14.3e6) // 2.01, thick nickel bare
	if !(got > 1.5 && got < nickel) {
		t.Errorf("50 nm gold on 4 µm nickel: %.3f times copper, want below bare nickel's %.3f and well above 1", got, nickel)
	}
}

// Skin depths and conductivities as printed in Pozar, 4th ed., Example 1.2,
// p. 19, 10 GHz, three digits, of which the last is cut, not rounded (aluminium
// is 8.147e-7), hence one unit of it. The rows of coax_line.csv hold copper
// and silver; these two are recalled from the same page.
func TestSkinDepthPrinted(t *testing.T) {
	for _, c := range []struct {
		metal       string
		sigma, want float64
	}{
		{"aluminium", 3.816e7, 8.14e-7},
		{"gold", 4.098e7, 7.86e-7},
	} {
		row := refcheck.Row{Table: "other", ID: "skin depth of " + c.metal, Quantity: "skin depth at 10 GHz, m", Value: fmt.Sprint(c.want),
			Source: "[pozar2012] Example 1.2, p. 19", Status: "from-memory"}
		row.Within(t, SkinDepth(10e9, c.sigma), 0.01e-7)
	}
	if d, w := (Conductor{}).SkinDepth(10e9), SkinDepth(10e9, AnnealedCopper); !(math.Abs(d-w) <= 1e-15*w*10) {
		t.Errorf("Conductor.SkinDepth %g, SkinDepth %g", d, w)
	}
	// A permeability of 4 halves the skin depth and doubles the resistance.
	iron := Conductor{Metal: Metal{Permeability: 4}}
	if r := iron.SkinDepth(1e9) / SkinDepth(1e9, AnnealedCopper); !(math.Abs(r-0.5) <= 1e-14) {
		t.Errorf("skin depth ratio at μr = 4 is %g", r)
	}
	if r := real(iron.SurfaceImpedance(1e9)) / SurfaceResistance(1e9, AnnealedCopper); !(math.Abs(r-2) <= 1e-14) {
		t.Errorf("surface resistance ratio at μr = 4 is %g", r)
	}
}

// Conductor loss against temperature relative to 25 °C, the trade's table for
// copper at 0.00393 per kelvin, three decimals.
func TestTemperatureFactors(t *testing.T) {
	loss := func(celsius float64) float64 {
		return real(Conductor{Temperature: celsius + 273.15}.SurfaceImpedance(10e9))
	}
	for _, c := range []struct{ celsius, want float64 }{
		{-55, 0.832}, {-40, 0.866}, {70, 1.083}, {85, 1.110}, {105, 1.144}, {125, 1.177}, {150, 1.217},
	} {
		row := refcheck.Row{Table: "other", ID: fmt.Sprintf("copper loss at %g C over 25 C", c.celsius), Quantity: "conductor loss ratio", Value: fmt.Sprint(c.want),
			Source: "√((1+0.00393(T−20))/(1+0.00393·5)), evaluated independently", Status: "computed"}
		row.Within(t, loss(c.celsius)/loss(25), 0.00051)
	}
	if z := (Conductor{Temperature: ReferenceTemperature}).SurfaceImpedance(1e9); z != (Conductor{}).SurfaceImpedance(1e9) {
		t.Error("20 °C differs from the default temperature")
	}
	// Each layer has its own coefficient.
	warm := Conductor{Temperature: 393.15, Plating: []Layer{{Metal{Conductivity: 41e6, TemperatureCoefficient: 0.0034}, 20e-6}}}
	if got, want := real(warm.SurfaceImpedance(50e9)), SurfaceResistance(50e9, ConductivityAt(41e6, 0.0034, 393.15)); !(math.Abs(got/want-1) <= 1e-12) {
		t.Errorf("warm gold %g, want %g", got, want)
	}
}

func TestConductorCheck(t *testing.T) {
	good := []Conductor{{}, goldNickelCopper(1e-7, 4e-6, 5-2i), {Metal: Metal{Conductivity: math.Inf(1)}}, {Roughness: Roughness{RMS: 4e-7}}}
	for _, c := range good {
		if err := c.Check(); err != nil {
			t.Errorf("%+v: %v", c, err)
		}
	}
	bad := []Conductor{
		{Metal: Metal{Conductivity: -1}}, {Metal: Metal{Conductivity: math.NaN()}},
		{Metal: Metal{Permeability: -1}}, {Metal: Metal{Permeability: 1 + 1i}}, {Metal: Metal{TemperatureCoefficient: math.NaN()}},
		{Temperature: -3}, {Temperature: 20}, {Temperature: math.NaN()},
		{Plating: []Layer{{Metal{}, 0}}}, {Plating: []Layer{{Metal{Conductivity: -1}, 1e-6}}}, {Roughness: Roughness{RMS: -1}},
	}
	for _, c := range bad {
		if c.Check() == nil {
			t.Errorf("%+v passes", c)
		}
	}
}

func ExampleConductor_SurfaceImpedance() {
	// What nickel-gold finish costs at 28 GHz: 50 nm gold, 4 µm nickel taken
	// as non-magnetic, copper.
	gold, _ := FindMetal("gold")
	nickel, _ := FindMetal("nickel")
	finish := Conductor{Plating: []Layer{{gold.Metal(), 0.05e-6}, {nickel.Metal(), 4e-6}}}
	bare := Conductor{}
	const f = 28e9
	fmt.Printf("copper      %.1f mΩ\n", 1e3*real(bare.SurfaceImpedance(f)))
	fmt.Printf("nickel-gold %.1f mΩ\n", 1e3*real(finish.SurfaceImpedance(f)))
	// Output:
	// copper      43.7 mΩ
	// nickel-gold 85.2 mΩ
}
