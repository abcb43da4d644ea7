package fdtd

import (
	"math"
	"runtime"
	"unsafe"
)

type float interface{ float32 | float64 }

// A rows is a coefficient of one field component: every row along x is stored
// once, however many rows are equal to it.
type rows[T float] struct {
	table  []T
	offset []int32 // by j+1 + (k+1)·(ny+2)
}

func dictionary[T float](g *grid, value func(p [3]int) float64) rows[T] {
	n := g.stride[1]
	r := rows[T]{offset: make([]int32, (g.n[1]+2)*(g.n[2]+2))}
	seen := map[string]int32{}
	row := make([]T, n)
	for k := range g.n[2] + 1 {
		for j := range g.n[1] + 1 {
			for i := range g.n[0] + 1 {
				row[i] = T(value([3]int{i, j, k}))
			}
			key := unsafe.String((*byte)(unsafe.Pointer(&row[0])), n*int(unsafe.Sizeof(row[0])))
			o, ok := seen[key]
			if !ok {
				o = int32(len(r.table))
				r.table = append(r.table, row...)
				seen[string(append([]byte(nil), key...))] = o
			}
			r.offset[j+1+(k+1)*(g.n[1]+2)] = o
		}
	}
	return r
}

// fields is the state of a run. E is the field on an edge times the free part
// of the edge.
type fields[T float] struct {
	*grid
	e, h       [3][]T
	keep, gain [3]rows[T] // E ← keep·E + gain·curl H
	turn       [3]rows[T] // H ← H − turn·curl E
	inverseE   [3][]T     // 1/(dual size·κ), by node
	inverseH   [3][]T     // 1/(size·κ), by cell
	psiE, psiH [3][]psi[T]
	disperse   [3][]dispersive[T]
	coupled    [3]coupling[T]
	peak       float64     // of the energy
	ended      []finished  // runs before this one
	recorders  []*recorder // of the slices of this run; they read e after stepE and h after stepH, every few steps
	skin       *skin       // tangential H at real metal, read after stepH
	step       int
	state      *envelope // a checkpoint of which the engine is still to be read
	workers    int
}

// psi is the memory of a matched layer: ψ ← b ψ + c δF, and the field gains
// sign·coefficient·ψ. It belongs to component a's derivative along axis.
type psi[T float] struct {
	axis     int
	of       int // the component that is differentiated
	sign     T
	b, c     []T // by position along axis; c = 0 outside the layers
	from, to [2]int
	value    []T
}

// dispersive is an edge in a Debye material: J of each pole, A/m².
type dispersive[T float] struct {
	index int
	gain  T // dt/ε-like factor without the edge's free part
	keep  []T
	beta  []T
	j     []T
	old   T
}

// A coupling holds the faces of a component that lend and borrow area. After the
// rows have changed their H by d, each pair takes its part of the other's
// circulation: H_i += n_ij/n_jj·d_j and H_j += n_ij/n_ii·d_i. As d holds what the
// matched layers add, so do the parts taken; but nothing is lent within layers, so
// this is H_i −= dt/μ n_ij v_j, a weighted sum of E about the other face.
type coupling[T float] struct {
	faces  []int
	change []T // old H, then d, by face
	pairs  []pair[T]
}

type pair[T float] struct {
	i, j  int // in faces
	fromI T   // what H_j gains of d_i
	fromJ T
}

func couple[T float](g *grid, a int) coupling[T] {
	var c coupling[T]
	at := map[int]int{}
	face := func(f int) int {
		n, ok := at[f]
		if !ok {
			n = len(c.faces)
			at[f] = n
			c.faces = append(c.faces, f)
		}
		return n
	}
	u, v := (a+1)%3, (a+2)%3
	own := func(f int) float64 { // n_ff, 1/m²
		p := g.place(f)
		return g.factor[a][f] / (g.d[u][p[u]] * g.d[v][p[v]])
	}
	for _, l := range g.loans[a] {
		c.pairs = append(c.pairs, pair[T]{face(l.i), face(l.j), T(l.n / own(l.i)), T(l.n / own(l.j))})
	}
	c.change = make([]T, len(c.faces))
	return c
}

