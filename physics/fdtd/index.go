package fdtd

// An index divides the region into bins and knows which solids reach into each,
// so that finding what stands at a point does not ask them all.
type index struct {
	low   Point
	scale Point // bins per m
	n     [3]int
	bins  []bin
}

type bin struct {
	solids []int32   // the later ones first; none beyond one that fills the bin
	only   *Material // of the whole bin; nil: not one
}

func (g *grid) sortSolids() {
	x := &index{low: g.model.Region.Low}
	var size Point
	for a := range 3 {
		x.n[a] = min(max(g.n[a]/2, 1), 64)
		size[a] = (g.model.Region.High[a] - x.low[a]) / float64(x.n[a])
		x.scale[a] = 1 / size[a]
	}
	x.bins = make([]bin, x.n[0]*x.n[1]*x.n[2])
	margin := 8 * g.delta
	closed := make([]bool, len(x.bins))
	for s := len(g.model.Solids) - 1; s >= 0; s-- {
		low, high := g.model.Solids[s].Shape.Bounds()
		_, box := g.model.Solids[s].Shape.(Box)
		lo, hi, ok := x.span(low, high, margin)
		if !ok {
			continue
		}
		for k := lo[2]; k <= hi[2]; k++ {
			for j := lo[1]; j <= hi[1]; j++ {
				for i := lo[0]; i <= hi[0]; i++ {
					n := i + x.n[0]*(j+x.n[1]*k)
					if closed[n] {
						continue
					}
					b := &x.bins[n]
					fills := box
					for a, at := range [3]int{i, j, k} {
						from := x.low[a] + float64(at)*size[a]
						// what is asked for lies within the region, by delta
						fills = fills && (low[a] < from-margin || at == 0 && low[a] <= x.low[a]) &&
							(high[a] > from+size[a]+margin || at == x.n[a]-1 && high[a] >= g.model.Region.High[a])
					}
					if fills {
						closed[n] = true
						if len(b.solids) == 0 {
							b.only = &g.model.Solids[s].Material
						}
					}
					b.solids = append(b.solids, int32(s))
				}
			}
		}
	}
	for n := range x.bins {
		if len(x.bins[n].solids) == 0 {
			x.bins[n].only = &g.model.Background
		}
	}
	g.solids = x
}

// span returns the bins that a box with a margin reaches into.
func (x *index) span(low, high Point, margin float64) (lo, hi [3]int, ok bool) {
	for a := range 3 {
		l, h := (low[a]-margin-x.low[a])*x.scale[a], (high[a]+margin-x.low[a])*x.scale[a]
		if h < 0 || l > float64(x.n[a]) {
			return lo, hi, false
		}
		lo[a] = int(max(0, l))
		lo[a] = min(lo[a], x.n[a]-1)
		hi[a] = int(min(h, float64(x.n[a]-1)))
		hi[a] = max(hi[a], lo[a])
	}
	return lo, hi, true
}

// only returns the material of everything between two corners, nil if there may
// be several. Beyond the region its sides go on.
func (g *grid) only(low, high Point) *Material {
	x := g.solids
	for a := range 3 {
		l, h := g.model.Region.Low[a]+g.delta, g.model.Region.High[a]-g.delta
		low[a], high[a] = min(max(low[a], l), h), min(max(high[a], l), h)
	}
	lo, hi, _ := x.span(low, high, 0)
	var m *Material
	for k := lo[2]; k <= hi[2]; k++ {
		for j := lo[1]; j <= hi[1]; j++ {
			for i := lo[0]; i <= hi[0]; i++ {
				b := &x.bins[i+x.n[0]*(j+x.n[1]*k)]
				if b.only == nil || m != nil && b.only != m {
					return nil
				}
				m = b.only
			}
		}
	}
	return m
}
