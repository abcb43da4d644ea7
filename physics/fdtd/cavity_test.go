package fdtd

import (
	"math"
	"strings"
	"testing"

	"linewright/internal/refcheck"
	"linewright/physics/material"
)

// ringing starts a closed grid with a field that holds few modes, and lets it ring for some cycles of each frequency. A window [harris1978] picks
// the mode about the frequency, and Rayleigh's quotient of what the grid makes of
// that field gives the grid's own resonance, in Hz: its error is the square of
// what other modes are left.
func ringing(t *testing.T, m *Model, cycles float64, near []float64, start func(a int, p Point) float64) []float64 {
	t.Helper()
	g, err := m.divide(Options{})
	if err != nil {
		t.Fatal(err)
	}
	g.measure()
	f := newFields[float64](g, 2)
	each := func(visit func(a, q int, mass float64, mid Point)) {
		for a := range 3 {
			u, v := (a+1)%3, (a+2)%3
			for k := range g.n[2] + 1 {
				for j := range g.n[1] + 1 {
					for i := range g.n[0] + 1 {
						p := [3]int{i, j, k}
						q := g.index(p)
						if p[a] >= g.n[a] || g.length[a][q] == 0 {
							continue
						}
						mid := Point{g.at[0][i], g.at[1][j], g.at[2][k]}
						mid[a] += g.d[a][p[a]] / 2
						eps, _, _ := g.fill(a, p)
						visit(a, q, eps*g.d[a][p[a]]*g.dual[u][p[u]]*g.dual[v][p[v]]/float64(g.length[a][q]), mid)
					}
				}
			}
		}
	}
	each(func(a, q int, _ float64, mid Point) {
		f.e[a][q] = start(a, mid)
	})
	longest := 0
	picked := make([][3][]float64, len(near))
	steps := make([]int, len(near))
	for n, fr := range near {
		steps[n] = int(cycles / (fr * g.dt))
		longest = max(longest, steps[n])
		for a := range 3 {
			picked[n][a] = make([]float64, g.size)
		}
	}
	for s := range longest {
		for n, fr := range near {
			if s >= steps[n] {
				continue
			}
			p := 2 * math.Pi * (float64(s) + 0.5) / float64(steps[n])
			w := 0.35875 - 0.48829*math.Cos(p) + 0.14128*math.Cos(2*p) - 0.01168*math.Cos(3*p)
			w *= math.Cos(2 * math.Pi * fr * g.dt * float64(s))
			for a := range 3 {
				for q, e := range f.e[a] {
					picked[n][a][q] += w * e
				}
			}
		}
		f.stepH()
		f.stepE()
	}
	var out []float64
	for n := range near {
		for a := range 3 {
			copy(f.e[a], picked[n][a])
			clear(f.h[a])
		}
		f.stepH()
		f.stepE()
		uu, uau, auau := 0.0, 0.0, 0.0
		each(func(a, q int, mass float64, _ Point) {
			u := picked[n][a][q]
			au := u - f.e[a][q] // dt² A u
			uu += mass * u * u
			uau += mass * u * au
			auau += mass * au * au
		})
		x := uau / uu
		if left := math.Sqrt(max(0, auau/uu-x*x)) / x; !(left < 0.1) {
			t.Errorf("near %g GHz other modes are left (%.2g): let it ring for more cycles", near[n]/1e9, left)
		}
		out = append(out, math.Asin(math.Sqrt(x)/2)/(math.Pi*g.dt))
	}
	return out
}

// A cavity is a resonance of a row: the model, in cells of a size, and a field
// to start with that is orthogonal to the neighbours of the mode.
type cavity struct {
	model  func(n float64) *Model // n: cells to the shortest of its lengths that count
	start  func(a int, p Point) float64
	cycles float64 // that part the mode from the next one like it
}

func blank(step float64, x, y, z []float64) *Model {
	m := &Model{Band: [2]float64{1e9, 20e9}, Lines: [3][]float64{through(step, x...), through(step, y...), through(step, z...)}}
	for a := range 3 {
		m.Region.Low[a], m.Region.High[a] = m.Lines[a][0], m.Lines[a][len(m.Lines[a])-1]
	}
	return m
}

