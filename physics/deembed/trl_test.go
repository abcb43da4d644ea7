package deembed

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"linewright/physics/network"
)

// sweep is what the tests of TRL sweep: 1 to 67 GHz, not at harmonics.
func sweep(points int) []float64 {
	f := make([]float64, points)
	for k := range f {
		f[k] = 1e9 + 66e9*float64(k)/float64(points-1)
	}
	return f
}

// standards measures lines of the given lengths and a short between two launches,
// with noise of the given rms in every parameter.
func standards(r *rand.Rand, b board, left, right network.Network, lengths []float64, rms float64) TRL {
	var t TRL
	for _, l := range lengths {
		n := chain(left, b.trace(l, 1), right)
		if l == 0 {
			n = chain(left, right)
		}
		t.Lines = append(t.Lines, Line{l, noisy(r, n, rms)})
	}
	short := func(n network.Network) []complex128 { // with 8 pH and 0.3 Ω, the same at both planes
		g := network.Load(b.grid, 50, func(f float64) complex128 { return complex(0.3, 2*math.Pi*f*8e-12) })
		j, err := network.Join(n, 1, g, 0)
		if err != nil {
			panic(err)
		}
		return j.S
	}
	t.Reflect = network.New(2, b.grid, 50)
	s1, s2 := short(left), short(turned(right))
	for k := range b.grid {
		t.Reflect.Set(k, 0, 0, s1[k])
		t.Reflect.Set(k, 1, 1, s2[k])
	}
	t.Reflect = noisy(r, t.Reflect, rms)
	return t
}

// scene is one draw: a board, two unlike launches of 8 to 15 mm, a part between.
type scene struct {
	board
	left, right, dut network.Network
	zc               []complex128
}

func newScene(r *rand.Rand, f []float64) scene {
	s := scene{board: newBoard(r, f)}
	s.left = chain(newLaunch(r).network(f), s.trace((8+7*r.Float64())*1e-3, 1))
	s.right = chain(s.trace((8+7*r.Float64())*1e-3, 1), newLaunch(r).network(f))
	s.dut = device(r, f)
	for _, p := range s.points {
		s.zc = append(s.zc, p.Impedance)
	}
	return s
}

func (s scene) part(t *testing.T, c Calibration, whole network.Network) network.Network {
	t.Helper()
	p, err := c.Apply(whole, s.zc...)
	if err != nil {
		t.Fatal(err)
	}
	n, err := p.Network(50)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// Without noise every quantity is exact: propagation constant, part, launches, reflection,
// whatever the launches are and however many lines there are.
func TestTRLExact(t *testing.T) {
	f := sweep(100)
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 10))
		s := newScene(r, f)
		lengths := [][]float64{{0, 1.1e-3}, {0, 1.1e-3, 9e-3}, {2e-3, 3.3e-3, 5.1e-3, 11e-3}}[seed%3]
		c, err := standards(r, s.board, s.left, s.right, lengths, 0).Solve()
		if err != nil {
			t.Fatal(err)
		}
		n := s.part(t, c, chain(s.left, s.dut, s.right))
		if w, _ := apart(n, s.dut, 67e9); !(w <= 1e-11) {
			t.Errorf("seed %d: the part is off by %.2g", seed, w)
		}
		fx, err := c.Fixture(50, s.zc...)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range []struct{ got, want network.Network }{{fx.Left, s.left}, {fx.Right, s.right}} {
			if w, _ := apart(x.got, x.want, 67e9); !(w <= 1e-11) {
				t.Errorf("seed %d: a launch is off by %.2g", seed, w)
			}
		}
		for k, g := range c.Gamma {
			if d := cmplx.Abs(g - s.points[k].Gamma); !(d <= 1e-8*cmplx.Abs(g)) {
				t.Fatalf("seed %d: γ at %g GHz off by %.2g of %.4g 1/m", seed, f[k]/1e9, d, g)
			}
			// The reflection, referred to the line.
			want := network.Reflection(complex(0.3, 2*math.Pi*f[k]*8e-12), 50)
			zc := s.zc[k]
			z := network.ImpedanceOf(want, 50)
			if d := cmplx.Abs(c.Reflect[k] - (z-zc)/(z+zc)); !(d <= 1e-9) {
				t.Fatalf("seed %d: reflection off by %.2g", seed, d)
			}
		}
	}
}

