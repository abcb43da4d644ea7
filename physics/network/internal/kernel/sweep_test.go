package kernel

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"
)

// randomLines has steps of up to 0.3, delays of a cable or a bead, and losses
// up to about a neper at 40 GHz.
func randomLines(r *rand.Rand, n int) []Line {
	ls := make([]Line, n)
	for i := range ls {
		ls[i] = Line{Rho: 0.6*r.Float64() - 0.3, Delay: 1e-12 * math.Exp(7*r.Float64()), Phase: r.Float64(),
			Skin: 2e-6 * r.Float64(), Linear: 1e-11 * r.Float64(), Fixed: 0.2 * r.Float64()}
	}
	return ls
}

// slow is the twin without recurrence: a complex exponential at every frequency
// and line, in star products of two-ports.
func slow(lines []Line, end, f float64, fixed bool) (s11, s21 float64) {
	type twoPort struct{ s11, s12, s21, s22 complex128 }
	step := func(rho float64) twoPort {
		t := complex(math.Sqrt(1-rho*rho), 0)
		return twoPort{complex(rho, 0), t, t, complex(-rho, 0)}
	}
	star := func(a, b twoPort) twoPort {
		d := 1 - a.s22*b.s11
		return twoPort{a.s11 + a.s12*b.s11*a.s21/d, a.s12 * b.s12 / d, b.s21 * a.s21 / d, b.s22 + b.s21*a.s22*b.s12/d}
	}
	all := twoPort{0, 1, 1, 0}
	for _, l := range lines {
		loss := l.Skin*math.Sqrt(f) + l.Linear*f
		if fixed {
			loss = l.Fixed
		}
		turns := l.Delay * f
		e := cmplx.Rect(math.Exp(-loss), math.Pi*l.Phase-2*math.Pi*(turns-math.Floor(turns)))
		all = star(star(all, step(l.Rho)), twoPort{0, e, e, 0})
	}
	all = star(all, step(end))
	abs2 := func(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }
	return abs2(all.s11), abs2(all.s21)
}

// All implementations against the slow twin over odd lengths of sweep and
// chain, within 1e-13; AVX2 and AVX-512 equal bit for bit; guard words.
func TestSweepConformance(t *testing.T) {
	const seed = 4
	r := rand.New(rand.NewPCG(seed, 0))
	worst := map[string]float64{}
	for _, points := range []int{1, 7, 8, 9, 201, 513, 1601} {
		for _, n := range []int{0, 1, 2, 7, 19} {
			lines, end := randomLines(r, n), 0.5*r.Float64()
			step := 40e9 / float64(points)
			var first *Sweeper
			for _, with := range availableSweeps() {
				s := newSweeper(with, 0.1e9, step, points)
				if len(s.s11)%Lane != 0 || len(s.s11) < points || len(s.s11) >= points+Lane {
					t.Fatalf("%d points became %d", points, len(s.s11))
				}
				room11, room21 := make([]float64, len(s.s11)+16), make([]float64, len(s.s11)+16) // eight on either side
				for i := range room11 {
					room11[i], room21[i] = guard, guard
				}
				s.s11, s.s21 = room11[8:8+len(s.s11)], room21[8:8+len(s.s11)]
				check := func(what string, fixed bool) {
					for k, f := range s.frequency {
						want11, want21 := slow(lines, end, f, fixed)
						e := math.Abs(s.s11[k] - want11)
						if !fixed {
							e = math.Max(e, math.Abs(s.s21[k]-want21))
						}
						if !(e <= 1e-13) {
							t.Fatalf("%s, %s: %d lines, frequency %d of %d: |S11|² %.16g, |S21|² %.16g, want %.16g, %.16g (seed %d)",
								with.name, what, n, k, points, s.s11[k], s.s21[k], want11, want21, seed)
						}
						worst[with.name] = max(worst[with.name], e)
					}
				}
				s.Lines(lines, end)
				check("lines", false)
				if first == nil {
					first = newSweeper(with, 0.1e9, step, points)
					first.Lines(lines, end)
				} else if with.name != plainSweep.name {
					for k := range first.s11 {
						if first.s11[k] != s.s11[k] || first.s21[k] != s.s21[k] {
							t.Fatalf("%s differs from the wider registers at frequency %d: %.17g, %.17g", with.name, k, s.s11[k], first.s11[k])
						}
					}
				}
				s.Reflect(lines, end)
				check("reflect", true)
				for i := range 8 {
					if j := len(room11) - 1 - i; room11[i] != guard || room21[i] != guard || room11[j] != guard || room21[j] != guard {
						t.Fatalf("%s: the word beside the result was overwritten", with.name)
					}
				}
			}
		}
	}
	t.Logf("greatest error %v", worst)
}

