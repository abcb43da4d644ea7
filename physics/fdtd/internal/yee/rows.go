package yee

// A kernel advances rows: of plane k, the rows j0 ≤ j < j1, in this order.
type kernel[T Float] struct {
	name               string
	electric, magnetic func(l *layout[T], k, j0, j1 int)
	// relax advances the currents of a dispersive row, see Dispersion.
	relax func(d *span[T], e []T)
	// squares returns the sum of the squares.
	squares func(x []T) float64
}

func plain[T Float]() kernel[T] {
	return kernel[T]{"plain Go", electricPlain[T], magneticPlain[T], relaxPlain[T], squaresPlain[T]}
}

// The two passes are one formula. With u, v the axes that follow a in the cycle
// x, y, z, and F the field that drives,
//
//	D_a ← keep·D_a + gain·((F_v − F_v′)·m_u − (F_u − F_u′)·m_v + ψ_u − ψ_v)
//	ψ_u ← b_u ψ_u + c_u (F_v − F_v′)
//	ψ_v ← b_v ψ_v + c_v (F_u − F_u′)
//
// where F′ is the node below along u or v (D = E), or the node above (D = H,
// which has keep = 1), m is 1/dual size or 1/size, and ψ, advanced first, is
// there in matched layers only. The assembly does the same with fused
// multiply-adds.

// electricPlain is the definition for E.
func electricPlain[T Float](l *layout[T], k, j0, j1 int) {
	for j := j0; j < j1; j++ {
		r := l.recordAt(j, k)
		c := l.electric[int(r.electric)*perGroup[T]():][:6*l.pitch]
		for a := range 3 {
			w := l.line(a, j, k, rowEx, rowHx, -1)
			w.keep, w.gain = c[a*l.pitch:], c[(3+a)*l.pitch:]
			w.electric()
			w.layers(l, r, 0)
		}
	}
}

// magneticPlain is the definition for H.
func magneticPlain[T Float](l *layout[T], k, j0, j1 int) {
	for j := j0; j < j1; j++ {
		r := l.recordAt(j, k)
		c := l.magnetic[int(r.magnetic)*perGroup[T]():][:3*l.pitch]
		for a := range 3 {
			w := l.line(a, j, k, rowHx, rowEx, 1)
			w.gain = c[a*l.pitch:]
			w.magnetic()
			w.layers(l, r, 1)
		}
	}
}

// A line is a row of one component and what drives it, all of one length.
type line[T Float] struct {
	a            int
	d            []T // the component
	keep, gain   []T
	p, pn, q, qn []T // F_v, F_v′, F_u, F_u′
	x            []T // metric along x, by node
	y, z         []T // metric, b, c of the row
}

func (l *layout[T]) line(a, j, k, to, from, direction int) line[T] {
	n := l.groups * perGroup[T]()
	u, v := (a+1)%3, (a+2)%3
	stride := [3]int{1, l.block(), l.plane()}
	half := 3 * ((direction + 1) / 2) // of the tables: electric, magnetic
	atV, atU := l.at(from+v, j, k), l.at(from+u, j, k)
	return line[T]{
		a: a, d: l.fields[l.at(to+a, j, k):][:n],
		p: l.fields[atV:][:n], pn: l.fields[atV+direction*stride[u]:][:n],
		q: l.fields[atU:][:n], qn: l.fields[atU+direction*stride[v]:][:n],
		x: l.x[half*l.pitch:][:3*l.pitch], y: l.y[8*j+half:][:3], z: l.z[8*k+half:][:3],
	}
}

func (w *line[T]) electric() {
	d := w.d
	n := len(d)
	c, g, p, pn, q, qn, x := w.keep[:n], w.gain[:n], w.p[:n], w.pn[:n], w.q[:n], w.qn[:n], w.x[:n]
	y, z := w.y[0], w.z[0]
	switch w.a {
	case 0:
		for i := range d {
			d[i] = c[i]*d[i] + g[i]*((p[i]-pn[i])*y-(q[i]-qn[i])*z)
		}
	case 1:
		for i := range d {
			d[i] = c[i]*d[i] + g[i]*((p[i]-pn[i])*z-(q[i]-qn[i])*x[i])
		}
	case 2:
		for i := range d {
			d[i] = c[i]*d[i] + g[i]*((p[i]-pn[i])*x[i]-(q[i]-qn[i])*y)
		}
	}
}

