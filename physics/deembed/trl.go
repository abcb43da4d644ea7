package deembed

import (
	"math"
	"math/cmplx"

	"linewright/physics/fit"
	"linewright/physics/internal/dense"
	"linewright/physics/network"
)

// A Line is a measured standard: both launches with so much uniform line between
// the planes.
type Line struct {
	Length  float64 // m; the thru may have any, 0 puts the planes in its middle
	Network network.Network
}

// TRL holds the standards of a calibration with lines.
type TRL struct {
	// Lines are two or more lines of different length, all of one cross-section, the
	// shortest being the thru.
	Lines []Line
	// Reflect is a reflection at either plane, the same at both: its S11 and S22
	// are used. It need not be known.
	Reflect network.Network
	// Guess is roughly the reflection coefficient of Reflect, to tell a short from an open;
	// 0 stands for −1, a short.
	Guess complex128
	// Offset is the length of line from the plane to the reflection, in m, negative
	// when the reflection stands before the plane.
	Offset float64
	// Plane moves both planes towards the part, in m, from where a line of no
	// length would have them; negative into the launches.
	Plane float64
}

// box is an error box: the terms of X = r[[a b][c 1]].
type box struct{ b, ca, a complex128 }

// A Calibration holds the error boxes that lines and a reflection tell, one pair
// per frequency, referred to the line's own impedance.
type Calibration struct {
	Frequency []float64    // Hz
	Gamma     []complex128 // γ of the lines, 1/m
	// GammaUncertainty is the standard uncertainty of each part of γ, in 1/m, from how far the
	// lines disagree, pooled over 25 frequencies. NaN with two lines, which cannot disagree.
	GammaUncertainty []float64
	// Phase is the phase difference of the pair of lines that serves best, as its distance
	// from the nearest whole half wave, 0 ... π/2, in rad: 90° is best, and the rule of 20 to 160° is that it be 20° or more.
	Phase []float64
	// Weight is the variance of the error boxes' reflection terms over that of one pair of
	// lines at 90°: √Weight is by how much errors of the lines grow here.
	Weight []float64
	// Reflect is the reflection of the standard, found, at its own place; referred to the line.
	Reflect []complex128

	left, right []box
	k           []complex128 // r s, the transmission of both boxes
	outer       [2]complex128
}

// window is the trade's phase window, 20 to 160°.
const window = 20 * math.Pi / 180

// Usable says whether the k-th frequency lies in the phase window of some pair of lines.
func (c Calibration) Usable(k int) bool {
	return c.Phase[k] >= window
}

