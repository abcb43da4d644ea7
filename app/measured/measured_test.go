package measured

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"linewright/app/demo"
	"linewright/app/workspace"
	"linewright/hardware/chain"
	"linewright/job/enquiry"
	"linewright/job/verify"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

var long = flag.Bool("long", false, "run the lot of 10000 files")

// jumperPlan is the demo's bench jumper against its enquiry.
func jumperPlan(t testing.TB, o verify.Options) *verify.Plan {
	t.Helper()
	w := workspace.Workspace{Root: "demo", FS: demo.Files()}
	cat, err := w.Catalogue()
	if err != nil {
		t.Fatal(err)
	}
	spec, err := w.Chain("chains/bench-jumper.yaml")
	if err != nil {
		t.Fatal(err)
	}
	e, err := w.Enquiry("enquiries/d1-bench-jumpers.yaml")
	if err != nil {
		t.Fatal(err)
	}
	b, err := chain.Build(spec, cat)
	if err != nil {
		t.Fatal(err)
	}
	e.Limits.VSWR[0].AtMost = 1.5
	if o.Temperature == nil {
		o.Temperature = new(units.Temperature)
		*o.Temperature = units.Celsius(23)
	}
	p, err := verify.New(context.Background(), e, b, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// copyOf is a built copy of the demo's jumper: lines and lumped reactances, not
// of the prediction's making.
type copyOf struct {
	more   float64 // dB at 18 GHz beside the datasheet's loss
	c      [2]float64
	length float64
	bead   float64 // F, at 83 mm
}

func (x copyOf) network(f []float64, rng *rand.Rand) network.Network {
	lossy := func(k1, k2, length, v float64) network.Network {
		return network.Line(f, 50, func(f float64) (complex128, complex128) {
			a := (k1*math.Sqrt(f/1e9) + k2*f/1e9) / units.DecibelsPerNeper
			return complex(a, a+2*math.Pi*f*length/(v*line.C0)), 50
		})
	}
	lump := func(c float64) network.Network {
		return network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*c) })
	}
	l := 1.2 + x.length
	k := 0.29 + x.more/math.Sqrt(18)/l
	row := []network.Network{lossy(0.028, 0, 12e-3, 1), lump(x.c[0]), lossy(k*71e-3, 0.008*71e-3, 71e-3, 0.83), lump(x.bead), lossy(k*(l-71e-3), 0.008*(l-71e-3), l-71e-3, 0.83), lump(x.c[1]), lossy(0.028, 0, 12e-3, 1)}
	n, err := network.Cascade(row...)
	if err != nil {
		panic(err)
	}
	for i := range n.S {
		n.S[i] += complex(2e-4*rng.NormFloat64(), 2e-4*rng.NormFloat64())
	}
	return n
}

func good(rng *rand.Rand) copyOf {
	c := func() float64 { return 0.05 * rng.Float64() / (math.Pi * 18e9 * 50) }
	return copyOf{more: 0.02 * rng.NormFloat64(), c: [2]float64{c(), c()}, length: (2*rng.Float64() - 1) * 1e-4}
}

