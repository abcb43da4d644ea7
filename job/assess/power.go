package assess

import (
	"fmt"
	"math"
	"strings"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/thermal"
	"linewright/physics/units"
)

// PowerReport is what the chain can carry: average power by heat, peak power by
// breakdown. They fail in different places.
type PowerReport struct {
	At                units.Frequency // average power is judged where loss is greatest
	Ambient           units.Temperature
	Pressure          units.Pressure
	LoadVSWR          float64
	Average           *AveragePower
	Peak              *PeakPower
	Assumed           []string // what the figures rest on and no datasheet says
	OpenPort          units.Length
	PublicWattsPerM2  float64 // ICNIRP 2020 reference level of local exposure, W/m²; NaN below 6 GHz
	TrainedWattsPerM2 float64 // the same for occupational exposure
}

// AveragePower is what heat allows.
type AveragePower struct {
	Wanted     units.Power
	Heat       []HeatRating
	Rated      []DeratedRating
	Unrated    []string    // catalogue parts that state no rating
	Allowed    units.Power // the lowest of all
	Element    string      // whose it is
	Basis      string
	Dissipated units.Power // in the whole chain, matched
	estimate   bool        // the lowest is that of a heat balance
}

// HeatRating is a cable's rating by the balance of heat made and shed.
type HeatRating struct {
	Element string
	Power   units.Power
	Limit   string            // which temperature binds
	Inner   units.Temperature // of the inner conductor at the wanted power; NaN when it burns
	Surface units.Temperature
	Factor  float64 // by which the standing wave raises the heat
	Problem string  // why there is no rating at these conditions
}

// DeratedRating is a datasheet's rating carried to the enquiry's conditions by
// the trade's chain of factors (common practice):
//
//	P = Pref · A(fref)/A(f) · (Tmax − T)/(Tmax − Tref) · Falt · Sref/S
//
// The altitude factor is the ratio of the cable's heat ratings at the two
// pressures, or the root of the pressure ratio where no balance can be made:
// that of natural convection alone.
type DeratedRating struct {
	Element string
	Part    string
	Rated   units.Power
	Factors []Factor
	Power   units.Power
	Whole   bool // every condition of the rating was stated
}

// Factor is one factor of a derating.
type Factor struct {
	Name  string
	Value float64
	Why   string
}

// PeakPower is what breakdown allows in ideal geometry.
type PeakPower struct {
	Wanted   units.Power
	Voltage  units.Voltage // greatest peak voltage on a 50 Ω line at the wanted power and VSWR
	Sections []PeakSection
	Blind    []string    // elements whose cross-section is not known
	Ceiling  units.Power // the lowest, incident
	Element  string
	Vacuum   bool // multipactor decides, which is not computed
}

// PeakSection is one cross-section's ceiling.
type PeakSection struct {
	Element, Name string
	FieldVPerM    float64 // at which it breaks down, peak, V/m
	Voltage       units.Voltage
	Ceiling       units.Power // incident peak power with the VSWR
	Law           string
	BelowMinimum  bool // pressure times gap lies below the Paschen minimum
}

// The practice margins to a theoretical ceiling of peak power: edges, gaps and
// dirt take one to two orders of magnitude.
const peakPractice = 100

// powers judges average and peak power. An enquiry without power has no
// question here.
func (j *judge) powers() error {
	w := j.e.Power
	if w == nil || w.Average == nil && w.Peak == nil {
		return nil
	}
	f := j.Prediction.Frequency
	top := f[len(f)-1]
	_, hot, stated := Temperatures(j.e)
	r := &PowerReport{At: units.Frequency(top), Ambient: hot, LoadVSWR: 1, PublicWattsPerM2: math.NaN(), TrainedWattsPerM2: math.NaN()}
	j.Power = r
	r.Pressure = j.pressure(r)
	if w.LoadVSWR != nil && *w.LoadVSWR >= 1 {
		r.LoadVSWR = *w.LoadVSWR
	} else {
		r.assume("a matched load: no load VSWR is stated")
	}
	if !stated || j.e.Environment.MaxTemperature == nil {
		r.assume("an ambient of %v: no hottest temperature is stated", hot)
	}
	known := len(r.Assumed) == 0
	if w.Average != nil {
		j.average(r, *w.Average, known)
	} else {
		j.ask(enquiry.Question{Field: "power.average", Text: "Which average power goes with the peak?", Changes: "heating is judged by it"})
	}
	if w.Peak != nil {
		j.peak(r, *w.Peak, known)
	} else {
		j.ask(enquiry.Question{Field: "power.peak", Text: "Which peak power, of pulses or of the modulation's envelope?", Changes: "breakdown is judged by the peak, not by the average"})
	}
	j.powerCautions(r)
	for _, a := range r.Assumed {
		j.noteOnce("power: assumes %s", a)
	}
	return nil
}

