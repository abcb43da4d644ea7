package material

import (
	"fmt"
	"math"
	"math/cmplx"
	"testing"

	"linewright/internal/refcheck"
)

// Independent route: the law is the integral of Debye poles spread evenly over
// log f between the corners, ε∞ + a ∫ d(ln p) / (1 + jf/p) p from f1 to f2.
func TestWidebandDebyeAsPoles(t *testing.T) {
	w := FitWidebandDebye(3.66, 0.0037, 10e9)
	for _, f := range []float64{1e2, 1e5, 1e9, 4e10, 1e12, 1e13} {
		const n = 20000 // midpoint rule in ln p
		var sum complex128
		h := math.Log(w.High/w.Low) / n
		for i := range n {
			p := w.Low * math.Exp((float64(i)+0.5)*h)
			sum += 1 / complex(1, f/p)
		}
		want := complex(w.Infinite, 0) + complex(w.Slope*h, 0)*sum
		if got := w.At(f); !(cmplx.Abs(got-want) <= 1e-8) {
			t.Errorf("%g Hz: ε = %.10g, by poles %.10g", f, got, want)
		}
	}
}

// The law meets the numbers it was fitted to, and is passive everywhere.
func TestWidebandDebyeFit(t *testing.T) {
	for _, f0 := range []float64{1e6, 1e9, 1e10, 1e11} {
		d := Dielectric{Permittivity: 3.5, LossTangent: 0.004, FittedAt: f0}
		e := d.At(f0)
		if !(math.Abs(real(e)-3.5) <= 1e-12) || !(math.Abs(-imag(e)/real(e)-0.004) <= 1e-14) {
			t.Errorf("fitted at %g Hz, ε there is %g", f0, e)
		}
		last := math.Inf(1)
		for f := 1.0; f < 1e15; f *= 3 {
			e := d.At(f)
			if !(imag(e) < 0) || !(real(e) <= last) || !(real(e) > 1) {
				t.Errorf("fitted at %g Hz, ε(%g Hz) = %g", f0, f, e)
			}
			last = real(e)
		}
	}
}

// PTFE against density and temperature, the trade's figures: 2.05 at 2.174;
// −246 ppm/K in ε for a free linear expansion of 119e-6/K; −123 ppm/K in
// delay; −0.34 % in delay for a volume step of 1 %.
func TestPTFEDensity(t *testing.T) {
	const law = "[ehrlich1953] law with 119e-6/K ([springerdata] table 3.3-13), evaluated independently"
	const d0 = 2.174
	const dT = 0.01
	e0 := PTFEPermittivity(d0)
	e1 := PTFEPermittivity(d0 / (1 + 3*119e-6*dT))
	for _, c := range []struct {
		id, value, source, status string
		got, tol                  float64
	}{
		{"PTFE at density 2.174", "2.05", "[ehrlich1953] as quoted by a maker's data page", "published", e0, 0.005},
		{"PTFE permittivity, 1e-6 per kelvin", "-246", law, "computed", (e1/e0 - 1) / dT * 1e6, 0.5},
		{"PTFE delay, 1e-6 per kelvin", "-123", law, "computed", (math.Sqrt(e1/e0) - 1) / dT * 1e6, 0.5},
		{"PTFE delay over a volume step of 1 %, percent", "-0.34", law, "computed", 100 * (math.Sqrt(PTFEPermittivity(d0/1.01)/e0) - 1), 0.005},
	} {
		row := refcheck.Row{Table: "other", ID: c.id, Quantity: "PTFE against density", Value: c.value, Source: c.source, Status: c.status}
		row.Within(t, c.got, c.tol)
	}
	if e := PTFEPermittivity(0); e != 1 {
		t.Errorf("no PTFE at all has permittivity %g", e)
	}
}

// Laboratory air of 23 °C and 50 % humidity: the value used for air lines is
// 1.000649 (from memory; see materials-d044). Water vapour at saturation at
// 23 °C is 2809 Pa (from memory).
func TestHumidAir(t *testing.T) {
	e := AirPermittivity(296.15, 101325, 0.5*2809)
	row := refcheck.Row{Table: "other", ID: "air at 23 C, 50 % humidity", Quantity: "relative permittivity", Value: "1.000649", Source: "value used for air lines", Status: "from-memory"}
	row.Within(t, e, 3e-5)
}

func TestDielectricDefaults(t *testing.T) {
	if e := (Dielectric{}).At(1e9); e != 1 {
		t.Errorf("the zero value has ε = %g", e)
	}
	warm := Dielectric{Permittivity: 3, LossTangent: 0.001, TemperatureCoefficient: -50e-6, LossCoefficient: 2e-3, Temperature: 393.15}
	e := warm.At(1e9)
	if !(math.Abs(real(e)-3*(1-0.005)) <= 1e-12) || !(math.Abs(-imag(e)/real(e)-0.001*1.2) <= 1e-15) {
		t.Errorf("100 K above: ε = %g", e)
	}
	for _, d := range []Dielectric{{Permittivity: 0.5}, {Permittivity: math.NaN()}, {LossTangent: -1}, {LossTangent: math.NaN()}, {FittedAt: -1},
		{Temperature: -1}, {Permittivity: 2, TemperatureCoefficient: -0.1, Temperature: 400}, {Permittivity: 4, LossTangent: 0.5, FittedAt: 1e5}} {
		if d.Check() == nil {
			t.Errorf("%+v passes", d)
		}
	}
	if err := warm.Check(); err != nil {
		t.Error(err)
	}
}

func ExampleDielectric_At() {
	// A glass-epoxy board measured at 1 GHz, used at 10 GHz.
	board := Dielectric{Permittivity: 4.2, LossTangent: 0.02, FittedAt: 1e9}
	e := board.At(10e9)
	fmt.Printf("ε′ = %.3f, tan δ = %.4f\n", real(e), -imag(e)/real(e))
	// Output: ε′ = 4.077, tan δ = 0.0205
}

func ExampleFitWidebandDebye() {
	// How much the permittivity of a board falls from 1 to 10 GHz.
	w := FitWidebandDebye(3.66, 0.0037, 10e9)
	fmt.Printf("%.4f per decade; %.3f at 1 GHz\n", w.PerDecade(), real(w.At(1e9)))
	// Output: 0.0200 per decade; 3.680 at 1 GHz
}

func ExamplePTFEPermittivity() {
	// Solid, and expanded to a third of its density.
	fmt.Printf("%.2f %.2f\n", PTFEPermittivity(2.174), PTFEPermittivity(2.174/3))
	// Output: 2.05 1.28
}
