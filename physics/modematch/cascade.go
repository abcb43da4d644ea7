package modematch

import (
	"fmt"
	"math"
	"math/cmplx"

	"linewright/physics/internal/dense"
)

// segment is a section as the cascade sees it.
type segment struct {
	Section
	eps       complex128
	guide     *guide
	port      bool
	impedance float64 // Ω, of the lossless TEM line
	modes     []int   // accessible modes: −1 is TEM, n ≥ 0 is TM0,n+1
	localised int     // first TM mode that is not accessible
	// of each accessible mode: cutoff wave number, 1/m, and Σ r φ² over the
	// inner and the outer wall, 1/m
	kc, wallInner, wallOuter []float64
	// cross couples the localised modes of the planes at both ends, over jωε0;
	// nil where they do not reach.
	cross *expanded
}

// expanded is a matrix as a polynomial in the frequency squared, by its values
// at Chebyshev points.
type expanded struct {
	rows, cols int
	values     [][]complex128
}

// chebyshevPoints is the number of frequencies at which localised modes are
// summed. Their nearest singularity lies at four times the highest frequency
// squared or beyond, so the interpolation errs by about 14^−8.
const chebyshevPoints = 8

// chebyshevNodes returns the points in units of the highest frequency squared.
func chebyshevNodes() []float64 {
	x := make([]float64, chebyshevPoints)
	for i := range x {
		x[i] = 0.5 - 0.5*math.Cos(math.Pi*(float64(i)+0.5)/chebyshevPoints)
	}
	return x
}