func (r *PowerReport) assume(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	for _, x := range r.Assumed {
		if x == s {
			return
		}
	}
	r.Assumed = append(r.Assumed, s)
}

// pressure returns that of the enquiry's highest altitude, after ISO 2533, or
// the lowest it states.
func (j *judge) pressure(r *PowerReport) units.Pressure {
	v := j.e.Environment
	p := units.Pressure(math.NaN())
	if v.Pressure != nil {
		p = *v.Pressure
	}
	if v.Altitude != nil {
		air, err := thermal.ISA(float64(*v.Altitude))
		switch {
		case err != nil:
			r.assume("no gas at an altitude of %v, beyond the standard atmosphere", *v.Altitude)
			p = 0
		case math.IsNaN(float64(p)) || air.Pressure < float64(p):
			p = units.Pressure(air.Pressure)
		}
	}
	if v.Vacuum != nil && *v.Vacuum {
		p = 0
	}
	if math.IsNaN(float64(p)) {
		r.assume("the pressure of sea level: neither altitude nor pressure is stated")
		p = thermal.SeaPressure
	}
	return p
}

// average judges average power at the chain's input, taken as the net power
// that enters its first element: no credit for what is lost on the way.
func (j *judge) average(r *PowerReport, wanted units.Power, known bool) {
	a := &AveragePower{Wanted: wanted}
	r.Average = a
	last := len(j.Prediction.Frequency) - 1
	a.Dissipated = units.Power(float64(wanted) * -math.Expm1(-j.Prediction.Loss[last]*math.Ln10/10))
	j.allow(a, r, r.LoadVSWR, true)
	m := Margin{Limit: "average power", Unit: "W", LimitValue: float64(wanted), Worst: float64(a.Allowed), Likely: float64(a.Allowed), Margin: float64(a.Allowed - wanted), At: r.At, Element: a.Element, Source: a.Basis,
		Conditions: []Condition{{"ambient", r.Ambient.String()}, {"pressure", fmt.Sprintf("%s kPa", figure(float64(r.Pressure)/1e3))}, {"load VSWR", figure(r.LoadVSWR)},
			{"power", "that of the input, with no credit for what is lost on the way"}, {"heat made in the chain", fmt.Sprintf("%s W", figure(float64(a.Dissipated)))}}}
	if a.Element == "" {
		m.Verdict, m.Worst, m.Likely, m.Margin = NotAssessed, math.NaN(), math.NaN(), math.NaN()
		m.Why = "no part states a power rating and no cable its cross-section and outside diameter"
		j.ask(enquiry.Question{Field: "catalogue: power", Text: "Which continuous power are the parts rated to, at which frequency, ambient, altitude and load VSWR?", Changes: "average power is not assessed until it is known"})
		j.Margins = append(j.Margins, m)
		return
	}
	whole := known && len(a.Unrated) == 0
	for _, d := range a.Rated {
		whole = whole && d.Whole
	}
	if a.estimate {
		m.Likely *= 1.15 // natural convection is known to about 15 %
	}
	m.Verdict = verdict(m.Margin, m.Likely-m.LimitValue, !whole)
	m.Why = fmt.Sprintf("%s allows %s W, %s", a.Element, figure(m.Worst), a.Basis)
	if len(a.Unrated) > 0 {
		m.Why += fmt.Sprintf("; no rating stated for %s, and the junction nearest the source, at the %s, is the usual hot spot", join(a.Unrated), j.atSource())
	}
	if !known {
		m.Why += "; rests on assumptions that the notes name"
	}
	j.Margins = append(j.Margins, m)
	if r.LoadVSWR > 1.2 && m.Margin < 0 {
		better := &AveragePower{Wanted: wanted}
		j.allow(better, r, 1.2, false)
		j.Ways = append(j.Ways, Option{Title: "hold the load to a VSWR of 1.2", Effect: fmt.Sprintf("%s W instead of %s W", figure(float64(better.Allowed)), figure(float64(a.Allowed)))})
	}
	if m.Verdict == Fails {
		j.Gaps = append(j.Gaps, Gap{Axis: "average power", Asked: fmt.Sprintf("%s W at %v and %v", figure(float64(wanted)), r.At, r.Ambient), Best: fmt.Sprintf("%s W (%s)", figure(float64(a.Allowed)), a.Element), Cause: NotYetBuilt,
			Needs: "less loss or more surface there, a higher limit of temperature, or cooling"})
	}
}

