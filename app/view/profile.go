package view

import (
	"fmt"
	"math"
	"slices"

	"linewright/hardware/chain"
	"linewright/physics/network"
	"linewright/physics/timedomain"
)

// Profile is the impedance along a chain over the one-way delay, as far as it is
// known: as the pieces state it, as an edge would see it where phases are known,
// and within bounds where a datasheet gives no more than a reflection.
//
// Stated holds two points for each element, where it begins and where it ends.
// An impedance is null where nothing states it: a datasheet bounds a reflection,
// it does not say where it sits. Elements of unknown delay take no room.
type Profile struct {
	PositionS    []float64        `json:"position_s"`
	ImpedanceOhm []*float64       `json:"impedance_ohm"`
	Element      []int            `json:"element"` // index into the ledger
	DelayUnknown []int            `json:"delay_unknown"`
	Traced       []TracedProfile  `json:"traced"`
	Bounds       []ImpedanceBound `json:"bounds"`
	ReferenceOhm float64          `json:"reference_ohm"`
	Says         string           `json:"says"` // what is traced and what is not, and why
}

// TracedProfile is what an edge sees of neighbouring elements whose phases are
// all known, multiple reflections taken off. Positions are one way, from the
// chain's left plane; Element says in which element each lies.
type TracedProfile struct {
	From         int       `json:"from"` // elements, the last one included
	To           int       `json:"to"`
	PositionS    []float64 `json:"position_s"`
	ImpedanceOhm []float64 `json:"impedance_ohm"`
	Element      []int     `json:"element"`
	RiseS        float64   `json:"rise_s"` // one way, 10 to 90 %: what is nearer than this shows as one
	TopHz        float64   `json:"top_hz"` // of the sweep behind it
}

// ImpedanceBound is the range in which the impedance of one element must lie if
// its whole reflection came from one step.
type ImpedanceBound struct {
	Element      int     `json:"element"`
	LowOhm       float64 `json:"low_ohm"`
	HighOhm      float64 `json:"high_ohm"`
	ReturnLossDB float64 `json:"return_loss_db"` // worst in the band
	AtHz         float64 `json:"at_hz"`
}

func newProfile(b chain.Built, p chain.Prediction) Profile {
	out := Profile{PositionS: []float64{}, ImpedanceOhm: []*float64{}, Element: []int{}, DelayUnknown: []int{}, Traced: []TracedProfile{}, Bounds: []ImpedanceBound{}, ReferenceOhm: reference(b)}
	begin := make([]float64, len(p.Rows)+1)
	for k, row := range p.Rows {
		z := statedImpedance(b.Elements[k])
		d := row.Delay
		if math.IsNaN(d) {
			out.DelayUnknown = append(out.DelayUnknown, k)
			d = 0
		}
		begin[k+1] = begin[k] + d
		out.PositionS = append(out.PositionS, begin[k], begin[k+1])
		out.ImpedanceOhm = append(out.ImpedanceOhm, z, z)
		out.Element = append(out.Element, k, k)
		if bound, ok := boundOf(k, row, p.Frequency, out.ReferenceOhm); ok {
			out.Bounds = append(out.Bounds, bound)
		}
	}
	var failed error
	for from := 0; from < len(p.Rows); from++ {
		if p.Rows[from].Network == nil {
			continue
		}
		to := from
		for to+1 < len(p.Rows) && p.Rows[to+1].Network != nil {
			to++
		}
		t, err := traced(b, p, from, to, begin, out.ReferenceOhm)
		if err != nil {
			failed = err
		} else {
			out.Traced = append(out.Traced, t)
		}
		from = to
	}
	out.Says = says(out, len(p.Rows), failed)
	return out
}

func says(p Profile, elements int, failed error) string {
	covered := 0
	for _, t := range p.Traced {
		covered += t.To - t.From + 1
	}
	bounds := "the others are shown by the impedance of a single step that would make their whole reflection"
	switch {
	case failed != nil:
		return "the pieces whose phase is known could not be traced: " + failed.Error() + "; " + bounds
	case covered == 0 && len(p.Bounds) == 0:
		return "no piece states its phase or a reflection"
	case covered == 0:
		return "no piece's phase is known, so no edge can be followed; each is shown by the impedance of a single step that would make its whole reflection"
	case covered == 1 && elements > 1:
		return fmt.Sprintf("1 of %d pieces has a known phase and is traced as an edge sees it; %s", elements, bounds)
	case covered < elements:
		return fmt.Sprintf("%d of %d pieces have a known phase and are traced as an edge sees them; %s", covered, elements, bounds)
	}
	return "every phase is known: traced as an edge sees it, multiple reflections taken off"
}

