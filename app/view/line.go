package view

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/internal/spell"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/units"
)

// LineRequest describes one uniform line by the names of the command line's
// flags, with _ for -, and values with their units.
type LineRequest struct {
	Kind     string            `json:"kind"`
	Fields   map[string]string `json:"fields"`
	At       string            `json:"at,omitempty"`        // 10GHz,28GHz or 1GHz:40GHz:40
	SolveFor string            `json:"solve_for,omitempty"` // width=50ohm
}

// LineField is one field of a form for lines.
type LineField struct {
	Name     string `json:"name"`
	Kind     string `json:"kind"` // "length", "conductivity", "number", "word" ...
	Example  string `json:"unit_example"`
	Required bool   `json:"required"`
	Solvable bool   `json:"solvable"`
	Means    string `json:"means"`
}

// lineKind is one kind of line: which fields it takes and how they make it.
type lineKind struct {
	name   string
	fields []LineField
	make   func(v *values) line.Line
}

// values are the fields as they were given, read on demand; faults gather.
type values struct {
	text   map[string]string
	faults workspace.Faults
}

func (v *values) fail(name, problem, help string) {
	v.faults = append(v.faults, workspace.Fault{File: "fields." + name, Found: strconv.Quote(v.text[name]), Err: workspace.ErrValue, Problem: problem, Help: help})
}

// quantity reads a field; 0 when it is not given.
func quantity[Q units.Quantity](v *values, name string) float64 {
	text := strings.TrimSpace(v.text[name])
	if text == "" {
		return 0
	}
	x, err := units.Parse[Q](text)
	if err != nil {
		var p *units.ParseError
		if errors.As(err, &p) {
			v.fail(name, p.Err.Error(), p.Help)
		} else {
			v.fail(name, err.Error(), "write a number with its unit")
		}
	}
	return float64(x)
}

