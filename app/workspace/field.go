package workspace

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"linewright/internal/spell"
	"linewright/physics/fdtd"
	"linewright/physics/material"
	"linewright/physics/units"
)

// FieldFile is a structure in three dimensions as its file says it. Places are
// [x, y, z]; a place across an axis is the other two coordinates in this order.
type FieldFile struct {
	Field      string         // what it is, in words
	Region     BoxSpec        // what is solved
	Sides      SidesSpec      // what stands at its six sides
	Materials  []MaterialSpec // besides the words air and metal
	Background string         // material where no solid lies; default: air
	Metal      *MetalSpec     // of all metal and of electric sides; default: perfect. Its loss counts to first order
	Solids     []SolidSpec    // later ones lie over earlier ones
	Ports      []PortSpec     // where lines leave the region
	Cages      []CageSpec     // spaces that are meant to be closed by metal
	Band       BandSpec       // frequencies
	Accuracy   float64        // of any S-parameter: finer grids are solved until two agree; default: one grid
	Grid       GridSpec
	Stop       StopSpec
	Slices     []SliceSpec // planes on which the field is pictured
}

// BoxSpec is a block along the axes. An extent that is left out is the region's;
// one from a place to the same place makes a sheet.
type BoxSpec struct {
	X *[2]units.Length // from low to high
	Y *[2]units.Length
	Z *[2]units.Length
}

// SidesSpec says what stands at each side of the region.
type SidesSpec struct {
	XLow  SideKind
	XHigh SideKind
	YLow  SideKind
	YHigh SideKind
	ZLow  SideKind
	ZHigh SideKind
	Rest  SideKind // of the sides that are not named
}

// SideKind is electric (metal), magnetic (a mirror: the structure
// goes on beyond it, mirrored, with no field line across), or open (empty space,
// or what lies at the side goes on).
type SideKind string

// Options implements the choice of words.
func (SideKind) Options() []string { return []string{"electric", "magnetic", "open"} }

// MaterialSpec is a dielectric by name.
type MaterialSpec struct {
	Name         string
	Permittivity *float64           // relative; default 1
	LossTangent  float64            // default 0
	MeasuredAt   units.Frequency    // frequency of both figures; needed with a loss tangent, which then follows the wideband Debye law
	Conductivity units.Conductivity // default 0
}

// SolidSpec is a shape of a material: exactly one of its shapes.
type SolidSpec struct {
	Name     string
	Material string // air, metal, or the name of a material; a via needs none
	Net      string // of metal: pieces of two nets must not touch; default: not checked
	Box      *BoxSpec
	Cylinder *CylinderSpec
	Prism    *PrismSpec
	Sheet    *SheetSpec
	Via      *ViaSpec
}

// AxisName is an axis.
type AxisName string

// Options implements the choice of words.
func (AxisName) Options() []string { return []string{"x", "y", "z"} }

// CylinderSpec is a round rod along an axis.
type CylinderSpec struct {
	Axis     AxisName        // default z
	Centre   [2]units.Length // across the axis
	Diameter units.Length
	From     *units.Length // along the axis; default: the region's end
	To       *units.Length
}

// PrismSpec is a polygon drawn out along an axis.
type PrismSpec struct {
	Axis    AxisName          // default z
	Polygon [][2]units.Length // its corners across the axis in order, the first not repeated
	From    *units.Length     // along the axis; default: the region's end
	To      *units.Length
}

// SheetSpec is a sheet without thickness across an axis.
type SheetSpec struct {
	Axis    AxisName // default z
	At      units.Length
	Low     *[2]units.Length  // corners across the axis; default: the whole region
	High    *[2]units.Length  //
	Polygon [][2]units.Length // in place of the corners
}

// ViaSpec is a plated hole with its pads, and the holes it makes in planes that
// stand before it in the list. First its antipads are cut, then it is built.
type ViaSpec struct {
	Axis     AxisName        // default z
	Centre   [2]units.Length // across the axis
	From     *units.Length   // along the axis; default: the region's end
	To       *units.Length
	Drill    units.Length // diameter of the drilled hole, which the barrel fills
	Plating  units.Length // thickness of the barrel's metal; default: the hole is full of metal
	Bore     string       // material within the plating; default air
	Pads     []RingSpec   // discs of metal
	Antipads []RingSpec   // holes in planes
	Fill     string       // material of the antipads; default: the background's
}

