package verify

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"sort"

	"linewright/internal/spell"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/timedomain"
	"linewright/physics/units"
)

// Along is a sample in the time domain, laid along the chain: how much it
// reflects at each place, against what the pieces there may reflect.
//
// The response is the band-pass one, whose height is that of a single
// reflection which is alike at all frequencies; it is compared with the same
// average of the pieces' bounds, each weakened by the loss on the way there and
// back and widened to the pulse of the sweep. So a place that stands out
// reflects more than the parts that lie within reach of the pulse may reflect
// together.
//
// Positions come from the chain's own velocities. Pieces whose electrical length
// nothing states share what the measured delay leaves over; where the known
// pieces alone are longer than the sample, all are scaled to it.
type Along struct {
	Pieces     []Piece
	Total      float64 // electrical length, s one way
	Length     float64 // the chain's length, m: stated lengths, and air where none is stated
	Resolution float64 // m in the slowest piece: reflections nearer than this show as one
	Doubt      float64 // m: what positions rest on unstated lengths for
	Scaled     float64 // factor by which the chain's delays were scaled; 1: none
	Shared     []string
	Near, Far  Trace // from the left, and from the right
	Floor      float64
	// Difference is the place that stands out most; nil: none does.
	Difference *Place
	// Largest is the greatest reflection of the sample, whether it may be or not.
	Largest Place
	// Turned says that the sample fits the chain when it is turned round, and
	// does not as it stands.
	Turned bool
}

// Piece is one piece of the chain with the greatest reflection found in it.
type Piece struct {
	Name        string
	From, To    float64 // m along the chain
	Start, Stop float64 // s one way
	Measured    float64 // |ρ|, the loss before it taken off, seen from the nearer end
	May         float64 // |ρ| that the pieces within reach of its pulse may show
	Bound       float64 // |ρ| of its own, the average over the sweep; NaN: no figure
	Exceeds     bool
}

// Trace is the response from one end.
type Trace struct {
	Position []float64 // m along the chain, from the left
	Time     []float64 // s, two-way, from that end
	Measured []float64 // |ρ| as it appears at the end
	May      []float64 // the most that the pieces may show there; NaN: no figure
}

// Place is a reflection with its place.
type Place struct {
	Piece    int
	Name     string
	With     []string // pieces that the sweep cannot tell from it
	Position float64  // m along the chain from the left plane
	Within   float64  // m, ±
	Into     float64  // m from the piece's own left end
	Size     float64  // |ρ|, the loss before it taken off
	May      float64  // |ρ| that the pieces there may show, likewise
	FromLeft bool     // seen from the left end; else from the right
	// Sign is −1 where the reflection is that of a lower impedance or added
	// capacitance, +1 of a higher impedance or added inductance, 0 where the
	// sweep does not tell: it has to start near 0 Hz.
	Sign int
	Says string
}

// overFloor is how far over the noise a response must rise to count, in
// standard deviations of either part of it: a chance of 4·10⁻⁶ for each
// independent point of a response of noise alone.
const overFloor = 5

// standsOut is by how much a response must exceed what the pieces may show:
// window and interpolation are good to a few per cent.
const standsOut = 1.05

// along lays a sample along the chain.
func (p *Plan) along(n network.Network, g *grid, l Length) (Along, error) {
	if math.IsNaN(l.Delay) {
		return Along{}, fmt.Errorf("the delay of the sample is not known: %s", l.Why)
	}
	a := Along{Scaled: 1}
	a.layout(g, l)
	near, err := a.view(n, g, false)
	if err != nil {
		return Along{}, err
	}
	far, err := a.view(n, g, true)
	if err != nil {
		return Along{}, err
	}
	a.Near, a.Far, a.Floor = near.Trace, far.Trace, math.Max(near.floor, far.floor)
	a.Resolution = near.pulse.half * slowest(a.Pieces)
	a.measure(near, far)
	// Turned round, the sample's far reflection is seen from the left.
	if a.Difference != nil {
		flipped := turned(n)
		b := a
		b.Difference = nil
		x, errX := b.view(flipped, g, false)
		y, errY := b.view(flipped, g, true)
		if errX == nil && errY == nil {
			b.Pieces = slices.Clone(a.Pieces)
			b.measure(x, y)
			a.Turned = b.Difference == nil
		}
	}
	p.name(&a, n, g)
	return a, nil
}

// turned returns a two-port with its ports exchanged.
func turned(n network.Network) network.Network {
	t, err := n.Reorder(1, 0)
	if err != nil { // two ports, each once
		panic(err)
	}
	return t
}

