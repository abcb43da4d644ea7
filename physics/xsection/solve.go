package xsection

import (
	"context"
	"math"
	"math/cmplx"
	"runtime"
	"sync"

	"gonum.org/v1/gonum/mat"
)

// A solution holds the charge of one mesh: σ/ε0 at every node, for one volt on
// each signal in turn.
type solution struct {
	arr     *arrangement
	rule    *rule
	mesh    []stretch // of a symmetric section the right half; then panels go on with its image
	panels  []panel
	first   []int // row in sigma of each panel's first node
	n       int   // unknowns of one linear system, the free constant included
	signals int
	sigma   [2]*mat.Dense // [unknown][signal]: with the dielectrics, and all air
	cap     [2]*mat.Dense // C/ε0
}

const (
	filled = 0
	air    = 1
)

// contrast is λ in σ/2 + λ·E_n = 0, the continuity of εE_n across an edge with
// E_n the mean of both sides; nothing (ε = 0) lies outside a magnetic side.
func (e *edge) contrast() float64 {
	l, r := e.left.eps, e.right.eps
	if e.kind == mirrorEdge {
		l, r = 1, 1
		if e.left.out {
			l = 0
		} else {
			r = 0
		}
	}
	return (l - r) / (l + r)
}

// free says whether the field reaches a side.
func (p place) free() bool { return !p.out && p.metal < 0 }

// compute solves the integral equations on a mesh with n nodes a panel.
//
// Unknown is the total charge, free and bound, on every edge. On metal the
// potential is given, up to a constant that makes the total charge vanish; on
// an edge between two dielectrics the flux is continuous; on a magnetic side
// there is none. The equations hold at the Gauss nodes.
// Source: [wei1984]; collocation on panels that shrink towards corners.
func (a *arrangement) compute(ctx context.Context, mesh []stretch, r *rule) (*solution, error) {
	s := &solution{arr: a, rule: r, mesh: mesh, signals: len(a.nets) - 1}
	for _, m := range mesh {
		s.panels = append(s.panels, newPanel(r, a.edges, m.edge, m.t0, m.t1))
	}
	if a.mirror != nil {
		for _, m := range mesh {
			t := a.mirror[m.edge]
			t0, t1 := m.t0, m.t1
			if t.reversed {
				t0, t1 = 1-m.t1, 1-m.t0
			}
			s.panels = append(s.panels, newPanel(r, a.edges, t.edge, t0, t1))
		}
	}
	s.first = make([]int, len(s.panels))
	for i := range s.first {
		s.first[i] = 1 + i*r.n
	}
	rows := 1 + len(s.panels)*r.n
	s.sigma = [2]*mat.Dense{mat.NewDense(rows, s.signals, nil), mat.NewDense(rows, s.signals, nil)}

	// Dielectric interfaces come last: without them the equations are those
	// of the section in air.
	column := make([]int, len(mesh))
	inAir := 1
	s.n = 1
	for _, last := range []bool{false, true} {
		for i, p := range s.panels[:len(mesh)] {
			if (a.edges[p.edge].kind == materialEdge) == last {
				column[i] = s.n
				s.n += r.n
			}
		}
		if !last {
			inAir = s.n
		}
	}
	for _, parity := range []float64{1, -1} {
		volts := s.volts(parity, column)
		if mat.Norm(volts, math.Inf(1)) == 0 {
			continue
		}
		m := s.fill(ctx, parity, column)
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		small := mat.DenseCopyOf(m.Slice(0, inAir, 0, inAir))
		x, err := dense(m, volts)
		if err != nil {
			return nil, err
		}
		s.scatter(filled, x, parity, column)
		if inAir < s.n {
			if x, err = dense(small, volts.Slice(0, inAir, 0, s.signals)); err != nil {
				return nil, err
			}
		}
		s.scatter(air, x, parity, column)
	}
	s.charges(ctx)
	return s, nil
}

// volts returns the right-hand sides: the part of one volt on each signal that
// is alike (parity 1) or opposite (−1) at the two halves of a symmetric
// section. Without symmetry all of it is alike.
func (s *solution) volts(parity float64, column []int) *mat.Dense {
	v := mat.NewDense(s.n, s.signals, nil)
	for i, at := range column {
		e := s.panels[i].edge
		here := s.arr.edges[e].net
		for k := range s.rule.n {
			switch {
			case s.arr.mirror == nil:
				if here > 0 && parity > 0 {
					v.Set(at+k, here-1, 1)
				}
			default:
				there := s.arr.edges[s.arr.mirror[e].edge].net
				if here > 0 {
					v.Set(at+k, here-1, v.At(at+k, here-1)+0.5)
				}
				if there > 0 {
					v.Set(at+k, there-1, v.At(at+k, there-1)+0.5*parity)
				}
			}
		}
	}
	return v
}

// scatter adds the solution of one parity to the densities of both halves.
func (s *solution) scatter(which int, x *mat.Dense, parity float64, column []int) {
	n, _ := x.Dims()
	for c := range s.signals {
		s.sigma[which].Set(0, c, s.sigma[which].At(0, c)+x.At(0, c))
	}
	for j := range s.panels {
		at, sign, reversed := s.source(j, parity, column)
		if at >= n {
			continue // a dielectric, in air
		}
		for l := range s.rule.n {
			k := l
			if reversed {
				k = s.rule.n - 1 - l
			}
			to, from := s.sigma[which].RawRowView(s.first[j]+l), x.RawRowView(at+k)
			for c := range to {
				to[c] += sign * from[c]
			}
		}
	}
}

