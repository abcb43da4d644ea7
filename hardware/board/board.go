// Package board describes a printed board: its layers from top to bottom with
// their materials and tolerances, and what its fabricator can make. It turns a
// trace on a layer into a line of package line, and holds the closed formulas
// of vias, fences and plane cavities.
//
// A footprint belongs to one stackup. [Stackup.Identity] says to which: the
// fabricator, the revision, and a hash over everything physical.
package board

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"strings"

	"linewright/hardware/part"
	"linewright/physics/units"
)

// Stackup is a board's layers, from top to bottom, as one fabricator makes
// them. A pointer that is nil was not stated.
type Stackup struct {
	Name       string
	Fabricator string
	Revision   string // of the fabricator's stackup document
	Source     string // where the figures come from
	Standing   part.Standing
	Note       string
	Layers     []Layer // from the top down; the mask layers included
	Finish     Finish  // of the exposed outer copper
	Limits     Limits
}

// LayerKind says what a layer is made of.
type LayerKind string

// The kinds of layers.
const (
	Copper LayerKind = "copper"
	Core   LayerKind = "core"
	Bond   LayerKind = "prepreg" // pressed: its thickness is that between the coppers
	Mask   LayerKind = "mask"
)

// Options lists the words a file may use.
func (LayerKind) Options() []string { return []string{"copper", "core", "prepreg", "mask"} }

// Use says what a copper layer carries.
type Use string

// A plane is a reference for its neighbours; a signal layer is not, where it
// has no pour; a mixed layer has traces with ground between them.
const (
	Signal Use = "signal"
	Plane  Use = "plane"
	Mixed  Use = "mixed"
)

// Options lists the words a file may use.
func (Use) Options() []string { return []string{"signal", "plane", "mixed"} }

// Layer is one layer. Which fields count follows from its kind.
type Layer struct {
	Name               string // "L1"; copper layers must have one
	Kind               LayerKind
	Thickness          units.Length // finished, plating included
	ThicknessTolerance *units.Length

	// Copper
	Use           Use
	Foil          string        // "rolled", "very low profile electrodeposited"
	Roughness     *units.Length // rms height Rq of the side that faces the core
	RoughnessRz   *units.Length // ten-point height Rz of it, where Rq is not known
	EtchTolerance *units.Length // of a trace's width, plus or minus
	EtchTaper     *units.Length // by which a trace's outer face is narrower than its foot, both sides together
	Conductivity  *units.Conductivity

	// Core, prepreg and mask
	Material              string
	Glass                 string // style and direction of weave: "1067, warp along x"
	Permittivity          *float64
	PermittivityTolerance *float64
	LossTangent           *float64
	At                    *units.Frequency // at which the two stand
}

func (l Layer) dielectric() bool { return l.Kind == Core || l.Kind == Bond }

// FinishKind is the surface finish of exposed copper.
type FinishKind string

// The finishes of the trade.
const (
	BareCopper      FinishKind = "bare copper"
	NickelGold      FinishKind = "nickel-gold"
	NickelPalladium FinishKind = "nickel-palladium-gold"
	DirectGold      FinishKind = "nickel-free gold"
	HardGold        FinishKind = "hard gold" // electroplated, over nickel unless its layers say otherwise
	ImmersionSilver FinishKind = "immersion silver"
	ImmersionTin    FinishKind = "immersion tin"
	Organic         FinishKind = "organic" // organic solderability preservative
)

// Options lists the words a file may use.
func (FinishKind) Options() []string {
	return []string{"bare copper", "nickel-gold", "nickel-palladium-gold", "nickel-free gold", "hard gold", "immersion silver", "immersion tin", "organic"}
}

// Nickel says that the finish puts nickel on the copper.
func (k FinishKind) Nickel() bool {
	return k == NickelGold || k == NickelPalladium || k == HardGold
}

// Finish is what covers exposed outer copper, the outermost layer first.
type Finish struct {
	Kind    FinishKind // empty: not stated
	Plating []Plating
}

// Plating is one plated layer.
type Plating struct {
	Metal     string // a metal of package material's table
	Thickness units.Length
}

