package verify

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"linewright/hardware/chain"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/physics/fit"
	"linewright/physics/network"
	"linewright/physics/units"
)

// Judged is a sample's margin to one limit: Worst the reading that decides,
// Margin its distance, Likely unused.
type Judged struct {
	assess.Margin
	Trace       string    // the parameter that reads it: "S21"
	Uncertainty float64   // expanded, of that reading, in Unit; NaN: not known
	Guard       float64   // width of the guard band there, in Unit
	Inside      float64   // probability that the true value keeps the limit there; NaN: not known
	Segments    []Segment // of the limit's mask, or the whole of a plain limit
}

// A Segment is one straight piece of a limit, with the least margin of any
// reading in it: what a lot's statistics are made of.
type Segment struct {
	From, To units.Frequency
	Margin   float64 // NaN: no reading there
	At       units.Frequency
}

// quantity is what of a two-port a limit reads.
type quantity int

const (
	loss quantity = iota
	reflection
	ripple
	match
	unseen // a two-port does not show it
)

// limit is one limit of the enquiry, ready to be judged.
type limit struct {
	name        string
	quantity    quantity
	of          enquiry.Of
	unit        string // "dB", "" for a VSWR
	wish        bool
	from, to    *units.Frequency
	level       func(f float64) (float64, bool) // in unit
	corners     []float64                       // of its mask, Hz
	temperature units.Temperature               // at which a loss limit holds
	window      units.Frequency
	why         string  // of unseen
	value       float64 // of a plain limit, in unit; NaN of a mask
	bands       []enquiry.Band
}

// limitsOf lists e's limits in the order of the enquiry.
func limitsOf(e enquiry.Enquiry, hot units.Temperature) []limit {
	var out []limit
	name := func(s string, of enquiry.Of) string {
		if of == "" || of == enquiry.OfChain {
			return s
		}
		return s + " of the " + string(of)
	}
	mask := func(flat *units.Level, m []enquiry.MaskPoint) (level func(float64) (float64, bool), corners []float64, value float64) {
		if flat != nil {
			x := float64(*flat)
			return func(float64) (float64, bool) { return x, true }, nil, x
		}
		for _, p := range m {
			corners = append(corners, float64(p.At))
		}
		return func(f float64) (float64, bool) { return enquiry.MaskAt(m, f) }, corners, math.NaN()
	}
	add := func(l limit) {
		l.bands = e.Band
		same := 1
		for _, x := range out {
			if x.name == l.name || strings.HasPrefix(x.name, l.name+" (") {
				same++
			}
		}
		if same > 1 {
			l.name += fmt.Sprintf(" (%d)", same)
		}
		out = append(out, l)
	}
	for _, l := range e.Limits.InsertionLoss {
		level, corners, value := mask(l.AtMost, l.Mask)
		t := hot
		if l.Temperature != nil {
			t = *l.Temperature
		}
		add(limit{name: name("insertion loss", l.Of), quantity: loss, of: l.Of, unit: "dB", wish: l.Wish, from: l.From, to: l.To, level: level, corners: corners, value: value, temperature: t})
	}
	for _, l := range e.Limits.ReturnLoss {
		level, corners, value := mask(l.AtLeast, l.Mask)
		for _, end := range ends {
			add(limit{name: name("return loss", l.Of) + end, quantity: reflection, of: l.Of, unit: "dB", wish: l.Wish, from: l.From, to: l.To, level: level, corners: corners, value: value})
		}
	}
	for _, l := range e.Limits.VSWR {
		most := l.AtMost
		for _, end := range ends {
			add(limit{name: name("VSWR", l.Of) + end, quantity: reflection, of: l.Of, wish: l.Wish, from: l.From, to: l.To, value: most, level: func(float64) (float64, bool) { return most, true }})
		}
	}
	for _, l := range e.Limits.Ripple {
		x := limit{name: "ripple", quantity: ripple, unit: "dB", wish: l.Wish, value: float64(l.AtMost)}
		if l.Window != nil {
			x.window = *l.Window
		}
		add(x)
	}
	if m := e.Match; m != nil {
		add(limit{name: "match", quantity: match, unit: "ps"})
	}
	for _, l := range e.Limits.Isolation {
		add(limit{name: "isolation", quantity: unseen, unit: "dB", wish: l.Wish, value: float64(l.AtLeast), why: "one line by itself does not show its coupling to another: measure two lines together"})
	}
	if l := e.Limits.Mass; l != nil {
		add(limit{name: "mass", quantity: unseen, unit: "g", value: units.In(*l, "g"), why: "a network analyser does not weigh"})
	}
	if l := e.Limits.Price; l != nil {
		add(limit{name: "price", quantity: unseen, unit: l.Currency, value: l.Float(), why: "no measurement shows it"})
	}
	return out
}