// RingSpec is a disc of a via: a pad, or the hole of an antipad.
type RingSpec struct {
	Diameter units.Length
	From     units.Length // along the axis
	To       units.Length // the same place for a sheet
}

// PortSpec is a line that leaves the region through a side.
type PortSpec struct {
	Name   string
	Side   SideName
	Mode   ModeWord         // default tem
	Signal *[2]units.Length // tem: a point of the signal conductor, across the side's axis
	// tem: in place of signal, a point of each conductor of a line with several, such as
	// a pair; each is a port of the result, between it and the other metal
	Signals   [][2]units.Length
	Reference units.Resistance // of the conductors in signals; default 50 ohm
	Modes     int              // waves of the port, each a port of the result: further modes follow by their cutoffs; default: the conductors', or te10 alone
	Window    *WindowSpec      // the part of the side that is the port's; default: all of it
	Plane     *units.Length    // along the side's axis, to which S-parameters are referred; default: the side
}

// CageSpec is a space that is meant to be closed by metal: one from which free
// space leads to an open side of the region is refused before the run.
type CageSpec struct {
	Name   string
	Inside *[3]units.Length // a point of the space, [x, y, z]
}

// SideName names a side of the region.
type SideName string

// Options implements the choice of words.
func (SideName) Options() []string {
	return []string{"x_low", "x_high", "y_low", "y_high", "z_low", "z_high"}
}

// ModeWord is what travels in a port's line: tem between a signal conductor and
// other metal, te10 in a hollow guide.
type ModeWord string

// Options implements the choice of words.
func (ModeWord) Options() []string { return []string{"tem", "te10"} }

// WindowSpec is a rectangle across an axis.
type WindowSpec struct{ Low, High [2]units.Length }

// BandSpec is the band that is solved, all of it at once.
type BandSpec struct {
	From   units.Frequency
	To     units.Frequency
	Points int // frequencies of the result; default 101
}

// GridSpec divides the region into cells.
type GridSpec struct {
	CellsPerWave float64      // to the shortest wavelength; default 20
	LargestCell  units.Length // default: from cells_per_wave
	CellsAcross  int          // a gap between metals, or a conductor's width, at least; default 4
	Layers       int          // cells of absorbing layer behind ports and open sides; default 12
	MaxCells     float64      // more are refused; default 50 million
	Double       bool         // compute with 64 bits in place of 32
}

// StopSpec ends the march in time.
type StopSpec struct {
	EnergyDown units.Level // when the energy has fallen this far below its peak; default 80 dB
	Steps      int         // or after so many steps; default 100000
}

// SliceSpec is a plane on which the electric field is pictured.
type SliceSpec struct {
	Axis      AxisName // that the plane is across; default z
	At        units.Length
	Fed       string          // name of the port that is fed; default: the first
	Frequency units.Frequency // default: the middle of the band
}

// Structure is a structure that was read: what the solver takes.
type Structure struct {
	File    FieldFile
	Model   fdtd.Model
	Options fdtd.Options
	where   where
	labels  []place3 // of the solids and ports that the solver may speak of
}

// place3 is where the file says what the solver calls by a label.
type place3 struct{ label, path string }

// ReadStructure reads the file of a structure, wherever it stands.
func ReadStructure(name string) (Structure, error) {
	data, err := readPlain(name)
	if err != nil {
		return Structure{}, err
	}
	return StructureText(name, data)
}

// The materials that need no entry.
const (
	airWord   = "air"
	metalWord = "metal"
)

// StructureText reads a structure from a text. JSON is read too.
func StructureText(name string, data []byte) (Structure, error) {
	var f Structure
	var err error
	if f.where, err = decodePlaces(name, data, &f.File); err != nil {
		return f, err
	}
	f.Model.Walls = f.File.Metal.conductor()
	r := fieldReader{f: &f, materials: map[string]fdtd.Material{"": {}, airWord: {}, metalWord: {Metal: true, Conductor: f.Model.Walls}}}
	if m := f.File.Metal; m != nil && (m.Conductivity < 0 || m.Roughness < 0) {
		r.fault("metal", "metal", "a conductivity or roughness below zero", "write figures above zero, or leave them out for smooth copper")
	}
	r.region()
	r.sides()
	for i, m := range f.File.Materials {
		r.material(fmt.Sprintf("materials[%d]", i), m)
	}
	f.Model.Background = r.named("background", f.File.Background)
	for i, s := range f.File.Solids {
		r.solid(fmt.Sprintf("solids[%d]", i), i, s)
	}
	for i, p := range f.File.Ports {
		r.port(fmt.Sprintf("ports[%d]", i), i, p)
	}
	for i, c := range f.File.Cages {
		r.cage(fmt.Sprintf("cages[%d]", i), i, c)
	}
	r.rest()
	if len(r.faults) > 0 {
		return f, r.faults
	}
	return f, f.Explain(f.Model.Check())
}