// Solve finds the error boxes.
//
// With M_i = X T_i Y of a line of length l_i, M_j M_i⁻¹ = X diag(e^{−γΔl}, e^{γΔl}) X⁻¹: its
// eigenvectors are the columns of X, and b and c/a follow; from the lines seen from the other
// end, those of Y. Which eigenvalue is which is told by γ followed up from the lowest
// frequency, begun with [fit.Slowness]. With more than two lines the pairs that
// share one line are combined by Gauss and Markov, with the covariance that
// errors δ at either end of each line cause,
//
//	x_ij = [δ_j/λ − λ δ_i + E_i E_j (δ'_j − δ'_i)]/(1/λ − λ)        λ = E_j/E_i
//
// and the shared line is at each frequency that which leaves the least variance.
// Then X⁻¹ M_i Y⁻¹ is diagonal for every line, the logarithm of its ratio is −2γl_i
// + ln aa', and a straight line through these is γ, for all lengths at once, with an
// uncertainty from the scatter. The reflection parts a from a', its guess the sign.
//
// Two lines make it the method of Engen and Hoer; more, that of Marks.
//
// Source: [engen1979]; [marks1991], with the covariance derived here for errors at the
// lines' ends and γ from the diagonal instead of the eigenvalues, which stays good
// at whole half waves; [degroot2002] for the order of the steps.
func (t TRL) Solve() (Calibration, error) {
	const op = "TRL"
	if len(t.Lines) < 2 {
		return Calibration{}, fault(op, ErrLengths, "", "%d lines", len(t.Lines))
	}
	first := t.Lines[0].Network
	all := []network.Network{}
	for _, l := range t.Lines {
		all = append(all, l.Network)
	}
	if t.Reflect.Ports != 2 {
		return Calibration{}, fault(op, network.ErrShape, "give one file with S11 and S22 of the reflection", "the reflection has %d ports", t.Reflect.Ports)
	}
	all = append(all, t.Reflect)
	for i, n := range all {
		if err := n.Check(); err != nil {
			return Calibration{}, err
		}
		if err := alike(op, i, first, n); err != nil {
			return Calibration{}, err
		}
	}
	// Raw transfer matrices, as they are and seen from the right.
	var left, right [][]network.Transfer
	short, long := 0, 0
	for i, l := range t.Lines {
		m, err := l.Network.Transfer()
		if err != nil {
			return Calibration{}, err
		}
		turned, err := l.Network.Reorder(1, 0)
		if err != nil {
			return Calibration{}, err
		}
		r, err := turned.Transfer()
		if err != nil {
			return Calibration{}, err
		}
		left, right = append(left, m), append(right, r)
		if l.Length < t.Lines[short].Length {
			short = i
		}
		if l.Length > t.Lines[long].Length {
			long = i
		}
	}
	span := t.Lines[long].Length - t.Lines[short].Length
	for i, l := range t.Lines {
		for _, m := range t.Lines[:i] {
			if !(math.Abs(l.Length-m.Length) > 1e-6*span) {
				return Calibration{}, fault(op, ErrLengths, "", "two lines of %g mm", l.Length*1e3)
			}
		}
	}
	if span == 0 {
		return Calibration{}, fault(op, ErrLengths, "", "all lines of %g mm", t.Lines[0].Length*1e3)
	}
	var pairs [][]complex128
	var extra []float64
	for i, l := range t.Lines {
		if i != short {
			pairs, extra = append(pairs, fit.Cosh(left[short], left[i])), append(extra, l.Length-t.Lines[short].Length)
		}
	}
	slowness := fit.Slowness(first.Frequency, pairs, extra, (t.Lines[long].Network.Delay(1, 0)-t.Lines[short].Network.Delay(1, 0))/span)
	guess := t.Guess
	if guess == 0 {
		guess = -1
	}

	n := len(first.Frequency)
	c := Calibration{Frequency: first.Frequency, outer: [2]complex128{first.Reference[0], first.Reference[1]}}
	lengths := make([]float64, len(t.Lines))
	for i, l := range t.Lines {
		lengths[i] = l.Length
	}
	scatter := make([]float64, n) // Σ|r|² over the degrees of freedom
	gamma := complex(0, 2*math.Pi*first.Frequency[0]*slowness)
	for k, f := range first.Frequency {
		if k > 0 {
			gamma += complex(0, 2*math.Pi*(f-first.Frequency[k-1])*slowness)
		}
		ml, mr := make([]network.Transfer, len(lengths)), make([]network.Transfer, len(lengths))
		for i := range lengths {
			ml[i], mr[i] = left[i][k], right[i][k]
		}
		predicted := gamma
		b := boxes(ml, mr, lengths, short, predicted)
		if b.phase >= window/2 { // again, with γ as found: pairs near whole half waves need it well known
			b = boxes(ml, mr, lengths, short, b.gamma)
		}
		gamma = b.gamma
		x, y, aa, kk := b.x, b.y, b.aa, b.k
		scatter[k] = b.rest
		// The reflection: a Γ from the left, a' Γ from the right.
		w1, w2 := t.Reflect.At(k, 0, 0), t.Reflect.At(k, 1, 1)
		g1 := (w1 - x.b) / (1 - w1*x.ca)
		g2 := (w2 - y.b) / (1 - w2*y.ca)
		a := cmplx.Sqrt(aa * g1 / g2)
		at := cmplx.Exp(-2 * gamma * complex(t.Offset, 0))
		if real(g1/a*cmplx.Conj(guess*at)) < 0 {
			a = -a
		}
		x.a = a
		y.a = aa / a
		c.Reflect = append(c.Reflect, g1/a/at)
		if t.Plane != 0 { // a length of line at either inner end: X diag(E, 1/E)
			s := cmplx.Exp(-2 * gamma * complex(t.Plane, 0))
			x.a *= s
			y.a *= s
			kk *= cmplx.Exp(2 * gamma * complex(t.Plane, 0))
		}
		c.left, c.right, c.k = append(c.left, x), append(c.right, y), append(c.k, kk)
		c.Gamma = append(c.Gamma, gamma)
		c.Phase = append(c.Phase, b.phase)
		c.Weight = append(c.Weight, b.variance)
		if b.phase < window/2 { // too near a whole half wave to be followed
			gamma = predicted
		}
	}
	mean, spread := 0.0, 0.0
	for _, l := range lengths {
		mean += l / float64(len(lengths))
	}
	for _, l := range lengths {
		spread += (l - mean) * (l - mean)
	}
	for k := range n {
		u := math.NaN()
		if len(lengths) > 2 {
			lo, hi := max(0, k-12), min(n, k+13)
			sum := 0.0
			for _, s := range scatter[lo:hi] {
				sum += s
			}
			u = math.Sqrt(sum/float64(hi-lo)/2/spread) / 2 // half of |r|² is in each part
		}
		c.GammaUncertainty = append(c.GammaUncertainty, u)
	}
	return c, nil
}

