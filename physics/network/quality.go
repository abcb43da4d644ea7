package network

import (
	"math"
	"math/cmplx"
)

// A Deviation is the worst value of a quantity over frequency, and where it is.
type Deviation struct {
	Value     float64
	Frequency float64 // Hz
	I, J      int     // the ports, where the quantity has any
}

// Passivity returns the largest singular value of S over all frequencies. At
// most 1 means that no excitation gets more power out than in: with power waves
// that holds for complex references too. A NaN in the data is returned as NaN.
//
// Source: passivity 1 − SᴴS ≥ 0, [kurokawa1965].
func (n Network) Passivity() Deviation {
	d := Deviation{Value: math.Inf(-1), Frequency: math.NaN()}
	for k, f := range n.Frequency {
		if sv := largestSingularValue(n.Ports, n.Matrix(k)); !(sv <= d.Value) {
			d.Value, d.Frequency = sv, f
			if math.IsNaN(sv) {
				break
			}
		}
	}
	return d
}

// largestSingularValue has the closed form for one and two ports:
// σ² = (t + √(t² − 4|det|²))/2 with t the sum of the squared moduli.
func largestSingularValue(n int, s []complex128) float64 {
	switch n {
	case 1:
		return cmplx.Abs(s[0])
	case 2:
		t := abs2(s[0]) + abs2(s[1]) + abs2(s[2]) + abs2(s[3])
		// t² − 4|det|² = (|s0|²+|s2|²−|s1|²−|s3|²)² + 4|s0*s1 + s2*s3|², free of cancellation
		u := abs2(s[0]) + abs2(s[2]) - abs2(s[1]) - abs2(s[3])
		v := cmplx.Abs(conj(s[0])*s[1] + conj(s[2])*s[3])
		return math.Sqrt((t + math.Hypot(u, 2*v)) / 2)
	}
	return SingularValues(n, s)[0]
}

// Reciprocity returns the largest |S_ij − S_ji| over all frequencies, with its
// ports. A network of ordinary materials has none, whatever the references.
func (n Network) Reciprocity() Deviation {
	d := Deviation{Frequency: math.NaN()}
	for k, f := range n.Frequency {
		for i := range n.Ports {
			for j := range i {
				if v := cmplx.Abs(n.At(k, i, j) - n.At(k, j, i)); !(v <= d.Value) {
					d = Deviation{v, f, i, j}
					if math.IsNaN(v) {
						return d
					}
				}
			}
		}
	}
	return d
}

// Quality holds the initial quality metrics of IEEE Std 370, in percent, 100 best.
// They judge whether a data set is fit for use; they are not limits on a part.
type Quality struct {
	Passivity   float64 // %
	Reciprocity float64 // %
	Causality   float64 // %, the lowest of CausalityOf
	CausalityOf []float64
}

// Grades of the initial quality metrics, in percent: data at or above Good can
// be used as they are, at or above Acceptable with care; below, they deserve doubt.
//
// Source: [ieee370] and [shlepnev2010], from memory.
const (
	GoodPassivity, AcceptablePassivity     = 99.9, 99.0
	GoodReciprocity, AcceptableReciprocity = 99.9, 99.0
	GoodCausality, AcceptableCausality     = 80.0, 50.0
)

// InitialQuality returns the frequency-domain quality metrics of IEEE Std 370.
// With N frequencies and P ports
//
//	passivity    100/N · (N − Σ max(0, (σ_n − 1.00001)/0.1)), floored at 0, σ_n the largest singular value
//	reciprocity  100/N · (N − Σ max(0, (r_n − 1e-6)/0.1)),    floored at 0, r_n the mean |S_ij − S_ji| over i ≠ j
//	causality    100 · (sum of the clockwise turns) / (sum of all turns)
//
// A turn is Re V_{n+1} Im V_n − Im V_{n+1} Re V_n of the steps V_n = S_{n+1} − S_n
// of one S_ij; a trace that never turns counts as 100. CausalityOf holds it
// row after row. Causality needs even spacing (to 1e-3 of the step) and three points: else it is
// NaN and an [Error] of [ErrSpacing] comes along.
//
// Source: [ieee370], as quoted in reference rows measurement-d001 to d004.
func (n Network) InitialQuality() (Quality, error) {
	q := Quality{Causality: math.NaN()}
	points := float64(len(n.Frequency))
	var pw, rw float64
	pairs := float64(n.Ports * (n.Ports - 1))
	for k := range n.Frequency {
		s := n.Matrix(k)
		pw += math.Max(0, (largestSingularValue(n.Ports, s)-1.00001)/0.1)
		r := 0.0
		for i := range n.Ports {
			for j := range n.Ports {
				r += cmplx.Abs(s[i*n.Ports+j] - s[j*n.Ports+i])
			}
		}
		if pairs > 0 {
			rw += math.Max(0, (r/pairs-1e-6)/0.1)
		}
	}
	q.Passivity = math.Max(0, 100/points*(points-pw))
	q.Reciprocity = math.Max(0, 100/points*(points-rw))
	if err := evenSpacing("causality", n.Frequency); err != nil {
		return q, err
	}
	q.Causality = 100
	for i := range n.Ports {
		for j := range n.Ports {
			c := causality(n.Trace(i, j))
			q.CausalityOf = append(q.CausalityOf, c)
			q.Causality = math.Min(q.Causality, c) // math.Min hands a NaN on
		}
	}
	return q, nil
}

func causality(s []complex128) float64 {
	var clockwise, all float64
	for k := 2; k < len(s); k++ {
		v, w := s[k-1]-s[k-2], s[k]-s[k-1]
		r := real(w)*imag(v) - imag(w)*real(v)
		clockwise += math.Max(0, r)
		all += math.Abs(r)
	}
	if all == 0 {
		return 100
	}
	return 100 * clockwise / all
}

func evenSpacing(op string, f []float64) error {
	if len(f) < 3 {
		return fault(op, ErrSpacing, "give three frequencies at least", "%d frequencies", len(f))
	}
	step := (f[len(f)-1] - f[0]) / float64(len(f)-1)
	for k, x := range f {
		if !(math.Abs(x-f[0]-float64(k)*step) <= 1e-3*step) {
			return &Error{Op: op, Frequency: x, Found: describeGrid(f) + " are not evenly spaced", Err: ErrSpacing, Help: "interpolate onto an even grid"}
		}
	}
	return nil
}