// The ends at which a reflection is judged, as they end the limit's name.
const (
	nearEnd = ", near end"
	farEnd  = ", far end"
)

var ends = [2]string{nearEnd, farEnd}

// measured is a sample with what the limits read off it.
type measured struct {
	network.Network
	grid *grid
	plan *Plan
	db   [4][]float64 // S11, S12, S21, S22: −20 log magnitude
	u21  []float64    // standard uncertainty of S21, dB
	u    [2][]float64 // of |S11|, |S22|
}

func (m *measured) fill() {
	n := len(m.Frequency)
	for k := range m.db {
		m.db[k] = make([]float64, n)
		for i := range n {
			z := m.S[4*i+k]
			m.db[k][i] = -20 * math.Log10(math.Max(math.Hypot(real(z), imag(z)), 1e-10))
		}
	}
	u := m.plan.o.Uncertainty
	m.u21, m.u[0], m.u[1] = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		var mag [4]float64
		for k := range mag {
			mag[k] = math.Pow(10, -m.db[k][i]/20)
		}
		m.u21[i] = u.ofTransmission(mag[0], mag[3], mag[2])
		m.u[0][i] = u.ofReflection(mag[0], mag[1]*mag[2])
		m.u[1][i] = u.ofReflection(mag[3], mag[1]*mag[2])
	}
}

// covers says whether the limit holds at frequency f.
func (l limit) covers(f float64) bool {
	if l.from != nil || l.to != nil {
		return (l.from == nil || f >= float64(*l.from)*(1-1e-12)) && (l.to == nil || f <= float64(*l.to)*(1+1e-12))
	}
	for _, b := range l.bands {
		if f >= float64(b.From)*(1-1e-12) && f <= float64(b.To)*(1+1e-12) {
			return true
		}
	}
	return false
}

// spans lists where the limit holds: straight pieces between which neither band
// nor mask breaks.
func (l limit) spans() []Segment {
	low, high := math.Inf(1), 0.0
	var marks []float64
	mark := func(f float64) {
		if f > 0 || f == 0 && len(l.bands) > 0 {
			marks = append(marks, f)
		}
	}
	for _, b := range l.bands {
		low, high = math.Min(low, float64(b.From)), math.Max(high, float64(b.To))
		mark(float64(b.From))
		mark(float64(b.To))
	}
	if l.from != nil {
		low = float64(*l.from)
		mark(low)
	}
	if l.to != nil {
		high = float64(*l.to)
		mark(high)
	}
	marks = append(marks, l.corners...)
	sort.Float64s(marks)
	var out []Segment
	add := func(a, b float64) {
		mid := (a + b) / 2
		if !l.covers(mid) || a < low*(1-1e-12) || b > high*(1+1e-12) {
			return
		}
		if _, ok := l.level(mid); ok {
			out = append(out, Segment{From: units.Frequency(a), To: units.Frequency(b), Margin: math.NaN()})
		}
	}
	for i := range marks {
		switch {
		case i > 0 && marks[i] > marks[i-1]:
			add(marks[i-1], marks[i])
		}
	}
	if len(out) == 0 && len(marks) > 0 { // a limit at one frequency
		for i, f := range marks {
			if (i == 0 || f > marks[i-1]) && l.covers(f) {
				add(f, f)
			}
		}
	}
	if len(l.corners) == 0 { // a plain limit breaks at the bands' gaps only
		var joined []Segment
		for _, s := range out {
			if k := len(joined) - 1; k >= 0 && joined[k].To == s.From {
				joined[k].To = s.To
				continue
			}
			joined = append(joined, s)
		}
		out = joined
	}
	return out
}

// whole says whether a limit on of judges what the file holds: all of the chain.
func (p *Plan) whole(of enquiry.Of) bool {
	switch of {
	case "", enquiry.OfChain:
		return true
	case enquiry.OfAssembly:
		for _, r := range p.Chain.Roles {
			if r != chain.RoleConnector && r != chain.RoleCable {
				return false
			}
		}
		return true
	}
	return false
}

