package tolerance

import (
	"fmt"
	"math"
	"reflect"
	"slices"

	"linewright/hardware/board"
	"linewright/hardware/chain"
	"linewright/hardware/part"
	"linewright/job/tolerance/sample"
	"linewright/physics/line"
	"linewright/physics/units"
)

// A factor is one thing of a stackup's making that moves a board line: what is
// etched, a layer's thickness, its permittivity.
type factor struct {
	ref   *ref
	reach float64 // largest deviation
	make  func(d chain.Drawn, deviation float64) chain.Drawn
	// The logarithms of impedance, delay and attenuation over their nominal
	// values: slope·u + curve·u², u the deviation over reach.
	slope, curve [3]float64
}

// A surface says what a board line of varied layers is: each factor alone is
// solved at its nominal value and at both ends and a parabola laid through, and
// the factors' logarithms are added up.
type surface struct{ factors []factor }

// log returns the logarithm of figure k over its nominal value.
func (s surface) log(k int, x []float64) float64 {
	sum := 0.0
	for i := range s.factors {
		f := &s.factors[i]
		u := f.ref.of(x) / f.reach
		sum += u * (f.slope[k] + u*f.curve[k])
	}
	return sum
}

func (s surface) ratio(k int, x []float64) float64 {
	if len(s.factors) == 0 {
		return 1
	}
	return math.Exp(s.log(k, x))
}

func (s surface) impedance(x []float64) float64 { return s.ratio(0, x) }
func (s surface) delay(x []float64) float64     { return s.ratio(1, x) }
func (s surface) loss(x []float64) float64      { return s.ratio(2, x) }

// layered returns d with one layer changed.
func layered(d chain.Drawn, i int, change func(*board.Layer)) chain.Drawn {
	d.Stackup.Layers = slices.Clone(d.Stackup.Layers)
	change(&d.Stackup.Layers[i])
	return d
}

func layerName(s board.Stackup, i int) string {
	if n := s.Layers[i].Name; n != "" {
		return n
	}
	return fmt.Sprintf("layer %d (%s)", i+1, s.Layers[i].Kind)
}

// figures returns the logarithms of impedance, delay and attenuation, each per
// metre, of the line at frequency f.
func figures(d chain.Drawn, f float64) (out [3]float64, err error) {
	l, _, err := d.Stackup.Line(d.Trace)
	if err != nil {
		return out, err
	}
	p := l.At(f)
	return [3]float64{math.Log(real(p.Impedance)), math.Log(p.Delay()), math.Log(real(p.Gamma))}, nil
}

