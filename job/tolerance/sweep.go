package tolerance

import (
	"linewright/physics/network"
	"linewright/physics/units"
)

// A grid is one or more segments: the bands, cut where a limit starts or ends.
type grid struct {
	f        []float64 // Hz
	segments []network.Segment
}

// nepers turns decibels into nepers, point by point.
func nepers(db []float64) []float64 {
	out := make([]float64, len(db))
	for i, x := range db {
		out[i] = x / units.DecibelsPerNeper
	}
	return out
}
