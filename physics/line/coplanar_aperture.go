package line

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// slotSection is the cross-section of a strip between two slots in a metal
// sheet on a dielectric layer, symmetric about the strip's middle. All lengths
// in m; the lateral grounds reach to the walls or to infinity.
//
//	──────────────── cover ────────────────   upper above the sheet
//	▓▓▓▓▓▓▓│ gap │▓▓ strip ▓▓│ gap │▓▓▓▓▓▓▓   thickness
//	────────────────  ε1  ─────────────────   lower
//	────────────── ground, or air ─────────
type slotSection struct {
	width, gap, thickness float64
	lower                 float64 // height of the dielectric layer; +Inf: half space
	backed                bool    // ground under it; else air
	upper                 float64 // height of a cover above the sheet; 0: open
	wall                  float64 // half the distance between side walls; 0: none
	functions             int     // per aperture; 0: enough
}

func (c slotSection) section(ratio float64) (section, error) {
	vacuum := c.capacitance(1)
	s := section{air: Eta0 / vacuum}
	s.expand(ratio, func(r float64) float64 { return c.capacitance(r) / vacuum })
	if !(s.air > 0 && s.g > 0 && s.slope > -1) {
		return s, errField
	}
	return s, nil
}

func (c slotSection) air() float64 { return Eta0 / c.capacitance(1) }

// aperture is one face of the slot, of half width half about centre, with its
// basis for the tangential field,
//
//	f_n(u) = A (1−u²)^(λ−1/2) g_n(u)     u = (x − centre)/half
//
// where g_n is Gegenbauer's polynomial C_n^λ scaled to g_n(1) = 1 and A makes
// ∫f_0 = 1; only f_0 carries voltage. λ − 1/2 is the exponent of the field at
// the metal's edge: −1/2 at a vanishing edge, −1/3 at a square corner in air,
// in between where the dielectric touches the corner. The transform is
//
//	∫ f_n e^{jqu} du = jⁿ B_n(q)     B_n(q) = Γ(λ+1) (2/q)^λ J_{n+λ}(q)
//
// Source: [abramowitz1964] 22.10 with 9.1.20 for the transform; [meixner1972]
// for the edge.
type aperture struct {
	centre, half float64
	lambda       float64
	n            int
}

// edgeLambda returns λ at a 90° metal corner whose outside is 90° of air and
// 180° of relative permittivity er:
//
//	cot²(νπ/2) = ε180/(2 ε90 + ε180)     λ = ν − 1/2
func edgeLambda(er float64) float64 {
	nu := 2 / pi * math.Atan(math.Sqrt((2+er)/er))
	return nu - 0.5
}

// transform fills out with E_n = ∫ e_n sin kx dx over the slot.
func (a aperture) transform(k float64, b *besselRow, out []float64) {
	b.fill(k * a.half)
	s, c := math.Sincos(k * a.centre)
	sign := 1.0
	for n := range out {
		if n%2 == 0 {
			out[n] = sign * s * b.b[n]
		} else {
			out[n] = sign * c * b.b[n]
			sign = -sign
		}
	}
}

// logSelf is S_mn = ∫∫ f_m f_n ln|u−u′| du du′ in closed form: Weber and
// Schafheitlin's integral of J_{m+λ} J_{n+λ} t^{−1−2λ}, and for m = n = 0 the
// derivative of Selberg's.
func (a aperture) logSelf(m, n int) float64 {
	l := a.lambda
	if (m+n)%2 != 0 {
		return 0
	}
	if m == 0 && n == 0 {
		al := l + 0.5
		return (2*digamma(al)-3*digamma(2*al)+digamma(1))/2 + math.Ln2
	}
	d := float64(m-n) / 2
	half := float64(m+n) / 2
	// Γ(λ+1)² 4^λ Γ(1+2λ) Γ(half) / [2^{1+2λ} Γ(1+λ+d) Γ(1+λ−d) Γ(half+1+2λ)]
	lg := 2*lgamma(l+1) + lgamma(1+2*l) + lgamma(half) - lgamma(half+1+2*l)
	v := math.Exp(lg) / 2 * rgamma(1+l+d) * rgamma(1+l-d)
	if (m-n)%4 == 0 { // Re j^{m−n}
		return -v
	}
	return v
}

func lgamma(x float64) float64 { v, _ := math.Lgamma(x); return v }

// rgamma returns 1/Γ(x), 0 at its poles.
func rgamma(x float64) float64 {
	if x <= 0 && x == math.Floor(x) {
		return 0
	}
	return 1 / math.Gamma(x)
}

