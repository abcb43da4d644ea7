package inspect

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"

	"linewright/physics/network"
	"linewright/physics/timedomain"
	"linewright/physics/touchstone"
)

// sample is a measured cable assembly, or so it seems: connector, line, connector, noise.
type sample struct {
	n     network.Network
	noise float64
	loss  timedomain.Loss
	delay float64
}

// good draws a sample nothing is wrong with: 46 to 54 Ω, 0.2 to 1.5 ns, 1 to 4.5 dB/ns at
// the end of a sweep to 20, 40 or 67 GHz (at 67 GHz no line has less than 0.7), noise of -80 to -60 dB, 10 points to a ripple or
// more.
func good(r *rand.Rand) sample {
	stop := []float64{20e9, 40e9, 67e9}[r.IntN(3)]
	s := sample{delay: (0.2 + 1.3*r.Float64()) * 1e-9, noise: math.Pow(10, -(60+20*r.Float64())/20)}
	points := max(401, int(math.Ceil(stop*20*s.delay)))
	f := make([]float64, points)
	for k := range f {
		f[k] = stop * float64(k+1) / float64(points)
	}
	db := 1 + 3.5*r.Float64()
	s.loss = timedomain.Loss{Skin: 0.7 * db / 8.686 * 1e9 / math.Sqrt(stop), Dielectric: 0.3 * db / 8.686 * 1e9 / stop, At: stop}
	z := 46 + 8*r.Float64()
	end := func() network.Network {
		c, l := 15e-15*r.Float64()*40e9/stop, 30e-12*r.Float64()*40e9/stop
		return must(network.Cascade(
			network.Shunt(f, 50, func(f float64) complex128 { return complex(0, 2*math.Pi*f*c) }),
			network.Series(f, 50, func(f float64) complex128 { return complex(0.02, 2*math.Pi*f*l) })))
	}
	right := must(end().Reorder(1, 0))
	s.n = must(network.Cascade(end(), network.Line(f, 50, s.loss.Line(z, s.delay)), right))
	for i := range s.n.S {
		s.n.S[i] += complex(r.NormFloat64(), r.NormFloat64()) * complex(s.noise/math.Sqrt2, 0)
	}
	return s
}

func must(n network.Network, err error) network.Network {
	if err != nil {
		panic(err)
	}
	return n
}