// atSource names the element at the end that power enters.
func (j *judge) atSource() string {
	if j.e.Power.Source == "to" {
		return j.Prediction.Rows[len(j.Prediction.Rows)-1].Name
	}
	return j.Prediction.Rows[0].Name
}

// allow fills what every element allows into a load of VSWR s.
func (j *judge) allow(a *AveragePower, r *PowerReport, s float64, say bool) {
	a.Allowed = units.Power(math.Inf(1))
	lower := func(p units.Power, element, basis string, estimate bool) {
		if p < a.Allowed {
			a.Allowed, a.Element, a.Basis, a.estimate = p, element, basis, estimate
		}
	}
	// The chain's first cable that can be computed lends its altitude factor to
	// the parts about it.
	var lent *heatModel
	models := map[int]*heatModel{}
	for k, el := range j.s.Chain.Elements {
		if c, ok := chain.CableOf(el); ok {
			if h, ok := newHeatModel(c.Part, float64(r.At), r, say); ok {
				models[k] = h
				if lent == nil {
					lent = h
				}
			}
		}
	}
	for k, el := range j.s.Chain.Elements {
		name := j.Prediction.Rows[k].Name
		if h := models[k]; h != nil {
			x := h.rate(name, float64(a.Wanted), s, r)
			a.Heat = append(a.Heat, x)
			lower(x.Power, name, "heat balance of the cable, "+orElse(x.Problem, "limited by its "+x.Limit), true)
		}
		var common part.Common
		var loss func(f units.Frequency) float64
		var limit *units.Temperature
		if c, ok := chain.CableOf(el); ok {
			common, limit = c.Part.Common, c.Part.InnerLimit
			loss = func(f units.Frequency) float64 { a, _ := c.Part.Loss.At(f, room); return float64(a) }
		} else if c, ok := chain.ConnectorOf(el); ok {
			common = c.Common
			loss = func(f units.Frequency) float64 { return float64(c.Loss.At(f, room)) }
		} else {
			continue
		}
		if len(common.Power) == 0 {
			a.Unrated = append(a.Unrated, name)
			continue
		}
		h := models[k]
		if h == nil {
			h = lent
		}
		d := derate(common, loss, limit, h, s, r)
		d.Element = name
		a.Rated = append(a.Rated, d)
		if math.IsNaN(float64(d.Power)) {
			a.Unrated = append(a.Unrated, name+" at this pressure")
			continue
		}
		lower(d.Power, name, "its datasheet's rating, derated", false)
	}
}

