package chain

import (
	"errors"
	"testing"

	"linewright/hardware/catalogue"
	"linewright/hardware/part"
	"linewright/physics/units"
)

func shelf() catalogue.Catalogue {
	face := func(series string, g part.Gender) part.Face { return part.Face{Series: series, Gender: g} }
	return catalogue.Catalogue{
		Cables:          []part.Cable{{Common: part.Common{ID: "cable"}, VelocityFactor: ptr(0.8)}},
		CableConnectors: []part.CableConnector{{Common: part.Common{ID: "male"}, Face: face("2.92 mm", part.Male)}, {Common: part.Common{ID: "female"}, Face: face("2.92 mm", part.Female)}},
		BoardConnectors: []part.BoardConnector{{Common: part.Common{ID: "board"}, Face: face("2.92 mm", part.Female)}, {Common: part.Common{ID: "jack"}, Face: face("SMP", part.Male)}},
		Adapters:        []part.Adapter{{Common: part.Common{ID: "adapter"}, Left: face("2.92 mm", part.Male), Right: face("2.4 mm", part.Female)}},
		Bullets:         []part.Bullet{{Common: part.Common{ID: "bullet"}, Left: face("SMP", part.Female), Right: face("SMP", part.Female)}},
	}
}

func piece(id string) PieceSpec { return PieceSpec{Part: id} }

// Faces meet where connectors touch, and nowhere else: not across a cable, a
// board line or a launch.
func TestJoins(t *testing.T) {
	length := units.Length(0.3)
	cable := PieceSpec{Part: "cable", Length: &length}
	launch := PieceSpec{Launch: &LaunchSpec{}}
	trace := PieceSpec{Trace: &TraceSpec{Length: 0.04}}
	gap := PieceSpec{Gap: &GapSpec{Opening: 1e-4, Impedance: 70}}
	for name, c := range map[string]struct {
		pieces []PieceSpec
		want   []string
	}{
		"jumper":         {[]PieceSpec{piece("male"), cable, piece("male")}, nil},
		"board to board": {[]PieceSpec{launch, piece("board"), piece("male"), cable, piece("male"), piece("board"), launch}, []string{"board-male", "male-board"}},
		"line":           {[]PieceSpec{piece("board"), launch, trace, launch, piece("board")}, nil},
		"bullet":         {[]PieceSpec{launch, piece("jack"), piece("bullet"), gap, piece("jack"), launch}, []string{"jack-bullet", "bullet-jack"}},
		"adapter":        {[]PieceSpec{launch, piece("board"), piece("adapter")}, []string{"board-adapter"}},
		"wrong genders":  {[]PieceSpec{launch, piece("board"), piece("female"), cable, piece("male")}, []string{"board-female"}},
	} {
		b, err := Build(Spec{Name: name, Pieces: c.pieces}, shelf())
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var got []string
		for _, j := range b.Joins {
			got = append(got, j.LeftPart+"-"+j.RightPart)
			if mate := name != "wrong genders"; j.Genders != mate {
				t.Errorf("%s: %s joins %s: genders go together = %v", name, j.LeftPart, j.RightPart, j.Genders)
			}
		}
		if len(got) != len(c.want) {
			t.Errorf("%s joins %v, want %v", name, got, c.want)
			continue
		}
		for i := range got {
			if got[i] != c.want[i] {
				t.Errorf("%s joins %v, want %v", name, got, c.want)
			}
		}
		if len(b.Roles) != len(b.Elements) {
			t.Errorf("%s: %d roles for %d elements", name, len(b.Roles), len(b.Elements))
		}
		seen := map[string]bool{}
		for _, f := range b.Facts() {
			if seen[f.Name] {
				t.Errorf("%s: two elements are called %q", name, f.Name)
			}
			seen[f.Name] = true
		}
	}
}

// A piece that cannot be built is refused with its place and a cure.
func TestBuildRefuses(t *testing.T) {
	for name, p := range map[string]PieceSpec{
		"unknown part":   piece("nothing"),
		"no length":      piece("cable"),
		"nothing":        {},
		"two kinds":      {Part: "male", Gap: &GapSpec{}},
		"loss without f": {Trace: &TraceSpec{Length: 1, Loss: ptr(units.Level(1))}},
		"file not read":  {File: &FileSpec{Path: "x.s2p"}},
	} {
		_, err := Build(Spec{Name: name, Pieces: []PieceSpec{piece("male"), p}}, shelf())
		var be *BuildError
		if !errors.As(err, &be) || be.Piece != 1 || be.Help == "" || be.Problem == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}