func encode(t testing.TB, n network.Network, planes ...string) []byte {
	t.Helper()
	f, err := touchstone.FromNetwork(n, touchstone.GHz, touchstone.RI)
	if err != nil {
		t.Fatal(err)
	}
	if len(planes) == 2 {
		h := touchstone.Header{Title: "sample", Ports: []touchstone.PortPlane{{Name: "1", Plane: planes[0]}, {Name: "2", Plane: planes[1]}}}
		f.Comments = append(h.Comments(), f.Comments...)
	}
	var b bytes.Buffer
	if err := f.Write(&b, touchstone.WriteOptions{Style: touchstone.Style{First: touchstone.Number{Verb: 'e', Decimals: 7}, Second: touchstone.Number{Verb: 'e', Decimals: 7}}}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func grid(n int) []float64 {
	f := make([]float64, n)
	for i := range f {
		f[i] = 10e6 + (18e9-10e6)*float64(i)/float64(n-1)
	}
	return f
}

const near, far = "mating plane of the near connector", "mating plane of the far connector"

// The planes that a file names are compared with the chain's; vouching does not
// help against a file that says otherwise; a file with its ports the other way
// round is turned.
func TestPlanesOfFiles(t *testing.T) {
	p := jumperPlan(t, verify.Options{Copies: -1})
	rng := rand.New(rand.NewPCG(1, 1))
	n := good(rng).network(grid(226), rng)
	back, err := n.Reorder(1, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		data   []byte
		o      Options
		taken  bool
		turned bool
		from   string
	}{
		{"none", encode(t, n), Options{}, false, false, ""},
		{"vouched", encode(t, n), Options{ChainPlanes: true}, true, false, "vouched"},
		{"same", encode(t, n, near, far), Options{}, true, false, "file"},
		{"other", encode(t, n, near, "end of the test fixture"), Options{ChainPlanes: true}, false, false, ""},
		{"named", encode(t, n, "A", "B"), Options{LeftPlane: near, RightPlane: far}, true, false, "caller"},
		{"turned", encode(t, back, far, near), Options{}, true, true, "file"},
	} {
		f, err := Judge(t.Context(), p, c.name+".s2p", c.data, c.o)
		if err != nil {
			t.Fatal(err)
		}
		if (len(f.Errors) == 0) != c.taken {
			t.Errorf("%s: %+v", c.name, f.Errors)
			continue
		}
		if !c.taken {
			if e := f.Errors[0]; e.Help == "" || e.File == "" || f.Verdict != "not assessed" {
				t.Errorf("%s: %+v", c.name, e)
			}
			continue
		}
		if f.Planes.Turned != c.turned || f.Planes.From != c.from {
			t.Errorf("%s: %+v", c.name, f.Planes)
		}
		if got := f.Network().At(100, 0, 0); !(real(got-n.At(100, 0, 0)) < 1e-6) {
			t.Errorf("%s: S11 of the chain's left end is %v, want %v", c.name, got, n.At(100, 0, 0))
		}
	}
}

// Fixtures left in a file are taken off: the margins are those of the bare
// sample, to the noise.
func TestFixturesAreTakenOff(t *testing.T) {
	p := jumperPlan(t, verify.Options{Copies: -1})
	rng := rand.New(rand.NewPCG(2, 2))
	f := grid(600)
	n := good(rng).network(f, rng)
	fixture := func(length, c float64) network.Network {
		l := network.Line(f, 50, func(f float64) (complex128, complex128) {
			return complex(0.02*math.Sqrt(f/1e9), 2*math.Pi*f*length/line.C0), 50
		})
		x, err := network.Cascade(l, network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*c) }), l)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	a, b := fixture(20e-3, 30e-15), fixture(35e-3, 20e-15)
	whole, err := network.Cascade(a, n, b)
	if err != nil {
		t.Fatal(err)
	}
	bare, err := Judge(t.Context(), p, "bare.s2p", encode(t, n), Options{ChainPlanes: true})
	if err != nil {
		t.Fatal(err)
	}
	o := Options{ChainPlanes: true}
	for at, x := range map[**network.Network]network.Network{&o.LeftFixture: a, &o.RightFixture: b} {
		if *at, err = ReadFixture(bytes.NewReader(encode(t, x)), "fixture.s2p"); err != nil {
			t.Fatal(err)
		}
	}
	off, err := Judge(t.Context(), p, "whole.s2p", encode(t, whole), o)
	if err != nil || len(off.Errors) > 0 {
		t.Fatalf("%v %+v", err, off.Errors)
	}
	for i := range bare.Margins {
		if d := *bare.Margins[i].Margin.Margin - *off.Margins[i].Margin.Margin; !(math.Abs(d) <= 1e-4) {
			t.Errorf("%s: margin %g bare, %g with the fixtures taken off", bare.Margins[i].Limit, *bare.Margins[i].Margin.Margin, *off.Margins[i].Margin.Margin)
		}
	}
	if d := *bare.Length.DelayS - *off.Length.DelayS; !(math.Abs(d) <= 1e-15) {
		t.Errorf("delays differ by %g s", d)
	}
}

// turnedUnit is the index of the unit whose ports were exchanged by mistake.
const turnedUnit = 40

