package verify

import (
	"fmt"
	"math"

	"linewright/job/assess"
	"linewright/job/tolerance/sample"
)

// Rule is a decision rule: what a reading's distance to a limit means when the
// reading is uncertain. It is agreed before anything is measured.
type Rule string

// The rules, after ILAC-G8:09/2019 §4.2: the simple binary statement, the binary
// statement with a guard band, and the statement in more than two words.
//
// Source: [ilacg8] §4.2.1 to 4.2.3; acceptance limits and risks [jcgm106] §8.
const (
	Simple   Rule = "simple"    // meets up to the limit: risk shared, up to one half at the limit itself
	Guarded  Rule = "guarded"   // meets up to the limit less the guard band, fails beyond
	ThreeWay Rule = "three-way" // meets inside by the guard band, fails outside by it, at risk between
)

// Options lists the words that may be written.
func (Rule) Options() []string { return []string{"simple", "guarded", "three-way"} }

// Decision is the rule that a judgement was made by, in full.
type Decision struct {
	Rule     Rule
	Guard    float64 // width of the guard band in expanded uncertainties
	Coverage float64 // k of the expanded uncertainty
	Default  bool    // nobody chose it: the default
	Says     string  // the rule in one sentence
	Needs    string  // what it lacks to judge; empty: nothing
	Source   string
}

func decide(o Options) (Decision, error) {
	d := Decision{Rule: o.Rule, Guard: o.Guard, Coverage: o.Uncertainty.coverage(), Source: "ILAC-G8:09/2019, 4.2; JCGM 106:2012, 8"}
	if d.Guard == 0 {
		d.Guard = 1
	}
	if !(d.Guard > 0) || math.IsInf(d.Guard, 0) {
		return d, fmt.Errorf("a guard band of %g expanded uncertainties: write a number above 0, such as 1", o.Guard)
	}
	if d.Rule == "" {
		d.Default, d.Rule = true, Simple
		if o.Uncertainty.Stated() {
			d.Rule = ThreeWay
		}
	}
	w := fmt.Sprintf("w = %s the expanded uncertainty (k = %g)", times(d.Guard), d.Coverage)
	risk := fmt.Sprintf("at the edge of the guard band the true value lies outside the limit with a probability of %.2g %%", 100*sample.NormalCDF(-d.Guard*d.Coverage))
	switch d.Rule {
	case Simple:
		d.Guard = 0
		d.Says = "simple acceptance: a reading on or inside the limit meets it; at the limit itself the true value lies outside as often as inside"
		if !o.Uncertainty.Stated() {
			d.Says += "; the uncertainty of the measurement is not stated"
		}
	case Guarded:
		d.Says = "guard band, two words: a reading inside the limit by " + w + " or more meets it, any other fails; " + risk
	case ThreeWay:
		d.Says = "guard band, three words: a reading inside the limit by " + w + " or more meets it, one outside by as much fails, between it is at risk; " + risk
	default:
		return d, fmt.Errorf("no decision rule is called %q: write simple, guarded or three-way", o.Rule)
	}
	if d.Rule != Simple && !o.Uncertainty.Stated() {
		d.Needs = fmt.Sprintf("the rule %q cannot judge without it", d.Rule)
	}
	return d, nil
}

func times(x float64) string {
	if x == 1 {
		return "once"
	}
	return fmt.Sprintf("%g times", x)
}

// reading is one reading's distance to its limit: how far inside (negative:
// outside), and how wide the guard band is there on the inner and the outer
// side. Distances are in the limit's unit, in which an uncertainty is not the
// same on both sides.
type reading struct {
	margin       float64
	inner, outer float64
}

// verdict of the least favourable readings: the one that lies least inside the
// guarded limit, and the one that lies furthest outside beyond the guard band.
func (d Decision) verdict(inner, outer float64) assess.Verdict {
	switch {
	case math.IsNaN(inner) || math.IsNaN(outer):
		return assess.NotAssessed
	case inner >= 0:
		return assess.Meets
	case d.Rule == ThreeWay && outer >= 0:
		return assess.AtRisk
	}
	return assess.Fails
}

// Inside returns the probability that the true value keeps the limit when the
// reading lies margin inside it with standard uncertainty u, both in one unit:
//
//	p = Φ(margin/u)
//
// Source: [jcgm106] §7, conformance probability of a normal distribution with a
// single limit, without knowledge of the product beforehand.
func Inside(margin, u float64) float64 {
	switch {
	case math.IsNaN(margin) || math.IsNaN(u):
		return math.NaN()
	case u > 0:
		return sample.NormalCDF(margin / u)
	case margin >= 0:
		return 1
	}
	return 0
}
