// Package launch checks, before any field is solved, the transition from a
// board's line into a connector: the one part of a chain that is custom every
// time. [Check] goes through the elementary rules L1 to L18 of the trade, each
// with its number, its limit, and how far the rule can be trusted; [Estimate]
// gives a two-port from closed formulas, a trend only.
//
// What is not stated is not assessed; a rule of thumb that the fabricator
// cannot follow is shown as a collision, with both numbers and a way that can
// be made; a footprint drawn for another stackup is refused.
package launch

import (
	"fmt"
	"math"
	"strings"

	"linewright/hardware/board"
	"linewright/hardware/part"
	"linewright/physics/line"
	"linewright/physics/units"
)

// Input is a launch as far as it is known. A pointer that is nil was not
// stated.
type Input struct {
	Top        units.Frequency // highest frequency at which the launch must work
	ReturnLoss *units.Level    // asked of the launch alone; nil: the usual, see ReturnLossTarget
	Mount      part.Mount      // empty: the connector's, or not known
	Connector  *part.BoardConnector
	Stackup    *board.Stackup // nil: the figures of the board below, as far as they are known
	Board      Board
	Footprint  *Footprint // a land pattern brought along

	Parameters
}

// Board is what the checks ask of a board when its stackup is not at hand.
type Board struct {
	Fabricator   string
	Permittivity *float64 // of the dielectric under the line
	Height       *units.Length
	Thickness    *units.Length
	Layers       *int // of copper
	Finish       board.FinishKind
	Limits       *board.Limits // nil: the usual ones
}

// Footprint is a land pattern with the board it was drawn for.
type Footprint struct {
	Name         string
	Identity     board.Identity
	Height       *units.Length
	Permittivity *float64
	Thickness    *units.Length
	Layers       *int
}

// Parameters are the geometry of a launch.
type Parameters struct {
	Pad   Pad
	Via   Via
	Ring  Ring
	Legs  Legs
	Fence Fence
	Trace Trace
	Edge  Edge
	Pin   Pin
	Mask  Mask
	Clamp Clamp

	Temperature *units.Temperature // at which the dimensions and materials stand
}

// Pad is the signal pad.
type Pad struct {
	Shape      string // "round", "rectangular", "teardrop"
	Length     *units.Length
	Width      *units.Length
	Ground     *units.Length // from the pad to the copper below it, cut-outs counted; nil: the line's height
	Aperture   *units.Length // inner diameter or width of the ground pad around it
	NeckLength *units.Length // from pad to trace
	NeckWidth  *units.Length
	Solder     *units.Length // height of the fillet
}

// ViaKind is how a via is made.
type ViaKind string

// The kinds of vias.
const (
	Through ViaKind = "through"
	Blind   ViaKind = "blind"
	Micro   ViaKind = "micro"
	Stacked ViaKind = "stacked micro"
)

// Options lists the words a file may use.
func (ViaKind) Options() []string { return []string{"through", "blind", "micro", "stacked micro"} }

// Via is the signal via.
type Via struct {
	Kind      ViaKind
	Filled    *bool         // plugged and capped
	Drill     *units.Length // the barrel's outer diameter
	Finished  *units.Length
	Pad       *units.Length // diameter
	Pads      *int          // layers with a pad, non-functional ones included
	Antipad   *units.Length // diameter of the clearance in the planes
	Length    *units.Length // from pad to the line's layer
	Stub      *units.Length // left below the line's layer
	Backdrill *units.Length // depth
	Effective *float64      // effective permittivity of the stub; nil: the larger of 4 and the dielectric's
	Layers    []ViaLayer    // layers whose pad or antipad is another
}

// ViaLayer is the signal via where it crosses one copper layer.
type ViaLayer struct {
	Layer   string
	Pad     *units.Length // diameter; nil: the via's
	Antipad *units.Length // diameter, or the smaller width of another shape; nil: the via's
	Shape   string        // of the antipad: "round", "oval", "rectangular"
}

// tightest returns the pad and the antipad of the layer that leaves the least
// between them, or the via's own.
func (v Via) tightest() (pad, antipad float64) {
	pad, antipad = value(v.Pad), value(v.Antipad)
	for _, l := range v.Layers {
		p, a := value(l.Pad), value(l.Antipad)
		if l.Pad == nil {
			p = value(v.Pad)
		}
		if l.Antipad == nil {
			a = value(v.Antipad)
		}
		if !known(pad, antipad) || a-p < antipad-pad {
			pad, antipad = p, a
		}
	}
	return pad, antipad
}

// Ring is the ring of ground vias around the signal via, or the ground opening
// in which the coax ends.
type Ring struct {
	Diameter *units.Length // free opening: between the walls of opposite vias
	Barrel   *units.Length // of what stands in its middle; nil: the via's drill or the pin
	Count    *int
	Drill    *units.Length
	Layers   string // which layers its vias join
	Second   *units.Length
}