// lagrange returns the weights of the values at nodes for the value at x
// (barycentric form).
func lagrange(nodes []float64, x float64) []float64 {
	n := len(nodes)
	w := make([]float64, n)
	sum := 0.0
	for i := range w {
		if x == nodes[i] {
			clear(w)
			w[i] = 1
			return w
		}
		v := math.Sin(math.Pi*(float64(i)+0.5)/float64(n)) / (x - nodes[i])
		if i%2 == 1 {
			v = -v
		}
		w[i] = v
		sum += v
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// at evaluates the matrix into dst.
func (e *expanded) at(w []float64, dst *dense.Matrix) {
	dst.Reshape(e.rows, e.cols)
	for q, v := range e.values {
		x := w[q]
		for i, u := range v {
			dst.Data[i] += complex(x*real(u), x*imag(u))
		}
	}
}

// cascade is a body prepared for a sweep up to a highest frequency.
type cascade struct {
	body     Body
	top      float64 // Hz
	nodes    []float64
	segments []*segment
	planes   []*plane
	// per plane: the localised admittance of both sides over jωε0
	local []*expanded
	// per plane, side and accessible mode: its coupling to each function
	coupling [][2][][]float64
	// per plane and side: ln(r2/r1) of the inner and outer conductor's faces
	faces [][2][2]float64
}

// prepare builds the cascade. With reduced, every family of trial functions
// lacks its highest degree and the extrapolation its last order.
func (s *solver) prepare(body Body, top float64, degree int, reduced bool) *cascade {
	n := len(body.Sections)
	c := &cascade{body: body, top: top, nodes: chebyshevNodes()}
	k0 := 2 * math.Pi * top / c0
	c.planes = make([]*plane, n-1)
	for i := range c.planes {
		l, r := body.Sections[i], body.Sections[i+1]
		p := s.plane(l, r, degree, neighbours(body, i), top)
		if reduced {
			p = p.reduced()
		}
		c.planes[i] = p
	}
	for i, x := range body.Sections {
		seg := &segment{Section: x, eps: x.permittivity(), port: i == 0 || i == n-1}
		switch {
		case i == 0:
			seg.guide = c.planes[0].left.g
		case i == n-1:
			seg.guide = c.planes[n-2].right.g
		default:
			// both planes hold the same modes, up to different numbers
			seg.guide = c.planes[i-1].right.g
			if g := c.planes[i].left.g; len(g.kc) < len(seg.guide.kc) {
				seg.guide = g
			}
		}
		if !seg.guide.hollow() {
			seg.modes = append(seg.modes, -1)
			seg.impedance = eta0 / (2 * math.Pi * math.Sqrt(real(seg.eps))) * math.Log(seg.guide.b/seg.guide.a)
		}
		limit := 2 * k0 * math.Sqrt(cmplx.Abs(seg.eps))
		for seg.localised < len(seg.guide.kc)-1 && seg.guide.kc[seg.localised] < limit {
			seg.modes = append(seg.modes, seg.localised)
			seg.localised++
		}
		for _, m := range seg.modes {
			in, out := seg.guide.wallFactor(m)
			seg.wallInner = append(seg.wallInner, in)
			seg.wallOuter = append(seg.wallOuter, out)
			kc := 0.0
			if m >= 0 {
				kc = seg.guide.kc[m]
			}
			seg.kc = append(seg.kc, kc)
		}
		c.segments = append(c.segments, seg)
	}
	for i, p := range c.planes {
		l, r := c.segments[i], c.segments[i+1]
		side := func(sd *side, g *segment) [][]complex128 {
			k2 := make([]complex128, len(c.nodes))
			for q, x := range c.nodes {
				k2[q] = complex(k0*k0*x, 0) * g.eps
			}
			length := math.Inf(1)
			if !g.port {
				length = g.Length
			}
			return sd.localised(g.localised, k2, length, reduced)
		}
		sl, sr := side(p.left, l), side(p.right, r)
		e := &expanded{rows: p.size, cols: p.size}
		for q := range c.nodes {
			for j := range sl[q] {
				sl[q][j] = l.eps*sl[q][j] + r.eps*sr[q][j]
			}
			e.values = append(e.values, transform(sl[q], p, p))
		}
		c.local = append(c.local, e)
		if !r.port {
			k2 := make([]complex128, len(c.nodes))
			for q, x := range c.nodes {
				k2[q] = complex(k0*k0*x, 0) * r.eps
			}
			if x := crossing(p.right, c.planes[i+1].left, r.localised, k2, r.Length); x != nil {
				e := &expanded{rows: p.size, cols: c.planes[i+1].size}
				for _, v := range x {
					t := transform(v, p, c.planes[i+1])
					for j := range t {
						t[j] *= r.eps
					}
					e.values = append(e.values, t)
				}
				r.cross = e
			}
		}
		var t [2][][]float64
		for h, g := range []*segment{l, r} {
			sd := p.left
			if h == 1 {
				sd = p.right
			}
			for _, m := range g.modes {
				v := make([]float64, p.size)
				for i := range p.p.size {
					a := 0.0
					if m < 0 {
						a = p.p.voltage[i] * g.guide.tem()
					} else {
						a = sd.a[m*p.p.size+i]
					}
					for j := range v {
						v[j] += a * p.to[i*p.size+j]
					}
				}
				t[h] = append(t[h], v)
			}
		}
		c.coupling = append(c.coupling, t)
		var f [2][2]float64
		for h, g := range []*guide{l.guide, r.guide} {
			if !g.hollow() {
				f[h] = [2]float64{math.Log(p.p.a / g.a), math.Log(g.b / p.p.b)}
			}
		}
		c.faces = append(c.faces, f)
	}
	return c
}

// neighbours returns the singular points r + jz of the field near plane p: the
// metal edges of other planes within a width of its aperture. A low step far
// off leaves no mark.
func neighbours(b Body, p int) []complex128 {
	l, r := b.Sections[p], b.Sections[p+1]
	w := (min(l.OuterDiameter, r.OuterDiameter) - max(l.InnerDiameter, r.InnerDiameter)) / 2
	const low = 0.25 // height over distance
	var near []complex128
	add := func(q int, z float64) {
		l, r := b.Sections[q], b.Sections[q+1]
		if math.Abs(l.InnerDiameter-r.InnerDiameter)/2 > low*z {
			near = append(near, complex(max(l.InnerDiameter, r.InnerDiameter)/2, z))
		}
		if math.Abs(l.OuterDiameter-r.OuterDiameter)/2 > low*z {
			near = append(near, complex(min(l.OuterDiameter, r.OuterDiameter)/2, z))
		}
	}
	z := 0.0
	for q := p + 1; q < len(b.Sections)-1; q++ {
		if z += b.Sections[q].Length; z > w {
			break
		}
		add(q, z)
	}
	z = 0
	for q := p - 1; q >= 0; q-- {
		if z += b.Sections[q+1].Length; z > w {
			break
		}
		add(q, z)
	}
	return near
}

// planeModes returns how many half waves the highest mode of a plane has
// across its aperture. It grows where an edge lies close to a wall, which a
// few modes do not see.
func planeModes(l, r Section, degree int) float64 {
	a, b := max(l.InnerDiameter, r.InnerDiameter), min(l.OuterDiameter, r.OuterDiameter)
	n := 200 + 60*float64(max(0, degree-3))
	for _, h := range []float64{math.Abs(l.InnerDiameter - r.InnerDiameter), math.Abs(l.OuterDiameter - r.OuterDiameter)} {
		if h > 0 {
			n = max(n, 8*(b-a)/h)
		}
	}
	return min(n, 3000)
}

// transform returns Tˡᵀ m Tʳ with the planes' changes of functions T.
func transform(m []complex128, l, r *plane) []complex128 {
	ml, mr := l.p.size, r.p.size
	half := make([]complex128, ml*r.size)
	for i := range ml {
		for j := range mr {
			v := m[i*mr+j]
			t := r.to[j*r.size : (j+1)*r.size]
			h := half[i*r.size : (i+1)*r.size]
			for k, x := range t {
				h[k] += v * complex(x, 0)
			}
		}
	}
	out := make([]complex128, l.size*r.size)
	for i := range ml {
		t := l.to[i*l.size : (i+1)*l.size]
		h := half[i*r.size : (i+1)*r.size]
		for k, x := range t {
			o := out[k*r.size : (k+1)*r.size]
			for j, v := range h {
				o[j] += complex(x, 0) * v
			}
		}
	}
	return out
}

// wave is an accessible mode of a segment at one frequency.
type wave struct {
	gamma complex128 // 1/m
	y     complex128 // admittance over jωε0, ε/γ, m
	e     complex128 // e^{−γL}
}

// travels says whether mode i of g carries power at k0 = ω/c.
func (g *segment) travels(i int, k0 float64) bool {
	return g.kc[i]*g.kc[i] < k0*k0*real(g.eps)
}

// waves fills w with the state of the segment's accessible modes at frequency
// f. At a port the admittance is that of the lossless line, the reference.
//
//	γ² = kc² − εk0² + jωε0 ε Σ Zs r φ²(r)
//
// where the sum runs over the walls and Zs is their surface impedance.
func (c *cascade) waves(g *segment, f float64, w []wave) []wave {
	k0 := 2 * math.Pi * f / c0
	zi, zo := surface(c.body.Inner, f), surface(c.body.Outer, f)
	w = w[:0]
	for i, kc := range g.kc {
		square := complex(kc*kc, 0) - g.eps*complex(k0*k0, 0)
		square += complex(0, k0/eta0) * g.eps * (zi*complex(g.wallInner[i], 0) + zo*complex(g.wallOuter[i], 0))
		// exactly at cutoff the mode is a short circuit: stay beside it
		if small := 1e-12 * (kc*kc + k0*k0); cmplx.Abs(square) < small {
			square = complex(small, 0)
		}
		gamma := cmplx.Sqrt(square)
		if real(gamma) == 0 && imag(gamma) < 0 {
			gamma = -gamma
		}
		v := wave{gamma: gamma, y: g.eps / gamma, e: cmplx.Exp(-gamma * complex(g.Length, 0))}
		if g.port && g.travels(i, k0) {
			er := real(g.eps)
			beta := math.Sqrt(er*k0*k0 - kc*kc)
			v.y = complex(0, -er/beta)
		}
		w = append(w, v)
	}
	return w
}

// scratch is the storage of one worker.
type scratch struct {
	waves  [][]wave
	lu     dense.LU
	block  dense.Matrix
	d      dense.Matrix
	off    dense.Matrix
	lower  dense.Matrix
	prod   dense.Matrix
	right  []*dense.Matrix // per plane: B′⁻¹ [U | r], the upper coupling first
	z      dense.Matrix
	zNext  dense.Matrix
	counts []int
	up     []int
}

// at solves the cascade at frequency f for waves entering in the accessible
// modes of both ports, one unit of mode voltage each. It returns the mode
// voltages of the waves that leave, out[to*n+from], with the modes of port 1
// before those of port 2.
//
// The unknowns of plane p are the waves d leaving it to the left, its field x
// and the waves leaving it to the right. Each plane radiates into matched
// lines; what its neighbours send is its excitation:
//
//	D x = Σ 2 y κ t c + crossing terms,     d = κ t·x − μ c
//
// t are the couplings of the accessible modes, c the waves that arrive,
// κ = 1/(1 + z y), μ = (1 − z y) κ with z the impedance of the faces. The
// matrix is block tridiagonal and is eliminated from the left: the cascade of
// generalised scattering matrices.
func (c *cascade) at(f float64, s *scratch) ([]complex128, error) {
	np := len(c.planes)
	for len(s.waves) < len(c.segments) {
		s.waves = append(s.waves, nil)
	}
	for len(s.right) < np {
		s.right = append(s.right, new(dense.Matrix))
		s.counts = append(s.counts, 0)
		s.up = append(s.up, 0)
	}
	for i, g := range c.segments {
		s.waves[i] = c.waves(g, f, s.waves[i])
	}
	w := lagrange(c.nodes, (f/c.top)*(f/c.top))
	k0 := 2 * math.Pi * f / c0
	zi, zo := surface(c.body.Inner, f), surface(c.body.Outer, f)
	first, lastSeg := c.segments[0], c.segments[np]
	nl, nr := len(first.modes), len(lastSeg.modes)
	nports := nl + nr

	// κ and μ of mode i on side h of plane p
	face := func(p, h, i int, y complex128) (kappa, mu complex128) {
		g := c.segments[p+h]
		if g.modes[i] >= 0 {
			return 1, 1
		}
		fc := c.faces[p][h]
		z := (zi*complex(fc[0], 0) + zo*complex(fc[1], 0)) * complex(0, k0/eta0) / complex(math.Log(g.guide.b/g.guide.a), 0)
		kappa = 1 / (1 + z*y)
		return kappa, (1 - z*y) * kappa
	}

	for p := range np {
		l, r := c.segments[p], c.segments[p+1]
		wl, wr := s.waves[p], s.waves[p+1]
		m := c.planes[p].size
		t := c.coupling[p]
		la, ra := 0, 0 // waves among the unknowns
		if !l.port {
			la = len(l.modes)
		}
		if !r.port {
			ra = len(r.modes)
		}
		q := la + m + ra
		s.counts[p] = la

		c.local[p].at(w, &s.d)
		for h, ws := range [][]wave{wl, wr} {
			for i, v := range ws {
				kappa, _ := face(p, h, i, v.y)
				y := v.y * kappa
				for a, ta := range t[h][i] {
					u := y * complex(ta, 0)
					row := s.d.Row(a)
					for b, tb := range t[h][i] {
						row[b] += u * complex(tb, 0)
					}
				}
			}
		}
		s.block.Reshape(q, q)
		for a := range m {
			copy(s.block.Row(la + a)[la:la+m], s.d.Row(a))
		}
		for i := range la {
			kappa, _ := face(p, 0, i, wl[i].y)
			s.block.Set(i, i, 1)
			for a, v := range t[0][i] {
				s.block.Set(i, la+a, -kappa*complex(v, 0))
			}
		}
		for i := range ra {
			kappa, _ := face(p, 1, i, wr[i].y)
			s.block.Set(la+m+i, la+m+i, 1)
			for a, v := range t[1][i] {
				s.block.Set(la+m+i, la+a, -kappa*complex(v, 0))
			}
		}

		// upper coupling to the next plane, then the right sides
		nu := 0
		crossed := r.cross != nil
		if !r.port {
			nu = ra
			if crossed {
				nu += c.planes[p+1].size
			}
		}
		rhs := s.right[p]
		rhs.Reshape(q, nu+nports)
		s.up[p] = nu
		for i := range ra {
			kappa, mu := face(p, 1, i, wr[i].y)
			for a, v := range t[1][i] {
				rhs.Set(la+a, i, -2*wr[i].y*kappa*wr[i].e*complex(v, 0))
			}
			rhs.Set(la+m+i, i, mu*wr[i].e)
		}
		if crossed {
			r.cross.at(w, &s.off)
			for a := range m {
				for b, v := range s.off.Row(a) {
					rhs.Set(la+a, ra+b, -v)
				}
			}
		}
		if l.port {
			for i, v := range wl {
				kappa, _ := face(p, 0, i, v.y)
				for a, x := range t[0][i] {
					rhs.Set(la+a, nu+i, 2*v.y*kappa*complex(x, 0))
				}
			}
		}
		if r.port {
			for i, v := range wr {
				kappa, _ := face(p, 1, i, v.y)
				for a, x := range t[1][i] {
					rhs.Add(la+a, nu+nl+i, 2*v.y*kappa*complex(x, 0))
				}
			}
		}

		if p > 0 { // eliminate the previous plane
			prev := s.right[p-1]
			mp := c.planes[p-1].size
			laPrev := s.counts[p-1]
			crossedLeft := l.cross != nil
			from := laPrev + mp // rows of the previous unknowns that couple
			cols := la
			if crossedLeft {
				from -= mp
				cols += mp
			}
			s.lower.Reshape(la+m, cols)
			at := cols - la
			for i := range la {
				kappa, mu := face(p, 0, i, wl[i].y)
				s.lower.Set(i, at+i, mu*wl[i].e)
				for a, v := range t[0][i] {
					s.lower.Set(la+a, at+i, -2*wl[i].y*kappa*wl[i].e*complex(v, 0))
				}
			}
			if crossedLeft {
				l.cross.at(w, &s.off) // rows: previous plane
				for a := range m {
					for b := range mp {
						s.lower.Set(la+a, b, -s.off.At(b, a))
					}
				}
			}
			view := dense.Matrix{Rows: cols, Cols: prev.Cols, Data: prev.Data[from*prev.Cols : (from+cols)*prev.Cols]}
			s.prod.Mul(&s.lower, &view)
			back := s.up[p-1]
			for a := range la + m {
				pr := s.prod.Row(a)
				br := s.block.Row(a)
				for b := range back {
					br[b] -= pr[b]
				}
				rr := rhs.Row(a)[nu:]
				for b := range rr {
					rr[b] -= pr[back+b]
				}
			}
		}
		if err := s.lu.Factor(&s.block); err != nil {
			return nil, fmt.Errorf("%.9g Hz: %w", f, ErrSingular)
		}
		s.lu.Solve(rhs)
	}

	out := make([]complex128, nports*nports)
	leave := func(p, h, at int, ws []wave, z *dense.Matrix) {
		la := s.counts[p]
		for i, v := range ws {
			kappa, mu := face(p, h, i, v.y)
			for from := range nports {
				sum := complex128(0)
				for a, x := range c.coupling[p][h][i] {
					sum += complex(x, 0) * z.At(la+a, z.Cols-nports+from)
				}
				sum *= kappa
				if from == at+i {
					sum -= mu
				}
				out[(at+i)*nports+from] = sum
			}
		}
	}
	z := s.right[np-1]
	leave(np-1, 1, nl, s.waves[np], z)
	for p := np - 2; p >= 0; p-- {
		x := s.right[p]
		nu := s.up[p]
		s.zNext.Reshape(x.Rows, nports)
		for a := range x.Rows {
			copy(s.zNext.Row(a), x.Row(a)[nu:])
		}
		// subtract W z
		for a := range x.Rows {
			dst := s.zNext.Row(a)
			for b, v := range x.Row(a)[:nu] {
				src := z.Row(b)[z.Cols-nports:]
				for k := range dst {
					dst[k] -= v * src[k]
				}
			}
		}
		s.z.Copy(&s.zNext)
		z = &s.z
	}
	leave(0, 0, 0, s.waves[0], z)
	return out, nil
}

// scattering turns mode voltages into power waves over the given modes.
func (c *cascade) scattering(f float64, out []complex128, modes []portMode) []complex128 {
	n := len(modes)
	k0 := 2 * math.Pi * f / c0
	total := len(c.segments[0].modes) + len(c.segments[len(c.segments)-1].modes)
	s := make([]complex128, n*n)
	root := func(m portMode) float64 {
		g := c.segments[m.segment]
		if !g.travels(m.mode, k0) {
			return 0
		}
		er, kc := real(g.eps), g.kc[m.mode]
		return math.Sqrt(er / math.Sqrt(er*k0*k0-kc*kc))
	}
	for i, to := range modes {
		for j, from := range modes {
			a, b := root(to), root(from)
			if a == 0 || b == 0 {
				continue
			}
			s[i*n+j] = out[to.index*total+from.index] * complex(a/b, 0)
		}
	}
	return s
}

// portMode is an accessible mode of a port.
type portMode struct {
	segment, mode, index int
}

// portModes lists the port modes that travel at frequency f.
func (c *cascade) portModes(f float64) []portMode {
	k0 := 2 * math.Pi * f / c0
	var p []portMode
	at := 0
	for _, i := range []int{0, len(c.segments) - 1} {
		g := c.segments[i]
		for m := range g.modes {
			if g.travels(m, k0) {
				p = append(p, portMode{i, m, at + m})
			}
		}
		at += len(g.modes)
	}
	return p
}

// shift returns the factor of a wave between the plane of the body and the
// reference plane.
func (c *cascade) shift(f float64, m portMode, by [2]float64) complex128 {
	g := c.segments[m.segment]
	d := by[0]
	if m.segment > 0 {
		d = by[1]
	}
	if d == 0 {
		return 1
	}
	w := c.waves(g, f, nil)
	return cmplx.Exp(-w[m.mode].gamma * complex(d, 0))
}

// powerError is the largest element of |SᴴS − 1| over the modes that travel,
// or with loss the largest excess of its eigenvalue bound, the column power.
func powerError(s []complex128, n int, lossless bool, travels func(int) bool) float64 {
	worst := 0.0
	for i := range n {
		if !travels(i) {
			continue
		}
		for j := range n {
			if !travels(j) || !lossless && i != j {
				continue
			}
			sum := complex128(0)
			for k := range n {
				sum += cmplx.Conj(s[k*n+i]) * s[k*n+j]
			}
			if i == j {
				sum -= 1
			}
			d := cmplx.Abs(sum)
			if !lossless {
				d = max(0, real(sum))
			}
			if !(d <= worst) {
				worst = d
			}
		}
	}
	return worst
}
