package deembed

import (
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"linewright/physics/fit"
	"linewright/physics/network"
	"linewright/physics/timedomain"
)

// SplitOptions say where and how a thru is split. The zero value splits at half its
// delay.
type SplitOptions struct {
	// Middle is the one-way time from the left end at which to split, in s; 0 is half
	// the delay of the thru. Elsewhere the halves are taken to be alike but for their
	// length, and loss and phase shared out as their delays.
	Middle float64
}

// Halves are the two fixtures of a split thru.
type Halves struct {
	Fixture
	Delay     float64         // s, one way, of the whole thru
	Middle    float64         // s, one way, where it was split
	Impedance float64         // Ω, found at the split: what both halves were referred to for it
	Corrected bool            // impedances are those of the fixture with the part
	Loss      timedomain.Loss // of the thru's line, which the correction peels with; zero without
}

// Split splits a 2x-thru, two equal fixtures back to back, at its middle.
//
// The thru is referred to the impedance that its reflections show at the middle, so
// that nothing reflects there. Then what comes back of an impulse before the middle
// can answer is the left half's own reflection e00; and with q = e10/e10' the ratio of the
// halves' transmissions, 1 when split at the middle,
//
//	e11' = (S11 − e00)/(q S21)        e11 = q (S22 − e00')/S21        e10 e10' = S21 (1 − e11 e11')
//
// with e00, e11 the outer and inner reflection of the left half, e00', e11' those of
// the right, and the root of e10 e10' that turns continuously from the lowest frequency.
// Off the middle q = S21^(2m/τ − 1), m of the delay τ being to the left.
// The halves recombine to the thru by construction, whatever they are:
// [Halves.Check] finds slips, not a thru that is unlike the fixture.
//
// Errors come from what lies within a rise time of the middle, from halves that are not
// alike (their S21 are taken as equal), and grow where the return loss of the thru meets
// its insertion loss ([Crossing]).
//
// Source: [ieee370] 2x-thru, no impedance correction (method from memory); splitting off
// the middle is ours.
func Split(thru network.Network, o SplitOptions) (Halves, error) {
	const op = "2x-thru"
	tau, first, err := thruDelay(op, thru)
	if err != nil {
		return Halves{}, err
	}
	middle := o.Middle
	if middle == 0 {
		middle = tau / 2
	}
	z0 := real(thru.Reference[0])
	h := Halves{Delay: tau, Middle: middle}
	if h.Impedance, err = middleImpedance(thru, [2]float64{2 * middle, 2 * (tau - middle)}); err != nil {
		return h, err
	}
	zm := complex(h.Impedance, 0)
	r, err := thru.Renormalise(zm)
	if err != nil {
		return h, err
	}
	var outer [2][]complex128
	for i, until := range []float64{2 * middle, 2 * (tau - middle)} {
		if outer[i], err = untilTime(r, i, until); err != nil {
			return h, err
		}
	}
	left, right := network.New(2, thru.Frequency, zm), network.New(2, thru.Frequency, zm)
	phase, _ := thru.Phase(1, 0)
	share := 2*middle/tau - 1
	last := complex128(1)
	for k, f := range thru.Frequency {
		s21 := (r.At(k, 1, 0) + r.At(k, 0, 1)) / 2
		q := cmplx.Rect(math.Pow(cmplx.Abs(s21), share), phase[k]*share)
		e00, f00 := outer[0][first+k], outer[1][first+k]
		f11 := (r.At(k, 0, 0) - e00) / (q * s21)
		e11 := (r.At(k, 1, 1) - f00) * q / s21
		root := cmplx.Sqrt(s21 * (1 - e11*f11))
		turn := cmplx.Rect(1, 2*math.Pi*math.Mod(f*tau/2, 1)) // leaves what is not delay, which moves slowly
		if real(root*turn*cmplx.Conj(last)) < 0 {
			root = -root
		}
		last = root * turn
		q = cmplx.Rect(math.Pow(cmplx.Abs(s21), share/2), phase[k]*share/2)
		copy(left.Matrix(k), []complex128{e00, root * q, root * q, e11})
		copy(right.Matrix(k), []complex128{f11, root / q, root / q, f00})
	}
	if h.Left, err = left.Renormalise(complex(z0, 0)); err != nil {
		return h, err
	}
	h.Right, err = right.Renormalise(complex(z0, 0))
	return h, err
}