// fieldReader gathers the faults of one file.
type fieldReader struct {
	f         *Structure
	materials map[string]fdtd.Material
	faults    Faults
	unbounded bool // the region makes no sense: nothing is judged against it
}

func (r *fieldReader) fault(path, found, problem, help string, args ...any) {
	if len(r.faults) < maxFaults {
		r.faults = append(r.faults, r.f.where.at(path, ErrValue, found, problem, fmt.Sprintf(help, args...)))
	}
}

// axes are the two axes across a, in the order of the file, x before y before z.
func axes(a int) (u, v int) {
	switch a {
	case 0:
		return 1, 2
	case 1:
		return 0, 2
	}
	return 0, 1
}

// turn puts a place across an axis, as the file has it, into the solver's
// cyclic order.
func turn(a int, q [2]units.Length) [2]float64 {
	if a == 1 {
		return [2]float64{float64(q[1]), float64(q[0])}
	}
	return [2]float64{float64(q[0]), float64(q[1])}
}

func axisOf(n AxisName) int {
	if n == "" {
		return 2
	}
	return strings.Index("xyz", string(n))
}

// largestPlace keeps slips of the unit away from the grid. In m.
const largestPlace = 1000

func (r *fieldReader) region() {
	for a, q := range []*[2]units.Length{r.f.File.Region.X, r.f.File.Region.Y, r.f.File.Region.Z} {
		key := string("xyz"[a])
		switch {
		case q == nil:
			r.fault("region", "region", key+" is missing", "add %s: [-2 mm, 2 mm]", key)
			r.unbounded = true
			continue
		case !(q[1] > q[0]):
			r.fault("region."+key, fmt.Sprintf("%s: %v to %v", key, q[0], q[1]), "no extent", "write the lower place first")
			r.unbounded = true
		case !(max(math.Abs(float64(q[0])), math.Abs(float64(q[1]))) <= largestPlace):
			r.fault("region."+key, fmt.Sprintf("%s: %v to %v", key, q[0], q[1]), "out of range", "write places within 1 km of the origin; a structure is some wavelengths large")
			r.unbounded = true
		}
		r.f.Model.Region.Low[a], r.f.Model.Region.High[a] = float64(q[0]), float64(q[1])
	}
}

func (r *fieldReader) sides() {
	s := r.f.File.Sides
	var missing []string
	for i, k := range []SideKind{s.XLow, s.XHigh, s.YLow, s.YHigh, s.ZLow, s.ZHigh} {
		if k == "" {
			k = s.Rest
		}
		switch k {
		case "magnetic":
			r.f.Model.Boundaries[i] = fdtd.Magnetic
		case "open":
			r.f.Model.Boundaries[i] = fdtd.Open
		case "":
			missing = append(missing, SideName("").Options()[i])
		}
	}
	if len(missing) > 0 {
		r.fault("sides", "sides", "nothing is said of "+strings.Join(missing, ", "), "add %s: electric, or rest: for all that are not named; the words are %s", missing[0], strings.Join(SideKind("").Options(), ", "))
	}
}

