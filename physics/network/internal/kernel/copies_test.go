package kernel

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
)

// randomCopy makes stages of every kind over n frequencies and a setting of
// each; some stages lack a part, some losses vary little, some much.
func randomCopy(r *rand.Rand, n, stages int) ([]Stage, []Setting) {
	ss, set := make([]Stage, stages), make([]Setting, stages)
	for k := range ss {
		s := &ss[k]
		if r.IntN(3) > 0 {
			s.Bound = make([]float64, n)
			rho := 0.4 * r.Float64()
			for i := range s.Bound {
				s.Bound[i] = rho * (0.5 + 0.5*r.Float64())
			}
		}
		if r.IntN(3) > 0 {
			s.Loss = make([]float64, n)
			a := 0.6 * r.Float64()
			for i := range s.Loss {
				s.Loss[i] = a * math.Sqrt(float64(i+1)/float64(n))
			}
		}
		if r.IntN(4) == 0 {
			s.Known, s.Power = make([][3]complex128, n), make([]float64, n)
			for i := range n {
				s11, s22, s21 := cmplx.Rect(0.3*r.Float64(), 7*r.Float64()), cmplx.Rect(0.3*r.Float64(), 7*r.Float64()), cmplx.Rect(0.5+0.3*r.Float64(), 7*r.Float64())
				s.Known[i], s.Power[i] = [3]complex128{-s22, s11, s21*s21 - s11*s22}, real(s21)*real(s21)+imag(s21)*imag(s21)
			}
		}
		x := &set[k]
		*x = Setting{Scale: 2*r.Float64() - 1, Phase: 2 * math.Pi * r.Float64(), Delay: 1e-12 * math.Exp(9*r.Float64())}
		switch r.IntN(4) {
		case 0:
			x.Loss = 1
		case 1:
			x.Loss = 0.95 + 0.1*r.Float64()
		case 2:
			x.Loss = 3 * r.Float64()
		}
		if r.IntN(5) == 0 {
			x.Delay = 0
		}
		if r.IntN(5) == 0 {
			x.Scale = 0
		}
	}
	return ss, set
}

type twoPort struct{ s11, s12, s21, s22 complex128 }

func (a twoPort) star(b twoPort) twoPort {
	d := 1 - a.s22*b.s11
	return twoPort{a.s11 + a.s12*b.s11*a.s21/d, a.s12 * b.s12 / d, b.s21 * a.s21 / d, b.s22 + b.s21*a.s22*b.s12/d}
}

