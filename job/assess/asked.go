package assess

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// BoardThickness is that of the board at an end: as the end states it, or its
// stackup's; nil when neither says.
func BoardThickness(end enquiry.End, l launch.Layouts) *units.Length {
	if end.Thickness != nil {
		return end.Thickness
	}
	if s := l.Stackup(end.Stackup); s != nil {
		t := s.Thickness()
		return &t
	}
	return nil
}

// namedProperties compares the parts with what the enquiry asks of them by name or kind:
// mount, series, retention, board thickness, construction of the cable, time of
// delivery. A search drops parts for these; here they are said of the chain.
func (j *judge) namedProperties() error {
	for i, end := range []enquiry.End{j.e.From, j.e.To} {
		k := j.boardConnector(i)
		if end.Kind != enquiry.Board || k == nil {
			continue
		}
		j.mountAsked(i, end, *k)
		if end.Series != "" {
			j.named("connector series, "+endName[i]+" end", k.ID, end.Series == k.Face.Series, k.Face.Series, end.Series,
				fmt.Sprintf("a %s board connector, %s, rated to %v", end.Series, k.Mount, j.top()))
		}
		if end.Retention != "" && k.Face.Retention != "" {
			j.named("retention, "+endName[i]+" end", k.ID, end.Retention == k.Face.Retention, string(k.Face.Retention), string(end.Retention),
				fmt.Sprintf("a %s face of %s", k.Face.Series, end.Retention))
		}
		j.thicknessAsked(i, end, *k)
	}
	if asked, c := j.e.Path.Construction, j.s.Cable; asked != "" && c != nil {
		j.named("construction of the cable", c.ID, c.Construction == asked, string(c.Construction), string(asked), fmt.Sprintf("a %s cable rated to %v", asked, j.top()))
	}
	j.delivery()
	return nil
}

// named judges a property that has a name and no number.
func (j *judge) named(limit, id string, ok bool, is, asked, needs string) {
	m := Margin{Limit: limit, Worst: math.NaN(), Likely: math.NaN(), LimitValue: math.NaN(), Margin: math.NaN(), Element: id, Source: "the enquiry and the datasheet",
		Why: fmt.Sprintf("%s is %s, %s is asked", id, orElse(is, "not stated"), asked)}
	switch {
	case is == "":
		m.Verdict = NotAssessed
	case !ok:
		m.Verdict = Fails
		j.Gaps = append(j.Gaps, Gap{Axis: axisOf(limit), Asked: asked, Best: fmt.Sprintf("%s (%s)", is, id), Cause: NotYetBuilt, Needs: needs})
	}
	j.Margins = append(j.Margins, m)
}

// axisOf is a limit's name without the end at which it is judged.
func axisOf(limit string) string {
	name, _, _ := strings.Cut(limit, ",")
	return name
}

func (j *judge) mountAsked(i int, end enquiry.End, k part.BoardConnector) {
	var asked []string
	ok := true
	if len(end.Mounts) > 0 {
		var names []string
		for _, m := range end.Mounts {
			names = append(names, string(m))
		}
		asked, ok = append(asked, strings.Join(names, " or ")), slices.Contains(end.Mounts, k.Mount)
	}
	if end.Solderless != nil && *end.Solderless {
		asked, ok = append(asked, "solderless"), ok && k.Mount.Solderless()
	}
	if len(asked) > 0 {
		text := strings.Join(asked, ", ")
		j.named("mount, "+endName[i]+" end", k.ID, ok, string(k.Mount), text, fmt.Sprintf("a board connector mounted as asked (%s), rated to %v", text, j.top()))
	}
}

func (j *judge) thicknessAsked(i int, end enquiry.End, k part.BoardConnector) {
	t := BoardThickness(end, j.s.Layouts)
	if t == nil {
		return
	}
	m := Margin{Limit: "board thickness, " + endName[i] + " end", Unit: "mm", Worst: math.NaN(), Likely: math.NaN(), LimitValue: units.In(*t, "mm"), Margin: math.NaN(), Element: k.ID, Source: k.Source}
	side := func(bound, margin units.Length, text string) {
		if x := units.In(margin, "mm"); !(x >= m.Margin) { // the nearer of the two, first of all NaN
			m.Worst, m.Margin = units.In(bound, "mm"), x
			m.Verdict, m.Why = verdict(x+1e-9, x+1e-9, false), fmt.Sprintf("%s fits boards %s %s, this one is %s", k.ID, text, mm(bound), mm(*t))
		}
	}
	if k.BoardMax != nil {
		side(*k.BoardMax, *k.BoardMax-*t, "to")
	}
	if k.BoardMin != nil {
		side(*k.BoardMin, *t-*k.BoardMin, "from")
	}
	switch {
	case k.BoardMin == nil && k.BoardMax == nil && !k.Mount.Edge():
		return // it sits on the board's face
	case k.BoardMin == nil && k.BoardMax == nil:
		m.Verdict, m.Why = NotAssessed, fmt.Sprintf("%s does not state which boards its edge mount fits", k.ID)
	case m.Verdict == Fails:
		j.Gaps = append(j.Gaps, Gap{Axis: "board thickness", Asked: mm(*t), Best: fmt.Sprintf("%s (%s)", mm(units.Length(m.Worst*1e-3)), k.ID), Cause: NotYetBuilt, Needs: fmt.Sprintf("the same connector for a board of %s", mm(*t))})
	}
	j.Margins = append(j.Margins, m)
}

// delivery compares the longest time of delivery with what is left.
func (j *judge) delivery() {
	asked := j.e.Commercial.LeadTime
	if asked == nil {
		return
	}
	m := Margin{Limit: "lead time", Unit: "d", Worst: math.NaN(), Likely: math.NaN(), LimitValue: units.In(*asked, "d"), Margin: math.NaN(), Source: "the parts' times of delivery, without assembly"}
	var silent []string
	longest := units.Time(-1)
	for _, row := range j.Prediction.Rows {
		switch {
		case row.Part == "" || slices.Contains(silent, row.Part):
		case row.LeadTime == nil:
			silent = append(silent, row.Part)
		case *row.LeadTime > longest:
			longest, m.Element = *row.LeadTime, row.Part
		}
	}
	if longest >= 0 {
		m.Worst, m.Margin = units.In(longest, "d"), units.In(*asked-longest, "d")
		m.Verdict = verdict(m.Margin, m.Margin, false)
		m.Why = fmt.Sprintf("%s takes %.0f days, %.0f are left", m.Element, m.Worst, m.LimitValue)
	}
	switch {
	case m.Verdict == Fails:
		j.Gaps = append(j.Gaps, Gap{Axis: "lead time", Asked: fmt.Sprintf("%.0f days", m.LimitValue), Best: fmt.Sprintf("%.0f days (%s)", m.Worst, m.Element), Cause: Process, Needs: "stock of it, or a part in its place that is at hand"})
	case len(silent) > 0:
		m.Verdict = NotAssessed
		m.Why = strings.TrimPrefix(m.Why+fmt.Sprintf("; no time of delivery is stated for %s", join(silent)), "; ")
		for _, id := range silent {
			j.ask(enquiry.Question{Field: "catalogue: lead_time of " + id, Text: fmt.Sprintf("In which time is %s delivered?", id), Changes: fmt.Sprintf("%.0f days are left", m.LimitValue)})
		}
	}
	j.Margins = append(j.Margins, m)
}