// Limits are what a fabricator can make. They take no part in the hash: a
// better drill does not change a board that is drawn.
type Limits struct {
	Drill              *units.Length // smallest mechanical drill
	LaserDrill         *units.Length // smallest laser-drilled via
	AnnularRing        *units.Length // smallest, copper around a finished hole
	Trace, Gap         *units.Length // smallest
	ViaPitch           *units.Length // smallest centre distance of two drilled holes
	HoleSpacing        *units.Length // smallest web between the walls of two holes
	AspectRatio        *float64      // largest depth of a drilled hole over its diameter
	LaserAspectRatio   *float64
	BackdrillTolerance *units.Length // of depth, plus or minus
	BackdrillStub      *units.Length // nominal length left
	BackdrillOversize  *units.Length // of its diameter over the drill
	Registration       *units.Length // of one layer to another
	EdgeTolerance      *units.Length // of the routed outline
	PlatedEdge         *bool
	Source             string
}

// UsualLimits are what fabricators of microwave boards commonly make, for use
// where none is named: common practice, no single source, and none holds
// everywhere.
func UsualLimits() Limits {
	mm := func(x float64) *units.Length { l := units.Length(x * 1e-3); return &l }
	aspect, laser := 8.0, 1.0
	return Limits{Drill: mm(0.15), LaserDrill: mm(0.1), AnnularRing: mm(0.1), Trace: mm(0.1), Gap: mm(0.1), ViaPitch: mm(0.35),
		AspectRatio: &aspect, LaserAspectRatio: &laser, BackdrillTolerance: mm(0.1), Registration: mm(0.075), Source: "common practice"}
}

// SmallestPitch returns the smallest centre distance of two drilled vias: as
// stated, or the smallest drill with the web that must stay between holes.
func (l Limits) SmallestPitch() (units.Length, bool) {
	switch {
	case l.ViaPitch != nil:
		return *l.ViaPitch, true
	case l.Drill != nil && l.HoleSpacing != nil:
		return *l.Drill + *l.HoleSpacing, true
	}
	return 0, false
}

// Identity is the stackup that a footprint belongs to.
type Identity struct {
	Fabricator string
	Revision   string
	Hash       string // see [Stackup.Hash]
}

// Complete says whether the identity names fabricator, revision and content:
// without all three a footprint must not be issued.
func (i Identity) Complete() bool { return i.Fabricator != "" && i.Revision != "" && i.Hash != "" }

func (i Identity) String() string {
	return fmt.Sprintf("%s, revision %s, %s", stated(i.Fabricator), stated(i.Revision), stated(i.Hash))
}

func stated(s string) string {
	if s == "" {
		return "not stated"
	}
	return s
}

// Identity returns s's identity.
func (s Stackup) Identity() Identity { return Identity{s.Fabricator, s.Revision, s.Hash()} }

// Hash returns the first 16 hexadecimal digits of the SHA-256 of everything
// physical in s: each layer's kind, thickness, material, foil and figures with
// tolerances, and the finish. Names, notes, sources and the fabricator's limits
// are left out, so two files of one board agree.
func (s Stackup) Hash() string {
	var b strings.Builder
	length := func(p *units.Length) string {
		if p == nil {
			return "-"
		}
		return units.Exact(*p)
	}
	number := func(p *float64) string {
		if p == nil {
			return "-"
		}
		return fmt.Sprintf("%g", *p)
	}
	for _, l := range s.Layers {
		at, sigma := "-", "-"
		if l.At != nil {
			at = units.Exact(*l.At)
		}
		if l.Conductivity != nil {
			sigma = units.Exact(*l.Conductivity)
		}
		fmt.Fprintf(&b, "%q|%s|%s|%q|%q|%s|%s|%s|%s|%s|%q|%q|%s|%s|%s|%s\n", string(l.Kind), units.Exact(l.Thickness), length(l.ThicknessTolerance),
			string(l.Use), l.Foil, length(l.Roughness), length(l.RoughnessRz), length(l.EtchTolerance), length(l.EtchTaper), sigma,
			l.Material, l.Glass, number(l.Permittivity), number(l.PermittivityTolerance), number(l.LossTangent), at)
	}
	fmt.Fprintf(&b, "finish %q\n", string(s.Finish.Kind))
	for _, p := range s.Finish.Plating {
		fmt.Fprintf(&b, "%q|%s\n", p.Metal, units.Exact(p.Thickness))
	}
	return fmt.Sprintf("%x", sha256.Sum256([]byte(b.String())))[:16]
}

// Coppers returns the indices of the copper layers, from the top.
func (s Stackup) Coppers() []int {
	var at []int
	for i, l := range s.Layers {
		if l.Kind == Copper {
			at = append(at, i)
		}
	}
	return at
}

// Thickness returns the thickness of the whole board: its layers' sum, without
// the mask, since connectors sit on bare board.
func (s Stackup) Thickness() units.Length {
	var sum units.Length
	for _, l := range s.Layers {
		if l.Kind != Mask {
			sum += l.Thickness
		}
	}
	return sum
}

