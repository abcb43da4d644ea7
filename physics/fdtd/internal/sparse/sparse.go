// Package sparse solves large symmetric systems whose entries are few, such as
// those of a field on a grid in a plane.
//
// The unknowns are ordered by nested dissection [george1973]: a few of them, the
// separator, cut the rest into two parts that do not touch; each part is cut in turn. The
// parts are eliminated first, each as a small dense matrix (a front) that leaves a dense
// matrix on the unknowns about it [duffreid1983]. On a grid of n unknowns the
// factors hold some n log n numbers and take some n^1.5 multiplications, where those of
// a band matrix hold n^1.5 and take n².
//
// The matrix need not be definite. A pivot, of one unknown or of two, is taken where it is
// not small beside its row; an unknown without one waits for the front above, at last for
// the top one, which always has one unless the matrix is singular.
package sparse

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
)

// ErrSingular says that a matrix has no inverse, or holds what is not a number.
var ErrSingular = errors.New("sparse: matrix is singular")

const (
	// leaf is the number of unknowns that are not cut further.
	leaf = 24
	// threshold is the least part of its row that a pivot may be.
	threshold = 0.01
)

// Factors are P A Pᵀ = L D Lᵀ of a symmetric matrix A; D has blocks of one and of two.
type Factors struct {
	n      int
	fronts []front
	tree   []branch
}

// A front is what one separator's elimination left.
type front struct {
	at     []int     // unknowns: the eliminated ones, then those that they touch
	gone   int       // eliminated
	lower  []float64 // of each eliminated unknown k in turn, L of at[k+1:]
	diag   []float64 // of D, at each eliminated unknown
	beside []float64 // of D, beside it: with the next unknown where not 0
}

// Factor returns the factors of the matrix of n unknowns whose entries v stand at i, j
// on or below the diagonal; entries at one place are added up.
func Factor(n int, i, j []int, v []float64) (*Factors, error) {
	a := compress(n, i, j, v)
	f := &Factors{n: n, tree: a.dissect()}
	e := elimination{matrix: a, local: make([]int, n), owner: make([]int, n)}
	for t, b := range f.tree {
		for _, k := range b.own {
			e.owner[k] = t
		}
	}
	rest := make([]remainder, len(f.tree))
	f.fronts = make([]front, len(f.tree))
	for t, b := range f.tree {
		var under []remainder
		for _, c := range b.children {
			under = append(under, rest[c])
			rest[c] = remainder{}
		}
		f.fronts[t], rest[t] = e.eliminate(t, b.own, under)
		if b.root && len(rest[t].at) > 0 {
			return nil, ErrSingular
		}
	}
	return f, nil
}

// Numbers returns how many numbers the factors hold.
func (f *Factors) Numbers() int {
	sum := 0
	for _, x := range f.fronts {
		sum += len(x.lower) + 2*len(x.diag)
	}
	return sum
}

// Solve overwrites x with A⁻¹ x.
func (f *Factors) Solve(x []float64) {
	var y []float64
	gather := func(at []int) []float64 {
		y = y[:0]
		for _, k := range at {
			y = append(y, x[k])
		}
		return y
	}
	for _, t := range f.fronts {
		y := gather(t.at)
		lower := t.lower
		for k := range t.gone {
			rest := y[k+1:]
			if y[k] != 0 {
				axpy(-y[k], lower[:len(rest)], rest)
			}
			lower = lower[len(rest):]
		}
		for k := 0; k < t.gone; k++ {
			if o := t.beside[k]; o != 0 {
				y[k], y[k+1] = solve2(t.diag[k], o, t.diag[k+1], y[k], y[k+1])
				k++
			} else {
				y[k] /= t.diag[k]
			}
		}
		for k, at := range t.at {
			x[at] = y[k]
		}
	}
	for _, t := range slices.Backward(f.fronts) {
		y := gather(t.at)
		end := len(t.lower)
		for k := t.gone - 1; k >= 0; k-- {
			rest := y[k+1:]
			y[k] -= dot(t.lower[end-len(rest):end], rest)
			end -= len(rest)
			x[t.at[k]] = y[k]
		}
	}
}

// solve2 solves (a b; b c) (x y)ᵀ = (p q)ᵀ, b being the largest or nearly so.
func solve2(a, b, c, p, q float64) (x, y float64) {
	a, c, p, q = a/b, c/b, p/b, q/b
	det := a*c - 1
	return (c*p - q) / det, (a*q - p) / det
}