// lotOf is a lot with planted faults: a bead, a drift, a unit of too much loss,
// a unit with its ports exchanged by mistake, broken files.
func lotOf(t testing.TB, n, points int, corrupt map[int]string) []Source {
	var sources []Source
	for i := range n {
		sources = append(sources, Source{fmt.Sprintf("lot7-sn%05d.s2p", i+1), func() (io.ReadCloser, error) {
			rng := rand.New(rand.NewPCG(uint64(i), 7))
			x := good(rng)
			for k, rho := range []float64{0.05, 0.017} { // the near connectors reflect more than the far ones
				x.c[k] = rho * (1 + 0.1*rng.NormFloat64()) / (math.Pi * 18e9 * 50)
			}
			x.more += 0.06 * float64(i) / float64(n) // a drift of three deviations
			switch i {
			case n / 3:
				x.bead = 90e-15
			case n / 2:
				x.more += 0.25
			}
			built := x.network(grid(points), rng)
			if i == turnedUnit {
				var err error
				if built, err = built.Reorder(1, 0); err != nil {
					t.Fatal(err)
				}
			}
			data := encode(t, built)
			switch corrupt[i] {
			case "cut":
				data = data[:bytes.LastIndexByte(data[:len(data)/2], '\n')+20] // in the middle of a line
			case "garbage":
				data = append(data[:2000:2000], "not a number at all\n"...)
			case "empty":
				data = nil
			case "missing":
				return nil, errors.New("the disk is on fire")
			}
			return io.NopCloser(bytes.NewReader(data)), nil
		}})
	}
	return sources
}