func (r *fieldReader) material(path string, m MaterialSpec) {
	e := 1.0
	if m.Permittivity != nil {
		e = *m.Permittivity
	}
	switch _, twice := r.materials[m.Name]; {
	case m.Name == "":
		r.fault(path, "material", "name is missing", "add name: laminate")
		return
	case m.Name == airWord || m.Name == metalWord:
		r.fault(path+".name", m.Name, "this name has a meaning of its own", "choose another; air and metal need no entry")
	case twice:
		r.fault(path+".name", m.Name, "a second material of this name", "give each a name of its own")
	case !(e >= 1):
		r.fault(path+".permittivity", fmt.Sprintf("%s: permittivity %g", m.Name, e), "below that of vacuum", "write a relative permittivity of at least 1")
		e = 1
	case !(m.LossTangent >= 0 && m.LossTangent < 1):
		r.fault(path+".loss_tangent", fmt.Sprintf("%s: loss tangent %g", m.Name, m.LossTangent), "out of range", "write one from 0 to below 1, such as 0.0037")
	case m.LossTangent > 0 && !(m.MeasuredAt > 0):
		r.fault(path, m.Name, "a loss tangent without the frequency it was measured at", "add measured_at: 10 GHz; a solution in time needs a law over all frequencies, the wideband Debye law through this point")
	case !(m.Conductivity >= 0):
		r.fault(path+".conductivity", fmt.Sprintf("%s: %v", m.Name, m.Conductivity), "below zero", "write 0 S/m or more")
	}
	r.materials[m.Name] = fdtd.Material{Conductivity: float64(m.Conductivity), Dielectric: material.Dielectric{Permittivity: e, LossTangent: m.LossTangent, FittedAt: float64(m.MeasuredAt)}}
}

// named looks a material up.
func (r *fieldReader) named(path, name string) fdtd.Material {
	m, ok := r.materials[name]
	if !ok {
		var names []string
		for n := range r.materials {
			if n != "" {
				names = append(names, n)
			}
		}
		slices.Sort(names)
		help := "write one of: " + strings.Join(names, ", ") + ", or add it to materials"
		if near := spell.Nearest(name, names, 2); near != "" {
			help = "did you mean " + near + "?"
		}
		r.fault(path, name, "no material of this name", "%s", help)
	}
	return m
}

// span reads an extent along an axis; what is left out is the region's.
func (r *fieldReader) span(path, what string, a int, from, to *units.Length) (lo, hi float64) {
	lo, hi = r.f.Model.Region.Low[a], r.f.Model.Region.High[a]
	if from != nil {
		lo = float64(*from)
	}
	if to != nil {
		hi = float64(*to)
	}
	if !(hi >= lo) && !r.unbounded {
		r.fault(path, what, fmt.Sprintf("it runs from %v down to %v", units.Length(lo), units.Length(hi)), "write the lower place as from:, the higher as to:")
		hi = lo
	}
	return lo, hi
}

func (r *fieldReader) rod(path, what string, axis AxisName, centre [2]units.Length, diameter units.Length, lo, hi float64) fdtd.Cylinder {
	if !(diameter > 0) {
		r.fault(path, what, fmt.Sprintf("a diameter of %v", diameter), "write a diameter above zero")
	}
	a := axisOf(axis)
	c := fdtd.Cylinder{Axis: a, Radius: float64(diameter) / 2, Length: hi - lo}
	u, v := axes(a)
	c.Start[a], c.Start[u], c.Start[v] = lo, float64(centre[0]), float64(centre[1])
	return c
}

func (r *fieldReader) polygon(path, what string, a int, corners [][2]units.Length, lo, hi float64) fdtd.Prism {
	p := fdtd.Prism{Axis: a, From: lo, To: hi}
	for _, q := range corners {
		p.Polygon = append(p.Polygon, turn(a, q))
	}
	if area := areaOf(p.Polygon); len(corners) < 3 || !(area > 0) {
		r.fault(path, what, fmt.Sprintf("a polygon of %d corners and an area of %.3g mm²", len(corners), area*1e6), "give at least three corners, in order round the outline")
	}
	return p
}

// areaOf is a polygon's area, m².
func areaOf(p [][2]float64) float64 {
	sum := 0.0
	for i, a := range p {
		b := p[(i+1)%len(p)]
		sum += a[0]*b[1] - b[0]*a[1]
	}
	return math.Abs(sum) / 2
}