func axpy(a float64, x, y []float64) {
	blas64.Axpy(a, blas64.Vector{N: len(x), Inc: 1, Data: x}, blas64.Vector{N: len(y), Inc: 1, Data: y})
}

func dot(x, y []float64) float64 {
	return blas64.Dot(blas64.Vector{N: len(x), Inc: 1, Data: x}, blas64.Vector{N: len(y), Inc: 1, Data: y})
}

// A matrix holds both halves of a symmetric matrix, row by row, and its diagonal.
type matrix struct {
	n     int
	first []int // of each row; the last is the end
	col   []int
	v     []float64
	diag  []float64
}

func compress(n int, i, j []int, v []float64) *matrix {
	a := &matrix{n: n, diag: make([]float64, n)}
	count := make([]int, n+1)
	for k := range i {
		if i[k] != j[k] {
			count[i[k]+1]++
			count[j[k]+1]++
		}
	}
	for k := range n {
		count[k+1] += count[k]
	}
	next := slices.Clone(count[:n])
	col, val := make([]int, count[n]), make([]float64, count[n])
	for k := range i {
		p, q := i[k], j[k]
		if p == q {
			a.diag[p] += v[k]
			continue
		}
		col[next[p]], val[next[p]] = q, v[k]
		next[p]++
		col[next[q]], val[next[q]] = p, v[k]
		next[q]++
	}
	// entries at one place
	seen := make([]int, n) // place in the result, plus one
	a.first = append(a.first, 0)
	for r := range n {
		begin := len(a.col)
		for k := count[r]; k < count[r+1]; k++ {
			c := col[k]
			if at := seen[c] - 1; at >= begin {
				a.v[at] += val[k]
				continue
			}
			a.col, a.v = append(a.col, c), append(a.v, val[k])
			seen[c] = len(a.col)
		}
		a.first = append(a.first, len(a.col))
	}
	return a
}

// A branch of the tree of separators; children stand before it.
type branch struct {
	own      []int
	children []int
	root     bool
}

// dissect orders the unknowns.
func (a *matrix) dissect() (tree []branch) {
	var (
		part  = make([]int, a.n) // of each unknown that is not yet placed
		level = make([]int, a.n)
		label = 0
	)
	// layers puts what is reached from start in the order of its distance; ends are where
	// each distance ends.
	layers := func(start, label int, in []int) (order, ends []int) {
		order = append(in[:0], start)
		level[start] = 0
		part[start] = -label
		for low := 0; low < len(order); {
			high := len(order)
			for _, k := range order[low:high] {
				for _, c := range a.col[a.first[k]:a.first[k+1]] {
					if part[c] == label {
						part[c] = -label
						level[c] = len(ends) + 1
						order = append(order, c)
					}
				}
			}
			ends = append(ends, high)
			low = high
		}
		for _, k := range order {
			part[k] = label
		}
		return order, ends
	}
	var cut func(all []int) int // returns the branch
	cut = func(all []int) int {
		label++
		mine := label
		for _, k := range all {
			part[k] = mine
		}
		whole := func() int {
			tree = append(tree, branch{own: all})
			return len(tree) - 1
		}
		if len(all) <= leaf {
			return whole()
		}
		order, ends := layers(all[0], mine, nil)
		if len(order) < len(all) { // in pieces
			var b branch
			seen := slices.Clone(order)
			for {
				for _, k := range seen {
					part[k] = 0
				}
				b.children = append(b.children, cut(seen))
				left := slices.IndexFunc(all, func(k int) bool { return part[k] == mine })
				if left < 0 {
					break
				}
				seen, _ = layers(all[left], mine, nil)
				all = all[left:]
			}
			tree = append(tree, b)
			return len(tree) - 1
		}
		for range 3 { // from an end of the part
			far := order[len(order)-1]
			was := len(ends)
			order, ends = layers(far, mine, order)
			if len(ends) <= was {
				break
			}
		}
		best, least := -1, math.Inf(1)
		for k := 1; k+1 < len(ends); k++ {
			low, high := float64(ends[k-1]), float64(len(order)-ends[k])
			if cost := float64(ends[k]-ends[k-1]) / (low * high); cost < least {
				best, least = k, cost
			}
		}
		if best < 0 {
			return whole()
		}
		low := slices.Clone(order[:ends[best-1]])
		high := slices.Clone(order[ends[best]:])
		var own []int
		for _, k := range order[ends[best-1]:ends[best]] {
			touches := false
			for _, c := range a.col[a.first[k]:a.first[k+1]] {
				touches = touches || part[c] == mine && level[c] == best+1
			}
			if touches {
				own = append(own, k)
			} else {
				low = append(low, k)
			}
		}
		for _, k := range own {
			part[k] = 0
		}
		for _, k := range high {
			part[k] = 0
		}
		b := branch{own: own}
		b.children = append(b.children, cut(low))
		b.children = append(b.children, cut(high))
		tree = append(tree, b)
		return len(tree) - 1
	}
	all := make([]int, a.n)
	for k := range all {
		all[k] = k
	}
	if a.n > 0 {
		tree[cut(all)].root = true
	}
	return tree
}