// What was planted in a lot is found, what is broken is named, the rest is
// judged; the answer is the same for any number of workers.
func TestLot(t *testing.T) {
	p := jumperPlan(t, verify.Options{Copies: 200})
	const n = 60
	corrupt := map[int]string{5: "cut", 17: "garbage", 28: "empty", 44: "missing"}
	o := Options{ChainPlanes: true, Workers: 2, Quick: true}
	d, err := Run(t.Context(), p, lotOf(t, n, 1601, corrupt), o)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Files) != n || d.Counts["unreadable"] != 4 || d.Counts["not assessed"] != 0 {
		for _, f := range d.Files {
			if f.Verdict == "not assessed" && len(f.Errors) == 0 {
				t.Log(f.File, f.Why, f.QualityBy)
			}
		}
		t.Fatalf("%d files, counts %v", len(d.Files), d.Counts)
	}
	for i, f := range d.Files {
		if (len(f.Errors) > 0) != (corrupt[i] != "") {
			t.Errorf("%s (%s): %+v", f.File, corrupt[i], f.Errors)
		}
		if len(f.Errors) > 0 && (f.Errors[0].File != f.File || f.Errors[0].Help == "" || corrupt[i] == "garbage" && f.Errors[0].Line == 0) {
			t.Errorf("%s: %+v", f.File, f.Errors[0])
		}
		if (f.Difference != nil) != (i == n/3) {
			t.Errorf("%s: difference %+v", f.File, f.Difference)
		}
	}
	if x := d.Files[n/3].Difference; x == nil || x.Piece != "cable" || !(math.Abs(x.PositionM-83e-3) <= x.WithinM) {
		t.Errorf("the bead at 83 mm: %+v", x)
	}
	loss := d.Lot.Quantities[0]
	if loss.Name != "insertion loss" || loss.Drift == nil || !loss.Drift.Detected || !(loss.Drift.Over < -0.04 && loss.Drift.Over > -0.09) {
		t.Errorf("the drift of −0.06 dB: %+v", loss.Drift)
	}
	if x := d.Lot.Exchanged; len(x) != 1 || x[0] != d.Files[turnedUnit].File || !d.Files[turnedUnit].Turned {
		t.Errorf("the unit that was turned round: %v", x)
	}
	named := false
	for _, x := range loss.Outliers {
		named = named || x.File == d.Files[n/2].File
	}
	if !named || !d.Lot.Serials || d.Lot.Units != n-4 {
		t.Errorf("the lossy unit is not named: %+v", loss.Outliers)
	}
	// The bead delays by C·Z₀/2 = 2.25 ps: its unit is the longest of the set.
	if d.Set == nil || d.Set.Size != n-4 || d.Set.Longest != d.Files[n/3].File || !(math.Abs(d.Set.Width.Seconds-2.7e-12) <= 0.5e-12) {
		t.Errorf("set of %d, longest %s, width %+v", d.Set.Size, d.Set.Longest, d.Set.Width)
	}
	one, err := Run(t.Context(), p, lotOf(t, n, 1601, corrupt), Options{ChainPlanes: true, Workers: 1, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	a, errA := json.Marshal(d)
	b, errB := json.Marshal(one)
	if errA != nil || errB != nil || !bytes.Equal(a, b) {
		t.Error("one worker and two give different answers", errA, errB)
	}
}

// A run that is cancelled ends; an error of the archive ends it too.
func TestStopped(t *testing.T) {
	p := jumperPlan(t, verify.Options{Copies: -1})
	ctx, cancel := context.WithCancel(t.Context())
	n := 0
	o := Options{ChainPlanes: true, Judged: func([]byte, Verified) error {
		if n++; n == 5 {
			cancel()
		}
		return nil
	}}
	if _, err := Run(ctx, p, lotOf(t, 1000, 41, nil), o); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	full := errors.New("the disk is full")
	o.Judged = func(data []byte, f Verified) error {
		if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != f.SHA256 {
			t.Errorf("%s: bytes and checksum differ", f.File)
		}
		return full
	}
	if _, err := Run(t.Context(), p, lotOf(t, 10, 41, nil), o); !errors.Is(err, full) {
		t.Error(err)
	}
}

func TestSerialOf(t *testing.T) {
	for name, want := range map[string]string{"lot7-sn0012.s2p": "0012", `a/b/x 3.4.s2p`: "4", "golden.s2p": "golden", "sn17.ts": "17"} {
		if got := SerialOf(name); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
}

// An enquiry with a relative match gets its set's verdict into the document's.
func TestSetDecides(t *testing.T) {
	p := jumperPlan(t, verify.Options{Copies: -1})
	p.Enquiry.Match = nil
	e := p.Enquiry
	half := units.Time(0.05e-12)
	e.Match = &enquiry.Match{Kind: enquiry.Relative, Delay: &half}
	p, err := verify.New(t.Context(), e, p.Chain, verify.Options{Copies: -1, Temperature: p.Temperature()})
	if err != nil {
		t.Fatal(err)
	}
	d, err := Run(t.Context(), p, lotOf(t, 4, 450, nil), Options{ChainPlanes: true})
	if err != nil {
		t.Fatal(err)
	}
	if d.Set == nil || d.Set.Match == nil || d.Set.Match.Verdict != "fails" || d.Verdict != "fails" {
		t.Errorf("%+v, verdict %s", d.Set, d.Verdict)
	}
}

// Ten thousand files, one of them broken, in bounded memory.
func TestTenThousandFiles(t *testing.T) {
	if !*long {
		t.Skip("-long")
	}
	p := jumperPlan(t, verify.Options{Copies: 200})
	var most uint64
	n := 0
	d, err := Run(t.Context(), p, lotOf(t, 10000, 1601, map[int]string{7777: "cut"}), Options{ChainPlanes: true, Quick: true, Judged: func([]byte, Verified) error {
		if n++; n%500 == 0 {
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			most = max(most, m.HeapAlloc)
		}
		return nil
	}})
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Files) != 10000 || d.Counts["unreadable"] != 1 || len(d.Files[7777].Errors) == 0 || d.Lot.Units != 9999 {
		t.Errorf("%v", d.Counts)
	}
	t.Logf("10000 files: heap at most %d MB; %v", most>>20, d.Counts)
	if most > 400<<20 {
		t.Errorf("%d MB of heap", most>>20)
	}
}

// BenchmarkJudge judges one file of 1801 points; BenchmarkBaseline does the
// least that could be called a check: read the numbers with the standard
// library, compare |S21| and |S11| with two numbers. Both report files and
// points a second.
func BenchmarkJudge(b *testing.B) { benchmarkJudge(b, false) }

// BenchmarkJudgeQuick is BenchmarkJudge with the quality by the initial metrics.
func BenchmarkJudgeQuick(b *testing.B) { benchmarkJudge(b, true) }

func benchmarkJudge(b *testing.B, quick bool) {
	p := jumperPlan(b, verify.Options{Copies: 1000})
	rng := rand.New(rand.NewPCG(3, 3))
	data := encode(b, good(rng).network(grid(1800), rng))
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		f, err := Judge(context.Background(), p, "x.s2p", data, Options{ChainPlanes: true, Quick: quick})
		if err != nil || len(f.Errors) > 0 {
			b.Fatal(err, f.Errors)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "files/s")
	b.ReportMetric(1800*float64(b.N)/b.Elapsed().Seconds(), "points/s")
}

func BenchmarkBaseline(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 3))
	data := encode(b, good(rng).network(grid(1800), rng))
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		ok := true
		for line := range strings.Lines(string(data)) {
			if line[0] == '!' || line[0] == '#' {
				continue
			}
			var x [9]float64
			for i, w := range strings.Fields(line) {
				v, err := strconv.ParseFloat(w, 64)
				if err != nil || i == len(x) {
					b.Fatal(err)
				}
				x[i] = v
			}
			ok = ok && -20*math.Log10(math.Hypot(x[3], x[4])) <= 2.2 && -20*math.Log10(math.Hypot(x[1], x[2])) >= 14
		}
		_ = ok
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "files/s")
	b.ReportMetric(1800*float64(b.N)/b.Elapsed().Seconds(), "points/s")
}