// digamma returns ψ(x) for x > 0: recurrence up to 10, then the asymptotic
// series. Source: [abramowitz1964] 6.3.5, 6.3.18.
func digamma(x float64) float64 {
	s := 0.0
	for x < 10 {
		s -= 1 / x
		x++
	}
	i := 1 / (x * x)
	return s + math.Log(x) - 0.5/x - i*(1.0/12-i*(1.0/120-i*(1.0/252-i*(1.0/240-i/132))))
}

// rule returns M Gauss nodes for the weight of f_0, weights summing to one,
// and the g_n at the nodes, g[i*n+k].
func (a aperture) rule(m int) (x, w, g []float64) {
	l := a.lambda
	x, w = make([]float64, m), make([]float64, m)
	sum := 0.0
	for i := range x {
		t := math.Cos(pi * (float64(i) + 0.5 + l/2) / (float64(m) + l))
		var p, pm float64
		for range 50 {
			pm, p = gegenbauer(l, m, t)
			// (1−t²) g_m′ = (m)(g_{m−1} − t g_m)
			dp := float64(m) * (pm - t*p) / (1 - t*t)
			step := p / dp
			t -= step
			if math.Abs(step) < 1e-15 {
				break
			}
		}
		pm, _ = gegenbauer(l, m, t)
		x[i] = t
		w[i] = (1 - t*t) / (pm * pm)
		sum += w[i]
	}
	g = make([]float64, m*a.n)
	for i := range x {
		w[i] /= sum
		row := g[i*a.n : (i+1)*a.n]
		row[0] = 1
		if a.n > 1 {
			row[1] = x[i]
		}
		for k := 2; k < a.n; k++ {
			fk := float64(k)
			row[k] = (2*(fk+l-1)*x[i]*row[k-1] - (fk-1)*row[k-2]) / (fk + 2*l - 1)
		}
	}
	return x, w, g
}

// gegenbauer returns g_{n−1}(x) and g_n(x).
func gegenbauer(l float64, n int, x float64) (prev, last float64) {
	prev, last = 1, x
	for k := 2; k <= n; k++ {
		fk := float64(k)
		prev, last = last, (2*(fk+l-1)*x*last-(fk-1)*prev)/(fk+2*l-1)
	}
	return prev, last
}

// capacitance returns the strip's capacitance per length over ε0 with
// ε1 = ratio and air in the slots and above.
//
// With one volt across each slot and e the tangential field in an aperture,
// E(k) = ∫ e sin kx dx over one slot, the energy of a layered half space gives
//
//	C/ε0 = (4/π) ∫ dk E(k)²/k · Y(k)
//
// with Y = ε1 coth kh (ground below), ε1[(ε1+1)−(ε1−1)e]/[(ε1+1)+(ε1−1)e]
// (air below, e = e^{−2kh}), coth kH (cover) or 1 (open), and side walls make
// the integral a sum. The slot of depth t adds the energy of its modes. C is
// the minimum over the aperture fields, so its error is second order in
// theirs; the edge exponents built into the basis make it fall exponentially.
// The constant part of Y leaves the kernel ln|(x+x′)/(x−x′)|, integrated in
// closed form where it is singular.
func (c slotSection) capacitance(ratio float64) float64 {
	unit := c.gap / 2
	half := 1.0
	centre := (c.width/2 + c.gap/2) / unit
	t, h, up, wall := c.thickness/unit, c.lower/unit, c.upper/unit, c.wall/unit

	// enough functions to resolve the nearest feature beside an edge
	near := math.Min(centre-1, h)
	if t > 0 {
		near = math.Min(near, t)
	}
	if up > 0 {
		near = math.Min(near, up)
	}
	if wall > 0 {
		near = math.Min(near, wall-centre-1)
	}
	n := min(7+int(3*math.Sqrt(2/near)), 44)
	if c.functions > 0 {
		n = c.functions
	}

	low := aperture{centre, half, 0, n}
	size := n
	if t > 0 {
		low.lambda = edgeLambda(ratio)
		size = 2 * n
	}
	high := aperture{centre, half, 1.0 / 6, n}
	a := make([]float64, size*size)

	lowerY := func(k float64) float64 {
		e := math.Exp(-2 * k * h)
		if c.backed {
			return ratio * 2 * e / -math.Expm1(-2*k*h)
		}
		return -2 * ratio * (ratio - 1) * e / (ratio + 1 + (ratio-1)*e)
	}
	upperY := func(k float64) float64 {
		return 2 * math.Exp(-2*k*up) / -math.Expm1(-2*k*up)
	}
	if t == 0 {
		c.halfSpace(low, a, size, 0, ratio+1, wall)
		if !math.IsInf(h, 1) && (c.backed || ratio != 1) {
			c.layer(low, a, size, 0, h, wall, lowerY)
		}
		if up > 0 {
			c.layer(low, a, size, 0, up, wall, upperY)
		}
	} else {
		c.halfSpace(low, a, size, 0, ratio, wall)
		c.halfSpace(high, a, size, n, 1, wall)
		if !math.IsInf(h, 1) && (c.backed || ratio != 1) {
			c.layer(low, a, size, 0, h, wall, lowerY)
		}
		if up > 0 {
			c.layer(high, a, size, n, up, wall, upperY)
		}
		slotModes(low, high, a, t)
	}
	return minimise(a, size, n)
}