func reference(b chain.Built) float64 {
	if b.ReferenceOf != 0 {
		return b.ReferenceOf
	}
	return 50
}

// statedImpedance is the line impedance that an element states; nil: none.
func statedImpedance(e chain.Element) *float64 {
	switch x := inner(e).(type) {
	case chain.Gap:
		return number(float64(x.Impedance))
	case chain.Cable:
		if x.Part.Impedance != nil {
			return number(float64(*x.Part.Impedance))
		}
	}
	return nil
}

// boundOf turns the largest reflection of an element in the band into the
// impedances of one step, Z (1 ∓ ρ)/(1 ± ρ).
func boundOf(k int, row chain.Row, f []float64, z float64) (ImpedanceBound, bool) {
	if row.Network != nil || !row.Reflecting {
		return ImpedanceBound{}, false
	}
	rho, at := 0.0, 0
	for i := range row.Left {
		if r := math.Max(row.Left[i], row.Right[i]); r > rho {
			rho, at = r, i
		}
	}
	if !(rho > 0 && rho < 1) {
		return ImpedanceBound{}, false
	}
	return ImpedanceBound{Element: k, LowOhm: z * (1 - rho) / (1 + rho), HighOhm: z * (1 + rho) / (1 - rho), ReturnLossDB: network.ReturnLoss(rho), AtHz: f[at]}, true
}

// traced predicts the elements from one to another, both included, on a sweep
// from near 0 Hz to the top of the band, as a network analyser would measure
// them, and peels the impedance off the reflection at their left.
func traced(b chain.Built, p chain.Prediction, from, to int, begin []float64, zref float64) (TracedProfile, error) {
	top := p.Frequency[len(p.Frequency)-1]
	delay := begin[to+1] - begin[from]
	// Twice there and back must fit into half a period of 1/Δf, and the layers
	// be fine enough to draw.
	n := min(max(256, int(math.Ceil(8*delay*top))), 4096)
	grid := make([]float64, n)
	for i := range grid {
		grid[i] = top * float64(i+1) / float64(n)
	}
	var ns []network.Network
	for k := from; k <= to; k++ {
		r, err := b.Elements[k].Respond(grid, p.Conditions)
		if err != nil {
			return TracedProfile{}, err
		}
		if r.Network == nil {
			return TracedProfile{}, fmt.Errorf("%s gives no phase below the band", p.Rows[k].Name)
		}
		x, err := r.Network.Renormalise(complex(zref, 0), complex(zref, 0))
		if err != nil {
			return TracedProfile{}, err
		}
		ns = append(ns, x)
	}
	whole, err := network.Cascade(ns...)
	if err != nil {
		return TracedProfile{}, err
	}
	s, err := timedomain.Of(whole, 0, 0, timedomain.DC{})
	if err != nil {
		return TracedProfile{}, err
	}
	window := timedomain.Window(nil)
	rise := window.Resolution(2*top, top/float64(n)).Impulse / 2 // a step of Z is as wide as an impulse; one way
	z, err := s.Profile(zref, timedomain.ProfileOptions{Until: 2 * (delay + 4*rise)})
	if err != nil {
		return TracedProfile{}, err
	}
	out := TracedProfile{From: from, To: to, RiseS: rise, TopHz: top, PositionS: []float64{}, ImpedanceOhm: []float64{}, Element: []int{}}
	// The samples, and where pieces begin and end: a piece may be shorter than a
	// sample.
	at := append([]float64{}, begin[from:to+2]...)
	for i := range z.Value {
		if t := begin[from] + z.Time(i)/2; t > begin[from]-2*rise && t < begin[to+1]+2*rise {
			at = append(at, t)
		}
	}
	slices.Sort(at)
	k := from
	for _, t := range slices.Compact(at) {
		v := z.At(2 * (t - begin[from]))
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		for k < to && t > begin[k+1] {
			k++
		}
		out.PositionS, out.ImpedanceOhm, out.Element = append(out.PositionS, t), append(out.ImpedanceOhm, v), append(out.Element, k)
	}
	return out, nil
}