// thruDelay checks a thru, and returns its delay and the number of harmonics below its
// first frequency.
func thruDelay(op string, thru network.Network) (tau float64, first int, err error) {
	if err := thru.Check(); err != nil {
		return 0, 0, err
	}
	if thru.Ports != 2 || imag(thru.Reference[0]) != 0 || thru.Reference[0] != thru.Reference[1] {
		return 0, 0, fault(op, network.ErrReference, "renormalise both ports to one real reference", "%d ports, references %v Ω", thru.Ports, thru.Reference)
	}
	first, ok := harmonics(thru.Frequency)
	if !ok {
		return 0, 0, fault(op, ErrHarmonics, "sweep from one step above 0 Hz in equal steps, or interpolate onto the multiples of a step", "%d frequencies that are not harmonics", len(thru.Frequency))
	}
	tau = thru.Delay(1, 0)
	stop := thru.Frequency[len(thru.Frequency)-1]
	step := stop / float64(first+len(thru.Frequency)-1)
	if !(tau > 4/stop && tau < 0.2/step) {
		return 0, 0, fault(op, ErrDelay, "use a longer thru, a wider sweep, or smaller steps", "delay %.4g ps, sweep to %g GHz in steps of %g MHz", tau*1e12, stop/1e9, step/1e6)
	}
	return tau, first, nil
}

// harmonics returns k₁ of frequencies k₁Δ, (k₁+1)Δ ...
func harmonics(f []float64) (first int, ok bool) {
	n := len(f)
	if n < 16 {
		return 0, false
	}
	step := (f[n-1] - f[0]) / float64(n-1)
	first = int(math.Round(f[0] / step))
	for k, x := range f {
		if !(math.Abs(x-float64(first+k)*step) <= 1e-4*step) {
			return 0, false
		}
	}
	return first, true
}

// middleImpedance returns the impedance that both reflections of the thru show at
// the given two-way times, as a mean, in Ω.
func middleImpedance(thru network.Network, at [2]float64) (float64, error) {
	z := 0.0
	for i, t := range at {
		s, err := timedomain.Of(thru, i, i, timedomain.DC{})
		if len(s.S) == 0 {
			return 0, err
		}
		p, err := s.Profile(real(thru.Reference[i]), timedomain.ProfileOptions{Until: t + 4/s.Stop(), Window: timedomain.Kaiser(3)})
		// The mean over two rise times about the middle.
		sum, n := 0.0, 0
		for k, v := range p.Value {
			if math.Abs(p.Time(k)-t) <= 1/s.Stop() {
				sum += v
				n++
			}
		}
		if n == 0 {
			return 0, err
		}
		z += sum / float64(n) / 2
	}
	return z, nil
}

// untilTime returns S_ii at harmonics 0, 1, ... of what comes back before a two-way time:
// the impulse response, sampled at the 2N+1 times that N harmonics make, is cut
// there. A cut between two samples takes the nearer one's share.
func untilTime(n network.Network, i int, until float64) ([]complex128, error) {
	s, err := timedomain.Of(n, i, i, timedomain.DC{})
	if len(s.S) == 0 {
		return nil, err
	}
	points := 2*len(s.S) - 1
	fft := fourier.NewFFT(points)
	h := fft.Sequence(nil, s.S)
	dt := 1 / (s.Step * float64(points))
	back := min(until, 0.2/s.Step)
	for k := range h {
		t := float64(k) * dt
		if k > points/2 {
			t -= 1 / s.Step
		}
		// a raised cosine over two samples about the cut
		w := 0.5 * (1 + math.Cos(math.Pi*math.Min(1, math.Max(0, (t-until)/(2*dt)+0.5))))
		if t < -back {
			w = 0
		}
		h[k] *= w / float64(points)
	}
	return fft.Coefficients(nil, h), nil
}

