// Package deembed takes fixtures off a measurement: known ones, halves of a 2x-thru,
// and the error boxes that lines and a reflection tell (TRL and multiline TRL).
//
// # Planes and ports
//
// A measurement is left fixture, part, right fixture, in this order. Port 0 of every
// network is to the left. So port 0 of the left fixture and port 1 of the right one
// are where the analyser's cables end, and between port 1 of the left and port 0 of
// the right stands the part. A fixture that was measured or drawn from its other end is
// turned about first ([network.Network.Reorder] 1, 0); [Removal.Turned] tells from
// causality when that seems to have been forgotten.
//
// # References
//
// Fixtures and measurement must have equal references where their ports are the same
// plane, and one list of frequencies; nothing is renormalised or interpolated
// silently. What is left is referred to the conjugates of the fixtures' inner references.
//
// # Symbols
//
// Γ a reflection coefficient, γ a propagation constant in 1/m, l a length in m, τ a
// delay in s, one way, E = e^{−γl}, T a scattering transfer matrix as in
// [network.Transfer], M the measured one, X and Y those of the left and right
// error box, a, b, c the entries of X = r[[a b][c 1]]. The time convention is e^{+jωt}.
//
// # What each method needs
//
//   - Known: the fixtures' files, of the same kind, between the same planes.
//   - 2x-thru: two equal halves back to back, whose insertion loss stays clear of the return
//     loss ([Crossing]); the fixture at the part like that of the thru, or the
//     impedance-corrected form.
//   - TRL: the same launches on all lines and a reflection, the same on both
//     sides; a phase between 20 and 160° ([Calibration.Phase]); and the line's impedance, which the
//     method itself does not tell.
//
// A time gate is no de-embedding (package timedomain says why), nor is a port extension.
package deembed

import (
	"errors"
	"fmt"
	"math"

	"linewright/physics/network"
)

// The rules an error of this package can say are broken, beside those of packages
// network and timedomain. Errors are of type [network.Error].
var (
	ErrReferences = errors.New("ports on one plane must have one reference")
	ErrHarmonics  = errors.New("splitting in time needs frequencies at multiples of one step")
	ErrDelay      = errors.New("the thru must delay by more than the sweep can resolve, and less than its step can hold")
	ErrLengths    = errors.New("the lines need different lengths, and two of them at least")
	ErrReflect    = errors.New("the reflection must be the same at both planes, and near the guess")
)

func fault(op string, err error, help, format string, args ...any) error {
	return &network.Error{Op: op, Frequency: math.NaN(), Found: fmt.Sprintf(format, args...), Err: err, Help: help}
}