func (v *values) number(name string, low, high float64, example string) float64 {
	text := strings.TrimSpace(v.text[name])
	if text == "" {
		return 0
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !(x >= low && x <= high) {
		v.fail(name, "not a plain number in range", fmt.Sprintf("write one between %g and %g, such as %s", low, high, example))
		return 0
	}
	return x
}

func (v *values) length(name string) float64 { return quantity[units.Length](v, name) }

func (v *values) dielectric() material.Dielectric {
	return material.Dielectric{Permittivity: v.number("permittivity", 1, 1000, "3.66"), LossTangent: v.number("loss_tangent", 0, 10, "0.0037"), FittedAt: quantity[units.Frequency](v, "fitted_at")}
}

func (v *values) metal(prefix string) material.Conductor {
	c := material.Conductor{Metal: material.Metal{Conductivity: quantity[units.Conductivity](v, prefix+"conductivity")}}
	c.Roughness = material.Roughness{RMS: v.length(prefix + "roughness"), Rz: v.length(prefix + "rz")}
	if model := v.text["roughness_model"]; model != "" {
		r, err := material.ParseRoughnessModel(model)
		if err != nil {
			v.fail("roughness_model", err.Error(), fmt.Sprintf("write %v, %v or %v", material.Hammerstad, material.Groiss, material.Cannonball))
		}
		c.Roughness.Model = r
	}
	switch {
	case c.Roughness.RMS < 0 || c.Roughness.Rz < 0:
		v.fail(prefix+"roughness", "a roughness below zero", "write a height such as 0.4 um")
	case c.Roughness.Model == material.Cannonball && c.Roughness.RMS != 0:
		v.fail(prefix+"roughness", "an rms height, which this roughness model does not take", "give "+prefix+"rz, or choose another model")
	case c.Roughness.Model != material.Cannonball && c.Roughness.Rz != 0:
		v.fail(prefix+"rz", "a ten-point height, which this roughness model does not take", "give "+prefix+"roughness as an rms height, or choose "+material.Cannonball.String())
	}
	return c
}

func (v *values) method() line.Method {
	switch v.text["method"] {
	case "", "field":
	case "formula":
		return line.ClosedForm
	default:
		v.fail("method", "not one of its words", "write field or formula")
	}
	return line.FieldSolution
}

func shared(fields ...LineField) []LineField {
	return append(fields,
		LineField{"permittivity", "number", "3.66", false, true, "of the dielectric, relative; 1 when not given"},
		LineField{"loss_tangent", "number", "0.0037", false, false, "of the dielectric"},
		LineField{"fitted_at", "frequency", "10 GHz", false, false, "frequency of both; with it they follow the causal wideband Debye law"},
		LineField{"temperature", "temperature", "85 °C", false, false, "of metal and dielectric; 20 °C when not given"},
		LineField{"roughness_model", "word", material.Hammerstad.String(), false, false, "published law of the roughness"})
}

func metalFields(prefix, of string) []LineField {
	return []LineField{
		{prefix + "conductivity", "conductivity", "58 MS/m", false, false, "of the " + of + "; annealed copper when not given"},
		{prefix + "roughness", "length", "0.4 um", false, false, "of the " + of + ", rms height; smooth when not given"},
		{prefix + "rz", "length", "3 um", false, false, "of the " + of + ", ten-point height, for " + material.Cannonball.String()},
	}
}

var methodField = LineField{"method", "word", "field", false, false, "field solution of the cross-section, or formula"}

func dimension(name, example string, required, solvable bool, means string) LineField {
	return LineField{name, "length", example, required, solvable, means}
}

// lineKinds are the kinds of line, in the order of the command line's help.
func lineKinds() []lineKind {
	coax := shared(dimension("inner_diameter", "1.27 mm", true, true, "of the centre conductor"), dimension("outer_diameter", "2.92 mm", true, true, "inside, of the outer conductor"),
		dimension("offset", "0 mm", false, true, "between the two axes"), dimension("inner_bore", "0 mm", false, false, "inside diameter of a tubular centre conductor"),
		dimension("wall_thickness", "0.2 mm", false, false, "of the outer conductor; thick when not given"), LineField{"braid_factor", "number", "2", false, false, "resistance of the outer conductor over that of a smooth tube"})
	coax = append(append(coax, metalFields("inner_", "centre conductor")...), metalFields("outer_", "outer conductor")...)
	planar := func(fs ...LineField) []LineField {
		return append(append(shared(fs...), metalFields("", "metal")...), methodField)
	}
	thickness := dimension("thickness", "17 um", false, true, "of the metal; vanishing when not given")
	top := dimension("top_width", "0.5 mm", false, false, "of the strip's upper face; width when not given")
	walls := dimension("walls", "2 mm", false, false, "distance of solid side walls, the strip in the middle")
	cover := dimension("cover", "1 mm", false, false, "height of a metal cover above the substrate")
	return []lineKind{
		{"coax", coax, func(v *values) line.Line {
			return line.Coax{InnerDiameter: v.length("inner_diameter"), OuterDiameter: v.length("outer_diameter"), Offset: v.length("offset"), InnerBore: v.length("inner_bore"),
				WallThickness: v.length("wall_thickness"), BraidFactor: v.number("braid_factor", 1, 100, "2"), Filling: v.dielectric(), Inner: v.metal("inner_"), Outer: v.metal("outer_")}
		}},
		{"microstrip", planar(dimension("width", "0.55 mm", true, true, "of the strip, at its foot"), dimension("height", "0.254 mm", true, true, "of the substrate"), thickness, top, cover, walls), func(v *values) line.Line {
			return line.Microstrip{Width: v.length("width"), Height: v.length("height"), Thickness: v.length("thickness"), TopWidth: v.length("top_width"), Cover: v.length("cover"), Walls: v.length("walls"),
				Substrate: v.dielectric(), Metal: v.metal(""), Method: v.method()}
		}},
		{"stripline", planar(dimension("width", "0.2 mm", true, true, "of the strip, at its foot"), dimension("spacing", "0.508 mm", true, true, "between the planes"), thickness,
			dimension("offset", "0 mm", false, true, "of the strip's middle from the middle of the planes"), top, walls), func(v *values) line.Line {
			return line.Stripline{Width: v.length("width"), Spacing: v.length("spacing"), Thickness: v.length("thickness"), Offset: v.length("offset"), TopWidth: v.length("top_width"), Walls: v.length("walls"),
				Substrate: v.dielectric(), Metal: v.metal(""), Method: v.method()}
		}},
		{"coplanar", planar(dimension("width", "0.4 mm", true, true, "of the strip"), dimension("gap", "0.2 mm", true, true, "of each slot"), dimension("height", "0.254 mm", true, true, "of the substrate; without ground below it may be left out: a half space"), thickness,
			LineField{"ground_below", "true or false", "true", false, false, "a ground plane below the substrate; true when not given"}, walls, cover), func(v *values) line.Line {
			x := line.Coplanar{Width: v.length("width"), Gap: v.length("gap"), Height: v.length("height"), Thickness: v.length("thickness"), GroundBelow: v.text["ground_below"] != "false", Walls: v.length("walls"), Cover: v.length("cover"),
				Substrate: v.dielectric(), Metal: v.metal(""), Method: v.method()}
			if b := v.text["ground_below"]; b != "" && b != "true" && b != "false" {
				v.fail("ground_below", "true or false is wanted", "write true or false")
			}
			return x
		}},
	}
}

// LineForms lists the fields of every kind of line.
func LineForms() map[string][]LineField {
	out := map[string][]LineField{}
	for _, k := range lineKinds() {
		out[k.name] = k.fields
	}
	return out
}

// Piece is a rectangle or a disc of a cross-section, in m. For a disc X0, Y0 is
// the centre and X1 − X0 the radius.
type Piece struct {
	What string  `json:"what"` // "dielectric", "conductor", "ground", "void"
	Disc bool    `json:"disc"`
	X0M  float64 `json:"x0_m"`
	Y0M  float64 `json:"y0_m"`
	X1M  float64 `json:"x1_m"`
	Y1M  float64 `json:"y1_m"`
}

// LineDrawing is a line's cross-section to scale, later pieces over earlier ones.
type LineDrawing struct {
	Pieces   []Piece `json:"pieces"`
	X0M      float64 `json:"x0_m"`
	Y0M      float64 `json:"y0_m"`
	X1M      float64 `json:"x1_m"`
	Y1M      float64 `json:"y1_m"`
	Dashed   bool    `json:"half_space"` // the substrate goes on downward
	ThinnerM float64 `json:"drawn_thickness_m"`
}

// LineChart says how a line's mode-free limit falls as it grows: the same cross-
// section, every dimension scaled together, so that the impedance stays.
type LineChart struct {
	Scale           []float64  `json:"scale"`
	SizeM           []float64  `json:"size_m"` // of SizeOf
	SizeOf          string     `json:"size_of"`
	ModeFreeLimitHz []*float64 `json:"mode_free_limit_hz"`
	LossDBPerM      []*float64 `json:"attenuation_db_per_m"` // at LossAtHz
	LossAtHz        float64    `json:"attenuation_at_hz"`
}

// Line is a line with its picture.
type Line struct {
	wire.Line
	Fields  map[string]string `json:"fields"` // as asked, the solved one filled in
	Drawing LineDrawing       `json:"drawing"`
	Chart   LineChart         `json:"chart"`
}

// asked is a request for a line that was read.
type asked struct {
	kind      string
	x         line.Line
	solved    line.Parameter // what was solved for; empty: nothing
	value     float64        // of it
	key       string         // its field
	given     []string       // names of the fields that were given
	frequency []float64      // Hz
}

// NewLine reads a request and computes the line.
func NewLine(q LineRequest) (Line, error) {
	a, err := readLine(q)
	if err != nil {
		return Line{}, err
	}
	doc, _, err := wire.NewLine(a.kind, a.x, a.solved, a.value, a.frequency)
	if err != nil {
		return Line{}, fieldFault(err)
	}
	out := Line{Line: doc, Fields: map[string]string{}, Drawing: section(a.x), Chart: chart(a.x, a.frequency)}
	for _, name := range a.given {
		out.Fields[name] = q.Fields[name]
	}
	if a.solved != "" {
		out.Fields[a.key] = units.Length(a.value).String()
		if a.solved == line.Permittivity {
			out.Fields[a.key] = strconv.FormatFloat(a.value, 'g', 6, 64)
		}
	}
	return out, nil
}

func readLine(q LineRequest) (asked, error) {
	var kind *lineKind
	var names []string
	for _, k := range lineKinds() {
		names = append(names, k.name)
		if k.name == q.Kind {
			kind = &k
		}
	}
	if kind == nil {
		help := "write one of: " + strings.Join(names, ", ")
		if near := spell.Nearest(q.Kind, names, 3); near != "" {
			help = "did you mean " + near + "?"
		}
		return asked{}, workspace.Fault{File: "kind", Found: strconv.Quote(q.Kind), Err: workspace.ErrWord, Problem: "no kind of line is called so", Help: help}
	}
	v := &values{text: map[string]string{}}
	byName := map[string]LineField{}
	var all []string
	for _, f := range kind.fields {
		byName[f.Name] = f
		all = append(all, f.Name)
	}
	var given []string
	for name := range q.Fields {
		given = append(given, name)
	}
	sort.Strings(given)
	for _, name := range given {
		v.text[name] = strings.TrimSpace(q.Fields[name])
		if _, ok := byName[name]; !ok {
			help := "fields are: " + strings.Join(all, ", ")
			if near := spell.Nearest(name, all, 2); near != "" {
				help = "did you mean " + near + "?"
			}
			v.fail(name, "no such field of a "+kind.name+" line", help)
		}
	}
	solved, ohms := v.target(q.SolveFor, kind.fields)
	key := strings.ReplaceAll(string(solved), " ", "_")
	for _, f := range kind.fields {
		free := f.Name == "height" && v.text["ground_below"] == "false"
		if f.Required && v.text[f.Name] == "" && f.Name != key && !free {
			v.faults = append(v.faults, workspace.Fault{File: "fields." + f.Name, Err: workspace.ErrEmpty, Problem: f.Name + " is missing", Help: "write it with its unit, such as " + f.Example})
		}
	}
	delete(v.text, key)
	x := kind.make(v)
	if c, ok := x.(line.Coplanar); ok && !c.GroundBelow && c.Height == 0 && solved != line.Height {
		c.Height = math.Inf(1)
		x = c
	}
	at := quantity[units.Temperature](v, "temperature")
	frequency := v.sweep(q.At)
	if len(v.faults) > 0 {
		return asked{}, v.faults
	}
	if at != 0 {
		x = warmed(x, at)
	}
	var value float64
	var err error
	if solved != "" {
		if x, value, err = solve(x, solved, ohms); err != nil {
			return asked{}, err
		}
	}
	return asked{kind.name, x, solved, value, key, given, frequency}, nil
}

func (v *values) target(text string, fields []LineField) (line.Parameter, float64) {
	if text == "" {
		return "", 0
	}
	v.text["solve_for"] = text
	defer delete(v.text, "solve_for")
	what, value, ok := strings.Cut(text, "=")
	what = strings.ReplaceAll(strings.TrimSpace(what), "-", "_")
	var names []string
	known := false
	for _, f := range fields {
		if f.Solvable {
			names = append(names, f.Name)
			known = known || f.Name == what
		}
	}
	r, err := units.Parse[units.Resistance](value)
	switch {
	case !ok:
		v.fail("solve_for", "no = in it", "write a dimension and an impedance, such as "+names[0]+"=50ohm")
	case !known:
		v.fail("solve_for", "no dimension of this line that can be solved for", "write one of: "+strings.Join(names, ", "))
	case err != nil || !(r > 0):
		v.fail("solve_for", "no impedance of a line", "write one above zero, such as 50ohm")
	}
	return line.Parameter(strings.ReplaceAll(what, "_", " ")), float64(r)
}

// mostPoints bounds a sweep: the answer is drawn, not filed.
const mostPoints = 5000

func (v *values) sweep(text string) []float64 {
	if strings.TrimSpace(text) == "" {
		return nil
	}
	v.text["at"] = text
	defer delete(v.text, "at")
	var out []float64
	for _, item := range strings.Split(text, ",") {
		parts := strings.Split(item, ":")
		var f [2]float64
		for i := range min(len(parts), 2) {
			x, err := units.Parse[units.Frequency](parts[i])
			if err != nil || !(x > 0) {
				v.fail("at", fmt.Sprintf("%q is no frequency above 0 Hz", parts[i]), "write 10GHz,28GHz or a sweep such as 1GHz:40GHz:40")
				return nil
			}
			f[i] = float64(x)
		}
		switch len(parts) {
		case 1:
			out = append(out, f[0])
		case 3:
			n, err := strconv.Atoi(strings.TrimSpace(parts[2]))
			if err != nil || n < 2 || n > mostPoints || !(f[1] > f[0]) {
				v.fail("at", "no sweep", fmt.Sprintf("write from:to:points, the lower frequency first, 2 to %d points", mostPoints))
				return nil
			}
			for k := range n - 1 {
				out = append(out, f[0]+(f[1]-f[0])*float64(k)/float64(n-1))
			}
			out = append(out, f[1])
		default:
			v.fail("at", "a sweep has three parts", "write from:to:points such as 1GHz:40GHz:40")
			return nil
		}
	}
	if len(out) > mostPoints {
		v.fail("at", spell.Count(len(out), "frequency"), fmt.Sprintf("ask for at most %d", mostPoints))
	}
	return out
}

func warmed(x line.Line, t float64) line.Line {
	switch y := x.(type) {
	case line.Coax:
		return y.AtTemperature(t)
	case line.Microstrip:
		return y.AtTemperature(t)
	case line.Stripline:
		return y.AtTemperature(t)
	case line.Coplanar:
		return y.AtTemperature(t)
	}
	return x
}

// solve returns the line whose parameter gives the impedance, and its value.
func solve(x line.Line, p line.Parameter, ohms float64) (line.Line, float64, error) {
	var out line.Line
	var err error
	found := map[line.Parameter]float64{}
	switch y := x.(type) {
	case line.Coax:
		y, err = y.Solve(p, ohms)
		out, found = y, map[line.Parameter]float64{line.InnerDiameter: y.InnerDiameter, line.OuterDiameter: y.OuterDiameter, line.Permittivity: y.Filling.Permittivity, line.Offset: y.Offset}
	case line.Microstrip:
		y, err = y.Solve(p, ohms)
		out, found = y, map[line.Parameter]float64{line.Width: y.Width, line.Height: y.Height, line.Thickness: y.Thickness, line.Permittivity: y.Substrate.Permittivity}
	case line.Stripline:
		y, err = y.Solve(p, ohms)
		out, found = y, map[line.Parameter]float64{line.Width: y.Width, line.Spacing: y.Spacing, line.Thickness: y.Thickness, line.Offset: y.Offset, line.Permittivity: y.Substrate.Permittivity}
	case line.Coplanar:
		y, err = y.Solve(p, ohms)
		out, found = y, map[line.Parameter]float64{line.Width: y.Width, line.Gap: y.Gap, line.Height: y.Height, line.Thickness: y.Thickness, line.Permittivity: y.Substrate.Permittivity}
	}
	var r *line.ReachError
	if errors.As(err, &r) {
		low, high := any(units.Length(r.Low)), any(units.Length(r.High))
		if p == line.Permittivity {
			low, high = r.Low, r.High
		}
		return nil, 0, workspace.Fault{File: "solve_for", Err: workspace.ErrValue, Problem: fmt.Sprintf("no %s gives %g Ω", p, ohms),
			Help: fmt.Sprintf("between %v and %v it gives %.4g to %.4g Ω: change the target or another dimension", low, high, math.Min(r.AtLow, r.AtHigh), math.Max(r.AtLow, r.AtHigh))}
	}
	return out, found[p], fieldFault(err)
}

// fieldFault turns a fault of a line's field into one of the request's.
func fieldFault(err error) error {
	var d *line.DimensionError
	if !errors.As(err, &d) {
		return err
	}
	name := d.Field
	if i := strings.LastIndexByte(name, '.'); i >= 0 {
		name = name[i+1:]
	}
	value := fmt.Sprintf("%g", d.Value)
	if d.Unit == "m" {
		value = units.Length(d.Value).String()
	}
	return workspace.Fault{File: "fields." + workspace.Key(name), Found: value, Err: workspace.ErrValue, Problem: "not a dimension of this line", Help: d.Want}
}

// section draws a cross-section. Metal of no thickness is drawn with some.
func section(x line.Line) LineDrawing {
	var s LineDrawing
	add := func(what string, x0, y0, x1, y1 float64) {
		s.Pieces = append(s.Pieces, Piece{What: what, X0M: x0, Y0M: y0, X1M: x1, Y1M: y1})
	}
	disc := func(what string, x, y, r float64) {
		s.Pieces = append(s.Pieces, Piece{What: what, Disc: true, X0M: x, Y0M: y, X1M: x + r, Y1M: y + r})
	}
	frame := func(x0, y0, x1, y1 float64) { s.X0M, s.Y0M, s.X1M, s.Y1M = x0, y0, x1, y1 }
	switch c := x.(type) {
	case line.Coax:
		wall := c.WallThickness
		if wall == 0 {
			wall = 0.08 * c.OuterDiameter
		}
		r := c.OuterDiameter/2 + wall
		disc("ground", 0, 0, r)
		disc("dielectric", 0, 0, c.OuterDiameter/2)
		disc("conductor", c.Offset, 0, c.InnerDiameter/2)
		if c.InnerBore > 0 {
			disc("void", c.Offset, 0, c.InnerBore/2)
		}
		frame(-r, -r, r, r)
	case line.Microstrip:
		t := drawn(c.Thickness, c.Height, &s)
		w := c.Width/2 + 4*c.Height
		if c.Walls > 0 {
			w = c.Walls / 2
		}
		add("ground", -w, -t, w, 0)
		add("dielectric", -w, 0, w, c.Height)
		add("conductor", -c.Width/2, c.Height, c.Width/2, c.Height+t)
		top := c.Height + t + 2*c.Height
		if c.Cover > 0 {
			top = c.Height + c.Cover
			add("ground", -w, top, w, top+t)
		}
		frame(-w, -t, w, top+t)
	case line.Stripline:
		t := drawn(c.Thickness, c.Spacing, &s)
		w := c.Width/2 + 2*c.Spacing
		if c.Walls > 0 {
			w = c.Walls / 2
		}
		m := c.Spacing/2 + c.Offset
		add("ground", -w, -t, w, 0)
		add("dielectric", -w, 0, w, c.Spacing)
		add("ground", -w, c.Spacing, w, c.Spacing+t)
		add("conductor", -c.Width/2, m-t/2, c.Width/2, m+t/2)
		frame(-w, -t, w, c.Spacing+t)
	case line.Coplanar:
		h := c.Height
		if math.IsInf(h, 1) {
			h, s.Dashed = 4*(c.Width+c.Gap), true
		}
		t := drawn(c.Thickness, h, &s)
		w := c.Width/2 + c.Gap + 3*(c.Width+c.Gap)
		if c.Walls > 0 {
			w = c.Walls / 2
		}
		if c.GroundBelow {
			add("ground", -w, -t, w, 0)
		}
		add("dielectric", -w, 0, w, h)
		add("ground", -w, h, -c.Width/2-c.Gap, h+t)
		add("ground", c.Width/2+c.Gap, h, w, h+t)
		add("conductor", -c.Width/2, h, c.Width/2, h+t)
		frame(-w, -t, w, h+t+2*(c.Width+c.Gap))
	}
	return s
}

func drawn(t, height float64, s *LineDrawing) float64 {
	if t > 0 {
		return t
	}
	s.ThinnerM = height / 20
	return s.ThinnerM
}

// scaled returns x with every dimension multiplied, roughness and metal left as
// they are, and the dimension that names its size.
func scaled(x line.Line, k float64) (out line.Line, size float64, of string) {
	switch c := x.(type) {
	case line.Coax:
		c.InnerDiameter, c.OuterDiameter, c.Offset, c.InnerBore = k*c.InnerDiameter, k*c.OuterDiameter, k*c.Offset, k*c.InnerBore
		return c, c.OuterDiameter, "outer diameter"
	case line.Microstrip:
		c.Width, c.Height, c.Thickness, c.TopWidth, c.Cover, c.Walls = k*c.Width, k*c.Height, k*c.Thickness, k*c.TopWidth, k*c.Cover, k*c.Walls
		c.Method = line.ClosedForm
		return c, c.Height, "height of the substrate"
	case line.Stripline:
		c.Width, c.Spacing, c.Thickness, c.TopWidth, c.Offset, c.Walls = k*c.Width, k*c.Spacing, k*c.Thickness, k*c.TopWidth, k*c.Offset, k*c.Walls
		c.Method = line.ClosedForm
		return c, c.Spacing, "spacing of the planes"
	case line.Coplanar:
		c.Width, c.Gap, c.Height, c.Thickness, c.Walls, c.Cover = k*c.Width, k*c.Gap, k*c.Height, k*c.Thickness, k*c.Walls, k*c.Cover
		c.Method = line.ClosedForm
		return c, c.Width + 2*c.Gap, "strip and both slots"
	}
	return x, 0, ""
}

// chart scales a line from a quarter to four times its size. Planar lines are
// taken by their closed formulas here, whatever the line itself is solved by.
func chart(x line.Line, frequency []float64) LineChart {
	var c LineChart
	c.LossAtHz = 10e9
	if len(frequency) > 0 {
		c.LossAtHz = frequency[len(frequency)-1]
	}
	for i := range 25 {
		k := math.Pow(2, float64(i-12)/6)
		y, size, of := scaled(x, k)
		c.Scale, c.SizeM, c.SizeOf = append(c.Scale, k), append(c.SizeM, size), of
		if y.Check() != nil {
			c.ModeFreeLimitHz, c.LossDBPerM = append(c.ModeFreeLimitHz, nil), append(c.LossDBPerM, nil)
			continue
		}
		c.ModeFreeLimitHz = append(c.ModeFreeLimitHz, number(line.ModeFreeLimit(y)))
		c.LossDBPerM = append(c.LossDBPerM, number(real(y.At(c.LossAtHz).Gamma)*units.DecibelsPerNeper))
	}
	return c
}
