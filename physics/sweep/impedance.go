package sweep

import (
	"math"
	"math/cmplx"

	"linewright/physics/network"
	"linewright/physics/timedomain"
)

// ApparentImpedance returns the impedance, in Ω, that the line behind port i seems to
// have, taken at its word as to references: the median over two-way times from the plane to until,
// in s, of what the reflection of an edge shows. It needs a sweep that begins within a few
// steps of 0 Hz. The one-way delay of the path is a good until: what the far end does is then not
// in it, nor does the launch weigh much.
//
// If a file's data are referred to R but it states R0, the profile of a line of Z shows Z R0/R.
func ApparentImpedance(n network.Network, i int, until float64) (float64, error) {
	s, err := timedomain.Of(n, i, i, timedomain.DC{})
	if len(s.S) == 0 {
		return math.NaN(), err
	}
	r := s.Excite(nil, timedomain.Options{Points: 4 * len(s.S)}).Impedance(real(n.Reference[i]))
	var z []float64
	for k, v := range r.Value {
		if t := r.Time(k); t > 0 && t < until {
			z = append(z, v)
		}
	}
	return median(z), nil
}

// ImageImpedance returns the median over frequency of |√(B/C)|, in Ω, of a two-port: the
// impedance of the line it would be if it were uniform. It needs no low frequencies. Frequencies at
// which the line is within 30° of whole half waves, where B and C vanish, are left out.
//
// Source: image parameters of [pozar2012] §8.1.
func ImageImpedance(n network.Network) float64 {
	m, err := n.ABCD()
	if err != nil {
		return math.NaN()
	}
	var z []float64
	for _, t := range m {
		if cmplx.Abs(t.B*t.C) > 0.25 { // sinh² γl
			z = append(z, cmplx.Abs(cmplx.Sqrt(t.B/t.C)))
		}
	}
	return median(z)
}
