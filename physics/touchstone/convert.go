package touchstone

import (
	"fmt"
	"math"
)

// PairTolerance bounds the change that reading and writing again makes to MA or
// DB data with fewest digits, relative to the magnitude of the parameter: angle
// and level each cost a few roundings. Levels beyond ±300 dB lose more, in
// proportion to the level.
const PairTolerance = 2e-14

// fromPair turns the two numbers of a pair into the complex number they mean.
func fromPair(f Format, a, b float64) complex128 {
	switch f {
	case RI:
		return complex(a, b)
	case DB:
		a = math.Pow(10, a/20)
	}
	sin, cos := sincosDegrees(b)
	return complex(a*cos, a*sin)
}

// zeroLevel stands for magnitude zero in DB: 10^(-9999/20) is zero in float64.
const zeroLevel = -9999

// toPair is the inverse of fromPair, with the angle in (-180°, 180°].
func toPair(f Format, c complex128) (a, b float64) {
	if f == RI {
		return real(c), imag(c)
	}
	a, b = math.Hypot(real(c), imag(c)), math.Atan2(imag(c), real(c))*(180/math.Pi)
	if f == DB {
		if a == 0 {
			return zeroLevel, b
		}
		a = 20 * math.Log10(a)
	}
	return a, b
}

// sincosDegrees takes quarter turns off before it turns degrees into radians, so
// that it is exact at every multiple of 90°. The subtraction is exact as the two
// numbers are within a factor of two of each other.
func sincosDegrees(deg float64) (sin, cos float64) {
	if !(-360 < deg && deg < 360) {
		deg = math.Mod(deg, 360)
	}
	quarter := math.Round(deg / 90)
	sin, cos = math.Sincos((deg - 90*quarter) * (math.Pi / 180))
	if deg == 0 {
		sin = deg // keeps -0
	}
	switch int(quarter) {
	case 1, -3:
		return cos, 0 - sin // +0 at 90°
	case -1, 3:
		return -cos, sin
	case 2:
		return 0 - sin, -cos // 0-sin: +0 at 180°, so that the angle reads 180
	case -2:
		if sin == 0 {
			return math.Copysign(0, -1), -cos // and -180 reads -180
		}
		return -sin, -cos
	case 4, -4:
		return sin, cos
	}
	return sin, cos
}

// normalise refers a matrix of absolute values to r, in Ω, in place, as version
// 1 files hold it; back undoes that.
func normalise(p Parameter, m []complex128, r float64, back bool) {
	impedance := func(z complex128) complex128 {
		if back {
			return complex(real(z)*r, imag(z)*r)
		}
		return complex(real(z)/r, imag(z)/r)
	}
	admittance := func(y complex128) complex128 {
		if back {
			return complex(real(y)/r, imag(y)/r)
		}
		return complex(real(y)*r, imag(y)*r)
	}
	switch p {
	case Z:
		for i, z := range m {
			m[i] = impedance(z)
		}
	case Y:
		for i, y := range m {
			m[i] = admittance(y)
		}
	case H:
		m[0], m[3] = impedance(m[0]), admittance(m[3])
	case G:
		m[0], m[3] = admittance(m[0]), impedance(m[3])
	}
}

// order lists for each pair of a point the element of the row-major matrix it
// stands for.
func (l *Layout) order() []int32 {
	n := l.Ports
	if n == 2 && l.Triangle == Full && l.Order == Order21_12 {
		return []int32{0, 2, 1, 3}
	}
	at := make([]int32, 0, l.pairs())
	for i := range n {
		from, to := 0, n
		switch l.Triangle {
		case Lower:
			to = i + 1
		case Upper:
			from = i
		}
		for j := from; j < to; j++ {
			at = append(at, int32(i*n+j))
		}
	}
	return at
}

// SingleEnded returns the file with its mixed-mode data turned into data between
// the ports 1 to N. Files without modes are returned as they are.
//
//	S = Mᵀ·Smm·M          rows of M: (eᵢ-eⱼ)/√2 for Di,j; (eᵢ+eⱼ)/√2 for Ci,j; eᵢ for Si
//	Z = Bᵀ·Zmm·B          rows of B: (eᵢ-eⱼ)/2;  eᵢ+eⱼ;  eᵢ      (mode currents I = B·i)
//	Y = Aᵀ·Ymm·A          rows of A: eᵢ-eⱼ;  (eᵢ+eⱼ)/2;  eᵢ      (mode voltages V = A·v)
//
// The wave relation needs the same reference at both ports of a pair.
//
// Source: [ibis2009], mixed-mode concepts and appendix A.
func (f *File) SingleEnded() (*File, error) {
	l := f.Layout
	if len(l.Modes) == 0 {
		return f, nil
	}
	n := l.Ports
	plus, minus := make([]complex128, n), make([]complex128, n) // row of M, B or A at port and at reference
	for q, m := range l.Modes {
		p := 1.0
		if m.Kind != 'S' {
			ra, rb := l.PortReference(m.Port), l.PortReference(m.Ref)
			if l.Parameter == S && ra != rb {
				return nil, fmt.Errorf("touchstone: %s: mode %v joins ports of %g Ω and %g Ω; the mode's reference is defined only if they are equal", f.Name, m, ra, rb)
			}
			switch {
			case l.Parameter == S:
				p = math.Sqrt2 / 2
			case (l.Parameter == Z) == (m.Kind == 'D'):
				p = 0.5
			}
			minus[q] = complex(p, 0)
			if m.Kind == 'D' {
				minus[q] = -minus[q]
			}
		}
		plus[q] = complex(p, 0)
	}
	modes := l.Modes
	l.Modes = nil
	out := &File{Name: f.Name, Layout: l, Frequency: f.Frequency, Noise: f.Noise, Comments: f.Comments,
		Data: make([]complex128, len(f.Data))}
	right := make([]complex128, n*n)
	for k := range f.Frequency {
		from, to := f.At(k), out.At(k)
		clear(right)
		for i := 0; i < n*n; i += n { // right = modal·M
			for q, m := range modes {
				right[i+m.Port-1] += from[i+q] * plus[q]
				if m.Ref > 0 {
					right[i+m.Ref-1] += from[i+q] * minus[q]
				}
			}
		}
		for q, m := range modes { // to = Mᵀ·right
			for j, r := range right[q*n : (q+1)*n] {
				to[(m.Port-1)*n+j] += plus[q] * r
				if m.Ref > 0 {
					to[(m.Ref-1)*n+j] += minus[q] * r
				}
			}
		}
	}
	return out, nil
}