func (w *line[T]) magnetic() {
	d := w.d
	n := len(d)
	g, p, pn, q, qn, x := w.gain[:n], w.p[:n], w.pn[:n], w.q[:n], w.qn[:n], w.x[:n]
	y, z := w.y[0], w.z[0]
	switch w.a {
	case 0:
		for i := range d {
			d[i] += g[i] * ((p[i]-pn[i])*y - (q[i]-qn[i])*z)
		}
	case 1:
		for i := range d {
			d[i] += g[i] * ((p[i]-pn[i])*z - (q[i]-qn[i])*x[i])
		}
	case 2:
		for i := range d {
			d[i] += g[i] * ((p[i]-pn[i])*x[i] - (q[i]-qn[i])*y)
		}
	}
}

// layers advances the memory of the matched layers that the row lies in, and adds
// its part to the component; half is 0 for E, 1 for H.
func (w *line[T]) layers(l *layout[T], r *record, half int) {
	g := perGroup[T]()
	if a := w.a; a != 1 && r.psiY >= 0 {
		at := int(r.psiY)*g + (a/2+2*half)*l.pitch
		w.along(1, l.psiY[at:], w.y)
	}
	if a := w.a; a != 2 && r.psiZ >= 0 {
		at := int(r.psiZ)*g + (a+2*half)*l.pitch
		w.along(2, l.psiZ[at:], w.z)
	}
	if a := w.a; a != 0 && r.psiX >= 0 {
		f, fn, sign := w.differs(0)
		ends := l.head + l.tail
		at := (int(r.psiX) + (a - 1) + half*2*ends) * g
		b, c := w.x[l.pitch:], w.x[2*l.pitch:]
		for e := range ends {
			lo := e * g
			if e >= l.head {
				lo += (l.groups - ends) * g
			}
			m := l.psiX[at+2*e*g:][:g]
			for i := range m {
				m[i] = b[lo+i]*m[i] + c[lo+i]*(f[lo+i]-fn[lo+i])
				w.d[lo+i] += sign * w.gain[lo+i] * m[i]
			}
		}
	}
}

// differs returns the pair that is differentiated along the axis, and the
// sign that this derivative has in the curl.
func (w *line[T]) differs(axis int) (f, fn []T, sign T) {
	if axis == (w.a+1)%3 {
		return w.p, w.pn, 1
	}
	return w.q, w.qn, -1
}

func (w *line[T]) along(axis int, m, metric []T) {
	f, fn, sign := w.differs(axis)
	b, c := metric[1], metric[2]
	d := w.d
	n := len(d)
	m, f, fn, g := m[:n], f[:n], fn[:n], w.gain[:n]
	for i := range d {
		v := b*m[i] + c*(f[i]-fn[i])
		m[i] = v
		d[i] += sign * g[i] * v
	}
}

// relaxPlain is the definition for a dispersive span:
//
//	E ← E − gain·Σ half_p J_p      J_p ← keep_p J_p + β_p·share·(E − old)
func relaxPlain[T Float](d *span[T], e []T) {
	n := len(d.gain)
	e, old := e[:n], d.old[:n]
	for p, pole := range d.poles {
		j, half := d.j[p*n:][:n], pole.half
		if p == 0 {
			for i := range j {
				d.sum[i] = half * j[i]
			}
			continue
		}
		for i := range j {
			d.sum[i] += half * j[i]
		}
	}
	for i := range e {
		e[i] -= d.gain[i] * d.sum[i]
	}
	for p, pole := range d.poles {
		j, share := d.j[p*n:][:n], d.share[pole.share*n:][:n]
		for i := range j {
			j[i] = pole.keep*j[i] + pole.beta*share[i]*(e[i]-old[i])
		}
	}
}

func squaresPlain[T Float](x []T) float64 {
	var s [4]float64
	for ; len(x) >= 4; x = x[4:] {
		for i, v := range x[:4] {
			s[i] += float64(v) * float64(v)
		}
	}
	for i, v := range x {
		s[i] += float64(v) * float64(v)
	}
	return s[0] + s[1] + (s[2] + s[3])
}
