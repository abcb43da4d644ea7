package touchstone

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
)

// The option line in all its freedom ([ibis2009], option line: any order, any
// case, every part optional), and with a resistance per port ([ibis2024], version
// 1.1; the four-port line is an example printed there).
func TestOptionLine(t *testing.T) {
	matrix := func(ports int) string {
		row := strings.Repeat(" 0 0", ports) + "\n"
		if ports < 3 {
			return "1" + strings.Repeat(" 0 0", ports*ports) + "\n"
		}
		return "1" + strings.Repeat(row, ports)
	}
	for _, c := range []struct {
		line  string
		ports int
		want  Layout
	}{
		{"#", 1, Layout{Version: Version10}},
		{"# GHz S MA R 50", 2, Layout{Version: Version10, Reference: []float64{50}}},
		{"#\tghz\ts\tri\tr\t75", 1, Layout{Version: Version10, Format: RI, Reference: []float64{75}}},
		{"#HZ Z DB", 1, Layout{Version: Version10, Unit: Hz, Parameter: Z, Format: DB}},
		{"  # R 100 RI kHz Y ! measured", 2, Layout{Version: Version10, Unit: KHz, Parameter: Y, Format: RI, Reference: []float64{100}}},
		{"# mhz g db r 1e0", 2, Layout{Version: Version10, Unit: MHz, Parameter: G, Format: DB, Reference: []float64{1}}},
		{"# H R .5 MA", 2, Layout{Version: Version10, Parameter: H, Reference: []float64{.5}}},
		{"# GHz S MA R 0.01 0.01 50.0 50.0", 4, Layout{Version: Version11, Reference: []float64{.01, .01, 50, 50}}},
		{"# R 50 75 GHz RI S", 2, Layout{Version: Version11, Format: RI, Reference: []float64{50, 75}}},
		{"# GHz Z RI R 50 50", 2, Layout{Version: Version11, Parameter: Z, Format: RI, Reference: []float64{50, 50}}},
	} {
		f, err := NewScanner(strings.NewReader(c.line+"\n"+matrix(c.ports)), fmt.Sprintf("A.S%dP", c.ports), ReadOptions{Strict: true}).ReadAll()
		if err != nil {
			t.Errorf("%s: %v", c.line, err)
			continue
		}
		got := f.Layout
		if got.Version != c.want.Version || got.Unit != c.want.Unit || got.Parameter != c.want.Parameter || got.Format != c.want.Format || !slices.Equal(got.Reference, c.want.Reference) || got.Ports != c.ports {
			t.Errorf("%s: %+v", c.line, got)
		}
		sameFile(t, f, rewrite(t, f))
		if scale := map[Unit]float64{GHz: 1e9, MHz: 1e6, KHz: 1e3, Hz: 1}[got.Unit]; f.Frequency[0] != scale {
			t.Errorf("%s: 1 %v is %g Hz", c.line, got.Unit, f.Frequency[0])
		}
		if strings.Contains(c.line, "!") && (len(f.Comments) != 1 || f.Comments[0].Text != " measured") {
			t.Errorf("%s: comments %+v", c.line, f.Comments)
		}
	}
	for line, want := range map[string]error{
		"# GHz S MA 50":     ErrOption,
		"# GHz S MA R50":    ErrOption,
		"# THz S MA R 50":   ErrOption,
		"# GHz MHz S MA":    ErrOptionRepeated,
		"# R 50 R 75":       ErrOptionRepeated,
		"# R 0":             ErrReference,
		"# R -50":           ErrReference,
		"# R 50 75 90":      ErrReferenceCount,
		"# R 50+10i":        ErrReference,
		"# R":               ErrReference,
		"# S R ! no number": ErrReference,
	} {
		_, err := Read(strings.NewReader(line+"\n"+matrix(2)), "a.s2p", 0)
		faults, _ := err.(Faults)
		if len(faults) != 1 || faults[0].(*SyntaxError).Err != want {
			t.Errorf("%s: %v, want one fault: %v", line, err, want)
		}
	}
}

// The extension tells the ports; a caller and a keyword overrule it.
func TestPortsOf(t *testing.T) {
	for name, want := range map[string]int{"a.s2p": 2, "A.S16P": 16, "b.y1p": 1, "c.ts": 0, "s2p": 0, "d.sp": 0, "e.s2px": 0, "f.s-2p": 0, "x/y.z/g.s3p": 3, "h.s99999999999999999999p": maxPorts + 1} {
		if got := portsOf(name); got != want {
			t.Errorf("%s: %d ports, want %d", name, got, want)
		}
	}
}

// Frequencies are what they say, not a product of roundings.
func TestFrequencyExact(t *testing.T) {
	for text, want := range map[string]float64{"1.1": 1.1e9, "26.55": 26.55e9, "0.3": 0.3e9, "67.000001": 67.000001e9, "8.2e-3": 8.2e6} {
		f := readText(t, "# GHz S RI R 50\n"+text+" 0 0\n", "a.s1p")
		if f.Frequency[0] != want {
			t.Errorf("%s GHz is %v Hz, want %v", text, f.Frequency[0], want)
		}
	}
}

// A version 1 file called .ts tells its ports by the length of its first point.
func TestPortsCounted(t *testing.T) {
	for ports := 1; ports <= 24; ports++ {
		for _, points := range []int{1, 2} {
			f := &File{Layout: Layout{Ports: ports, Format: RI}, Frequency: []float64{1e9, 2e9}[:points], Data: make([]complex128, points*ports*ports)}
			var out strings.Builder
			if err := f.Write(&out, WriteOptions{}); err != nil {
				t.Fatal(err)
			}
			for _, r := range []io.Reader{strings.NewReader(out.String()), onebyte{strings.NewReader(out.String())}, strings.NewReader(strings.ReplaceAll(out.String(), "\n", "\r\n"))} {
				got, err := Read(r, "a.ts", 0)
				if err != nil || got.Layout.Ports != ports || len(got.Frequency) != points {
					t.Errorf("%d ports, %d points: read as %d ports, %v", ports, points, got.Layout.Ports, err)
				}
			}
		}
	}
	f, err := Read(strings.NewReader("#\n2 .95 -26 3.57 157 .04 76 .66 -14\n1 .7 .64 69 .38\n"), "a.txt", 0)
	if err != nil || f.Layout.Ports != 2 || len(f.Noise) != 1 {
		t.Errorf("%v: %d ports, %d noise points", err, f.Layout.Ports, len(f.Noise))
	}
}