// judge holds the sample against the limit.
func (l limit) judge(m *measured, r *Report) Judged {
	p := m.plan
	j := Judged{Margin: assess.Margin{Limit: l.name, Unit: l.unit, Wish: l.wish, Worst: math.NaN(), Likely: math.NaN(), LimitValue: l.value, Margin: math.NaN(), Verdict: assess.NotAssessed, Source: "the measured file"},
		Uncertainty: math.NaN(), Guard: math.NaN(), Inside: math.NaN()}
	refuse := func(why string) Judged { j.Why = why; return j }
	switch {
	case l.quantity == unseen:
		return refuse(l.why)
	case l.quantity == match:
		return l.judgeMatch(m, r, j)
	case !p.whole(l.of):
		return refuse(fmt.Sprintf("it judges the %s; the file shows the whole chain", l.of))
	case l.quantity == ripple:
		return l.judgeRipple(m, j)
	case l.quantity == loss && p.o.Temperature == nil && len(p.Questions) > 0 && p.Questions[0].Field == "temperature of the measurement":
		return refuse(fmt.Sprintf("the limit holds at %v and the temperature of the measurement is not known", l.temperature))
	}
	j.Segments = l.spans()
	inner, outer := math.Inf(1), math.Inf(1)
	missing := ""
	f := m.Frequency
	at := func(s *Segment, x reading, freq float64, trace string, worst, level, u, inside float64) {
		if math.IsNaN(x.margin) {
			return
		}
		if !(x.margin >= s.Margin) {
			s.Margin, s.At = x.margin, units.Frequency(freq)
		}
		if math.IsNaN(x.inner) {
			inner = math.NaN()
		}
		if d := x.margin - x.inner; d < inner || math.IsNaN(j.Margin.Margin) {
			inner = d
			j.Margin.Margin, j.Worst, j.LimitValue, j.At, j.Trace = x.margin, worst, level, units.Frequency(freq), trace
			j.Uncertainty, j.Guard, j.Inside = u, x.inner, inside
		}
		if d := x.margin + x.outer; d < outer {
			outer = d
		}
	}
	for k := range j.Segments {
		s := &j.Segments[k]
		a, b := float64(s.From), float64(s.To)
		if a < f[0]*(1-1e-9) || b > f[len(f)-1]*(1+1e-9) {
			missing = fmt.Sprintf("the file covers %v to %v, the limit %v to %v", units.Frequency(f[0]), units.Frequency(f[len(f)-1]), s.From, s.To)
		}
		first := sort.SearchFloat64s(f, a)
		last := sort.SearchFloat64s(f, b*(1+1e-12)) - 1
		for i := first; i <= last; i++ {
			l.read(m, i, i, 0, f[i], s, at)
		}
		// The ends of the piece, between two readings.
		for _, x := range []float64{a, b} {
			i := sort.SearchFloat64s(f, x)
			if i > 0 && i < len(f) && f[i] != x {
				l.read(m, i-1, i, (x-f[i-1])/(f[i]-f[i-1]), x, s, at)
			}
		}
	}
	if math.IsNaN(j.Margin.Margin) {
		return refuse("no reading of the file lies where the limit holds")
	}
	d := p.Decision
	if d.Rule == Simple {
		inner = j.Margin.Margin
	}
	j.Verdict = d.verdict(inner, outer)
	j.Conditions = append(j.Conditions, assess.Condition{Name: "decision rule", Value: string(d.Rule)})
	if math.IsNaN(inner) {
		j.Why = fmt.Sprintf("the uncertainty of the %s is not stated, and the rule %q needs it", map[quantity]string{loss: "transmission", reflection: "reflection"}[l.quantity], d.Rule)
		return j
	}
	j.Why = l.why3(j)
	if l.quantity == loss {
		j.Conditions = append(j.Conditions, assess.Condition{Name: "counts", Value: "mismatch included, the worse direction"})
		if t := p.o.Temperature; t != nil {
			j.Conditions = append(j.Conditions, assess.Condition{Name: "temperature", Value: l.temperature.String()})
			if *t != l.temperature {
				j.Why += fmt.Sprintf("; measured at %v and carried to %v by the law of the parts' losses", *t, l.temperature)
				j.Conditions = append(j.Conditions, assess.Condition{Name: "measured at", Value: t.String()})
			}
		}
	}
	if missing != "" && j.Verdict != assess.Fails {
		j.Verdict = assess.NotAssessed
		j.Why = missing + "; what it covers: " + j.Why
	}
	return j
}

