package touchstone

import (
	"bytes"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// sameFile asks that b is what writing and reading leaves of a: bit for bit the
// same, where nothing is converted; else within PairTolerance, and a rounding or
// two of the normalisation.
func sameFile(t interface {
	Errorf(string, ...any)
	Helper()
}, a, b *File) {
	t.Helper()
	if !slices.Equal(a.Frequency, b.Frequency) {
		t.Errorf("%s: frequencies %v became %v", a.Name, a.Frequency, b.Frequency)
		return
	}
	la, lb := a.Layout, b.Layout
	if la.Ports != lb.Ports || la.Parameter != lb.Parameter || la.Format != lb.Format || la.Unit != lb.Unit ||
		la.Order != lb.Order || la.Triangle != lb.Triangle || !slices.Equal(la.Modes, lb.Modes) ||
		!slices.Equal(la.Information, lb.Information) || la.optionResistance() != lb.optionResistance() {
		t.Errorf("%s: layout %+v became %+v", a.Name, la, lb)
	}
	for i := 1; i <= la.Ports; i++ {
		if la.PortReference(i) != lb.PortReference(i) {
			t.Errorf("%s: reference %d: %g became %g", a.Name, i, la.PortReference(i), lb.PortReference(i))
		}
	}
	exact := la.Format == RI && (la.Parameter == S || la.Version.keywords())
	if len(a.Data) != len(b.Data) {
		t.Errorf("%s: %d elements became %d", a.Name, len(a.Data), len(b.Data))
		return
	}
	for i, x := range a.Data {
		y := b.Data[i]
		if exact && (math.Float64bits(real(x)) != math.Float64bits(real(y)) || math.Float64bits(imag(x)) != math.Float64bits(imag(y))) {
			t.Errorf("%s: element %d: %v became %v", a.Name, i, x, y)
			return
		}
		// Below 1e-300 numbers lose digits before they vanish.
		tol := pairTolerance(la.Format, x)
		if !exact && !(cmplx.Abs(x/2-y/2) <= tol*cmplx.Abs(x/2)+1e-300) {
			t.Errorf("%s: element %d: %v became %v", a.Name, i, x, y)
			return
		}
	}
	if len(a.Noise) != len(b.Noise) {
		t.Errorf("%s: %d noise points became %d", a.Name, len(a.Noise), len(b.Noise))
		return
	}
	for i, x := range a.Noise {
		y := b.Noise[i]
		if x.Frequency != y.Frequency || x.Minimum != y.Minimum ||
			!(cmplx.Abs(x.Source/2-y.Source/2) <= PairTolerance*cmplx.Abs(x.Source/2)+1e-300) ||
			!(math.Abs(x.Resistance/2-y.Resistance/2) <= 4e-16*math.Abs(x.Resistance)+1e-300) {
			t.Errorf("%s: noise point %d: %v became %v", a.Name, i, x, y)
		}
	}
}

// pairTolerance is PairTolerance, in proportion to the level beyond 300 dB as its
// comment says.
func pairTolerance(f Format, c complex128) float64 {
	if level := math.Abs(20 * math.Log10(cmplx.Abs(c))); f == DB && level > 300 && !math.IsInf(level, 0) {
		return PairTolerance * level / 300
	}
	return PairTolerance
}

// rewrite writes a file and reads it again.
func rewrite(t interface{ Fatalf(string, ...any) }, f *File) *File {
	var out bytes.Buffer
	if err := f.Write(&out, WriteOptions{}); err != nil {
		t.Fatalf("%s: %v\n%+v", f.Name, err, f.Layout)
	}
	again, err := Read(bytes.NewReader(out.Bytes()), f.Name, f.Layout.Ports)
	if err != nil {
		t.Fatalf("%s: %v\n%s", f.Name, err, out.Bytes())
	}
	if len(again.Warnings) > 0 && f.Layout.Version != VersionAuto {
		for _, w := range again.Warnings { // the extension may be the caller's
			if e := w.(*SyntaxError); e.Err != ErrForgivenExtension && e.Err != ErrForgivenNoiseFrequency && e.Err != ErrForgivenComment {
				t.Fatalf("%s: written with %v\n%s", f.Name, w, out.Bytes())
			}
		}
	}
	return again
}

// Any file that the types can express comes back.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := &File{Name: "random.ts"}
		l := &f.Layout
		l.Ports = rapid.IntRange(1, 9).Draw(t, "ports")
		l.Unit = Unit(rapid.IntRange(0, 3).Draw(t, "unit"))
		l.Format = Format(rapid.IntRange(0, 2).Draw(t, "format"))
		l.Parameter = Parameter(rapid.IntRange(0, 4).Draw(t, "parameter"))
		if l.Ports != 2 {
			l.Parameter %= 3
		}
		v2 := rapid.Bool().Draw(t, "v2")
		positive := rapid.Float64Range(1e-3, 1e4)
		if v2 {
			l.Version = Version(rapid.IntRange(3, 4).Draw(t, "version"))
			l.Triangle = Triangle(rapid.IntRange(0, 2).Draw(t, "triangle"))
			l.Resistance = positive.Draw(t, "resistance")
			if l.Ports == 2 {
				l.Order = Order(rapid.IntRange(0, 1).Draw(t, "order"))
			}
			if l.Ports > 1 && l.Parameter < H && rapid.Bool().Draw(t, "modes") {
				p := rapid.Permutation(count(l.Ports)).Draw(t, "mode ports")
				l.Modes = []Mode{{'D', p[0], p[1]}, {'C', p[0], p[1]}}
				for _, s := range p[2:] {
					l.Modes = append(l.Modes, Mode{'S', s, 0})
				}
			}
		}
		if v2 || l.Parameter == S {
			l.Reference = rapid.SliceOfN(positive, l.Ports, l.Ports).Draw(t, "references")
		} else {
			l.Reference = []float64{positive.Draw(t, "reference")}
		}
		value := rapid.Float64Range(-1e3, 1e3)
		if l.Format == RI && l.Parameter == S {
			value = rapid.Float64Range(-1e300, 1e300)
		}
		last := 0.0
		for range rapid.IntRange(1, 4).Draw(t, "points") {
			last += rapid.Float64Range(1e-3, 1e11).Draw(t, "step")
			f.Frequency = append(f.Frequency, last)
			m := make([]complex128, l.Ports*l.Ports)
			for i := range l.Ports {
				for j := range l.Ports {
					m[i*l.Ports+j] = complex(value.Draw(t, "re"), value.Draw(t, "im"))
					if l.Triangle != Full && j < i {
						m[i*l.Ports+j] = m[j*l.Ports+i]
					}
				}
			}
			f.Data = append(f.Data, m...)
		}
		if l.Ports == 2 && rapid.Bool().Draw(t, "noise") {
			f.Noise = []NoisePoint{{f.Frequency[0] / 2, 0.5, complex(0.1, -0.2), positive.Draw(t, "rn")}}
		}
		again := rewrite(t, f)
		sameFile(t, f, again)
	})
}

