package assess

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"linewright/hardware/board"
	"linewright/hardware/chain"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// unseen sorts the elements whose first higher mode is not known: parts whose
// maker rates them to the top, parts whose rating ends below it or is not
// stated, launches, and what else lies between.
type unseen struct{ rated, unrated, launches, others []int }

// modes compares the chain's lowest mode limit with what must be mode-free. A
// limit is met only where every cross-section is known: a rating that stands in
// for one vouches for no more than at risk, and what has neither leaves the
// limit open.
func (j *judge) modes() error {
	top, source := j.top(), "top of the band"
	if j.e.ModeFreeTo != nil {
		top, source = max(top, *j.e.ModeFreeTo), "mode_free_to"
	}
	p := j.Prediction
	first, blind := j.firstMode(top)
	if first.Element != p.ModeFree.Element { // the ring of a launch: the ledger says so too
		j.Prediction.ModeFree = first
		ring := chain.First{Axis: "mode", Element: first.Element, Value: fmt.Sprintf("%s %s from %v", first.Name, first.Mode, first.CrossSection.ModeFree), Number: float64(first.CrossSection.ModeFree)}
		firsts := slices.DeleteFunc(slices.Clone(p.Firsts), func(x chain.First) bool { return x.Axis == "mode" })
		j.Prediction.Firsts = append([]chain.First{ring}, firsts...)
	}
	m := Margin{Limit: "mode-free limit", LimitValue: units.In(top, "GHz"), Likely: math.NaN(), Unit: "GHz", Conditions: []Condition{{"limit from", source}}}
	if first.Element >= 0 {
		m.Worst = units.In(first.CrossSection.ModeFree, "GHz")
		m.Element, m.Source = p.Rows[first.Element].Name, "exact cutoff of "+first.Mode+", "+first.Basis
		m.Why = fmt.Sprintf("the %s of %s is the first to carry another mode (%s)", first.Name, m.Element, first.Mode)
	} else {
		m.Worst, m.Source = math.Inf(1), "the parts' ratings: no cross-section is stated"
		for _, row := range p.Rows {
			if row.Rated != nil && units.In(*row.Rated, "GHz") < m.Worst {
				m.Worst, m.Element = units.In(*row.Rated, "GHz"), row.Name
			}
		}
		m.Why = "no cross-section is stated"
		if math.IsInf(m.Worst, 1) {
			m.Worst, m.Why = math.NaN(), "no element states a cross-section or a rating"
		}
	}
	m.Margin = m.Worst - m.LimitValue
	m.Verdict = verdict(m.Margin, m.Margin, false)
	switch {
	case first.Element < 0 && !(m.Margin >= 0): // a rating that ends too low says nothing of modes
		m.Verdict = NotAssessed
	case m.Verdict == Fails:
		if p.Rows[first.Element].Part != "" { // a launch or a board line is drawn anew
			j.Gaps = append(j.Gaps, Gap{Axis: "mode-free limit", Asked: top.String(), Best: fmt.Sprintf("%v (%s)", first.CrossSection.ModeFree, m.Element), Cause: Physics,
				Needs: "a smaller cross-section there: at fixed impedance a higher limit always means smaller diameters"})
		}
		j.Margins = append(j.Margins, m)
		return nil
	}
	j.notSeen(&m, blind, top)
	j.Margins = append(j.Margins, m)
	return nil
}

// firstMode is the chain's lowest mode limit, the via rings of its launches
// included where the checks of the launch know them, and what is not seen.
func (j *judge) firstMode(top units.Frequency) (first chain.ModeLimit, blind unseen) {
	p := j.Prediction
	first = p.ModeFree
	for _, k := range p.NoMode {
		row := p.Rows[k]
		switch {
		case k < len(j.s.Roles) && j.s.Roles[k] == chain.RoleJoint: // a gap lies in the bore of its joint
		case row.Kind == launchKind:
			ring, known := j.launchModes(k)
			if !known {
				blind.launches = append(blind.launches, k)
			} else if ring != nil && ring.ModeFree < first.CrossSection.ModeFree {
				first = chain.ModeLimit{Element: k, CrossSection: *ring}
			}
		case row.Part != "" && row.Rated != nil && *row.Rated >= top*(1-1e-12):
			blind.rated = append(blind.rated, k)
		case row.Part != "":
			blind.unrated = append(blind.unrated, k)
		default:
			blind.others = append(blind.others, k)
		}
	}
	return first, blind
}

// launchKind is the kind of an element that is a board launch.
const launchKind = "launch"

