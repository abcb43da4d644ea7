package network

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func TestLineSweepIsCascade(t *testing.T) {
	r := seeded(t, 91)
	for _, points := range []int{1, 8, 201, 700} {
		f := grid(0.5e9, 40e9, points)
		step := 0.0
		if points > 1 {
			step = f[1] - f[0]
		}
		sweep := NewLineSweep(f[0], step, points)
		for range 5 {
			var sections []Section
			chain := []Network{Line(f, 50, func(float64) (complex128, complex128) { return 0, 50 })}
			for range r.IntN(8) {
				x := Section{20 + 80*r.Float64(), 1e-9 * r.Float64(), 2e-6 * r.Float64(), 5e-12 * r.Float64()}
				sections = append(sections, x)
				chain = append(chain, Line(f, 50, func(f float64) (complex128, complex128) {
					return complex(x.Skin*math.Sqrt(f)+x.Dielectric*f, 2*math.Pi*f*x.Delay), complex(x.Impedance, 0)
				}))
			}
			want := must(Cascade(chain...))
			s11, s21 := sweep.Powers(50, sections)
			for k := range f {
				if a, b := abs2(want.At(k, 0, 0)), abs2(want.At(k, 1, 0)); !(math.Abs(s11[k]-a) <= 1e-12 && math.Abs(s21[k]-b) <= 1e-12) {
					t.Fatalf("%d sections, frequency %d of %d: %.15g, %.15g, want %.15g, %.15g", len(sections), k, points, s11[k], s21[k], a, b)
				}
			}
		}
	}
}

// How many assemblies of cable and two launches keep a return loss of 20 dB
// when the impedances vary?
func ExampleLineSweep() {
	sweep := NewLineSweep(1e9, 0.2e9, 196) // 1 to 40 GHz
	r := rand.New(rand.NewPCG(1, 2))
	vary := func(nominal, sigma float64) float64 { return nominal + sigma*r.NormFloat64() }
	good := 0
	for range 1000 {
		s11, _ := sweep.Powers(50, []Section{
			{Impedance: vary(50, 2), Delay: 30e-12, Skin: 1e-7},
			{Impedance: vary(50, 1), Delay: 1.4e-9, Skin: 1.2e-6, Dielectric: 1e-12},
			{Impedance: vary(50, 2), Delay: 30e-12, Skin: 1e-7},
		})
		worst := 0.0
		for _, p := range s11 {
			worst = max(worst, p)
		}
		if -10*math.Log10(worst) >= 20 {
			good++
		}
	}
	fmt.Printf("%.0f %% keep 20 dB\n", float64(good)/10)
	// Output: 89 % keep 20 dB
}
