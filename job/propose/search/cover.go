package search

import (
	"fmt"
	"math"
)

// resolution completes the settings' resolution to one entry per objective.
func (m *model) resolution(objectives []Criterion, s Settings) ([]Resolution, error) {
	given := map[Criterion]Resolution{}
	for _, r := range s.Resolution {
		if err := m.check(r.Of); err != nil {
			return nil, err
		}
		if !(r.Step > 0 && r.Ratio == 0 || r.Ratio > 1 && r.Step == 0) || !finite(r.Step) || !finite(r.Ratio) {
			return nil, &ProblemError{Slot: -1, Option: -1,
				Reason: fmt.Sprintf("resolution of %s: step %g, ratio %g; set either a step above 0 or a ratio above 1", m.name(r.Of), r.Step, r.Ratio)}
		}
		given[r.Of] = r
	}
	all := make([]Resolution, 0, len(objectives))
	for _, c := range objectives {
		r, ok := given[c]
		if !ok {
			r = Resolution{Of: c, Ratio: defaultRatio}
		}
		all = append(all, r)
	}
	return all, nil
}

// Box returns the number of the box that value x lies in: box k spans k·Step
// to (k+1)·Step, or Ratio^k to Ratio^(k+1). Zero has a box of its own in a ratio.
func (r Resolution) Box(x float64) int64 {
	if r.Step > 0 {
		return int64(math.Floor(x / r.Step))
	}
	if x <= 0 {
		return math.MinInt64
	}
	return int64(math.Floor(math.Log(x) / math.Log(r.Ratio)))
}

// Cover keeps one chain for each box of the resolution that holds any: the one whose values, measured in
// boxes, have the least sum, the first of equals. The chains stay in order.
// [Pareto] does this for a large front; a caller may do it again, more coarsely.
func Cover(chains []Chain, resolution []Resolution) []Chain {
	type box [wide]int64
	best := map[box]int{}
	sums := make([]float64, len(chains))
	for i, c := range chains {
		var b box
		for d, r := range resolution {
			x := c.Values.Of(r.Of)
			b[d] = r.Box(x)
			if r.Step > 0 {
				sums[i] += x / r.Step
			} else if x > 0 {
				sums[i] += math.Log(x) / math.Log(r.Ratio)
			}
		}
		if j, ok := best[b]; !ok || sums[i] < sums[j] {
			best[b] = i
		}
	}
	keep := make([]bool, len(chains))
	for _, i := range best {
		keep[i] = true
	}
	var kept []Chain
	for i, c := range chains {
		if keep[i] {
			kept = append(kept, c)
		}
	}
	return kept
}
