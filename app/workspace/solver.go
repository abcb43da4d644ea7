package workspace

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path"
	"path/filepath"
	"strings"

	"linewright/hardware/chain"
	"linewright/internal/spell"
	"linewright/physics/material"
	"linewright/physics/modematch"
	"linewright/physics/units"
	"linewright/physics/xsection"
)

// BodyFile is a coaxial body of revolution as its file says it.
type BodyFile struct {
	Body            string        // what it is, in words
	Sections        []BodySection // in order along the axis; the first and last are the port lines and have no length
	ReferencePlanes *BodyPlanes   // of the ports; default: the first and the last change of section
	Inner           *MetalSpec    // metal of the centre conductor; default: perfect
	Outer           *MetalSpec    // metal of the outer conductor; default: perfect
	Optimise        *BodyOptimise // what --optimise may vary, and towards what
}

// BodySection is a stretch of constant cross-section.
type BodySection struct {
	InnerDiameter *units.Length // of the centre conductor; 0 mm: none
	OuterDiameter *units.Length // inside, of the outer conductor
	Permittivity  *float64      // relative; default 1
	LossTangent   float64       // default 0
	Length        units.Length  // of every section but the first and the last
}

// BodyPlanes moves the reference planes outward, away from the body; a value
// below zero moves inward.
type BodyPlanes struct {
	Port1 units.Length // from the first change of section
	Port2 units.Length // from the last change of section
}

// MetalSpec is the metal of a conductor.
type MetalSpec struct {
	Conductivity units.Conductivity // at 20 °C; default: annealed copper, 58 MS/m
	Roughness    units.Length       // rms height; default: smooth
}

// BodyOptimise says what an optimisation varies and what it works towards.
type BodyOptimise struct {
	Goal      BodyGoal
	Variables []BodyVariable
}

// BodyGoal is a return loss over a band at both ports.
type BodyGoal struct {
	ReturnLoss units.Level // at least
	From       units.Frequency
	To         units.Frequency
	Points     int // frequencies looked at; default 31
}

// BodyVariable is a dimension that may be chosen.
type BodyVariable struct {
	Section   []int // counted from 1; several are given the same value
	Quantity  BodyQuantity
	Low       units.Length // bounds of the choice
	High      units.Length
	Tolerance units.Length // half width of what is made about what is chosen; default 0
}

// BodyQuantity names a dimension of a section.
type BodyQuantity string

// Options implements the choice of words.
func (BodyQuantity) Options() []string { return []string{"inner_diameter", "outer_diameter", "length"} }

// SectionFile is the cross-section of a uniform line as its file says it.
type SectionFile struct {
	Section     string // what it is, in words
	Region      RegionSpec
	Background  FillSpec         // where no dielectric lies; default: air
	Dielectrics []DielectricSpec // later ones lie over earlier ones
	Conductors  []ConductorSpec  // over all dielectrics
}

// RegionSpec bounds a section: four sides, or a shield all round.
type RegionSpec struct {
	Left   SideSpec
	Right  SideSpec
	Bottom SideSpec
	Top    SideSpec
	Shield *ShapeSpec // in place of the four sides
}

// SideSpec is one side of a region: the word open, or a plane at a position.
type SideSpec struct {
	Electric *units.Length // a perfectly conducting plane, part of the reference
	Magnetic *units.Length // a plane of symmetry that no electric field line crosses
}

// Words implements the word that stands for the zero value.
func (SideSpec) Words() []string { return []string{openWord} }

// FillSpec is a dielectric's material.
type FillSpec struct {
	Permittivity *float64 // relative; default 1
	LossTangent  float64  // default 0
}

// DielectricSpec is a piece of dielectric.
type DielectricSpec struct {
	ShapeSpec
	FillSpec
}

// ConductorSpec is a piece of metal. Pieces of one name are one conductor; the
// name ground joins the reference.
type ConductorSpec struct {
	Name string
	ShapeSpec
	MetalSpec
}

// ShapeSpec is exactly one of its shapes.
type ShapeSpec struct {
	Rectangle *RectangleSpec
	Circle    *CircleSpec
	Polygon   [][2]units.Length // its corners [x, y] in order, either way round, the first not repeated
	Segment   *[2][2]Coordinate // metal without thickness between two points [x, y]
}

// RectangleSpec is a rectangle along the axes.
type RectangleSpec struct {
	X [2]Coordinate // from left to right
	Y [2]Coordinate // from bottom to top
}

// CircleSpec is a disc.
type CircleSpec struct {
	Centre   [2]units.Length
	Diameter units.Length
}

const openWord = "open"

