package verify

import (
	"fmt"
	"math"
	"slices"

	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// A Set gathers the phases of many samples as they come, and needs no more
// memory for ten thousand than for one, but for each one's delay. It is not for
// several goroutines at once.
type Set struct {
	plan      *Plan
	f         []float64
	low, high []float64 // phase, rad
	flatLow   []float64 // phase less each sample's own delay
	flatHigh  []float64
	u         float64 // largest standard uncertainty of a transmission at the set's frequency, dB; NaN: not known
	Members   []Member
	LeftOut   []Member // whose phase or frequencies do not go with the others'; Delay is NaN
}

// Member is one sample of a set.
type Member struct {
	Name  string
	Delay float64 // s, phase delay at the set's frequency
	Why   string
}

// NewSet starts a set.
func (p *Plan) NewSet() *Set { return &Set{plan: p} }

// Add takes a sample that was judged, with its frequencies in Hz.
func (s *Set) Add(name string, f []float64, r Report) {
	switch {
	case r.Phase == nil:
		s.LeftOut = append(s.LeftOut, Member{name, math.NaN(), r.Length.Why})
		return
	case s.f == nil:
		s.f = slices.Clone(f)
		n := len(f)
		s.low, s.high, s.flatLow, s.flatHigh = filled(n, math.Inf(1)), filled(n, math.Inf(-1)), filled(n, math.Inf(1)), filled(n, math.Inf(-1))
	case !slices.Equal(s.f, f):
		s.LeftOut = append(s.LeftOut, Member{name, math.NaN(), "its frequencies are not those of the set's first sample"})
		return
	}
	if math.IsNaN(r.atMatch) || r.atMatch > s.u { // what is not known stays so
		s.u = r.atMatch
	}
	for i, phi := range r.Phase {
		s.low[i], s.high[i] = math.Min(s.low[i], phi), math.Max(s.high[i], phi)
		flat := phi + 2*math.Pi*f[i]*r.Length.Delay
		s.flatLow[i], s.flatHigh[i] = math.Min(s.flatLow[i], flat), math.Max(s.flatHigh[i], flat)
	}
	s.Members = append(s.Members, Member{Name: name, Delay: r.Length.At})
}

func filled(n int, x float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = x
	}
	return out
}

// SetReport is the phase of a set.
type SetReport struct {
	Size     int
	At       units.Frequency // at which delays are compared: the match's, or the top of the file
	Width    Width           // greatest less least phase at that frequency
	Shortest Member
	Longest  Member
	Mean     float64 // delay, s
	Sigma    float64 // standard deviation of the delays, s
	// Over the whole band: the greatest width at any frequency, as measured and
	// with each sample's own delay taken off, which leaves what no cutting mends.
	Absolute, Flat     Width
	AbsoluteAt, FlatAt units.Frequency
	Match              *Judged // against the enquiry's relative match; nil: none asked
	Members            []Member
	LeftOut            []Member
	Why                string // why there is nothing to say
}

// Width is a spread of phase in its three forms.
type Width struct{ Degrees, Seconds, Metres float64 }

func (p *Plan) width(phase, f float64) Width {
	v, _ := p.velocity()
	t := phase / (2 * math.Pi * f)
	return Width{phase * 180 / math.Pi, t, t * v}
}