// cavityOf builds the cavity of a row.
func cavityOf(t *testing.T, r refcheck.Row) cavity {
	num := func(name string) float64 { return r.Num(t, name) }
	dielectric := func(er float64) Material { return Material{Dielectric: material.Dielectric{Permittivity: er}} }
	last := float64(r.Quantity[max(0, len(r.Quantity)-4)] - '0') // the digit before _Hz
	switch c := r.Inputs["case"]; c {
	case "cavity_rect_pec":
		l := [3]float64{num("a_m"), num("b_m"), num("d_m")}
		var k [3]float64
		for i := range 3 {
			k[i] = math.Pi * float64(r.Quantity[len("f_res_")+i]-'0') / l[i]
		}
		b := 1 // the component that is started
		if k[0] == 0 {
			b = 0
		}
		return cavity{
			func(n float64) *Model {
				return blank(1e-2/n, []float64{0, l[0]}, []float64{0, l[1]}, []float64{0, l[2]})
			},
			func(a int, p Point) float64 {
				if a != b {
					return 0
				}
				e := math.Cos(k[b] * p[b])
				for i := range 3 {
					if i != b {
						e *= math.Sin(k[i] * p[i])
					}
				}
				return e
			},
			6,
		}
	case "cavity_rect_slab_at_end_wall":
		a0, air := num("a_m"), num("air_length_m")
		end := air + num("slab_length_m")
		return cavity{
			func(n float64) *Model {
				m := blank(1e-2/n, []float64{0, a0}, []float64{0, 1e-2 / n}, []float64{0, air, end})
				m.Solids = []Solid{{Name: "slab", Shape: Box{Point{0, 0, air}, Point{a0, 1e-2 / n, end}}, Material: dielectric(num("slab_eps_r"))}}
				return m
			},
			func(a int, p Point) float64 { // TE10: Ey like sin πx/a, anything along z
				if a != 1 {
					return 0
				}
				return math.Sin(math.Pi*p[0]/a0) * math.Sin(70*p[2]+300*p[2]*p[2]/end)
			},
			40,
		}
	case "cavity_rect_slab_on_floor":
		a0, d, h := num("a_m"), num("d_m"), num("slab_height_m")
		top := h + num("air_height_m")
		kx, kz := math.Pi/a0, math.Pi/d
		if strings.Contains(r.Quantity, "p2") {
			kz *= 2
		}
		m := func(n float64) *Model {
			// a quarter of it, between mirrors of the kind the mode has
			m := blank(0.6e-2/n, []float64{0, a0 / 2}, []float64{0, h, top}, []float64{0, d / 2})
			m.Boundaries[XHigh] = Magnetic
			if strings.Contains(r.Quantity, "p1") {
				m.Boundaries[ZHigh] = Magnetic
			}
			m.Solids = []Solid{{Name: "slab", Shape: Box{Point{}, Point{a0, h, d}}, Material: dielectric(num("slab_eps_r"))}}
			return m
		}
		if strings.Contains(r.Quantity, "LSM") { // the modes with Ey; any profile along y
			return cavity{m, func(a int, p Point) float64 {
				if a != 1 {
					return 0
				}
				return math.Sin(kx*p[0]) * math.Sin(kz*p[2]) * math.Cos(700*p[1]*p[1]/top)
			}, 12}
		}
		return cavity{m, func(a int, p Point) float64 { // the modes without
			y := math.Sin(math.Pi * p[1] / top)
			switch a {
			case 0:
				return kz * math.Cos(kx*p[0]) * math.Sin(kz*p[2]) * y
			case 2:
				return -kx * math.Sin(kx*p[0]) * math.Cos(kz*p[2]) * y
			}
			return 0
		}, 12}
	case "cavity_cylinder_pec", "cavity_coax_both_ends_shorted", "cavity_coax_quarter_wave_reentrant":
		// a quarter, between mirrors of the kind the mode has
		var radius, inner, length, pin float64
		switch c {
		case "cavity_cylinder_pec":
			radius, length = num("radius_m"), num("length_m")
		case "cavity_coax_both_ends_shorted":
			radius, inner, length = num("outer_diameter_m")/2, num("inner_diameter_m")/2, num("length_m")
			pin = length
		default:
			radius, inner, length, pin = num("outer_radius_m"), num("inner_radius_m"), num("cavity_length_m"), num("inner_length_m")
		}
		k := math.Pi * last / length
		bowl := func(p Point) float64 { return 1 - (p[0]*p[0]+p[1]*p[1])/(radius*radius) }
		radial := func(a int, p Point) float64 { return p[a] / (p[0]*p[0] + p[1]*p[1]) }
		x, y, cycles := Magnetic, Magnetic, 8.
		start := func(a int, p Point) float64 { // TM0np
			if a != 2 {
				return 0
			}
			return bowl(p) * math.Cos(k*p[2])
		}
		switch q := r.Quantity; {
		case strings.Contains(q, "TEM"):
			start = func(a int, p Point) float64 {
				if a == 2 {
					return 0
				}
				return radial(a, p) * math.Sin(k*p[2])
			}
		case strings.Contains(q, "order"): // odd quarters of a wave along the pin
			start = func(a int, p Point) float64 {
				if a == 2 || p[2] > pin {
					return 0
				}
				return radial(a, p) * math.Sin((last-0.5)*math.Pi*p[2]/pin)
			}
			cycles = 4 * last
		case strings.Contains(q, "TE111"):
			y, cycles = Electric, 12
			start = func(a int, p Point) float64 {
				if a != 1 {
					return 0
				}
				return math.Sin(k * p[2])
			}
		case strings.Contains(q, "TM110"):
			x, cycles = Electric, 12
			start = func(a int, p Point) float64 {
				if a != 2 {
					return 0
				}
				return p[0] * bowl(p)
			}
		}
		return cavity{func(n float64) *Model {
			along := radius / n
			if strings.Contains(c, "coax") {
				along = length / (4 * n) // nothing changes along it but the wave
			}
			m := blank(radius/n, []float64{0, radius}, []float64{0, radius}, []float64{0, pin, length})
			if pin == 0 || pin == length {
				m.Lines[2] = uniform(0, length, along)
			}
			m.Background = Material{Metal: true}
			m.Boundaries[XLow], m.Boundaries[YLow] = x, y
			m.Solids = []Solid{{Name: "cavity", Shape: Cylinder{Axis: 2, Radius: radius, Length: length}}}
			if pin > 0 {
				m.Solids = append(m.Solids, Solid{Name: "pin", Shape: Cylinder{Axis: 2, Radius: inner, Length: pin}, Material: Material{Metal: true}})
			}
			return m
		}, start, cycles}
	}
	t.Fatalf("%s: nothing builds %s", r.ID, r.Inputs["case"])
	return cavity{}
}

