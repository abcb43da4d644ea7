package chain

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"linewright/hardware/board"
	"linewright/hardware/catalogue"
	"linewright/hardware/launch"
	"linewright/hardware/part"
	"linewright/hardware/series"
	"linewright/internal/spell"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

// Spec is a chain as its file says it: what stands where, by catalogue id or by
// its own figures. It is what gets ranked, toleranced, drawn and compared with
// a measurement.
type Spec struct {
	Name       string
	Note       string
	Enquiry    string // the enquiry it answers, if any
	LeftPlane  string // in words: "solder edge of the near board"
	RightPlane string
	Pieces     []PieceSpec
}

// PieceSpec is one piece. Exactly one of Part, Launch, Trace, Gap, File, Body
// and Section is given.
type PieceSpec struct {
	Name    string        // where it stands; empty: from its kind
	Part    string        // catalogue id
	Length  *units.Length // of a cable
	Turned  bool          // an adapter or bullet with its right face to the left
	Inside  bool          // a connector whose reflection a neighbouring launch counts
	Launch  *LaunchSpec
	Trace   *TraceSpec
	Gap     *GapSpec
	File    *FileSpec
	Body    *BodySpec
	Section *SectionSpec
}

// LaunchSpec is a board launch: known by a bound, or by its geometry, from which
// a trend is estimated. Where both are given the bound counts.
type LaunchSpec struct {
	ReturnLoss *units.Level
	Loss       *units.Level
	LossAt     *units.Frequency
	Delay      *units.Time
	Source     string
	ModeFree   *units.Frequency // limit of its via ring
	Step       Step             `file:"-"`
	Typical    bool
	Stackup    string             // name of the stackup it stands on; empty: its design's
	Design     string             // name of a launch
	Geometry   *launch.Parameters // beside what the design says, or in its place
	Response   *Response          `file:"-"` // a solved launch, in place of the bound
	Input      *launch.Input      `file:"-"` // what is known of its geometry: set by Resolve
	connector  string             // that its design was drawn for: set by Resolve
	doubt      string             // why its design counts for nothing here: set by Resolve
}

// TraceSpec is a stretch of board line, by its figures or by its geometry on a
// stackup.
type TraceSpec struct {
	Length                units.Length
	Loss                  *units.Level // of the whole length
	LossAt                *units.Frequency
	EffectivePermittivity *float64
	Kind                  board.TraceKind
	Stackup               string // name of the stackup it stands on
	Layer                 string // copper layer; empty: the top one
	Width                 *units.Length
	Gap                   *units.Length // coplanar: of each slot
	Walls                 *units.Length // coplanar: between the via rows, taken as solid walls
	Source                string
	Line                  line.Line `file:"-"` // the solved line: set by Resolve
	LeftOut               []string  `file:"-"` // what of the stackup it leaves out: set by Resolve
	Drawn                 *Drawn    `file:"-"` // what the line was solved from: set by Resolve
	modesOpen             string    // why its modes do not tell it all: set by Resolve
}

// Drawn is a trace on its stackup: what a solved line was solved from, and with
// the stackup's tolerances what others of its kind may be.
type Drawn struct {
	Stackup board.Stackup
	Trace   board.Trace
}

// GapSpec is an unseated push-on joint.
type GapSpec struct {
	Opening   units.Length
	Impedance units.Resistance
}

// FileSpec is a piece known by a Touchstone file.
type FileSpec struct {
	Path        string
	Planes      string // between which planes it stands
	Includes    string
	ModeFree    *units.Frequency
	Temperature *units.Temperature // at which its figures stand; nil: not stated
	Network     *network.Network   `file:"-"`
	Header      *touchstone.Header `file:"-"` // what the file says of itself, if it does
}

// Role says which limit judges a piece.
type Role string

// The roles: a launch and its board connector, a push-on joint, a cable
// connector, a cable, or another piece.
const (
	RoleLaunch    Role = "launch"
	RoleJoint     Role = "joint"
	RoleConnector Role = "connector"
	RoleCable     Role = "cable"
	RoleOther     Role = ""
)

