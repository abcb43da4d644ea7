package sample

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mathext"
)

func regIncBeta(keep, n int, share float64) float64 {
	return mathext.RegIncBeta(float64(keep), float64(n-keep+1), share)
}

// Driver is the part of one input, or of several that are correlated, in the
// spread of one output.
type Driver struct {
	Input int    // the first of With
	With  []int  // the inputs that move together: one, unless they are correlated
	Name  string // their names
	// First is the share of the output's variance that vanishes when this
	// input is fixed; Total the share that stays when all others are. The two
	// differ by what the input does together with others.
	First, Total           float64
	FirstError, TotalError float64 // standard errors, from replicates
}

// Drivers returns, for each output, the inputs in order of their total share
// of the variance, the greatest first. It runs the model N·(inputs + 2) times on points of its own:
//
//	First_i = 1 − ⟨(f(B) − f(A_B^i))²⟩/(2V)
//	Total_i = ⟨(f(A) − f(A_B^i))²⟩/(2V)
//
// A and B are independent samples, A_B^i is A with input i from B. Correlated
// inputs are taken as one: only what is independent has a share of its own. The
// shares can come out slightly negative; their errors say how slightly is still
// zero. An output without variance has shares of zero.
//
// Source: [jansen1999]; the design is that of [saltelli2010], the sets of
// correlated inputs those of [jacques2006].
func Drivers(ctx context.Context, s Study, p Plan, o Options) ([][]Driver, error) {
	dr, err := s.Drawer()
	if err != nil {
		return nil, err
	}
	if p.Replicates == 0 {
		p.Replicates = min(8, max(1, p.N))
	}
	if err := p.Check(); err != nil {
		return nil, err
	}
	groups := s.groups()
	inputs, n, m, reps := len(s.Inputs), len(groups), len(s.Outputs), p.replicates()
	type sums struct{ n, sum, sq float64 } // of f(A) and f(B), shifted by the first value
	tally := make([][]sums, reps)          // by replicate and output
	first := make([][][]float64, reps)     // Σ (f(B) − f(AB))², by replicate, output, input
	total := make([][][]float64, reps)
	for r := range reps {
		tally[r] = make([]sums, m)
		for range m {
			first[r] = append(first[r], make([]float64, n))
			total[r] = append(total[r], make([]float64, n))
		}
	}
	eval := func(ctx context.Context, i int, u, y []float64) error {
		p.Point(i, u) // A in the first half, B in the second
		a, b := u[:inputs:inputs], u[inputs:]
		dr.draw(a)
		dr.draw(b)
		x := append([]float64(nil), a...)
		for k := range n + 2 {
			switch {
			case k == 0: // A
			case k == 1:
				copy(x, b)
			default:
				copy(x, a)
				for _, j := range groups[k-2] {
					x[j] = b[j]
				}
			}
			out := y[k*m : (k+1)*m]
			if err := s.Model(ctx, x, out); err != nil {
				return fmt.Errorf("sample %d, inputs %v: %w", i, x, err)
			}
			for _, v := range out {
				if !finite(v) {
					return fmt.Errorf("sample %d, inputs %v: the model must return finite numbers, not %g", i, x, v)
				}
			}
		}
		return nil
	}
	var shift []float64
	done := 0
	err = march(ctx, 0, p.N, 2*inputs, (n+2)*m, o, eval, func(i int, y []float64) bool {
		if shift == nil {
			shift = append(shift, y[:m]...)
		}
		done++
		r := i % reps
		for k := range m {
			fa, fb := y[k], y[m+k]
			t := &tally[r][k]
			for _, f := range []float64{fa - shift[k], fb - shift[k]} {
				t.n, t.sum, t.sq = t.n+1, t.sum+f, t.sq+f*f
			}
			for j := range n {
				ab := y[(j+2)*m+k]
				first[r][k][j] += (fb - ab) * (fb - ab)
				total[r][k][j] += (fa - ab) * (fa - ab)
			}
		}
		return false
	}, func() {
		if o.Progress != nil {
			o.Progress(Progress{Done: done, N: p.N})
		}
	})
	if err != nil {
		return nil, err
	}
	out := make([][]Driver, m)
	for k := range m {
		for j, g := range groups {
			var fs, ts []float64
			for r := range reps {
				t := tally[r][k]
				v := t.sq/t.n - (t.sum/t.n)*(t.sum/t.n)
				half := t.n / 2
				if !(v > 0) {
					fs, ts = append(fs, 0), append(ts, 0)
					continue
				}
				fs = append(fs, 1-first[r][k][j]/(2*half*v))
				ts = append(ts, total[r][k][j]/(2*half*v))
			}
			f, t := MeanOf(fs), MeanOf(ts)
			var names []string
			for _, i := range g {
				names = append(names, s.Inputs[i].Name)
			}
			out[k] = append(out[k], Driver{g[0], g, strings.Join(names, " with "), f.Mean, t.Mean, f.Uncertainty, t.Uncertainty})
		}
		slices.SortStableFunc(out[k], func(a, b Driver) int { return cmp.Compare(b.Total, a.Total) })
	}
	return out, nil
}

// RankCorrelations returns Spearman's rank correlation of each input with
// output k over a run's samples, without running the model again. Its sign
// tells the direction, its square about the share of a monotone influence; it misses an
// influence that rises and falls.
//
// Source: [spearman1904].
func RankCorrelations(s Study, st State, k int) ([]float64, error) {
	col := st.Column(k)
	if col == nil || st.Done < 2 {
		return nil, errors.New("sample: rank correlations need the values of a run: run without Forget")
	}
	d, err := s.Drawer()
	if err != nil {
		return nil, err
	}
	n := len(s.Inputs)
	inputs := make([][]float64, n)
	x := make([]float64, n)
	for i := range st.Done {
		st.Plan.Point(i, x)
		d.draw(x)
		for j := range n {
			inputs[j] = append(inputs[j], x[j])
		}
	}
	ry := ranks(col)
	out := make([]float64, n)
	for j := range n {
		if out[j] = CorrelationOf(ranks(inputs[j]), ry); math.IsNaN(out[j]) {
			out[j] = 0 // a fixed input, or an output that does not move
		}
	}
	return out, nil
}

// ranks returns the rank of each value, ties at their mean rank.
func ranks(v []float64) []float64 {
	order := make([]int, len(v))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(v[a], v[b]) })
	r := make([]float64, len(v))
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && v[order[j]] == v[order[i]] {
			j++
		}
		for k := i; k < j; k++ {
			r[order[k]] = float64(i+j-1) / 2
		}
		i = j
	}
	return r
}