// SplitCorrected splits a 2x-thru and gives the halves the impedances that whole, the
// measurement of fixture, part, fixture, itself shows. So two boards, or two traces of
// one board, need not have one impedance, as far as their loss and delay are alike.
//
// The thru's loss and delay tell the line that a fixture is made of. With that loss the
// reflections of thru and of whole are peeled from either end, layer by layer, to the middle of
// the thru, and the layers joined again: two models of one fixture, P of the
// thru and Q of whole, which differ by the impedances and share what peeling
// cannot see, lumps finer than the sweep resolves above all. The halves of [Split] are then
// corrected by what the models differ,
//
//	e00 + Q00 − P00        e11 + Q11 − P11        e10 Q10/P10
//
// Where thru and fixture are one, this is Split. Within a rise time of the part its own
// reflection enters the last layers.
//
// Source: [ieee370] 2x-thru, impedance corrected (method from memory), which takes the
// peeled model itself for the fixture; that it serves only as a correction here is ours and leaves several
// times less error (TestCorrected). The peeling is [timedomain.Spectrum.Profile].
func SplitCorrected(thru, whole network.Network, o SplitOptions) (Halves, error) {
	const op = "2x-thru, impedance corrected"
	h, err := Split(thru, o)
	if err != nil {
		return h, err
	}
	if err := whole.Check(); err != nil {
		return Halves{}, err
	}
	if whole.Ports != 2 || !slices.Equal(whole.Frequency, thru.Frequency) {
		return Halves{}, fault(op, network.ErrGrid, "measure both on one grid", "thru and measurement differ in frequencies or ports")
	}
	for i, z := range whole.Reference {
		if z != thru.Reference[i] {
			return Halves{}, fault(op, ErrReferences, "renormalise one of them", "port %d: thru %v Ω, measurement %v Ω", i+1, thru.Reference[i], z)
		}
	}
	loss, delay, err := thruLoss(thru, h.Delay)
	if err != nil {
		return h, err
	}
	h.Corrected, h.Loss = true, loss
	middle := h.Middle * delay / h.Delay
	for i, half := range []*network.Network{&h.Left, &h.Right} {
		until := middle
		if i == 1 {
			until = delay - middle
		}
		zp, lead, err := peeled(thru, i, until, loss)
		if err != nil {
			return h, err
		}
		zq, _, err := peeled(whole, i, until, loss)
		if err != nil {
			return h, err
		}
		p, err := joined(thru.Frequency, thru.Reference[i], zp.Value, zp.Step/2, lead, until, loss)
		if err != nil {
			return h, err
		}
		q, err := joined(thru.Frequency, thru.Reference[i], freeOf(zq.Value, zp.Value), zp.Step/2, lead, until, loss)
		if err != nil {
			return h, err
		}
		for k := range half.Frequency {
			s, a, b := half.Matrix(k), p.Matrix(k), q.Matrix(k)
			outer, inner := 0, 3
			if i == 1 {
				outer, inner = 3, 0
			}
			s[outer] += b[0] - a[0]
			s[inner] += b[3] - a[3]
			s[1] *= b[1] / a[1]
			s[2] *= b[2] / a[2]
		}
	}
	return h, nil
}