// Launches that reflect more than they pass at the top of the band, in bands that begin
// high, where whole turns of phase lie before the first point: no root and no turn is
// chosen wrong.
func TestTRLStrongLaunches(t *testing.T) {
	for _, band := range [][2]float64{{1e9, 67e9}, {40e9, 67e9}, {75e9, 110e9}} {
		f := make([]float64, 120)
		for k := range f {
			f[k] = band[0] + (band[1]-band[0])*float64(k)/float64(len(f)-1)
		}
		for seed := range uint64(15) {
			r := rand.New(rand.NewPCG(seed, 40))
			s := newScene(r, f)
			strong := func() network.Network {
				return launch{(30 + 60*r.Float64()) * 1e-15, (40 + 120*r.Float64()) * 1e-12, 35 + 40*r.Float64(), 10e-12}.network(f)
			}
			s.left, s.right = chain(strong(), s.trace(10e-3, 1)), chain(s.trace(10e-3, 1), strong())
			for _, rms := range []float64{0, 2e-3} {
				c, err := standards(r, s.board, s.left, s.right, []float64{0, 0.9e-3, 3.2e-3, 9e-3, 14e-3}, rms).Solve()
				if err != nil {
					t.Fatal(err)
				}
				if _, e := apart(s.part(t, c, chain(s.left, s.dut, s.right)), s.dut, 110e9); !(e <= 1e-9+10*rms) {
					t.Errorf("%g to %g GHz, seed %d, noise %g: the part is off by %.3g rms", band[0]/1e9, band[1]/1e9, seed, rms, e)
				}
				for k, g := range c.Gamma {
					if d := cmplx.Abs(g - s.points[k].Gamma); !(d <= 0.05*cmplx.Abs(g)) {
						t.Errorf("%g GHz, seed %d, noise %g: γ %v, want %v", f[k]/1e9, seed, rms, g, s.points[k].Gamma)
						break
					}
				}
			}
		}
	}
}

// With two lines the method is that of Engen and Hoer. The twin solves their quadratic
// equation, b and c/a being its roots, and takes a b-root by its size:
//
//	t21 x² + (t22 − t11) x − t12 = 0,        T = M_line M_thru⁻¹
//
// Source: [engen1979] eq. 32 ff. (numbers from memory).
func TestTwoLinesAreEngenHoer(t *testing.T) {
	f := sweep(60)
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 11))
		s := newScene(r, f)
		trl := standards(r, s.board, s.left, s.right, []float64{0, 1.2e-3}, 1e-3)
		c, err := trl.Solve()
		if err != nil {
			t.Fatal(err)
		}
		thru, _ := trl.Lines[0].Network.Transfer()
		line, _ := trl.Lines[1].Network.Transfer()
		for k := range f {
			if c.Phase[k] < window {
				continue
			}
			mi, mj := thru[k], line[k]
			det := mi.T11*mi.T22 - mi.T12*mi.T21
			inv := network.Transfer{T11: mi.T22 / det, T12: -mi.T12 / det, T21: -mi.T21 / det, T22: mi.T11 / det}
			d := mj.Times(inv)
			p, q := (d.T22-d.T11)/(2*d.T21), d.T12/d.T21
			root := cmplx.Sqrt(p*p + q)
			small, large := -p+root, -p-root
			if cmplx.Abs(small) > cmplx.Abs(large) {
				small, large = large, small
			}
			if e := cmplx.Abs(c.left[k].b-small) + cmplx.Abs(c.left[k].ca-1/large); !(e <= 1e-10) {
				t.Fatalf("seed %d, %g GHz: b %v and c/a %v, the quadratic has %v and %v", seed, f[k]/1e9, c.left[k].b, c.left[k].ca, small, 1/large)
			}
		}
	}
}