// A remainder is the dense matrix that a front leaves on the unknowns about it, of which
// the first few wait for a pivot; of it the half on and above the diagonal counts.
type remainder struct {
	at    []int
	waits int
	v     []float64
}

type elimination struct {
	*matrix
	local []int // place in the front of each unknown, plus one
	owner []int // branch of each unknown
}

// eliminate assembles the front of a branch and takes out what it can.
func (e *elimination) eliminate(t int, own []int, under []remainder) (front, remainder) {
	var at []int
	add := func(k int) {
		if e.local[k] == 0 {
			at = append(at, k)
			e.local[k] = len(at)
		}
	}
	for _, k := range own {
		add(k)
	}
	for _, u := range under {
		for _, k := range u.at[:u.waits] {
			add(k)
		}
	}
	p := len(at) // may be eliminated here
	for _, k := range own {
		for _, c := range e.col[e.first[k]:e.first[k+1]] {
			if e.owner[c] > t {
				add(c)
			}
		}
	}
	for _, u := range under {
		for _, k := range u.at {
			add(k)
		}
	}
	m := len(at)
	v := make([]float64, m*m) // the half on and above the diagonal
	for r, k := range at[:len(own)] {
		v[r*m+r] = e.diag[k]
		for q := e.first[k]; q < e.first[k+1]; q++ {
			if c := e.local[e.col[q]] - 1; c > r && e.owner[e.col[q]] >= t {
				v[r*m+c] = e.v[q]
			}
		}
	}
	for _, u := range under {
		w := len(u.at)
		for i, k := range u.at {
			r := e.local[k] - 1
			for j := i; j < w; j++ {
				c := e.local[u.at[j]] - 1
				v[min(r, c)*m+max(r, c)] += u.v[i*w+j]
			}
		}
	}
	for _, k := range at {
		e.local[k] = 0
	}

	d := dense{m, p, v, at}
	out := front{at: at}
	from := 0
	for out.gone < p {
		k := out.gone
		var size int
		if size, from = d.pivot(k, from); size == 0 {
			break
		}
		out.gone += size
		if size == 1 {
			out.diag, out.beside = append(out.diag, v[k*m+k]), append(out.beside, 0)
		} else {
			out.diag, out.beside = append(out.diag, v[k*m+k], v[(k+1)*m+k+1]), append(out.beside, v[k*m+k+1], 0)
		}
		d.reduce(k, size)
	}
	// D L of the unknowns that stay stands in v; L, its transposed inverse product, is kept
	w := m - out.gone
	rest := remainder{at: slices.Clone(at[out.gone:]), waits: p - out.gone}
	for k := 0; k < out.gone; k++ {
		row := v[k*m : (k+1)*m]
		if o := out.beside[k]; o != 0 {
			next := v[(k+1)*m : (k+2)*m]
			base := len(out.lower)
			out.lower = append(out.lower, make([]float64, m-k-1+m-k-2)...)
			l0, l1 := out.lower[base:base+m-k-1], out.lower[base+m-k-1:]
			for c := k + 2; c < m; c++ {
				l0[c-k-1], l1[c-k-2] = solve2(out.diag[k], o, out.diag[k+1], row[c], next[c])
			}
			k++
			continue
		}
		for _, x := range row[k+1:] {
			out.lower = append(out.lower, x/out.diag[k])
		}
	}
	if w > 0 {
		rest.v = make([]float64, w*w)
		for r := range w {
			copy(rest.v[r*w+r:(r+1)*w], v[(out.gone+r)*m+out.gone+r:(out.gone+r+1)*m])
		}
		// the rows that could not be pivots were reduced on the way
		if b := m - p; b > 0 && out.gone > 0 {
			l := make([]float64, out.gone*b)
			begin := 0
			for k := range out.gone {
				copy(l[k*b:(k+1)*b], out.lower[begin+p-k-1:begin+m-k-1])
				begin += m - k - 1
			}
			const block = 64
			for r := 0; r < b; r += block {
				h := min(block, b-r)
				blas64.Gemm(blas.Trans, blas.NoTrans, -1,
					blas64.General{Rows: out.gone, Cols: h, Stride: b, Data: l[r:]},
					blas64.General{Rows: out.gone, Cols: b - r, Stride: m, Data: v[p+r:]},
					1, blas64.General{Rows: h, Cols: b - r, Stride: w, Data: rest.v[(p-out.gone+r)*w+p-out.gone+r:]})
			}
		}
	}
	return out, rest
}

