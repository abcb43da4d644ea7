package view

import (
	"math"
	"testing"

	"linewright/app/demo"
	"linewright/app/workspace"
	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose"
	"linewright/physics/line"
)

// judged is the demo's bench jumper against its enquiry.
func judged(t *testing.T) (enquiry.Enquiry, catalogue.Catalogue, chain.Built, assess.Report) {
	t.Helper()
	w := workspace.Workspace{Root: ".", FS: demo.Files()}
	e, err := w.Enquiry("enquiries/d1-bench-jumpers.yaml")
	if err != nil {
		t.Fatal(err)
	}
	cat, err := w.Catalogue()
	if err != nil {
		t.Fatal(err)
	}
	spec, err := w.Chain("chains/bench-jumper.yaml")
	if err != nil {
		t.Fatal(err)
	}
	b, err := chain.Build(spec, cat)
	if err != nil {
		t.Fatal(err)
	}
	r, err := assess.Assess(t.Context(), e, assess.Subject{Built: b, Catalogue: cat}, assess.Options{Points: 31, Draws: 200})
	if err != nil {
		t.Fatal(err)
	}
	return e, cat, b, r
}

func TestCurves(t *testing.T) {
	e, _, b, r := judged(t)
	c := NewCurves(e, b, r)
	n := len(c.FrequencyHz)
	for i := range n {
		best, likely, worst := c.ReturnLossDB.Best[i], *c.ReturnLossDB.Likely[i], *c.ReturnLossDB.Worst[i]
		if !(worst <= likely+1e-9) || best != nil && !(likely <= *best+1e-9) {
			t.Errorf("at %v Hz best %v, likely %v, worst %v dB", c.FrequencyHz[i], best, likely, worst)
		}
	}
	// The enquiry asks for 2.2 dB at 18 GHz and for a VSWR of 1.3, which is
	// −20·log10(0.3/2.3) = 17.69 dB.
	if len(c.Limits) != 2 || !c.Limits[0].Above || c.Limits[0].Points[0] != [2]float64{18e9, 2.2} || c.Limits[1].Above || !(math.Abs(c.Limits[1].Points[0][1]-17.692) <= 5e-4) {
		t.Errorf("%+v", c.Limits)
	}
	if len(c.LossDB) < 2 || !(c.LossDB[0].TemperatureC < c.LossDB[len(c.LossDB)-1].TemperatureC) {
		t.Errorf("%d temperatures", len(c.LossDB))
	}
	if len(c.Profile.PositionS) != 2*len(b.Elements) || len(c.Profile.DelayUnknown) != 2 {
		t.Errorf("%+v", c.Profile)
	}
	if c.GroupDelayS != nil || c.GroupDelayIs == "" { // its connectors state no length
		t.Errorf("a group delay is made up: %s", c.GroupDelayIs)
	}
}

func TestDrawing(t *testing.T) {
	_, cat, b, _ := judged(t)
	d := NewDrawing(b, cat)
	at := 0.0
	for _, s := range d.Elements {
		if s.X0M != at || !(s.X1M > s.X0M) {
			t.Errorf("%s from %v to %v, the one before ends at %v", s.Name, s.X0M, s.X1M, at)
		}
		at = s.X1M
		if s.Guessed != (s.LengthM == nil) {
			t.Errorf("%s: guessed %v, length %v", s.Name, s.Guessed, s.LengthM)
		}
	}
	if c := d.Elements[1]; *c.LengthM != 1.2 || !c.Broken || c.BoreM == nil || d.WidthM != at {
		t.Errorf("%+v", c)
	}
	// A 3.5 mm connector is drawn with the bore that names it.
	if c := d.Elements[0]; *c.BoreM != 3.5e-3 {
		t.Errorf("%+v", c)
	}
}

// The changes are differences to the chain as it stands, which changes nothing.
func TestNewAlternatives(t *testing.T) {
	e, cat, b, _ := judged(t)
	found, err := propose.FindAlternatives(t.Context(), e, cat, b.Spec, 1, propose.AlternativesOptions{})
	if err != nil {
		t.Fatal(err)
	}
	a := NewAlternatives(found)
	if a.Tried != len(cat.Cables) || a.Fitting < 2 || a.Fitting >= a.Tried {
		t.Errorf("%d of %d cables fit", a.Fitting, a.Tried)
	}
	for i, o := range a.Options {
		if (len(o.Refused) == 0) != (o.Figures != nil) || (o.Figures != nil) != (i < a.Fitting) {
			t.Errorf("%d. %s: refused %v, figures %v", i, o.Part, o.Refused, o.Figures)
		}
		if o.Part == a.Part && (o.Changes == nil || *o.Changes.InsertionLossDB != 0 || *o.Figures.InsertionLossDB != *a.Now.InsertionLossDB) {
			t.Errorf("%s in its own place changes %+v", o.Part, o.Changes)
		}
	}
}

func TestLevelAt(t *testing.T) {
	l := Limit{Points: [][2]float64{{1e9, 10}, {3e9, 20}, {3e9, 30}, {4e9, 30}}}
	for f, want := range map[float64]float64{1e9: 10, 2e9: 15, 3e9: 20, 3.5e9: 30, 4e9: 30} {
		if got, ok := l.levelAt(f); !ok || !(math.Abs(got-want) <= 1e-9) {
			t.Errorf("at %v Hz %v, %v; want %v", f, got, ok, want)
		}
	}
	for _, f := range []float64{0.9e9, 4.1e9} {
		if _, ok := l.levelAt(f); ok {
			t.Errorf("a limit holds at %v Hz", f)
		}
	}
}

// A line scaled as a whole keeps its impedance, and its mode-free limit falls as
// it grows.
func TestScaled(t *testing.T) {
	for _, x := range []line.Line{
		line.Coax{InnerDiameter: 1.27e-3, OuterDiameter: 2.92e-3},
		line.Stripline{Width: 0.3e-3, Spacing: 0.5e-3, Method: line.ClosedForm},
		line.Microstrip{Width: 0.5e-3, Height: 0.25e-3, Method: line.ClosedForm},
		line.Coplanar{Width: 0.4e-3, Gap: 0.2e-3, Height: 0.25e-3, GroundBelow: true, Method: line.ClosedForm},
	} {
		y, size, of := scaled(x, 2)
		z0, z1 := x.Static().Impedance, y.Static().Impedance
		if !(math.Abs(z1/z0-1) <= 1e-9) || size == 0 || of == "" {
			t.Errorf("%T: %v Ω became %v Ω", x, z0, z1)
		}
		if f0, f1 := line.ModeFreeLimit(x), line.ModeFreeLimit(y); !(math.Abs(f0/f1-2) <= 1e-6) {
			t.Errorf("%T: twice the size, %v Hz became %v Hz", x, f0, f1)
		}
	}
}
