package assess

import (
	"fmt"
	"math"
	"reflect"
	"strings"

	"linewright/hardware/board"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/job/enquiry"
	"linewright/physics/units"
)

// LaunchFinding is one elementary check of the launch at an end of the chain.
type LaunchFinding struct {
	End string // "from", "to"; bothEnds when they do not differ
	launch.Finding
}

const bothEnds = "both ends"

// launches goes through the elementary rules at every end that is a board.
func (j *judge) launches() error {
	top := units.Frequency(j.Prediction.Frequency[len(j.Prediction.Frequency)-1])
	if j.e.ModeFreeTo != nil {
		top = max(top, *j.e.ModeFreeTo)
	}
	var ends []string
	var inputs []launch.Input
	var found [][]launch.Finding
	for i, end := range []enquiry.End{j.e.From, j.e.To} {
		if end.Kind != enquiry.Board {
			continue
		}
		ends = append(ends, [...]string{"from", "to"}[i])
		in := j.launchInput(i, end, top)
		in.ReturnLoss = j.launchReturnLoss(end)
		if len(inputs) == 1 && reflect.DeepEqual(in, inputs[0]) { // a check solves cross-sections: not twice
			found = append(found, found[0])
		} else {
			found = append(found, launch.Check(in))
		}
		inputs = append(inputs, in)
		j.launchQuestions(ends[len(ends)-1], end)
	}
	if len(found) == 0 {
		return nil
	}
	if len(found) == 2 && sameFindings(found[0], found[1]) {
		ends, found = []string{bothEnds}, found[:1]
	}
	for i, fs := range found {
		for _, x := range fs {
			j.LaunchNotes = append(j.LaunchNotes, LaunchFinding{ends[i], x})
			j.launchMargin(ends[i], x, top)
			j.launchGap(x)
		}
	}
	j.launchRemarks(top)
	return nil
}

// boardConnector returns the board connector at an end, 0 from or 1 to; nil
// when the chain has none there.
func (j *judge) boardConnector(end int) *part.BoardConnector {
	b := j.s.Boards
	switch {
	case len(b) == 0:
		return nil
	case end == 0:
		return b[0]
	case len(b) > 1 || j.e.From.Kind != enquiry.Board:
		return b[len(b)-1]
	}
	return nil
}

// launchReturnLoss returns what the enquiry asks of a launch alone: its limits,
// else what the end states; nil when it asks nothing.
func (j *judge) launchReturnLoss(end enquiry.End) *units.Level {
	asked := end.Return
	for _, l := range j.e.Limits.ReturnLoss {
		if l.Of == enquiry.OfLaunch && l.AtLeast != nil && !l.Wish && (asked == nil || *l.AtLeast > *asked) {
			asked = l.AtLeast
		}
	}
	return asked
}

// launchInput gathers what is known of the launch at an end, 0 from or 1 to: the
// stackup and the launch that the end names, what it says itself, and the
// geometry that the chain gives there, which goes first.
func (j *judge) launchInput(i int, end enquiry.End, top units.Frequency) launch.Input {
	k := j.boardConnector(i)
	in := launch.Input{Top: top, Connector: k, Board: launch.Board{Fabricator: end.Fabricator, Thickness: end.Thickness, Finish: board.FinishKind(end.Finish)}}
	if k != nil {
		in.Mount = k.Mount
	} else if len(end.Mounts) == 1 {
		in.Mount = end.Mounts[0]
	}
	if l := end.Line; l != nil {
		in.Board.Permittivity, in.Board.Height, in.Board.Layers = l.Permittivity, l.Height, l.Layers
	}
	if p := end.Footprint; p != nil {
		in.Footprint = &launch.Footprint{Name: p.Name, Height: p.Height, Permittivity: p.Permittivity, Thickness: p.Thickness, Layers: p.Layers,
			Identity: board.Identity{Fabricator: p.Fabricator, Revision: p.Revision, Hash: p.StackupHash}}
		if s := j.s.Layouts.Stackup(p.Stackup); s != nil {
			in.Footprint.Identity = s.Identity()
		}
	}
	in.Stackup = j.s.Layouts.Stackup(end.Stackup)
	geometry := LaunchGeometry(end)
	if d := j.s.Layouts.Launch(end.Launch); d != nil {
		if in.Stackup == nil {
			in.Stackup = j.s.Layouts.Stackup(d.Stackup)
		}
		drawn := j.s.Layouts.Drawn(*d)
		another := in.Stackup != nil && len(launch.AnotherStackup(drawn.Identity, in.Stackup.Identity())) > 0
		if in.Footprint == nil || another {
			in.Footprint = &drawn
		}
		if !another && (d.Connector == "" || k == nil || d.Connector == k.ID) { // a design of something else is no geometry of this launch
			for _, x := range geometry.Clashes(d.Parameters) {
				j.noteOnce("launch %s, %s: what the enquiry says and what the launch was drawn with; the enquiry's counts", d.Name, x)
			}
			geometry = geometry.Fill(d.Parameters)
		}
	}
	if l := j.chainLaunch(i); l != nil && l.Input != nil {
		x := l.Input
		if l.Refused(k) == "" {
			geometry = x.Parameters.Fill(geometry)
		}
		in.Stackup = x.Stackup
		if x.Footprint != nil {
			in.Footprint = x.Footprint
		}
	}
	in.Parameters = geometry
	return in
}