// file writes a network as a Touchstone file.
func file(t testing.TB, n network.Network) []byte {
	t.Helper()
	f, err := touchstone.FromNetwork(n, touchstone.GHz, touchstone.RI)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := f.Write(&b, touchstone.WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func inspected(t testing.TB, n network.Network) File {
	t.Helper()
	d, err := Judge(context.Background(), bytes.NewReader(file(t, n)), fmt.Sprintf("x.s%dp", n.Ports), 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func finding(t testing.TB, d File, name string) Finding {
	t.Helper()
	for _, f := range d.Findings {
		if f.Finding == name {
			return f
		}
	}
	t.Fatalf("no finding %q", name)
	return Finding{}
}

// change returns a copy with every matrix changed.
func change(n network.Network, how func(k int, f float64, s []complex128)) network.Network {
	m := network.Network{Ports: n.Ports, Frequency: n.Frequency, Reference: n.Reference, S: append([]complex128(nil), n.S...)}
	for k, f := range m.Frequency {
		how(k, f, m.Matrix(k))
	}
	return m
}

// faults plants each fault where it can be seen, and names the finding that must see it.
var faults = []struct {
	name, finding string
	plant         func(r *rand.Rand, s sample) network.Network
}{
	{"gain of 1 dB beyond the loss", "passivity", func(r *rand.Rand, s sample) network.Network {
		return change(s.n, func(k int, f float64, m []complex128) {
			g, _ := s.loss.Line(1, s.delay)(f)
			c := complex(math.Exp(real(g)+0.115), 0)
			m[1], m[2] = m[1]*c, m[2]*c
		})
	}},
	{"S12 turned by 10 to 30°", "reciprocity", func(r *rand.Rand, s sample) network.Network {
		c := cmplx.Rect(1, (10+20*r.Float64())*math.Pi/180)
		return change(s.n, func(k int, f float64, m []complex128) { m[1] *= c })
	}},
	{"plane of port 1 moved into the part by 2 to 5 times 1/2f_max", "dispersion relation", func(r *rand.Rand, s sample) network.Network {
		tau := (2 + 3*r.Float64()) / (2 * s.n.Frequency[len(s.n.Frequency)-1])
		return change(s.n, func(k int, f float64, m []complex128) {
			c := cmplx.Rect(1, 2*math.Pi*f*tau)
			m[0], m[1], m[2] = m[0]*c*c, m[1]*c, m[2]*c
		})
	}},
	{"three points to a ripple", "ripple", func(r *rand.Rand, s sample) network.Network {
		step := s.n.Frequency[1] - s.n.Frequency[0]
		skip := int(math.Ceil(1 / (2 * s.delay * step) / 3))
		out := network.New(2, nil, 50)
		for k := skip - 1; k < len(s.n.Frequency); k += skip {
			out.Frequency = append(out.Frequency, s.n.Frequency[k])
			out.S = append(out.S, s.n.Matrix(k)...)
		}
		return out
	}},
	{"the lower tenth missing", "low end", func(r *rand.Rand, s sample) network.Network {
		return part(s.n, len(s.n.Frequency)/10, len(s.n.Frequency))
	}},
	{"a phase step of 5 to 15°", "jump", func(r *rand.Rand, s sample) network.Network {
		at := len(s.n.Frequency)/5 + r.IntN(len(s.n.Frequency)/2)
		c := cmplx.Rect(1, (5+10*r.Float64())*math.Pi/180)
		return change(s.n, func(k int, f float64, m []complex128) {
			if k >= at {
				m[1], m[2] = m[1]*c, m[2]*c
			}
		})
	}},
	{"a single bad point, 10 to 30 % off", "jump", func(r *rand.Rand, s sample) network.Network {
		at := len(s.n.Frequency)/5 + r.IntN(len(s.n.Frequency)/2)
		c := complex(1, 0.1+0.2*r.Float64())
		return change(s.n, func(k int, f float64, m []complex128) {
			if k == at {
				m[1], m[2] = m[1]*c, m[2]*c
			}
		})
	}},
	{"columns exchanged", "ports", func(r *rand.Rand, s sample) network.Network {
		return change(s.n, func(k int, f float64, m []complex128) { m[0], m[1], m[2], m[3] = m[1], m[0], m[3], m[2] })
	}},
	{"referred to 35 or 75 Ω, said to be 50", "impedance", func(r *rand.Rand, s sample) network.Network {
		n := must(s.n.Renormalise([]complex128{35, 75}[r.IntN(2)]))
		n.Reference = []complex128{50, 50}
		return n
	}},
	{"noise of -40 dB", "noise", func(r *rand.Rand, s sample) network.Network {
		return change(s.n, func(k int, f float64, m []complex128) {
			for i := range m {
				m[i] += complex(r.NormFloat64(), r.NormFloat64()) * 0.01 / math.Sqrt2
			}
		})
	}},
	{"all loss but 3 % calibrated out", "least loss", func(r *rand.Rand, s sample) network.Network {
		return change(s.n, func(k int, f float64, m []complex128) {
			g, _ := s.loss.Line(1, s.delay)(f)
			c := complex(math.Exp(real(g)*0.97), 0)
			m[1], m[2] = m[1]*c, m[2]*c
		})
	}},
}

var long = flag.Bool("long", false, "plant faults into 200 samples")

// Each fault is planted into random samples; what is missed, and what is suspected of
// samples with nothing wrong, is counted.
func TestPlantedFaults(t *testing.T) {
	draws := 12
	if *long {
		draws = 200
	}
	alarms := map[string]int{}
	missed := make([]int, len(faults))
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 50))
		s := good(r)
		for _, f := range inspected(t, s.n).Findings {
			if f.Verdict != Good && f.Finding != "description" {
				alarms[f.Finding]++
				t.Logf("false alarm, seed %d: %s %s: %s", seed, f.Verdict, f.Finding, f.Means)
			}
		}
		for i, f := range faults {
			if g := finding(t, inspected(t, f.plant(r, s)), f.finding); g.Verdict != Care && g.Verdict != Bad {
				if strings.Contains(g.Means, "too small to be told") {
					continue // a short sample: the answer is right
				}
				missed[i]++
				fig := math.NaN()
				if g.Figure != nil {
					fig = *g.Figure
				}
				t.Logf("missed, seed %d: %s: %s %g %s", seed, f.name, g.Verdict, fig, g.Means)
			}
		}
	}
	total := 0
	var names []string
	for name, n := range alarms {
		total += n
		names = append(names, fmt.Sprintf("%s %d", name, n))
	}
	sort.Strings(names)
	t.Logf("%d samples with nothing wrong: %d false alarms (%s)", draws, total, strings.Join(names, ", "))
	for i, f := range faults {
		t.Logf("%s: %d of %d missed", f.name, missed[i], draws)
		if missed[i] > draws/20 {
			t.Errorf("%s: %d of %d missed", f.name, missed[i], draws)
		}
	}
	if total > draws/20 {
		t.Errorf("%d false alarms in %d samples", total, draws)
	}
}

// Of four ports the file does not say which are two ends of a line: it is read off the data.
func TestPortPairs(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 51))
	s := good(r)
	four := network.New(4, s.n.Frequency, 50)
	for k := range s.n.Frequency {
		for _, ends := range [][2]int{{0, 1}, {2, 3}} { // two lines, no crosstalk
			for i, p := range ends {
				for j, q := range ends {
					four.Set(k, p, q, s.n.At(k, i, j))
				}
			}
		}
	}
	if g := finding(t, inspected(t, four), "ports"); g.Verdict != Good || !strings.Contains(g.Means, "1-2, 3-4") {
		t.Errorf("%s: %s", g.Verdict, g.Means)
	}
	swapped := must(four.Reorder(0, 2, 1, 3))
	if g := finding(t, inspected(t, swapped), "ports"); g.Verdict != Good || !strings.Contains(g.Means, "1-3, 2-4") {
		t.Errorf("%s: %s", g.Verdict, g.Means)
	}
	// Exchanged half way through the sweep.
	half := change(four, func(k int, f float64, m []complex128) {
		if k >= len(four.Frequency)/2 {
			copy(m, swapped.Matrix(k))
		}
	})
	if g := finding(t, inspected(t, half), "ports"); g.Verdict != Care {
		t.Errorf("ports exchanged half way: %s: %s", g.Verdict, g.Means)
	}
}

