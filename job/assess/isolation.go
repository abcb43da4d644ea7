package assess

import (
	"fmt"
	"math"

	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// PowerSum returns the isolation, in dB, that n equal aggressors of isolation
// each leave when their powers add: each − 10 log n.
func PowerSum(each units.Level, n int) units.Level {
	return each - units.Level(10*math.Log10(float64(n)))
}

// AmplitudeSum returns the isolation, in dB, that n equal aggressors leave when
// their amplitudes add, all in phase: each − 20 log n, the worst.
func AmplitudeSum(each units.Level, n int) units.Level {
	return each - units.Level(20*math.Log10(float64(n)))
}

// neighbours returns the largest number of nearest neighbours, diagonals
// included, that a line of the field has.
func neighbours(e enquiry.Enquiry) (nearest, all int, ok bool) {
	if e.Lines == nil || *e.Lines < 2 {
		return 0, 0, false
	}
	n := *e.Lines
	_, columns, rows, _ := arrangement(e)
	if f := e.Field; f != nil && columns == 0 {
		switch {
		case f.Columns != nil && *f.Columns > 0:
			columns = *f.Columns
			rows = (n + columns - 1) / columns
		case f.Rows != nil && *f.Rows > 0:
			rows = *f.Rows
			columns = (n + rows - 1) / rows
		}
	}
	if columns == 0 { // as compact as can be
		columns = int(math.Ceil(math.Sqrt(float64(n))))
		rows = (n + columns - 1) / columns
	}
	return min(min(columns, 3)*min(rows, 3)-1, n-1), n - 1, true
}

// isolations adds up the neighbours at the interface that couples most. The
// likely case is the power sum of the nearest neighbours, the worst their
// amplitude sum.
func (j *judge) isolations() error {
	for _, l := range j.e.Limits.Isolation {
		j.isolation(l)
	}
	return nil
}

func (j *judge) isolation(l enquiry.IsolationLimit) {
	m := Margin{Limit: "isolation between lines", Unit: "dB", Worst: math.NaN(), Likely: math.NaN(), Margin: math.NaN(), LimitValue: float64(l.AtLeast), Wish: l.Wish, Verdict: NotAssessed,
		Conditions: []Condition{{"counts", "the connectors; launches and routing not"}}}
	defer func() { j.Margins = append(j.Margins, m) }()
	if j.s.Cable != nil {
		if j.s.Cable.Screening == nil {
			j.noteOnce("isolation: %s states no screening; above about 4 GHz most screening figures are extrapolated", j.s.Cable.ID)
		} else {
			j.noteOnce("isolation: screening of %s is %v per metre; two jackets lie between two cables; above about 4 GHz most such figures are extrapolated", j.s.Cable.ID, *j.s.Cable.Screening)
		}
	}
	launches := j.unknownLaunches()
	if launches != "" {
		j.ask(enquiry.Question{Field: "limits.isolation", Text: "Which isolation do neighbouring launches and traces on the board hold?",
			Changes: fmt.Sprintf("isolation usually fails in the launch and the routing, not in the connector: the figure leaves out %s", launches)})
	}
	nearest, all, ok := neighbours(j.e)
	if !ok {
		m.Why = "the number of lines is not stated"
		if j.e.Lines != nil {
			m.Why = "one line has no neighbour"
			m.Verdict = Meets
			return
		}
		j.ask(enquiry.Question{Field: "lines", Text: "How many lines stand beside each other, and how many carry signals at once?", Changes: "the sum of the neighbours' coupling"})
		return
	}
	least, name, source, silent := units.Level(math.Inf(1)), "", "", ""
	take := func(c part.Common, h part.Handling) {
		switch {
		case h.Isolation == nil:
			silent = c.ID
		case *h.Isolation < least:
			least, name, source = *h.Isolation, c.ID, c.Source
		}
	}
	interfaces := 0
	for end := range 2 {
		if j.e.Field != nil && !j.e.Field.Covers(end) {
			continue // the lines stand apart there
		}
		any := false
		for _, id := range j.s.partsAt(end) {
			any = true
			if k, ok := j.s.Catalogue.BoardConnector(id); ok {
				take(k.Common, k.Handling)
			} else if k, ok := j.s.Catalogue.CableConnector(id); ok {
				take(k.Common, k.Handling)
			} else if k, ok := j.s.Catalogue.Adapter(id); ok {
				take(k.Common, k.Handling)
			}
		}
		if any {
			interfaces++
		}
	}
	if name == "" {
		m.Element, m.Why = silent, fmt.Sprintf("%s states no isolation to its neighbour; ask its maker", orWord(silent, "no part"))
		return
	}
	power, worst := PowerSum(least, nearest), AmplitudeSum(least, nearest)
	m.Element, m.Source = name, source
	m.Worst, m.Likely, m.Margin = float64(worst), float64(power), float64(worst-l.AtLeast)
	m.Conditions = append(m.Conditions,
		Condition{"neighbours", fmt.Sprintf("%d nearest, diagonals taken as near, at −%.0f dB each", nearest, float64(least))},
		Condition{"power sum", fmt.Sprintf("−%.1f dB", float64(power))},
		Condition{"amplitude sum", fmt.Sprintf("−%.1f dB", float64(worst))},
		Condition{fmt.Sprintf("all %d others in power", all), fmt.Sprintf("−%.1f dB", float64(PowerSum(least, all)))},
		Condition{"frequency", "the figure names none; taken over the band"})
	m.Verdict = verdict(m.Margin+1e-9, float64(power-l.AtLeast)+1e-9, false)
	switch m.Verdict {
	case Meets:
		m.Why = fmt.Sprintf("even all %d neighbours in phase stay %.1f dB down", nearest, float64(worst))
	case AtRisk:
		m.Why = fmt.Sprintf("%d neighbours add up to −%.1f dB in power, −%.1f dB all in phase", nearest, float64(power), float64(worst))
	default:
		m.Why = fmt.Sprintf("%d neighbours of −%.0f dB add up to −%.1f dB already in power", nearest, float64(least), float64(power))
		j.Gaps = append(j.Gaps, Gap{Axis: "isolation", Asked: fmt.Sprintf("%.0f dB of %d neighbours together", float64(l.AtLeast), nearest), Best: fmt.Sprintf("%.1f dB (%s)", float64(power), name), Cause: NotYetBuilt,
			Needs: fmt.Sprintf("%.1f dB to the nearest neighbour for the power sum, %.1f dB for the worst", float64(l.AtLeast)+10*math.Log10(float64(nearest)), float64(l.AtLeast)+20*math.Log10(float64(nearest)))})
	}
	if m.Verdict != Meets {
		j.Ways = append(j.Ways, Option{"fewer neighbours driven at once, a wider pitch, or ground between the lines",
			fmt.Sprintf("%.1f dB to each neighbour hold the limit in power, %.1f dB in the worst case", float64(l.AtLeast)+10*math.Log10(float64(nearest)), float64(l.AtLeast)+20*math.Log10(float64(nearest)))})
	}
	if interfaces > 1 {
		m.Conditions = append(m.Conditions, Condition{"interfaces", fmt.Sprintf("%d in the chain, the worst one counted: if each couples by itself, %.0f dB less in power, %.0f dB in phase", interfaces, 10*math.Log10(float64(interfaces)), 20*math.Log10(float64(interfaces)))})
		if m.Verdict == Meets && worst-units.Level(20*math.Log10(float64(interfaces))) < l.AtLeast {
			m.Verdict = AtRisk
			m.Why += "; both interfaces in phase do not"
		}
	}
	switch {
	case m.Verdict == Meets && silent != "":
		m.Verdict, m.Why = NotAssessed, m.Why+fmt.Sprintf("; %s states no isolation", silent)
	case m.Verdict == Meets && launches != "":
		m.Verdict, m.Why = NotAssessed, m.Why+fmt.Sprintf("; that of %s is not known", launches)
	}
}

// unknownLaunches names the launches, all of whose coupling is unknown: no
// element carries it yet.
func (j *judge) unknownLaunches() string {
	n := 0
	for _, p := range j.s.Spec.Pieces {
		if p.Launch != nil {
			n++
		}
	}
	switch n {
	case 0:
		for _, r := range j.s.Roles {
			if r == chain.RoleLaunch {
				return "the launch"
			}
		}
		return ""
	case 1:
		return "the launch"
	}
	return "the launches"
}

func orWord(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
