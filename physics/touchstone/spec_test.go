package touchstone

import (
	"bytes"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func spec(t *testing.T, file string) *File {
	t.Helper()
	f, err := readTest(t, "spec", file, false)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Warnings) > 0 {
		t.Errorf("%s: %v", file, f.Warnings)
	}
	return f
}

// polar is the number with the printed magnitude and angle, by another route
// than the reader takes.
func polar(magnitude, degrees float64) complex128 {
	return complex(magnitude, 0) * cmplx.Exp(complex(0, degrees*math.Pi/180))
}

func near(a, b complex128) bool { return cmplx.Abs(a-b) <= 1e-14*(1+cmplx.Abs(b)) }

// The examples printed in [ibis2009] and [ibis2024]: what they mean is said by
// the comments in them and the text around them.
func TestSpecification(t *testing.T) {
	type element struct {
		point, row, col int // from 1
		want            complex128
	}
	for _, c := range []struct {
		file     string
		version  Version
		ports    int
		first    float64 // Hz
		points   int
		elements []element
	}{
		{"oneport.s1p", Version10, 1, 2e6, 1, []element{{1, 1, 1, polar(0.894, -12.136)}}},
		// "R 75" and "the same data" with absolute values: 0.99·75 = 74.25.
		{"oneport-z.s1p", Version10, 1, 100e6, 5, []element{{1, 1, 1, polar(74.25, -4)}, {3, 1, 1, polar(53.025, -45)}, {5, 1, 1, polar(0.75, -89)}}},
		{"oneport-z-v2.ts", Version20, 1, 100e6, 5, []element{{1, 1, 1, polar(74.25, -4)}, {3, 1, 1, polar(53.025, -45)}, {5, 1, 1, polar(0.75, -89)}}},
		{"twoport-h.s2p", Version10, 2, 2e3, 1, []element{{1, 1, 1, polar(.95, -26)}, {1, 2, 1, polar(3.57, 157)}, {1, 1, 2, polar(.04, 76)}, {1, 2, 2, polar(.66, -14)}}},
		{"twoport-h-v2.ts", Version20, 2, 2e3, 1, []element{{1, 1, 1, polar(.95, -26)}, {1, 2, 1, polar(3.57, 157)}, {1, 1, 2, polar(.04, 76)}, {1, 2, 2, polar(.66, -14)}}},
		{"twoport.s2p", Version10, 2, 1e9, 3, []element{{1, 1, 1, 0.3926 - 0.1211i}, {2, 2, 1, -0.0096 - 0.0298i}, {3, 1, 2, -0.0134 + 0.0379i}, {3, 2, 2, 0.3419 + 0.3336i}}},
		{"fourport.s4p", Version10, 4, 5e9, 3, []element{{1, 2, 2, polar(.60, 161.20)}, {2, 1, 4, polar(.57, -95.77)}, {3, 3, 1, polar(.37, -99.09)}, {3, 4, 2, polar(.37, -99.09)}}},
		{"fourport-full.ts", Version20, 4, 5e9, 1, []element{{1, 2, 2, polar(.60, 161.20)}, {1, 3, 2, polar(.53, -79.34)}, {1, 4, 1, polar(.53, -79.34)}}},
		{"fourport-lower.ts", Version20, 4, 5e9, 1, []element{{1, 2, 2, polar(.60, 161.20)}, {1, 2, 3, polar(.53, -79.34)}, {1, 1, 4, polar(.53, -79.34)}}},
		{"mixedmode-y.ts", Version21, 6, 5e6, 1, []element{{1, 1, 1, 8 + 9i}, {1, 2, 4, -1 - 1i}, {1, 6, 6, 5.5 - 7i}}},
		{"noise.s2p", Version10, 2, 2e9, 2, []element{{1, 2, 1, polar(3.57, 157)}, {2, 1, 2, polar(.14, 40)}}},
		{"noise-v2.ts", Version20, 2, 2e9, 2, []element{{1, 2, 1, polar(3.57, 157)}, {2, 1, 2, polar(.14, 40)}}},
		{"order.ts", Version21, 2, 2e9, 2, []element{{1, 1, 2, polar(3.57, 157)}, {2, 2, 1, polar(.14, 40)}}},
	} {
		f := spec(t, c.file)
		if f.Layout.Version != c.version || f.Layout.Ports != c.ports || len(f.Frequency) != c.points || f.Frequency[0] != c.first {
			t.Errorf("%s: version %v, %d ports, %d points from %g Hz", c.file, f.Layout.Version, f.Layout.Ports, len(f.Frequency), f.Frequency[0])
		}
		for _, e := range c.elements {
			got := f.At(e.point - 1)[(e.row-1)*c.ports+e.col-1]
			if !near(got, e.want) {
				t.Errorf("%s: point %d element %d,%d = %v, want %v", c.file, e.point, e.row, e.col, got, e.want)
			}
		}
	}
}