// derate carries the rating nearest in frequency to the enquiry's conditions.
func derate(c part.Common, loss func(units.Frequency) float64, inner *units.Temperature, h *heatModel, s float64, r *PowerReport) DeratedRating {
	best := c.Power[0]
	for _, x := range c.Power[1:] {
		if math.Abs(math.Log(float64(x.At/r.At))) < math.Abs(math.Log(float64(best.At/r.At))) {
			best = x
		}
	}
	d := DeratedRating{Part: c.ID, Rated: best.Power, Whole: best.Temperature != nil && best.Altitude != nil && best.VSWR != nil}
	add := func(name string, v float64, format string, args ...any) {
		d.Factors = append(d.Factors, Factor{name, v, fmt.Sprintf(format, args...)})
	}
	// Frequency.
	from, to := loss(best.At), loss(r.At)
	if from > 0 && to > 0 {
		add("frequency", from/to, "loss at %v over loss at %v", best.At, r.At)
	} else {
		add("frequency", math.Sqrt(float64(best.At/r.At)), "root of %v over %v: its loss is not stated", best.At, r.At)
		d.Whole = false
	}
	// Temperature.
	tmax, why := units.Temperature(thermal.HighPowerLimit), "204 °C, a common limit of high-power assemblies"
	switch {
	case inner != nil:
		tmax, why = *inner, "the inner conductor's stated limit "+inner.String()
	case c.MaxTemperature != nil:
		tmax, why = *c.MaxTemperature, "its highest working temperature "+c.MaxTemperature.String()
	default:
		d.Whole = false
	}
	tref := room
	if best.Temperature != nil {
		tref = *best.Temperature
	} else {
		why += fmt.Sprintf(", the rating's ambient taken as %v", tref)
	}
	factor := 0.0
	if tref < tmax {
		factor = math.Max(0, thermal.LinearDerating(float64(tmax), float64(r.Ambient), float64(tref)))
	}
	add("temperature", factor, "from %v to %v, against %s", tref, r.Ambient, why)
	// Altitude.
	pref := thermal.SeaPressure
	if best.Altitude != nil {
		if air, err := thermal.ISA(float64(*best.Altitude)); err == nil {
			pref = air.Pressure
		}
	}
	if ratio, ok := h.altitude(tref, float64(r.Pressure), pref); ok {
		add("altitude", ratio, "ratio of the cable's heat ratings at %s and %s kPa", figure(float64(r.Pressure)/1e3), figure(pref/1e3))
	} else {
		// Natural convection goes as the root of the pressure; where there is
		// next to no gas, radiation rules, of which nothing is known here.
		ratio := math.Sqrt(float64(r.Pressure) / pref)
		if ratio < 0.1 {
			ratio = math.NaN()
		}
		add("altitude", ratio, "root of the pressure ratio, natural convection alone")
		d.Whole = false
	}
	// Standing wave.
	sref := 1.0
	if best.VSWR != nil && *best.VSWR >= 1 {
		sref = *best.VSWR
	}
	add("VSWR", sref/s, "load VSWR %s, rated at %s", figure(s), figure(sref))
	total := float64(best.Power)
	for _, f := range d.Factors {
		total *= f.Value
	}
	d.Power = units.Power(total)
	return d
}

// heatModel is a cable as heat sees it, with its limits.
type heatModel struct {
	cable  thermal.Cable
	limits thermal.Limits
	beta   float64 // rad/m
}