// Built is a chain made of a [Spec], with the parts it was made of.
type Built struct {
	Chain
	Spec       Spec
	Roles      []Role // one per element
	Cable      *part.Cable
	Length     units.Length
	Connectors []*part.CableConnector // from the left
	Boards     []*part.BoardConnector
	Bullet     *part.Bullet
	Adapters   []*part.Adapter
	Joins      []Join
}

// Join is where two faces meet inside the chain.
type Join struct {
	Left, Right part.Face
	LeftPart    string
	RightPart   string
	Mating      series.Mating
	Genders     bool // they go together
}

// A BuildError says which piece cannot be built and why.
type BuildError struct {
	Chain   string
	Piece   int    // from 0
	Key     string // of the piece, where one is meant: "trace.stackup"
	Problem string
	Help    string
}

func (e *BuildError) Error() string {
	return fmt.Sprintf("chain %s, piece %d: %s; %s", e.Chain, e.Piece+1, e.Problem, e.Help)
}

// Build makes the chain that spec describes from the parts of cat. It refuses
// a piece that names no known part; whether faces mate is judged, not refused:
// see Joins.
func Build(spec Spec, cat catalogue.Catalogue) (Built, error) {
	b := Built{Chain: Chain{Name: spec.Name, LeftPlane: spec.LeftPlane, RightPlane: spec.RightPlane}, Spec: spec}
	var open *part.Face // the face that waits for its mate
	var openPart string
	for i, p := range spec.Pieces {
		fail := func(problem, help string, args ...any) (Built, error) {
			return Built{}, &BuildError{Chain: spec.Name, Piece: i, Problem: problem, Help: fmt.Sprintf(help, args...)}
		}
		meet := func(face part.Face, id string) {
			if open != nil {
				b.Joins = append(b.Joins, Join{Left: *open, Right: face, LeftPart: openPart, RightPart: id,
					Mating: series.Mate(open.Series, face.Series), Genders: open.Gender.Mates(face.Gender)})
			}
			open = nil
		}
		add := func(e Element, r Role) {
			b.Elements = append(b.Elements, e)
			b.Roles = append(b.Roles, r)
		}
		if n := p.kinds(); n != 1 {
			return fail(fmt.Sprintf("%d kinds of piece are given", n), "give exactly one of part, launch, trace, gap, file, body and section")
		}
		switch {
		case p.Launch != nil:
			open = nil // a board lies between
			if p.Launch.byGeometry() && p.Launch.Input == nil {
				return fail("the launch's geometry was not resolved", "look its stackup up before the chain is built")
			}
			k, turned := joined(cat, spec.Pieces, i)
			add(launchElement(p.Name, *p.Launch, k, turned), RoleLaunch)
		case p.Trace != nil:
			open = nil
			if p.Trace.byGeometry() && p.Trace.Line == nil {
				return fail("the trace's geometry was not resolved", "look its stackup up before the chain is built")
			}
			t := Trace{Where: p.Name, Length: p.Trace.Length, Line: p.Trace.Line, Source: p.Trace.Source, Stackup: p.Trace.Stackup, LeftOut: p.Trace.LeftOut, ModesOpen: p.Trace.modesOpen, Drawn: p.Trace.Drawn}
			if p.Trace.Loss != nil {
				t.Loss = *p.Trace.Loss
				if p.Trace.LossAt == nil {
					return fail("the trace's loss has no frequency", "add loss_at")
				}
				t.LossAt = *p.Trace.LossAt
			}
			if p.Trace.EffectivePermittivity != nil {
				t.EffectivePermittivity = *p.Trace.EffectivePermittivity
			}
			add(t, RoleOther)
		case p.Gap != nil:
			add(Gap{Where: p.Name, Opening: p.Gap.Opening, Impedance: p.Gap.Impedance, Source: "stack-up of tolerances"}, RoleJoint)
		case p.Body != nil:
			if len(p.Body.Body.Sections) == 0 {
				return fail(fmt.Sprintf("the body %q was not read", p.Body.Path), "check the path; it is relative to the workspace")
			}
			add(Body{Where: p.Name, Spec: *p.Body}, RoleOther)
		case p.Section != nil:
			if p.Section.Result == nil {
				return fail(fmt.Sprintf("the section %q was not read", p.Section.Path), "check the path; it is relative to the workspace")
			}
			if !(p.Section.Length > 0) {
				return fail("the line has no length", "add length: such as 20 mm")
			}
			if n := len(p.Section.Result.Conductors); n != 1 {
				return fail(fmt.Sprintf("%q has %d signal conductors", p.Section.Path, n), "a piece of a chain has one; name the others ground")
			}
			add(Section{Where: p.Name, Spec: *p.Section}, RoleOther)
		case p.File != nil:
			if p.File.Network == nil {
				return fail(fmt.Sprintf("the file %q was not read", p.File.Path), "check the path; it is relative to the workspace")
			}
			if p.File.Network.Ports != 2 {
				return fail(fmt.Sprintf("%q has %s", p.File.Path, spell.Count(p.File.Network.Ports, "port")), "a piece of a chain is a two-port")
			}
			add(File{Where: p.Name, Spec: *p.File}, RoleOther)
		default:
			if c, ok := cat.Cable(p.Part); ok {
				if p.Length == nil || !(*p.Length > 0) {
					return fail(fmt.Sprintf("cable %s has no length", p.Part), "add length: such as 0.6 m")
				}
				if b.Cable == nil {
					b.Cable, b.Length = &c, *p.Length
				}
				add(Cable{Part: c, Length: *p.Length, Where: orElse(p.Name, "cable")}, RoleCable)
				continue
			}
			if k, ok := cat.CableConnector(p.Part); ok {
				if i > 0 && isCable(cat, spec.Pieces[i-1].Part) {
					open, openPart = &k.Face, k.ID // the cable is behind it
				} else {
					meet(k.Face, k.ID)
				}
				b.Connectors = append(b.Connectors, &k)
				add(Connector{Common: k.Common, Kind: "cable connector", Where: p.Name, Series: seriesOf(cat, k.Face), Loss: k.Loss, Reflection: k.Reflection, ElectricalLength: k.ElectricalLength,
					PairShare: pairShare(k.Loss), Contained: p.Inside}, RoleConnector)
				continue
			}
			if k, ok := cat.BoardConnector(p.Part); ok {
				if open != nil {
					meet(k.Face, k.ID)
				} else {
					open, openPart = &k.Face, k.ID // the board is behind it
				}
				b.Boards = append(b.Boards, &k)
				add(Connector{Common: k.Common, Kind: "board connector", Where: p.Name, Series: seriesOf(cat, k.Face), Loss: k.Loss, Reflection: k.Reflection, ElectricalLength: k.ElectricalLength,
					PairShare: pairShare(k.Loss), Contained: p.Inside}, RoleLaunch)
				continue
			}
			if k, ok := cat.Adapter(p.Part); ok {
				l, r := k.Left, k.Right
				if p.Turned {
					l, r = r, l
				}
				meet(l, k.ID)
				open, openPart = &r, k.ID
				b.Adapters = append(b.Adapters, &k)
				add(Connector{Common: k.Common, Kind: "adapter", Where: p.Name, Series: seriesOf(cat, l, r), Loss: k.Loss, Reflection: k.Reflection, ElectricalLength: k.ElectricalLength}, RoleConnector)
				continue
			}
			if k, ok := cat.Bullet(p.Part); ok {
				l, r := k.Left, k.Right
				if p.Turned {
					l, r = r, l
				}
				meet(l, k.ID)
				open, openPart = &r, k.ID
				b.Bullet = &k
				add(Connector{Common: k.Common, Kind: "bullet", Where: p.Name, Series: seriesOf(cat, l, r), Loss: k.Loss, Reflection: k.Reflection, ElectricalLength: k.ElectricalLength}, RoleConnector)
				continue
			}
			return fail(fmt.Sprintf("no part is called %q", p.Part), "the catalogue holds %d parts; list them with: linewright catalogue list", cat.Len())
		}
	}
	b.nameElements()
	return b, nil
}