// launchEnd returns the enquiry's end at which the launch, element k, stands;
// ok is false for one that stands at neither.
func (j *judge) launchEnd(k int) (end int, ok bool) {
	var all []int
	for i, row := range j.Prediction.Rows {
		if row.Kind == launchKind {
			all = append(all, i)
		}
	}
	from, to := j.e.From.Kind == enquiry.Board, j.e.To.Kind == enquiry.Board
	switch {
	case from && k == all[0]:
		return 0, true
	case to && k == all[len(all)-1]:
		return 1, true
	}
	return 0, false
}

// launchModes returns the via ring of the launch, element k, as a
// cross-section. known is true without a ring too, at the board's edge, where a
// microstrip has no ground vias and the rows beside another line are judged in a
// margin of their own.
func (j *judge) launchModes(k int) (ring *chain.CrossSection, known bool) {
	end, ok := j.launchEnd(k)
	if !ok {
		return nil, false
	}
	edge := false
	if b := j.boardConnector(end); b != nil {
		edge = b.Mount.Edge()
	}
	if l := j.endOf(end).Line; edge && l != nil && l.Kind == board.Microstrip {
		known = true // it runs out to the edge without ground beside it: no vias to judge
	}
	for _, x := range j.LaunchNotes {
		if x.End != endField[end] && x.End != bothEnds || x.Unit != "GHz" || math.IsNaN(x.Value) {
			continue
		}
		switch {
		case x.Rule == "L5":
			return &chain.CrossSection{Name: "via ring", Mode: "TE11", ModeFree: units.Frequency(x.Value * 1e9), Basis: "its diameters and permittivity, taken as solid walls"}, true
		case x.Rule == "L8" && edge:
			known = true
		}
	}
	return nil, known
}

// notSeen weakens a mode limit by what is not seen, and asks for it.
func (j *judge) notSeen(m *Margin, blind unseen, top units.Frequency) {
	p := j.Prediction
	names := func(ks []int) string {
		var out []string
		for _, k := range ks {
			out = append(out, p.Rows[k].Name)
		}
		return join(out)
	}
	parts := append(append([]int(nil), blind.unrated...), blind.rated...)
	if len(parts) > 0 {
		changes := "the mode-free limit is not assessed until it is known"
		if len(blind.unrated) == 0 {
			changes = fmt.Sprintf("the maker's rating stands in for it: the mode-free limit to %v stays at risk until it is known", top)
		}
		for _, k := range parts {
			id := p.Rows[k].Part
			j.ask(enquiry.Question{Field: "catalogue: cross-sections of " + id, Text: fmt.Sprintf("From which frequency does %s carry a second mode?", id), Changes: changes})
		}
	}
	if len(blind.rated) > 0 {
		m.Verdict = max(m.Verdict, AtRisk)
		m.Why += fmt.Sprintf("; not seen: the cross-sections of %s, for which their rating stands in", names(blind.rated))
	}
	if len(blind.unrated) > 0 {
		m.Verdict = NotAssessed
		m.Why += fmt.Sprintf("; not seen: the cross-sections of %s, and no rating to %v stands in for them", names(blind.unrated), top)
	}
	if len(blind.launches) > 0 {
		m.Verdict = NotAssessed
		m.Why += fmt.Sprintf("; not seen: the ground vias of %s, which are not drawn yet", names(blind.launches))
		for _, k := range blind.launches {
			j.askGroundVias(k, top)
		}
	}
	if len(blind.others) > 0 {
		m.Verdict = NotAssessed
		var why []string
		for _, k := range blind.others {
			name := p.Rows[k].Name
			why = append(why, name+": "+orElse(p.Rows[k].ModesOpen, "no cross-section is known"))
			if p.Rows[k].Kind == "board line" && (j.asked("from.fence.row_width") || j.asked("to.fence.row_width")) {
				continue // the same ground vias
			}
			j.ask(enquiry.Question{Field: "chain: modes of " + name, Text: fmt.Sprintf("From which frequency does %s carry another mode?", name), Changes: "the mode-free limit is not assessed until it is known"})
		}
		m.Why += "; not seen: " + strings.Join(why, "; ")
	}
}

// askGroundVias asks for what decides the modes of a launch: the ring about a
// via, the rows beside a line that ends at the board's edge.
func (j *judge) askGroundVias(k int, top units.Frequency) {
	end, ok := j.launchEnd(k)
	if !ok {
		return
	}
	const changes = "the mode-free limit is the lowest of the chain's cross-sections, the launch's included: not assessed until they are drawn"
	if b := j.boardConnector(end); b != nil && b.Mount.Edge() {
		j.ask(enquiry.Question{Field: endField[end] + ".fence.row_width", Text: fmt.Sprintf("How far apart will the rows of ground vias beside the line stand, to be free of modes to %v?", top), Changes: changes})
		return
	}
	j.ask(enquiry.Question{Field: endField[end] + ".ring", Text: fmt.Sprintf("How wide will the ring of ground vias be, wall to wall, and how thick the via in it, to be free of modes to %v?", top), Changes: changes})
}