// newHeatModel fills in what no datasheet states with figures from memory, and
// says so.
func newHeatModel(c part.Cable, f float64, r *PowerReport, say bool) (*heatModel, bool) {
	core, ok := c.CoreLine()
	v, _ := c.Velocity()
	covers := c.Loss.Covers()
	if !ok || c.OuterDiameter == nil || !covers.Known || !(float64(*c.OuterDiameter) > core.OuterDiameter) {
		return nil, false
	}
	assume := func(format string, args ...any) {
		if say {
			r.assume("cable "+c.ID+": "+format, args...)
		}
	}
	h := &heatModel{beta: 2 * math.Pi * f / (v * line.C0)}
	k := &h.cable
	k.InnerRadius, k.DielectricRadius = core.InnerDiameter/2, core.OuterDiameter/2
	outside := float64(*c.OuterDiameter) / 2
	if c.Construction == part.SemiRigid || c.Construction == part.HandFormable {
		k.OuterRadius, k.Emissivity = outside, 0.1
		assume("a bare outer conductor of emissivity 0.1, from memory")
	} else {
		k.OuterRadius = k.DielectricRadius + 0.4*(outside-k.DielectricRadius)
		k.Layers = []thermal.Layer{{OuterRadius: outside, Conductivity: 0.2}}
		k.Emissivity = 0.9
		assume("a jacket that takes the outer 60 %% of the wall, of 0.2 W/(m·K) and emissivity 0.9, from memory")
	}
	const air = 0.026
	d := strings.ToLower(c.Core.Dielectric)
	limit := units.Temperature(thermal.HighPowerLimit)
	switch {
	case strings.Contains(d, "ptfe"):
		k.DielectricConductivity = 0.25
		if chain.SolidPTFE(c) {
			assume("solid PTFE of 0.25 W/(m·K), from memory")
		} else {
			// ε → density by the law of [ehrlich1953], inverted.
			full, er := material.PTFEPermittivity(2.174), core.Filling.Permittivity
			share := math.Min(1, (er-1)/(er+2)*(full+2)/(full-1))
			k.DielectricConductivity = thermal.PorousConductivity(0.25, air, 1-share)
			assume("PTFE of %.0f %% air, by its permittivity, of at least %s W/(m·K)", 100*(1-share), figure(k.DielectricConductivity))
		}
	case strings.Contains(d, "polyethylene"):
		k.DielectricConductivity, limit = 0.33, units.Celsius(85)
		assume("solid polyethylene of 0.33 W/(m·K), to 85 °C, from memory")
	default:
		k.DielectricConductivity, limit = 0.2, units.Celsius(85)
		assume("a dielectric of 0.2 W/(m·K), to 85 °C: its material is not stated")
	}
	switch {
	case c.InnerLimit != nil:
		limit = *c.InnerLimit
	default:
		assume("an inner conductor to %v: no limit is stated", limit)
	}
	h.limits.Inner = float64(limit)
	if c.MaxTemperature != nil {
		h.limits.Surface = float64(*c.MaxTemperature)
		assume("a surface to its highest working temperature, %v", *c.MaxTemperature)
	}
	ref := units.Temperature(thermal.RoomTemperature)
	if c.Loss.Temperature != nil {
		ref = *c.Loss.Temperature
	}
	total, conductor := c.Loss.At(units.Frequency(f), ref)
	si, so, braid := core.Inner.Conductivity, core.Outer.Conductivity, core.BraidFactor
	if si == 0 {
		si = material.AnnealedCopper
	}
	if so == 0 {
		so = material.AnnealedCopper
	}
	if braid == 0 {
		braid = 1
	}
	ri, ro := 1/(k.InnerRadius*math.Sqrt(si)), braid/(k.DielectricRadius*math.Sqrt(so))
	k.Loss = thermal.Loss{Inner: float64(conductor) * ri / (ri + ro), Outer: float64(conductor) * ro / (ri + ro), Dielectric: float64(total - conductor), Reference: float64(ref)}
	if !covers.Split {
		assume("all of the loss in the conductors: the datasheet does not split it")
	}
	if k.Check() != nil {
		return nil, false
	}
	return h, true
}

// rate returns the rating in the enquiry's surroundings.
func (h *heatModel) rate(name string, wanted, vswr float64, r *PowerReport) HeatRating {
	x := HeatRating{Element: name, Inner: units.Temperature(math.NaN()), Surface: units.Temperature(math.NaN())}
	about := thermal.Surroundings{Temperature: float64(r.Ambient), Pressure: float64(r.Pressure)}
	drive := thermal.Drive{Power: wanted, VSWR: vswr, PhaseConstant: h.beta}
	if st, err := h.cable.At(drive, about); err == nil {
		x.Inner, x.Surface, x.Factor = units.Temperature(st.Inner), units.Temperature(st.Surface), st.Factor
	}
	rating, err := h.cable.Rating(h.limits, drive, about)
	if err != nil {
		x.Problem = "no power at all: " + strings.TrimPrefix(err.Error(), "thermal: ")
		return x
	}
	x.Power, x.Limit, x.Factor = units.Power(rating.Power), rating.Limit, rating.State.Factor
	return x
}

// altitude returns the ratio of the ratings at two pressures.
func (h *heatModel) altitude(ambient units.Temperature, p, ref float64) (float64, bool) {
	if p == ref {
		return 1, true
	}
	if h == nil {
		return 0, false
	}
	at := func(pressure float64) float64 {
		rating, err := h.cable.Rating(h.limits, thermal.Drive{}, thermal.Surroundings{Temperature: float64(ambient), Pressure: pressure})
		if err != nil {
			return math.NaN()
		}
		return rating.Power
	}
	ratio := at(p) / at(ref)
	return ratio, !math.IsNaN(ratio)
}