// halfSpace adds y times the energy of a half space of unit permittivity to
// the block of a at (at, at).
func (c slotSection) halfSpace(ap aperture, a []float64, size, at int, y, wall float64) {
	m := 16 + ap.n + int(8*math.Sqrt(1/(ap.centre-1)))
	x, w, g := ap.rule(min(m, 120))
	k := len(x)
	// kernel of the smooth part at the nodes, weighted
	kern := make([]float64, k*k)
	for i := range k {
		for j := range k {
			sum := 2*ap.centre + x[i] + x[j]
			var v float64
			if wall == 0 {
				v = math.Log(sum)
			} else {
				v = math.Log(math.Tan(pi * sum / (4 * wall)))
				d := pi * (x[i] - x[j]) / (4 * wall)
				// ln(|u−u′|/tan|d|)
				if math.Abs(d) < 1e-4 {
					v += math.Log(4*wall/pi) - d*d/3
				} else {
					v += math.Log((x[i] - x[j]) / math.Tan(d))
				}
			}
			kern[i*k+j] = v * w[i] * w[j]
		}
	}
	tmp := make([]float64, k*ap.n)
	gm := blas64.General{Rows: k, Cols: ap.n, Stride: ap.n, Data: g}
	tm := blas64.General{Rows: k, Cols: ap.n, Stride: ap.n, Data: tmp}
	blas64.Gemm(blas.NoTrans, blas.NoTrans, 1, blas64.General{Rows: k, Cols: k, Stride: k, Data: kern}, gm, 0, tm)
	blas64.Gemm(blas.Trans, blas.NoTrans, 2/pi*y, gm, tm, 1,
		blas64.General{Rows: ap.n, Cols: ap.n, Stride: size, Data: a[at*size+at:]})
	for p := range ap.n {
		for q := range ap.n {
			a[(at+p)*size+at+q] -= 2 / pi * y * ap.logSelf(p, q)
		}
	}
}

// layer adds the energy of the part of Y(k) that decays as e^{−2kh}.
func (c slotSection) layer(ap aperture, a []float64, size, at int, h, wall float64, y func(k float64) float64) {
	kmax := 16 / h // e^{−32} = 1e-14
	b := newBesselRow(ap.lambda, ap.n)
	var ks, ws []float64
	if wall > 0 {
		for i := 0; ; i++ {
			k := (float64(i) + 0.5) * pi / wall
			if k > kmax && i > 0 {
				break
			}
			ks, ws = append(ks, k), append(ws, pi/wall)
		}
	} else {
		pieces := int(math.Ceil(kmax / math.Min(2.5/h, 5/(ap.centre+1))))
		x12, w12 := legendreRule(12)
		s := kmax / float64(pieces) / 2
		for i := range pieces {
			for q := range x12 {
				ks, ws = append(ks, s*(2*float64(i)+1+x12[q])), append(ws, s*w12[q])
			}
		}
	}
	rows := make([]float64, len(ks)*ap.n)
	signed := make([]float64, len(ks)*ap.n)
	for i, k := range ks {
		r := rows[i*ap.n : (i+1)*ap.n]
		ap.transform(k, b, r)
		f := 4 / pi * ws[i] / k * y(k)
		for p := range r {
			signed[i*ap.n+p] = f * r[p]
		}
	}
	blas64.Gemm(blas.Trans, blas.NoTrans, 1,
		blas64.General{Rows: len(ks), Cols: ap.n, Stride: ap.n, Data: rows},
		blas64.General{Rows: len(ks), Cols: ap.n, Stride: ap.n, Data: signed}, 1,
		blas64.General{Rows: ap.n, Cols: ap.n, Stride: size, Data: a[at*size+at:]})
}