// halved returns the model on a grid of half the cells.
func halved(m *Model) *Model {
	for a, l := range m.Lines {
		fine := l[:1:1]
		for i := 1; i < len(l); i++ {
			fine = append(fine, (l[i-1]+l[i])/2, l[i])
		}
		m.Lines[a] = fine
	}
	return m
}

// The cavities of em_3d.csv to 0.05 %. Two grids, one twice as fine, are taken
// together: the error falls with the square of the cell, round metal or not. Where
// a pin ends in a sharp rim (cav-S06) a part of it falls with the power 4/3, and
// three grids part the two.
func TestCavities(t *testing.T) {
	for _, c := range []struct {
		id string
		n  float64 // cells, of the coarse grid
	}{
		{"cav-S01", 4}, {"cav-S02", 5}, {"cav-S03", 6}, {"cav-S04", 6}, {"cav-S05", 6}, {"cav-S06", 6}, {"cav-S07", 6},
	} {
		t.Run(c.id, func(t *testing.T) {
			t.Parallel()
			rows, _ := caseRows(t, c.id)
			for _, r := range rows {
				want := r.Want(t)
				v := cavityOf(t, r)
				ring := func(m *Model) float64 { return ringing(t, m, v.cycles, []float64{want}, v.start)[0] }
				coarse, fine := ring(v.model(c.n)), ring(halved(v.model(c.n)))
				got := fine + (fine-coarse)/3
				if c.id == "cav-S06" {
					finest := ring(v.model(3 * c.n))
					got = twoPowers([3]float64{1, 1. / 2, 1. / 3}, [3]float64{coarse, fine, finest}, 4./3, 2)
					t.Logf("%s on the third grid: %+.3f %%", r.Quantity, 100*(finest/want-1))
				}
				t.Logf("%s: %+.3f %%, %+.3f %%, together %+.4f %%", r.Quantity, 100*(coarse/want-1), 100*(fine/want-1), 100*(got/want-1))
				r.Within(t, got, 5e-4*want)
			}
		})
	}
}

// twoPowers returns the value at h = 0 of y = y0 + a h^p + b h^q through three
// points.
func twoPowers(h, y [3]float64, p, q float64) float64 {
	var u, v [3]float64
	for i := range 3 {
		u[i], v[i] = math.Pow(h[i], p), math.Pow(h[i], q)
	}
	det := func(a, b, c [3]float64) float64 {
		return a[0]*(b[1]*c[2]-b[2]*c[1]) - a[1]*(b[0]*c[2]-b[2]*c[0]) + a[2]*(b[0]*c[1]-b[1]*c[0])
	}
	return det(y, u, v) / det([3]float64{1, 1, 1}, u, v)
}

// The error of round cavities falls with the square of the cell.
func TestRoundMetalIsOfSecondOrder(t *testing.T) {
	grids := []float64{8, 11, 16}
	if *long {
		grids = append(grids, 23, 32)
	}
	for _, id := range []string{"cav-S04"} {
		rows, _ := caseRows(t, id)
		for _, r := range rows {
			v := cavityOf(t, r)
			var errs []float64
			for _, n := range grids {
				errs = append(errs, ringing(t, v.model(n), v.cycles, []float64{r.Want(t)}, v.start)[0]/r.Want(t)-1)
			}
			last := len(grids) - 1
			order := math.Log(errs[0]/errs[last]) / math.Log(grids[last]/grids[0])
			t.Logf("%s: errors %.5f, order %.2f", r.Quantity, errs, order)
			if !(order > 1.8) {
				t.Errorf("%s: the errors %.2g of %v cells to the radius fall with the power %.2f, want 2", r.Quantity, errs, grids, order)
			}
		}
	}
}