func newFields[T float](g *grid, workers int) *fields[T] {
	f := &fields[T]{grid: g, workers: workers}
	if f.workers == 0 {
		f.workers = min(runtime.GOMAXPROCS(0), 8)
	}
	if g.n[0]*g.n[1]*g.n[2] < 20000 {
		f.workers = 1
	}
	for a := range 3 {
		f.e[a], f.h[a] = make([]T, g.size), make([]T, g.size)
		f.inverseE[a], f.inverseH[a] = make([]T, g.n[a]+2), make([]T, g.n[a]+2)
	}
	// matched layers, [rodengedney2000]: σ of the fourth power, κ = 1, α
	// falling towards the outer wall
	var be, ce, bh, ch [3][]T
	for a := range 3 {
		be[a], ce[a] = make([]T, g.n[a]+2), make([]T, g.n[a]+2)
		bh[a], ch[a] = make([]T, g.n[a]+2), make([]T, g.n[a]+2)
		for i := range g.n[a] + 1 {
			b, c := g.layer(a, float64(i))
			be[a][i], ce[a][i] = T(b), T(c/g.dual[a][i])
			f.inverseE[a][i] = T(1 / g.dual[a][i])
			if i < g.n[a] {
				b, c = g.layer(a, float64(i)+0.5)
				bh[a][i], ch[a][i] = T(b), T(c/g.d[a][i])
				f.inverseH[a][i] = T(1 / g.d[a][i])
			}
		}
	}
	for a := range 3 {
		u, v := (a+1)%3, (a+2)%3
		turn := dictionary[T](g, func(p [3]int) float64 {
			for b := range 3 {
				if b != a && p[b] >= g.n[b] {
					return 0
				}
			}
			return g.dt / mu0 * g.reciprocal(a, p)
		})
		f.turn[a] = turn
		f.coupled[a] = couple[T](g, a)
		keep := make([]float64, g.size)
		f.gain[a] = dictionary[T](g, func(p [3]int) float64 {
			i := g.index(p)
			if p[a] >= g.n[a] || g.length[a][i] == 0 {
				return 0
			}
			inf, sigma, shares := g.fill(a, p)
			by := g.beside(a, i)
			inf, sigma = by*inf, by*sigma
			den := 2*eps0*inf + g.dt*sigma
			num := 2*eps0*inf - g.dt*sigma
			var d dispersive[T]
			for m, share := range shares {
				_, ps := m.poles()
				for _, q := range ps {
					x := g.dt / (2 * q.tau)
					beta := by * share * eps0 * q.strength * 2 * x / (1 + x)
					den += beta
					num += beta
					d.keep = append(d.keep, T((1-x)/(1+x)))
					d.beta = append(d.beta, T(beta/g.dt))
					d.j = append(d.j, 0)
				}
			}
			keep[i] = num / den
			if d.j != nil {
				d.index, d.gain = i, T(2*g.dt/den)
				f.disperse[a] = append(f.disperse[a], d)
			}
			return 2 * g.dt / den * float64(g.length[a][i])
		})
		f.keep[a] = dictionary[T](g, func(p [3]int) float64 { return keep[g.index(p)] })
		for s, axis := range []int{u, v} {
			if g.layers[axis] == [2]int{} {
				continue
			}
			of := 3 - a - axis
			sign := T(1)
			if s == 1 {
				sign = -1
			}
			from, to := [2]int{0, g.n[axis] - g.layers[axis][1]}, [2]int{g.layers[axis][0] + 1, g.n[axis] + 1}
			f.psiE[a] = append(f.psiE[a], psi[T]{axis: axis, of: of, sign: sign, b: be[axis], c: ce[axis], from: from, to: to})
			f.psiH[a] = append(f.psiH[a], psi[T]{axis: axis, of: of, sign: -sign, b: bh[axis], c: ch[axis], from: from, to: to})
		}
	}
	return f
}

// layer returns b and c of the matched layer at position x, in cells, along a.
func (g *grid) layer(a int, x float64) (b, c float64) {
	for side, n := range g.layers[a] {
		if n == 0 {
			continue
		}
		depth := float64(n) - x
		d := g.d[a][0]
		if side == 1 {
			depth = x - float64(g.n[a]-n)
			d = g.d[a][g.n[a]-1]
		}
		if depth <= 0 {
			continue
		}
		depth /= float64(n)
		sigma := 0.8 * 4 / (376.73 * d) * math.Pow(depth, 3) / math.Sqrt(g.model.slowest())
		alpha := 2 * math.Pi * eps0 * g.model.Band[1] / 50 * (1 - depth)
		b = math.Exp(-(sigma + alpha) * g.dt / eps0)
		if sigma > 0 {
			c = sigma / (sigma + alpha) * (b - 1)
		}
		return b, c
	}
	return 0, 0
}
