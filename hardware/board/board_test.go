package board

import (
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"linewright/physics/line"
	"linewright/physics/units"
)

func mm(x float64) units.Length   { return units.Length(x * 1e-3) }
func pmm(x float64) *units.Length { l := mm(x); return &l }
func num(x float64) *float64      { return &x }
func ghz(x float64) *units.Frequency {
	f := units.Frequency(x * 1e9)
	return &f
}

// fourLayers is an invented 4-layer board: 0.254 mm over a plane, 1.5 mm in
// all but the outer plating.
func fourLayers() Stackup {
	foil := func(name string, use Use, um float64) Layer {
		return Layer{Name: name, Kind: Copper, Use: use, Thickness: units.Length(um * 1e-6), ThicknessTolerance: pmm(0.005), Foil: "rolled", Roughness: pmm(0.0003)}
	}
	d := func(kind LayerKind, h, er, tan float64) Layer {
		return Layer{Kind: kind, Thickness: mm(h), ThicknessTolerance: pmm(0.05 * h), Material: "invented laminate", Permittivity: num(er), LossTangent: num(tan), At: ghz(10)}
	}
	return Stackup{Name: "four", Fabricator: "Invented Boards", Revision: "B", Layers: []Layer{
		foil("L1", Mixed, 35), d(Core, 0.254, 3.0, 0.001), foil("L2", Plane, 17), d(Bond, 0.5, 3.6, 0.004), d(Bond, 0.2, 3.6, 0.004),
		foil("L3", Signal, 17), d(Core, 0.254, 3.0, 0.001), foil("L4", Plane, 35)}, Finish: Finish{Kind: ImmersionSilver}, Limits: UsualLimits()}
}

func TestGeometry(t *testing.T) {
	s := fourLayers()
	if err := s.Check(); err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if !(math.Abs(got-want) <= 1e-12*math.Abs(want)) {
			t.Errorf("%s: %.12g, want %.12g", what, got, want)
		}
	}
	near("thickness", float64(s.Thickness()), 1.312e-3)
	worst, rss, ok := s.ThicknessTolerance()
	near("worst tolerance", float64(worst), 4*5e-6+0.05*1.208e-3)
	if !ok || !(rss < worst) {
		t.Errorf("tolerance rss %v, worst %v, %v", rss, worst, ok)
	}
	h, d, err := s.Height("L1")
	if err != nil {
		t.Fatal(err)
	}
	near("height of L1", float64(h), 0.254e-3)
	near("permittivity under L1", d.Permittivity, 3.0)
	// From L1 to L4 past two cleared planes: series of capacitances.
	h, d, err = s.Between("L4", "L1")
	if err != nil {
		t.Fatal(err)
	}
	near("L1 to L4", float64(h), 1.242e-3)
	// The two cleared coppers, 0.017 mm each, are filled by the layer above.
	sum := (0.254*2+0.017)/3.0 + (0.7+0.017)/3.6
	if !(math.Abs(d.Permittivity-1.242/sum) <= 2e-5) {
		t.Errorf("merged permittivity %.7g, want %.7g", d.Permittivity, 1.242/sum)
	}
}

// A board's line is the line of package line with that geometry.
func TestLine(t *testing.T) {
	s := fourLayers()
	l, left, err := s.Line(Trace{Kind: Microstrip, Layer: "L1", Width: mm(0.6), Method: line.ClosedForm})
	if err != nil {
		t.Fatal(err)
	}
	m, ok := l.(line.Microstrip)
	if !ok || m.Height != 0.254e-3 || m.Thickness != 35e-6 || m.Substrate.Permittivity != 3.0 || m.Substrate.FittedAt != 10e9 {
		t.Errorf("microstrip %+v", l)
	}
	if len(left) != 1 || !strings.Contains(left[0], "immersion silver") {
		t.Errorf("left out: %q", left)
	}
	l, _, err = s.Line(Trace{Kind: Coplanar, Layer: "L1", Width: mm(0.5), Gap: mm(0.2), Walls: pmm(1.9), Method: line.ClosedForm})
	if err != nil {
		t.Fatal(err)
	}
	if c := l.(line.Coplanar); !c.GroundBelow || c.Walls != 1.9e-3 || c.Height != 0.254e-3 {
		t.Errorf("coplanar %+v", c)
	}
	l, left, err = s.Line(Trace{Kind: Stripline, Layer: "L3", Width: mm(0.3), Method: line.ClosedForm})
	if err != nil {
		t.Fatal(err)
	}
	p := l.(line.Stripline)
	// 0.254 mm below, 0.7 mm above: the strip lies below the middle.
	if !(math.Abs(p.Spacing-(0.254+0.017+0.7)*1e-3) < 1e-12) || !(math.Abs(p.Offset-(0.254-0.7)/2*1e-3) < 1e-12) || p.Substrate.Permittivity != 3.0 || p.Above.Permittivity != 3.6 {
		t.Errorf("stripline %+v", p)
	}
	if len(left) != 1 || !strings.Contains(left[0], "merged") {
		t.Errorf("left out: %q", left)
	}
	// Flipping the board over changes nothing but the sign of the offset.
	f := s
	f.Layers = nil
	for i := range s.Layers {
		f.Layers = append(f.Layers, s.Layers[len(s.Layers)-1-i])
	}
	l, _, err = f.Line(Trace{Kind: Stripline, Layer: "L3", Width: mm(0.3), Method: line.ClosedForm})
	if err != nil {
		t.Fatal(err)
	}
	if q := l.(line.Stripline); !(math.Abs(q.Offset+p.Offset) < 1e-15) || q.Spacing != p.Spacing || q.Substrate != p.Above {
		t.Errorf("flipped stripline %+v", q)
	}
	for _, bad := range []Trace{{Kind: Microstrip, Layer: "L3", Width: mm(0.3)}, {Kind: Stripline, Layer: "L1", Width: mm(0.3)}, {Kind: Microstrip, Layer: "L9", Width: mm(0.3)},
		{Kind: Microstrip, Layer: "L1"}, {Layer: "L1", Width: mm(0.3)}, {Kind: Microstrip, Layer: "L1", Width: mm(0.3), Reference: []string{"L7"}}} {
		if _, _, err := s.Line(bad); err == nil {
			t.Errorf("%+v makes a line", bad)
		}
	}
}