// LaunchGeometry is what an end says of its launch itself.
func LaunchGeometry(end enquiry.End) launch.Parameters {
	var p launch.Parameters
	if l := end.Line; l != nil {
		p.Trace = launch.Trace{Kind: l.Kind, Layer: l.Layer, Width: l.Width, Gap: l.Gap}
	}
	if f := end.Fence; f != nil {
		p.Fence = launch.Fence{RowWidth: f.RowWidth, Pitch: f.Pitch, Drill: f.Drill, Rows: f.Rows}
		p.Edge.FirstVia = f.FirstVia
	}
	if r := end.Ring; r != nil {
		p.Ring = launch.Ring{Diameter: r.Diameter, Barrel: r.Barrel}
	}
	p.Mask.Clear = end.MaskClear
	return p
}

// chainLaunch is the launch that the chain itself gives at an end; nil when it
// gives none there.
func (j *judge) chainLaunch(end int) *chain.LaunchSpec {
	var all []*chain.LaunchSpec
	for _, p := range j.s.Spec.Pieces {
		if p.Launch != nil {
			all = append(all, p.Launch)
		}
	}
	switch {
	case len(all) == 0:
		return nil
	case end == 0:
		return all[0]
	case len(all) > 1 || j.e.From.Kind != enquiry.Board:
		return all[len(all)-1]
	}
	return nil
}

// sameFindings says whether two ends' checks read the same.
func sameFindings(a, b []launch.Finding) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		x, y := a[i], b[i]
		for _, v := range []*float64{&x.Value, &x.Limit, &y.Value, &y.Limit} {
			if math.IsNaN(*v) {
				*v = 0 // NaN is unequal to itself
			}
		}
		if !reflect.DeepEqual(x, y) {
			return false
		}
	}
	return true
}

// launchMargin turns the hard rules into margins: the via ring's mode limit and
// the resonance of the via rows wherever they are known, the others where they
// fail.
func (j *judge) launchMargin(end string, x launch.Finding, top units.Frequency) {
	always := x.Rule == "L5" || x.Rule == "L8"
	if x.Verdict != launch.Fails && (!always || x.Verdict != launch.OK && x.Verdict != launch.Attention) {
		return
	}
	m := Margin{Limit: "launch, " + x.Title, Worst: x.Value, Likely: math.NaN(), LimitValue: x.Limit, Margin: x.Limit - x.Value, Unit: x.Unit,
		Element: "launch, " + end, Conditions: []Condition{{"top frequency", top.String()}}, Source: x.Source, Why: x.Text}
	if x.Unit == "GHz" { // a resonance or cutoff must lie above the top
		m.LimitValue = units.In(top, "GHz")
		m.Margin = x.Value - m.LimitValue
	}
	switch x.Verdict {
	case launch.Fails:
		m.Verdict = Fails
		if x.Help != "" {
			j.way(Option{Title: x.Help, Effect: x.Text})
		}
	case launch.Attention:
		m.Verdict = AtRisk
	default:
		m.Verdict = Meets
	}
	j.Margins = append(j.Margins, m)
}