// why3 says in a sentence what makes the verdict.
func (l limit) why3(j Judged) string {
	s := fmt.Sprintf("%s reads %s at %v", j.Trace, shown(j.Worst, l.unit), j.At)
	side := "inside"
	if j.Margin.Margin < 0 {
		side = "outside"
	}
	s += fmt.Sprintf(", %s %s", shown(math.Abs(j.Margin.Margin), l.unit), side)
	if j.Guard > 0 {
		s += fmt.Sprintf("; the guard band is %s wide", shown(j.Guard, l.unit))
	}
	if j.Verdict == assess.AtRisk {
		s += map[bool]string{true: ": conditional pass", false: ": conditional fail"}[j.Margin.Margin >= 0]
	}
	return s
}

func shown(x float64, unit string) string {
	switch unit {
	case "dB":
		return fmt.Sprintf("%.2f dB", x)
	case "":
		return fmt.Sprintf("%.3g", x)
	}
	return fmt.Sprintf("%.3g %s", x, unit)
}

// read takes one reading of the limit's quantity, at index i, or at share w of
// the way from i to k.
func (l limit) read(m *measured, i, k int, w, freq float64, s *Segment, take func(s *Segment, x reading, f float64, trace string, worst, level, u, inside float64)) {
	level, ok := l.level(freq)
	if !ok {
		return
	}
	mix := func(y []float64) float64 {
		if i == k {
			return y[i]
		}
		return (1-w)*y[i] + w*y[k]
	}
	d := m.plan.Decision
	switch l.quantity {
	case loss:
		carry := 0.0
		if g, ok := m.grid.carried[l.temperature]; ok {
			carry = mix(g.Loss) - mix(m.grid.at.Loss)
		}
		u := mix(m.u21)
		guard := d.Guard * d.Coverage * u
		if d.Rule == Simple {
			guard = 0
		}
		for _, t := range []struct {
			name string
			at   int
		}{{"S21", 2}, {"S12", 1}} {
			reads := mix(m.db[t.at]) + carry
			margin := level - reads
			take(s, reading{margin, guard, guard}, freq, t.name, reads, level, d.Coverage*u, Inside(margin, u))
		}
	case reflection:
		end, trace, at := 0, "S11", 0
		if strings.Contains(l.name, farEnd) {
			end, trace, at = 1, "S22", 3
		}
		rho := math.Pow(10, -mix(m.db[at])/20)
		u := mix(m.u[end])
		value := func(rho float64) float64 { // distance inside the limit
			if l.unit == "" {
				return level - network.VSWR(math.Min(rho, 1-1e-12))
			}
			return network.ReturnLoss(math.Max(rho, 1e-10)) - level
		}
		margin := value(rho)
		reads := margin + level
		if l.unit == "" {
			reads = level - margin
		}
		limitRho := network.FromReturnLoss(level)
		if l.unit == "" {
			limitRho = network.FromVSWR(level)
		}
		x := reading{margin: margin}
		guard := d.Guard * d.Coverage * u
		if d.Rule != Simple {
			x.inner, x.outer = margin-value(rho+guard), value(math.Max(rho-guard, 0))-margin
			if math.IsNaN(u) {
				x.inner, x.outer = u, u
			}
		}
		take(s, x, freq, trace, reads, level, margin-value(rho+d.Coverage*u), Inside(limitRho-rho, u))
	}
}

