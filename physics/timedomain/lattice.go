package timedomain

import (
	"container/heap"
	"math"

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
		g = solve(rho, x, until, 1e-9*shortest)
	}
	return g
}

// solve returns the g of g = ρ + x − ρ x∗g up to a time, echoes nearer than
// same added up: each echo of g is final once all earlier ones are, and sends
// −ρ times itself down every x.
func solve(rho float64, x []Echo, until, same float64) []Echo {
	pending := queue(append([]Echo{{0, rho}}, x...))
	heap.Init(&pending)
	var g []Echo
	for len(pending) > 0 {
		e := heap.Pop(&pending).(Echo)
		for len(pending) > 0 && pending[0].Time-e.Time <= same {
			e.Amplitude += heap.Pop(&pending).(Echo).Amplitude
		}
		if math.Abs(e.Amplitude) < 1e-18 {
			continue
		}
		g = append(g, e)
		for _, d := range x {
			if t := e.Time + d.Time; t <= until {
				heap.Push(&pending, Echo{t, -rho * e.Amplitude * d.Amplitude})
			}
		}
	}
	return g
}

// queue is a heap of echoes, the earliest first.
type queue []Echo

func (q queue) Len() int           { return len(q) }
func (q queue) Less(i, k int) bool { return q[i].Time < q[k].Time }
func (q queue) Swap(i, k int)      { q[i], q[k] = q[k], q[i] }
func (q *queue) Push(e any)        { *q = append(*q, e.(Echo)) }
func (q *queue) Pop() any {
	last := len(*q) - 1
	e := (*q)[last]
	*q = (*q)[:last]
	return e
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