// Levels returns what is seen from either end in bins of equal time over the
// chain there and back, each the greatest level in it, in dB and not below the
// floor: a short description by which samples are told from one another.
func (a Along) Levels(bins int) (near, far []float64) {
	least := 20 * math.Log10(math.Max(3*a.Floor, 1e-4))
	level := func(t Trace) []float64 {
		out := make([]float64, bins)
		for i := range out {
			out[i] = least
		}
		for i, s := range t.Time {
			if k := int(s / (2 * a.Total) * float64(bins)); s >= 0 && k < bins {
				out[k] = math.Max(out[k], 20*math.Log10(math.Max(t.Measured[i], 1e-10)))
			}
		}
		return out
	}
	return level(a.Near), level(a.Far)
}

// mostUnstated is the longest that a piece without a stated electrical length
// is taken to be, one way: 30 mm of air. Common practice for connectors.
const mostUnstated = 100e-12

// layout places the pieces in time and along the chain.
func (a *Along) layout(g *grid, l Length) {
	rest := l.Delay - g.at.Delay
	share := 0.0
	if n := len(g.at.NoDelay); n > 0 {
		share = math.Min(math.Max(rest/float64(n), 0), mostUnstated)
		a.Shared = l.Unknown
		// Their sum is known, not how they share it.
		a.Doubt = share * line.C0 / 2
	}
	known := g.at.Delay
	total := known + share*float64(len(g.at.NoDelay))
	if total > 0 && l.Delay > 0 {
		a.Scaled = l.Delay / total
	}
	at, x := 0.0, 0.0
	for k, row := range g.at.Rows {
		tau := row.Delay
		if math.IsNaN(tau) {
			tau = share
		}
		tau *= a.Scaled
		length := tau * line.C0
		if row.Length != nil && !slices.Contains(g.at.NoDelay, k) {
			length = float64(*row.Length)
		}
		a.Pieces = append(a.Pieces, Piece{Name: row.Name, From: x, To: x + length, Start: at, Stop: at + tau, Bound: math.NaN(), Measured: math.NaN(), May: math.NaN()})
		at, x = at+tau, x+length
	}
	a.Total, a.Length = at, x
}

// position returns the place, in m from the left, that a wave has reached after
// t, in s one way, from the left; beyond the ends it goes on as in air.
func (a *Along) position(t float64) float64 {
	if t <= 0 {
		return t * line.C0
	}
	for _, p := range a.Pieces {
		if t <= p.Stop && p.Stop > p.Start {
			return p.From + (p.To-p.From)*(t-p.Start)/(p.Stop-p.Start)
		}
	}
	return a.Length + (t-a.Total)*line.C0
}

func slowest(ps []Piece) float64 {
	v := 0.0
	for _, p := range ps {
		if p.Stop > p.Start {
			v = math.Max(v, (p.To-p.From)/(p.Stop-p.Start))
		}
	}
	if v == 0 {
		v = line.C0
	}
	return v
}

// pulse is the shape that the sweep gives to a single reflection, by two-way
// time on either side, made monotone.
type pulse struct {
	step  float64
	value []float64
	half  float64 // s one way: its width at half height
}

func (p pulse) at(t float64) float64 {
	x := math.Abs(t) / p.step
	i := int(x)
	if i+1 >= len(p.value) {
		return p.value[len(p.value)-1]
	}
	w := x - float64(i)
	return (1-w)*p.value[i] + w*p.value[i+1]
}

// seen is the response from one end, with the loss to each of its times.
type seen struct {
	Trace
	pulse pulse
	floor float64
	loss  []float64 // mean two-way voltage loss to each time
	ratio []float64 // measured over what may be
}

// aspect is what the chain may show from one end to a sweep of given
// frequencies: it is the same for every sample of that sweep.
type aspect struct {
	f       []float64 // even
	o       timedomain.Options
	as      bool // f are the sweep's own
	pulse   pulse
	bound   []float64 // of each row, averaged over the sweep as a response averages a reflection; NaN: no figure
	through []float64 // two-way voltage loss behind each row, in order from this end, averaged likewise
	ghosts  float64   // a wave thrown back three times
}