func (r *fieldReader) solid(path string, i int, s SolidSpec) {
	what := fmt.Sprintf("solid %d", i+1)
	if s.Name != "" {
		what += " (" + s.Name + ")"
	}
	n := 0
	for _, given := range []bool{s.Box != nil, s.Cylinder != nil, s.Prism != nil, s.Sheet != nil, s.Via != nil} {
		if given {
			n++
		}
	}
	if n != 1 {
		r.fault(path, what, fmt.Sprintf("%d shapes are given", n), "give exactly one of box, cylinder, prism, sheet and via")
		return
	}
	if s.Via != nil {
		r.via(path, what, s)
		return
	}
	if s.Material == "" {
		r.fault(path, what, "material is missing", "add material: metal, air, or a name of materials")
		return
	}
	m := r.named(path+".material", s.Material)
	if s.Net != "" && !m.Metal {
		r.fault(path+".net", what, "a net of what is no metal", "leave net out, or make it metal")
	}
	var sh fdtd.Shape
	switch {
	case s.Box != nil:
		b := fdtd.Box{Low: r.f.Model.Region.Low, High: r.f.Model.Region.High}
		for a, q := range []*[2]units.Length{s.Box.X, s.Box.Y, s.Box.Z} {
			if q == nil {
				continue
			}
			b.Low[a], b.High[a] = float64(q[0]), float64(q[1])
			if !(q[1] >= q[0]) {
				r.fault(path+".box."+string("xyz"[a]), what, fmt.Sprintf("it runs from %v down to %v", q[0], q[1]), "write the lower place first")
			}
		}
		sh = b
	case s.Cylinder != nil:
		c := s.Cylinder
		lo, hi := r.span(path+".cylinder", what, axisOf(c.Axis), c.From, c.To)
		sh = r.rod(path+".cylinder", what, c.Axis, c.Centre, c.Diameter, lo, hi)
	case s.Prism != nil:
		p := s.Prism
		lo, hi := r.span(path+".prism", what, axisOf(p.Axis), p.From, p.To)
		sh = r.polygon(path+".prism", what, axisOf(p.Axis), p.Polygon, lo, hi)
	case s.Sheet != nil:
		sh = r.sheet(path+".sheet", what, *s.Sheet)
	}
	r.add(path, what, sh, m, s.Net)
}

func (r *fieldReader) sheet(path, what string, s SheetSpec) fdtd.Shape {
	a, at := axisOf(s.Axis), float64(s.At)
	if len(s.Polygon) > 0 {
		if s.Low != nil || s.High != nil {
			r.fault(path, what, "corners and a polygon at once", "give one of the two")
		}
		return r.polygon(path, what, a, s.Polygon, at, at)
	}
	b := fdtd.Box{Low: r.f.Model.Region.Low, High: r.f.Model.Region.High}
	u, v := axes(a)
	if (s.Low == nil) != (s.High == nil) {
		r.fault(path, what, "one corner of two", "give low and high, or neither for the whole region")
	} else if s.Low != nil {
		b.Low[u], b.Low[v], b.High[u], b.High[v] = float64(s.Low[0]), float64(s.Low[1]), float64(s.High[0]), float64(s.High[1])
		if !(s.High[0] > s.Low[0]) || !(s.High[1] > s.Low[1]) {
			r.fault(path, what, "no area", "write the lower corner as low:, the higher as high:")
		}
	}
	b.Low[a], b.High[a] = at, at
	return b
}

// via lays its antipads, pads and barrel, in this order.
func (r *fieldReader) via(path, what string, s SolidSpec) {
	v := *s.Via
	path += ".via"
	if s.Material != "" && s.Material != metalWord {
		r.fault(strings.TrimSuffix(path, ".via")+".material", what, "a via's barrel and pads are metal", "leave material out; fill: names the antipads' material")
	}
	a := axisOf(v.Axis)
	fill := r.f.Model.Background
	if v.Fill != "" {
		fill = r.named(path+".fill", v.Fill)
	}
	if fill.Metal && len(v.Antipads) > 0 {
		r.fault(path, what, "antipads of metal", "add fill: with the name of the dielectric in them")
	}
	ring := func(key string, i int, d RingSpec, m fdtd.Material, net string) {
		at := fmt.Sprintf("%s.%s[%d]", path, key, i)
		label := fmt.Sprintf("%s, %s %d", what, strings.TrimSuffix(key, "s"), i+1)
		lo, hi := r.span(at, label, a, &d.From, &d.To)
		if d.Diameter > 0 && !(d.Diameter > v.Drill) {
			r.fault(at, label, fmt.Sprintf("a diameter of %v within the drilled hole of %v", d.Diameter, v.Drill), "make it larger than drill")
		}
		r.add(at, label, r.rod(at, label, v.Axis, v.Centre, d.Diameter, lo, hi), m, net)
	}
	for i, d := range v.Antipads {
		ring("antipads", i, d, fill, "")
	}
	metal := r.materials[metalWord]
	for i, d := range v.Pads {
		ring("pads", i, d, metal, s.Net)
	}
	lo, hi := r.span(path, what, a, v.From, v.To)
	r.add(path, what+", barrel", r.rod(path, what, v.Axis, v.Centre, v.Drill, lo, hi), metal, s.Net)
	if v.Plating != 0 {
		bore := v.Drill - 2*v.Plating
		if !(v.Plating > 0) || !(bore > 0) {
			r.fault(path+".plating", what, fmt.Sprintf("plating of %v in a hole of %v", v.Plating, v.Drill), "write a thickness below half of drill, or leave it out for a hole full of metal")
			return
		}
		m := r.materials[airWord]
		if v.Bore != "" {
			m = r.named(path+".bore", v.Bore)
		}
		r.add(path, what+", bore", r.rod(path, what, v.Axis, v.Centre, bore, lo, hi), m, "")
	}
}