// The uncertainty of γ is what γ is off by: over draws the mean of |Δγ|²/2u² is 1. And more
// lines leave less.
func TestMultilineUncertainty(t *testing.T) {
	f := sweep(200)
	const draws, rms = 30, 1e-3
	var ratio, three, five, partThree, partFive float64
	for seed := range uint64(draws) {
		r := rand.New(rand.NewPCG(seed, 12))
		s := newScene(r, f)
		whole := noisy(r, chain(s.left, s.dut, s.right), rms)
		for _, lengths := range [][]float64{{0, 1.1e-3, 9e-3}, {0, 1.1e-3, 3.2e-3, 9e-3, 14e-3}} {
			c, err := standards(r, s.board, s.left, s.right, lengths, rms).Solve()
			if err != nil {
				t.Fatal(err)
			}
			_, e := apart(s.part(t, c, whole), s.dut, 67e9)
			sum := 0.0
			for k, g := range c.Gamma {
				d := cmplx.Abs(g - s.points[k].Gamma)
				sum += d * d / float64(len(f))
				if len(lengths) == 5 {
					u := c.GammaUncertainty[k]
					ratio += d * d / (2 * u * u) / float64(len(f)*draws)
				}
			}
			if len(lengths) == 5 {
				five += sum / draws
				partFive += e / draws
			} else {
				three += sum / draws
				partThree += e / draws
			}
		}
	}
	t.Logf("noise %g: γ off by %.3f and %.3f 1/m rms with 3 and 5 lines, |Δγ|²/2u² = %.3f; the part by %.2g and %.2g",
		rms, math.Sqrt(three), math.Sqrt(five), ratio, partThree, partFive)
	if !(math.Abs(ratio-1) <= 0.15) {
		t.Errorf("|Δγ|²/2u² is %.3f over %d draws, want 1", ratio, draws)
	}
	if !(five < three && partFive < partThree && partFive < 2.5*rms) {
		t.Errorf("five lines: γ %.3g, part %.3g; three: %.3g, %.3g", math.Sqrt(five), partFive, math.Sqrt(three), partThree)
	}
}

// The combination of pairs is better than the best single pair, as Gauss and Markov say:
// the variance predicted for b is the one found.
func TestMarkovVariance(t *testing.T) {
	f := sweep(40)
	const draws, rms = 400, 1e-4
	r := rand.New(rand.NewPCG(1, 13))
	s := newScene(r, f)
	lengths := []float64{0, 1.1e-3, 3.2e-3, 9e-3}
	// Errors at the lines' ends themselves, as the covariance supposes, between matched boxes.
	ideal := network.Line(f, 50, func(float64) (complex128, complex128) { return 0, 50 })
	b := s.board
	for k := range b.points {
		b.points[k].Impedance = 50
	}
	found := make([]float64, len(f))
	var c Calibration
	for range draws {
		trl := standards(r, b, ideal, ideal, lengths, 0)
		for i, l := range trl.Lines {
			trl.Lines[i].Network = chain(noisy(r, ideal, rms), l.Network, noisy(r, ideal, rms))
		}
		var err error
		if c, err = trl.Solve(); err != nil {
			t.Fatal(err)
		}
		for k := range f {
			found[k] += abs2(c.left[k].b) / draws
		}
	}
	ratio := 0.0
	for k := range f {
		ratio += found[k] / (c.Weight[k] * rms * rms) / float64(len(f))
	}
	t.Logf("variance of b found over predicted: %.3f", ratio)
	if !(math.Abs(ratio-1) <= 0.1) {
		t.Errorf("variance of b is %.3f of the predicted one", ratio)
	}
}

func abs2(z complex128) float64 { return real(z)*real(z) + imag(z)*imag(z) }

