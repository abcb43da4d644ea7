package kernel

import "math"

// rangeImplementation finds the least and the greatest of x·w.
type rangeImplementation struct {
	name string
	run  func(x, w []float64) (least, most float64)
}

var fastestRange = availableRanges()[0]

// Range returns the least and the greatest of x·w, of x where w is nil; both are
// NaN when one of the products is, and +Inf and −Inf of nothing. Products of both
// signs of infinity count as NaN too.
func Range(x, w []float64) (least, most float64) {
	if w != nil && len(w) != len(x) {
		panic("kernel: Range of two lengths")
	}
	return fastestRange.run(x, w)
}

var plainRange = rangeImplementation{"plain Go", rangePlain}

func rangePlain(x, w []float64) (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for i, v := range x {
		if w != nil {
			v *= w[i]
		}
		least, most = math.Min(least, v), math.Max(most, v)
	}
	return least, most
}