func newAspect(g *grid, far bool) (*aspect, error) {
	f, err := evenly(g.f)
	if err != nil {
		return nil, err
	}
	flat := make([]complex128, len(f))
	for i := range flat {
		flat[i] = 1
	}
	o := responseOptions(f)
	shape, err := timedomain.BandPass(f, flat, o)
	if err != nil {
		return nil, err
	}
	rows := g.at.Rows
	a := &aspect{f: f, o: o, as: slices.Equal(f, g.f), pulse: newPulse(shape), bound: make([]float64, len(rows)), through: make([]float64, len(rows))}
	w, sum := weights(f), make([]float64, len(f))
	at := make([]int, len(f))
	for j := range f {
		at[j] = nearest(g.f, f[j])
	}
	greatest := 0.0
	for k := range rows {
		i := k
		if far {
			i = len(rows) - 1 - k
		}
		row := rows[i]
		a.bound[i] = math.NaN()
		if row.Reflecting {
			a.bound[i] = 0
			for j, q := range at {
				a.bound[i] += w[j] * math.Max(row.Left[q], row.Right[q])
			}
			greatest = math.Max(greatest, a.bound[i])
		}
		for j, q := range at {
			sum[j] += row.Response.Loss[q]
			a.through[i] += w[j] * math.Pow(10, -2*sum[j]/20)
		}
	}
	a.ghosts = greatest * greatest * greatest
	return a, nil
}

// overSampling is the number of points of a response for each frequency: enough
// to see a crest's height within a per cent.
const overSampling = 4

// responseOptions has the window's values at hand: the same for every sample.
func responseOptions(f []float64) timedomain.Options {
	kaiser := timedomain.Kaiser(6)
	last := float64(len(f) - 1)
	values := make([]float64, len(f))
	for i := range f {
		values[i] = kaiser(2*float64(i)/last - 1)
	}
	return timedomain.Options{Points: overSampling * len(f), Window: func(u float64) float64 {
		if x := (u + 1) / 2 * last; math.Abs(x-math.Round(x)) < 1e-6 && x > -0.5 && x < last+0.5 {
			return values[int(math.Round(x))]
		}
		return kaiser(u)
	}}
}

// view computes the response from one end.
func (a *Along) view(n network.Network, g *grid, far bool) (seen, error) {
	port := 0
	if far {
		port = 1
	}
	as := g.aspects[port]
	if as == nil {
		return seen{}, g.noAspect
	}
	f := as.f
	m := n
	if !as.as {
		var err error
		if m, err = n.Interpolate(f, network.Interpolation{}); err != nil {
			return seen{}, err
		}
	}
	// Twice the chain, and what a long pulse needs on either side.
	period := 1 / (f[1] - f[0])
	if period < 2.2*a.Total {
		return seen{}, fmt.Errorf("steps of %v repeat every response after %.3g ns, and the chain is %.3g ns there and back: measure with steps below %v",
			units.Frequency(f[1]-f[0]), period*1e9, 2*a.Total*1e9, units.Frequency(0.4/a.Total))
	}
	env, err := timedomain.BandPass(f, m.Trace(port, port), as.o)
	if err != nil {
		return seen{}, err
	}
	s := seen{pulse: as.pulse}

	// The pieces in order from this end, by two-way time.
	type section struct {
		start, stop float64
		bound       float64
		in, out     float64 // loss to its ends
	}
	var sections []section
	at, before := 0.0, 1.0
	for k := range a.Pieces {
		i := k
		if far {
			i = len(a.Pieces) - 1 - k
		}
		p := &a.Pieces[i]
		p.Bound = as.bound[i]
		sc := section{start: at, stop: at + 2*(p.Stop-p.Start), bound: as.bound[i], in: before, out: as.through[i]}
		at, before = sc.stop, sc.out
		sections = append(sections, sc)
	}
	// The floor: what the response holds where nothing can come from.
	margin := 6 * s.pulse.half
	s.floor = floor(env, 2*a.Total+2*margin, period)
	for k := range env.Value {
		t := env.Time(k)
		if t < -margin || t > 2*a.Total+margin {
			continue
		}
		loss := 1.0
		may, unknown := 0.0, false
		for _, sc := range sections {
			weak := sc.in
			switch {
			case t >= sc.stop:
				loss = sc.out
				if sc.stop > sc.start { // its nearest part has the loss behind it, a part further back is stronger and further off
					weak = sc.in * math.Pow(sc.out/sc.in, math.Max(0, 1-4*s.pulse.half/(sc.stop-sc.start)))
				}
			case t > sc.start:
				loss = sc.in * math.Pow(sc.out/sc.in, (t-sc.start)/(sc.stop-sc.start))
				weak = loss
			}
			h := s.pulse.at(math.Max(0, math.Max(sc.start-t, t-sc.stop)))
			if math.IsNaN(sc.bound) {
				unknown = unknown || h > 0.1
				continue
			}
			may += sc.bound * weak * h
		}
		may += as.ghosts
		one := t / 2
		if far {
			one = a.Total - one
		}
		r := cmplx.Abs(env.Value[k])
		ratio := r / (standsOut*may + overFloor*s.floor)
		if unknown {
			may, ratio = math.NaN(), math.NaN()
		}
		s.Time, s.Position = append(s.Time, t), append(s.Position, a.position(one))
		s.Measured, s.May = append(s.Measured, r), append(s.May, may)
		s.loss, s.ratio = append(s.loss, loss), append(s.ratio, ratio)
	}
	return s, nil
}

