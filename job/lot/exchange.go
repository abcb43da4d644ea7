package lot

import (
	"math"
	"slices"
)

// Exchanged returns the units that look like the others with their two ends
// exchanged, by index. near and far hold one row for each unit: what is seen
// from either end, by time from that end, as levels; all rows are equally long,
// and a nil row is left out.
//
// Each row is compared with the lot's medians as it stands and exchanged:
//
//	S = Σ |n − N| + |f − F| − |n − F| − |f − N|        N, F: medians of near and far
//
// which is below 0 for a unit that stands as most do. Where the two ends are alike
// to within the scatter of the units nothing can be said and nobody is named: the
// median of S must lie six times its median absolute deviation below 0.
//
// Source: derived here; false alarms and finds are counted in TestExchanged.
func Exchanged(near, far [][]float64) []int {
	if len(near) != len(far) {
		panic("near and far are of different lots")
	}
	var units []int
	for i := range near {
		if near[i] != nil && far[i] != nil {
			units = append(units, i)
		}
	}
	if len(units) < 5 {
		return nil
	}
	n, f := medians(near, units), medians(far, units)
	s := make([]float64, len(units))
	for k, i := range units {
		for j := range n {
			s[k] += math.Abs(near[i][j]-n[j]) + math.Abs(far[i][j]-f[j]) - math.Abs(near[i][j]-f[j]) - math.Abs(far[i][j]-n[j])
		}
	}
	middle := median(slices.Clone(s))
	deviation := make([]float64, len(s))
	for k := range s {
		deviation[k] = math.Abs(s[k] - middle)
	}
	if !(middle < -6*median(deviation)) {
		return nil
	}
	var out []int
	for k, i := range units {
		if s[k] > -middle/2 {
			out = append(out, i)
		}
	}
	return out
}

func medians(rows [][]float64, units []int) []float64 {
	out := make([]float64, len(rows[units[0]]))
	column := make([]float64, len(units))
	for j := range out {
		for k, i := range units {
			column[k] = rows[i][j]
		}
		out[j] = median(column)
	}
	return out
}

// median sorts x.
func median(x []float64) float64 {
	slices.Sort(x)
	m := len(x) / 2
	if len(x)%2 == 1 {
		return x[m]
	}
	return (x[m-1] + x[m]) / 2
}