func TestSincosTurns(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 0))
	const n = 1 << 16
	turns, sin, cos := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range turns {
		turns[i] = math.Ldexp(r.NormFloat64(), r.IntN(30)-10)
		if i < 64 {
			turns[i] = float64(i-32) / 16 // the joints of the quadrants
		}
	}
	turns[64] = math.NaN()
	for _, with := range availableSweeps() {
		with.sincos(sin, cos, turns)
		for i, x := range turns {
			wantSin, wantCos := math.Sincos(2 * math.Pi * (x - math.Round(x))) // 2π rounded: 1e-16 of the angle
			if i == 64 {
				if sin[i] == sin[i] || cos[i] == cos[i] {
					t.Errorf("%s: NaN turns give %g, %g", with.name, sin[i], cos[i])
				}
			} else if !(math.Abs(sin[i]-wantSin) <= 6e-16 && math.Abs(cos[i]-wantCos) <= 6e-16) {
				t.Fatalf("%s: %g turns: %.17g, %.17g, want %.17g, %.17g", with.name, x, sin[i], cos[i], wantSin, wantCos)
			}
		}
	}
}

// NaN goes through every input; a loss beyond the exponential's range gives 0.
func TestSweepNaN(t *testing.T) {
	for _, with := range availableSweeps() {
		s := newSweeper(with, 1e9, 1e9, 8)
		for what, change := range map[string]func(*Line){
			"rho":    func(l *Line) { l.Rho = math.NaN() },
			"delay":  func(l *Line) { l.Delay = math.NaN() },
			"phase":  func(l *Line) { l.Phase = math.NaN() },
			"skin":   func(l *Line) { l.Skin = math.NaN() },
			"linear": func(l *Line) { l.Linear = math.NaN() },
		} {
			lines := randomLines(rand.New(rand.NewPCG(5, 0)), 3)
			change(&lines[1])
			s11, s21 := s.Lines(lines, 0.1)
			for k := range s11 {
				if s11[k] == s11[k] || s21[k] == s21[k] {
					t.Errorf("%s: a NaN in %s gives %g and %g", with.name, what, s11[k], s21[k])
					break
				}
			}
		}
		s11, s21 := s.Lines([]Line{{Rho: 0.25, Linear: 1e-3}}, 0.5)
		for k := range s11 {
			if s11[k] != 0.0625 || !(s21[k] <= 1e-300) {
				t.Errorf("%s: an endless loss gives %g and %g", with.name, s11[k], s21[k])
			}
		}
	}
}

// BenchmarkSweep measures 7 mismatched lossy lines over 201 frequencies, all
// versions in turn within each iteration; the baseline is complex128 with
// cmplx.Exp. It reports the least processor time per line and frequency.
func BenchmarkSweep(b *testing.B) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	const points, n, run = 201, 7, 100
	r := rand.New(rand.NewPCG(6, 0))
	var samples [][]Line
	for range run {
		samples = append(samples, randomLines(r, n))
	}
	frequency := make([]float64, points)
	for k := range frequency {
		frequency[k] = 1e9 + 0.2e9*float64(k)
	}
	s11, s21 := make([]float64, points), make([]float64, points)
	type version struct {
		name string
		run  func(lines []Line)
	}
	versions := []version{{"complex128", func(lines []Line) {
		for k, f := range frequency {
			root := math.Sqrt(f)
			u, v, scale := complex128(0.1), complex128(1), 1.0
			for i := len(lines) - 1; i >= 0; i-- {
				l := &lines[i]
				e := cmplx.Exp(complex(-l.Skin*root-l.Linear*f, -2*math.Pi*l.Delay*f))
				rho := complex(l.Rho, 0)
				u *= e * e
				u, v = u+rho*v, v+rho*u
				scale *= (1 - l.Rho*l.Rho) * (real(e)*real(e) + imag(e)*imag(e))
			}
			d := real(v)*real(v) + imag(v)*imag(v)
			s11[k], s21[k] = (real(u)*real(u)+imag(u)*imag(u))/d, scale/d
		}
	}}}
	for _, with := range availableSweeps() {
		s := newSweeper(with, 1e9, 0.2e9, points)
		versions = append(versions, version{with.name, func(lines []Line) { s.Lines(lines, 0.1) }},
			version{with.name + " reflect", func(lines []Line) { s.Reflect(lines, 0.1) }})
	}
	seconds := make([]float64, len(versions))
	first := true
	for b.Loop() {
		for v := range versions {
			start := cpuSeconds()
			for _, lines := range samples {
				versions[v].run(lines)
			}
			if s := (cpuSeconds() - start) / run; first || s < seconds[v] {
				seconds[v] = s
			}
		}
		first = false
	}
	for v := range versions {
		name := strings.ReplaceAll(versions[v].name, " ", "-")
		b.ReportMetric(seconds[v]*1e9/points/n, name+"-ns")
		b.ReportMetric(seconds[0]/seconds[v], name+"-x")
	}
}