// found is what the lines tell at one frequency.
type found struct {
	x, y            box        // but for a
	gamma           complex128 // 1/m
	aa              complex128 // a a'
	k               complex128 // r s
	rest            float64    // scatter of the lines about γ
	variance, phase float64    // see [oneSide]
}

// boxes solves the lines m, seen from the left and from the right, with γ predicted.
func boxes(ml, mr []network.Transfer, lengths []float64, short int, gamma complex128) found {
	e := make([]complex128, len(lengths))
	for i, l := range lengths {
		e[i] = cmplx.Exp(-gamma * complex(l, 0))
	}
	x, vx, phase := oneSide(ml, e)
	y, vy, _ := oneSide(mr, e)
	b := found{x: x, y: y, variance: (vx + vy) / 2, phase: phase}
	// X⁻¹ M Y⁻¹ of each line, up to the factors.
	logs, ks := make([]complex128, len(lengths)), make([]complex128, len(lengths))
	for i := range lengths {
		d := inner(x, y, ml[i])
		logs[i], ks[i] = cmplx.Log(d.T11/d.T22), d.T22
	}
	for i, l := range lengths { // whole turns, as predicted from the shortest line
		if i != short {
			off := imag(logs[i]-logs[short]) + 2*imag(gamma)*(l-lengths[short])
			logs[i] -= complex(0, 2*math.Pi*math.Round(off/(2*math.Pi)))
		}
	}
	slope, intercept, rest := straight(lengths, logs)
	b.gamma, b.aa, b.rest = -slope/2, cmplx.Exp(intercept), rest
	for i, l := range lengths {
		b.k += ks[i] * cmplx.Exp(-b.gamma*complex(l, 0)) / complex(float64(len(lengths)), 0)
	}
	return b
}

func alike(op string, i int, first, n network.Network) error {
	if n.Ports != 2 {
		return fault(op, network.ErrShape, "give two-ports", "standard %d has %d ports", i+1, n.Ports)
	}
	if len(n.Frequency) != len(first.Frequency) {
		return fault(op, network.ErrGrid, "measure all standards on one grid", "standard %d has %d frequencies, standard 1 has %d", i+1, len(n.Frequency), len(first.Frequency))
	}
	for k, f := range first.Frequency {
		if f != n.Frequency[k] || f == 0 {
			return fault(op, network.ErrGrid, "measure all standards on one grid above 0 Hz", "standard %d has %g Hz where standard 1 has %g Hz", i+1, n.Frequency[k], f)
		}
	}
	for p, z := range first.Reference {
		if n.Reference[p] != z || imag(z) != 0 {
			return fault(op, ErrReferences, "renormalise to one real reference", "standard %d has %v Ω at port %d, standard 1 has %v Ω", i+1, n.Reference[p], p+1, z)
		}
	}
	return nil
}

// oneSide returns b and c/a of the box on the left of all lines m, whose
// transmissions are about e; the variance of their errors over that of one pair at 90°; and the
// phase difference of the best pair.
func oneSide(m []network.Transfer, e []complex128) (x box, variance, phase float64) {
	variance = math.Inf(1)
	for common := range m {
		var bs, cas []complex128
		var pairs []int
		best := 0.0
		for j := range m {
			if j == common {
				continue
			}
			lambda := e[j] / e[common]
			b, ca := columns(m[j], m[common], lambda)
			bs, cas, pairs = append(bs, b), append(cas, ca), append(pairs, j)
			if p := math.Abs(math.Remainder(cmplx.Phase(lambda), math.Pi)); p > best {
				best = p
			}
		}
		b, vb := markov(bs, e, common, pairs, false)
		ca, vca := markov(cas, e, common, pairs, true)
		if v := (vb + vca) / 2; v < variance || math.IsInf(variance, 1) && common == 0 {
			variance = v
			x = box{b: b, ca: ca}
		}
		if best > phase {
			phase = best
		}
	}
	return x, variance, phase
}