// judgeRipple judges the windowed ripple of the transmission about its smooth
// loss.
func (l limit) judgeRipple(m *measured, j Judged) Judged {
	l.level = func(float64) (float64, bool) { return l.value, true }
	l.from, l.to = nil, nil
	most, from, to, u := 0.0, 0.0, 0.0, 0.0
	short := ""
	n := 0
	for _, b := range l.bands {
		first, last := sort.SearchFloat64s(m.Frequency, float64(b.From)*(1-1e-9)), sort.SearchFloat64s(m.Frequency, float64(b.To)*(1+1e-9))
		if last-first < 3 {
			short = "fewer than three readings lie in a band"
			continue
		}
		f := m.Frequency[first:last]
		if f[0] > float64(b.From)*(1+1e-9) && f[0]-float64(b.From) > f[1]-f[0] || f[len(f)-1] < float64(b.To)*(1-1e-9) && float64(b.To)-f[len(f)-1] > f[1]-f[0] {
			short = fmt.Sprintf("the file covers %v to %v of the band %v to %v", units.Frequency(f[0]), units.Frequency(f[len(f)-1]), b.From, b.To)
		}
		if l.window > 0 && float64(l.window) < f[1]-f[0] {
			short = fmt.Sprintf("the readings lie %v apart, further than the window", units.Frequency(f[1]-f[0]))
			continue
		}
		in, err := fit.InsertionLoss(f, m.Trace(1, 0)[first:last], f[0], f[len(f)-1], fit.Terms{Constant: true})
		if err != nil {
			short = err.Error()
			continue
		}
		width := float64(l.window)
		if width == 0 {
			width = f[len(f)-1] - f[0]
		}
		if w := in.Ripple(width); w.PeakToPeak >= most {
			most, from, to = w.PeakToPeak, w.From, w.To
		}
		for i := first; i < last; i++ {
			u = math.Max(u, m.u21[i])
			if math.IsNaN(m.u21[i]) {
				u = math.NaN()
				break
			}
		}
		n++
	}
	if n == 0 {
		j.Why = short
		return j
	}
	d := m.plan.Decision
	u *= math.Sqrt2 // two readings; what both share cancels and is not taken off
	guard := d.Guard * d.Coverage * u
	if d.Rule == Simple {
		guard = 0
	}
	j.Worst, j.Margin.Margin, j.At, j.Trace = most, l.value-most, units.Frequency((from+to)/2), "S21"
	j.Uncertainty, j.Guard, j.Inside = d.Coverage*u, guard, Inside(j.Margin.Margin, u)
	j.Verdict = d.verdict(j.Margin.Margin-guard, j.Margin.Margin+guard)
	window := "the whole band"
	if l.window > 0 {
		window = l.window.String()
	}
	j.Conditions = append(j.Conditions, assess.Condition{Name: "decision rule", Value: string(d.Rule)}, assess.Condition{Name: "window", Value: window}, assess.Condition{Name: "about", Value: "the fitted smooth loss"})
	j.Segments = []Segment{{From: l.bands[0].From, To: l.bands[len(l.bands)-1].To, Margin: j.Margin.Margin, At: j.At}}
	j.Why = fmt.Sprintf("%s peak to peak between %v and %v, about the fitted smooth loss", shown(most, "dB"), units.Frequency(from), units.Frequency(to))
	if j.Verdict == assess.NotAssessed {
		j.Why += fmt.Sprintf("; the uncertainty of the transmission is not stated, and the rule %q needs it", d.Rule)
	}
	if short != "" && j.Verdict != assess.Fails {
		j.Verdict, j.Why = assess.NotAssessed, short+"; what it covers: "+j.Why
	}
	return j
}

// judgeMatch judges an absolute match; a relative one is of a set.
func (l limit) judgeMatch(m *measured, r *Report, j Judged) Judged {
	p := m.plan
	half, at, ok := p.MatchHalf()
	j.At = units.Frequency(at)
	switch {
	case !ok:
		j.Why = "the match names no amount"
		return j
	case p.Enquiry.Match.Kind != enquiry.Absolute:
		j.LimitValue = half * 1e12
		j.Why = "a relative match is one of a set: see the set's own verdict"
		j.Wish = true // the set decides, not the sample
		return j
	case p.o.Stored == 0:
		j.LimitValue = half * 1e12
		j.Why = "the stored delay that the line is matched to was not given"
		return j
	case math.IsNaN(r.Length.Delay):
		j.LimitValue = half * 1e12
		j.Why = r.Length.Why
		return j
	}
	off := r.Length.At - float64(p.o.Stored)
	j.Worst, j.LimitValue, j.Margin.Margin, j.Trace = off*1e12, half*1e12, (half-math.Abs(off))*1e12, "S21"
	j.Guard = 0
	j.Verdict = p.Decision.verdict(j.Margin.Margin, j.Margin.Margin)
	j.Segments = []Segment{{From: j.At, To: j.At, Margin: j.Margin.Margin, At: j.At}}
	j.Why = fmt.Sprintf("the phase delay at %v is %+.3g ps from the stored one, %+.3g deg; the uncertainty of the phase is not in the verdict", j.At, off*1e12, off*360*at)
	return j
}
