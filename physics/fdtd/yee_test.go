package fdtd

import (
	"math"
	"testing"
)

// box is an empty cavity.
func box(t *testing.T, a, b, d float64, n [3]int) *fields[float64] {
	t.Helper()
	m := &Model{Region: Box{Point{}, Point{a, b, d}}, Band: [2]float64{1e9, 20e9}}
	for i, l := range []float64{a, b, d} {
		m.Lines[i] = uniform(0, l, l/float64(n[i]))
	}
	g, err := m.divide(Options{})
	if err != nil {
		t.Fatal(err)
	}
	g.measure()
	return newFields[float64](g, 1)
}

// The rows that a uniform second-order Yee grid must meet to rounding error. The
// field is started in a discrete mode: then every sample obeys
// x(n+1) + x(n−1) = 2 cos(ωdt) x(n).
func TestYeeRows(t *testing.T) {
	rows, _ := caseRows(t, "fd-S01")
	f := box(t, 0.02, 0.01, 0.03, [3]int{20, 10, 30})
	for _, r := range rows {
		if r.Quantity == "dt_s" {
			r.Within(t, f.dt, 1e-9*r.Want(t))
			continue
		}
		var mode [3]int
		for i := range mode {
			mode[i] = int(r.Quantity[len("f_res_discrete_")+i] - '0')
		}
		r.Within(t, resonance(t, f, mode), 1e-9*r.Want(t))
	}
	rows, _ = caseRows(t, "fd-S02")
	for _, r := range rows {
		// a wave along z in cubic cells: a standing wave with the wave number
		// that the frequency has, so that v/c = ω/(ck). The mode (1,0,p) of a
		// guide of mirrors with no variation across is taken at p = 1, and the
		// length of the cavity is sought that resonates at the frequency.
		h, want := r.Num(t, "cell_m"), r.Num(t, "frequency_Hz")
		m := &Model{Region: Box{Point{}, Point{h, h, 100 * h}}, Band: [2]float64{1e9, 30e9}}
		m.Boundaries[XLow], m.Boundaries[XHigh] = Magnetic, Magnetic
		for i := range 3 {
			m.Lines[i] = uniform(0, m.Region.High[i], h)
		}
		g, err := m.divide(Options{})
		if err != nil {
			t.Fatal(err)
		}
		g.measure()
		m.Ports = []Port{{Side: ZLow, Signal: [2]float64{0, h}}}
		modes, _, err := g.sections(0)
		if err != nil {
			t.Fatal(err)
		}
		s := modes[0]
		beta := real(s.phase(g, want, h)) / h
		r.Within(t, 2*math.Pi*want/beta/c0, 1e-9)
		// and the grid itself travels so: a run of the stepper in a ring of
		// sines that fit the cavity
		f := newFields[float64](g, 1)
		p := math.Round(beta * 100 * h / math.Pi)
		for k := range 101 {
			for i := range 2 {
				q := [3]int{i, 0, k}
				f.e[1][f.index(q)] = math.Sin(math.Pi * p * float64(k) / 100)
			}
		}
		got := ring(f, 1, [3]int{0, 0, 33})
		beta = math.Pi * p / (100 * h)
		if th := real(s.phase(g, got, h)); !(math.Abs(th/h/beta-1) < 1e-9) {
			t.Errorf("%s: a wave of %.9g rad/m rings at %.9g Hz, where the port says %.9g rad/m", r.ID, beta, got, th/h)
		}
	}
}

// resonance starts the grid in a TE mode (Ey, and for n > 0 the others) and
// returns the frequency it rings at, in Hz.
func resonance(t *testing.T, f *fields[float64], mode [3]int) float64 {
	t.Helper()
	f.step = 0
	var k [3]float64 // discrete wave numbers of differences
	var th [3]float64
	for a := range 3 {
		clear(f.e[a])
		clear(f.h[a])
		th[a] = math.Pi * float64(mode[a]) / float64(f.n[a])
		k[a] = 2 / f.d[a][0] * math.Sin(th[a]/2)
	}
	// amplitudes orthogonal to k: E = (−ky kx/(kx²+kz²)…): here E·k = 0 with Ey = 1
	s := k[0]*k[0] + k[2]*k[2]
	amp := [3]float64{-k[1] * k[0] / s, 1, -k[1] * k[2] / s}
	for kk := range f.n[2] + 1 {
		for j := range f.n[1] + 1 {
			for i := range f.n[0] + 1 {
				p := [3]int{i, j, kk}
				for a := range 3 {
					if p[a] >= f.n[a] {
						continue
					}
					v := amp[a]
					for b := range 3 {
						if b == a {
							v *= math.Cos(th[b] * (float64(p[b]) + 0.5))
						} else {
							v *= math.Sin(th[b] * float64(p[b]))
						}
					}
					f.e[a][f.index(p)] = v
				}
			}
		}
	}
	return ring(f, 1, [3]int{7, 3, 11})
}

// ring runs a grid that holds one mode and returns its frequency, in Hz.
func ring(f *fields[float64], a int, p [3]int) float64 {
	// the start E(0), H(−1/2) = 0 is a mode of its own: E as given, H zero half
	// a step earlier; every sample after is a sum of e^{±jωn dt}
	var x []float64
	for range 2000 {
		x = append(x, f.e[a][f.index(p)])
		f.stepH()
		f.stepE()
	}
	num, den := 0.0, 0.0
	for i := 1; i < len(x)-1; i++ {
		num += (x[i+1] + x[i-1]) * x[i]
		den += 2 * x[i] * x[i]
	}
	return math.Acos(num/den) / (2 * math.Pi * f.dt)
}
