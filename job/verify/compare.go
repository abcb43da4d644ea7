package verify

import (
	"errors"
	"fmt"
	"math"

	"linewright/hardware/chain"
	"linewright/job/tolerance/sample"
	"linewright/physics/fit"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

// Agreement is a measured trace against the prediction's own tolerance band.
type Agreement struct {
	Trace  string
	Agrees bool // inside the band that 95 % of copies keep everywhere, widened by the measurement's uncertainty
	Judged bool // false: it cannot be said, and Why tells
	// Share of the readings that lie in the band that holds 95 % of the copies at
	// each frequency by itself.
	Share    float64
	Beyond   float64 // most, dB: outside the band that holds everywhere; 0: nowhere
	At       units.Frequency
	From, To units.Frequency // between which it lies outside
	Above    bool            // there it reads higher than predicted
	Why      string
}

// agree compares the three traces.
func (r *Report) agree(p *Plan, m *measured) {
	b := p.Band
	if b == nil {
		return
	}
	k := p.Decision.Coverage
	for _, t := range []struct {
		name           string
		at             int
		low, mid, high []float64
		least, most    []float64
		u              func(i int, magnitude float64) float64 // expanded, dB
		both           bool
	}{
		{"S21", 2, b.Transmission.Low, b.Transmission.Middle, b.Transmission.High, b.Transmission.Lowest, b.Transmission.Highest, func(i int, _ float64) float64 { return k * m.u21[i] }, true},
		{"S11", 0, b.Near.Low, b.Near.Middle, b.Near.High, nil, b.Near.Highest, func(i int, x float64) float64 { return 20 * math.Log10(1+k*m.u[0][i]/x) }, false},
		{"S22", 3, b.Far.Low, b.Far.Middle, b.Far.High, nil, b.Far.Highest, func(i int, x float64) float64 { return 20 * math.Log10(1+k*m.u[1][i]/x) }, false},
	} {
		a := Agreement{Trace: t.name, Judged: true, Agrees: true}
		n, in := 0, 0
		for i, f := range m.Frequency {
			high, ok := m.grid.between(b, t.high, i)
			if !ok {
				continue
			}
			low, _ := m.grid.between(b, t.low, i)
			most, _ := m.grid.between(b, t.most, i)
			x := math.Max(math.Pow(10, -m.db[t.at][i]/20), 1e-10)
			u := t.u(i, x)
			if math.IsNaN(u) {
				u = 0
			}
			n++
			if x <= high && (x >= low || !t.both) {
				in++
			}
			beyond, above := 20*math.Log10(x/math.Max(most, 1e-10))-u, true
			if t.both {
				if least, _ := m.grid.between(b, t.least, i); least > 0 {
					if d := 20*math.Log10(least/x) - u; d > beyond {
						beyond, above = d, false
					}
				}
			}
			if beyond > rounding {
				if a.Agrees {
					a.From = units.Frequency(f)
				}
				a.Agrees, a.To = false, units.Frequency(f)
				if beyond > a.Beyond {
					a.Beyond, a.At, a.Above = beyond, units.Frequency(f), above
				}
			}
		}
		what := map[string]string{"S21": "loss", "S11": "reflection", "S22": "reflection"}[t.name]
		switch {
		case n == 0:
			a.Judged, a.Agrees, a.Share = false, false, math.NaN()
			a.Why = "the file and the enquiry's bands have no frequency in common"
		default:
			a.Share = float64(in) / float64(n)
			word := "less"
			if a.Above == (t.name != "S21") {
				word = "more"
			}
			a.Why = fmt.Sprintf("inside what %d %% of built copies do", int(100*b.Share))
			if !a.Agrees {
				a.Why = fmt.Sprintf("%s %s than %d %% of built copies have, by up to %.2f dB at %v", word, what, int(100*b.Share), a.Beyond, a.At)
			}
			for _, miss := range b.Missing {
				if (what == "loss" && len(miss) > 4 && miss[:4] == "loss") || (what == "reflection" && len(miss) > 10 && miss[:10] == "reflection") {
					a.Judged = false
					a.Why += "; not judged: nothing states the " + miss
				}
			}
		}
		r.Agreement = append(r.Agreement, a)
	}
}

const rounding = 1e-6 // dB

// Ripple is the greatest deviation of a sample's loss from its own fitted smooth
// loss, peak to peak over each of the enquiry's bands: the quality of an assembly
// in one number. A limit on ripple is judged in its own window, among the
// margins.
type Ripple struct {
	PeakToPeak float64 // dB; NaN: too few readings in every band
	From, To   units.Frequency
}

func (p *Plan) ripple(n network.Network) Ripple {
	out := Ripple{PeakToPeak: math.NaN()}
	for _, b := range p.Enquiry.Band {
		in, err := fit.InsertionLoss(n.Frequency, n.Trace(1, 0), float64(b.From), float64(b.To), fit.Terms{Constant: true})
		if err != nil {
			continue
		}
		low, high := 0, 0
		for i, d := range in.Deviation {
			if d < in.Deviation[low] {
				low = i
			}
			if d > in.Deviation[high] {
				high = i
			}
		}
		if x := in.Deviation[high] - in.Deviation[low]; !(x <= out.PeakToPeak) {
			out = Ripple{x, units.Frequency(in.Frequency[min(low, high)]), units.Frequency(in.Frequency[max(low, high)])}
		}
	}
	return out
}

// Length is a sample's electrical length against the predicted one.
type Length struct {
	Delay     float64 // s, measured, over the whole file; NaN: not known
	At        float64 // s, phase delay at the match's frequency, or as Delay
	Predicted float64 // s, of the pieces whose delay is known
	Unknown   []string
	// Low and High hold 95 % of the copies; NaN where a piece's delay is unknown.
	Low, High float64
	Judged    bool
	Agrees    bool
	Metres    float64 // the difference as a length of the chain's own line; NaN: no difference is judged
	Why       string
}

// length measures the delay.
func (r *Report) length(p *Plan, n network.Network, g *grid) {
	l := Length{Delay: math.NaN(), At: math.NaN(), Predicted: g.at.Delay, Low: math.NaN(), High: math.NaN(), Metres: math.NaN()}
	defer func() { r.Length = l }()
	for _, k := range g.at.NoDelay {
		l.Unknown = append(l.Unknown, g.at.Rows[k].Name)
	}
	phase, err := n.Phase(1, 0)
	if err != nil {
		why := err.Error()
		if errors.Is(err, network.ErrSampling) {
			why = fmt.Sprintf("the readings lie too far apart to follow the phase: steps below %v are needed", units.Frequency(0.5/math.Max(g.at.Delay, 1e-12)))
		}
		l.Why = why
		return
	}
	r.Phase = phase
	l.Delay = n.Delay(1, 0)
	l.At = l.Delay
	if _, at, ok := p.MatchHalf(); ok {
		if x, ok := interpolate(n.Frequency, phase, at); ok {
			l.At = -x / (2 * math.Pi * at)
		}
	}
	if p.Band == nil || len(l.Unknown) > 0 {
		l.Why = "no band of the prediction to hold it against"
		if len(l.Unknown) > 0 {
			l.Why = "the electrical length of " + join(l.Unknown) + " is not stated"
			if l.Delay < l.Predicted-1e-12 {
				l.Why += "; the sample is shorter even than the pieces whose length is"
			}
		}
		return
	}
	c, err := sample.CoverageIntervals(p.Band.Delay, bandShare)
	if err != nil {
		l.Why = err.Error()
		return
	}
	l.Low, l.High = l.Predicted+c.Symmetric.Low, l.Predicted+c.Symmetric.High
	// The slope of the phase also holds the ripple of two reflections, with an
	// error of up to three times its amplitude over the span; and the phase that
	// the skin effect adds, in rad as much as its loss in Np, on the long side
	// only: a datasheet's velocity does not say at which frequency it holds.
	span := 2 * math.Pi * (n.Frequency[len(n.Frequency)-1] - n.Frequency[0])
	wave := 3 * g.at.Ripple.PeakToPeak / 2 / decibelsPerNeper / span
	skin := math.Max(0, g.at.Loss[len(g.at.Loss)-1]-g.at.Loss[0]) / decibelsPerNeper / span
	// And a discontinuity may turn the phase by as much, in rad, as it reflects.
	top, turn := len(g.f)-1, 0.0
	for _, row := range g.at.Rows {
		turn += math.Max(row.Left[top], row.Right[top]) / (2 * math.Pi * g.f[top])
	}
	l.Low, l.High = l.Low-wave-turn, l.High+wave+skin+turn
	l.Judged = true
	l.Agrees = l.Delay >= l.Low && l.Delay <= l.High
	v, _ := p.velocity()
	off := l.Delay - l.Predicted
	l.Metres = off * v
	l.Why = fmt.Sprintf("%+.3g ps, %+.3g mm of the chain's line, against the predicted %.4g ps", off*1e12, l.Metres*1e3, l.Predicted*1e12)
	if !l.Agrees {
		word := "longer"
		if off < 0 {
			word = "shorter"
		}
		l.Why += fmt.Sprintf(": %s than 95 %% of built copies; a fixture left in the file, another plane, or another length", word)
	}
}

// velocity is that of the chain's cable, or of light.
func (p *Plan) velocity() (float64, string) {
	for _, e := range p.Chain.Elements {
		if c, ok := chain.CableOf(e); ok {
			if x, ok := c.Part.Velocity(); ok {
				return x * line.C0, "of cable " + c.Part.ID
			}
		}
	}
	return line.C0, "of air"
}

// MatchHalf returns the half width of the enquiry's match, in s, and the
// frequency at which its degrees are meant, in Hz.
func (p *Plan) MatchHalf() (half, at float64, ok bool) {
	m := p.Enquiry.Match
	if m == nil {
		return 0, 0, false
	}
	for _, b := range p.Enquiry.Band {
		at = math.Max(at, float64(b.To))
	}
	if m.At != nil {
		at = float64(*m.At)
	}
	half = math.Inf(1)
	if m.Delay != nil {
		half = math.Min(half, float64(*m.Delay))
	}
	if m.Phase != nil {
		half = math.Min(half, float64(*m.Phase)/(2*math.Pi*at))
	}
	if m.Length != nil {
		v, _ := p.velocity()
		half = math.Min(half, float64(*m.Length)/v)
	}
	return half, at, !math.IsInf(half, 1)
}

// interpolate reads y at x on straight lines.
func interpolate(f, y []float64, x float64) (float64, bool) {
	for i := 1; i < len(f); i++ {
		if x >= f[i-1]*(1-1e-12) && x <= f[i]*(1+1e-12) {
			w := (x - f[i-1]) / (f[i] - f[i-1])
			return (1-w)*y[i-1] + w*y[i], true
		}
	}
	return math.NaN(), false
}

func join(xs []string) string {
	out := ""
	for i, x := range xs {
		switch {
		case i == 0:
		case i == len(xs)-1:
			out += " and "
		default:
			out += ", "
		}
		out += x
	}
	return out
}