// thruLoss fits the loss law to the thru's attenuation, mismatch taken off, and the delay
// of the high-frequency line that turns as the thru does under that loss.
func thruLoss(thru network.Network, tau float64) (timedomain.Loss, float64, error) {
	var f, a []float64
	for k, x := range thru.Frequency {
		s11, s22, s21 := cmplx.Abs(thru.At(k, 0, 0)), cmplx.Abs(thru.At(k, 1, 1)), cmplx.Abs(thru.At(k, 1, 0))
		m := 1 - s11*s22
		if x > 0 && s21 > 0 && m > 0.5 {
			f, a = append(f, x), append(a, -math.Log(s21/m))
		}
	}
	law, err := fit.OfLoss(f, a, nil, fit.Law{})
	if err != nil {
		return timedomain.Loss{}, 0, err
	}
	loss := timedomain.Loss{Skin: math.Max(0, law.Skin) / tau, Dielectric: math.Max(0, law.Linear) / tau, At: f[len(f)-1]}
	// The phase of the law's line, at the delay that fits the measured phase best.
	phase, _ := thru.Phase(1, 0)
	delay := tau
	for range 4 {
		at := loss.Line(1, delay)
		var num, den float64
		for k, x := range thru.Frequency {
			gl, _ := at(x)
			w := 2 * math.Pi * x
			num += w * (-phase[k] - imag(gl))
			den += w * w
		}
		delay += num / den
		scale := tau / delay // the loss is that of the thru, whatever its delay is called
		loss.Skin, loss.Dielectric = math.Max(0, law.Skin)/tau*scale, math.Max(0, law.Linear)/tau*scale
	}
	return loss, delay, nil
}

// peeled returns the impedances that a reflection shows to a one-way delay under a loss:
// the profile of port i, with lead layers before the reference plane.
func peeled(n network.Network, i int, delay float64, loss timedomain.Loss) (p timedomain.Response, lead int, err error) {
	s, err := timedomain.Of(n, i, i, timedomain.DC{})
	if len(s.S) == 0 {
		return p, 0, err
	}
	p, err = s.Profile(real(n.Reference[i]), timedomain.ProfileOptions{Window: timedomain.Rectangular, Loss: loss, Until: 2 * delay})
	if !(p.Time(len(p.Value)-1) >= 2*delay-1.5*p.Step) {
		return p, 0, err
	}
	return p, int(math.Round(0.5 - p.Start/p.Step)), nil
}

// untouched is how many layers before the middle the part's own reflection is kept out of: a
// sweep without window rings before it answers.
const untouched = 6

// freeOf replaces the last layers of the measurement's profile by those of the thru's, times the
// mean ratio of the two over three times as many layers before.
func freeOf(measured, thru []float64) []float64 {
	out := slices.Clone(measured)
	n := min(len(measured), len(thru))
	from := n - untouched
	start := max(0, from-3*untouched)
	if from <= start {
		return out
	}
	ratio := 0.0
	for k := start; k < from; k++ {
		ratio += measured[k] / thru[k] / float64(from-start)
	}
	for k := from; k < n; k++ {
		out[k] = thru[k] * ratio
	}
	return out
}

// joined returns layers of line, of the given impedances in Ω and one-way delay each, as a two-port, out
// to a delay behind the reference plane, which stands after lead layers; these are
// lossless, and their delay is taken off again.
func joined(frequency []float64, reference complex128, z []float64, layer float64, lead int, delay float64, loss timedomain.Loss) (network.Network, error) {
	chain := make([]network.ABCD, len(frequency))
	line := loss.Line(1, layer)
	for k, f := range frequency {
		m := network.ABCD{A: 1, D: 1}
		gl, zc := line(f)
		lossy, bare := hyperbolic(gl), hyperbolic(complex(0, 2*math.Pi*f*layer))
		left := delay
		for j := 0; j < len(z) && left > 0; j++ {
			if j < lead {
				m = m.Times(bare.of(complex(z[j], 0)))
				continue
			}
			c := lossy
			if left < layer {
				c = hyperbolic(gl * complex(left/layer, 0))
			}
			m = m.Times(c.of(complex(z[j], 0) * zc))
			left -= layer
		}
		chain[k] = m
	}
	n, err := network.FromABCD(frequency, chain, reference, reference)
	if err != nil {
		return n, err
	}
	for k, f := range frequency {
		turn := cmplx.Rect(1, 2*math.Pi*f*layer*float64(lead))
		s := n.Matrix(k)
		s[0], s[1], s[2] = s[0]*turn*turn, s[1]*turn, s[2]*turn
	}
	return n, nil
}

