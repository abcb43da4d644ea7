package catalogue

import (
	"fmt"
	"math"

	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// Copper's loss may be undercut by silver plating, by the root of the ratio of
// their conductivities, 3.1 %; so that much below smooth copper is allowed.
// Both conductivities are in package material with their sources.
const silverAllowance = 0.96

// velocityAllowance is the difference between velocity factor and 1/√ε that a
// datasheet's rounding to two digits can make.
const velocityAllowance = 0.02

// Check returns the entries that physics does not allow, that contradict
// themselves, or that lack a condition, part by part in the catalogue's order.
//
// A cable is impossible when its loss is below that of smooth copper in its
// own core (the conductor loss of [pozar2012] §2.7 at the stated temperature,
// the dielectric taken as lossless unless its loss tangent is stated), when it
// is rated above its own TE11 cutoff, or when its velocity contradicts its
// permittivity.
func (c Catalogue) Check() []Fault {
	k := &checker{c: c, ids: map[string]bool{}, groups: map[string]bool{}}
	for _, s := range c.Series {
		k.series(s)
	}
	for _, p := range c.Cables {
		k.groups[p.ID] = true
		if p.Group != "" {
			k.groups[p.Group] = true
		}
	}
	for _, p := range c.Cables {
		k.cable(p)
	}
	for _, p := range c.CableConnectors {
		k.common(p.Common)
		k.connector(p.Common, []part.Face{p.Face}, p.Loss, p.Reflection, p.Handling)
		if len(p.Fits) == 0 {
			k.add(p.ID, "fits", Incomplete, "no cable is named", "name the cables or termination groups it is made for")
		}
		for _, f := range p.Fits {
			if !k.groups[f] {
				k.add(p.ID, "fits", Doubtful, fmt.Sprintf("no cable and no group is called %q", f), "check the spelling, or add the cable")
			}
		}
	}
	for _, p := range c.BoardConnectors {
		k.common(p.Common)
		k.connector(p.Common, []part.Face{p.Face}, p.Loss, p.Reflection, p.Handling)
		if p.Mount == "" {
			k.add(p.ID, "mount", Incomplete, "the mount is not stated", "state how it sits on the board, such as edge clamp")
		}
		if p.BoardMin != nil && p.BoardMax != nil && *p.BoardMin > *p.BoardMax {
			k.add(p.ID, "board_min", Impossible, fmt.Sprintf("fits boards from %v to %v", *p.BoardMin, *p.BoardMax), "exchange the two")
		}
	}
	for _, p := range c.Adapters {
		k.common(p.Common)
		k.connector(p.Common, []part.Face{p.Left, p.Right}, p.Loss, p.Reflection, p.Handling)
	}
	for _, p := range c.Bullets {
		k.common(p.Common)
		k.connector(p.Common, []part.Face{p.Left, p.Right}, p.Loss, p.Reflection, p.Handling)
		if p.SeatedSpacing == nil {
			k.add(p.ID, "seated_spacing", Incomplete, "the board spacing at which it is home is not stated", "state it: without it no stack-up can be judged")
		} else if p.PivotLength != nil && *p.PivotLength > *p.SeatedSpacing {
			k.add(p.ID, "pivot_length", Impossible, fmt.Sprintf("%v between its pivots in a seated spacing of %v", *p.PivotLength, *p.SeatedSpacing), "the pivots lie between the boards")
		}
	}
	return k.faults
}

type checker struct {
	c      Catalogue
	ids    map[string]bool
	groups map[string]bool
	faults []Fault
}

func (k *checker) add(id, field string, s Severity, problem, help string) {
	k.faults = append(k.faults, Fault{id, field, s, problem, help})
}

func (k *checker) series(s series.Series) {
	if limit := s.ModeFreeLimit(); limit > 0 && s.UsualTop > limit {
		k.add(s.Name, "usual_top", Impossible, fmt.Sprintf("used to %v, its mating plane is over-moded from %v", s.UsualTop, limit), "check bore, pin and permittivity")
	}
}

func (k *checker) common(p part.Common) {
	switch {
	case p.ID == "":
		k.add("(no id)", "id", Incomplete, "a part has no id", "give it one")
	case k.ids[p.ID]:
		k.add(p.ID, "id", Impossible, "the id stands twice", "rename one of the two")
	}
	k.ids[p.ID] = true
	if p.RatedFrequency == nil {
		k.add(p.ID, "rated_frequency", Incomplete, "no rated frequency", "state it: without it the part cannot be judged against a band")
	}
	if p.LowFrequency != nil && p.RatedFrequency != nil && *p.LowFrequency >= *p.RatedFrequency {
		k.add(p.ID, "low_frequency", Impossible, fmt.Sprintf("serves from %v to %v", *p.LowFrequency, *p.RatedFrequency), "exchange the two")
	}
	if p.MinTemperature != nil && p.MaxTemperature != nil && *p.MinTemperature >= *p.MaxTemperature {
		k.add(p.ID, "min_temperature", Impossible, fmt.Sprintf("works from %v to %v", *p.MinTemperature, *p.MaxTemperature), "exchange the two")
	}
	if p.Price != nil && p.Price.Micros < 0 {
		k.add(p.ID, "price", Impossible, fmt.Sprintf("a price of %v", *p.Price), "a price is not negative")
	}
	if p.Source == "" {
		k.add(p.ID, "source", Incomplete, "no source", "state where the figures come from")
	}
}

func (k *checker) reflection(id string, r part.Reflection) {
	bad := func(vswr *float64, rl *units.Level) {
		if vswr != nil && !(*vswr >= 1) {
			k.add(id, "reflection", Impossible, fmt.Sprintf("a VSWR of %g", *vswr), "a VSWR is 1 or more")
		}
		if rl != nil && !(*rl >= 0) {
			k.add(id, "reflection", Impossible, fmt.Sprintf("a return loss of %v", *rl), "a return loss is written positive")
		}
	}
	bad(r.VSWR, r.ReturnLoss)
	for i, p := range r.Points {
		bad(p.VSWR, p.ReturnLoss)
		if i > 0 && p.To <= r.Points[i-1].To {
			k.add(id, "reflection", Doubtful, fmt.Sprintf("the bound to %v stands after that to %v", p.To, r.Points[i-1].To), "sort the bounds by frequency")
		}
	}
}

func (k *checker) connector(p part.Common, faces []part.Face, loss part.Loss, r part.Reflection, h part.Handling) {
	k.reflection(p.ID, r)
	for _, f := range faces {
		s, ok := k.c.LookupSeries(f.Series)
		if !ok {
			k.add(p.ID, "face", Incomplete, fmt.Sprintf("series %q is not known", f.Series), "use a known series, or describe it under series")
			continue
		}
		if limit := s.ModeFreeLimit(); limit > 0 && p.RatedFrequency != nil && *p.RatedFrequency > limit {
			k.add(p.ID, "rated_frequency", Impossible, fmt.Sprintf("rated to %v, its %s mating plane is over-moded from %v", *p.RatedFrequency, s.Name, limit), "check the series and the rating")
		}
	}
	if loss.K != nil && !(*loss.K >= 0) {
		k.add(p.ID, "loss", Impossible, "a negative loss", "a loss is written positive")
	}
	for _, q := range loss.Points {
		if !(q.Loss >= 0) {
			k.add(p.ID, "loss", Impossible, fmt.Sprintf("a loss of %v at %v", q.Loss, q.At), "a loss is written positive")
		}
	}
	if (loss.K != nil || len(loss.Points) > 0) && loss.Temperature == nil {
		k.add(p.ID, "loss.temperature", Incomplete, "the loss has no temperature", "state it: conductor loss rises by 11 % from 25 °C to 85 °C")
	}
	if h.Matings != nil && *h.Matings <= 0 {
		k.add(p.ID, "handling.matings", Impossible, fmt.Sprintf("%d matings", *h.Matings), "a life in matings is 1 or more")
	}
}

func (k *checker) cable(p part.Cable) {
	k.common(p.Common)
	k.reflection(p.ID, p.Reflection)
	if p.Core.Permittivity != nil && !(*p.Core.Permittivity >= 1) {
		k.add(p.ID, "core.permittivity", Impossible, fmt.Sprintf("a permittivity of %g", *p.Core.Permittivity), "a permittivity is 1 or more")
		return
	}
	if p.VelocityFactor != nil && !(*p.VelocityFactor > 0 && *p.VelocityFactor <= 1) {
		k.add(p.ID, "velocity_factor", Impossible, fmt.Sprintf("a velocity factor of %g", *p.VelocityFactor), "it lies between 0 and 1; 84 % is written 0.84")
		return
	}
	if p.VelocityFactor != nil && p.Core.Permittivity != nil {
		from := 1 / math.Sqrt(*p.Core.Permittivity)
		if !(math.Abs(*p.VelocityFactor-from) <= velocityAllowance*from) {
			k.add(p.ID, "velocity_factor", Impossible, fmt.Sprintf("velocity factor %.3g, but permittivity %.4g gives %.3g", *p.VelocityFactor, *p.Core.Permittivity, from), "one of the two is wrong")
		}
	}
	if p.Loss.K1 == nil && len(p.Loss.Points) == 0 {
		k.add(p.ID, "loss", Incomplete, "no loss is stated", "give k1 and k2 with their fitted range, or points")
	} else if p.Loss.Temperature == nil {
		k.add(p.ID, "loss.temperature", Incomplete, "the loss has no temperature", "state it: conductor loss rises by 11 % from 25 °C to 85 °C")
	}
	if p.Loss.K1 != nil && (p.Loss.FittedFrom == nil || p.Loss.FittedTo == nil) {
		k.add(p.ID, "loss.fitted_to", Incomplete, "the fit has no range", "state from where to where it was fitted")
	}
	if p.Loss.K1 != nil && *p.Loss.K1 < 0 || p.Loss.K2 != nil && *p.Loss.K2 < 0 {
		k.add(p.ID, "loss", Impossible, "a negative loss coefficient", "fit again with both coefficients bounded at zero")
	}
	if p.Loss.FittedTo != nil && p.RatedFrequency != nil && *p.Loss.FittedTo < *p.RatedFrequency*(1-1e-12) {
		k.add(p.ID, "loss.fitted_to", Doubtful, fmt.Sprintf("fitted to %v, rated to %v: the rest is an extrapolation", *p.Loss.FittedTo, *p.RatedFrequency), "measure to the rated frequency")
	}
	if p.BendStatic != nil && p.BendDynamic != nil && *p.BendDynamic < *p.BendStatic {
		k.add(p.ID, "bend_dynamic", Doubtful, fmt.Sprintf("moved repeatedly to %v, formed once to %v", *p.BendDynamic, *p.BendStatic), "the radius for repeated bending is the larger")
	}
	if p.OuterDiameter != nil && p.Core.Diameter != nil && *p.Core.Diameter >= *p.OuterDiameter {
		k.add(p.ID, "core.diameter", Impossible, fmt.Sprintf("a core of %v in a cable of %v", *p.Core.Diameter, *p.OuterDiameter), "check both; radius and diameter may be exchanged")
		return
	}
	core, ok := p.CoreLine()
	if !ok {
		k.add(p.ID, "core", Incomplete, "core diameter or permittivity is not stated", "state both: without them its mode-free limit is unknown")
		return
	}
	if err := core.Check(); err != nil {
		k.add(p.ID, "core", Impossible, err.Error(), "check the core's dimensions")
		return
	}
	if limit := units.Frequency(line.ModeFreeLimit(core)); p.RatedFrequency != nil && *p.RatedFrequency > limit {
		k.add(p.ID, "rated_frequency", Impossible, fmt.Sprintf("rated to %v, its core is over-moded (TE11) from %v", *p.RatedFrequency, limit), "check core diameter and permittivity, or the rating")
	}
	k.smoothCopper(p, core)
}

// smoothCopper compares the stated loss with that of smooth copper in the
// cable's own core.
func (k *checker) smoothCopper(p part.Cable, core line.Coax) {
	temperature := units.Celsius(25)
	if p.Loss.Temperature != nil {
		temperature = *p.Loss.Temperature
	}
	var at []float64
	switch {
	case p.Loss.K1 != nil:
		for _, f := range []*units.Frequency{p.Loss.FittedFrom, p.Loss.FittedTo, p.RatedFrequency} {
			if f != nil && *f > 0 {
				at = append(at, float64(*f))
			}
		}
	default:
		for _, q := range p.Loss.Points {
			if q.At > 0 {
				at = append(at, float64(q.At))
			}
		}
	}
	if !p.Loss.Covers().Known {
		return
	}
	for _, f := range at {
		total, _ := p.Loss.At(units.Frequency(f), temperature)
		stated := total.DBPerMetre()
		sigma := material.ConductivityAt(material.AnnealedCopper, material.CopperCoefficient, float64(temperature))
		rs := material.SurfaceResistance(f, sigma)
		z0 := core.Static().Impedance
		floor := rs / (2 * z0) * (1/(math.Pi*core.InnerDiameter) + 1/(math.Pi*core.OuterDiameter))
		floor += math.Pi * f * math.Sqrt(core.Filling.Permittivity) * core.Filling.LossTangent / line.C0
		floor *= units.DecibelsPerNeper
		if stated < floor*silverAllowance {
			k.add(p.ID, "loss", Impossible, fmt.Sprintf("%.3g dB/m at %v, but smooth copper in this core loses %.3g dB/m", stated, units.Frequency(f), floor), "check the coefficients' units and the core's diameter")
			return
		}
	}
}