// fabricate gives a board line the tolerances of its stackup and solves what
// they do at frequency f. Layers that do not move the line are left out; where
// the stackup states no tolerance there is none, unless the file of tolerances
// has one. Etching narrows a strip and widens the slots beside it alike.
func (bd *builder) fabricate(el *element, d chain.Drawn, f float64) (surface, error) {
	var s surface
	nominal, _, err := d.Stackup.Line(d.Trace)
	if err != nil {
		return s, fmt.Errorf("chain %s (%s): %w", bd.b.Name, el.facts.Name, err)
	}
	offer := func(q Quantity, i int, half float64, small float64, make func(d chain.Drawn, deviation float64) chain.Drawn) error {
		if l, _, err := func() (line.Line, []string, error) { m := make(d, small); return m.Stackup.Line(m.Trace) }(); err == nil && reflect.DeepEqual(l, nominal) {
			return nil // it moves nothing
		}
		by := tolerated{}
		if half > 0 {
			by = tolerated{sample.Uniform{Low: -half, High: half}, part.Standing(d.Stackup.Standing), fmt.Sprintf("stackup %s: known by its limits alone, so uniform (JCGM 101, 6.4.2)", d.Stackup.Name), true}
		}
		r, err := bd.inputOf(el, q, layerName(d.Stackup, i), classDimension, by)
		if err != nil || r.in.Distribution == nil {
			return err
		}
		low, high := r.in.Distribution.Limits()
		mean, sd := r.in.Distribution.Expectation(), r.in.Distribution.StandardDeviation()
		if math.IsInf(low, 0) || math.IsInf(high, 0) {
			low, high = mean-4*sd, mean+4*sd
		}
		if reach := math.Max(math.Abs(low), math.Abs(high)); reach > 0 {
			s.factors = append(s.factors, factor{ref: r, reach: reach, make: make})
		}
		return nil
	}
	value := func(l *units.Length) float64 {
		if l == nil {
			return 0
		}
		return float64(*l)
	}
	for i, l := range d.Stackup.Layers {
		if l.Kind == board.Copper && l.Name == d.Trace.Layer {
			if err := offer(Etch, i, value(l.EtchTolerance), 1e-9, func(d chain.Drawn, x float64) chain.Drawn {
				d.Trace.Width += units.Length(x)
				if d.Trace.Gap > 0 {
					d.Trace.Gap -= units.Length(x)
				}
				return d
			}); err != nil {
				return s, err
			}
		}
		if err := offer(Thickness, i, value(l.ThicknessTolerance), 1e-9, func(d chain.Drawn, x float64) chain.Drawn {
			return layered(d, i, func(l *board.Layer) { l.Thickness += units.Length(x) })
		}); err != nil {
			return s, err
		}
		if l.Permittivity != nil && l.Kind != board.Mask {
			half := 0.0
			if l.PermittivityTolerance != nil {
				half = *l.PermittivityTolerance / *l.Permittivity
			}
			if err := offer(Permittivity, i, half, 1e-4, func(d chain.Drawn, x float64) chain.Drawn {
				return layered(d, i, func(l *board.Layer) { e := *l.Permittivity * (1 + x); l.Permittivity = &e })
			}); err != nil {
				return s, err
			}
		}
	}
	return s, bd.solve(el, d, f, s)
}

// solve lays the parabolas of s and notes how far solved corners lie from their
// sum.
func (bd *builder) solve(el *element, d chain.Drawn, f float64, s surface) error {
	if len(s.factors) == 0 {
		return nil
	}
	at := func(u []float64) ([3]float64, error) {
		m := d
		for i, x := range s.factors {
			m = x.make(m, u[i]*x.reach)
		}
		out, err := figures(m, f)
		if err != nil {
			return out, fmt.Errorf("chain %s (%s), at the ends of its stackup's tolerances: %w", bd.b.Name, el.facts.Name, err)
		}
		return out, nil
	}
	u := make([]float64, len(s.factors))
	middle, err := at(u)
	if err != nil {
		return err
	}
	for i := range s.factors {
		x := &s.factors[i]
		var ends [2][3]float64
		for e, sign := range []float64{-1, 1} {
			u[i] = sign
			if ends[e], err = at(u); err != nil {
				return err
			}
			u[i] = 0
		}
		for k := range middle {
			low, high := ends[0][k]-middle[k], ends[1][k]-middle[k]
			x.slope[k], x.curve[k] = (high-low)/2, (high+low)/2
		}
	}
	// Corners: all of up to four factors; of more, sixteen that differ in half of
	// the factors from one to the next.
	var off [3]float64
	corners := min(1<<len(u), 16)
	for c := range corners {
		for i := range u {
			u[i] = 1
			if (c>>(i%4)+i/4*c)&1 == 1 {
				u[i] = -1
			}
		}
		got, err := at(u)
		if err != nil {
			return err
		}
		for k := range got {
			want := 0.0
			for i := range s.factors {
				want += u[i]*s.factors[i].slope[k] + s.factors[i].curve[k]
			}
			off[k] = math.Max(off[k], math.Abs(math.Expm1(got[k]-middle[k]-want)))
		}
	}
	bd.note("%s: its layers' tolerances move impedance, delay and loss along parabolas through %d solved lines; %d corners solved as a check lie within %.2g %%, %.2g %% and %.2g %% of them",
		el.facts.Name, 1+2*len(u), corners, 100*off[0], 100*off[1], 100*off[2])
	return nil
}
