// Package chain predicts what an ordered row of elements between two reference
// planes does: its loss, reflection, delay, mode-free limit and the rest of its
// ledger, element by element and summed.
//
// A datasheet part has no phase: it bounds magnitudes. So reflections are shown
// side by side as worst, swept 95 %, root sum of squares and, where every phase
// is known, nominal; they are never mixed.
package chain

import (
	"fmt"
	"math"

	"linewright/physics/network"
	"linewright/physics/units"
)

// Step is a rung of the ladder of fidelity on which a result stands.
type Step int

// The ladder, from the lowest rung. Each can replace the one below in any
// element.
const (
	DatasheetBound Step = iota
	ClosedFormula
	SectionSolve // cross-section solve or mode matching
	FieldSolve
	MeasuredFile
)

func (s Step) String() string {
	return [...]string{"datasheet bound", "closed formula", "cross-section solve", "field solve", "measured"}[s]
}

// Conditions are those under which a chain is predicted.
type Conditions struct {
	Temperature units.Temperature // of every element
}

// ColdestMetal is the lowest temperature to which a conductor's resistance is
// carried. The straight line of copper's resistivity ([iec60028]) meets zero at
// 39 K, long after impurities and the anomalous skin effect have taken over;
// down to the boiling point of nitrogen it lies within a fifth of the measured
// resistivity (from memory).
const ColdestMetal units.Temperature = 77

// metals returns c with a temperature to which a conductor's resistance can be
// carried.
func (c Conditions) metals() Conditions {
	c.Temperature = max(c.Temperature, ColdestMetal)
	return c
}

// Element is one piece of a chain.
type Element interface {
	// Facts returns what does not depend on frequency.
	Facts() Facts
	// Respond returns what the element does at each frequency of f, in Hz,
	// strictly increasing, no colder than [ColdestMetal].
	Respond(f []float64, c Conditions) (Response, error)
}

// Facts are an element's properties that do not depend on frequency.
type Facts struct {
	Name          string // where it stands: "cable", "connector at the far end"
	Kind          string // "cable", "cable connector", "launch" ...
	Part          string // catalogue id; empty for what is no catalogue part
	Description   string
	CrossSections []CrossSection
	// ModesOpen says why the cross-sections do not tell from where another mode
	// travels; empty: they do, or there are none.
	ModesOpen string
	Rated     *units.Frequency // the maker's rating
	MinRated  *units.Frequency
	MinTemp   *units.Temperature
	MaxTemp   *units.Temperature
	Price     *units.Money
	Mass      *units.Mass
	Length    *units.Length
	LeadTime  *units.Time
	Source    string
}

// CrossSection is one uniform section inside an element, with the frequency
// from which it is over-moded.
type CrossSection struct {
	Name     string // "dielectric core", "mating plane", "via ring"
	Mode     string // "TE11"
	ModeFree units.Frequency
	Basis    string // "core 1.90 mm, permittivity 1.42, 50 ohm"
}

// Response is what an element does on a frequency grid: its network when its
// phase is known, its bounds in any case.
type Response struct {
	Network    *network.Network // two-port, nil when the phase is unknown
	Loss       []float64        // one-way dissipative loss, dB
	Left       []float64        // largest |S11|, seen from the left, far end matched
	Right      []float64        // largest |S22|, seen from the right
	Reflecting bool             // false: no figure for reflection exists; Left and Right are zero
	Lossy      bool             // false: no figure for loss exists; Loss is zero
	Delay      float64          // one-way, s; NaN when unknown
	Conductor  []float64        // the part of Loss that follows the conductors' resistance; nil when not told apart
	Step       Step
	Typical    bool // rests on typical, not guaranteed, figures
	// Unvouched says what the figures leave out that a verdict needs: whether
	// they are typical or guaranteed, or at which temperature they hold.
	Unvouched Unvouched
	Source    string
	Notes     []Note
}

// A Note is a condition that the reader of a number must know.
type Note struct {
	Kind NoteKind
	Text string
}

// Unvouched names the conditions that figures were stated without.
type Unvouched struct {
	LossStatistic       bool // the loss: typical or guaranteed
	ReflectionStatistic bool // the reflection: typical or guaranteed
	Temperature         bool // the loss, warmer than room temperature, at which datasheets are usually taken
	LossLeftOut         bool // the loss is small, not known, and counted as nothing
}

// NoteKind sorts notes by what they do to a verdict.
type NoteKind int

// An Extrapolated value was computed beyond its source's range; a Missing one
// has no figure at all.
const (
	Remark NoteKind = iota
	Extrapolated
	Missing
)

// Chain is an ordered row of elements, left to right, between two reference
// planes.
type Chain struct {
	Name        string
	LeftPlane   string
	RightPlane  string
	Elements    []Element
	ReferenceOf float64 // impedance to which reflections refer, Ω; 0: 50
}

func (c Chain) reference() float64 {
	if c.ReferenceOf == 0 {
		return 50
	}
	return c.ReferenceOf
}

// Facts returns the facts of every element, in order.
func (c Chain) Facts() []Facts {
	fs := make([]Facts, len(c.Elements))
	for i, e := range c.Elements {
		fs[i] = e.Facts()
	}
	return fs
}

// ModeLimit is the cross-section of a chain that is over-moded first.
type ModeLimit struct {
	Element int // index
	CrossSection
}

// ModeFree returns the lowest mode limit over every cross-section of the
// chain, and the elements that have none to show or do not tell it all: of them
// the limit found says nothing.
func (c Chain) ModeFree() (first ModeLimit, unknown []int) { return modeFree(c.Facts()) }

func modeFree(facts []Facts) (first ModeLimit, unknown []int) {
	first.Element = -1
	first.CrossSection.ModeFree = units.Frequency(math.Inf(1))
	for i, f := range facts {
		if len(f.CrossSections) == 0 || f.ModesOpen != "" {
			unknown = append(unknown, i)
		}
		for _, s := range f.CrossSections {
			if s.ModeFree < first.CrossSection.ModeFree {
				first = ModeLimit{i, s}
			}
		}
	}
	return first, unknown
}

// Mass returns the summed mass and the elements that state none.
func (c Chain) Mass() (sum units.Mass, unknown []int) {
	for i, f := range c.Facts() {
		if f.Mass == nil {
			unknown = append(unknown, i)
			continue
		}
		sum += *f.Mass
	}
	return sum, unknown
}

// Price returns the summed price and the elements that state none. Two
// currencies are an error: nothing is converted.
func (c Chain) Price() (sum units.Money, unknown []int, err error) {
	for i, f := range c.Facts() {
		if f.Price == nil {
			unknown = append(unknown, i)
			continue
		}
		if sum, err = sum.Plus(*f.Price); err != nil {
			return sum, unknown, fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	return sum, unknown, nil
}
