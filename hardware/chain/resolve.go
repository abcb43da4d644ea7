package chain

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"linewright/hardware/board"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/internal/spell"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

// Names says whether a piece of s names a stackup or a launch, so that it must
// be resolved before it is built.
func (s Spec) Names() bool {
	for _, p := range s.Pieces {
		if p.Trace != nil && p.Trace.byGeometry() || p.Launch != nil && p.Launch.byGeometry() {
			return true
		}
	}
	return false
}

// Resolve looks up the stackups and launches that the pieces of s name and
// keeps with each piece what follows from them. What cannot be found or makes
// no sense is returned joined, each fault a [BuildError].
func (s Spec) Resolve(l launch.Layouts) error {
	var errs []error
	for i, p := range s.Pieces {
		var err error
		kind := ""
		switch {
		case p.Trace != nil:
			kind, err = "trace", p.Trace.Resolve(l)
		case p.Launch != nil:
			kind, err = "launch", p.Launch.Resolve(l)
		}
		var f *fieldError
		if errors.As(err, &f) {
			errs = append(errs, &BuildError{Chain: s.Name, Piece: i, Key: strings.TrimSuffix(kind+"."+f.key, "."), Problem: f.problem, Help: f.help})
		}
	}
	return errors.Join(errs...)
}

// fieldError is what is wrong with one field of a piece.
type fieldError struct{ key, problem, help string }

func (e *fieldError) Error() string { return e.problem + "; " + e.help }

func unknownName(key, kind, name string, known []string) error {
	help := "none is at hand: add a file for it"
	if len(known) > 0 {
		help = "there are: " + strings.Join(known, ", ")
	}
	if near := spell.Nearest(name, known, 3); near != "" {
		help = fmt.Sprintf("did you mean %s?", near)
	}
	return &fieldError{key, fmt.Sprintf("no %s is called %q", kind, name), help}
}

func findStackup(l launch.Layouts, name string) (*board.Stackup, error) {
	if s := l.Stackup(name); s != nil {
		return s, nil
	}
	var known []string
	for _, s := range l.Stackups {
		known = append(known, s.Name)
	}
	return nil, unknownName("stackup", "stackup", name, known)
}

func (t TraceSpec) byGeometry() bool {
	return t.Stackup != "" || t.Layer != "" || t.Width != nil || t.Gap != nil || t.Walls != nil
}

// Resolve solves the line of a trace that is given by its geometry on a
// stackup. A trace by its figures is left alone.
func (t *TraceSpec) Resolve(l launch.Layouts) error {
	switch {
	case !t.byGeometry():
		return nil
	case t.Stackup == "":
		return &fieldError{"", "the trace has a geometry but no stackup", "add stackup: with the name of one"}
	case t.Loss != nil || t.LossAt != nil || t.EffectivePermittivity != nil:
		return &fieldError{"", "the trace has a geometry and figures", "give either stackup, layer and width, or loss, loss_at and effective_permittivity: nothing is counted twice"}
	case t.Width == nil:
		return &fieldError{"", "the trace has no width", "add width: such as 0.5 mm"}
	}
	s, err := findStackup(l, t.Stackup)
	if err != nil {
		return err
	}
	tr := board.Trace{Kind: t.Kind, Layer: t.Layer, Width: *t.Width, Walls: t.Walls}
	if c := s.Coppers(); tr.Layer == "" && len(c) > 0 {
		tr.Layer = s.Layers[c[0]].Name
	}
	if t.Gap != nil {
		tr.Gap = *t.Gap
	}
	solved, left, err := s.Line(tr)
	t.modesOpen = ""
	if c, ok := solved.(line.Coplanar); ok && c.GroundBelow && c.Walls == 0 {
		t.modesOpen = "without ground vias beside it the waves between the grounds above and below travel at every frequency"
	}
	if err == nil {
		solved, err = line.Prepare(solved)
	}
	if err != nil {
		var e *board.LayerError
		if errors.As(err, &e) {
			where := "stackup " + e.Stackup
			if e.Name != "" {
				where += ", " + e.Name
			}
			key := ""
			if e.Layer < 0 && t.Layer != "" { // the layer that it names is none of the stackup's
				key = "layer"
			}
			return &fieldError{key, where + ": " + e.Problem, e.Help}
		}
		return &fieldError{"", err.Error(), "check kind, width, gap and walls against the stackup"}
	}
	t.Line, t.LeftOut, t.Drawn = solved, left, &Drawn{*s, tr}
	return nil
}

func (l LaunchSpec) byGeometry() bool { return l.Stackup != "" || l.Design != "" || l.Geometry != nil }

