package sample

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// The first points of the sequence in three dimensions, as the literature and the
// authors of the direction numbers print them, in the order of the Gray code.
func TestSobolFirstPoints(t *testing.T) {
	v := directions()
	for i, want := range [][3]float64{
		{0, 0, 0}, {0.5, 0.5, 0.5}, {0.75, 0.25, 0.25}, {0.25, 0.75, 0.75}, {0.375, 0.375, 0.625},
		{0.875, 0.875, 0.125}, {0.625, 0.125, 0.875}, {0.125, 0.625, 0.375}, {0.1875, 0.3125, 0.9375}, {0.6875, 0.8125, 0.4375},
	} {
		gray := i ^ i>>1
		for d := range 3 {
			var x uint32
			for j := range 8 {
				if gray>>j&1 == 1 {
					x ^= v[d][j]
				}
			}
			if got := float64(x) * 0x1p-32; got != want[d] {
				t.Errorf("point %d, dimension %d: %g, printed %g", i, d+1, got, want[d])
			}
		}
	}
}

// What can be checked of the table without its source: every polynomial is
// primitive, all are different and in order, the numbers are odd and below 2^i.
func TestDirectionTable(t *testing.T) {
	rows := strings.Split(strings.TrimSpace(directionTable), "\n")[1:]
	if len(rows) != SobolDimensions-1 {
		t.Fatalf("%d rows, want %d", len(rows), SobolDimensions-1)
	}
	last := 0
	for k, row := range rows {
		var n []int
		for _, f := range strings.Fields(row) {
			x, err := strconv.Atoi(f)
			if err != nil {
				t.Fatal(err)
			}
			n = append(n, x)
		}
		s, a, m := n[1], n[2], n[3:]
		if n[0] != k+2 || len(m) != s {
			t.Fatalf("row %q", row)
		}
		poly := 1<<s | a<<1 | 1
		if poly <= last {
			t.Errorf("dimension %d: polynomial %b does not follow %b", k+2, poly, last)
		}
		last = poly
		// Primitive: x has order 2^s − 1 modulo the polynomial.
		x, order := 1, 0
		for {
			if x <<= 1; x>>s&1 == 1 {
				x ^= poly
			}
			order++
			if x == 1 || order > 1<<s {
				break
			}
		}
		if order != 1<<s-1 {
			t.Errorf("dimension %d: polynomial %b has order %d, not 2^%d − 1", k+2, poly, order, s)
		}
		for i, x := range m {
			if x&1 == 0 || x >= 1<<(i+1) {
				t.Errorf("dimension %d: m_%d = %d must be odd and below %d", k+2, i+1, x, 1<<(i+1))
			}
		}
	}
}

// Scrambling keeps the net: in each of the 128 dimensions every stratum of a
// power-of-two prefix holds one point, and the first two dimensions form a (0, m,
// 2)-net: so does every elementary box of theirs.
func TestScrambledNet(t *testing.T) {
	const m = 10
	p := Plan{Method: Sobol, Seed: 99, N: 1 << m, Replicates: 1}
	points := make([][]float64, 1<<m)
	for i := range points {
		points[i] = make([]float64, SobolDimensions)
		p.Point(i, points[i])
	}
	for d := range SobolDimensions {
		seen := make([]bool, 1<<m)
		for _, u := range points {
			k := int(u[d] * (1 << m))
			if seen[k] {
				t.Fatalf("dimension %d: two points in stratum %d", d+1, k)
			}
			seen[k] = true
		}
	}
	for a := 0; a <= m; a++ {
		seen := map[[2]int]bool{}
		for _, u := range points {
			box := [2]int{int(u[0] * float64(int(1)<<a)), int(u[1] * float64(int(1)<<(m-a)))}
			if seen[box] {
				t.Fatalf("boxes 2^-%d by 2^-%d: two points in %v", a, m-a, box)
			}
			seen[box] = true
		}
	}
}

// Low discrepancy: by Warnock's formula the squared L2 star discrepancy of the
// sequence is less than half the expectation of random points, (2^−s − 3^−s)/N,
// in pairs near and far up and in eight dimensions.
func TestDiscrepancy(t *testing.T) {
	const n = 1024
	for _, dims := range [][]int{{0, 1}, {30, 31}, {0, 1, 2, 3, 4, 5, 6, 7}, {126, 127}} {
		p := Plan{Method: Sobol, Seed: 5, N: n, Replicates: 1}
		u := make([][]float64, n)
		for i := range u {
			all := make([]float64, SobolDimensions)
			p.Point(i, all)
			for _, d := range dims {
				u[i] = append(u[i], all[d])
			}
		}
		s := float64(len(dims))
		sum := math.Pow(3, -s)
		for i := range u {
			prod := 1.0
			for _, x := range u[i] {
				prod *= (1 - x*x) / 2
			}
			sum -= 2 * prod / n
			for j := range u {
				prod := 1.0
				for d, x := range u[i] {
					prod *= 1 - math.Max(x, u[j][d])
				}
				sum += prod / n / n
			}
		}
		random := (math.Pow(2, -s) - math.Pow(3, -s)) / n
		if !(sum < random/2) {
			t.Errorf("dimensions %v: squared discrepancy %.3g, random points %.3g", dims, sum, random)
		}
	}
}

