package fit

import (
	"math"
	"math/cmplx"

	"linewright/physics/line"
	"linewright/physics/network"
)

// acosh is the inverse hyperbolic cosine with real part not negative.
func acosh(z complex128) complex128 {
	w := cmplx.Acosh(z)
	if real(w) < 0 {
		return -w
	}
	return w
}

// A Propagation is what two lengths of one line say of it.
type Propagation struct {
	Frequency []float64    // Hz, above 0
	Gamma     []complex128 // γ, 1/m
	// Phase is βΔl, in rad. Near whole multiples of π the two waves cannot be
	// told apart: an error of the transfer matrices ε makes one of about √ε there, and ε/|sin Phase|
	// elsewhere.
	Phase []float64
	// Mismatch is |√(S12/S21 of long over short)| off 1, a measure of how far the two
	// are from reciprocal and alike.
	Mismatch []float64
}

// Slowness returns the delay per metre of a line, in s/m, from cosh γΔl of one or more
// differences of length, in m, over frequency, in Hz: what [Cosh] gives, which does not
// see the launches. It is the value of all between 0.9 and 5 times that of light
// for which cos(2πf s Δl) agrees best with them; of several that agree as well within a
// twentieth, as in a narrow band they may, that which is nearest to guess.
//
// Source: derived here.
func Slowness(frequency []float64, cosh [][]complex128, extra []float64, guess float64) float64 {
	longest := 0.0
	for _, l := range extra {
		longest = math.Max(longest, math.Abs(l))
	}
	// A tenth of a radian at the end of the sweep and of the longest difference; some hundred frequencies do.
	stride := max(1, len(frequency)/128)
	step := 0.1 / (2 * math.Pi * frequency[len(frequency)-1] * longest)
	low, high := 0.9/line.C0, 5/line.C0
	n := min(max(int((high-low)/step), 16), 20000)
	off := make([]float64, n+1)
	least := math.Inf(1)
	for i := range off {
		s := low + (high-low)*float64(i)/float64(n)
		for j, l := range extra {
			for k := 0; k < len(frequency); k += stride {
				off[i] += math.Abs(real(cosh[j][k]) - math.Cos(2*math.Pi*frequency[k]*s*l))
			}
		}
		least = math.Min(least, off[i])
	}
	best := guess
	nearest := math.Inf(1)
	for i, v := range off {
		if v > least*1.05 || i > 0 && off[i-1] < v || i < n && off[i+1] < v {
			continue // not a minimum, or not one of the deepest
		}
		s := low + (high-low)*float64(i)/float64(n)
		if d := math.Abs(s - guess); d < nearest {
			best, nearest = s, d
		}
	}
	return best
}

// Cosh returns cosh γΔl = tr/(2√det) of T_long T_short⁻¹, at each frequency.
func Cosh(short, long []network.Transfer) []complex128 {
	c := make([]complex128, len(short))
	for k := range c {
		a, b := long[k], short[k]
		det := b.T11*b.T22 - b.T12*b.T21
		trace := (a.T11*b.T22 - a.T12*b.T21 - a.T21*b.T12 + a.T22*b.T11) / det
		root := cmplx.Sqrt((a.T11*a.T22 - a.T12*a.T21) / det) // about 1
		c[k] = trace / (2 * root)
	}
	return c
}

