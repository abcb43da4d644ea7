// Package view shapes predictions for pictures: curves over frequency with the
// limits they must keep, a chain's hardware drawn to scale, and what could stand
// in a piece's place. It computes no physics; what is unknown is null.
package view

import (
	"math"

	"linewright/hardware/chain"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/units"
)

// Curves are a prediction over frequency.
type Curves struct {
	FrequencyHz     []float64   `json:"frequency_hz"`
	LossDB          []LossCurve `json:"loss_db"`     // dissipation, coldest first
	MismatchDB      []*float64  `json:"mismatch_db"` // that reflections can add at most
	ReturnLossDB    Returns     `json:"return_loss_db"`
	ReturnLossFarDB Returns     `json:"return_loss_far_end_db"`
	Limits          []Limit     `json:"limits"`
	GroupDelayS     []*float64  `json:"group_delay_s"` // null where a delay is unknown
	GroupDelayIs    string      `json:"group_delay_is"`
	Profile         Profile     `json:"profile"`
	PerElement      []Share     `json:"per_element"` // of loss and reflection, for the ledger's cursor
}

// LossCurve is the loss at one temperature.
type LossCurve struct {
	TemperatureC float64    `json:"temperature_c"`
	Values       []*float64 `json:"values"`
}

// Returns are the return losses seen from one end, in dB; null: nothing reflects.
type Returns struct {
	Best    []*float64 `json:"best"`
	Likely  []*float64 `json:"likely"` // 95 % of random phases at each frequency; null when not studied
	Worst   []*float64 `json:"worst"`
	RSS     []*float64 `json:"rss"` // no bound
	Nominal []*float64 `json:"nominal"`
}

// Share is what one element adds.
type Share struct {
	Name         string     `json:"name"`
	LossDB       []*float64 `json:"loss_db"`
	ReturnLossDB []*float64 `json:"return_loss_db"` // its own, at its worse side
}

// Limit is a mask as a line through points.
type Limit struct {
	Quantity string       `json:"quantity"` // "insertion_loss", "return_loss"
	Of       string       `json:"of"`
	Points   [][2]float64 `json:"points"` // frequency in Hz, level in dB
	Above    bool         `json:"above"`  // larger values are forbidden
	Wish     bool         `json:"wish"`
}

func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func numbers(xs []float64) []*float64 {
	if xs == nil {
		return nil
	}
	out := make([]*float64, len(xs))
	for i, x := range xs {
		out[i] = number(x)
	}
	return out
}

func decibels(rho []float64) []*float64 {
	if rho == nil {
		return nil
	}
	out := make([]*float64, len(rho))
	for i, x := range rho {
		out[i] = number(network.ReturnLoss(x))
	}
	return out
}

func returns(r chain.Returns) Returns {
	return Returns{Best: decibels(r.Best), Likely: decibels(r.Likely), Worst: decibels(r.Worst), RSS: decibels(r.RSS), Nominal: decibels(r.Nominal)}
}

// NewCurves shapes a judged chain.
func NewCurves(e enquiry.Enquiry, b chain.Built, r assess.Report) Curves {
	p := r.Prediction
	c := Curves{FrequencyHz: p.Frequency, LossDB: []LossCurve{}, MismatchDB: numbers(p.Mismatch), ReturnLossDB: returns(p.Left), ReturnLossFarDB: returns(p.Right), Limits: []Limit{}, PerElement: []Share{}}
	if c.FrequencyHz == nil {
		c.FrequencyHz = []float64{}
	}
	for _, s := range r.States {
		if len(s.Loss) == len(p.Frequency) {
			c.LossDB = append(c.LossDB, LossCurve{s.Conditions.Temperature.Celsius(), numbers(s.Loss)})
		}
	}
	if len(c.LossDB) == 0 && len(p.Loss) > 0 {
		c.LossDB = append(c.LossDB, LossCurve{p.Conditions.Temperature.Celsius(), numbers(p.Loss)})
	}
	for _, row := range p.Rows {
		s := Share{Name: row.Name}
		if row.Lossy {
			s.LossDB = numbers(row.Response.Loss)
		}
		if row.Reflecting {
			worse := make([]float64, len(row.Left))
			for i := range worse {
				worse[i] = math.Max(row.Left[i], row.Right[i])
			}
			s.ReturnLossDB = decibels(worse)
		}
		c.PerElement = append(c.PerElement, s)
	}
	if len(p.Frequency) > 0 {
		c.Limits = limits(e, p.Frequency[0], p.Frequency[len(p.Frequency)-1])
	}
	switch {
	case p.Network != nil:
		if d, err := p.Network.GroupDelay(1, 0); err == nil {
			c.GroupDelayS, c.GroupDelayIs = numbers(d), "of the whole chain, all phases known"
		}
	case len(p.NoDelay) == 0 && len(p.Frequency) > 0:
		d := make([]float64, len(p.Frequency))
		for i := range d {
			d[i] = p.Delay
		}
		c.GroupDelayS, c.GroupDelayIs = numbers(d), "sum of the elements' delays, without the ripple of reflections whose phase is unknown"
	default:
		c.GroupDelayIs = "not known: an element states no delay"
	}
	c.Profile = newProfile(b, p)
	return c
}

// limits are the masks of loss and reflection within the frequencies shown.
func limits(e enquiry.Enquiry, low, high float64) []Limit {
	out := []Limit{}
	add := func(quantity string, of enquiry.Of, level *units.Level, mask []enquiry.MaskPoint, from, to *units.Frequency, above, wish bool) {
		l := Limit{Quantity: quantity, Of: string(of), Above: above, Wish: wish, Points: [][2]float64{}}
		if l.Of == "" {
			l.Of = string(enquiry.OfChain)
		}
		for _, m := range mask {
			l.Points = append(l.Points, [2]float64{float64(m.At), float64(m.Level)})
		}
		if level != nil {
			f0, f1 := low, high
			if from != nil {
				f0 = max(f0, float64(*from))
			}
			if to != nil {
				f1 = min(f1, float64(*to))
			}
			l.Points = [][2]float64{{f0, float64(*level)}, {f1, float64(*level)}}
		}
		if len(l.Points) > 0 {
			out = append(out, l)
		}
	}
	for _, x := range e.Limits.InsertionLoss {
		add("insertion_loss", x.Of, x.AtMost, x.Mask, x.From, x.To, true, x.Wish)
	}
	for _, x := range e.Limits.ReturnLoss {
		add("return_loss", x.Of, x.AtLeast, x.Mask, x.From, x.To, false, x.Wish)
	}
	for _, x := range e.Limits.VSWR {
		if rl := units.Level(network.ReturnLoss(network.FromVSWR(x.AtMost))); !math.IsInf(float64(rl), 0) && !math.IsNaN(float64(rl)) {
			add("return_loss", x.Of, &rl, nil, x.From, x.To, false, x.Wish)
		}
	}
	return out
}

// inner is an element without the name it was given.
func inner(e chain.Element) chain.Element {
	for {
		n, ok := e.(chain.Named)
		if !ok {
			return e
		}
		e = n.Element
	}
}