// Coordinate is a position in m, or the word open: without end. It is +Inf
// then; which way its place in the file tells.
type Coordinate float64

// UnmarshalText implements encoding.TextUnmarshaler.
func (c *Coordinate) UnmarshalText(text []byte) error {
	if string(text) == openWord {
		*c = Coordinate(math.Inf(1))
		return nil
	}
	x, err := units.Parse[units.Length](string(text))
	var p *units.ParseError
	if errors.As(err, &p) {
		also := *p
		also.Help += ", or write the word " + openWord
		return &also
	}
	*c = Coordinate(x)
	return err
}

// Words implements the word that a coordinate may be.
func (Coordinate) Words() []string { return []string{openWord} }

// from is the coordinate as a lower end, to as an upper end.
func (c Coordinate) from() float64 {
	if math.IsInf(float64(c), 1) {
		return math.Inf(-1)
	}
	return float64(c)
}
func (c Coordinate) to() float64 { return float64(c) }

// Body is a body that was read: what the solver takes, and where each of its
// sections stands.
type Body struct {
	File  BodyFile
	Body  modematch.Body
	Shift [2]float64 // outward, m, of the reference planes
	where where
}

// Section is a cross-section that was read.
type Section struct {
	File    SectionFile
	Section xsection.Section
	where   where
}

// where knows the places of a file's values.
type where struct {
	file   string
	places map[string]spot
}

// at is a fault at the innermost of the paths that the file holds.
func (w where) at(path string, err error, found, problem, help string) Fault {
	f := Fault{File: w.file, Err: err, Found: found, Problem: problem, Help: help}
	for p := path; p != ""; {
		if s, ok := w.places[p]; ok {
			f.Line, f.Column = s.line, s.column
			break
		}
		i := strings.LastIndexAny(p, ".[")
		if i < 0 {
			break
		}
		p = p[:i]
	}
	return f
}

// ReadBody reads the file of a body, wherever it stands.
func ReadBody(name string) (Body, error) {
	data, err := readPlain(name)
	if err != nil {
		return Body{}, err
	}
	return BodyText(name, data)
}

// BodyText reads a body from a text. JSON is read too.
func BodyText(name string, data []byte) (Body, error) {
	var b Body
	var err error
	if b.where, err = decodePlaces(name, data, &b.File); err != nil {
		return b, err
	}
	var faults Faults
	for i, s := range b.File.Sections {
		path := fmt.Sprintf("sections[%d]", i)
		need := func(q *units.Length, key, example string) float64 {
			if q == nil {
				faults = append(faults, b.where.at(path, ErrEmpty, fmt.Sprintf("section %d", i+1), key+" is missing", "add "+key+": "+example))
				return 0
			}
			return float64(*q)
		}
		m := modematch.Section{InnerDiameter: need(s.InnerDiameter, "inner_diameter", "1.52 mm, or 0 mm where there is no centre conductor"), OuterDiameter: need(s.OuterDiameter, "outer_diameter", "3.5 mm"), Length: float64(s.Length)}
		e := 1.0
		if s.Permittivity != nil {
			e = *s.Permittivity
		}
		m.Permittivity = complex(e, -e*s.LossTangent)
		if !(e > 0) || !(s.LossTangent >= 0) {
			faults = append(faults, b.where.at(path, modematch.ErrPermittivity, fmt.Sprintf("section %d: permittivity %g, loss tangent %g", i+1, e, s.LossTangent), "no material of a body", "write a relative permittivity above 0 and a loss tangent of 0 or more"))
		}
		b.Body.Sections = append(b.Body.Sections, m)
	}
	b.Body.Inner, b.Body.Outer = b.File.Inner.conductor(), b.File.Outer.conductor()
	for key, c := range map[string]*MetalSpec{"inner": b.File.Inner, "outer": b.File.Outer} {
		if c != nil && (c.Conductivity < 0 || c.Roughness < 0) {
			faults = append(faults, b.where.at(key, ErrValue, key, "a conductivity or roughness below zero", "write figures above zero, or leave them out for smooth copper"))
		}
	}
	if p := b.File.ReferencePlanes; p != nil {
		b.Shift = [2]float64{float64(p.Port1), float64(p.Port2)}
	}
	if len(faults) > 0 {
		return b, faults
	}
	if err := b.Explain(b.Body.Check()); err != nil {
		return b, err
	}
	return b, nil
}

// conductor returns the metal; nil is a perfect one.
func (m *MetalSpec) conductor() *material.Conductor {
	if m == nil {
		return nil
	}
	return &material.Conductor{Metal: material.Metal{Conductivity: float64(m.Conductivity)}, Roughness: material.Roughness{RMS: float64(m.Roughness)}}
}

