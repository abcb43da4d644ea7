package chain

import (
	"math"
	"sort"
	"strings"

	"linewright/hardware/part"
	"linewright/physics/material"
	"linewright/physics/units"
)

// LengthCurve is a cable's electrical length against temperature as it was
// measured: straight between the points of its table, which keeps it monotone
// wherever the table is. The table's own points are all it knows: beyond them
// it goes on with the last stretch and says so, and where a stretch of a
// solid-PTFE cable holds one of the crystal transitions the whole of its change
// may come as a step anywhere inside.
type LengthCurve struct {
	at     []float64 // K, increasing
	change []float64 // relative to the table's reference, or s once scaled
	step   []bool    // stretch i, from point i to i+1, may hold a step
}

// NewLengthCurve sorts a cable's table. ok is false when there are not two
// different temperatures in it: one point tells nothing about change.
func NewLengthCurve(c part.Cable) (l LengthCurve, ok bool) {
	rows := append([]part.LengthChange(nil), c.LengthChanges...)
	sort.SliceStable(rows, func(a, b int) bool { return rows[a].At < rows[b].At })
	for _, r := range rows {
		if n := len(l.at); n > 0 && l.at[n-1] == float64(r.At) {
			continue
		}
		l.at = append(l.at, float64(r.At))
		l.change = append(l.change, float64(r.Change))
	}
	if len(l.at) < 2 {
		return LengthCurve{}, false
	}
	l.step = make([]bool, len(l.at)-1)
	if SolidPTFE(c) {
		for i := range l.step {
			for _, t := range PTFETransitions() {
				l.step[i] = l.step[i] || l.at[i] < float64(t) && float64(t) < l.at[i+1]
			}
		}
	}
	return l, true
}

// SolidPTFE says whether a cable's dielectric is solid PTFE, whose length and
// permittivity step at the crystal transitions: by its name, or when it names
// PTFE without saying how dense by a permittivity above 1.95, which no
// expanded PTFE reaches.
func SolidPTFE(c part.Cable) bool {
	d := strings.ToLower(c.Core.Dielectric)
	if !strings.Contains(d, "ptfe") {
		return false
	}
	for _, expanded := range []string{"low-density", "low density", "expanded", "foam", "microporous"} {
		if strings.Contains(d, expanded) {
			return false
		}
	}
	return strings.Contains(d, "solid") || c.Core.Permittivity == nil || *c.Core.Permittivity > 1.95
}

// PTFETransitions returns the temperatures of the crystal transitions of PTFE:
// [material.PTFELowerTransition] and [material.PTFEUpperTransition].
func PTFETransitions() [2]units.Temperature {
	return [2]units.Temperature{material.PTFELowerTransition, material.PTFEUpperTransition}
}

// Range returns the temperatures of the first and the last point.
func (l LengthCurve) Range() (from, to units.Temperature) {
	if len(l.at) == 0 {
		return units.Temperature(math.NaN()), units.Temperature(math.NaN())
	}
	return units.Temperature(l.at[0]), units.Temperature(l.at[len(l.at)-1])
}

// At returns the change at temperature t; beyond says that the table does not
// reach there and its last stretch was carried on.
func (l LengthCurve) At(t units.Temperature) (change float64, beyond bool) {
	n := len(l.at)
	if n == 0 {
		return math.NaN(), true
	}
	x := float64(t)
	i := min(max(sort.SearchFloat64s(l.at, x), 1), n-1)
	w := (x - l.at[i-1]) / (l.at[i] - l.at[i-1])
	return l.change[i-1] + w*(l.change[i]-l.change[i-1]), x < l.at[0] || x > l.at[n-1]
}

// bounds returns the least and greatest change possible at x when stretches
// that may hold a step are known at their ends only, seen from below or above
// where x is one of the points.
func (l LengthCurve) bounds(x float64) (lo, hi float64) {
	v, _ := l.At(units.Temperature(x))
	lo, hi = v, v
	for i, step := range l.step {
		if step && x >= l.at[i] && x <= l.at[i+1] {
			lo = math.Min(lo, math.Min(l.change[i], l.change[i+1]))
			hi = math.Max(hi, math.Max(l.change[i], l.change[i+1]))
		}
	}
	return lo, hi
}

// Extremes returns the least and greatest change between two temperatures.
func (l LengthCurve) Extremes(from, to units.Temperature) (least, most float64, beyond bool) {
	least, most = math.Inf(1), math.Inf(-1)
	for _, t := range l.places(float64(from), float64(to), 0) {
		v, out := l.At(units.Temperature(t))
		least, most, beyond = math.Min(least, v), math.Max(most, v), beyond || out
	}
	return least, most, beyond
}

// Difference returns the greatest difference of length of two lines whose
// temperatures differ by d while both lie from from to to: measured by straight
// lines between the points, and at worst, where a PTFE step may fall anywhere
// in its stretch. A range narrower than d is widened to it, about its middle.
func (l LengthCurve) Difference(from, to units.Temperature, d units.Difference) (straight, worst float64, beyond bool) {
	a, b, w := float64(from), float64(to), math.Abs(float64(d))
	if b-a < w {
		a, b = (a+b-w)/2, (a+b+w)/2
	}
	if len(l.at) == 0 {
		return math.NaN(), math.NaN(), true
	}
	if w == 0 {
		return 0, 0, false
	}
	// Between the places at which either line crosses a point of the table the
	// difference is straight in temperature: the greatest lies at one of them.
	for _, t := range l.places(a, b-w, w) {
		v1, out1 := l.At(units.Temperature(t))
		v2, out2 := l.At(units.Temperature(t + w))
		straight = math.Max(straight, math.Abs(v2-v1))
		beyond = beyond || out1 || out2
		lo1, hi1 := l.bounds(t)
		lo2, hi2 := l.bounds(t + w)
		worst = math.Max(worst, math.Max(hi1-lo2, hi2-lo1))
	}
	return straight, math.Max(straight, worst), beyond
}

