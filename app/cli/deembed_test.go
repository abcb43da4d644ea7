package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"math/cmplx"
	"os"
	"strings"
	"testing"

	"linewright/app/wire"
	"linewright/physics/fit"
	"linewright/physics/line"
	"linewright/physics/material"
	"linewright/physics/network"
	"linewright/physics/timedomain"
	"linewright/physics/touchstone"
)

// bench is an invented board: launches of some lumps and 20 mm of trace at either side of
// a part, swept to 40 GHz. Its files go into the test's folder.
type bench struct {
	t     *testing.T
	f     []float64
	left  network.Network
	right network.Network
	part  network.Network
}

const slowness = 6.2e-9 // s/m

func newBench(t *testing.T) bench {
	t.Helper()
	t.Chdir(t.TempDir())
	b := bench{t: t}
	for k := range 400 {
		b.f = append(b.f, 100e6*float64(k+1))
	}
	lumps := fit.Launch{Capacitance: 15e-15, Inductance: 30e-12, Impedance: 47, Delay: 8e-12}.Network(b.f, 50)
	b.left = b.chain(lumps, b.trace(20e-3))
	b.right = b.turn(b.left)
	b.part = b.chain(network.Line(b.f, 50, func(f float64) (complex128, complex128) { return complex(0, 2*math.Pi*f*30e-12), 60 }),
		network.Shunt(b.f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*15e-15) }))
	b.write("dut.s2p", b.chain(b.left, b.part, b.right))
	b.write("thru.s2p", b.chain(b.left, b.right))
	b.write("left.s2p", b.left)
	b.write("right.s2p", b.right)
	return b
}

// trace is a length of line, in m, of 51.5 Ω and 0.5 dB per 10 mm at 40 GHz.
func (b bench) trace(length float64) network.Network {
	loss := timedomain.Loss{Skin: 0.5 * 4.6 / slowness / 2e5, Dielectric: 0.5 * 4.6 / slowness / 40e9, At: 40e9}
	return network.Line(b.f, 50, loss.Line(51.5, slowness*length))
}

func (b bench) chain(n ...network.Network) network.Network {
	b.t.Helper()
	c, err := network.Cascade(n...)
	if err != nil {
		b.t.Fatal(err)
	}
	return c
}

func (b bench) turn(n network.Network) network.Network {
	b.t.Helper()
	m, err := n.Reorder(1, 0)
	if err != nil {
		b.t.Fatal(err)
	}
	return m
}

func (b bench) write(name string, n network.Network) {
	b.t.Helper()
	f, err := touchstone.FromNetwork(n, touchstone.GHz, touchstone.RI)
	if err != nil {
		b.t.Fatal(err)
	}
	var out bytes.Buffer
	if err := f.Write(&out, touchstone.WriteOptions{}); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(name, out.Bytes(), 0o666); err != nil {
		b.t.Fatal(err)
	}
}

func (b bench) read(name string) (network.Network, string) {
	b.t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		b.t.Fatal(err)
	}
	f, err := touchstone.Read(bytes.NewReader(data), name, 0)
	if err != nil {
		b.t.Fatal(err)
	}
	n, err := f.Network()
	if err != nil {
		b.t.Fatal(err)
	}
	return n, string(data)
}

// run runs linewright, and reads its document if there is to be one.
func (b bench) run(code int, doc any, args ...string) string {
	b.t.Helper()
	var out, errs bytes.Buffer
	if got := run(context.Background(), args, strings.NewReader(""), &out, &errs); got != code {
		b.t.Errorf("%q ended with %d, want %d: %s%s", args, got, code, out.String(), errs.String())
	}
	if doc != nil {
		if err := json.Unmarshal(out.Bytes(), doc); err != nil {
			b.t.Fatalf("%q: %v in %s", args, err, out.String())
		}
	}
	return out.String() + errs.String()
}

// off is the greatest |ΔS| of two networks up to a frequency.
func off(a, b network.Network, to float64) float64 {
	worst := 0.0
	for k, f := range a.Frequency {
		if f > to {
			break
		}
		for i := range 2 {
			for j := range 2 {
				if d := cmplx.Abs(a.At(k, i, j) - b.At(k, i, j)); !(d <= worst) {
					worst = d
				}
			}
		}
	}
	return worst
}