// Every physical field changes the hash, no other does.
func TestHash(t *testing.T) {
	base := fourLayers()
	words := map[string]bool{"Name": true}
	for i := range reflect.TypeFor[Layer]().NumField() {
		name := reflect.TypeFor[Layer]().Field(i).Name
		s := fourLayers()
		v := reflect.ValueOf(&s.Layers[1]).Elem().Field(i)
		switch v.Kind() {
		case reflect.String:
			v.SetString(v.String() + "x")
		case reflect.Float64:
			v.SetFloat(v.Float()*(1+1e-9) + 1e-12)
		case reflect.Pointer:
			p := reflect.New(v.Type().Elem())
			p.Elem().SetFloat(1.25e-6)
			v.Set(p)
		default:
			t.Fatalf("%s: no way to change a %s", name, v.Kind())
		}
		if changed := s.Hash() != base.Hash(); changed == words[name] {
			t.Errorf("%s: hash changed is %v", name, changed)
		}
	}
	s := fourLayers()
	s.Finish.Kind = NickelGold
	if s.Hash() == base.Hash() {
		t.Error("the finish does not change the hash")
	}
	s = fourLayers()
	s.Name, s.Note, s.Source, s.Limits, s.Fabricator = "other", "note", "source", Limits{}, "Other Boards"
	if s.Hash() != base.Hash() {
		t.Error("names, notes or limits change the hash")
	}
	if s.Identity() == base.Identity() {
		t.Error("the fabricator does not change the identity")
	}
	if !base.Identity().Complete() || (Stackup{}).Identity().Complete() {
		t.Error("completeness of an identity")
	}
}

func TestCheck(t *testing.T) {
	for what, change := range map[string]func(*Stackup){
		"look for a slipped unit": func(s *Stackup) { s.Layers[1].Thickness = mm(25.4) },
		"copper on copper":        func(s *Stackup) { s.Layers = append(s.Layers[:1], s.Layers[2:]...) },
		"permittivity 0.3":        func(s *Stackup) { s.Layers[1].Permittivity = num(0.3) },
		"percent":                 func(s *Stackup) { s.Layers[1].LossTangent = num(1) },
		"the name stands":         func(s *Stackup) { s.Layers[2].Name = "L1" },
		"without a name":          func(s *Stackup) { s.Layers[2].Name = "" },
		"mask inside":             func(s *Stackup) { s.Layers[1].Kind = Mask },
		"no kind":                 func(s *Stackup) { s.Layers[1].Kind = "" },
		"no layers":               func(s *Stackup) { s.Layers = nil },
		"centre to centre":        func(s *Stackup) { s.Limits.ViaPitch = pmm(0.1) },
		"outside the outermost":   func(s *Stackup) { s.Layers = append(s.Layers, s.Layers[1]) },
		"tolerance of":            func(s *Stackup) { s.Layers[0].ThicknessTolerance = pmm(1) },
		"conductivity":            func(s *Stackup) { c := units.Conductivity(math.NaN()); s.Layers[0].Conductivity = &c },
	} {
		s := fourLayers()
		change(&s)
		err := s.Check()
		var le *LayerError
		if err == nil || !errors.As(err, &le) || !strings.Contains(err.Error(), what) {
			t.Errorf("%s: %v", what, err)
		}
	}
	// A nearly empty stackup leads to questions, not to faults.
	s := fourLayers()
	s.Fabricator, s.Finish.Kind = "", ""
	s.Layers[0].Foil, s.Layers[0].Roughness = "", nil
	s.Layers[1].At = nil
	if q := s.Missing(); len(q) != 5 { // fabricator, finish, foil, frequency, mask
		t.Errorf("questions: %q", q)
	}
	if p, ok := UsualLimits().SmallestPitch(); !ok || p != mm(0.35) {
		t.Errorf("usual pitch %v", p)
	}
	if _, ok := (Limits{}).SmallestPitch(); ok {
		t.Error("a pitch from nothing")
	}
}
