// Package yee advances the fields of Yee's grid [yee1966] in time: the inner
// work of package fdtd, which says what the coefficients are.
//
// Electric field stands on the edges, magnetic on the faces of the cells of a
// graded grid. A step is
//
//	E ← keep·E + gain·curl H, then dispersive edges, sources and meters
//	H ← H − turn·curl E, then faces that are coupled, and meters
//
// with coefficients for each edge and face, convolutional matched layers
// [rodengedney2000] along any axis, and mirrors (H = 0 beyond the wall) at the
// outer walls.
//
// Two things make it fast. The rows of the kernels are plain Go or assembly,
// chosen by what the processor has. And many steps are taken on a part of the
// grid that fits in the caches, by tiles that lean in time ([wonnacott2000], see
// Run). Neither changes a result by a bit: for one kernel, any tiles and any
// number of threads give what plain stepping gives.
package yee

import (
	"fmt"
	"runtime"
	"slices"
)

// A Config describes a grid.
type Config struct {
	// Cells along each axis; nodes are one more.
	Cells [3]int
	// Dual holds 1/(dual size) by node, Size 1/(size) by cell, in 1/m.
	Dual, Size [3][]float64
	// Layers holds the matched layers by axis; nil: none along it.
	Layers [3]*Layer
	// Electric sets the coefficients of the row j, k, by component and i. Rows have
	// one number for each node; those of edges that are not there must be zero,
	// as must gain on an edge in metal.
	Electric func(j, k int, keep, gain *[3][]float64)
	// Magnetic does so for H.
	Magnetic func(j, k int, turn *[3][]float64)
	// Dispersive edges.
	Dispersive []Dispersion
	// Coupled faces.
	Coupled []Face
}

// A Layer holds b and c of ψ ← bψ + c δF by node (electric) and by cell
// (magnetic), δF being the bare difference. Outside the layers c is zero.
type Layer struct {
	ElectricB, ElectricC, MagneticB, MagneticC []float64
}

// A Dispersion is a stretch of edges along x whose material has poles,
//
//	E ← E − gain·Σ ½(1 + keep_p) J_p     J_p ← keep_p J_p + β_p·share·(E − E before the step)
//
// where share and gain go by edge.
type Dispersion struct {
	Component, I, J, K int // of the first edge
	Gain               []float64
	Terms              []Term
}

// A Term is one material's part of a Dispersion.
type Term struct {
	Share      []float64 // by edge
	Keep, Beta []float64 // by pole
}

// A Face gains, after all rows have changed their H by d, Σ weight·d of other
// faces of Config.Coupled, which stand at most 2 rows away.
type Face struct {
	Component, I, J, K int
	Takes              []Take
}

// A Take is a weight on the change of a face, named by its place in
// Config.Coupled.
type Take struct {
	Face   int
	Weight float64
}

// A Tap is a weight on an edge or face.
type Tap struct {
	Component, I, J, K int
	Weight             float64
}

// Options of an engine; the zero value is sensible.
type Options struct {
	Workers int    // threads; 0: as many as the processor has, at most 8
	Tile    [3]int // rows along y, along z, and steps of a tile; 0: chosen by the size of a row
	Kernel  string // the name of a kernel, for tests; "": the fastest
}

// An Engine is a grid and its fields.
type Engine[T Float] struct {
	*layout[T]
	kernel  kernel[T]
	options Options
	hooks   [2][][]*hook[T] // E and H, by plane k: rows with something to do, by j
	spans   []*span[T]
	drives  []*drive
	meters  []*Meter
	reach   int // of coupled faces: rows from one to the last of those it takes from
	step    int
	broken  bool
}

// Step returns the number of steps taken.
func (e *Engine[T]) Step() int { return e.step }

// Kernel names the kernel that runs.
func (e *Engine[T]) Kernel() string { return e.kernel.name }

// E returns the electric field on an edge, and H the magnetic field on a face.
func (e *Engine[T]) E(a, i, j, k int) T { return e.fields[e.at(rowEx+a, j, k)+i] }

// H returns the magnetic field on a face.
func (e *Engine[T]) H(a, i, j, k int) T { return e.fields[e.at(rowHx+a, j, k)+i] }

// Rows gives the row j, k of component a of the electric and of the magnetic field, for
// reading and setting between runs.
func (e *Engine[T]) Rows(a, j, k int) (electric, magnetic []T) {
	p, q := e.at(rowEx+a, j, k), e.at(rowHx+a, j, k)
	n := e.n[0] + 1
	return e.fields[p : p+n : p+n], e.fields[q : q+n : q+n]
}

