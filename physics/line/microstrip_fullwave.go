package line

import "math"

// FullWaveMicrostrip returns the effective permittivity (β/k0)² of the
// dominant mode of an open, lossless microstrip line of zero thickness at
// frequency f, in Hz, by the full-wave spectral-domain method. Good to 1e-6
// where it converges; not a number where the wave leaks (β below that of the
// substrate's TM0 wave) or no root is found.
//
// With the currents' transforms J_z and J_x in the wave number α across the
// strip and ζ² = α² + β², the reaction of one current with the field of
// another splits into waves TM and TE to the substrate's normal,
//
//	∫ dα/ζ² [ P P′/Ye − k0² S S′/Yh ] = 0     P = αJx + βJz     S = βJx − αJz
//	Ye = 1/γ0 + εr coth(γ1h)/γ1     Yh = γ0 + γ1 coth(γ1h)     γi² = ζ² − εi k0²
//
// for all J′. J_z is expanded in T_2m(u)/√(1−u²), J_x in √(1−u²) U_{2m−1}(u),
// whose transforms are J_2m(αw/2) and J_2m(αw/2)/α; the tail of each integral,
// c/α, is in closed form.
//
// Source: [itoh1980].
func FullWaveMicrostrip(f, width, height, er float64) float64 {
	if er == 1 {
		return 1
	}
	guess := KirschningJansen(f, width, height, er, HammerstadJensen(width, height, 0, er).EffectivePermittivity)
	return newFullWave(f, width, height, er).solve(guess)
}

// fullWave is one frequency of one line; lengths are over the height.
type fullWave struct {
	k0, a, er float64 // k0 h, half the width over h, εr
	n         int     // number of J_z functions; J_x has one less
	alpha, w  []float64
	bessel    []float64 // J_2m(α a) at [i*n+m]
	det       []float64
}

func newFullWave(f, width, height, er float64) *fullWave {
	s := &fullWave{k0: 2 * pi * f / C0 * height, a: width / 2 / height, er: er}
	s.n = 4 + int(math.Min(4, s.a/2))
	// The kernels less their 1/α tails fall as α⁻³ (and e^{−2αh}).
	top := 40 * math.Max(math.Max(1, s.k0*math.Sqrt(er)), 1/s.a/4)
	x, w := legendreRule(12)
	longest := 10 / (2 * s.a) // 10 rad of the product of two Bessel functions
	at, step := 0.0, math.Min(1, longest)
	b := newBesselRow(0, 2*s.n)
	for at < top {
		next := math.Min(at+step, top)
		h := (next - at) / 2
		for q := range x {
			al := at + h*(1+x[q])
			s.alpha, s.w = append(s.alpha, al), append(s.w, h*w[q])
			b.fill(al * s.a)
			for m := range s.n {
				s.bessel = append(s.bessel, b.b[2*m])
			}
		}
		at, step = next, math.Min(step*1.5, longest)
	}
	return s
}

// solve finds the root in n² = (β/k0)² nearest to the guess.
func (s *fullWave) solve(guess float64) float64 {
	low := math.Max(1, math.Pow(tm0Index(s.k0, s.er), 2)) * (1 + 1e-9)
	high := s.er * (1 - 1e-9)
	guess = math.Min(math.Max(guess, low), high)
	for span := 0.003; span < 1; span *= 2 {
		a, b := math.Max(guess*(1-span), low), math.Min(guess*(1+span), high)
		ga, gb := s.determinant(a), s.determinant(b)
		if (ga > 0) != (gb > 0) {
			return brent(s.determinant, a, b, ga, gb)
		}
		if a == low && b == high {
			break
		}
	}
	return math.NaN()
}