// peak judges peak power by the field at the inner conductor of every known
// cross-section.
func (j *judge) peak(r *PowerReport, wanted units.Power, known bool) {
	x := &PeakPower{Wanted: wanted, Ceiling: units.Power(math.Inf(1))}
	r.Peak = x
	x.Voltage = units.Voltage(thermal.MaximumVoltage(float64(wanted), 50, r.LoadVSWR))
	air := thermal.Air{Temperature: float64(r.Ambient), Pressure: float64(r.Pressure)}
	below := false
	section := func(element, name string, l line.Coax, solid bool) {
		gap := (l.OuterDiameter - l.InnerDiameter) / 2
		if air.Pressure <= 0 || air.MeanFreePath() > gap {
			x.Vacuum = true
			return
		}
		s := breakdown(l, solid, air, r.LoadVSWR)
		s.Element, s.Name = element, name
		below = below || s.BelowMinimum
		x.Sections = append(x.Sections, s)
		if s.Ceiling < x.Ceiling {
			x.Ceiling, x.Element = s.Ceiling, fmt.Sprintf("%s of %s", name, element)
		}
	}
	for k, el := range j.s.Chain.Elements {
		row := j.Prediction.Rows[k]
		seen := false
		if c, ok := chain.CableOf(el); ok {
			if l, ok := c.Part.CoreLine(); ok && l.Check() == nil {
				section(row.Name, "dielectric core", l, true)
				seen = true
			}
		} else if c, ok := chain.ConnectorOf(el); ok {
			for _, s := range c.Series {
				if l, ok := s.Line(); ok {
					section(row.Name, s.Name+" mating plane", l, s.Permittivity > 1.05)
					seen = true
				}
			}
		}
		if !seen {
			x.Blind = append(x.Blind, row.Name)
		}
	}
	m := Margin{Limit: "peak power", Unit: "W", LimitValue: float64(wanted), At: r.At, Element: x.Element, Source: "field at the inner conductor against air's breakdown, 2.9 MV/m at sea level",
		Conditions: []Condition{{"ambient", r.Ambient.String()}, {"pressure", fmt.Sprintf("%s kPa", figure(float64(r.Pressure)/1e3))}, {"load VSWR", figure(r.LoadVSWR)},
			{"greatest voltage, 50 Ω", fmt.Sprintf("%s V", figure(float64(x.Voltage)))}}}
	switch {
	case x.Vacuum:
		m.Verdict, m.Worst, m.Likely, m.Margin = NotAssessed, math.NaN(), math.NaN(), math.NaN()
		m.Why = "in vacuum multipactor decides, which is another matter than gas breakdown and not computed here: ECSS-E-ST-20-01C"
		j.caution(Caution(thermal.CautionMultipactor))
		j.caution(Caution(thermal.CautionPressure))
	case len(x.Sections) == 0:
		m.Verdict, m.Worst, m.Likely, m.Margin = NotAssessed, math.NaN(), math.NaN(), math.NaN()
		m.Why = "no cross-section of the chain is known"
		j.ask(enquiry.Question{Field: "catalogue: cross-sections", Text: "What are bore and pin of the mating faces, and core and centre conductor of the cable?", Changes: "peak power is not assessed until one is known"})
	default:
		ceiling := float64(x.Ceiling)
		m.Worst, m.Likely, m.Margin = ceiling/peakPractice, ceiling, ceiling/peakPractice-float64(wanted)
		m.Verdict = verdict(m.Margin, ceiling-float64(wanted), !known || len(x.Blind) > 0 || below)
		m.Conditions = append(m.Conditions, Condition{"theoretical ceiling", fmt.Sprintf("%s W incident", figure(ceiling))})
		m.Why = fmt.Sprintf("the %s breaks down first, at %s W in ideal geometry; one to two orders of magnitude are left to edges, gaps and dirt (common practice), and the worst is the ceiling over %d", x.Element, figure(ceiling), peakPractice)
		if len(x.Blind) > 0 {
			m.Why += fmt.Sprintf("; not seen: the cross-sections of %s", join(x.Blind))
		}
		if m.Verdict == Fails {
			j.Gaps = append(j.Gaps, Gap{Axis: "peak power", Asked: fmt.Sprintf("%s W", figure(float64(wanted))), Best: fmt.Sprintf("%s W, theoretical (%s)", figure(ceiling), x.Element), Cause: Physics,
				Needs: "a larger cross-section, against the mode limit, or pressure: at a given pressure the ceiling goes as the square of the diameters"})
		}
		if below {
			j.caution(Caution(thermal.CautionMultipactor))
		}
		if air.Pressure < 0.9*thermal.SeaPressure {
			j.caution(Caution(thermal.CautionPressure))
		}
	}
	j.Margins = append(j.Margins, m)
	for _, a := range []thermal.Assumption{thermal.AssumesSmooth, thermal.AssumesFilled, thermal.AssumesGas, thermal.AssumesStaticRF} {
		j.noteOnce("peak power: %s", a)
	}
}