func isCable(cat catalogue.Catalogue, id string) bool {
	_, ok := cat.Cable(id)
	return ok
}

func (p PieceSpec) kinds() int {
	n := 0
	for _, given := range []bool{p.Part != "", p.Launch != nil, p.Trace != nil, p.Gap != nil, p.File != nil, p.Body != nil, p.Section != nil} {
		if given {
			n++
		}
	}
	return n
}

// pairShare splits a mated pair's figure between its two items.
func pairShare(l part.Loss) float64 {
	if l.Per == part.PerPair {
		return 0.5
	}
	return 1
}

func seriesOf(cat catalogue.Catalogue, faces ...part.Face) []series.Series {
	var out []series.Series
	for _, f := range faces {
		if s, ok := cat.LookupSeries(f.Series); ok {
			out = append(out, s)
		}
	}
	return out
}

// joined returns the board connector that the launch at piece i joins, which may
// be nil, and whether it stands to the launch's right.
func joined(cat catalogue.Catalogue, ps []PieceSpec, i int) (k *part.BoardConnector, turned bool) {
	if i > 0 {
		if k, ok := cat.BoardConnector(ps[i-1].Part); ok {
			return &k, false
		}
	}
	if i+1 < len(ps) {
		if k, ok := cat.BoardConnector(ps[i+1].Part); ok {
			return &k, true
		}
	}
	return nil, false
}

