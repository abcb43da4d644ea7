package touchstone

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func readText(t *testing.T, text, name string) *File {
	t.Helper()
	f, err := Read(strings.NewReader(text), name, 0)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Any description comes back from the file it was written to.
func TestHeaderRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringN(1, 20, -1).Filter(func(s string) bool { return !strings.ContainsRune(s, '�') })
		texts := rapid.SliceOfN(text, 0, 3)
		frequency := rapid.Float64Range(0, 1.1e11)
		check := func(name string) Check {
			c := Check{Verdict: Verdict(rapid.IntRange(0, 2).Draw(t, name)), Note: rapid.OneOf(rapid.Just(""), text).Draw(t, "note")}
			if c.Verdict != NotAssessed {
				c.Figure, c.At = rapid.Float64().Draw(t, "figure"), frequency.Draw(t, "at")
			}
			return c
		}
		h := Header{
			Title: text.Draw(t, "title"), Revision: text.Draw(t, "revision"), Contact: text.Draw(t, "contact"),
			Origin: text.Draw(t, "origin"), Corner: text.Draw(t, "corner"), Limits: text.Draw(t, "limits"),
			Contains: texts.Draw(t, "contains"), Excludes: texts.Draw(t, "excludes"), Notes: texts.Draw(t, "notes"),
			Reference: rapid.SliceOfN(rapid.Float64Range(0.1, 1e3), 0, 4).Draw(t, "reference"),
			Grid:      Grid{frequency.Draw(t, "from"), frequency.Draw(t, "to"), rapid.IntRange(1, 1e6).Draw(t, "points"), frequency.Draw(t, "step")},
			ValidFrom: frequency.Draw(t, "valid from"), ValidTo: rapid.Float64Range(1, 1e11).Draw(t, "valid to"),
			Temperature: rapid.Float64Range(1, 1000).Draw(t, "temperature"),
			Passivity:   check("passivity"), Reciprocity: check("reciprocity"), Causality: check("causality"),
		}
		for range rapid.IntRange(0, 4).Draw(t, "ports") {
			h.Ports = append(h.Ports, PortPlane{text.Draw(t, "port"), text.Draw(t, "plane")})
		}
		f := &File{Name: "a.s1p", Layout: Layout{Ports: 1}, Frequency: []float64{1}, Data: []complex128{0}, Comments: h.Comments()}
		again := rewrite(t, f)
		got, err := ParseHeader("a.s1p", again.Comments)
		if err != nil {
			t.Fatalf("%v", err)
		}
		empty := func(s []string) []string {
			if len(s) == 0 {
				return nil
			}
			return s
		}
		h.Contains, h.Excludes, h.Notes = empty(h.Contains), empty(h.Excludes), empty(h.Notes)
		if len(h.Reference) == 0 {
			h.Reference = nil
		}
		if d := cmp.Diff(&h, got); d != "" {
			t.Fatalf("(-written +read):\n%s", d)
		}
	})
}

func TestHeaderFaults(t *testing.T) {
	f := readText(t, `! Model description, form 1
!   Revision: B
!   Colour: red
!   Port 2: far end; plane: 3 mm on
!   Grid: 10 MHz to 67, 6700 points
!   Temperature: 25 degC
!   Passivity: met
! End of model description
# GHz S RI R 50
1 0 0
`, "a.s1p")
	h, err := ParseHeader("a.s1p", f.Comments)
	faults, _ := err.(Faults)
	if len(faults) != 5 || h.Revision != "B" {
		t.Fatalf("%d faults: %v; revision %q", len(faults), err, h.Revision)
	}
	for i, e := range faults {
		if s := e.(*SyntaxError); s.Line != 3+i || !errors.Is(e, ErrHeader) {
			t.Errorf("fault %d in line %d: %v", i, s.Line, e)
		}
	}
	if _, err := ParseHeader("a.s1p", f.Comments[:2]); !errors.Is(err, ErrHeader) {
		t.Errorf("description without end: %v", err)
	}
	if _, err := ParseHeader("a.s1p", nil); !errors.Is(err, ErrNoHeader) {
		t.Errorf("no description: %v", err)
	}
}

func TestMissing(t *testing.T) {
	var h Header
	if n := len(h.Missing()); n != 14 {
		t.Errorf("an empty description misses %d things: %v", n, h.Missing())
	}
	h = exampleHeader()
	if m := h.Missing(); len(m) > 0 {
		t.Errorf("the example misses %v", m)
	}
	h.Passivity.Verdict = NotMet
	h.Ports[1].Plane = ""
	if m := h.Missing(); len(m) != 2 {
		t.Errorf("%v", m)
	}
}

func TestGridOf(t *testing.T) {
	if g := GridOf([]float64{1e9, 2e9, 3e9}); g != (Grid{1e9, 3e9, 3, 1e9}) {
		t.Errorf("%+v", g)
	}
	if g := GridOf([]float64{1e9, 2e9, 4e9}); g != (Grid{1e9, 4e9, 3, 0}) {
		t.Errorf("%+v", g)
	}
}

// exampleHeader describes an invented launch.
func exampleHeader() Header {
	return Header{
		Title:       "edge launch to 20 mm of grounded coplanar line (invented)",
		Revision:    "B",
		Contact:     "applications desk",
		Origin:      "simulated, 3-D field solution",
		Corner:      "nominal",
		Ports:       []PortPlane{{"connector", "mating face"}, {"trace end", "20 mm from the board edge"}},
		Contains:    []string{"connector", "launch", "20 mm trace"},
		Excludes:    []string{"mating connector"},
		Reference:   []float64{50},
		Grid:        Grid{10e6, 67e9, 6700, 10e6},
		Temperature: 296.15,
		ValidFrom:   10e6,
		ValidTo:     50e9,
		Limits:      "multimode above 50 GHz",
		Passivity:   Check{Met, 0.9991, 12e9, "largest singular value"},
		Reciprocity: Check{Met, 2e-6, 66e9, "largest |S21-S12|"},
		Causality:   Check{Verdict: NotMet, Figure: 0.004, At: 67e9, Note: "residual of the Hilbert pair, band edge left in"},
	}
}

// Any comment lines are read without a panic, and what is understood without
// fault comes back.
func FuzzHeader(f *testing.F) {
	h := exampleHeader()
	f.Add(strings.Join(h.Lines(), "\n"))
	f.Add("Model description, form 1\nPort 1: a; plane: b\nGrid: 0 Hz to 1 GHz, 3 points\nEnd of model description")
	f.Fuzz(func(t *testing.T, text string) {
		var comments []Comment
		for line := range strings.Lines(text) {
			comments = append(comments, Comment{Text: strings.TrimRight(line, "\r\n")})
		}
		a, err := ParseHeader("x", comments)
		if err != nil {
			return
		}
		b, err := ParseHeader("x", a.Comments())
		if err != nil {
			t.Fatalf("%v\n%s", err, strings.Join(a.Lines(), "\n"))
		}
		if d := cmp.Diff(a.Lines(), b.Lines()); d != "" {
			t.Errorf("(-first +second):\n%s", d)
		}
	})
}