// Each way takes the fixture off, and writes a file that says how.
func TestDeembed(t *testing.T) {
	b := newBench(t)
	for _, c := range []struct {
		name     string
		args     []string
		to, most float64
		method   string
		header   string
	}{
		{"known", []string{"--left", "left.s2p", "--right", "right.s2p"}, 40e9, 1e-9, "known fixtures", "left fixture: left.s2p"},
		{"thru", []string{"--thru", "thru.s2p"}, 32e9, 0.02, "2x-thru", "2x-thru after IEEE Std 370, thru thru.s2p"},
		{"corrected", []string{"--thru", "thru.s2p", "--corrected"}, 32e9, 0.03, "2x-thru, impedance corrected", "impedance corrected"},
	} {
		var d wire.Deembedded
		b.run(0, &d, append([]string{"deembed", "dut.s2p", "--json", "--touchstone", "part.s2p"}, c.args...)...)
		n, text := b.read("part.s2p")
		if w := off(n, b.part, c.to); !(w <= c.most) {
			t.Errorf("%s: the part is off by %.3g", c.name, w)
		}
		if d.Method != c.method || len(d.TurnedAbout) != 0 || *d.Reference != 50 || d.Touchstone != "part.s2p" {
			t.Errorf("%s: %+v", c.name, d)
		}
		for _, want := range []string{c.header, "plane: ", "de-embedded", "Passivity: "} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the file does not say %q", c.name, want)
			}
		}
	}
	// Halves are written, and serve as known fixtures.
	b.run(0, nil, "deembed", "dut.s2p", "--thru", "thru.s2p", "--fixture", "half", "--touchstone", "a.s2p")
	b.run(0, nil, "deembed", "dut.s2p", "--left", "half-left.s2p", "--right", "half-right.s2p", "--touchstone", "b.s2p")
	x, _ := b.read("a.s2p")
	y, _ := b.read("b.s2p")
	if w := off(x, y, 40e9); !(w <= 1e-9) {
		t.Errorf("the halves written take off something else, by %.3g", w)
	}
	// A sweep that is not at the multiples of its step is refused, or put onto one that is asked for.
	for name, n := range map[string]network.Network{"dut-odd.s2p": b.chain(b.left, b.part, b.right), "thru-odd.s2p": b.chain(b.left, b.right)} {
		odd := make([]float64, 700)
		for k := range odd {
			odd[k] = 130e6 + (40e9-130e6)*float64(k)/699
		}
		m, err := n.Interpolate(odd, network.Interpolation{})
		if err != nil {
			t.Fatal(err)
		}
		b.write(name, m)
	}
	if text := b.run(2, nil, "deembed", "dut-odd.s2p", "--thru", "thru-odd.s2p"); !strings.Contains(text, "multiples of one step") {
		t.Errorf("printed: %s", text)
	}
	b.run(0, nil, "deembed", "dut-odd.s2p", "--thru", "thru-odd.s2p", "--step", "50MHz", "--touchstone", "odd.s2p")
	odd, _ := b.read("odd.s2p")
	for k, f := range odd.Frequency {
		if i := int(math.Round(f / 100e6)); i >= 2 && f == b.f[i-1] && f <= 32e9 {
			if d := cmplx.Abs(odd.At(k, 1, 0) - b.part.At(i-1, 1, 0)); !(d <= 0.03) {
				t.Errorf("from an odd grid: S21 is off by %.3g at %g GHz", d, f/1e9)
			}
		}
	}
	// A fixture turned about sets the status, and is named.
	var d wire.Deembedded
	b.run(1, &d, "deembed", "dut.s2p", "--left", "right.s2p", "--right", "right.s2p", "--json")
	if len(d.TurnedAbout) != 1 || d.TurnedAbout[0] != "left" {
		t.Errorf("turned about: %q, early energy %v", d.TurnedAbout, d.EarlyEnergy)
	}
	if text := b.run(0, nil, "deembed", "dut.s2p", "--thru", "thru.s2p"); !strings.Contains(text, "return loss of the thru does not meet its insertion loss") {
		t.Errorf("printed: %s", text)
	}
}

