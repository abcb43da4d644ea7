package sparse

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// A system is a symmetric matrix by its entries on and below the diagonal.
type system struct {
	n    int
	i, j []int
	v    []float64
}

func (s *system) add(i, j int, v float64) {
	s.i, s.j, s.v = append(s.i, max(i, j)), append(s.j, min(i, j)), append(s.v, v)
}

func (s *system) apply(x []float64) []float64 {
	y := make([]float64, s.n)
	for k, v := range s.v {
		y[s.i[k]] += v * x[s.j[k]]
		if s.i[k] != s.j[k] {
			y[s.j[k]] += v * x[s.i[k]]
		}
	}
	return y
}

func (s *system) dense() *mat.SymDense {
	a := mat.NewSymDense(s.n, nil)
	for k, v := range s.v {
		a.SetSym(s.i[k], s.j[k], a.At(s.i[k], s.j[k])+v)
	}
	return a
}

// plate is −Δ − shift on w by h points, whose eigenvalues are
// 4 sin²(πi/2(w+1)) + 4 sin²(πj/2(h+1)); its unknowns are numbered at random if shuffled.
func plate(w, h int, shift float64, shuffled bool) *system {
	s := &system{n: w * h}
	name := make([]int, s.n)
	for k := range name {
		name[k] = k
	}
	if shuffled {
		name = rand.New(rand.NewPCG(1, 1)).Perm(s.n)
	}
	for y := range h {
		for x := range w {
			k := y*w + x
			s.add(name[k], name[k], 4-shift)
			if x > 0 {
				s.add(name[k], name[k-1], -1)
			}
			if y > 0 {
				s.add(name[k], name[k-w], -1)
			}
		}
	}
	return s
}

// saddle is a field on the edges of a grid with a potential on its nodes: its diagonal is
// zero at every node, so that no node is a pivot before its edges.
func saddle(w, h int) *system {
	s := &system{}
	node := func(x, y int) int { return y*w + x }
	s.n = w * h
	for y := range h {
		for x := range w {
			for c, to := range [2][2]int{{x + 1, y}, {x, y + 1}} {
				e := s.n
				s.n++
				s.add(e, e, 0.001*float64(c+1))
				s.add(e, node(x, y), 1)
				if to[0] < w && to[1] < h {
					s.add(e, node(to[0], to[1]), -1)
				}
			}
		}
	}
	return s
}

// residual is |A x − b| over |A| |x| + |b|, each by its largest.
func residual(s *system, x, b []float64) float64 {
	y := s.apply(x)
	r, a, xs, bs := 0.0, 0.0, 0.0, 0.0
	for k := range y {
		r = math.Max(r, math.Abs(y[k]-b[k]))
		xs, bs = math.Max(xs, math.Abs(x[k])), math.Max(bs, math.Abs(b[k]))
	}
	for _, v := range s.v {
		a = math.Max(a, math.Abs(v))
	}
	return r / (a*xs + bs)
}

func right(n int) []float64 {
	r := rand.New(rand.NewPCG(2, uint64(n)))
	b := make([]float64, n)
	for k := range b {
		b[k] = r.Float64() - 0.5
	}
	return b
}

// Systems of every kind are solved to rounding error.
func TestSolve(t *testing.T) {
	apart := plate(9, 9, 0, false) // two pieces and an unknown by itself
	other := plate(7, 20, 0.3, true)
	for k := range other.v {
		apart.add(other.i[k]+apart.n, other.j[k]+apart.n, other.v[k])
	}
	apart.n += other.n
	apart.add(apart.n, apart.n, -3)
	apart.n++
	star := &system{n: 300} // every unknown touches the first
	for k := 1; k < star.n; k++ {
		star.add(k, 0, 1)
		star.add(k, k, float64(k%3-1))
	}
	star.add(0, 0, 1)
	star.v[1], star.v[5] = 2, 5 // two zeros on the diagonal would make it singular
	for k := range star.v {
		if star.i[k] == star.j[k] && star.v[k] == 0 {
			star.v[k] = 0.5
		}
	}
	swapped := &system{n: 60} // nothing on the diagonal at all
	for k := 0; k < swapped.n; k += 2 {
		swapped.add(k+1, k, float64(k+1))
	}
	full := &system{n: 90}
	for i, v := range right(90 * 90) {
		if i/90 >= i%90 {
			full.add(i/90, i%90, v)
		}
	}
	for _, c := range []struct {
		name string
		*system
	}{
		{"one", &system{1, []int{0}, []int{0}, []float64{-2}}},
		{"plate", plate(40, 30, 0, false)},
		{"plate, shuffled", plate(40, 30, 0, true)},
		{"long plate", plate(400, 3, 0, true)},
		{"chain", plate(1000, 1, 1.234, true)},
		{"indefinite plate", plate(50, 50, 3.9871, true)}, // the middle of the spectrum, many zeros on the way
		{"zero diagonal", plate(40, 38, 4, true)},
		{"saddle", saddle(25, 31)},
		{"pieces", apart},
		{"star", star},
		{"pairs", swapped},
		{"full", full},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, err := Factor(c.n, c.i, c.j, c.v)
			if err != nil {
				t.Fatal(err)
			}
			b := right(c.n)
			x := append([]float64(nil), b...)
			f.Solve(x)
			if r := residual(c.system, x, b); !(r < 1e-12) {
				t.Errorf("the residual is %.2g", r)
			}
			if c.n > 2500 {
				return
			}
			var want mat.VecDense // a second route
			if err := want.SolveVec(c.dense(), mat.NewVecDense(c.n, b)); err != nil {
				t.Fatal(err)
			}
			for k := range x {
				if d := math.Abs(x[k] - want.AtVec(k)); !(d < 1e-8*mat.Norm(&want, math.Inf(1))) {
					t.Fatalf("unknown %d is %g, by a dense solution %g", k, x[k], want.AtVec(k))
				}
			}
		})
	}
}