// Explain turns what the solver says of the body into faults of its file; any
// other error stays as it is.
func (b Body) Explain(err error) error {
	var faults Faults
	for _, e := range parts(err) {
		var s *modematch.SectionError
		switch {
		case errors.As(e, &s):
			faults = append(faults, b.where.at(fmt.Sprintf("sections[%d]", s.Section-1), s.Err, fmt.Sprintf("section %d: %s", s.Section, s.Found), s.Err.Error(), s.Help))
		case errors.Is(e, modematch.ErrSections):
			faults = append(faults, b.where.at("sections", modematch.ErrSections, fmt.Sprintf("%d sections", len(b.Body.Sections)), modematch.ErrSections.Error(), "give port line, body, port line under sections:"))
		default:
			return err
		}
	}
	if len(faults) == 0 {
		return nil
	}
	return faults
}

// parts are the errors that err joins.
func parts(err error) []error {
	if err == nil {
		return nil
	}
	many, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return []error{err}
	}
	var out []error
	for _, e := range many.Unwrap() {
		out = append(out, parts(e)...)
	}
	return out
}

// Optimisation returns what the file lets an optimisation do.
func (b Body) Optimisation() ([]modematch.Variable, modematch.Goal, error) {
	o := b.File.Optimise
	if o == nil {
		return nil, modematch.Goal{}, b.where.at("", ErrEmpty, "optimise", "the file does not say what may vary",
			"add optimise: {goal: {return_loss: 20 dB, from: 1 GHz, to: 40 GHz}, variables: [{section: 2, quantity: length, low: 0.1 mm, high: 1 mm}]}")
	}
	var faults Faults
	g := o.Goal
	if !(g.ReturnLoss > 0) || !(g.From > 0) || !(g.To > g.From) {
		faults = append(faults, b.where.at("optimise.goal", ErrValue, "goal", "a return loss over a band is wanted", "write goal: {return_loss: 20 dB, from: 1 GHz, to: 40 GHz}"))
	}
	n := g.Points
	if n == 0 {
		n = 31
	}
	if n < 2 || n > 1000 {
		faults = append(faults, b.where.at("optimise.goal", ErrValue, fmt.Sprintf("points: %d", g.Points), "out of range", "look at 2 to 1000 frequencies"))
		n = 2
	}
	goal := modematch.Goal{Limit: func(float64) float64 { return math.Pow(10, -float64(g.ReturnLoss)/20) }}
	for k := range n {
		goal.Frequencies = append(goal.Frequencies, float64(g.From)+float64(g.To-g.From)*float64(k)/float64(n-1))
	}
	if len(o.Variables) == 0 {
		faults = append(faults, b.where.at("optimise", ErrEmpty, "variables", "nothing may vary", "add variables: [{section: 2, quantity: length, low: 0.1 mm, high: 1 mm}]"))
	}
	var vs []modematch.Variable
	for i, v := range o.Variables {
		path := fmt.Sprintf("optimise.variables[%d]", i)
		fault := func(found, problem, help string) {
			faults = append(faults, b.where.at(path, ErrValue, found, problem, help))
		}
		d := map[BodyQuantity]modematch.Dimension{"inner_diameter": modematch.InnerDiameter, "outer_diameter": modematch.OuterDiameter, "length": modematch.Length}[v.Quantity]
		ok := len(v.Section) > 0
		for _, s := range v.Section {
			ok = ok && s >= 1 && s <= len(b.Body.Sections)
			if v.Quantity == "length" && (s == 1 || s == len(b.Body.Sections)) {
				fault(fmt.Sprintf("section: %d", s), "a port line has no length", "vary a section between the first and the last")
			}
		}
		switch {
		case !ok:
			fault(fmt.Sprintf("section: %v", v.Section), "no such section", fmt.Sprintf("write a number from 1 to %d", len(b.Body.Sections)))
			continue
		case v.Quantity == "":
			fault("variable", "quantity is missing", "write one of: "+strings.Join(v.Quantity.Options(), ", "))
			continue
		case !(v.High > v.Low) || v.Low < 0 || v.Tolerance < 0:
			fault(fmt.Sprintf("low: %v, high: %v, tolerance: %v", v.Low, v.High, v.Tolerance), "no range", "write low below high, none below zero")
			continue
		}
		s := b.Body.Sections[v.Section[0]-1]
		start := [...]float64{s.InnerDiameter, s.OuterDiameter, s.Length}[d]
		vs = append(vs, modematch.Variable{Name: fmt.Sprintf("section %s, %s", joinInts(v.Section), strings.ReplaceAll(string(v.Quantity), "_", " ")), Apply: d.Of(v.Section...),
			Start: min(max(start, float64(v.Low)), float64(v.High)), Min: float64(v.Low), Max: float64(v.High), Tolerance: float64(v.Tolerance)})
	}
	if len(faults) > 0 {
		return nil, goal, faults
	}
	return vs, goal, nil
}