// add puts a shape into the model, if it touches the region.
func (r *fieldReader) add(path, label string, sh fdtd.Shape, m fdtd.Material, net string) {
	lo, hi := sh.Bounds()
	for a := range 3 {
		if !r.unbounded && (hi[a] < r.f.Model.Region.Low[a] || lo[a] > r.f.Model.Region.High[a]) {
			r.fault(path, label, fmt.Sprintf("it lies outside the region along %c", "xyz"[a]), "move it, or make the region larger; the lengths here are in [x, y, z]")
			break
		}
	}
	if m.Conductor != nil && (lo[0] == hi[0] || lo[1] == hi[1] || lo[2] == hi[2]) {
		r.fault(path, label, "a sheet without thickness of metal that has loss: the current at its edge has no finite loss", "give it its thickness, or leave metal out")
	}
	r.f.Model.Solids = append(r.f.Model.Solids, fdtd.Solid{Name: label, Shape: sh, Material: m, Net: net})
	r.f.labels = append(r.f.labels, place3{label, path})
}

func (r *fieldReader) port(path string, i int, p PortSpec) {
	what := fmt.Sprintf("port %d", i+1)
	if p.Name != "" {
		what += " (" + p.Name + ")"
	}
	side := slices.Index(p.Side.Options(), string(p.Side))
	if side < 0 {
		r.fault(path, what, "side is missing", "add side: one of %s", strings.Join(p.Side.Options(), ", "))
		return
	}
	a := side / 2
	u, v := axes(a)
	for k, other := range r.f.File.Ports[:i] {
		switch {
		case p.Name != "" && other.Name == p.Name:
			r.fault(path+".name", p.Name, fmt.Sprintf("a second port of this name, after port %d", k+1), "give each a name of its own")
		case other.Side == p.Side && !apart(p.Window, other.Window) && (p.Mode == "te10" || other.Mode == "te10" || p.Signal != nil && other.Signal != nil && *p.Signal == *other.Signal):
			r.fault(path, what, fmt.Sprintf("it stands on side %s where port %d does", p.Side, k+1), "move one to another side, or give each a window: of its own")
		}
	}
	if p.Mode == "te10" && !r.metal() { // only the sides can be the guide's walls
		for _, b := range []int{u, v} {
			for end, word := range []string{"low", "high"} {
				if r.f.Model.Boundaries[2*b+end] == fdtd.Open {
					r.fault(path, what, fmt.Sprintf("the guide has no wall: side %c_%s is open and there is no metal", "xyz"[b], word), "make the side electric, or add the walls")
				}
			}
		}
	}
	q := fdtd.Port{Name: strings.TrimPrefix(what, "port "), Side: fdtd.Side(side), Plane: r.f.Model.Region.Low[a]}
	if side%2 == 1 {
		q.Plane = r.f.Model.Region.High[a]
	}
	if p.Plane != nil {
		q.Plane = float64(*p.Plane)
	}
	switch {
	case p.Mode == "te10":
		q.Mode = fdtd.TE
		if p.Signal != nil || len(p.Signals) > 0 {
			r.fault(path+".signal", what, "a hollow guide has no signal conductor", "leave signal out, or make the mode tem")
		}
	case len(p.Signals) > 0:
		if p.Signal != nil {
			r.fault(path+".signal", what, "signal and signals are both given", "keep signals, with every conductor in it")
		}
		for _, at := range p.Signals {
			q.Signals = append(q.Signals, turn(a, at))
		}
	case p.Signal == nil:
		r.fault(path, what, "signal is missing", "add signal: a point [%c, %c] of the signal conductor, such as [0 mm, 0 mm]", "xyz"[u], "xyz"[v])
	default:
		q.Signal = turn(a, *p.Signal)
	}
	q.Modes = p.Modes
	if least := max(len(p.Signals), 1); p.Modes < 0 || p.Modes > 0 && p.Modes < least || p.Modes > 100 {
		r.fault(path+".modes", fmt.Sprint(p.Modes), "no number of modes for this port", "write %d to 100, or leave it out", least)
	}
	q.Reference = float64(p.Reference)
	switch {
	case !(p.Reference >= 0):
		r.fault(path+".reference", fmt.Sprint(p.Reference), "no resistance", "write one above zero, or leave it out for 50 ohm")
	case p.Reference > 0 && len(p.Signals) == 0:
		r.fault(path+".reference", fmt.Sprint(p.Reference), "only the conductors in signals have a reference of their own", "leave it out: S is referred to the line's own impedance; or ask with --reference")
	}
	if w := p.Window; w != nil {
		if !(w.High[0] > w.Low[0]) || !(w.High[1] > w.Low[1]) {
			r.fault(path+".window", what, "no area", "write the lower corner as low:, the higher as high:")
		}
		q.Window = [2][2]float64{turn(a, w.Low), turn(a, w.High)}
	}
	r.f.Model.Ports = append(r.f.Model.Ports, q)
	r.f.labels = append(r.f.labels, place3{what, path})
}