// breakdown returns a section's ceiling: the lower of the field at the inner
// conductor, in proportion to the air's density, and of the uniform gap between
// the conductors after Paschen. A filled section is judged at the end of its
// filling, where air meets the conductors at the line's full voltage: there,
// not in the solid, cables fail.
func breakdown(l line.Coax, solid bool, air thermal.Air, vswr float64) PeakSection {
	c := thermal.PeakCase{InnerRadius: l.InnerDiameter / 2, OuterRadius: l.OuterDiameter / 2, Er: l.Filling.Permittivity, Air: air, VSWR: vswr}
	p, err := c.Breakdown()
	if err != nil {
		return PeakSection{Ceiling: units.Power(math.NaN()), Law: err.Error()}
	}
	s := PeakSection{FieldVPerM: p.Field, Voltage: units.Voltage(p.Voltage), Ceiling: units.Power(p.Incident), Law: "field at the inner conductor, air by its density", BelowMinimum: len(p.Warnings) > 0}
	if solid {
		s.Law = "field at the inner conductor where the filling ends, air by its density"
	}
	if v, law := thermal.GapBreakdown(c.OuterRadius-c.InnerRadius, air); v < float64(s.Voltage) {
		peak := v / (1 + (vswr-1)/(vswr+1)) // of the incident wave
		z := line.Eta0 / (2 * math.Pi * math.Sqrt(c.Er)) * math.Log(c.OuterRadius/c.InnerRadius)
		s.Voltage, s.Ceiling, s.Law = units.Voltage(v), units.Power(peak*peak/(2*z)), string(law)+" across the gap"
	}
	return s
}

// powerCautions adds the reminders that go with any statement of power.
func (j *judge) powerCautions(r *PowerReport) {
	power := 0.0
	if r.Average != nil {
		power = float64(r.Average.Wanted)
	} else if r.Peak != nil {
		power = float64(r.Peak.Wanted)
	}
	for _, c := range []thermal.Caution{thermal.CautionEstimate, thermal.CautionExposure, thermal.CautionMating, thermal.CautionHotParts} {
		j.caution(Caution(c))
	}
	if r.Peak != nil {
		j.caution(Caution(thermal.CautionVoltage))
	}
	if float64(r.Pressure) < 0.9*thermal.SeaPressure {
		j.caution(Caution(thermal.CautionPressure))
	}
	if r.Pressure == 0 {
		j.caution(Caution(thermal.CautionMultipactor))
	}
	for _, el := range j.s.Chain.Elements {
		if c, ok := chain.CableOf(el); ok && strings.Contains(strings.ToLower(c.Part.Core.Dielectric), "ptfe") {
			j.caution(Caution(thermal.CautionFume))
		}
	}
	public, err := thermal.ExposureReference(float64(r.At), thermal.Public)
	if err != nil {
		return
	}
	occupational, _ := thermal.ExposureReference(float64(r.At), thermal.Occupational)
	r.PublicWattsPerM2, r.TrainedWattsPerM2 = public, occupational
	r.OpenPort = units.Length(thermal.IsotropicDistance(power, 1, public))
	j.caution(Caution(fmt.Sprintf("At %v the reference levels of local exposure are %s W/m² for the public and %s W/m² for trained people, averaged over 6 minutes (ICNIRP 2020). An open port that radiates %s W evenly reaches the public's level at about %s cm: a far-field estimate, no safe distance. The limits in force where it is used decide, and those qualified to assess them.",
		r.At, figure(public), figure(occupational), figure(power), figure(float64(r.OpenPort)*100))))
}

func orElse(s, t string) string {
	if s == "" {
		return t
	}
	return s
}