// The error of a smooth integral in 12 inputs falls like N^−1 or faster with
// the sequence, like N^−½ at random; the Latin hypercube takes out the additive part.
func TestConvergence(t *testing.T) {
	f := func(u []float64) float64 {
		y := 1.0
		for i, x := range u {
			y *= 1 + (x-0.5)/float64(i+1)
		}
		return y // mean 1
	}
	rms := func(m Method, n int) float64 {
		sum := 0.0
		const seeds = 16
		u := make([]float64, 12)
		for seed := range uint64(seeds) {
			p := Plan{Method: m, Seed: seed, N: n, Replicates: 1}
			mean := 0.0
			for i := range n {
				p.Point(i, u)
				mean += f(u) / float64(n)
			}
			sum += (mean - 1) * (mean - 1) / seeds
		}
		return math.Sqrt(sum)
	}
	order := func(m Method) float64 { return math.Log2(rms(m, 256)/rms(m, 4096)) / 4 }
	if got := order(Sobol); !(got > 1) {
		t.Errorf("the sequence converges with order %.2f, want above 1", got)
	}
	if got := order(Random); !(math.Abs(got-0.5) <= 0.25) {
		t.Errorf("random sampling converges with order %.2f, want about 0.5", got)
	}
	sobol, latin, random := rms(Sobol, 4096), rms(LatinHypercube, 4096), rms(Random, 4096)
	if !(sobol < latin && latin < random/1.5) {
		t.Errorf("rms errors at 4096: sequence %.2g, latin hypercube %.2g, random %.2g", sobol, latin, random)
	}
}

// Every stratum of every input once, within each replicate.
func TestLatinStrata(t *testing.T) {
	p := Plan{Method: LatinHypercube, Seed: 4, N: 8 * 125}
	const n = 125
	u := make([]float64, 7)
	seen := map[[3]int]bool{}
	for i := range p.N {
		p.Point(i, u)
		for d, x := range u {
			k := [3]int{i % 8, d, int(x * n)}
			if seen[k] {
				t.Fatalf("replicate %d, input %d: stratum %d twice", k[0], d, k[2])
			}
			seen[k] = true
		}
	}
}

func TestPermute(t *testing.T) {
	for _, n := range []uint64{1, 2, 3, 5, 64, 100, 1000} {
		seen := make([]bool, n)
		for k := range n {
			j := permute(k, n, 12345)
			if j >= n || seen[j] {
				t.Fatalf("n = %d: %d goes to %d, out of range or taken", n, k, j)
			}
			seen[j] = true
		}
	}
	// Over keys every place is as likely: chi-square with 6 degrees of freedom.
	count := [7]float64{}
	const trials = 7000
	for key := range uint64(trials) {
		count[permute(3, 7, mix(key))]++
	}
	chi := 0.0
	for _, c := range count {
		chi += (c - trials/7) * (c - trials/7) / (trials / 7)
	}
	if !(chi < 22.46) { // 0.1 % point
		t.Errorf("places of 3 over keys: %v, chi-square %.1f", count, chi)
	}
}

// Neighbouring samples and neighbouring seeds of the random method share
// nothing: correlations of their first numbers are within 4 standard errors of zero, and
// the numbers are uniform.
func TestRandomStreams(t *testing.T) {
	const n = 40000
	var a, b, c, d []float64
	u, v := make([]float64, 2), make([]float64, 2)
	for i := range n {
		p, q := Plan{Seed: 7, N: n + 1}, Plan{Seed: 8, N: n + 1}
		p.Point(i, u)
		a, b = append(a, u[0]), append(b, u[1])
		p.Point(i+1, v)
		c = append(c, v[0])
		q.Point(i, v)
		d = append(d, v[0])
	}
	for name, x := range map[string][]float64{"next input": b, "next sample": c, "next seed": d} {
		if r := CorrelationOf(a, x); !(math.Abs(r) <= 4/math.Sqrt(n)) {
			t.Errorf("%s: correlation %.4f", name, r)
		}
	}
	bins := [20]float64{}
	for _, x := range a {
		bins[int(x*20)]++
	}
	chi := 0.0
	for _, k := range bins {
		chi += (k - n/20) * (k - n/20) / (n / 20)
	}
	if !(chi < 43.8) { // 0.1 % point, 19 degrees of freedom
		t.Errorf("chi-square %.1f: %v", chi, bins)
	}
}

func TestPlanCheck(t *testing.T) {
	for _, p := range []Plan{{}, {N: 10, Method: "quadrature"}, {N: 10, Replicates: 11}, {N: 10, Replicates: -1}, {N: 100, Method: LatinHypercube}, {N: 1 << 33, Method: Sobol}} {
		if p.Check() == nil {
			t.Errorf("%+v: no error", p)
		}
	}
	for _, p := range []Plan{{N: 1}, {N: 1, Method: Sobol}, {N: 4, Method: LatinHypercube}, {N: 1000, Method: LatinHypercube}} {
		if err := p.Check(); err != nil {
			t.Errorf("%+v: %v", p, err)
		}
	}
}