// metal says whether any stands in the region.
func (r *fieldReader) metal() bool {
	return r.f.Model.Background.Metal || slices.ContainsFunc(r.f.Model.Solids, func(s fdtd.Solid) bool { return s.Material.Metal })
}

// apart says whether two windows have no area in common; a port without one
// has the whole side.
func apart(a, b *WindowSpec) bool {
	if a == nil || b == nil {
		return false
	}
	for k := range 2 {
		if a.High[k] <= b.Low[k] || b.High[k] <= a.Low[k] {
			return true
		}
	}
	return false
}

func (r *fieldReader) cage(path string, i int, c CageSpec) {
	name := fmt.Sprint(i + 1)
	if c.Name != "" {
		name += " (" + c.Name + ")"
	}
	if c.Inside == nil {
		r.fault(path, "cage "+name, "inside is missing", "add inside: a point [x, y, z] of the space, such as [0 mm, 0 mm, 1 mm]")
		return
	}
	q := fdtd.Cage{Name: name}
	for a := range 3 {
		q.Inside[a] = float64(c.Inside[a])
	}
	r.f.Model.Cages = append(r.f.Model.Cages, q)
	r.f.labels = append(r.f.labels, place3{"cage " + name, path})
}

func (r *fieldReader) rest() {
	f := r.f.File
	if len(f.Ports) == 0 {
		r.fault("", "ports", "the structure has no port", "add ports: [{name: in, side: z_low, signal: [0 mm, 0 mm]}] where a line leaves the region")
	}
	b := f.Band
	if !(b.From >= 0) || !(b.To > b.From) {
		r.fault("band", "band", fmt.Sprintf("from %v to %v", b.From, b.To), "write band: {from: 1 GHz, to: 40 GHz}")
	}
	n := b.Points
	if n == 0 {
		n = 101
	}
	if n < 2 || n > 100_000 {
		r.fault("band.points", fmt.Sprintf("points: %d", b.Points), "out of range", "ask for 2 to 100000 frequencies")
		n = 2
	}
	r.f.Model.Band = [2]float64{float64(b.From), float64(b.To)}
	o := &r.f.Options
	for k := range n {
		x := float64(b.From) + float64(b.To-b.From)*float64(k)/float64(n-1)
		if x > 0 {
			o.Frequencies = append(o.Frequencies, x)
		}
	}
	if f.Accuracy != 0 && !(f.Accuracy >= 1e-4 && f.Accuracy <= 0.2) {
		r.fault("accuracy", fmt.Sprintf("accuracy: %g", f.Accuracy), "out of range", "it is the error of any S-parameter, from 0.0001 to 0.2, such as 0.01")
	}
	for i, q := range f.Slices {
		r.slice(fmt.Sprintf("slices[%d]", i), i, q)
	}
	g := f.Grid
	within := func(key string, x, low, high float64) float64 {
		if x != 0 && !(x >= low && x <= high) {
			r.fault("grid."+key, fmt.Sprintf("%s: %g", key, x), "out of range", "write a number from %g to %g", low, high)
			return 0
		}
		return x
	}
	o.CellsPerWave = within("cells_per_wave", g.CellsPerWave, 8, 1000)
	o.Across = int(within("cells_across", float64(g.CellsAcross), 1, 100))
	o.Layers = int(within("layers", float64(g.Layers), 4, 64))
	o.MaxCells = within("max_cells", g.MaxCells, 1, 1e12)
	o.Double = g.Double
	if g.LargestCell < 0 {
		r.fault("grid.largest_cell", fmt.Sprintf("largest_cell: %v", g.LargestCell), "below zero", "write a length such as 0.1 mm")
	}
	o.Cell = float64(g.LargestCell)
	if s := f.Stop; s.EnergyDown != 0 {
		if !(s.EnergyDown >= 10 && s.EnergyDown <= 200) {
			r.fault("stop.energy_down", fmt.Sprintf("energy_down: %v", s.EnergyDown), "out of range", "write a fall of 10 dB to 200 dB, such as 80 dB")
		}
		o.EnergyLeft = math.Pow(10, -float64(s.EnergyDown)/10)
	}
	if s := f.Stop.Steps; s < 0 {
		r.fault("stop.steps", fmt.Sprintf("steps: %d", s), "below zero", "write a whole number such as 50000")
	} else {
		o.MaxSteps = s
	}
}

