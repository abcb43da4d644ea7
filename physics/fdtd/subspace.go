package fdtd

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// subspace finds the solutions of a z = λ b z nearest to sigma, a and b being
// symmetric, by inverse iteration of as many vectors as start holds; solve overwrites
// x with (a − sigma b)⁻¹ x. The nearest comes first; ok says that the first want stand
// after at most so many turns.
func subspace(start [][]float64, sigma float64, want, turns int, solve func(x []float64), a, b func(x, y []float64)) (values []float64, vectors [][]float64, ok bool) {
	z := make([][]float64, len(start))
	for i := range z {
		z[i] = slices.Clone(start[i])
	}
	n := len(z[0])
	y := make([]float64, n)
	var last []float64
	steady := -1
	for turn := range turns {
		for i := range z {
			b(z[i], y)
			solve(y)
			copy(z[i], y)
		}
		z = straight(z)
		p := len(z)
		ab, bb := mat.NewDense(p, p, nil), mat.NewDense(p, p, nil)
		for i := range p {
			a(z[i], y)
			for j := range p {
				ab.Set(i, j, dot(z[j], y))
			}
			b(z[i], y)
			for j := range p {
				bb.Set(i, j, dot(z[j], y))
				ab.Set(i, j, ab.At(i, j)-sigma*bb.At(i, j))
			}
		}
		near, by, fine := small(ab, bb)
		if !fine {
			return nil, nil, false
		}
		next := make([][]float64, len(near))
		values = values[:0]
		for i := range near {
			values = append(values, sigma+1/near[i])
			next[i] = make([]float64, n)
			for j := range p {
				for k, v := range z[j] {
					next[i][k] += by[i][j] * v
				}
			}
		}
		z = next
		if len(z) < want {
			return nil, nil, false
		}
		moved := 0.0
		for i := range min(want, len(last)) {
			moved = max(moved, math.Abs(values[i]-last[i])/(math.Abs(values[i]-sigma)+1e-3*math.Abs(sigma)))
		}
		if steady < 0 && last != nil && (moved < 1e-11 || turn >= 12 && moved < 1e-7) { // rounding: waves long beside a cell
			steady = turn
		}
		if steady >= 0 && turn >= 2*steady { // a vector is half as good as its value
			return values, z, true
		}
		last = slices.Clone(values)
	}
	return values, z, steady >= 0
}

// lowest finds the want lowest solutions of a z = λ b z above sigma with some company, a
// and b being symmetric, b positive. at factors a − σb; where what is sought lies close
// together and far from sigma, it is asked again, nearer.
func lowest(n, want, company int, sigma float64, at func(sigma float64) (solve func(x []float64), ok bool), a, b func(x, y []float64)) (values []float64, vectors [][]float64, ok bool) {
	want = min(want, n)
	vectors = strangers(n, min(want+company, n))
	for range 8 {
		solve, fits := at(sigma)
		if !fits {
			return nil, nil, false
		}
		if values, vectors, ok = subspace(vectors, sigma, want, 40, solve, a, b); ok || vectors == nil {
			return values, vectors, ok
		}
		low, high := slices.Min(values), slices.Max(values)
		sigma = max(sigma, low-0.05*(high-low))
	}
	return values, vectors, ok
}

// straight makes vectors orthogonal and of length one; it drops those that are not
// independent.
func straight(z [][]float64) (out [][]float64) {
	for _, v := range z {
		size := math.Sqrt(dot(v, v))
		if !(size > 0) || math.IsInf(size, 0) {
			continue
		}
		for i := range v {
			v[i] /= size
		}
		for range 2 {
			for _, u := range out {
				c := dot(u, v)
				for i := range v {
					v[i] -= c * u[i]
				}
			}
		}
		left := math.Sqrt(dot(v, v))
		if left < 1e-12 {
			continue
		}
		for i := range v {
			v[i] /= left
		}
		out = append(out, v)
	}
	return out
}

// small solves b v = ν a v of small symmetric matrices that need not be positive, the
// largest |ν| first. Of a pair that is not real it gives both parts.
func small(a, b *mat.Dense) (values []float64, vectors [][]float64, ok bool) {
	var t mat.Dense
	if err := t.Solve(a, b); err != nil {
		if _, weak := err.(mat.Condition); !weak {
			return nil, nil, false
		}
	}
	var eig mat.Eigen
	if !eig.Factorize(&t, mat.EigenRight) {
		return nil, nil, false
	}
	all := eig.Values(nil)
	var v mat.CDense
	eig.VectorsTo(&v)
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		x, y := math.Abs(real(all[i])), math.Abs(real(all[j]))
		switch {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	for _, i := range order {
		if real(all[i]) == 0 {
			continue
		}
		re, im := make([]float64, len(all)), make([]float64, len(all))
		for j := range re {
			re[j], im[j] = real(v.At(j, i)), imag(v.At(j, i))
		}
		values = append(values, real(all[i]))
		if imag(all[i]) < 0 { // the other of a pair
			re = im
		}
		vectors = append(vectors, re)
	}
	return values, vectors, len(values) > 0
}

// strangers are vectors that hold a part of every mode.
func strangers(n, count int) [][]float64 {
	r := rand.New(rand.NewPCG(1, 2))
	out := make([][]float64, count)
	for i := range out {
		out[i] = make([]float64, n)
		for k := range out[i] {
			out[i][k] = r.Float64() - 0.5
		}
	}
	return out
}