// places lists the ends of a..b and, between them, every point of the table
// and every point shifted down by w.
func (l LengthCurve) places(a, b, w float64) []float64 {
	out := []float64{a, b}
	for _, t := range l.at {
		for _, x := range [2]float64{t, t - w} {
			if x > a && x < b {
				out = append(out, x)
			}
		}
	}
	return out
}

// Crosses returns the PTFE transitions that a range of temperatures crosses
// inside a stretch that may step.
func (l LengthCurve) Crosses(from, to units.Temperature) []units.Temperature {
	var out []units.Temperature
	for _, t := range PTFETransitions() {
		if t < from || t > to {
			continue
		}
		for i, step := range l.step {
			if step && l.at[i] < float64(t) && float64(t) < l.at[i+1] {
				out = append(out, t)
			}
		}
	}
	return out
}

// scaled returns the curve times x: a relative change times a delay is a delay.
func (l LengthCurve) scaled(x float64) LengthCurve {
	out := LengthCurve{at: l.at, step: l.step, change: make([]float64, len(l.change))}
	for i, c := range l.change {
		out.change[i] = c * x
	}
	return out
}

// plus adds two curves at the points of both. Where one of them ends inside
// the other its last stretch is carried on: Range of each is kept by [Drift].
func (l LengthCurve) plus(m LengthCurve) LengthCurve {
	if len(l.at) == 0 {
		return m
	}
	var out LengthCurve
	out.at = append(append(out.at, l.at...), m.at...)
	sort.Float64s(out.at)
	k := 1
	for _, t := range out.at[1:] {
		if t > out.at[k-1] {
			out.at[k] = t
			k++
		}
	}
	out.at = out.at[:k]
	for _, t := range out.at {
		x, _ := l.At(units.Temperature(t))
		y, _ := m.At(units.Temperature(t))
		out.change = append(out.change, x+y)
	}
	for i := 1; i < k; i++ {
		mid := (out.at[i-1] + out.at[i]) / 2
		out.step = append(out.step, l.steps(mid) || m.steps(mid))
	}
	return out
}

func (l LengthCurve) steps(x float64) bool {
	for i, step := range l.step {
		if step && x > l.at[i] && x < l.at[i+1] {
			return true
		}
	}
	return false
}

// Drift is a chain's delay and how it moves with temperature. Only cables with
// a table move; what else has a delay is taken as constant, and listed.
type Drift struct {
	Delay    float64     // s, of the elements whose delay is known, at the tables' reference
	Moving   float64     // s, of it in cables with a table
	Curve    LengthCurve // change of Delay, s, against temperature
	From, To units.Temperature
	NoDelay  []int // elements whose delay is unknown
	NoTable  []int // cables that have a delay and no table
	Constant []int // other elements with a delay: its change is left out
}

// Known says whether any cable of the chain has a table.
func (d Drift) Known() bool { return len(d.Curve.at) > 0 }

// At returns the delay at t, s, and whether a table had to be carried on.
func (d Drift) At(t units.Temperature) (delay float64, beyond bool) {
	if !d.Known() {
		return math.NaN(), false
	}
	change, _ := d.Curve.At(t)
	return d.Delay + change, d.Beyond(t, t)
}

// Beyond says whether a range reaches beyond the table of any cable.
func (d Drift) Beyond(from, to units.Temperature) bool {
	return d.Known() && (from < d.From || to > d.To)
}

// Drift returns the delay of c and its change with temperature, from a
// prediction of c, whose rows hold the delays.
func (c Chain) Drift(p Prediction) Drift {
	d := Drift{From: units.Temperature(math.Inf(-1)), To: units.Temperature(math.Inf(1))}
	for k, row := range p.Rows {
		if math.IsNaN(row.Delay) {
			d.NoDelay = append(d.NoDelay, k)
			continue
		}
		d.Delay += row.Delay
		cable, ok := CableOf(c.Elements[k])
		if !ok {
			if row.Delay != 0 {
				d.Constant = append(d.Constant, k)
			}
			continue
		}
		curve, ok := NewLengthCurve(cable.Part)
		if !ok {
			d.NoTable = append(d.NoTable, k)
			continue
		}
		from, to := curve.Range()
		d.From, d.To = max(d.From, from), min(d.To, to)
		d.Moving += row.Delay
		d.Curve = d.Curve.plus(curve.scaled(row.Delay))
	}
	return d
}

// CableOf returns the cable that an element is, under whatever name.
func CableOf(e Element) (Cable, bool) {
	switch x := e.(type) {
	case Cable:
		return x, true
	case Named:
		return CableOf(x.Element)
	}
	return Cable{}, false
}

// ConnectorOf returns the datasheet connector, adapter or bullet that an
// element is, under whatever name.
func ConnectorOf(e Element) (Connector, bool) {
	switch x := e.(type) {
	case Connector:
		return x, true
	case Named:
		return ConnectorOf(x.Element)
	}
	return Connector{}, false
}