// Resolve gathers what is known of a launch that is given by its geometry: the
// design that it names, what it says beside it, and the stackup. A launch whose
// design belongs to another stackup is not an error here: it gets no estimate,
// and the piece says why.
func (l *LaunchSpec) Resolve(at launch.Layouts) error {
	if !l.byGeometry() {
		return nil
	}
	if l.ReturnLoss == nil && (l.Loss != nil || l.LossAt != nil || l.Delay != nil) {
		return &fieldError{"", "a loss or a delay beside a geometry", "take them out: an estimate states its own; or add return_loss, then the figures count"}
	}
	in := launch.Input{}
	name, drawnFor := l.Stackup, ""
	if l.Geometry != nil {
		in.Parameters = *l.Geometry
	}
	l.doubt = ""
	if l.Design != "" {
		d := at.Launch(l.Design)
		if d == nil {
			var known []string
			for _, d := range at.Launches {
				known = append(known, d.Name)
			}
			return unknownName("design", "launch", l.Design, known)
		}
		in.Parameters = in.Parameters.Fill(d.Parameters)
		if name == "" {
			name = d.Stackup
		}
		drawnFor = d.Connector
		drawn := at.Drawn(*d)
		in.Footprint = &drawn
	}
	if name == "" {
		return &fieldError{"", "the launch has a geometry but no stackup", "add stackup: with the name of one"}
	}
	s, err := findStackup(at, name)
	if err != nil {
		return err
	}
	in.Stackup = s
	if in.Footprint != nil {
		if why := launch.AnotherStackup(in.Footprint.Identity, s.Identity()); len(why) > 0 {
			l.doubt = fmt.Sprintf("%s was drawn for another stackup than %s (%s): refused", in.Footprint.Name, s.Name, strings.Join(why, "; "))
		}
	}
	l.Input, l.connector = &in, drawnFor
	return nil
}

// Refused says why the design that a launch names counts for nothing beside
// board connector k, which may be nil: it was drawn for another stackup or for
// another connector. Empty: it counts.
func (l LaunchSpec) Refused(k *part.BoardConnector) string {
	switch {
	case l.doubt != "":
		return l.doubt
	case l.connector != "" && k != nil && l.connector != k.ID:
		return fmt.Sprintf("launch %s was drawn for %s, %s stands here", l.Design, l.connector, k.ID)
	}
	return ""
}

// estimated returns the launch as an element by closed formulas, beside the
// board connector it joins; nil with the reason when there is no estimate.
func (l LaunchSpec) estimated(where string, k *part.BoardConnector, turned bool) (Element, string) {
	in := *l.Input
	in.Connector = k
	if why := l.Refused(k); why != "" {
		return nil, why
	}
	if _, err := launch.Estimate(in, []float64{1e9}); err != nil {
		return nil, "not estimated: " + err.Error()
	}
	source := orElse(l.Design, "launch by its geometry")
	if l.Design != "" {
		source = "launch " + l.Design
	}
	return EstimatedLaunch{Where: where, Input: in, Turned: turned, Source: fmt.Sprintf("%s on stackup %s, %s", source, in.Stackup.Name, launch.EstimateStep), ModeFree: l.ModeFree}, ""
}

// EstimatedLaunch is a board launch by its geometry, from the closed formulas
// of [launch.Estimate]: a trend. Its reflection counts as typical, at the
// largest that its pieces can add up to, so that no verdict on it is better
// than at risk.
type EstimatedLaunch struct {
	Where    string
	Input    launch.Input
	Turned   bool // the board's line on its left, the connector on its right
	Source   string
	ModeFree *units.Frequency // stated limit of its via ring; nil: from its geometry
}

// Facts implements [Element].
func (x EstimatedLaunch) Facts() Facts {
	f := launchFacts(x.Where, x.Source, x.ModeFree)
	if m := x.Input.ModeFreeLimit(); x.ModeFree == nil && m > 0 && !math.IsInf(m, 1) {
		f.CrossSections = []CrossSection{{Name: "via ring", Mode: "TE11", ModeFree: units.Frequency(m), Basis: "its diameters and permittivity, taken as solid walls"}}
	}
	return f
}

// Respond implements [Element].
func (x EstimatedLaunch) Respond(f []float64, _ Conditions) (Response, error) {
	e, n, err := x.estimate(f)
	if err != nil {
		return Response{}, err
	}
	r := FromNetwork(n)
	if len(f) == 1 {
		r.Delay = delayAt(f[0], func(g []float64) (network.Network, error) {
			_, n, err := x.estimate(g)
			return n, err
		})
	}
	for i, b := range e.Bound {
		r.Left[i], r.Right[i] = math.Max(r.Left[i], b), math.Max(r.Right[i], b)
	}
	r.Unvouched.LossLeftOut = true
	r.Step, r.Typical, r.Source = ClosedFormula, true, x.Source
	r.note(Remark, "%s: %s; left out: %s", x.Where, e.Step, strings.Join(e.LeftOut, ", "))
	return r, nil
}

// estimate returns the estimate and its network with the chain's left at port 0.
func (x EstimatedLaunch) estimate(f []float64) (launch.Estimated, network.Network, error) {
	e, err := launch.Estimate(x.Input, f)
	if err != nil {
		return e, network.Network{}, fmt.Errorf("%s: %w", x.Where, err)
	}
	if x.Turned {
		n, err := e.Network.Reorder(1, 0)
		return e, n, err
	}
	return e, e.Network, nil
}