// Pairs of examples that print the same network twice.
func TestSpecificationPairs(t *testing.T) {
	for _, pair := range [][2]string{{"oneport-z.s1p", "oneport-z-v2.ts"}, {"twoport-h.s2p", "twoport-h-v2.ts"}, {"fourport-full.ts", "fourport-lower.ts"}, {"noise.s2p", "noise-v2.ts"}} {
		a, b := spec(t, pair[0]), spec(t, pair[1])
		for i := range a.Data {
			if !near(a.Data[i], b.Data[i]) {
				t.Errorf("%v: element %d: %v and %v", pair, i, a.Data[i], b.Data[i])
			}
		}
	}
	if f := spec(t, "fourport-lower.ts"); !cmp.Equal(f.Layout.Reference, []float64{50, 75, 0.01, 0.01}) {
		t.Errorf("references %v", f.Layout.Reference)
	}
	modes := []Mode{{'D', 2, 3}, {'D', 6, 5}, {'C', 2, 3}, {'C', 6, 5}, {'S', 4, 0}, {'S', 1, 0}}
	if f := spec(t, "mixedmode-y.ts"); !cmp.Equal(f.Layout.Modes, modes) {
		t.Errorf("modes %v", f.Layout.Modes)
	}
	// Noise resistance: normalised to 50 Ω in version 1 (0.38 is 19 Ω), in ohms in
	// version 2; both examples describe one device.
	for _, file := range []string{"noise.s2p", "noise-v2.ts"} {
		f := spec(t, file)
		if len(f.Noise) != 2 {
			t.Fatalf("%s: %d noise points", file, len(f.Noise))
		}
		for i, want := range []NoisePoint{{4e9, .7, polar(.64, 69), 19}, {18e9, 2.7, polar(.46, -33), 20}} {
			got := f.Noise[i]
			if got.Frequency != want.Frequency || got.Minimum != want.Minimum || !near(got.Source, want.Source) || !(math.Abs(got.Resistance-want.Resistance) <= 1e-13) {
				t.Errorf("%s: noise point %d: %+v, want %+v", file, i+1, got, want)
			}
		}
	}
}

// Written in its own style, an example is itself again, but for the words that
// have several spellings and comments inside a matrix.
func TestSpecificationRewritten(t *testing.T) {
	files, err := os.ReadDir("testdata/spec")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, e := range files {
		if filepath.Ext(e.Name()) == ".md" {
			continue
		}
		n++
		f := spec(t, e.Name())
		var out bytes.Buffer
		if err := f.Write(&out, WriteOptions{Style: f.Style}); err != nil {
			t.Fatalf("%s: %v", e.Name(), err)
		}
		again, err := Read(bytes.NewReader(out.Bytes()), e.Name(), 0)
		if err != nil {
			t.Errorf("%s: %v\n%s", e.Name(), err, out.Bytes())
			continue
		}
		sameFile(t, f, again)
		for i, c := range f.Comments {
			if i >= len(again.Comments) || again.Comments[i].Text != c.Text {
				t.Errorf("%s: comments %v became %v", e.Name(), f.Comments, again.Comments)
				break
			}
		}
	}
	if n != 13 {
		t.Errorf("%d examples, 13 expected", n)
	}
	four, _ := os.ReadFile("testdata/spec/fourport.s4p")
	f := spec(t, "fourport.s4p")
	var out bytes.Buffer
	if err := f.Write(&out, WriteOptions{Style: f.Style}); err != nil {
		t.Fatal(err)
	}
	got, want := bytes.Fields(out.Bytes()), bytes.Fields(four)
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("fourport.s4p rewritten (-printed +written):\n%s", d)
	}
}