func launchFacts(where, source string, modeFree *units.Frequency) Facts {
	f := Facts{Name: orElse(where, "launch"), Kind: "launch", Source: source, Description: "board launch", Price: &units.Money{}, Mass: new(units.Mass)}
	if modeFree != nil {
		f.CrossSections = []CrossSection{{Name: "via ring", Mode: "TE11", ModeFree: *modeFree, Basis: "its diameters"}}
	}
	return f
}

func launchElement(where string, l LaunchSpec, k *part.BoardConnector, turned bool) Element {
	about := launchFacts(where, l.Source, l.ModeFree)
	if l.Response != nil {
		return Solved{About: about, Answer: *l.Response}
	}
	var notes []Note
	if l.Input != nil && l.ReturnLoss == nil {
		e, why := l.estimated(about.Name, k, turned)
		if e != nil {
			return e
		}
		notes = []Note{{Missing, about.Name + ": " + why}}
		about.Source = orElse(about.Source, why)
	}
	x := Fixed{About: about, Delay: math.NaN(), Notes: notes, Step: l.Step, Reflection: part.Reflection{ReturnLoss: l.ReturnLoss, Statistic: part.Guaranteed}}
	if l.Typical {
		x.Reflection.Statistic = part.Typical
	}
	if l.Delay != nil {
		x.Delay = float64(*l.Delay)
	}
	switch {
	case l.Loss != nil && l.LossAt != nil:
		x.Loss = part.Loss{Points: []part.LossPoint{{At: *l.LossAt, Loss: *l.Loss}}, Temperature: ptrTo(units.Celsius(25)), Statistic: part.Guaranteed}
	default: // a launch's own loss is that of a few millimetres of line: left out, and said
		zero := units.RootLevel(0)
		x.Loss = part.Loss{K: &zero, Temperature: ptrTo(units.Celsius(25)), Statistic: part.Guaranteed}
		x.LossLeftOut = true
		x.Notes = append(x.Notes, Note{Remark, about.Name + ": its own loss, that of a few millimetres of line, is left out"})
	}
	return x
}

func ptrTo[T any](x T) *T { return &x }

// Solved is an element whose response on a grid was computed elsewhere, by a
// field solver or from a file; it is interpolated in frequency.
type Solved struct {
	About  Facts
	Answer Response // its Network must be set
}

// Facts implements [Element].
func (s Solved) Facts() Facts { return s.About }