// Legs are the ground legs of a through-hole connector.
type Legs struct{ X, Y *units.Length } // distances between opposite legs

// Fence is the rows of ground vias beside the line.
type Fence struct {
	RowWidth *units.Length // between the rows on the two sides, centre to centre
	Pitch    *units.Length
	Drill    *units.Length
	Rows     *int          // on each side
	Offset   *units.Length // from the slot's edge to the first row's via wall
}

// Trace is the board line at the launch.
type Trace struct {
	Kind         board.TraceKind
	Layer        string
	Width        *units.Length
	Gap          *units.Length
	TaperLength  *units.Length
	TaperWidth   *units.Length // at its start
	TaperProfile string
	ReliefLength *units.Length // ground cut out under the pin
	ReliefWidth  *units.Length
}

// Edge is how the layout ends at the board's edge.
type Edge struct {
	Trace    *units.Length // set-back of the trace
	Plane    *units.Length // set-back of the planes
	FirstVia *units.Length // set-back of the first ground vias
	Plated   *bool
	Gap      *units.Length // between the connector's body and the board
}

// Pin is the connector's contact on the board.
type Pin struct {
	Length  *units.Length
	Width   *units.Length // or diameter
	Overlap *units.Length
}

// Mask is the solder mask at the launch.
type Mask struct {
	Clear        *bool         // kept off pads, slots and the first millimetres
	Opening      *units.Length // beyond the pads
	Thickness    *units.Length
	Permittivity *float64
}

// Clamp is what holds a solderless connector.
type Clamp struct {
	Force    *units.Force
	X, Y     *units.Length // alignment tolerance, plus or minus
	Rotation *units.Angle
	Screws   string // positions
	Backing  *bool  // a stiff plate behind the board
}

// ReturnLossTarget returns what a single launch is usually asked to hold at f:
// 20 dB to 20 GHz, 15 dB to 40 GHz, 12 dB to 67 GHz, 10 dB to 110 GHz. ok is
// false above. Common practice, no source: a customer's figure goes first.
func ReturnLossTarget(f units.Frequency) (target units.Level, ok bool) {
	for _, row := range []struct {
		to     units.Frequency
		target units.Level
	}{{20e9, 20}, {40e9, 15}, {67e9, 12}, {110e9, 10}} {
		if f <= row.to {
			return row.target, f > 0
		}
	}
	return 0, false
}

const z0 = 50 // Ω, of the connector and the line

// SectionReturnLoss returns the return loss, in dB, that a section of lossless
// line of impedance z, in Ω, a length long, in m, of effective permittivity
// ere, makes between matched 50 Ω lines at f, in Hz:
//
//	S11 = j(ζ − 1/ζ) tan θ / (2 + j(ζ + 1/ζ) tan θ)    ζ = z/50, θ = 2πf l √ε/c
//
// Source: [pozar2012] Table 4.1 and 4.2.
func SectionReturnLoss(z, length, ere, f float64) float64 {
	return -20 * math.Log10(sectionReflection(z, length, ere, f))
}

func sectionReflection(z, length, ere, f float64) float64 {
	sin, cos := math.Sincos(2 * math.Pi * f * length * math.Sqrt(ere) / line.C0)
	zeta := z / z0
	return math.Abs((zeta-1/zeta)*sin) / math.Hypot(2*cos, (zeta+1/zeta)*sin)
}

// ShuntReturnLoss returns the return loss, in dB, of a capacitance c, in F,
// across a matched 50 Ω line at f, in Hz:
//
//	|S11| = x/√(1 + x²)    x = ωC Z0/2
//
// Source: [pozar2012] Table 4.1 and 4.2.
func ShuntReturnLoss(c, f float64) float64 {
	x := math.Pi * f * c * z0
	return -20 * math.Log10(x/math.Hypot(1, x))
}

// AllowedCapacitance returns the capacitance, in F, at which [ShuntReturnLoss]
// is db at f, in Hz.
func AllowedCapacitance(db, f float64) float64 {
	g := math.Pow(10, -db/20)
	return g / math.Sqrt(1-g*g) / (math.Pi * f * z0)
}

// facts are the board's figures, from the stackup where there is one.
type facts struct {
	er, height, thickness float64 // NaN: not known
	layers                int     // 0: not known
	finish                board.FinishKind
	limits                board.Limits
	fabricator            string
	usual                 bool // no fabricator's limits: the usual ones
	identity              board.Identity
	plating               []board.Plating
	problem               error // of the stackup
}

