package verify

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// SmoothLoss fits the smooth loss of an assembly to insertion losses, in dB, at
// frequencies f, in Hz, and returns the fit:
//
//	IL = a₀ + a₁√f + a₂ f + a₄ f²
//
// by least squares, f in units of the highest. What remains, loss less fit, is
// the insertion-loss deviation, which holds the ripple. With fewer than eight
// frequencies no fit is made and the mean is returned.
//
// Source: [healey2009], there without a₀; the constant takes up a calibration's
// offset.
func SmoothLoss(f, loss []float64) []float64 {
	out := make([]float64, len(f))
	n := len(f)
	if n < 8 {
		mean := 0.0
		for _, x := range loss {
			mean += x / float64(n)
		}
		for i := range out {
			out[i] = mean
		}
		return out
	}
	a := mat.NewDense(n, 4, nil)
	top := f[n-1]
	for i := range f {
		x := f[i] / top
		a.SetRow(i, []float64{1, math.Sqrt(x), x, x * x})
	}
	var c mat.VecDense
	if err := c.SolveVec(a, mat.NewVecDense(n, loss)); err != nil { // a band too narrow for four terms: a straight line
		a = mat.NewDense(n, 2, nil)
		for i := range f {
			a.SetRow(i, []float64{1, f[i]/top - 1})
		}
		if err := c.SolveVec(a, mat.NewVecDense(n, loss)); err != nil {
			return out
		}
	}
	var y mat.VecDense
	y.MulVec(a, &c)
	copy(out, y.RawVector().Data)
	return out
}

// WindowedRipple returns the largest difference between any two values of y
// whose frequencies, in Hz, lie within a window of each other, and where the
// two stand. A window of 0 is the whole band. Each value enters and leaves the
// two lists of candidates once.
//
// Source: windowed peak-to-peak variation, as detail specifications write it
// (common practice).
func WindowedRipple(f, y []float64, window float64) (most, from, to float64) {
	if window <= 0 {
		window = math.Inf(1)
	}
	var high, low []int // indices of falling highs and rising lows in the window
	for i := range f {
		for len(high) > 0 && y[high[len(high)-1]] <= y[i] {
			high = high[:len(high)-1]
		}
		for len(low) > 0 && y[low[len(low)-1]] >= y[i] {
			low = low[:len(low)-1]
		}
		high, low = append(high, i), append(low, i)
		for f[i]-f[high[0]] > window*(1+1e-9) {
			high = high[1:]
		}
		for f[i]-f[low[0]] > window*(1+1e-9) {
			low = low[1:]
		}
		if d := y[high[0]] - y[low[0]]; d > most {
			most, from, to = d, math.Min(f[high[0]], f[low[0]]), math.Max(f[high[0]], f[low[0]])
		}
	}
	return most, from, to
}