// Respond implements [Element].
func (s Solved) Respond(f []float64, cond Conditions) (Response, error) {
	if s.Answer.Network == nil {
		return Response{}, fmt.Errorf("%s: no solution is at hand", s.About.Name)
	}
	n, err := s.Answer.Network.Interpolate(f, network.Interpolation{})
	if err != nil {
		return Response{}, fmt.Errorf("%s: %w", s.About.Name, err)
	}
	r := FromNetwork(n)
	r.Step, r.Source, r.Notes, r.Typical = s.Answer.Step, s.Answer.Source, slices.Clone(s.Answer.Notes), s.Answer.Typical
	r.warm(s.About.Name, nil, cond.Temperature)
	return r, nil
}

// File is a piece known by a Touchstone file.
type File struct {
	Where string
	Spec  FileSpec
}

// Facts implements [Element].
func (x File) Facts() Facts {
	f := Facts{Name: orElse(x.Where, x.Spec.Path), Kind: "file", Description: x.Spec.Includes, Source: "file " + x.Spec.Path, Price: &units.Money{}, Mass: new(units.Mass), ModesOpen: "its file says nothing of higher modes"}
	if x.Spec.ModeFree != nil {
		f.ModesOpen = ""
		f.CrossSections = []CrossSection{{Name: "stated limit", Mode: "stated", ModeFree: *x.Spec.ModeFree, Basis: "the chain's file"}}
	}
	return f
}

// Respond implements [Element].
func (x File) Respond(f []float64, cond Conditions) (Response, error) {
	id := orElse(x.Where, x.Spec.Path)
	n, err := x.Spec.Network.Renormalise(50)
	if err != nil {
		return Response{}, fmt.Errorf("%s, file %s: %w", id, x.Spec.Path, err)
	}
	h := x.Spec.Header
	if h == nil {
		h = &touchstone.Header{}
	}
	m := part.Model{File: x.Spec.Path, Planes: x.Spec.Planes, Network: &n, Temperature: x.Spec.Temperature}
	if m.Planes == "" && len(h.Ports) == 2 && h.Ports[0].Plane != "" && h.Ports[1].Plane != "" {
		m.Planes = h.Ports[0].Plane + " to " + h.Ports[1].Plane
	}
	if m.Temperature == nil && h.Temperature > 0 {
		m.Temperature = ptrTo(units.Temperature(h.Temperature))
	}
	resp, err := modelResponse(m, id, f, cond.Temperature)
	if err != nil {
		return resp, err
	}
	switch {
	case strings.HasPrefix(h.Origin, FieldOrigin):
		resp.Step, resp.Source = FieldSolve, "field solve, file "+x.Spec.Path
	case strings.HasPrefix(h.Origin, MatchingOrigin):
		resp.Step, resp.Source = SectionSolve, "mode matching, file "+x.Spec.Path
	default:
		return resp, nil
	}
	if h.Limits != "" {
		resp.note(Remark, "%s: the file says of itself: %s", id, h.Limits)
	}
	return resp, nil
}

// What the origin of a model begins with when we solved it; by it the ledger
// tells the rung of the ladder on which a file stands.
const (
	FieldOrigin    = "simulated: field solve"
	MatchingOrigin = "simulated: mode matching"
)

// nameElements gives every element a name of its own: two of one kind become
// "near" and "far". It also keeps each element's facts, which do not change.
func (b *Built) nameElements() {
	facts := make([]Facts, len(b.Elements))
	count, seen := map[string]int{}, map[string]int{}
	for i, e := range b.Elements {
		facts[i] = e.Facts()
		count[facts[i].Name]++
	}
	for i, e := range b.Elements {
		f := facts[i]
		name := f.Name
		switch n := count[name]; {
		case n == 2:
			f.Name = [...]string{"near ", "far "}[seen[name]] + name
		case n > 2:
			f.Name = fmt.Sprintf("%s %d", name, seen[name]+1)
		}
		seen[name]++
		b.Elements[i] = Named{e, f}
	}
}

// Named is an element with its facts at hand, under a name of its own.
type Named struct {
	Element
	About Facts
}

// Facts implements [Element].
func (n Named) Facts() Facts { return n.About }