func joinInts(xs []int) string {
	return strings.Trim(strings.ReplaceAll(fmt.Sprint(xs), " ", ", "), "[]")
}

// ReadSection reads the file of a cross-section, wherever it stands.
func ReadSection(name string) (Section, error) {
	data, err := readPlain(name)
	if err != nil {
		return Section{}, err
	}
	return SectionText(name, data)
}

// SectionText reads a cross-section from a text. JSON is read too.
func SectionText(name string, data []byte) (Section, error) {
	var s Section
	var err error
	if s.where, err = decodePlaces(name, data, &s.File); err != nil {
		return s, err
	}
	var faults Faults
	fault := func(path, found, problem, help string) {
		faults = append(faults, s.where.at(path, ErrValue, found, problem, help))
	}
	fill := func(path, what string, f FillSpec) xsection.Material {
		e := 1.0
		if f.Permittivity != nil {
			if e = *f.Permittivity; !(e >= 1) {
				fault(path, fmt.Sprintf("%s: permittivity %g", what, e), "below that of vacuum", "write a relative permittivity of at least 1")
				e = 1
			}
		}
		return xsection.Material{Permittivity: e, LossTangent: f.LossTangent}
	}
	shape := func(path, what string, p ShapeSpec) xsection.Shape {
		sh, n := p.shape()
		if n != 1 {
			fault(path, what, fmt.Sprintf("%d shapes are given", n), "give exactly one of rectangle, circle, polygon and segment")
		}
		return sh
	}
	r := s.File.Region
	side := func(key string, p SideSpec) xsection.Side {
		switch {
		case p.Electric != nil && p.Magnetic != nil:
			fault("region."+key, key, "electric and magnetic at once", "give one of the two, or the word open")
		case p.Electric != nil:
			return xsection.ElectricAt(float64(*p.Electric))
		case p.Magnetic != nil:
			return xsection.MagneticAt(float64(*p.Magnetic))
		}
		return xsection.Side{}
	}
	x := &s.Section
	x.Region = xsection.Region{Left: side("left", r.Left), Right: side("right", r.Right), Bottom: side("bottom", r.Bottom), Top: side("top", r.Top)}
	if r.Shield != nil {
		x.Region.Shield = shape("region.shield", "shield", *r.Shield)
		if (x.Region.Left != xsection.Side{} || x.Region.Right != xsection.Side{} || x.Region.Bottom != xsection.Side{} || x.Region.Top != xsection.Side{}) {
			fault("region", "shield", "a shield and sides at once", "a shield closes the section all round: leave the sides out")
		}
	}
	x.Background = fill("background", "background", s.File.Background)
	for i, d := range s.File.Dielectrics {
		path, what := fmt.Sprintf("dielectrics[%d]", i), fmt.Sprintf("dielectric %d", i+1)
		x.Dielectrics = append(x.Dielectrics, xsection.Dielectric{Shape: shape(path, what, d.ShapeSpec), Material: fill(path, what, d.FillSpec)})
	}
	for i, c := range s.File.Conductors {
		path, what := fmt.Sprintf("conductors[%d]", i), fmt.Sprintf("conductor %d", i+1)
		if c.Name == "" {
			fault(path, what, "name is missing", "name it: pieces of one name are one conductor, "+xsection.Ground+" is the reference")
		}
		x.Conductors = append(x.Conductors, xsection.Conductor{Name: c.Name, Shape: shape(path, what, c.ShapeSpec), Metal: xsection.Metal{Conductivity: float64(c.Conductivity), Roughness: float64(c.Roughness)}})
	}
	if len(faults) > 0 {
		return s, faults
	}
	return s, s.Explain(x.Check())
}

