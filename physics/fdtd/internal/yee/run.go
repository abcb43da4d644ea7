package yee

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// Tiles lean in time. E of step t in row j has the place j + s·t along y, H
// has j + s·t + r, r = 1, and the same holds along z. With s large enough, all that a
// row needs stands at a place no higher in either direction, and all that still needs
// its old value too:
//
//	H(t, j) reads E(t, j) and E(t, j+1)
//	E(t+1, j) reads H(t, j−1) and H(t, j), and what H(t, j) takes from coupled faces
//	up to `reach` rows above, when these are done: s ≥ r + reach
//
// So a tile of places may take all its steps once the tiles before it along y and z
// have, in one copy of the fields. See [wonnacott2000].
type tiling struct {
	rows   [2]int // of a tile, along y and z
	tiles  [2]int
	steps  int // of a band
	s, r   int
	bands  int
	total  int // steps
	n      [2]int
	floors int // rows of tiles along y, over all bands
}

func (e *Engine[T]) tiling(steps int) tiling {
	t := tiling{n: [2]int{e.n[1] + 1, e.n[2] + 1}, total: steps}
	t.r = 1
	t.s = max(1, t.r+e.reach)
	tile := e.options.Tile
	for i, d := range []int{8, 16, 12} {
		if tile[i] == 0 {
			tile[i] = d
		}
	}
	t.rows, t.steps = [2]int{tile[0], tile[1]}, max(1, min(tile[2], steps))
	for i := range 2 {
		t.tiles[i] = (t.n[i] + t.r + t.s*(t.steps-1) + t.rows[i] - 1) / t.rows[i]
	}
	t.bands = (steps + t.steps - 1) / t.steps
	t.floors = t.bands * t.tiles[1]
	return t
}

// Run takes steps, with sources and meters. If ctx ends before, it returns its
// error, and the fields are of no use any more.
//
// Threads take floors (rows of tiles along y, bottom up, band of steps after
// band). A tile waits for the one beside it, done by the same thread, for the one
// below it, and for those of the band before that reach into it.
func (e *Engine[T]) Run(ctx context.Context, steps int) error {
	if err := ctx.Err(); err != nil || steps <= 0 {
		return err
	}
	for _, d := range e.drives {
		d.values = d.values[:0]
		for i := range steps {
			d.values = append(d.values, d.wave(e.step+i))
		}
	}
	for _, m := range e.meters {
		m.begin(e.step, steps)
	}
	t := e.tiling(steps)
	var stop atomic.Bool
	defer context.AfterFunc(ctx, func() { stop.Store(true) })()
	done := make([]atomic.Int32, t.floors) // tiles
	var next atomic.Int32
	// wait returns when so many tiles of a floor are done; false: never.
	wait := func(floor, tiles int) bool {
		for spins := 0; done[floor].Load() < int32(tiles); spins++ {
			if stop.Load() {
				return false
			}
			if spins > 200 {
				runtime.Gosched()
			}
		}
		return true
	}
	e.together(min(e.options.Workers, t.tiles[1]), func() {
		for {
			floor := int(next.Add(1)) - 1
			if floor >= t.floors {
				return
			}
			band, z := floor/t.tiles[1], floor%t.tiles[1]
			for y := range t.tiles[0] {
				if stop.Load() || z > 0 && !wait(floor-1, y+1) {
					return
				}
				if band > 0 {
					up := min(z+(t.rows[1]-1+t.s*t.steps)/t.rows[1], t.tiles[1]-1)
					on := min(y+(t.rows[0]-1+t.s*t.steps)/t.rows[0], t.tiles[0]-1)
					if !wait((band-1)*t.tiles[1]+up, on+1) {
						return
					}
				}
				e.tile(&t, band, y, z)
				done[floor].Store(int32(y + 1))
			}
		}
	})
	if stop.Load() && int(done[t.floors-1].Load()) < t.tiles[0] {
		e.broken = true
		return context.Cause(ctx)
	}
	for _, m := range e.meters {
		for parts := m.parts; m.rows > 0 && len(parts) > 0; parts = parts[m.rows:] {
			sum := 0.0
			for _, p := range parts[:m.rows] {
				sum += p
			}
			m.Values = append(m.Values, sum)
		}
	}
	e.step += steps
	return nil
}

// tile takes the steps of a band on the places of a tile.
func (e *Engine[T]) tile(t *tiling, band, y, z int) {
	first := band * t.steps
	for step := first; step < min(first+t.steps, t.total); step++ {
		lean := t.s * (step - first)
		j0, k0 := y*t.rows[0]-lean, z*t.rows[1]-lean
		e0, e1 := max(j0, 0), min(j0+t.rows[0], t.n[0])
		h0, h1 := max(j0-t.r, 0), min(j0-t.r+t.rows[0], t.n[0])
		for k := max(k0, 0); k < min(k0+t.rows[1], t.n[1]+t.r); k++ {
			if k < t.n[1] && e0 < e1 {
				e.electric(k, e0, e1, step)
			}
			if k >= t.r && h0 < h1 {
				e.magnetic(k-t.r, h0, h1, step)
			}
		}
	}
}

// StepE advances the electric field alone, without drives and meters, and
// StepH the magnetic: for looking at what the operators do.
func (e *Engine[T]) StepE() {
	e.spread(e.n[2]+1, func(k int) { e.electric(k, 0, e.n[1]+1, -1) })
}

// StepH advances the magnetic field alone and counts a step.
func (e *Engine[T]) StepH() {
	e.spread(e.n[2]+1, func(k int) { e.magnetic(k, 0, e.n[1]+1, -1) })
	e.step++
}

// spread calls body for each k < n, in any order.
func (e *Engine[T]) spread(n int, body func(k int)) {
	var next atomic.Int32
	e.together(min(e.options.Workers, (n+7)/8), func() {
		for {
			k := int(next.Add(1)) - 1
			if k >= n {
				return
			}
			body(k)
		}
	})
}

// together runs body on so many threads of the machine: goroutines that change
// threads would leave their caches behind.
func (e *Engine[T]) together(workers int, body func()) {
	if workers <= 1 {
		body()
		return
	}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			runtime.LockOSThread()
			defer runtime.UnlockOSThread()
			body()
		})
	}
	wg.Wait()
}
