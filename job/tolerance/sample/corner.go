package sample

import (
	"context"
	"errors"
	"fmt"
	"math"
)

// CornerOptions tell how the worst corner is sought.
type CornerOptions struct {
	// Sigmas bounds an input without limits at its mean ± Sigmas standard
	// deviations; zero means 3.
	Sigmas float64
	// Vertices is the greatest number of corners that are all tried; zero
	// means 4096, twelve inputs.
	Vertices int
	// Starts is the number of starts of the search with more inputs; zero means 8.
	Starts  int
	Seed    uint64
	Workers int
}

// Corner is the worst combination found.
type Corner struct {
	Inputs []float64
	Value  float64 // of the output there
	// AllVertices says that every corner of the box was tried. Then the
	// corner is the worst if the output is monotone in each input, whatever
	// the others; otherwise, and always without AllVertices, a worse one may exist.
	AllVertices bool
	// Inside lists the inputs that stand between their limits: there the
	// output is not monotone.
	Inside      []int
	Evaluations int
}

// WorstCorner seeks the least value of output k, a margin, over the box of the
// inputs' limits. With few inputs it tries all vertices. With more it climbs
// down from several vertices, flipping one input at a time until no flip helps:
// the first start is the vertex that single flips from the middle point to, the
// others are random. From the best it then searches along each input inside the limits,
// in case the output is not monotone.
//
// Correlations are ignored: correlated inputs may never reach the corner. The
// result is the worst that was found, not a proven bound.
func WorstCorner(ctx context.Context, s Study, k int, o CornerOptions) (Corner, error) {
	if err := s.Check(); err != nil {
		return Corner{}, err
	}
	if k < 0 || k >= len(s.Outputs) {
		return Corner{}, fmt.Errorf("sample: output %d of %d: count from 0", k, len(s.Outputs))
	}
	if o.Sigmas == 0 {
		o.Sigmas = 3
	}
	if o.Vertices == 0 {
		o.Vertices = 4096
	}
	if o.Starts == 0 {
		o.Starts = 8
	}
	n, m := len(s.Inputs), len(s.Outputs)
	lo, hi, mid := make([]float64, n), make([]float64, n), make([]float64, n)
	var free []int // inputs that vary at all
	for i, in := range s.Inputs {
		l, h := in.Distribution.Limits()
		e, sd := in.Distribution.Expectation(), in.Distribution.StandardDeviation()
		if math.IsInf(l, 0) {
			l = e - o.Sigmas*sd
		}
		if math.IsInf(h, 0) {
			h = e + o.Sigmas*sd
		}
		if !finite(l, h) {
			return Corner{}, fmt.Errorf("sample: input %d %q has neither limits nor a standard deviation: bound it", i, in.Name)
		}
		lo[i], hi[i], mid[i] = l, h, e
		if h > l {
			free = append(free, i)
		}
	}
	best := Corner{Value: math.Inf(1)}
	// many evaluates points in parallel and returns the values in their order.
	many := func(points [][]float64) ([]float64, error) {
		values := make([]float64, 0, len(points))
		eval := func(ctx context.Context, i int, x, y []float64) error {
			copy(x, points[i])
			if err := s.Model(ctx, x, y); err != nil {
				return fmt.Errorf("inputs %v: %w", points[i], err)
			}
			if !finite(y[k]) {
				return fmt.Errorf("inputs %v: output %q is %g: the model must return finite numbers", points[i], s.Outputs[k].Name, y[k])
			}
			return nil
		}
		err := march(ctx, 0, len(points), n, m, Options{Workers: o.Workers, Batch: 1}, eval, func(i int, y []float64) bool {
			values = append(values, y[k])
			best.Evaluations++
			if y[k] < best.Value {
				best.Value, best.Inputs = y[k], append([]float64(nil), points[i]...)
			}
			return false
		}, nil)
		return values, err
	}

	if len(free) < 63 && 1<<len(free) <= o.Vertices {
		points := make([][]float64, 1<<len(free))
		for v := range points {
			p := append([]float64(nil), mid...)
			for b, i := range free {
				p[i] = lo[i]
				if v>>b&1 == 1 {
					p[i] = hi[i]
				}
			}
			points[v] = p
		}
		if _, err := many(points); err != nil {
			return best, err
		}
		best.AllVertices = true
	} else {
		// One at a time from the middle.
		var points [][]float64
		for _, i := range free {
			for _, x := range []float64{lo[i], hi[i]} {
				p := append([]float64(nil), mid...)
				p[i] = x
				points = append(points, p)
			}
		}
		values, err := many(points)
		if err != nil {
			return best, err
		}
		at := append([]float64(nil), mid...)
		for b, i := range free {
			if at[i] = lo[i]; values[2*b+1] < values[2*b] {
				at[i] = hi[i]
			}
		}
		rng := stream(mix(o.Seed+silver), 0)
		for range o.Starts {
			v, err := many([][]float64{at})
			if err != nil {
				return best, err
			}
			if err := descend(at, v[0], free, lo, hi, many); err != nil {
				return best, err
			}
			at = append([]float64(nil), mid...)
			for _, i := range free {
				if at[i] = lo[i]; rng.Uint64()&1 == 1 {
					at[i] = hi[i]
				}
			}
		}
	}

	// Along each input inside the limits, from the best corner.
	for _, i := range free {
		var points [][]float64
		for q := 1; q < 8; q++ {
			p := append([]float64(nil), best.Inputs...)
			p[i] = lo[i] + (hi[i]-lo[i])*float64(q)/8
			points = append(points, p)
		}
		if _, err := many(points); err != nil {
			return best, err
		}
	}
	for _, i := range free {
		if best.Inputs[i] != lo[i] && best.Inputs[i] != hi[i] {
			best.Inside = append(best.Inside, i)
		}
	}
	if best.Inputs == nil {
		return best, errors.New("sample: no input varies")
	}
	return best, nil
}

// descend flips single inputs of the vertex at, of value v, to their other
// limit, always the flip that helps most, until none helps.
func descend(at []float64, v float64, free []int, lo, hi []float64, many func([][]float64) ([]float64, error)) error {
	for {
		points := make([][]float64, len(free))
		for b, i := range free {
			p := append([]float64(nil), at...)
			if p[i] == lo[i] {
				p[i] = hi[i]
			} else {
				p[i] = lo[i]
			}
			points[b] = p
		}
		values, err := many(points)
		if err != nil {
			return err
		}
		b := 0
		for j, x := range values {
			if x < values[b] {
				b = j
			}
		}
		if !(values[b] < v) {
			return nil
		}
		copy(at, points[b])
		v = values[b]
	}
}