// slowCopy is the twin without recurrence and without taking 1/S21 out: star
// products of two-ports, one frequency after the other.
func slowCopy(ss []Stage, set []Setting, f float64, i int) (s11, s22, s21, ripple float64) {
	abs2 := func(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
	all, alone := twoPort{0, 1, 1, 0}, 1.0
	for k, x := range set {
		s := &ss[k]
		if s.Known != nil {
			m := s.Known[i]
			t := cmplx.Sqrt(m[2] - m[0]*m[1]) // reciprocal; of two roots either: only |S21| shows
			all = all.star(twoPort{m[1], t, t, -m[0]})
			alone *= abs2(t)
		}
		if s.Bound != nil {
			rho := x.Scale * s.Bound[i]
			t := complex(math.Sqrt(1-rho*rho), 0)
			all = all.star(twoPort{complex(rho, 0) * cmplx.Rect(1, x.Phase), t, t, complex(-rho, 0) * cmplx.Rect(1, -x.Phase)})
			alone *= abs2(t)
		}
		a := 0.0
		if s.Loss != nil {
			a = x.Loss * s.Loss[i]
		}
		turns := f * x.Delay
		e := cmplx.Rect(math.Exp(-a), -2*math.Pi*(turns-math.Floor(turns)))
		all = all.star(twoPort{0, e, e, 0})
		alone *= abs2(e)
	}
	return abs2(all.s11), abs2(all.s22), abs2(all.s21), abs2(all.s21) / alone
}

// All implementations against the slow twin, within 1e-13, over odd lengths of
// segments and chains; AVX2 and AVX-512 equal bit for bit; the words beside the
// results stay.
func TestCopiesConformance(t *testing.T) {
	const seed = 9
	r := rand.New(rand.NewPCG(seed, 0))
	worst := map[string]float64{}
	for trial := range 60 {
		segments := []Segment{{24e9, 1e7, []int{1, 7, 16, 17, 201, 700}[trial%6]}}
		if trial%2 == 1 {
			segments = append(segments, Segment{30e9, 3e7, 1 + r.IntN(40)}, Segment{77e9, 0, 1})
		}
		var f []float64
		for _, g := range segments {
			for k := range g.N {
				f = append(f, g.Start+g.Step*float64(k))
			}
		}
		n := len(f)
		stages, set := randomCopy(r, n, []int{0, 1, 3, 8, 19}[trial%5])
		c := NewChain(segments, stages)
		var wide [][]float64
		for _, with := range availableCopies() {
			w := newCopies(with, c)
			var rooms [4][]float64
			for q, out := range []*[]float64{&w.s11, &w.s22, &w.s21, &w.ripple} {
				rooms[q] = make([]float64, n+Lane+16)
				for i := range rooms[q] {
					rooms[q][i] = guard
				}
				*out = rooms[q][8 : 8+n+Lane]
			}
			w.Run(set) // twice: nothing of the first may stay
			s11, s22, s21, ripple := w.Run(set)
			for i := range f {
				a, b, d, e := slowCopy(stages, set, f[i], i)
				for q, diff := range []float64{s11[i] - a, s22[i] - b, s21[i] - d, (ripple[i] - e) / e} {
					worst[with.name] = math.Max(worst[with.name], math.Abs(diff))
					if !(math.Abs(diff) <= 1e-13) {
						t.Fatalf("seed %d, trial %d, %s: result %d at frequency %d of %d differs from the star products by %.3g", seed, trial, with.name, q, i, n, diff)
					}
				}
			}
			for _, room := range rooms {
				for i := range 8 {
					if room[i] != guard || room[len(room)-1-i] != guard {
						t.Fatalf("%s: the word beside a result was overwritten", with.name)
					}
				}
			}
			got := [][]float64{s11, s22, s21, ripple}
			if wide == nil {
				wide = got
			} else if with.name != plainCopies.name {
				for q := range got {
					for i := range got[q] {
						if got[q][i] != wide[q][i] {
							t.Fatalf("%s differs from the wider registers: result %d at frequency %d, %.17g and %.17g", with.name, q, i, got[q][i], wide[q][i])
						}
					}
				}
			}
		}
	}
	t.Logf("greatest difference from the star products: %v", worst)
}

// NaN comes out wherever it goes in.
func TestCopiesNaN(t *testing.T) {
	const n = 20
	for _, with := range availableCopies() {
		for what, change := range map[string]func(*Stage, *Setting){
			"scale":   func(_ *Stage, x *Setting) { x.Scale = math.NaN() },
			"phase":   func(_ *Stage, x *Setting) { x.Phase = math.NaN() },
			"loss":    func(_ *Stage, x *Setting) { x.Loss = math.NaN() },
			"delay":   func(_ *Stage, x *Setting) { x.Delay = math.NaN() },
			"bound":   func(s *Stage, _ *Setting) { s.Bound[n-1] = math.NaN() },
			"table":   func(s *Stage, _ *Setting) { s.Loss[n-1] = math.NaN() },
			"network": func(s *Stage, _ *Setting) { s.Known[n-1][1] = cmplx.NaN() },
		} {
			stages, set := make([]Stage, 2), []Setting{{Scale: 0.5, Loss: 1.1, Delay: 1e-10}, {Scale: 0.5, Loss: 1.1, Delay: 1e-10}}
			for k := range stages {
				s := &stages[k]
				s.Known, s.Power = make([][3]complex128, n), make([]float64, n)
				for i := range n {
					s.Known[i], s.Power[i] = [3]complex128{-0.1, 0.1, 0.5}, 0.51
					s.Bound, s.Loss = append(s.Bound, 0.1), append(s.Loss, 0.2)
				}
			}
			change(&stages[0], &set[0])
			s11, s22, s21, ripple := newCopies(with, NewChain([]Segment{{1e9, 1e8, n}}, stages)).Run(set)
			// A first discontinuity or known reflection that is no number makes all four so;
			// a first line turns what comes from behind.
			if s11[n-1] == s11[n-1] || s22[n-1] == s22[n-1] || s21[n-1] == s21[n-1] || ripple[n-1] == ripple[n-1] {
				t.Errorf("%s: a NaN in the %s gives %g, %g, %g, %g", with.name, what, s11[n-1], s22[n-1], s21[n-1], ripple[n-1])
			}
		}
	}
}

// BenchmarkCopies measures copies of a chain of seven lossy lines with a
// discontinuity before each, at 201 frequencies, seen from both ends; all
// versions in turn within each iteration. The baseline is complex128 with
// cmplx.Exp. It reports the least processor time per stage and frequency.
func BenchmarkCopies(b *testing.B) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	const points, n, run = 201, 7, 100
	r := rand.New(rand.NewPCG(6, 0))
	stages, first := make([]Stage, n), make([]Setting, n)
	f := make([]float64, points)
	for k := range f {
		f[k] = 1e9 + 0.2e9*float64(k)
	}
	for k := range stages {
		a := 0.3 * r.Float64()
		for i := range f {
			stages[k].Bound = append(stages[k].Bound, 0.2)
			stages[k].Loss = append(stages[k].Loss, a*math.Sqrt(f[i]/f[points-1]))
		}
	}
	samples := make([][]Setting, run)
	for s := range samples {
		samples[s] = append([]Setting(nil), first...)
		for k := range first {
			samples[s][k] = Setting{Scale: r.Float64(), Phase: 2 * math.Pi * r.Float64(), Loss: 0.9 + 0.1*r.Float64(), Delay: 1e-9 * r.Float64()}
		}
	}
	type version struct {
		name string
		run  func(set []Setting)
	}
	s11, s22, s21 := make([]float64, points), make([]float64, points), make([]float64, points)
	versions := []version{{"complex128", func(set []Setting) {
		for i, f := range f {
			a, b, c, d, power := complex128(1), complex128(0), complex128(0), complex128(1), 1.0
			for k, x := range set {
				u := cmplx.Rect(x.Scale*stages[k].Bound[i], x.Phase)
				v := cmplx.Conj(u)
				a, b, c, d = a+b*u, b+a*v, c+d*u, d+c*v
				e := cmplx.Exp(complex(-2*x.Loss*stages[k].Loss[i], -4*math.Pi*f*x.Delay))
				b, d = b*e, d*e
				power *= (1 - real(u)*real(u) - imag(u)*imag(u)) * cmplx.Abs(e)
			}
			over := 1 / (real(a)*real(a) + imag(a)*imag(a))
			s11[i], s22[i], s21[i] = (real(c)*real(c)+imag(c)*imag(c))*over, (real(b)*real(b)+imag(b)*imag(b))*over, power*over
		}
	}}}
	chain := NewChain([]Segment{{f[0], 0.2e9, points}}, stages)
	for _, with := range availableCopies() {
		w := newCopies(with, chain)
		versions = append(versions, version{with.name, func(set []Setting) { w.Run(set) }})
	}
	seconds := make([]float64, len(versions))
	begun := false
	for b.Loop() {
		for v := range versions {
			start := cpuSeconds()
			for _, set := range samples {
				versions[v].run(set)
			}
			if s := (cpuSeconds() - start) / run; !begun || s < seconds[v] {
				seconds[v] = s
			}
		}
		begun = true
	}
	for v := range versions {
		name := strings.ReplaceAll(versions[v].name, " ", "-")
		b.ReportMetric(seconds[v]*1e9/points/n, name+"-ns")
		b.ReportMetric(seconds[0]/seconds[v], name+"-x")
	}
}
