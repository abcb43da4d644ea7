// Package fit finds the few numbers behind a sweep: the loss law of a line, the
// dielectric and the roughness behind two lengths of it, the lumps of a launch,
// the smooth part of an insertion loss. Each comes with its covariance, the
// range it was fitted over, and what the fit leaves over.
//
// Symbols: f a frequency in Hz, k1 and k2 the loss coefficients of √f and f,
// γ = α + jβ a propagation constant in 1/m, σ a standard uncertainty, V a
// covariance matrix, r a residual (measured less fitted), n the number of values,
// p that of parameters, χ² = Σ (r/σ)². Losses are in Np unless a name says dB. The
// time convention is e^{+jωt}.
//
// An uncertainty here is what the scatter of the data about the law says
// (JCGM 100 type A). What all data share, a wrong length, a calibration, a law
// that is not the line's, is not in it; a residual that is no scatter but a
// curve shows the last of these.
package fit

import (
	"errors"
	"fmt"
	"math"

	"linewright/physics/network"
)

// The rules an error of this package can say are broken, beside those of package
// network. Errors are of type [network.Error].
var (
	ErrFew      = errors.New("a fit needs more values than parameters")
	ErrTwin     = errors.New("the parameters cannot be told apart in this range")
	ErrDiverged = errors.New("no minimum was reached")
	ErrRange    = errors.New("the frequency lies outside the fitted range")
)

func fault(op string, err error, help, format string, args ...any) error {
	return &network.Error{Op: op, Frequency: math.NaN(), Found: fmt.Sprintf(format, args...), Err: err, Help: help}
}