// ThicknessTolerance returns the sum of the layers' tolerances, the worst case
// and for independent layers their root sum of squares; ok is false when a
// layer states none.
func (s Stackup) ThicknessTolerance() (worst, rss units.Length, ok bool) {
	sum2 := 0.0
	for _, l := range s.Layers {
		if l.Kind == Mask {
			continue
		}
		if l.ThicknessTolerance == nil {
			return 0, 0, false
		}
		worst += *l.ThicknessTolerance
		sum2 += float64(*l.ThicknessTolerance) * float64(*l.ThicknessTolerance)
	}
	return worst, units.Length(math.Sqrt(sum2)), true
}

// A LayerError says which layer makes no sense, what stands there, and what
// would be right.
type LayerError struct {
	Stackup string
	Layer   int    // index from 0; −1: the stackup as a whole
	Name    string // of the layer
	Problem string
	Help    string
}

func (e *LayerError) Error() string {
	where := "stackup " + e.Stackup
	if e.Layer >= 0 {
		where = fmt.Sprintf("stackup %s, layer %d", e.Stackup, e.Layer+1)
		if e.Name != "" {
			where += " (" + e.Name + ")"
		}
	}
	return where + ": " + e.Problem + "; " + e.Help
}

// Check reports, joined, everything in s that makes no sense. What is merely
// not stated is no fault: see [Stackup.Missing].
func (s Stackup) Check() error {
	var errs []error
	wrong := func(layer int, problem, help string, args ...any) {
		name := ""
		if layer >= 0 {
			name = s.Layers[layer].Name
		}
		errs = append(errs, &LayerError{s.Name, layer, name, fmt.Sprintf(problem, args...), help})
	}
	const mm = 1e-3
	seen := map[string]int{}
	for i, l := range s.Layers {
		t := float64(l.Thickness)
		switch l.Kind {
		case Copper:
			if !(t >= 1e-6 && t <= 0.5*mm) {
				wrong(i, "copper %v thick", "finished copper is between 1 µm and 0.5 mm: look for a slipped unit", l.Thickness)
			}
			if l.Name == "" {
				wrong(i, "a copper layer without a name", "traces and pads name their layer: call it L1, L2 ...")
			} else if k, ok := seen[l.Name]; ok {
				wrong(i, "the name stands at layer %d too", "give each copper layer a name of its own", k+1)
			}
			seen[l.Name] = i
			if l.Permittivity != nil || l.LossTangent != nil {
				wrong(i, "copper with a permittivity", "permittivity belongs to core, prepreg and mask")
			}
			for _, r := range []struct {
				what string
				v    *units.Length
			}{{"roughness", l.Roughness}, {"roughness_rz", l.RoughnessRz}} {
				if r.v != nil && !(*r.v >= 0 && float64(*r.v) < 30e-6) {
					wrong(i, r.what+" %v", "foil is between 0.1 µm and a few µm rms: look for a slipped unit", *r.v)
				}
			}
			if l.Conductivity != nil && !(*l.Conductivity > 0) {
				wrong(i, "conductivity %v", "copper has 58 MS/m", *l.Conductivity)
			}
			if l.EtchTaper != nil && !(*l.EtchTaper >= 0 && *l.EtchTaper <= 4*l.Thickness) {
				wrong(i, "an etch taper of %v", "both flanks together take about the copper's thickness", *l.EtchTaper)
			}
		case Core, Bond, Mask:
			if !(t >= 5e-6 && t <= 10*mm) {
				wrong(i, "%s %v thick", "dielectrics are between 5 µm and 10 mm: look for a slipped unit", l.Kind, l.Thickness)
			}
			if l.Permittivity != nil && !(*l.Permittivity >= 1 && *l.Permittivity <= 200) {
				wrong(i, "permittivity %g", "the relative permittivity of a board material lies between 1 and some tens", *l.Permittivity)
			}
			if l.LossTangent != nil && !(*l.LossTangent >= 0 && *l.LossTangent < 0.5) {
				wrong(i, "loss tangent %g", "it lies between 0.0005 and 0.03 for board materials: look for a percent sign", *l.LossTangent)
			}
			if l.PermittivityTolerance != nil && (l.Permittivity == nil || !(*l.PermittivityTolerance >= 0 && *l.PermittivityTolerance < *l.Permittivity-0.9)) {
				wrong(i, "permittivity tolerance %g", "it is the plus or minus of permittivity, such as 0.05", *l.PermittivityTolerance)
			}
			if l.At != nil && !(*l.At > 0) {
				wrong(i, "permittivity at %v", "give the frequency at which it was measured", *l.At)
			}
			if l.Use != "" || l.Roughness != nil || l.RoughnessRz != nil {
				wrong(i, "a dielectric with a use or roughness", "these belong to copper")
			}
		default:
			wrong(i, "no kind", "give kind: copper, core, prepreg or mask")
		}
		if tol := l.ThicknessTolerance; tol != nil && !(*tol >= 0 && *tol < l.Thickness) {
			wrong(i, "a thickness tolerance of %v on %v", "it is the plus or minus, less than the thickness", *tol, l.Thickness)
		}
		if l.Kind == Mask && i != 0 && i != len(s.Layers)-1 {
			wrong(i, "mask inside the board", "mask lies outermost")
		}
		if l.Kind == Copper && i > 0 && s.Layers[i-1].Kind == Copper {
			wrong(i, "copper on copper", "a dielectric lies between two copper layers; plating belongs to its layer's thickness")
		}
	}
	if n := len(s.Coppers()); n == 0 && len(s.Layers) > 0 {
		wrong(-1, "no copper layer", "give the layers from the top down")
	} else if len(s.Layers) == 0 {
		wrong(-1, "no layers", "give layers from the top down: copper, core, copper")
	}
	if c := s.Coppers(); len(c) > 0 {
		for i, l := range s.Layers {
			if l.dielectric() && (i < c[0] || i > c[len(c)-1]) {
				wrong(i, "%s outside the outermost copper", "end the board with copper; a cover film is a mask", l.Kind)
			}
		}
	}
	for _, p := range s.Finish.Plating {
		if !(p.Thickness > 0 && float64(p.Thickness) < 50e-6) {
			wrong(-1, "a finish with %v of "+p.Metal, "finishes are between 0.03 µm and 10 µm thick", p.Thickness)
		}
	}
	errs = append(errs, s.Limits.check(s.Name)...)
	return errors.Join(errs...)
}

