//go:build !amd64 || noasm

package kernel

// available lists the implementations this machine can run, the fastest first.
func available() []implementation { return []implementation{plain} }

// availableSweeps lists the implementations this machine can run, the fastest first.
func availableSweeps() []sweepImplementation { return []sweepImplementation{plainSweep} }

// availableCopies lists the implementations this machine can run, the fastest first.
func availableCopies() []copiesImplementation { return []copiesImplementation{plainCopies} }

// availableRanges lists the implementations this machine can run, the fastest first.
func availableRanges() []rangeImplementation { return []rangeImplementation{plainRange} }