// determinant of the Galerkin matrix at n².
func (s *fullWave) determinant(n2 float64) float64 {
	n := s.n
	size := 2*n - 1
	if len(s.det) != size*size {
		s.det = make([]float64, size*size)
	}
	d := s.det
	clear(d)
	k2 := s.k0 * s.k0
	idx := math.Sqrt(n2)
	beta2 := n2 * k2
	pInf, sInf := 1/(1+s.er), 0.5 // limits of α times the kernels
	var last [3]float64           // α³ times the kernels less their tails, at the end
	kernels := func(al float64) (p, q float64) {
		z2 := al*al + beta2
		g0 := math.Sqrt(z2 - k2)
		// γ1 coth γ1h, for either sign of γ1²
		g12 := z2 - s.er*k2
		var gc float64
		switch {
		case g12 > 1e-8:
			g := math.Sqrt(g12)
			gc = g / math.Tanh(g)
		case g12 < -1e-8:
			g := math.Sqrt(-g12)
			gc = g / math.Tan(g)
		default:
			gc = 1 + g12/3
		}
		ye := 1/g0 + s.er*gc/g12
		if math.Abs(g12) < 1e-12 {
			ye = math.Inf(1)
		}
		return 1 / (ye * z2), 1 / ((g0 + gc) * z2)
	}
	for i, al := range s.alpha {
		p, q := kernels(al)
		// coefficient of Jz Jz′, X̂ Jz′ and X̂ X̂′, X̂ = αJx/k0
		zz := n2*p - al*al*q
		xz := idx*p + idx*q*k2
		xx := p - n2*k2*k2*q/(al*al)
		zz -= (n2*pInf - sInf) / al
		xz -= idx * pInf / al
		xx -= pInf / al
		if i == len(s.alpha)-1 {
			a3 := al * al * al
			last = [3]float64{zz * a3, xz * a3, xx * a3}
		}
		row := s.bessel[i*n : (i+1)*n]
		w := s.w[i]
		for m := range n {
			for l := range m + 1 {
				jj := w * row[m] * row[l]
				d[m*size+l] += zz * jj
				if l > 0 {
					d[(n+m-1)*size+n+l-1] += xx * jj
					d[(n+m-1)*size+l] += xz * jj
					if m != l {
						d[(n+l-1)*size+m] += xz * jj
					}
				} else if m > 0 {
					d[(n+m-1)*size] += xz * jj
				}
			}
		}
		d[0] += w * (n2*pInf - sInf) / al * math.Exp(-al*s.a)
	}
	// closed tails: ∫ J_2m J_2l dα/α = δ/(4m), and for m = 0 with e^{−αa}
	// taken off, ln 2; then what the end of the range cut off
	top := s.alpha[len(s.alpha)-1]
	cut := 1 / (3 * pi * s.a * top * top * top)
	d[0] += (n2*pInf - sInf) * math.Ln2
	for m := 1; m < n; m++ {
		t := 1 / float64(4*m)
		d[m*size+m] += (n2*pInf - sInf) * t
		d[(n+m-1)*size+m] += idx * pInf * t
		d[(n+m-1)*size+n+m-1] += pInf * t
	}
	for m := range n {
		for l := range n {
			sign := cut
			if (m+l)%2 != 0 {
				sign = -cut
			}
			if l <= m {
				d[m*size+l] += last[0] * sign
			}
			if m > 0 {
				d[(n+m-1)*size+l] += last[1] * sign
				if l > 0 && l <= m {
					d[(n+m-1)*size+n+l-1] += last[2] * sign
				}
			}
		}
	}
	// the lower triangle is filled; eliminate upwards from the X̂ block, which is
	// definite, and multiply the pivots
	for i := range size {
		for j := range i {
			d[j*size+i] = d[i*size+j]
		}
	}
	det := 1.0
	for k := size - 1; k >= 0; k-- {
		p := d[k*size+k]
		det *= p
		for i := range k {
			f := d[i*size+k] / p
			for j := range k {
				d[i*size+j] -= f * d[k*size+j]
			}
		}
	}
	return det
}

// tm0Index is β/k0 of the substrate's TM0 wave, for k0 times the height.
func tm0Index(k0h, er float64) float64 {
	return SurfaceWaveTM0Index(k0h*C0/(2*pi), 1, er)
}