// The quick look at quality comes to the same verdict where it finds nothing,
// and looks in full where it finds something.
func TestQuickQuality(t *testing.T) {
	p := jumperPlan(t, verify.Options{Copies: -1})
	rng := rand.New(rand.NewPCG(4, 4))
	n := good(rng).network(grid(1601), rng)
	f, err := Judge(t.Context(), p, "x.s2p", encode(t, n, near, far), Options{Quick: true})
	if err != nil || f.Quality == "bad" || f.QualityBy != "initial metrics" {
		t.Errorf("%q by %q: %v", f.Quality, f.QualityBy, err)
	}
	for k := 100; k < 200; k++ {
		n.Set(k, 1, 0, 1.2*n.At(k, 1, 0)/complex(0.8, 0))
	}
	f, err = Judge(t.Context(), p, "x.s2p", encode(t, n, near, far), Options{Quick: true})
	if err != nil || f.QualityBy != "all findings" || f.Quality == "good" || len(f.Findings) == 0 {
		t.Errorf("%q by %q, %d findings: %v", f.Quality, f.QualityBy, len(f.Findings), err)
	}
}

// Whatever bytes come, a file is judged or named with its fault and what to do.
func FuzzJudge(f *testing.F) {
	p := jumperPlan(f, verify.Options{Copies: -1})
	rng := rand.New(rand.NewPCG(5, 5))
	f.Add(encode(f, good(rng).network(grid(21), rng)), true)
	f.Add(encode(f, good(rng).network(grid(41), rng), near, far), false)
	f.Add([]byte("# GHz S RI R 50\n0 0 0 0 0 0 0 0 0\n1 0 0 0 0 0 0 0 0\n2 0 0 0 0 0 0 0 0\n"), true)
	f.Add([]byte("# Hz Z MA R 75\n1 1e308 0 1 0 1 0 1 0\n"), true)
	f.Fuzz(func(t *testing.T, data []byte, vouched bool) {
		if len(data) > 1<<16 {
			return
		}
		for _, quick := range []bool{false, true} {
			x, err := Judge(t.Context(), p, "x.s2p", data, Options{ChainPlanes: vouched, Quick: quick})
			if err != nil {
				t.Fatal(err)
			}
			if len(x.Errors) == 0 && len(x.Margins) == 0 || len(x.Errors) > 0 && (x.Errors[0].Problem == "" || x.Verdict == "meets") {
				t.Fatalf("%+v", x)
			}
			if _, err := json.Marshal(x); err != nil {
				t.Fatal(err)
			}
		}
	})
}
