package fit

import (
	"math"
	"math/cmplx"

	"linewright/physics/network"
)

// Terms are those of a fitted insertion loss. The zero value is that of the clause
// for cable assemblies, a1, a2, a4, unweighted.
type Terms struct {
	Constant bool // a0 as well
	Weighted bool // each value weighted by its |S21|, so that deep notches count less
}

// Insertion is a fitted insertion loss and what deviates from it. Decibels, as the
// standard has them.
type Insertion struct {
	A0 float64 // dB
	A1 float64 // dB/√Hz
	A2 float64 // dB/Hz
	A4 float64 // dB/Hz²

	Frequency []float64 // Hz, where fitted
	Loss      []float64 // dB, −20 log10 |S21|
	Fitted    []float64 // dB
	Deviation []float64 // dB, Loss − Fitted: the insertion loss deviation
	Fit       Fit       // parameters a1, a2, a4, then a0
}

// InsertionLoss fits
//
//	IL_fitted(f) = a0 + a1 √f + a2 f + a4 f²
//
// to −20 log10|S21| between from and to, in Hz, and returns the insertion loss deviation
// ILD = IL − IL_fitted. Weighted, the squares are Σ |S21|² (IL − IL_fitted)²,
// as in annex 93A; unweighted and without a0 it is the form of the clauses for
// cable assemblies.
//
// Source: [healey2009] eq. 1 to 4 (read); [ieee8023] 93A.3 for a0 and the weights (from memory).
func InsertionLoss(frequency []float64, s21 []complex128, from, to float64, t Terms) (Insertion, error) {
	const op = "fitted insertion loss"
	if len(frequency) != len(s21) {
		return Insertion{}, fault(op, network.ErrShape, "", "%d frequencies, %d values", len(frequency), len(s21))
	}
	var in Insertion
	var rows [][]float64
	var sigma []float64
	for k, f := range frequency {
		if f < from || f > to {
			continue
		}
		a := cmplx.Abs(s21[k])
		if !(a > 0) {
			return Insertion{}, &network.Error{Op: op, Frequency: f, Found: "nothing passes", Err: network.ErrValue, Help: "fit a range in which something does"}
		}
		row := []float64{math.Sqrt(f), f, f * f}
		if t.Constant {
			row = append(row, 1)
		}
		rows = append(rows, row)
		sigma = append(sigma, 1/a)
		in.Frequency = append(in.Frequency, f)
		in.Loss = append(in.Loss, -20*math.Log10(a))
	}
	weights := sigma
	if !t.Weighted {
		weights = nil
	}
	if len(rows) == 0 {
		return Insertion{}, fault(op, ErrFew, "choose a range that holds data", "no frequency between %g and %g GHz", from/1e9, to/1e9)
	}
	fit, err := Linear(rows, in.Loss, weights)
	if err != nil {
		return Insertion{}, err
	}
	if t.Weighted {
		fit.scaleCovariance(fit.Reduced) // the weights are shares, not uncertainties
	}
	in.A1, in.A2, in.A4, in.Fit = fit.Value[0], fit.Value[1], fit.Value[2], fit
	if t.Constant {
		in.A0 = fit.Value[3]
	}
	in.Deviation = fit.Residual
	in.Fitted = make([]float64, len(in.Loss))
	for k := range in.Loss {
		in.Fitted[k] = in.Loss[k] - fit.Residual[k]
	}
	return in, nil
}

// Signal is what the figure of merit weighs deviations with.
type Signal struct {
	Rate     float64 // f_b, symbols per s
	Rise     float64 // T_t, s, 20 to 80 %: the transmitter's filter has f_t = 0.2365/T_t
	Receiver float64 // f_r, Hz, 3 dB bandwidth; 0 is 0.75 f_b
}

// Merit returns the rms insertion loss deviation, in dB, weighted with the spectrum of
// a signal:
//
//	FOM = √(Σ W(f) ILD(f)² / N)
//	W(f) = sinc²(f/f_b) · 1/(1 + (f/f_t)⁴) · 1/(1 + (f/f_r)⁸)        sinc x = sin(πx)/(πx)
//
// Source: [ieee8023] 93A.4 (from memory).
func (in Insertion) Merit(s Signal) float64 {
	sum := 0.0
	for k, f := range in.Frequency {
		sum += s.weight(f) * in.Deviation[k] * in.Deviation[k]
	}
	return math.Sqrt(sum / float64(len(in.Frequency)))
}

func (s Signal) weight(f float64) float64 {
	fr := s.Receiver
	if fr == 0 {
		fr = 0.75 * s.Rate
	}
	x := math.Pi * f / s.Rate
	w := 1.0
	if x != 0 {
		w = math.Sin(x) / x
	}
	w *= w
	if s.Rise > 0 {
		w /= 1 + math.Pow(f*s.Rise/0.2365, 4)
	}
	return w / (1 + math.Pow(f/fr, 8))
}

// Window is the greatest peak-to-peak deviation within any stretch of frequency no
// wider than a given width: the windowed ripple.
type Window struct {
	PeakToPeak float64 // dB
	From, To   float64 // Hz: the stretch, between the two extremes
}

// Ripple returns the windowed ripple of the deviation for windows of the given
// width, in Hz: the window slides point by point. A width below the ripple's period
// does not show all of it.
func (in Insertion) Ripple(width float64) Window {
	var best Window
	for i, f := range in.Frequency {
		low, high := i, i
		for k := i; k < len(in.Frequency) && in.Frequency[k]-f <= width*(1+1e-12); k++ {
			if in.Deviation[k] < in.Deviation[low] {
				low = k
			}
			if in.Deviation[k] > in.Deviation[high] {
				high = k
			}
		}
		if d := in.Deviation[high] - in.Deviation[low]; d > best.PeakToPeak {
			best = Window{d, in.Frequency[min(low, high)], in.Frequency[max(low, high)]}
		}
	}
	return best
}