// TwoLines returns the propagation constant of the line of which long has extra metres
// more than short, whatever the launches are, as long as they are the same on
// both: T_long T_short⁻¹ is similar to the line's own diag(e^{−γΔl}, e^{+γΔl}), and
//
//	cosh γΔl = tr(T_long T_short⁻¹) / 2√det
//
// does not see what it is similar by. The sign is that of a line that attenuates; whole
// turns follow from [Slowness], so that no permittivity need be
// guessed. The line need not match the ports.
//
// Source: [janezic1999]; the use of the trace instead of the eigenvalues is ours and
// gives the same.
func TwoLines(short, long network.Network, extra float64) (Propagation, error) {
	const op = "two lines"
	if !(extra > 0) {
		return Propagation{}, fault(op, network.ErrValue, "give the longer line second", "the second line is %g m longer", extra)
	}
	if len(short.Frequency) != len(long.Frequency) {
		return Propagation{}, fault(op, network.ErrGrid, "interpolate one onto the other's frequencies", "%d and %d frequencies", len(short.Frequency), len(long.Frequency))
	}
	for k, f := range short.Frequency {
		if f != long.Frequency[k] {
			return Propagation{}, fault(op, network.ErrGrid, "interpolate one onto the other's frequencies", "%g and %g Hz", f, long.Frequency[k])
		}
	}
	ts, err := short.Transfer()
	if err != nil {
		return Propagation{}, err
	}
	tl, err := long.Transfer()
	if err != nil {
		return Propagation{}, err
	}
	tau := extra * Slowness(short.Frequency, [][]complex128{Cosh(ts, tl)}, []float64{extra}, (long.Delay(1, 0)-short.Delay(1, 0))/extra)
	var p Propagation
	last := 0.0
	for k, f := range short.Frequency {
		if f == 0 {
			continue
		}
		a, b := tl[k], ts[k]
		det := b.T11*b.T22 - b.T12*b.T21
		trace := (a.T11*b.T22 - a.T12*b.T21 - a.T21*b.T12 + a.T22*b.T11) / det
		d := (a.T11*a.T22 - a.T12*a.T21) / det
		// e^{−γΔl} is either solution of x² − tr x + det = 0: that which turns as predicted.
		root := cmplx.Sqrt(trace*trace/4 - d)
		phase := 2 * math.Pi * f * tau
		if last > 0 {
			phase = last + 2*math.Pi*(f-p.Frequency[len(p.Frequency)-1])*tau
		}
		want := cmplx.Rect(1, -phase)
		x, y := trace/2+root, trace/2-root
		if cmplx.Abs(x-want)+cmplx.Abs(1/y-want) > cmplx.Abs(y-want)+cmplx.Abs(1/x-want) {
			x, y = y, x
		}
		e := (x + 1/y) / 2 // both say e^{−γΔl}
		beta := -cmplx.Phase(e)
		beta += 2 * math.Pi * math.Round((phase-beta)/(2*math.Pi))
		last = beta
		p.Frequency = append(p.Frequency, f)
		p.Gamma = append(p.Gamma, complex(-math.Log(cmplx.Abs(e))/extra, beta/extra))
		p.Phase = append(p.Phase, beta)
		p.Mismatch = append(p.Mismatch, cmplx.Abs(cmplx.Sqrt(d)-1))
	}
	return p, nil
}

// Between returns the part of p whose phase, folded to 0 ... π, lies between low and
// π − low, in rad: the trade's window is 20 to 160°.
func (p Propagation) Between(low float64) Propagation {
	var q Propagation
	for k, phi := range p.Phase {
		if m := math.Abs(math.Mod(phi, math.Pi)); m >= low && m <= math.Pi-low {
			q.Frequency = append(q.Frequency, p.Frequency[k])
			q.Gamma = append(q.Gamma, p.Gamma[k])
			q.Phase = append(q.Phase, phi)
			q.Mismatch = append(q.Mismatch, p.Mismatch[k])
		}
	}
	return q
}

// Loss fits the loss law per metre to the attenuation.
func (p Propagation) Loss(law Law) (Loss, error) {
	a, s := make([]float64, len(p.Gamma)), make([]float64, len(p.Gamma))
	for k, g := range p.Gamma {
		a[k], s[k] = real(g), 1/math.Abs(math.Sin(p.Phase[k]))
	}
	l, err := OfLoss(p.Frequency, a, s, law)
	if err == nil {
		l.Fit.scaleCovariance(l.Fit.Reduced) // the weights are shares, not uncertainties
	}
	return l, err
}