// TRL by three lines and a short, then with the line's impedance from its capacitance.
func TestDeembedTRL(t *testing.T) {
	b := newBench(t)
	for name, length := range map[string]float64{"l1.s2p": 2e-3, "l2.s2p": 9e-3} {
		b.write(name, b.chain(b.left, b.trace(length), b.right))
	}
	short := network.New(2, b.f, 50)
	for k := range b.f {
		m := b.left.Matrix(k) // a perfect short behind it, at both planes alike
		g := m[0] - m[1]*m[2]/(1+m[3])
		short.Set(k, 0, 0, g)
		short.Set(k, 1, 1, g)
	}
	b.write("short.s2p", short)
	lines := []string{"deembed", "dut.s2p", "--line", "0mm=thru.s2p", "--line", "2mm=l1.s2p", "--line", "9mm=l2.s2p", "--reflect", "short.s2p", "--json", "--touchstone", "part.s2p"}
	var d wire.Deembedded
	b.run(0, &d, append(lines, "--impedance", "51.5ohm")...)
	n, text := b.read("part.s2p")
	// 51.5 Ω is the line's impedance at high frequency; its loss makes it complex below.
	if w := off(n, b.part, 40e9); !(w <= 0.01) {
		t.Errorf("the part is off by %.3g", w)
	}
	if d.Method != "multiline TRL" || d.Lines == nil || d.Lines.Lines != 3 || !strings.Contains(text, "multiline TRL") {
		t.Errorf("%+v", d)
	}
	p := d.Lines.At[len(d.Lines.At)-1]
	if want := math.Pow(slowness*line.C0, 2); !(math.Abs(*p.EffectivePermittivity-want) <= 0.03*want) || !p.Usable {
		t.Errorf("at the end: %+v, effective permittivity should be about %.3f", p, want)
	}
	// C = slowness/Z of the line at high frequency, but for its dielectric's own fall with frequency.
	b.run(0, &d, append(lines, "--capacitance", "120.39pF/m")...)
	m, _ := b.read("part.s2p")
	if w := off(m, b.part, 40e9); !(w <= 0.01) { // G across the dielectric is not in it
		t.Errorf("with the capacitance the part is off by %.3g", w)
	}
	text = b.run(0, nil, "deembed", "dut.s2p", "--line", "0mm=thru.s2p", "--line", "2mm=l1.s2p", "--reflect", "short.s2p")
	if !strings.Contains(text, "impedance is not told") || !strings.Contains(text, "TRL") {
		t.Errorf("printed: %s", text)
	}
}