// way adds a way out once.
func (j *judge) way(o Option) {
	for _, x := range j.Ways {
		if x == o {
			return
		}
	}
	j.Ways = append(j.Ways, o)
}

// launchGap records a rule of thumb that the fabricator cannot follow.
func (j *judge) launchGap(x launch.Finding) {
	if x.Collision == nil {
		return
	}
	g := Gap{Axis: "launch: " + x.Title, Asked: fmt.Sprintf("%.2g mm (%s)", units.In(x.Collision.Demanded, "mm"), x.Collision.Rule),
		Best: fmt.Sprintf("%.2g mm (%s)", units.In(x.Collision.Makeable, "mm"), x.Collision.Maker), Cause: Process, Needs: x.Collision.Way}
	for _, y := range j.Gaps {
		if y == g {
			return
		}
	}
	j.Gaps = append(j.Gaps, g)
}

// launchQuestions asks for what a launch hangs on and an end does not say. A
// stackup that is named says it. What one end was asked is not asked again of
// the other.
func (j *judge) launchQuestions(name string, end enquiry.End) {
	if end.Stackup != "" {
		return
	}
	l := end.Line
	if l == nil {
		j.ask(enquiry.Question{Field: name + ".stackup", Text: "What is the board's stackup, with permittivity and the frequency it holds at, foil, finish and mask, and who makes it?",
			Changes: "without it the launch can be neither estimated nor designed"})
		return
	}
	for _, q := range []struct {
		missing             bool
		key, text, changing string
	}{
		{l.Permittivity == nil || l.Height == nil, "line.permittivity", "Which permittivity and height has the dielectric under the board's line?", "without them neither fence, via ring nor set-back can be judged"},
		{l.Permittivity != nil && l.PermittivityAt == nil, "line.permittivity_at", "At which frequency does the board's permittivity hold, and how was it measured?", "laminates fall by about a per cent or two between 1 GHz and millimetre waves; the line's width follows"},
		{l.Foil == "", "line.foil", "Which copper foil has the board, and how rough is it?", "rough foil can nearly double conductor loss at millimetre waves"},
		{end.MaskClear == nil, "mask_clear", "Is solder mask kept off the launch and the line?", "mask lowers the impedance and adds loss; otherwise its thickness and permittivity are needed"},
		{end.Fabricator == "", "fabricator", "Who fabricates the board, and which revision of his stackup is it?", "a footprint is issued for one stackup of one fabricator only, and his smallest drill and pitch bound the fence"},
		{end.Finish == "", "finish", "Which surface finish has the outer copper?", "nickel raises the loss of an outer line; clamped pads need hard gold"},
	} {
		if !q.missing || name == "to" && j.asked("from."+q.key) {
			continue
		}
		j.ask(enquiry.Question{Field: name + "." + q.key, Text: q.text, Changes: q.changing})
	}
}

func (j *judge) asked(field string) bool {
	for _, q := range j.Questions {
		if q.Field == field {
			return true
		}
	}
	return false
}

// launchRemarks says what goes with every launch.
func (j *judge) launchRemarks(top units.Frequency) {
	if t, ok := launch.ReturnLossTarget(top); ok {
		j.noteOnce("a single launch is usually asked to hold %v to %v: common practice", t, top)
	} else {
		j.noteOnce("no usual return loss is known for a launch to %v", top)
	}
	j.noteOnce("the launch belongs to its stackup: when the fabricator changes prepreg, foil or finish, pad, antipads, fence, set-back and line are designed again")
	j.noteOnce("plan coupons on the same panel: a 2x-thru with this launch, and a longer line")
	for _, x := range j.LaunchNotes {
		if x.Verdict == launch.Refused {
			var redo []string
			for _, r := range x.Redo {
				redo = append(redo, r.Parameter)
			}
			j.noteOnce("%s; to be redone: %s", x.Text, strings.Join(redo, ", "))
		}
	}
	if class := strings.ToUpper(j.e.Application.Class); strings.Contains(class, "5G FR2") && j.e.Application.Volume != enquiry.OneOff {
		j.noteOnce("conformance in FR2 is tested over the air: a board with connectors serves development, the product will have none")
	}
}