// columns returns b and c/a, from the eigenvectors of M_j M_i⁻¹, of which the
// one belongs to about 1/λ and the other to about λ.
func columns(mj, mi network.Transfer, lambda complex128) (b, ca complex128) {
	det := mi.T11*mi.T22 - mi.T12*mi.T21
	d11 := (mj.T11*mi.T22 - mj.T12*mi.T21) / det
	d12 := (mj.T12*mi.T11 - mj.T11*mi.T12) / det
	d21 := (mj.T21*mi.T22 - mj.T22*mi.T21) / det
	d22 := (mj.T22*mi.T11 - mj.T21*mi.T12) / det
	half := (d11 + d22) / 2
	root := cmplx.Sqrt((d11-d22)*(d11-d22)/4 + d12*d21)
	p, q := half+root, half-root // p about λ, q about 1/λ
	if cmplx.Abs(p-lambda)+cmplx.Abs(1/q-lambda) > cmplx.Abs(q-lambda)+cmplx.Abs(1/p-lambda) {
		p, q = q, p
	}
	// (D − q)(b, 1) = 0 and (D − p)(1, c/a) = 0, by the row whose pivot is larger.
	if cmplx.Abs(q-d11) > cmplx.Abs(d21) {
		b = d12 / (q - d11)
	} else {
		b = (q - d22) / d21
	}
	if cmplx.Abs(p-d22) > cmplx.Abs(d12) {
		ca = d21 / (p - d22)
	} else {
		ca = (p - d11) / d12
	}
	return b, ca
}

// markov combines the estimates v of pairs that share line i, and returns their best
// linear combination and its variance over that of one pair at 90°.
func markov(v, e []complex128, i int, pairs []int, second bool) (complex128, float64) {
	n := len(v)
	cov := dense.New(n, n)
	ei := e[i]
	for r, j := range pairs {
		for s, k := range pairs {
			lj, lk := e[j]/ei, e[k]/ei
			dj, dk := 1/lj-lj, 1/lk-lk
			var z complex128
			if second { // c/a: λ and 1/λ change places
				z = cmplx.Conj(1/lk)/lj + 1/(ei*e[j]*cmplx.Conj(ei*e[k]))
				if j == k {
					z += lj*cmplx.Conj(lk) + 1/(ei*e[j]*cmplx.Conj(ei*e[k]))
				}
			} else {
				z = lj*cmplx.Conj(lk) + ei*e[j]*cmplx.Conj(ei*e[k])
				if j == k {
					z += cmplx.Conj(1/lk)/lj + ei*e[j]*cmplx.Conj(ei*e[k])
				}
			}
			cov.Data[r*n+s] = z / (dj * cmplx.Conj(dk))
		}
	}
	one := dense.New(n, 1)
	for r := range n {
		one.Data[r] = 1
	}
	var lu dense.LU
	if lu.Factor(cov) != nil {
		return v[0], math.Inf(1)
	}
	lu.Solve(one) // V⁻¹ 1; the weights are its conjugate transpose
	var sum, value complex128
	for r := range n {
		w := cmplx.Conj(one.Data[r])
		sum += w
		value += w * v[r]
	}
	variance := 1 / real(sum)
	if math.IsNaN(variance) || variance < 0 {
		return v[0], math.Inf(1)
	}
	return value / sum, variance // a pair at 90° has variance 1: (1 + 1 + 1 + 1)/|2j|²
}

// inner returns P⁻¹ M Q⁻¹ with P = [[1 b][c/a 1]] and Q = [[1 −c'/a'][−b' 1]], which is
// diag(aa'E, 1/E) times what both boxes transmit.
func inner(x, y box, m network.Transfer) network.Transfer {
	dp := 1 - x.b*x.ca
	dq := 1 - y.b*y.ca
	p := network.Transfer{T11: 1 / dp, T12: -x.b / dp, T21: -x.ca / dp, T22: 1 / dp}
	q := network.Transfer{T11: 1 / dq, T12: y.ca / dq, T21: y.b / dq, T22: 1 / dq}
	return p.Times(m).Times(q)
}

// straight fits y = s l + i and returns the residuals' |r|² over n − 2.
func straight(l []float64, y []complex128) (slope, intercept complex128, rest float64) {
	n := float64(len(l))
	var ml, sll float64
	var my, sly complex128
	for i := range l {
		ml += l[i] / n
		my += y[i] / complex(n, 0)
	}
	for i := range l {
		sll += (l[i] - ml) * (l[i] - ml)
		sly += complex(l[i]-ml, 0) * (y[i] - my)
	}
	slope = sly / complex(sll, 0)
	intercept = my - slope*complex(ml, 0)
	for i := range l {
		d := cmplx.Abs(y[i] - slope*complex(l[i], 0) - intercept)
		rest += d * d
	}
	return slope, intercept, rest / (n - 2)
}