// slotModes adds the energy of both slots, of half width 1 and depth t, filled
// with air. With ê_m = ∫ e cos(mπ(u+1)/2) du for the lower and upper face,
//
//	C/ε0 = t + Σ_m (4/mπ) [(ê_low² + ê_up²) coth(mπt/2) − 2 ê_low ê_up / sinh(mπt/2)]
//
// The sum of ê² alone falls as m^{−2−2λ}: its partial sums at p, 2p, 4p, 8p
// are extrapolated by Richardson with exponents 1+2λ, 2+2λ, 3+2λ.
func slotModes(low, high aperture, a []float64, t float64) {
	n, size := low.n, 2*low.n
	a[0] += t // both f_0 carry the same volt: the uniform field counts once
	first := 48 + n*n/4
	last := 8 * first // even m up to 2·last, odd m too
	decay := pi * t / 2
	mdecay := int(36 / (2 * decay)) // coth − 1 and 1/sinh are below 1e-14 beyond
	vl, vh := make([]float64, n), make([]float64, n)
	bl, bh := newBesselRow(low.lambda, n), newBesselRow(high.lambda, n)
	tri := n * n
	// one accumulator per parity of m; functions of the other parity vanish
	var sums [2][2][]float64    // [aperture][parity]
	var marks [2][2][][]float64 // partial sums at first·2^j
	for i := range 2 {
		for p := range 2 {
			sums[i][p] = make([]float64, tri)
		}
	}
	// what the slot's depth takes from coth and what it couples, both of which
	// die out with m
	deep := func(m, par int) {
		f := 4 / (float64(m) * pi)
		e := math.Exp(-2 * decay * float64(m))
		less := f * 2 * e / (1 - e)                             // coth − 1
		across := f * 2 * math.Exp(-decay*float64(m)) / (1 - e) // 1/sinh
		for i := par; i < n; i += 2 {
			for j := par; j < n; j += 2 {
				a[i*size+j] += less * vl[i] * vl[j]
				a[(n+i)*size+n+j] += less * vh[i] * vh[j]
				a[i*size+n+j] -= across * vl[i] * vh[j]
				a[(n+j)*size+i] -= across * vl[i] * vh[j]
			}
		}
	}
	for m := 1; m <= 2*last; m++ {
		q := float64(m) * pi / 2
		slotVector(m, bl, q, vl)
		slotVector(m, bh, q, vh)
		f := 4 / (float64(m) * pi)
		par := m % 2
		accumulate(sums[0][par], vl, f, n, par)
		accumulate(sums[1][par], vh, f, n, par)
		if m <= mdecay {
			deep(m, par)
		}
		// the p-th term of its parity: keep the sum where p is first·2^l
		if p := (m + 1) / 2; p%first == 0 && (p/first)&(p/first-1) == 0 {
			for i := range 2 {
				marks[i][par] = append(marks[i][par], append([]float64(nil), sums[i][par]...))
			}
		}
	}
	for m := 2*last + 1; m <= mdecay; m++ { // very thin metal only
		q := float64(m) * pi / 2
		slotVector(m, bl, q, vl)
		slotVector(m, bh, q, vh)
		deep(m, m%2)
	}
	for i, ap := range []aperture{low, high} {
		for par := range 2 {
			ms := marks[i][par]
			for step := range len(ms) - 1 {
				r := math.Pow(2, 1+2*ap.lambda+float64(step))
				for l := 0; l+1 < len(ms)-step; l++ {
					for e := range ms[l] {
						ms[l][e] = (r*ms[l+1][e] - ms[l][e]) / (r - 1)
					}
				}
			}
			for p := par; p < n; p += 2 {
				for q := par; q < n; q += 2 {
					a[(i*n+p)*size+i*n+q] += ms[0][p*n+q]
				}
			}
		}
	}
}

// slotVector fills v with ê_m of each basis function.
func slotVector(m int, b *besselRow, q float64, v []float64) {
	b.fill(q)
	// Re[e^{jmπ/2} jⁿ]: cos((m+n)π/2)
	for n := range v {
		switch (m + n) % 4 {
		case 0:
			v[n] = b.b[n]
		case 2:
			v[n] = -b.b[n]
		default:
			v[n] = 0
		}
	}
}

func accumulate(sum, v []float64, f float64, n, par int) {
	for i := par; i < n; i += 2 {
		fi := f * v[i]
		row := sum[i*n : (i+1)*n]
		for j := par; j < n; j += 2 {
			row[j] += fi * v[j]
		}
	}
}

