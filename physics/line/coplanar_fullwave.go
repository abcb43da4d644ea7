package line

import "math"

// FullWaveCoplanar returns the effective permittivity (β/k0)² of the even mode
// of a lossless coplanar line of zero thickness at frequency f, in Hz, by the
// full-wave spectral-domain method, with air below the substrate or, between
// solid walls, a ground. It is not a number where the wave leaks: with air below
// from about [SurfaceWaveTM0Coupling], over ground without walls always.
//
// Source: [itoh1980], in its form for slots.
func FullWaveCoplanar(f, width, gap, height, er float64, groundBelow bool, walls float64) float64 {
	if er == 1 {
		return 1
	}
	if groundBelow && walls == 0 {
		return math.NaN()
	}
	c := slotSection{width: width, gap: gap, lower: height, backed: groundBelow, wall: walls / 2}
	return c.wave(f, er).solve(c.capacitance(er) / c.capacitance(1))
}

// slotWave is the full-wave spectral-domain problem of a lossless coplanar
// line of zero thickness at one frequency; lengths are over half the gap.
//
// With the slot fields' transforms E_x and E_z in the wave number α across the
// line and ζ² = α² + β², the reaction of one slot field with the currents of
// another splits as in [fullWave],
//
//	∫ dα/ζ² [ S S′ Yh − k0² P P′ Ye ] = 0     P = αEx + βEz     S = βEx − αEz
//
// for all E′, with Yh and Ye the sums over the two sides of
//
//	air, open            γ0                              1/γ0
//	air to a cover       γ0 coth γ0H                     coth(γ0H)/γ0
//	slab on ground       1/τ                             εr/(γ1²τ)
//	slab over air        (γ0 + γ1²τ)/(1 + γ0τ)           εr(1 + εrτγ0)/(εrγ0 + γ1²τ)
//
// τ = tanh(γ1h)/γ1 and γi² = ζ² − εi k0². E_x is expanded in the functions of
// an [aperture] with λ = 0, E_z in √(1−u²) U_{n−1}(u), whose transform is that
// of the former over α. Side walls make the integral a sum. Without them a line
// over ground leaks into the wave between the planes and has no real β.
//
// Source: [itoh1980].
type slotWave struct {
	k0, h, up, er float64
	backed        bool
	n             int
	alpha, w      []float64
	e             []float64 // transforms, [i*n+m]
	tail          []float64 // ∫ E_m E_n dα/α
}

func (c slotSection) wave(f, er float64) *slotWave {
	unit := c.gap / 2
	s := &slotWave{k0: 2 * pi * f / C0 * unit, h: c.lower / unit, up: c.upper / unit, er: er, backed: c.backed}
	centre, wall := (c.width+c.gap)/2/unit, c.wall/unit
	s.n = min(6+int(2*math.Sqrt(2/math.Min(centre-1, s.h))), 20)
	ap := aperture{centre, 1, 0, s.n}
	top := 40 * math.Max(math.Max(1, 0.5/s.h), s.k0*math.Sqrt(er))
	if wall > 0 {
		for i := 0.5; i*pi/wall < top; i++ {
			s.alpha, s.w = append(s.alpha, i*pi/wall), append(s.w, pi/wall)
		}
	} else {
		x, w := legendreRule(12)
		longest := 5 / (centre + 1)
		for at, step := 0.0, math.Min(longest, 0.5*math.Min(1, 1/s.h)); at < top; {
			next := math.Min(at+step, top)
			half := (next - at) / 2
			for q := range x {
				s.alpha, s.w = append(s.alpha, at+half*(1+x[q])), append(s.w, half*w[q])
			}
			at, step = next, math.Min(1.5*step, longest)
		}
	}
	b := newBesselRow(0, s.n)
	s.e = make([]float64, len(s.alpha)*s.n)
	for i, al := range s.alpha {
		ap.transform(al, b, s.e[i*s.n:(i+1)*s.n])
	}
	s.tail = make([]float64, s.n*s.n)
	c.halfSpace(ap, s.tail, s.n, 0, pi/4, wall)
	return s
}

// solve finds the root in n² = (β/k0)² nearest to the guess.
func (s *slotWave) solve(guess float64) float64 {
	low := 1 + 1e-9
	if !s.backed {
		low = math.Max(low, math.Pow(tm0Index(s.k0*s.h, s.er), 2)*(1+1e-9))
	}
	high := s.er * (1 - 1e-9)
	return nearestRoot(guess, low, high, s.determinant)
}

func (s *slotWave) kernels(al, beta2 float64) (te, tm float64) {
	k2 := s.k0 * s.k0
	z2 := al*al + beta2
	g0 := math.Sqrt(z2 - k2)
	te, tm = g0, 1/g0
	if s.up > 0 {
		ct := 1 / math.Tanh(g0*s.up)
		te, tm = g0*ct, ct/g0
	}
	q := z2 - s.er*k2
	tau := s.h // tanh(γ1h)/γ1 for either sign of γ1²
	switch g := math.Sqrt(math.Abs(q)); {
	case math.Abs(q)*s.h*s.h < 1e-8:
		tau *= 1 - q*s.h*s.h/3
	case q > 0:
		tau = math.Tanh(g*s.h) / g
	default:
		tau = math.Tan(g*s.h) / g
	}
	if s.backed {
		return (te + 1/tau) / z2, (tm + s.er/(q*tau)) / z2
	}
	te += (g0 + q*tau) / (1 + g0*tau)
	tm += s.er * (1 + s.er*tau*g0) / (s.er*g0 + q*tau)
	return te / z2, tm / z2
}

// determinant of the Galerkin matrix at n².
func (s *slotWave) determinant(n2 float64) float64 {
	n := s.n
	size := 2*n - 1
	d := make([]float64, size*size)
	k2 := s.k0 * s.k0
	idx := math.Sqrt(n2)
	tee := 2*n2 - 1 - s.er
	tex, txx := -2*idx, 2.0
	for i := range n {
		for j := range n {
			t := (s.tail[i*n+j] + s.tail[j*n+i]) / 2
			d[i*size+j] = tee * t
			if i > 0 {
				d[(n+i-1)*size+j] = tex * t
				if j > 0 {
					d[(n+i-1)*size+n+j-1] = txx * t
				}
			}
		}
	}
	for i, al := range s.alpha {
		te, tm := s.kernels(al, n2*k2)
		w := s.w[i]
		// coefficients of Ex Ex′, X Ex′ and X X′, X = αEz/k0, less their tails
		ee := w * (n2*te - al*al*tm - tee/al)
		ex := w * (-idx*te - idx*k2*tm - tex/al)
		xx := w * (te - n2*k2*k2*tm/(al*al) - txx/al)
		row := s.e[i*n : (i+1)*n]
		for p, ep := range row {
			for q, eq := range row[:p+1] {
				d[p*size+q] += ee * ep * eq
				if q > 0 {
					d[(n+p-1)*size+n+q-1] += xx * ep * eq
				}
			}
			if p > 0 {
				for q, eq := range row {
					d[(n+p-1)*size+q] += ex * ep * eq
				}
			}
		}
	}
	return symmetricDeterminant(d, size)
}

// symmetricDeterminant is the determinant of the symmetric matrix whose lower
// triangle is d, eliminating upwards from the last row.
func symmetricDeterminant(d []float64, size int) float64 {
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