func count(n int) []int {
	c := make([]int, n)
	for i := range c {
		c[i] = i + 1
	}
	return c
}

// Angles and levels at the edges come back exactly.
func TestPairEdges(t *testing.T) {
	for _, f := range []Format{MA, DB} {
		for _, c := range []complex128{1, -1, 1i, -1i, 0, complex(-1, math.Copysign(0, -1))} {
			a, b := toPair(f, c)
			if got := fromPair(f, a, b); got != c || math.Signbit(imag(got)) != math.Signbit(imag(c)) {
				t.Errorf("%v: %v is %g %g, which is %v", f, c, a, b, got)
			}
		}
	}
}

// What can be read can be written, and is then the same network; whatever else
// comes is refused with places that lie in the file, without a panic.
func FuzzRead(f *testing.F) {
	for _, dir := range []string{"bad", "warn", "spec"} {
		files, err := os.ReadDir(filepath.Join("testdata", dir))
		if err != nil {
			f.Fatal(err)
		}
		for _, e := range files {
			text, err := os.ReadFile(filepath.Join("testdata", dir, e.Name()))
			if err != nil {
				f.Fatal(err)
			}
			f.Add(text, uint8(portsOf(e.Name())%16))
		}
	}
	f.Fuzz(func(t *testing.T, text []byte, ports uint8) {
		a, err := Read(bytes.NewReader(text), "x", int(ports%16))
		if err != nil {
			for _, e := range err.(Faults) {
				s, ok := e.(*SyntaxError)
				if !ok {
					s = (*SyntaxError)(e.(*UnsupportedError))
				}
				if s.Line < 1 || s.Column < 1 || s.Found == "" || s.Help == "" || s.Line > bytes.Count(text, []byte("\n"))+bytes.Count(text, []byte("\r"))+2 {
					t.Errorf("%+v", s)
				}
			}
			return
		}
		b := rewrite(t, a)
		sameFile(t, a, b)
		c := rewrite(t, b)
		if len(b.Comments) != len(c.Comments) {
			t.Errorf("%d comments became %d", len(b.Comments), len(c.Comments))
		}
	})
}