// shape returns the shape and how many are given.
func (p ShapeSpec) shape() (sh xsection.Shape, n int) {
	if r := p.Rectangle; r != nil {
		sh, n = xsection.Rectangle{X0: r.X[0].from(), X1: r.X[1].to(), Y0: r.Y[0].from(), Y1: r.Y[1].to()}, n+1
	}
	if c := p.Circle; c != nil {
		sh, n = xsection.Circle{Centre: xsection.Point{X: float64(c.Centre[0]), Y: float64(c.Centre[1])}, Diameter: float64(c.Diameter)}, n+1
	}
	if len(p.Polygon) > 0 {
		var poly xsection.Polygon
		for _, q := range p.Polygon {
			poly = append(poly, xsection.Point{X: float64(q[0]), Y: float64(q[1])})
		}
		sh, n = poly, n+1
	}
	if g := p.Segment; g != nil {
		sh, n = xsection.Segment{A: xsection.Point{X: g[0][0].from(), Y: g[0][1].from()}, B: xsection.Point{X: g[1][0].to(), Y: g[1][1].to()}}, n+1
	}
	return sh, n
}

// Explain turns what the solver says of the section into faults of its file;
// any other error stays as it is.
func (s Section) Explain(err error) error {
	if err == nil {
		return nil
	}
	var all xsection.Faults
	if !errors.As(err, &all) {
		return err
	}
	var faults Faults
	for _, f := range all {
		path := "region"
		var n int
		if _, e := fmt.Sscanf(f.Piece, "conductor %d", &n); e == nil {
			path = fmt.Sprintf("conductors[%d]", n-1)
		} else if _, e := fmt.Sscanf(f.Piece, "dielectric %d", &n); e == nil {
			path = fmt.Sprintf("dielectrics[%d]", n-1)
		} else if strings.HasPrefix(f.Piece, "background") {
			path = "background"
		}
		faults = append(faults, s.where.at(path, f.Err, f.Piece, strings.TrimSpace(f.Problem)+": "+f.Err.Error(), f.Help))
	}
	return faults
}

// readPlain reads a file that need not stand in a workspace.
func readPlain(name string) ([]byte, error) {
	w := Workspace{Root: filepath.Dir(name), FS: os.DirFS(filepath.Dir(name))}
	info, err := os.Stat(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		help := "check the path"
		if near := w.similar(filepath.Base(name)); near != "" && spell.Nearest(filepath.Base(name), []string{near}, 3) != "" {
			help = "did you mean " + filepath.Join(w.Root, near) + "?"
		}
		return nil, Fault{File: name, Err: fs.ErrNotExist, Problem: "no such file", Help: help}
	case err != nil:
		return nil, Fault{File: name, Err: err, Problem: "it cannot be opened", Help: "check the path and the permissions"}
	case info.IsDir():
		return nil, Fault{File: name, Err: fs.ErrInvalid, Problem: "a folder, not a file", Help: "name a file in it"}
	case info.Size() > maxBytes:
		return nil, Fault{File: name, Err: ErrTooLarge, Problem: fmt.Sprintf("the file has %d MB", info.Size()>>20), Help: fmt.Sprintf("a file of this kind has at most %d MB: is it the right one?", maxBytes>>20)}
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, Fault{File: name, Err: err, Problem: "it cannot be read", Help: "check the permissions"}
	}
	return data, nil
}

// body reads the body that a piece of a chain names.
func (w Workspace) body(p *chain.BodySpec) error {
	data, err := w.read(path.Clean(p.Path))
	if err != nil {
		return err
	}
	b, err := BodyText(w.show(p.Path), data)
	if err != nil {
		return err
	}
	for _, i := range []int{0, len(b.Body.Sections) - 1} {
		if b.Body.Sections[i].InnerDiameter == 0 {
			return b.where.at(fmt.Sprintf("sections[%d]", i), modematch.ErrPort, fmt.Sprintf("section %d", i+1), "an empty guide carries no TEM wave on into the chain", "end the body in a coaxial line")
		}
	}
	const some = 1e6 // Hz: what a section can carry does not depend on it
	r, err := modematch.Solve(context.Background(), b.Body, []float64{some}, modematch.Options{Degree: 3})
	if err != nil {
		return b.Explain(err)
	}
	p.Body, p.Shift, p.Sections = b.Body, b.Shift, r.Sections
	return nil
}

// section reads and solves the cross-section that a piece of a chain names.
func (w Workspace) section(p *chain.SectionSpec) error {
	data, err := w.read(path.Clean(p.Path))
	if err != nil {
		return err
	}
	s, err := SectionText(w.show(p.Path), data)
	if err != nil {
		return err
	}
	p.Result, err = xsection.Solve(context.Background(), s.Section, xsection.Options{})
	if err != nil {
		if err := s.Explain(err); !errors.Is(err, xsection.ErrAccuracy) {
			return err
		}
		return s.where.at("", xsection.ErrAccuracy, "", err.Error(), "simplify the outline where pieces nearly touch, and look at it with: linewright section FILE --plot FILE.svg")
	}
	return nil
}
