package timedomain

import (
	"math"
	"slices"

	"linewright/physics/network"
)

// A Section is a uniform lossless line.
type Section struct {
	Impedance float64 // Ω
	Delay     float64 // s, one way, > 0
}

// A SteppedLine is a chain of sections behind a line of impedance Reference and
// ended in Load, both in Ω; an infinite Load is an open end.
type SteppedLine struct {
	Reference float64
	Sections  []Section
	Load      float64
}

// An Echo is an impulse that comes back.
type Echo struct {
	Time      float64 // s
	Amplitude float64
}

// Echoes returns the exact impulse response up to the given time, in s: all
// echoes of the lattice diagram in order of time, those nearer than 1e-9 of the
// shortest delay added up. Amplitudes below 1e-18 are left out. Sections of
// unrelated delays have a great many: use it for short lines, or for delays that
// have a common measure.
//
// From the far end, with ρ the step before a section and x the echoes from
// behind it, delayed, the echoes g solve g = ρ + x − ρ x∗g: what comes back meets
// the same step from the other side.
//
// Source: lattice diagram of [bewley1933]; the recursion is the input reflection
// (ρ + x)/(1 + ρx), multiplied out.
func (l SteppedLine) Echoes(until float64) []Echo {
	shortest := math.Inf(1)
	for _, s := range l.Sections {
		shortest = math.Min(shortest, s.Delay)
	}
	impedance := func(i int) float64 {
		switch {
		case i < 0:
			return l.Reference
		case i == len(l.Sections):
			return l.Load
		}
		return l.Sections[i].Impedance
	}
	step := func(i int) float64 { // the reflection where section i begins
		return real(network.Reflection(complex(impedance(i), 0), complex(impedance(i-1), 0)))
	}
	g := []Echo{{0, step(len(l.Sections))}}
	for i := len(l.Sections) - 1; i >= 0; i-- {
		rho, delay := step(i), 2*l.Sections[i].Delay
		var x []Echo
		for _, e := range g {
			if t := e.Time + delay; t <= until {
				x = append(x, Echo{t, e.Amplitude})
			}
		}
		g = nil
		for range int(until/delay) + 2 { // each turn makes g exact for one more delay
			next := append([]Echo{{0, rho}}, x...)
			for _, a := range x {
				for _, b := range g {
					if t := a.Time + b.Time; t <= until {
						next = append(next, Echo{t, -rho * a.Amplitude * b.Amplitude})
					}
				}
			}
			g = merge(next, 1e-9*shortest)
		}
	}
	return g
}

// merge sorts echoes by time, adds up those nearer than same and drops what is
// left of those that cancel.
func merge(e []Echo, same float64) []Echo {
	slices.SortFunc(e, func(a, b Echo) int {
		switch {
		case a.Time < b.Time:
			return -1
		case a.Time > b.Time:
			return 1
		}
		return 0
	})
	var out []Echo
	for _, x := range e {
		if n := len(out); n > 0 && x.Time-out[n-1].Time <= same {
			out[n-1].Amplitude += x.Amplitude
		} else {
			out = append(out, x)
		}
	}
	return slices.DeleteFunc(out, func(x Echo) bool { return math.Abs(x.Amplitude) < 1e-18 })
}

// Reflection returns the reflection of edge e at time t, in s, with time zero
// that of the edge at the reference plane. Of an ideal step it is undefined
// at the very time of an echo.
func (l SteppedLine) Reflection(e Edge, t float64) float64 {
	sum := 0.0
	for _, x := range l.Echoes(t + l.reach(e)) {
		sum += x.Amplitude * e.At(t-x.Time)
	}
	return sum
}

// reach is how long before its time zero an edge has begun, to 1e-15.
func (l SteppedLine) reach(e Edge) float64 {
	if g, ok := e.(Gaussian); ok {
		return 8 * g.sigma()
	}
	return 0
}