// New makes an engine with fields of zero.
func New[T Float](c Config, o Options) (*Engine[T], error) {
	e := &Engine[T]{layout: newLayout[T](c.Cells), options: o}
	kernels := available[T]()
	e.kernel = kernels[0]
	if o.Kernel != "" {
		i := slices.IndexFunc(kernels, func(k kernel[T]) bool { return k.name == o.Kernel })
		if i < 0 {
			return nil, fmt.Errorf("yee: no kernel %q on this machine", o.Kernel)
		}
		e.kernel = kernels[i]
	}
	if e.options.Workers == 0 {
		e.options.Workers = min(runtime.GOMAXPROCS(0), 8)
	}
	e.metric(c)
	e.matched(c)
	e.coefficients(c)
	if err := e.addHooks(c); err != nil {
		return nil, err
	}
	return e, nil
}

// metric fills x, y and z.
func (e *Engine[T]) metric(c Config) {
	for a := range 3 {
		put := func(what, i int, v float64) {
			switch a {
			case 0:
				e.x[what*e.pitch+i] = T(v)
			case 1:
				e.y[8*i+what] = T(v)
			case 2:
				e.z[8*i+what] = T(v)
			}
		}
		for i, v := range c.Dual[a] {
			put(0, i, v)
		}
		for i, v := range c.Size[a] {
			put(3, i, v)
		}
		if l := c.Layers[a]; l != nil {
			for what, s := range [][]float64{1: l.ElectricB, 2: l.ElectricC, 4: l.MagneticB, 5: l.MagneticC} {
				for i, v := range s {
					put(what, i, v)
				}
			}
		}
	}
}

// matched finds which rows lie in matched layers and makes their memory.
func (e *Engine[T]) matched(c Config) {
	within := func(a, i int) bool {
		l := c.Layers[a]
		return l != nil && (l.ElectricC[i] != 0 || i < len(l.MagneticC) && l.MagneticC[i] != 0)
	}
	g := perGroup[T]()
	e.head, e.tail = 1, 1
	if c.Layers[0] != nil {
		free := 0 // the nodes free of x layers stand from low to high
		for free <= e.n[0] && within(0, free) {
			free++
		}
		high := e.n[0] + 1
		for high > free && within(0, high-1) {
			high--
		}
		e.head = max(1, (free+g-1)/g)
		e.tail = max(1, e.groups-high/g)
		for i := free; i < high; i++ {
			if within(0, i) { // layers in the middle: all of the row is an end
				e.head = e.groups
			}
		}
	}
	e.head = min(e.head, e.groups)
	e.tail = min(e.tail, e.groups-e.head)
	var x, y, z int
	for k := range e.n[2] + 1 {
		for j := range e.n[1] + 1 {
			r := e.recordAt(j, k)
			if c.Layers[0] != nil {
				r.psiX = int32(x)
				x += 4 * (e.head + e.tail)
			}
			if within(1, j) {
				r.psiY = int32(y)
				y += 4 * e.pitch / g
			}
			if within(2, k) {
				r.psiZ = int32(z)
				z += 4 * e.pitch / g
			}
		}
	}
	e.psiX, e.psiY, e.psiZ = aligned[T](x*g), aligned[T](y*g), aligned[T](z*g)
}

// coefficients fills the dictionaries.
func (e *Engine[T]) coefficients(c Config) {
	var electric, magnetic dictionary[T]
	var keep, gain, turn [3][]float64
	for a := range 3 {
		keep[a], gain[a], turn[a] = make([]float64, e.n[0]+1), make([]float64, e.n[0]+1), make([]float64, e.n[0]+1)
	}
	set := make([]T, 6*e.pitch)
	fill := func(row int, from []float64) {
		for i, v := range from {
			set[row*e.pitch+i] = T(v)
		}
		clear(from)
	}
	for k := range e.n[2] + 1 {
		for j := range e.n[1] + 1 {
			r := e.recordAt(j, k)
			c.Electric(j, k, &keep, &gain)
			for a := range 3 {
				fill(a, keep[a])
				fill(3+a, gain[a])
			}
			r.electric = electric.add(set)
			if e.uniform(set) {
				r.flags |= uniformE
			}
			c.Magnetic(j, k, &turn)
			for a := range 3 {
				fill(a, turn[a])
			}
			r.magnetic = magnetic.add(set[:3*e.pitch])
			if e.uniform(set[:3*e.pitch]) {
				r.flags |= uniformH
			}
		}
	}
	e.layout.electric, e.layout.magnetic = electric.aligned(), magnetic.aligned()
}

// Energy returns Σ E² + (scale·H)² over all edges and faces.
func (e *Engine[T]) Energy(scale float64) float64 {
	planes := make([]float64, e.n[2]+1)
	e.spread(len(planes), func(k int) {
		for j := range e.n[1] + 1 {
			at := e.at(rowEx, j, k)
			planes[k] += e.kernel.squares(e.fields[at:at+3*e.pitch]) +
				scale*scale*e.kernel.squares(e.fields[at+3*e.pitch:at+6*e.pitch])
		}
	})
	sum := 0.0
	for _, p := range planes {
		sum += p
	}
	return sum
}