// newPulse takes the envelope of a reflection at time zero.
func newPulse(e timedomain.Envelope) pulse {
	zero := 0
	for k := range e.Value {
		if math.Abs(e.Time(k)) < math.Abs(e.Time(zero)) {
			zero = k
		}
	}
	p := pulse{step: e.Step}
	for k := zero; k < len(e.Value) && k-zero <= len(e.Value)/2; k++ {
		p.value = append(p.value, cmplx.Abs(e.Value[k]))
	}
	for k := len(p.value) - 2; k >= 0; k-- { // its side lobes reach as far as the last of their height
		p.value[k] = math.Max(p.value[k], p.value[k+1])
	}
	k := sort.Search(len(p.value), func(i int) bool { return p.value[i] <= 0.5 })
	p.half = float64(k) * p.step // both sides, one way: 2·k/2
	return p
}

// floor returns the standard deviation of either part of the response beyond
// the chain's end, from the median of its height (Rayleigh's law).
func floor(e timedomain.Envelope, from, period float64) float64 {
	var tail []float64
	for k := 0; k < len(e.Value); k += overSampling { // what lies between is not independent
		if t := e.Time(k); t > from && t < period*0.9 {
			tail = append(tail, cmplx.Abs(e.Value[k]))
		}
	}
	if len(tail) < 8 {
		return 0
	}
	slices.Sort(tail)
	return tail[len(tail)/2] / math.Sqrt(2*math.Ln2)
}