func (in Input) facts() facts {
	x := facts{finish: in.Board.Finish, fabricator: in.Board.Fabricator}
	x.er, x.height, x.thickness = number(in.Board.Permittivity), value(in.Board.Height), value(in.Board.Thickness)
	if in.Board.Layers != nil {
		x.layers = *in.Board.Layers
	}
	if in.Board.Limits != nil {
		x.limits = *in.Board.Limits
	}
	if s := in.Stackup; s != nil {
		x.identity, x.thickness, x.layers, x.fabricator, x.limits = s.Identity(), float64(s.Thickness()), len(s.Coppers()), s.Fabricator, s.Limits
		if s.Finish.Kind != "" {
			x.finish, x.plating = s.Finish.Kind, s.Finish.Plating
		}
		layer := in.Trace.Layer
		if c := s.Coppers(); layer == "" && len(c) > 0 {
			layer = s.Layers[c[0]].Name
		}
		if h, d, err := s.Height(layer); err == nil {
			x.height, x.er = float64(h), d.Permittivity
		} else {
			x.problem = err
		}
	}
	u := board.UsualLimits()
	if x.limits == (board.Limits{}) {
		x.limits, x.usual = u, true
	}
	if _, ok := x.limits.SmallestPitch(); !ok {
		x.limits.ViaPitch, x.usual = u.ViaPitch, true
	}
	if x.limits.BackdrillTolerance == nil {
		x.limits.BackdrillTolerance = u.BackdrillTolerance
	}
	return x
}

func (in Input) mount() part.Mount {
	if in.Mount == "" && in.Connector != nil {
		return in.Connector.Mount
	}
	return in.Mount
}

// barrel returns the diameter of what stands in the middle of the ring.
func (in Input) barrel() (float64, string) {
	switch {
	case in.Ring.Barrel != nil:
		return float64(*in.Ring.Barrel), "barrel"
	case in.Via.Drill != nil:
		return float64(*in.Via.Drill), "via drill"
	case in.Connector != nil && in.Connector.PinDiameter != nil:
		return float64(*in.Connector.PinDiameter), "pin of " + in.Connector.ID
	}
	return math.NaN(), ""
}

// ring returns the free diameter of the ground opening.
func (in Input) ring() (float64, string) {
	switch {
	case in.Ring.Diameter != nil:
		return float64(*in.Ring.Diameter), "via ring"
	case in.Connector != nil && in.Connector.RingDiameter != nil:
		return float64(*in.Connector.RingDiameter), "ground opening of " + in.Connector.ID
	}
	return math.NaN(), ""
}

// RingModeLimit returns the frequency, in Hz, from which a ring of free
// diameter ring around a barrel, in m, in er carries TE11: the exact cutoff of
// the coaxial line that solid walls there would make. Single vias let the field
// out beyond their walls, so the true limit lies lower.
func RingModeLimit(ring, barrel, er float64) (float64, error) {
	c := line.Coax{InnerDiameter: barrel, OuterDiameter: ring}
	c.Filling.Permittivity = er
	if err := c.Check(); err != nil {
		return math.NaN(), err
	}
	return line.ModeFreeLimit(c), nil
}

// Redo is a parameter that a change of stackup puts in question.
type Redo struct {
	Parameter string
	Because   string
}

// Redone lists what of in has to be designed again when it moves to another
// stackup, each with what it hangs on. A launch on an outer line without a via
// has no antipads to redo.
func Redone(in Input) []Redo {
	all := []Redo{
		{"trace width and slot", "the line's impedance follows height, permittivity and copper thickness"},
		{"taper and neck", "they end on the new trace width"},
		{"pad and ground cut-out below it", "the pad's capacity goes as permittivity over the distance to its ground"},
		{"relief under the pin", "its depth reaches to the next plane, which lies elsewhere"},
		{"antipads, on every layer", "capacity and impedance of the via follow permittivity and the planes crossed"},
		{"signal via: kind, drill, back-drill depth", "the depth of the line's layer and the board's thickness set length and stub"},
		{"ring of ground vias", "its mode limit goes as one over the root of permittivity"},
		{"fence: row width, pitch, offset", "half a wavelength in the new dielectric"},
		{"set-back of vias and planes from the edge", "a quarter wavelength in the new dielectric"},
		{"pin and solder height", "board thickness and the place of the ground set how the connector sits"},
		{"tolerance study", "the fabricator's tolerances are others"},
		{"coupons (2x-thru and line)", "they must be made on the same panel with the same launch"},
	}
	_, ring := in.ring()
	var out []Redo
	for _, r := range all {
		switch via := in.signalVia() || !in.mount().Edge(); {
		case !via && (strings.HasPrefix(r.Parameter, "antipads") || strings.HasPrefix(r.Parameter, "signal via")):
		case !via && ring == "" && strings.HasPrefix(r.Parameter, "ring"):
		case in.mount() != "" && !in.mount().Edge() && (strings.HasPrefix(r.Parameter, "set-back") || strings.HasPrefix(r.Parameter, "relief")):
		default:
			out = append(out, r)
		}
	}
	return out
}

func length(x float64) string { return fmt.Sprint(units.Length(x)) }