// The law put into a line comes back, as do a launch and a laminate.
func TestFit(t *testing.T) {
	b := newBench(t)
	b.write("line.s2p", b.trace(0.2))
	var d wire.Fitted
	b.run(0, &d, "fit", "line.s2p", "--length", "200mm", "--json")
	// 0.25 dB per 10 mm at 40 GHz each, by √f and by f: skin 23·√(f/40 GHz), dielectric 23·f/40 GHz in Np/m.
	const k1, k2 = 0.5 * 4.6 * 8.685889638 / 6.3245553203, 0.5 * 4.6 * 8.685889638 / 40
	if l := d.Loss; l == nil || !l.PerMetre || !(math.Abs(*l.K1.Value-k1) <= 0.02*k1 && math.Abs(*l.K2.Value-k2) <= 0.02*k2) {
		t.Errorf("loss law %+v, want %.4f and %.4f", d.Loss, k1, k2)
	}
	if in := d.Insertion; in == nil || !(*in.GreatestDB < 0.3) {
		t.Errorf("insertion loss %+v", d.Insertion)
	}
	b.write("launch.s2p", fit.Launch{Capacitance: 22e-15, Inductance: 70e-12, Impedance: 46, Delay: 9e-12}.Network(b.f, 50))
	b.run(0, &d, "fit", "launch.s2p", "--launch", "--json")
	if l := d.Launch; l == nil || !(math.Abs(*l.CapacitanceF.Value-22e-15) <= 1e-18 && math.Abs(*l.InductanceH.Value-70e-12) <= 1e-15 && math.Abs(*l.DelayS.Value-9e-12) <= 1e-15) {
		t.Errorf("launch %+v", d.Launch)
	}
	// A stripline by the same closed formulas, between launches.
	s := line.Stripline{Width: 0.21e-3, Spacing: 0.55e-3, Thickness: 17e-6, Method: line.ClosedForm,
		Substrate: material.Dielectric{Permittivity: 3.55, LossTangent: 0.0041, FittedAt: 10e9},
		Metal:     material.Conductor{Roughness: material.Roughness{RMS: 0.6e-6}}}
	for name, length := range map[string]float64{"short.s2p": 20e-3, "long.s2p": 80e-3} {
		n := network.Line(b.f, 50, func(f float64) (complex128, complex128) {
			p := s.At(f)
			return p.Gamma * complex(length, 0), p.Impedance
		})
		b.write(name, b.chain(b.left, n, b.right))
	}
	two := []string{"fit", "short.s2p", "long.s2p", "--extra", "60mm", "--cross-section", "stripline", "--width", "0.21mm", "--spacing", "0.55mm", "--thickness", "17um"}
	b.run(0, &d, append(two, "--json")...)
	if l := d.Laminate; l == nil || !(math.Abs(*l.Permittivity.Value-3.55) <= 1e-5 && math.Abs(*l.LossTangent.Value-0.0041) <= 1e-6 && math.Abs(*l.RoughnessM.Value-0.6e-6) <= 1e-9) {
		t.Errorf("laminate %+v", d.Laminate)
	}
	if text := b.run(0, nil, two...); !strings.Contains(text, "permittivity 3.55") || !strings.Contains(text, "Rq 0.6") {
		t.Errorf("printed: %s", text)
	}
	if text := b.run(0, nil, "fit", "thru.s2p", "--weighted", "--constant", "--window", "100MHz"); !strings.Contains(text, "narrower than the ripple") {
		t.Errorf("printed: %s", text)
	}
}

// An independent route: thru, fixture with part, and the part alone are coaxial bodies,
// each solved by mode matching, beads and steps with their higher modes. The part taken
// out of the second by the first is the third.
func TestDeembedBodies(t *testing.T) {
	b := newBench(t)
	const line, bead = "  - {inner_diameter: 1.52 mm, outer_diameter: 3.5 mm, permittivity: 1, length: %s}\n", "  - {inner_diameter: 1.10 mm, outer_diameter: 3.5 mm, permittivity: 2.1, length: 1.5 mm}\n"
	const end = "  - {inner_diameter: 1.52 mm, outer_diameter: 3.5 mm, permittivity: 1}\n"
	const part = "  - {inner_diameter: 1.9 mm, outer_diameter: 3.5 mm, permittivity: 1, length: 4 mm}\n  - {inner_diameter: 1.3 mm, outer_diameter: 3.5 mm, permittivity: 1, length: 3 mm}\n"
	for name, sections := range map[string]string{
		"thru":  bead + strings.ReplaceAll(line, "%s", "50 mm") + bead,
		"whole": bead + strings.ReplaceAll(line, "%s", "25 mm") + part + strings.ReplaceAll(line, "%s", "25 mm") + bead,
		"alone": part,
	} {
		if err := os.WriteFile(name+".yaml", []byte("body: "+name+"\nsections:\n"+end+sections+end), 0o666); err != nil {
			t.Fatal(err)
		}
		b.run(0, nil, "body", name+".yaml", "--at", "0.1GHz:33GHz:330", "--reference", "50ohm", "--touchstone", name+".s2p", "-q")
	}
	b.run(0, nil, "deembed", "whole.s2p", "--thru", "thru.s2p", "--touchstone", "got.s2p")
	got, _ := b.read("got.s2p")
	want, _ := b.read("alone.s2p")
	w, strongest := off(got, want, 26.5e9), 0.0
	for k := range want.Frequency {
		strongest = math.Max(strongest, cmplx.Abs(want.At(k, 0, 0)))
	}
	t.Logf("a part that reflects up to %.3f is off by %.4f at most up to 26.5 GHz", strongest, w)
	if !(w <= 0.01 && strongest > 0.1) {
		t.Errorf("a part that reflects up to %.3f is off by %.3g", strongest, w)
	}
}