// Random patterns, entries at one place more than once, a few on the diagonal.
func TestSolveRandom(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(3, seed))
		s := &system{n: 1 + r.IntN(200)}
		for range s.n * (1 + r.IntN(4)) {
			s.add(r.IntN(s.n), r.IntN(s.n), r.NormFloat64())
		}
		for k := range s.n { // a way out for those that nothing touches
			s.add(k, (k+1)%s.n, r.NormFloat64())
		}
		a := s.dense()
		var eig mat.EigenSym
		if !eig.Factorize(a, false) {
			t.Fatal("no eigenvalues")
		}
		low, high := math.Inf(1), 0.0
		for _, v := range eig.Values(nil) {
			low, high = math.Min(low, math.Abs(v)), math.Max(high, math.Abs(v))
		}
		if low < 1e-6*high {
			continue
		}
		f, err := Factor(s.n, s.i, s.j, s.v)
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		b := right(s.n)
		x := append([]float64(nil), b...)
		f.Solve(x)
		if e := residual(s, x, b); !(e < 1e-11) {
			t.Errorf("seed %d, %d unknowns: the residual is %.2g", seed, s.n, e)
		}
	}
}

// A matrix without an inverse is refused, and one that holds NaN.
func TestSingular(t *testing.T) {
	loose := plate(20, 20, 0, false)
	loose.n++ // an unknown in no equation
	for _, c := range []struct {
		name string
		*system
	}{
		{"an empty row", loose},
		{"zero", &system{3, []int{0, 1, 2}, []int{0, 1, 2}, []float64{0, 0, 0}}},
		{"twice the same", &system{2, []int{0, 1, 1}, []int{0, 0, 1}, []float64{1, 1, 1}}},
		{"NaN", &system{2, []int{0, 1, 1}, []int{0, 0, 1}, []float64{1, math.NaN(), 1}}},
	} {
		if _, err := Factor(c.n, c.i, c.j, c.v); !errors.Is(err, ErrSingular) {
			t.Errorf("%s: the error is %v, want ErrSingular", c.name, err)
		}
	}
}

// The factors of a square plate grow as n log n [george1973].
func TestGrowth(t *testing.T) {
	var per []float64
	for _, w := range []int{32, 64, 128} {
		s := plate(w, w, 0, true)
		f, err := Factor(s.n, s.i, s.j, s.v)
		if err != nil {
			t.Fatal(err)
		}
		n := float64(s.n)
		per = append(per, float64(f.Numbers())/(n*math.Log2(n)))
		t.Logf("%d unknowns: %d numbers, %.2f n log2 n", s.n, f.Numbers(), per[len(per)-1])
	}
	if !(per[2] < 1.15*per[0]) {
		t.Errorf("numbers over n log2 n rise: %.3g", per)
	}
}

func BenchmarkFactor(b *testing.B) {
	s := saddle(200, 200)
	b.ReportAllocs()
	for b.Loop() {
		f, err := Factor(s.n, s.i, s.j, s.v)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(f.Numbers()), "numbers")
	}
}

func BenchmarkSolve(b *testing.B) {
	s := saddle(200, 200)
	f, err := Factor(s.n, s.i, s.j, s.v)
	if err != nil {
		b.Fatal(err)
	}
	x := right(s.n)
	for b.Loop() {
		f.Solve(x)
	}
}