// section holds cosh and sinh of a layer's γl, to be used at any impedance.
type section struct{ c, s complex128 }

func hyperbolic(gl complex128) section { return section{cmplx.Cosh(gl), cmplx.Sinh(gl)} }

func (x section) of(z complex128) network.ABCD {
	return network.ABCD{A: x.c, B: z * x.s, C: x.s / z, D: x.c}
}

// A Residual is what a self-check leaves.
type Residual struct {
	// Recombined is the largest |S| by which the halves joined differ from the thru.
	Recombined network.Deviation
	// Of the thru with the halves taken off, which should be nothing at all: the largest
	// reflection, loss in dB either way, and phase in rad.
	Reflection, LossDB, Phase network.Deviation
	// Passivity is the largest singular value of either half.
	Passivity network.Deviation
}

// Check compares the halves with the thru they should add up to, below a frequency
// in Hz; 0 is all.
func (h Halves) Check(thru network.Network, below float64) (Residual, error) {
	if below == 0 {
		below = math.Inf(1)
	}
	var r Residual
	whole, err := network.Cascade(h.Left, h.Right)
	if err != nil {
		return r, err
	}
	n, err := network.Deembed(thru, h.Left, h.Right)
	if err != nil {
		return r, err
	}
	raise := func(d *network.Deviation, v, f float64, i, j int) {
		if !(v <= d.Value) {
			*d = network.Deviation{Value: v, Frequency: f, I: i, J: j}
		}
	}
	for k, f := range thru.Frequency {
		if f > below {
			break
		}
		for i := range 2 {
			for j := range 2 {
				raise(&r.Recombined, cmplx.Abs(whole.At(k, i, j)-thru.At(k, i, j)), f, i, j)
				if i == j {
					raise(&r.Reflection, cmplx.Abs(n.At(k, i, j)), f, i, j)
					continue
				}
				raise(&r.LossDB, math.Abs(20*math.Log10(cmplx.Abs(n.At(k, i, j)))), f, i, j)
				raise(&r.Phase, math.Abs(cmplx.Phase(n.At(k, i, j))), f, i, j)
			}
		}
	}
	for _, half := range []network.Network{h.Left, h.Right} {
		if p := half.Passivity(); !(p.Value <= r.Passivity.Value) {
			r.Passivity = p
		}
	}
	return r, nil
}

// Crossing returns the lowest frequency, in Hz, at which the return loss of a 2x-thru is
// no longer margin dB above its insertion loss, |S21| ≤ |S_ii|·10^(margin/20):
// from there on the thru tells more of its reflections than of its transmission, and
// is not to be trusted. It returns false if that does not happen in the sweep. Stretches
// of |S21| below the data's noise cross as well, as they should.
//
// Source: [ieee370] fixture electrical requirements: margin 0 is the rule of crossing; 5 dB
// for the best class (figure from memory).
func Crossing(thru network.Network, margin float64) (frequency float64, crosses bool) {
	m := math.Pow(10, margin/20)
	for k, f := range thru.Frequency {
		t := math.Min(cmplx.Abs(thru.At(k, 1, 0)), cmplx.Abs(thru.At(k, 0, 1)))
		r := math.Max(cmplx.Abs(thru.At(k, 0, 0)), cmplx.Abs(thru.At(k, 1, 1)))
		if !(t > r*m) {
			return f, true
		}
	}
	return math.NaN(), false
}