// minimise returns the minimum of cᵀAc with the coefficient of each block's
// function 0 held at one.
func minimise(a []float64, size, n int) float64 {
	var free []int
	fixed := func(i int) bool { return i%n == 0 }
	for i := range size {
		if !fixed(i) {
			free = append(free, i)
		}
	}
	m := len(free)
	q, rhs := make([]float64, m*m), make([]float64, m)
	c := 0.0
	for i := range size {
		for j := range size {
			if fixed(i) && fixed(j) {
				c += a[i*size+j]
			}
		}
	}
	for p, i := range free {
		for j := range size {
			if fixed(j) {
				rhs[p] += a[i*size+j]
			}
		}
		for r, j := range free {
			q[p*m+r] = (a[i*size+j] + a[j*size+i]) / 2
		}
	}
	if m == 0 {
		return c
	}
	sym := blas64.Symmetric{N: m, Stride: m, Data: q, Uplo: blas.Upper}
	tri, ok := lapack64.Potrf(sym)
	if !ok {
		return math.NaN()
	}
	sol := append([]float64(nil), rhs...)
	lapack64.Potrs(tri, blas64.General{Rows: m, Cols: 1, Stride: 1, Data: sol})
	for p := range rhs {
		c -= rhs[p] * sol[p]
	}
	return c
}

// besselRow computes B_n(q) = Γ(λ+1)(2/q)^λ J_{n+λ}(q) for n below a limit.
type besselRow struct {
	lambda, gamma float64
	b             []float64
	work          []float64
}

func newBesselRow(lambda float64, n int) *besselRow {
	return &besselRow{lambda: lambda, gamma: math.Gamma(lambda + 1), b: make([]float64, n)}
}

// fill computes the row at q ≥ 0. Large q: Hankel's series for the first two
// orders and upward recurrence, stable while the order stays below q. Else
// Miller's downward recurrence, normalised by
//
//	Σ_k (λ+2k) Γ(λ+k)/k! J_{λ+2k}(q) = (q/2)^λ
//
// Source: [abramowitz1964] 9.2.5, 9.12 example 1, 9.1.87.
func (r *besselRow) fill(q float64) {
	n, l := len(r.b), r.lambda
	if q > 30 && q > float64(n) {
		s := r.gamma * math.Pow(2/q, l)
		r.b[0] = s * hankelJ(l, q)
		if n > 1 {
			r.b[1] = s * hankelJ(l+1, q)
		}
		for k := 2; k < n; k++ {
			r.b[k] = 2*(float64(k-1)+l)/q*r.b[k-1] - r.b[k-2]
		}
		return
	}
	if q < 1e-6 {
		v := 1.0
		for k := range r.b {
			r.b[k] = v
			v *= q / 2 / (float64(k+1) + l)
		}
		return
	}
	top := max(n, int(q)) + 14 + int(5*math.Cbrt(q))
	top += top % 2
	if cap(r.work) < top+2 {
		r.work = make([]float64, top+2)
	}
	w := r.work[:top+2]
	w[top+1], w[top] = 0, 1e-250
	for k := top; k > 0; k-- {
		w[k-1] = 2*(float64(k)+l)/q*w[k] - w[k+1]
		if math.Abs(w[k-1]) > 1e200 {
			for j := k - 1; j <= top; j++ {
				w[j] *= 1e-250
			}
		}
	}
	norm, c := w[0], 1.0
	for k := 1; 2*k <= top; k++ {
		fk := float64(k)
		norm += (l + 2*fk) / fk * c * w[2*k]
		c *= (l + fk) / fk
	}
	for k := range r.b {
		r.b[k] = w[k] / norm
	}
}

// hankelJ returns J_ν(x) for x > 30 and small ν by Hankel's asymptotic series.
func hankelJ(nu, x float64) float64 {
	mu := 4 * nu * nu
	p, q := 1.0, 0.0
	term := 1.0
	for k := 1; k < 30; k++ {
		odd := float64(2*k - 1)
		term *= (mu - odd*odd) / (float64(k) * 8 * x)
		switch k % 4 {
		case 1:
			q += term
		case 2:
			p -= term
		case 3:
			q -= term
		case 0:
			p += term
		}
		if math.Abs(term) < 1e-17 {
			break
		}
	}
	s, c := math.Sincos(x - (nu/2+0.25)*pi)
	return math.Sqrt(2/(pi*x)) * (p*c - q*s)
}