func (r *fieldReader) slice(path string, i int, q SliceSpec) {
	what := fmt.Sprintf("slice %d", i+1)
	m := r.f.Model
	s := fdtd.Slice{Axis: axisOf(q.Axis), At: float64(q.At), Frequencies: []float64{float64(q.Frequency)}}
	if q.Frequency == 0 {
		s.Frequencies[0] = (m.Band[0] + m.Band[1]) / 2
	} else if f := float64(q.Frequency); !(f >= m.Band[0] && f <= m.Band[1]) {
		r.fault(path+".frequency", what, fmt.Sprintf("%v lies outside the band", q.Frequency), "choose a frequency within band:")
	}
	if lo, hi := m.Region.Low[s.Axis], m.Region.High[s.Axis]; !r.unbounded && !(s.At >= lo && s.At <= hi) {
		r.fault(path+".at", what, fmt.Sprintf("it stands at %v, outside the region", q.At), "choose a place from %v to %v", units.Length(lo), units.Length(hi))
	}
	if q.Fed != "" {
		s.Port = slices.IndexFunc(r.f.File.Ports, func(p PortSpec) bool { return p.Name == q.Fed })
		if s.Port < 0 {
			s.Port = 0
			r.fault(path+".fed", q.Fed, "no port of this name", "write the name of one of the ports, or leave it out for the first")
		}
	}
	r.f.Options.Slices = append(r.f.Options.Slices, s)
}

// Explain turns what the solver says of the structure into faults of its file;
// any other error stays as it is.
func (f Structure) Explain(err error) error {
	var faults Faults
	for _, e := range parts(err) {
		text, ours := strings.CutPrefix(e.Error(), "fdtd: ")
		if !ours {
			return err
		}
		path, found := "", ""
		for _, begins := range []bool{true, false} {
			for _, l := range f.labels {
				at := strings.Index(text+" ", l.label+" ")
				if found == "" && (at == 0 && begins || at > 0 && !begins) {
					path, found = l.path, l.label
				}
			}
		}
		problem, help, ok := strings.Cut(text, ": ")
		if !ok {
			help = "look at it with: linewright field FILE --plan --plot FILE.svg"
		}
		faults = append(faults, f.where.at(path, ErrValue, found, problem, help))
	}
	if len(faults) == 0 {
		return nil
	}
	return faults
}