// Every finding that is not good says what to do, and none of a sweep too short for it fails.
func TestShortAndOddFiles(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 52))
	s := good(r)
	for name, n := range map[string]network.Network{
		"one point":   part(s.n, 0, 1),
		"two points":  part(s.n, 0, 2),
		"forty":       part(s.n, 100, 140),
		"no end":      change(s.n, func(k int, f float64, m []complex128) { m[1], m[2] = 0, 0 }),
		"all zero":    change(s.n, func(k int, f float64, m []complex128) { clear(m) }),
		"total":       change(s.n, func(k int, f float64, m []complex128) { m[0], m[1], m[2], m[3] = 1, 0, 0, 1 }),
		"not at 0 Hz": part(s.n, len(s.n.Frequency)/2, len(s.n.Frequency)),
	} {
		for _, f := range inspected(t, n).Findings {
			if f.Means == "" || (f.Verdict == Care || f.Verdict == Bad) && f.Do == "" {
				t.Errorf("%s: %s %s says %q, do %q", name, f.Verdict, f.Finding, f.Means, f.Do)
			}
		}
	}
}

// How many files and points a second: reading alone, and reading with every judgement.
func BenchmarkInspect(b *testing.B) {
	data := file(b, good(rand.New(rand.NewPCG(1, 53))).n)
	points := 0
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			f, err := touchstone.Read(bytes.NewReader(data), "x.s2p", 2)
			if err != nil {
				b.Fatal(err)
			}
			points = len(f.Frequency)
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "files/s")
		b.ReportMetric(float64(b.N*points)/b.Elapsed().Seconds(), "points/s")
	})
	b.Run("judge", func(b *testing.B) {
		for b.Loop() {
			d, err := Judge(context.Background(), bytes.NewReader(data), "x.s2p", 0, 0)
			if err != nil {
				b.Fatal(err)
			}
			points = d.Points
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "files/s")
		b.ReportMetric(float64(b.N*points)/b.Elapsed().Seconds(), "points/s")
	})
}