// Report sums the set up.
func (s *Set) Report() SetReport {
	r := SetReport{Size: len(s.Members), Members: s.Members, LeftOut: s.LeftOut, Mean: math.NaN(), Sigma: math.NaN()}
	half, at, asked := s.plan.MatchHalf()
	if s.plan.Enquiry.Match != nil && s.plan.Enquiry.Match.Kind == enquiry.Absolute {
		asked = false // judged sample by sample
	}
	if r.Size == 0 {
		r.Why = "no sample's phase is known"
		if !asked {
			return r
		}
	}
	if at == 0 && len(s.f) > 0 {
		at = s.f[len(s.f)-1]
	}
	r.At = units.Frequency(at)
	if r.Size > 0 {
		r.Shortest, r.Longest = s.Members[0], s.Members[0]
		sum := 0.0
		for _, m := range s.Members {
			if m.Delay < r.Shortest.Delay {
				r.Shortest = m
			}
			if m.Delay > r.Longest.Delay {
				r.Longest = m
			}
			sum += m.Delay
		}
		r.Mean = sum / float64(r.Size)
		if r.Size > 1 {
			r.Sigma = 0
			for _, m := range s.Members {
				r.Sigma += (m.Delay - r.Mean) * (m.Delay - r.Mean) / float64(r.Size-1)
			}
			r.Sigma = math.Sqrt(r.Sigma)
		}
		r.Width = s.plan.width(2*math.Pi*at*(r.Longest.Delay-r.Shortest.Delay), at)
		for i, f := range s.f {
			if f <= 0 || !s.inBand(f) {
				continue
			}
			if w := s.plan.width(s.high[i]-s.low[i], f); w.Degrees >= r.Absolute.Degrees {
				r.Absolute, r.AbsoluteAt = w, units.Frequency(f)
			}
			if w := s.plan.width(s.flatHigh[i]-s.flatLow[i], f); w.Degrees >= r.Flat.Degrees {
				r.Flat, r.FlatAt = w, units.Frequency(f)
			}
		}
	}
	if asked {
		j := s.match(r, half)
		r.Match = &j
	}
	return r
}

func (s *Set) inBand(f float64) bool {
	return limit{bands: s.plan.Enquiry.Band}.covers(f)
}

// match judges the set's width against a relative match of half width half, in s.
//
// An error wave that is as likely in one direction as in another turns a phase,
// in rad, by as much as it changes the magnitude, relative: so the uncertainty
// of the transmission in dB over 8.69 is that of its phase, and √2 that of a
// difference of two.
func (s *Set) match(r SetReport, half float64) Judged {
	p := s.plan
	j := Judged{Margin: assess.Margin{Limit: "match within the set", Unit: "ps", LimitValue: 2 * half * 1e12, Worst: math.NaN(), Likely: math.NaN(), Margin: math.NaN(), At: r.At, Verdict: assess.NotAssessed, Source: "the measured files"},
		Trace: "S21", Uncertainty: math.NaN(), Guard: math.NaN(), Inside: math.NaN()}
	if r.Size < 2 {
		j.Why = "a relative match needs two samples at least"
		return j
	}
	d := p.Decision
	u := math.Sqrt2 * s.u / decibelsPerNeper / (2 * math.Pi * float64(r.At))
	width := r.Width.Seconds
	j.Worst, j.Margin.Margin, j.Uncertainty = width*1e12, (2*half-width)*1e12, d.Coverage*u*1e12
	j.Guard, j.Inside = d.Guard*d.Coverage*u*1e12, Inside(2*half-width, u)
	if d.Rule == Simple {
		j.Guard = 0
	}
	j.Verdict = d.verdict(j.Margin.Margin-j.Guard, j.Margin.Margin+j.Guard)
	j.Why = fmt.Sprintf("%d samples lie within %.3g deg, %.3g ps, %.3g mm at %v, from %s to %s; %.3g ps are allowed", r.Size, r.Width.Degrees, width*1e12, r.Width.Metres*1e3, r.At, r.Shortest.Name, r.Longest.Name, 2*half*1e12)
	if j.Verdict == assess.NotAssessed {
		j.Why += fmt.Sprintf("; the uncertainty of the transmission is not stated, and the rule %q needs it", d.Rule)
	}
	if want := p.setSize(); want > r.Size && j.Verdict == assess.Meets {
		j.Verdict = assess.NotAssessed
		j.Why += fmt.Sprintf("; the set has %d, of which %d were measured", want, r.Size)
	}
	return j
}

func (p *Plan) setSize() int {
	switch m := p.Enquiry.Match; {
	case m != nil && m.SetSize != nil:
		return *m.SetSize
	case p.Enquiry.Lines != nil:
		return *p.Enquiry.Lines
	}
	return 0
}