// dense is the half on and above the diagonal of a front's matrix, of which the first p
// unknowns may be eliminated.
type dense struct {
	m, p int
	v    []float64
	at   []int
}

func (d dense) get(r, c int) float64 { return d.v[min(r, c)*d.m+max(r, c)] }

// peak returns the largest entry beside the diagonal in row r, of the unknowns from k
// on but other than not, and of those that may be eliminated where the largest stands.
func (d dense) peak(k, r, not int) (top float64, where int) {
	where = -1
	v := d.v
	for c, at := k, k*d.m+r; c < r; c, at = c+1, at+d.m {
		if x := math.Abs(v[at]); !(x <= top) && c != not {
			top, where = x, c
		}
	}
	row := v[r*d.m : (r+1)*d.m]
	for c := r + 1; c < d.p; c++ {
		if x := math.Abs(row[c]); !(x <= top) && c != not {
			top, where = x, c
		}
	}
	for _, x := range row[d.p:] {
		if x := math.Abs(x); !(x <= top) {
			top = x
		}
	}
	return top, where
}

// pivot brings a pivot of one or two unknowns to place k, 0: there is none; it looks from
// place from on, and says where to look on: what has been turned down comes last.
func (d dense) pivot(k, from int) (size, next int) {
	for i := range d.p - k {
		r := from + i
		if r >= d.p {
			r += k - d.p
		}
		top, s := d.peak(k, r, -1)
		a := d.get(r, r)
		if math.IsNaN(top) || math.IsNaN(a) {
			return 0, 0
		}
		if a != 0 && math.Abs(a) >= threshold*top {
			d.swap(k, r)
			return 1, r + 1
		}
		if s < 0 {
			continue
		}
		b, c := d.get(r, s), d.get(s, s)
		// the largest of the inverse block times the rows' others
		det := math.Abs(a*c - b*b)
		if !(det > 0) {
			continue
		}
		x, _ := d.peak(k, r, s)
		y, _ := d.peak(k, s, r)
		if threshold*(math.Abs(c)*x+math.Abs(b)*y) <= det && threshold*(math.Abs(b)*x+math.Abs(a)*y) <= det {
			d.swap(k, r)
			if s == k { // what stood at k is now at r
				s = r
			}
			d.swap(k+1, s)
			return 2, max(r+1, k+2)
		}
	}
	return 0, 0
}

// swap exchanges unknowns r ≤ s.
func (d dense) swap(r, s int) {
	if r == s {
		return
	}
	if r > s {
		r, s = s, r
	}
	m, v := d.m, d.v
	d.at[r], d.at[s] = d.at[s], d.at[r]
	v[r*m+r], v[s*m+s] = v[s*m+s], v[r*m+r]
	for c := range r {
		v[c*m+r], v[c*m+s] = v[c*m+s], v[c*m+r]
	}
	for c := r + 1; c < s; c++ {
		v[r*m+c], v[c*m+s] = v[c*m+s], v[r*m+c]
	}
	for c := s + 1; c < m; c++ {
		v[r*m+c], v[s*m+c] = v[s*m+c], v[r*m+c]
	}
}

// reduce takes the pivot at k out of the rows that may be pivots later.
func (d dense) reduce(k, size int) {
	m, v := d.m, d.v
	row := v[k*m : (k+1)*m]
	if size == 1 {
		for r := k + 1; r < d.p; r++ {
			if row[r] != 0 {
				axpy(-row[r]/row[k], row[r:], v[r*m+r:(r+1)*m])
			}
		}
		return
	}
	next := v[(k+1)*m : (k+2)*m]
	for r := k + 2; r < d.p; r++ {
		x, y := solve2(row[k], row[k+1], next[k+1], row[r], next[r])
		axpy(-x, row[r:], v[r*m+r:(r+1)*m])
		axpy(-y, next[r:], v[r*m+r:(r+1)*m])
	}
}
