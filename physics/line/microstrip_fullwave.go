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
	return newFullWave(f, width, height, er, 0, 0).solve(guess)
}

// fullWave is one frequency of one line; lengths are over the height.
type fullWave struct {
	k0, a, er float64 // k0 h, half the width over h, εr
	up        float64 // height of a cover above the strip; 0: open
	n         int     // number of J_z functions; J_x has one less
	alpha, w  []float64
	top       float64   // end of the range of α
	bessel    []float64 // J_2m(α a) at [i*n+m]
	tail      []float64 // ∫ J_2m J_2l dα/α, at 0 as the static problem has it
	det       []float64
}

// newFullWave sets the problem up; cover is the height of a metal cover above
// the substrate (0: none), wall the distance of side walls from the strip's
// middle (0: none), all in m.
func newFullWave(f, width, height, er, cover, wall float64) *fullWave {
	s := &fullWave{k0: 2 * pi * f / C0 * height, a: width / 2 / height, er: er, up: cover / height}
	wall /= height
	s.n = 4 + int(math.Min(4, s.a/2))
	// The kernels less their 1/α tails fall as α⁻³ (and e^{−2αh}).
	s.top = 40 * math.Max(math.Max(1, s.k0*math.Sqrt(er)), 1/s.a/4)
	if s.up > 0 {
		s.top = math.Max(s.top, 16/s.up)
	}
	if wall > 0 {
		i := 0.0
		for ; i*pi/wall < s.top; i++ {
			s.alpha, s.w = append(s.alpha, (i+0.5)*pi/wall), append(s.w, pi/wall)
		}
		s.top = i * pi / wall
	} else {
		x, w := legendreRule(12)
		longest := 10 / (2 * s.a) // 10 rad of the product of two Bessel functions
		step := math.Min(1, longest)
		if s.up > 0 {
			step = math.Min(step, 2/(1+s.up))
		}
		for at := 0.0; at < s.top; {
			next := math.Min(at+step, s.top)
			h := (next - at) / 2
			for q := range x {
				s.alpha, s.w = append(s.alpha, at+h*(1+x[q])), append(s.w, h*w[q])
			}
			at, step = next, math.Min(step*1.5, longest)
		}
	}
	b := newBesselRow(0, 2*s.n)
	for _, al := range s.alpha {
		b.fill(al * s.a)
		for m := range s.n {
			s.bessel = append(s.bessel, b.b[2*m])
		}
	}
	s.closedTail(wall)
	return s
}

// closedTail fills tail with −∫∫ f_m f_l ln|u−u′| of the functions
// T_2m/π√(1−u²), which is ln 2 and 1/4m; in the open that stands for the
// integral of J_2m J_2l/α less e^{−αa}/α at m = l = 0. Between walls the kernel
// is −ln tan(πa|u−u′|/4A), whose smooth part goes by Chebyshev's rule.
func (s *fullWave) closedTail(wall float64) {
	n := s.n
	s.tail = make([]float64, n*n)
	s.tail[0] = math.Ln2
	for m := 1; m < n; m++ {
		s.tail[m*n+m] = 1 / float64(4*m)
	}
	if wall == 0 {
		for i, al := range s.alpha {
			s.tail[0] += s.w[i] * math.Exp(-al*s.a) / al
		}
		return
	}
	s.tail[0] -= math.Log(pi * s.a / (4 * wall))
	const m = 48
	for i := range m {
		ti := pi * (float64(i) + 0.5) / m
		for j := range m {
			tj := pi * (float64(j) + 0.5) / m
			y := pi * s.a / (4 * wall) * math.Abs(math.Cos(ti)-math.Cos(tj))
			v := y * y / 3
			if y > 1e-3 {
				v = math.Log(math.Tan(y) / y)
			}
			for p := range n {
				for q := range n {
					sign := 1.0
					if (p+q)%2 != 0 {
						sign = -1
					}
					s.tail[p*n+q] -= sign * v / (m * m) * math.Cos(float64(2*p)*ti) * math.Cos(float64(2*q)*tj)
				}
			}
		}
	}
}

// solve finds the root in n² = (β/k0)² nearest to the guess.
func (s *fullWave) solve(guess float64) float64 {
	low := 1 + 1e-9
	if s.up == 0 {
		low = math.Max(1, math.Pow(tm0Index(s.k0, s.er), 2)) * (1 + 1e-9)
	}
	return nearestRoot(guess, low, s.er*(1-1e-9), s.determinant)
}

// kernels returns 1/(Ye ζ²) and 1/(Yh ζ²).
func (s *fullWave) kernels(al, beta2 float64) (e, h float64) {
	k2 := s.k0 * s.k0
	z2 := al*al + beta2
	g0 := math.Sqrt(z2 - k2)
	ye, yh := 1/g0, g0
	if s.up > 0 {
		ct := 1 / math.Tanh(g0*s.up)
		ye, yh = ct/g0, g0*ct
	}
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
	yh += gc
	if g12 == 0 {
		return 0, 1 / (yh * z2)
	}
	ye += s.er * gc / g12
	return 1 / (ye * z2), 1 / (yh * z2)
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
	// limits of α times the coefficients of Jz Jz′, X Jz′ and X X′, X = αJx/k0
	tzz, txx := n2/(1+s.er)-0.5, 1/(1+s.er)
	txz := idx * txx
	var czz, cxz, cxx float64 // α³ times what is left of them, at the end
	for i, al := range s.alpha {
		e, h := s.kernels(al, n2*k2)
		zz := n2*e - al*al*h - tzz/al
		xz := idx*e + idx*k2*h - txz/al
		xx := e - n2*k2*k2*h/(al*al) - txx/al
		if i == len(s.alpha)-1 {
			a3 := al * al * al
			czz, cxz, cxx = zz*a3, xz*a3, xx*a3
		}
		s.add(d, s.bessel[i*n:(i+1)*n], s.w[i]*zz, s.w[i]*xz, s.w[i]*xx)
	}
	// beyond the end J_2m J_2l averages (−1)^(m+l)/παa
	cut := 1 / (3 * pi * s.a * s.top * s.top * s.top)
	ones := make([]float64, n)
	for m := range ones {
		ones[m] = float64(1 - 2*(m%2))
	}
	s.add(d, ones, cut*czz, cut*cxz, cut*cxx)
	for m := range n {
		for l := range n {
			t := s.tail[m*n+l]
			d[m*size+l] += tzz * t
			if m > 0 {
				d[(n+m-1)*size+l] += txz * t
				if l > 0 {
					d[(n+m-1)*size+n+l-1] += txx * t
				}
			}
		}
	}
	return symmetricDeterminant(d, size)
}

// add adds the products of v's elements to the lower triangle of d.
func (s *fullWave) add(d, v []float64, zz, xz, xx float64) {
	n, size := s.n, 2*s.n-1
	for m, vm := range v {
		for l, vl := range v[:m+1] {
			d[m*size+l] += zz * vm * vl
			if l > 0 {
				d[(n+m-1)*size+n+l-1] += xx * vm * vl
			}
		}
		if m > 0 {
			for l, vl := range v {
				d[(n+m-1)*size+l] += xz * vm * vl
			}
		}
	}
}

// tm0Index is β/k0 of the substrate's TM0 wave, for k0 times the height.
func tm0Index(k0h, er float64) float64 {
	return SurfaceWaveTM0Index(k0h*C0/(2*pi), 1, er)
}