func (l Limits) check(stackup string) (errs []error) {
	for _, x := range []struct {
		what string
		v    *units.Length
	}{{"drill", l.Drill}, {"laser_drill", l.LaserDrill}, {"annular_ring", l.AnnularRing}, {"trace", l.Trace}, {"gap", l.Gap}, {"via_pitch", l.ViaPitch},
		{"hole_spacing", l.HoleSpacing}, {"backdrill_tolerance", l.BackdrillTolerance}, {"backdrill_stub", l.BackdrillStub},
		{"registration", l.Registration}, {"edge_tolerance", l.EdgeTolerance}} {
		if x.v != nil && !(*x.v > 0 && *x.v < 10e-3) {
			errs = append(errs, &LayerError{stackup, -1, "", fmt.Sprintf("limits: %s is %v", x.what, *x.v), "a fabricator's limit lies between some µm and some mm"})
		}
	}
	if l.Drill != nil && l.ViaPitch != nil && *l.ViaPitch <= *l.Drill {
		errs = append(errs, &LayerError{stackup, -1, "", fmt.Sprintf("limits: via_pitch %v is not above the drill %v", *l.ViaPitch, *l.Drill), "it is the distance from centre to centre"})
	}
	return errs
}

// Missing lists what s leaves open that a launch at f hangs on, as questions.
func (s Stackup) Missing() []string {
	var out []string
	ask := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if s.Fabricator == "" || s.Revision == "" {
		ask("Who fabricates the board, and which revision of his stackup is it?")
	}
	if s.Finish.Kind == "" {
		ask("Which surface finish?")
	}
	for i, l := range s.Layers {
		name := l.Name
		if name == "" {
			name = fmt.Sprintf("layer %d (%s)", i+1, l.Kind)
		}
		switch {
		case l.Kind == Copper && l.Foil == "" && l.Roughness == nil && l.RoughnessRz == nil:
			ask("Which foil, and how rough, is %s?", name)
		case l.dielectric() && l.Permittivity == nil:
			ask("What is the permittivity of %s, and at which frequency?", name)
		case l.dielectric() && l.At == nil:
			ask("At which frequency do the figures of %s stand?", name)
		case l.dielectric() && l.LossTangent == nil:
			ask("What is the loss tangent of %s?", name)
		}
	}
	if n := len(s.Layers); n > 0 && s.Layers[0].Kind != Mask && s.Layers[n-1].Kind != Mask {
		ask("Is there solder mask, and where is it kept clear?")
	}
	return out
}