// source returns the column of panel j's first unknown, and how its density
// follows from the unknowns: times sign, in reversed order.
func (s *solution) source(j int, parity float64, column []int) (at int, sign float64, reversed bool) {
	if j < len(column) {
		return column[j], 1, false
	}
	j -= len(column)
	return column[j], parity, s.arr.mirror[s.panels[j].edge].reversed
}

func dense(m *mat.Dense, b mat.Matrix) (*mat.Dense, error) {
	var lu mat.LU
	lu.Factorize(m)
	var x mat.Dense
	if err := lu.SolveTo(&x, false, b); err != nil {
		if _, ill := err.(mat.Condition); !ill {
			return nil, err
		}
	}
	return &x, nil
}

// fill writes the equations: row and column 0 are the total charge and the
// free constant, which the part of odd parity does not have. The charge of the
// other half of a symmetric section is folded into the columns of this one.
func (s *solution) fill(ctx context.Context, parity float64, column []int) *mat.Dense {
	r := s.rule
	m := mat.NewDense(s.n, s.n, nil)
	row0 := m.RawRowView(0)
	if parity < 0 {
		row0[0] = 1
	} else {
		for j := range s.panels {
			at, _, _ := s.source(j, 1, column)
			for l, w := range r.w {
				row0[at+l] += s.panels[j].h * w
			}
		}
	}
	s.each(ctx, len(column), func(i int, sc *scratch) {
		p := &s.panels[i]
		e := &s.arr.edges[p.edge]
		lambda := e.contrast()
		for k := range r.x {
			row := m.RawRowView(column[i] + k)
			nx, ny := lambda*real(p.nrm[k]), lambda*imag(p.nrm[k])
			for j := range s.panels {
				self := -1
				if i == j {
					self = k
				}
				at, sign, reversed := s.source(j, parity, column)
				col := row[at : at+r.n]
				s.panels[j].influence(r, sc, p.z[k], self, e.kind == metalEdge, e.kind != metalEdge)
				if e.kind != metalEdge {
					for l, f := range sc.fld {
						sc.pot[l] = nx*real(f) - ny*imag(f)
					}
				}
				fold(col, sc.pot, sign, reversed)
			}
			if e.kind != metalEdge {
				row[column[i]+k] += 0.5
			} else if parity > 0 {
				row[0] = 1
			}
		}
		if e.kind != metalEdge {
			s.conserve(i, m, parity, column, sc)
		}
	})
	return m
}

// fold adds v, times sign, to col.
func fold(col, v []float64, sign float64, reversed bool) {
	if reversed {
		for l, x := range v {
			col[len(col)-1-l] += sign * x
		}
		return
	}
	for l, x := range v {
		col[l] += sign * x
	}
}

// conserve mends the equations of a panel that ends in a corner, where the
// normal field of the panels round it is not smooth: it shifts all n of them
// so that their sum holds for the true flux through the panel. Without that a
// corner of a dielectric holds a net charge that is not there, of the order
// δ^ν with δ the panel's length, and the capacitance would be off by as much;
// with it, by δ^(2ν).
func (s *solution) conserve(i int, m *mat.Dense, parity float64, column []int, sc *scratch) {
	r := s.rule
	p := &s.panels[i]
	e := &s.arr.edges[p.edge]
	first := p.t0 == 0 && s.arr.corner[e.v[0]]
	last := p.t1 == 1 && s.arr.corner[e.v[1]]
	if !first && !last {
		return
	}
	cuts := []float64{0}
	for x := math.Pow(ratio, 6); first && x < 0.5; x /= ratio {
		if x*p.h > shortest/100 {
			cuts = append(cuts, x)
		}
	}
	for x := ratio; last && x > 1e-4 && x*p.h > shortest/100; x *= ratio {
		cuts = append(cuts, 1-x)
	}
	cuts = append(cuts, 1)
	lambda := e.contrast()
	flux := make([]float64, r.n)
	for j := range s.panels {
		q := &s.panels[j]
		if j == i || cmplx.Abs(q.mid-p.mid) > 4*(p.h+q.h) {
			continue
		}
		clear(flux)
		for k := 0; k+1 < len(cuts); k++ {
			for l, x := range r.x {
				t := cuts[k] + (cuts[k+1]-cuts[k])*(1+x)/2
				n := p.direction(t) * 1i
				w := (cuts[k+1] - cuts[k]) / 2 * r.w[l] // of ∫dt = 1: the mean over the panel
				q.influence(r, sc, p.at(t), -1, false, true)
				for c, f := range sc.fld {
					flux[c] += w * lambda * real(n*f)
				}
			}
		}
		for k, w := range r.w { // less what the equations have of it already
			q.influence(r, sc, p.z[k], -1, false, true)
			for c, f := range sc.fld {
				flux[c] -= w / 2 * lambda * real(p.nrm[k]*f)
			}
		}
		at, sign, reversed := s.source(j, parity, column)
		for k := range r.w {
			fold(m.RawRowView(column[i] + k)[at:at+r.n], flux, sign, reversed)
		}
	}
}

// each calls f for 0 to n−1, on all processors, or for fewer if the context ends.
func (s *solution) each(ctx context.Context, n int, f func(i int, sc *scratch)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			sc := newScratch(s.rule.n)
			for i := range next {
				f(i, sc)
			}
		}()
	}
	for i := range n {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	wg.Wait()
}