// weights are the shares of the frequencies in a band-pass response.
func weights(f []float64) []float64 {
	w := timedomain.Kaiser(6)
	out := make([]float64, len(f))
	sum := 0.0
	for i := range f {
		out[i] = w(2*float64(i)/float64(len(f)-1) - 1)
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

func nearest(f []float64, x float64) int {
	i := sort.SearchFloat64s(f, x)
	switch {
	case i == len(f):
		return i - 1
	case i > 0 && x-f[i-1] < f[i]-x:
		return i - 1
	}
	return i
}

// evenly returns f where it is evenly spaced, else an even grid of its smallest
// step over its range.
func evenly(f []float64) ([]float64, error) {
	n := len(f)
	if n < 16 {
		return nil, fmt.Errorf("%s: too few for the time domain; measure sixteen at least", spell.Count(n, "frequency"))
	}
	step := (f[n-1] - f[0]) / float64(n-1)
	even, least := true, math.Inf(1)
	for i := 1; i < n; i++ {
		d := f[i] - f[i-1]
		even = even && math.Abs(d-step) <= 1e-6*step
		least = math.Min(least, d)
	}
	if even {
		return f, nil
	}
	m := int(math.Ceil((f[n-1]-f[0])/least)) + 1
	if m > 4*n {
		return nil, fmt.Errorf("the frequencies are spaced too unevenly for the time domain: measure in equal steps")
	}
	out := make([]float64, m)
	for i := range out {
		out[i] = f[0] + (f[n-1]-f[0])*float64(i)/float64(m-1)
	}
	out[m-1] = f[n-1]
	return out, nil
}

// measure finds each piece's greatest reflection, and the place that stands out.
func (a *Along) measure(near, far seen) {
	most := 0.0 // by how much the place that stands out most does: what it adds to the sample's reflection
	type end struct {
		s   seen
		far bool
	}
	for _, e := range []end{{near, false}, {far, true}} {
		for i, t := range e.s.Time {
			one := t / 2
			if e.far {
				one = a.Total - one
			}
			size := e.s.Measured[i] / e.s.loss[i]
			for k := range a.Pieces {
				p := &a.Pieces[k]
				if one < p.Start-e.s.pulse.half/4 || one > p.Stop+e.s.pulse.half/4 {
					continue
				}
				// Of the two ends the one with less loss before the piece sees it better.
				if left := p.Start+p.Stop < a.Total; left == e.far {
					continue
				}
				if !(size <= p.Measured) {
					p.Measured, p.May = size, e.s.May[i]/e.s.loss[i]
				}
				if e.s.ratio[i] > 1 && (k == a.pieceAt(one)) {
					p.Exceeds = true
				}
			}
			if excess := (e.s.Measured[i] - e.s.May[i]) / e.s.loss[i]; e.s.ratio[i] > 1 && excess > most {
				most = excess
				a.Difference = a.place(e.s, i, e.far)
			}
			if size > a.Largest.Size {
				a.Largest = *a.place(e.s, i, e.far)
			}
		}
	}
}

// pieceAt is the piece at one-way time t, the nearest where none is.
func (a *Along) pieceAt(t float64) int {
	for k, p := range a.Pieces {
		if t < p.Stop {
			return k
		}
	}
	return len(a.Pieces) - 1
}

// place describes the reflection at the crest nearest to sample i of a response.
func (a *Along) place(s seen, i int, far bool) *Place {
	// Climb to the crest, then to its top by the parabola through three samples.
	for i > 0 && s.Measured[i-1] > s.Measured[i] {
		i--
	}
	for i+1 < len(s.Measured) && s.Measured[i+1] > s.Measured[i] {
		i++
	}
	t := s.Time[i]
	if i > 0 && i+1 < len(s.Measured) {
		l, c, r := s.Measured[i-1], s.Measured[i], s.Measured[i+1]
		if d := l - 2*c + r; d < 0 {
			t += s.pulse.step * 0.5 * (l - r) / d
		}
	}
	one := t / 2
	if far {
		one = a.Total - one
	}
	k := a.pieceAt(one)
	x := &Place{Piece: k, Name: a.Pieces[k].Name, Position: a.position(one), Size: s.Measured[i] / s.loss[i], May: s.May[i] / s.loss[i], FromLeft: !far}
	x.Into = x.Position - a.Pieces[k].From
	// A crest is found to a tenth of the pulse's width when it stands alone.
	x.Within = s.pulse.half/10*slowest(a.Pieces[k:k+1]) + a.Doubt
	for j, p := range a.Pieces {
		if j != k && one > p.Start-s.pulse.half/2 && one < p.Stop+s.pulse.half/2 {
			x.With = append(x.With, p.Name)
		}
	}
	return x
}

// name puts the difference and the largest reflection into words, and finds
// their sign where the sweep starts low enough.
func (p *Plan) name(a *Along, n network.Network, g *grid) {
	for _, x := range []*Place{a.Difference, &a.Largest} {
		if x == nil || x.Size == 0 {
			continue
		}
		x.Sign = a.sign(n, x)
		may := "for which no bound is stated"
		if !math.IsNaN(x.May) {
			may = fmt.Sprintf("where the pieces may show %.1f dB", network.ReturnLoss(x.May))
		}
		x.Says = fmt.Sprintf("%s, %.1f mm from the left plane (± %.1f mm), reflects %.1f dB by itself %s", x.Name, x.Position*1e3, x.Within*1e3, network.ReturnLoss(x.Size), may)
		if len(x.With) > 0 {
			x.Says += fmt.Sprintf("; this sweep cannot tell it from %s", join(x.With))
		}
		switch x.Sign {
		case -1:
			x.Says += "; a lower impedance there, as of added capacitance"
		case +1:
			x.Says += "; a higher impedance there, as of a gap or added inductance"
		}
	}
}

// sign tells a lower from a higher impedance by the low-pass step response: the
// extreme of the reflection of an edge around the place's time.
func (a *Along) sign(n network.Network, x *Place) int {
	port, t := 0, 2*a.timeOf(x.Position)
	if !x.FromLeft {
		port, t = 1, 2*(a.Total-a.timeOf(x.Position))
	}
	s, err := timedomain.Of(n, port, port, timedomain.DC{})
	if err != nil {
		return 0
	}
	h := s.Impulse(timedomain.Options{})
	// Around the place, the greatest excursion of the running integral from its
	// value before.
	reach := 1 / s.Stop()
	sum, low, high := 0.0, 0.0, 0.0
	for k := range h.Value {
		if d := h.Time(k) - t; d > -reach && d < reach {
			sum += h.Value[k] * h.Step
			low, high = math.Min(low, sum), math.Max(high, sum)
		}
	}
	switch {
	case high > 2*-low && high > 0.2*x.Size/4:
		return 1
	case -low > 2*high && -low > 0.2*x.Size/4:
		return -1
	}
	return 0
}

// timeOf undoes position.
func (a *Along) timeOf(x float64) float64 {
	for _, p := range a.Pieces {
		if x <= p.To && p.To > p.From {
			return p.Start + (p.Stop-p.Start)*(x-p.From)/(p.To-p.From)
		}
	}
	return a.Total
}
