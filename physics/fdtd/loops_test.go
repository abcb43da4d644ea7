package fdtd

import "sync"

// The loops of this file say plainly, field by field, what package yee does in
// tiles and machine code, from the same coefficients: they are its second opinion.

// parallel shares the planes among the workers.
func (f *fields[T]) parallel(body func(k0, k1 int)) {
	n := f.n[2] + 1
	if f.workers == 1 {
		body(0, n)
		return
	}
	var wg sync.WaitGroup
	for w := range f.workers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			body(w*n/f.workers, (w+1)*n/f.workers)
		}()
	}
	wg.Wait()
}

// remember makes room for the memory of the layers, which the engine keeps in its
// own way.
func (f *fields[T]) remember(layers *[3][]psi[T]) {
	for a := range 3 {
		for i := range layers[a] {
			if layers[a][i].value == nil {
				layers[a][i].value = make([]T, f.size)
			}
		}
	}
}

// stepE advances the electric field by a time step. The order of its sums is the
// same for any number of workers.
func (f *fields[T]) stepE() {
	f.remember(&f.psiE)
	for a := range 3 {
		for i := range f.disperse[a] {
			f.disperse[a][i].old = f.e[a][f.disperse[a][i].index]
		}
	}
	f.parallel(func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			for j := range f.n[1] + 1 {
				for a := range 3 {
					f.row(a, j, k, f.e, f.h, -1, f.inverseE, &f.keep[a], &f.gain[a], f.psiE[a])
				}
			}
		}
	})
	for a := range 3 {
		for i := range f.disperse[a] {
			d := &f.disperse[a][i]
			e := &f.e[a][d.index]
			sum := T(0)
			for p, j := range d.j {
				sum += (1 + d.keep[p]) * j
			}
			*e -= d.gain * sum / 2
			for p := range d.j {
				d.j[p] = d.keep[p]*d.j[p] + d.beta[p]*(*e-d.old)
			}
		}
	}
}

// stepH advances the magnetic field by a time step.
func (f *fields[T]) stepH() {
	f.remember(&f.psiH)
	for a := range 3 {
		c := &f.coupled[a]
		for n, i := range c.faces {
			c.change[n] = f.h[a][i]
		}
	}
	f.parallel(func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			for j := range f.n[1] + 1 {
				for a := range 3 {
					f.row(a, j, k, f.h, f.e, 1, f.inverseH, nil, &f.turn[a], f.psiH[a])
				}
			}
		}
	})
	for a := range 3 {
		c := &f.coupled[a]
		for n, i := range c.faces {
			c.change[n] = f.h[a][i] - c.change[n]
		}
		for _, p := range c.pairs {
			f.h[a][c.faces[p.i]] += p.fromJ * c.change[p.j]
			f.h[a][c.faces[p.j]] += p.fromI * c.change[p.i]
		}
	}
	f.step++
}

// row advances one row of component a of the field to, from the other field:
// to ← keep·to ± gain·(δu from_v − δv from_u), whose differences reach to the
// node below (direction −1, E) or above (+1, H).
func (f *fields[T]) row(a, j, k int, to, from [3][]T, direction int, inverse [3][]T, keep, gain *rows[T], layers []psi[T]) {
	n := f.n[0] + 1
	at := f.index([3]int{0, j, k})
	jk := j + 1 + (k+1)*(f.n[1]+2)
	dst := to[a][at:][:n]
	g := gain.table[gain.offset[jk]:][:n]
	u, v := (a+1)%3, (a+2)%3
	p, q := from[v][at:][:n], from[u][at:][:n]
	pn, qn := from[v][at+direction*f.stride[u]:][:n], from[u][at+direction*f.stride[v]:][:n]
	pos := [3]int{0, j, k}
	if keep != nil {
		c := keep.table[keep.offset[jk]:][:n]
		switch {
		case u == 0:
			w, x := inverse[0][:n], inverse[v][pos[v]]
			for i := range dst {
				dst[i] = c[i]*dst[i] + g[i]*((p[i]-pn[i])*w[i]-(q[i]-qn[i])*x)
			}
		case v == 0:
			w, x := inverse[0][:n], inverse[u][pos[u]]
			for i := range dst {
				dst[i] = c[i]*dst[i] + g[i]*((p[i]-pn[i])*x-(q[i]-qn[i])*w[i])
			}
		default:
			x, y := inverse[u][pos[u]], inverse[v][pos[v]]
			for i := range dst {
				dst[i] = c[i]*dst[i] + g[i]*((p[i]-pn[i])*x-(q[i]-qn[i])*y)
			}
		}
	} else {
		switch {
		case u == 0:
			w, x := inverse[0][:n], inverse[v][pos[v]]
			for i := range dst {
				dst[i] -= g[i] * ((pn[i]-p[i])*w[i] - (qn[i]-q[i])*x)
			}
		case v == 0:
			w, x := inverse[0][:n], inverse[u][pos[u]]
			for i := range dst {
				dst[i] -= g[i] * ((pn[i]-p[i])*x - (qn[i]-q[i])*w[i])
			}
		default:
			x, y := inverse[u][pos[u]], inverse[v][pos[v]]
			for i := range dst {
				dst[i] -= g[i] * ((pn[i]-p[i])*x - (qn[i]-q[i])*y)
			}
		}
	}
	for l := range layers {
		s := &layers[l]
		src := from[s.of]
		reach := direction * f.stride[s.axis]
		for side := range 2 {
			from, to := s.from[side], s.to[side]
			if s.axis != 0 {
				if pos[s.axis] < from || pos[s.axis] >= to {
					continue
				}
				if s.c[pos[s.axis]] == 0 {
					continue
				}
				b, c := s.b[pos[s.axis]], s.c[pos[s.axis]]
				for i := range n {
					d := src[at+i] - src[at+i+reach]
					if direction > 0 {
						d = -d
					}
					m := b*s.value[at+i] + c*d
					s.value[at+i] = m
					dst[i] += s.sign * g[i] * m
				}
				continue
			}
			for i := from; i < min(to, n); i++ {
				d := src[at+i] - src[at+i+reach]
				if direction > 0 {
					d = -d
				}
				m := s.b[i]*s.value[at+i] + s.c[i]*d
				s.value[at+i] = m
				dst[i] += s.sign * g[i] * m
			}
		}
	}
}