// Impedance returns the lines' characteristic impedance, in Ω, from γ and the
// capacitance per metre, in F/m, where no current flows across the dielectric but what
// charges it: Zc = γ/(jωC).
//
// Source: [marks1991zc].
func (c Calibration) Impedance(capacitance float64) []complex128 {
	z := make([]complex128, len(c.Gamma))
	for k, g := range c.Gamma {
		z[k] = g / complex(0, 2*math.Pi*c.Frequency[k]*capacitance)
	}
	return z
}

// Apply takes the error boxes off a measurement. What is left is in pseudo waves of
// the line's impedance zc, in Ω: one value per frequency ([Calibration.Impedance], a solved
// cross-section), or a single one for all. zc does not enter the calibration; it says
// what its reference is, and [network.PseudoWaves.Network] then takes it to 50 Ω.
//
// Reciprocity is not assumed: a part that is none, or leakage, stays visible.
func (c Calibration) Apply(whole network.Network, zc ...complex128) (network.PseudoWaves, error) {
	const op = "TRL"
	if err := whole.Check(); err != nil {
		return network.PseudoWaves{}, err
	}
	first := network.Network{Ports: 2, Frequency: c.Frequency, Reference: c.outer[:]}
	if err := alike(op, 0, first, whole); err != nil {
		return network.PseudoWaves{}, err
	}
	ref, err := c.references(op, zc)
	if err != nil {
		return network.PseudoWaves{}, err
	}
	m, err := whole.Transfer()
	if err != nil {
		return network.PseudoWaves{}, err
	}
	p := network.PseudoWaves{Ports: 2, Frequency: c.Frequency}
	for k := range c.Frequency {
		x, y := c.left[k], c.right[k]
		d := inner(x, y, m[k])
		// k diag(a, 1) T diag(a', 1)
		t := network.Transfer{T11: d.T11 / (x.a * y.a), T12: d.T12 / x.a, T21: d.T21 / y.a, T22: d.T22}
		s := c.k[k]
		p.S = append(p.S, t.T12/t.T22, (t.T11-t.T12*t.T21/t.T22)/s, s/t.T22, -t.T21/t.T22)
		p.Reference = append(p.Reference, ref[k], ref[k])
	}
	return p, nil
}

func (c Calibration) references(op string, zc []complex128) ([]complex128, error) {
	switch len(zc) {
	case 1:
		all := make([]complex128, len(c.Frequency))
		for k := range all {
			all[k] = zc[0]
		}
		return all, nil
	case len(c.Frequency):
		return zc, nil
	}
	return nil, fault(op, network.ErrReference, "give the line's impedance once, or per frequency", "%d impedances for %d frequencies", len(zc), len(c.Frequency))
}

// Fixture returns the error boxes as reciprocal two-ports, the launches themselves,
// referred to reference, in Ω, inside. zc is as for [Calibration.Apply].
//
// The two inner transmissions of a box follow from reciprocity, in pseudo waves S12/S21 =
// Zc*/Re Zc over the same of the other port ([marks1992]), and the root that turns continuously
// from the lowest frequency on; the right one's root is that which makes
// the product right.
func (c Calibration) Fixture(reference float64, zc ...complex128) (Fixture, error) {
	const op = "TRL"
	ref, err := c.references(op, zc)
	if err != nil {
		return Fixture{}, err
	}
	build := func(boxes []box, port int) (network.Network, error) {
		p := network.PseudoWaves{Ports: 2, Frequency: c.Frequency}
		turned := network.New(1, c.Frequency, 1)
		for k, x := range boxes {
			cc := x.ca * x.a
			turned.S[k] = x.a - x.b*cc
		}
		delay := turned.Delay(0, 0) / 2
		var last complex128
		for k, x := range boxes {
			cc := x.ca * x.a
			g := cmplx.Conj(ref[k]) / complex(real(ref[k]), 0)
			s21 := cmplx.Sqrt((x.a - x.b*cc) / g)
			turn := cmplx.Rect(1, 2*math.Pi*math.Mod(c.Frequency[k]*delay, 1))
			if k == 0 {
				last = 1
			}
			if real(s21*turn*cmplx.Conj(last)) < 0 {
				s21 = -s21
			}
			last = s21 * turn
			p.S = append(p.S, x.b, s21*g, s21, -cc)
			p.Reference = append(p.Reference, c.outer[port], ref[k])
		}
		return p.Network(complex(real(c.outer[port]), 0), complex(reference, 0))
	}
	left, err := build(c.left, 0)
	if err != nil {
		return Fixture{}, err
	}
	right, err := build(c.right, 1)
	if err != nil {
		return Fixture{}, err
	}
	if right, err = right.Reorder(1, 0); err != nil {
		return Fixture{}, err
	}
	return Fixture{left, right}, nil
}