// Planes move as asked, an offset of the reflection is understood, an open is told
// from a short, and the line's impedance follows from its capacitance.
func TestTRLPlanes(t *testing.T) {
	f := sweep(50)
	r := rand.New(rand.NewPCG(3, 14))
	s := newScene(r, f)
	trl := standards(r, s.board, s.left, s.right, []float64{0, 1.1e-3, 9e-3}, 0)
	trl.Plane = -2e-3
	c, err := trl.Solve()
	if err != nil {
		t.Fatal(err)
	}
	want := chain(s.trace(2e-3, 1), s.dut, s.trace(2e-3, 1))
	if w, _ := apart(s.part(t, c, chain(s.left, s.dut, s.right)), want, 67e9); !(w <= 1e-10) {
		t.Errorf("planes 2 mm into the launches: off by %.2g", w)
	}
	// The same short, said to be 1 mm behind where it is, and turned into an open by that
	// at some frequency: told by guess and offset.
	trl.Plane = 0
	open := network.New(2, f, 50)
	for k := range f {
		for i, n := range []network.Network{s.left, turned(s.right)} {
			// an open end behind 1 mm of line
			y, err := network.Join(chain(n, s.trace(1e-3, 1)), 1, network.Load(f, 50, func(float64) complex128 { return cmplx.Inf() }), 0)
			if err != nil {
				t.Fatal(err)
			}
			open.Set(k, i, i, y.S[k])
		}
	}
	trl.Reflect, trl.Guess, trl.Offset = open, 1, 1e-3
	if c, err = trl.Solve(); err != nil {
		t.Fatal(err)
	}
	if w, _ := apart(s.part(t, c, chain(s.left, s.dut, s.right)), s.dut, 67e9); !(w <= 1e-10) {
		t.Errorf("an offset open: off by %.2g", w)
	}
	for k := range f {
		if d := cmplx.Abs(c.Reflect[k] - 1); !(d <= 1e-9) {
			t.Errorf("the open is found as %v", c.Reflect[k])
		}
	}
	const capacitance = 110e-12
	z := c.Impedance(capacitance)
	for k, g := range c.Gamma {
		if d := cmplx.Abs(z[k]*complex(0, 2*math.Pi*f[k]*capacitance) - g); !(d <= 1e-9*cmplx.Abs(g)) {
			t.Errorf("Zc is %v", z[k])
		}
	}
}

func TestTRLFaults(t *testing.T) {
	f := sweep(20)
	r := rand.New(rand.NewPCG(4, 15))
	s := newScene(r, f)
	good := standards(r, s.board, s.left, s.right, []float64{0, 1.1e-3}, 0)
	for name, c := range map[string]struct {
		change func(*TRL)
		want   error
	}{
		"one line":        {func(t *TRL) { t.Lines = t.Lines[:1] }, ErrLengths},
		"equal lines":     {func(t *TRL) { t.Lines = []Line{t.Lines[0], t.Lines[0]} }, ErrLengths},
		"no reflection":   {func(t *TRL) { t.Reflect = network.Network{} }, network.ErrShape},
		"another grid":    {func(t *TRL) { t.Reflect.Frequency = sweep(21)[:20] }, network.ErrGrid},
		"other reference": {func(t *TRL) { t.Reflect.Reference = []complex128{50, 75} }, ErrReferences},
	} {
		x := good
		x.Lines = append([]Line(nil), good.Lines...)
		c.change(&x)
		if _, err := x.Solve(); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	c, err := good.Solve()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.Apply(chain(s.left, s.right), 50, 50, 50); !errors.Is(err, network.ErrReference) {
		t.Errorf("three impedances: %v", err)
	}
}

// A launch of 12 mm of board between an analyser in 50 Ω and a part: four lines and a
// short take it off.
func ExampleTRL() {
	f := sweep(201)
	r := rand.New(rand.NewPCG(7, 0))
	s := newScene(r, f) // invented launches, board and part
	c, err := standards(r, s.board, s.left, s.right, []float64{0, 1.24e-3, 3.4e-3, 10.1e-3}, 3e-4).Solve()
	if err != nil {
		fmt.Println(err)
		return
	}
	p, err := c.Apply(chain(s.left, s.dut, s.right), s.zc...)
	if err != nil {
		fmt.Println(err)
		return
	}
	n, err := p.Network(50)
	if err != nil {
		fmt.Println(err)
		return
	}
	_, rms := apart(n, s.dut, 67e9)
	k := 100
	fmt.Printf("at %.0f GHz: α %.1f ± %.2f Np/m, best phase %.0f°\n", f[k]/1e9, real(c.Gamma[k]), c.GammaUncertainty[k], c.Phase[k]*180/math.Pi)
	fmt.Printf("the part is off by %.4f rms\n", rms)
	// Output:
	// at 34 GHz: α 4.5 ± 0.02 Np/m, best phase 76°
	// the part is off by 0.0003 rms
}
