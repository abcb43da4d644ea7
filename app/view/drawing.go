package view

import (
	"math"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"

	"linewright/physics/units"
)

// Drawing is a chain's hardware to scale, from left to right.
type Drawing struct {
	Elements   []Shape     `json:"elements"`
	Dimensions []Dimension `json:"dimensions"`
	WidthM     float64     `json:"width_m"`
}

// Shape is one element as it is drawn. A size that nothing states is null, and
// what is drawn in its place is a guess shown dashed.
type Shape struct {
	Element      int      `json:"element"` // index into the ledger
	Name         string   `json:"name"`
	Kind         string   `json:"kind"`
	Part         string   `json:"part"`
	LengthM      *float64 `json:"length_m"`
	HeightM      *float64 `json:"height_m"` // outer diameter, or thickness of a board
	BoreM        *float64 `json:"bore_m"`
	PinM         *float64 `json:"pin_m"`
	Permittivity *float64 `json:"permittivity"`
	X0M          float64  `json:"x0_m"` // as drawn
	X1M          float64  `json:"x1_m"`
	Broken       bool     `json:"broken"` // drawn shorter than it is
	Guessed      bool     `json:"guessed"`
	Note         string   `json:"note"`
}

// Dimension is a length written beside the drawing.
type Dimension struct {
	X0M  float64 `json:"x0_m"`
	X1M  float64 `json:"x1_m"`
	Text string  `json:"text"`
}

// How things are drawn that are too long, or whose length nobody states.
const (
	longest = 40e-3 // m, of a cable before it is broken
	unknown = 6e-3  // m
)

func length(l *units.Length) *float64 {
	if l == nil || !(*l > 0) {
		return nil
	}
	return number(float64(*l))
}

// NewDrawing lays a chain out.
func NewDrawing(b chain.Built, cat catalogue.Catalogue) Drawing {
	d := Drawing{Elements: []Shape{}, Dimensions: []Dimension{}}
	x := 0.0
	for k, e := range b.Elements {
		f := e.Facts()
		s := Shape{Element: k, Name: f.Name, Kind: f.Kind, Part: f.Part, LengthM: length(f.Length)}
		if c, ok := chain.CableOf(e); ok {
			s.LengthM = number(float64(c.Length))
			s.HeightM, s.BoreM, s.PinM, s.Permittivity = length(c.Part.OuterDiameter), length(c.Part.Core.Diameter), length(c.Part.Core.InnerDiameter), c.Part.Core.Permittivity
			if s.PinM == nil && s.BoreM != nil {
				s.Note = "the centre conductor's diameter is not stated"
			}
		} else if c, ok := chain.ConnectorOf(e); ok {
			if len(c.Series) > 0 {
				m := c.Series[0]
				s.BoreM, s.PinM = length(&m.Bore), length(&m.Pin)
				if m.Permittivity > 0 {
					s.Permittivity = number(m.Permittivity)
				}
			}
			s.LengthM = length(c.ElectricalLength)
			if s.LengthM != nil {
				s.Note = "drawn as long as its electrical length in air"
			} else {
				s.Note = "its length is not stated"
			}
			if k, ok := cat.BoardConnector(f.Part); ok {
				s.HeightM = length(k.RingDiameter)
			}
		} else {
			switch y := inner(e).(type) {
			case chain.Trace:
				s.LengthM = number(float64(y.Length))
				if y.EffectivePermittivity > 0 {
					s.Permittivity = number(y.EffectivePermittivity)
				}
			case chain.Gap:
				s.LengthM, s.Permittivity = number(float64(y.Opening)), number(1)
			}
		}
		w := unknown
		switch {
		case s.LengthM == nil:
			s.Guessed = true
		case *s.LengthM > longest:
			w, s.Broken = longest, true
		default:
			w = math.Max(*s.LengthM, 0)
		}
		s.X0M, s.X1M = x, x+w
		x += w
		if s.LengthM != nil {
			d.Dimensions = append(d.Dimensions, Dimension{s.X0M, s.X1M, units.Length(*s.LengthM).String()})
		}
		d.Elements = append(d.Elements, s)
	}
	d.WidthM = x
	return d
}
