package fdtd

import (
	"context"
	"flag"
	"math"
	"math/cmplx"
	"sort"
	"testing"

	"linewright/internal/refcheck"
)

var long = flag.Bool("long", false, "run convergence studies and large grids")

func TestMain(m *testing.M) { refcheck.Main(m, "physics-fdtd") }

// uniform returns lines at equal distances of about step.
func uniform(lo, hi, step float64) []float64 {
	n := int(math.Max(1, math.Round((hi-lo)/step)))
	out := make([]float64, n+1)
	for i := range out {
		out[i] = lo + (hi-lo)*float64(i)/float64(n)
	}
	out[n] = hi
	return out
}

// through returns lines that hold all the points, about step apart.
func through(step float64, points ...float64) []float64 {
	sort.Float64s(points)
	out := points[:1:1]
	for i := 1; i < len(points); i++ {
		if points[i] > points[i-1]+1e-12 {
			out = append(out, uniform(points[i-1], points[i], step)[1:]...)
		}
	}
	return out
}

// caseRows returns the rows of em_3d.csv whose id begins with prefix, by frequency.
func caseRows(t *testing.T, prefix string) (rows []refcheck.Row, freq []float64) {
	t.Helper()
	for _, r := range refcheck.Rows(t, "em_3d.csv") {
		if len(r.ID) > len(prefix) && r.ID[:len(prefix)] == prefix {
			rows = append(rows, r)
			if r.Has("frequency_Hz") {
				if f := r.Num(t, "frequency_Hz"); len(freq) == 0 || f != freq[len(freq)-1] {
					freq = append(freq, f)
				}
			}
		}
	}
	if len(rows) == 0 {
		t.Fatalf("no rows %s", prefix)
	}
	return rows, freq
}

// reference returns S at each frequency as rows print it, by [row, column].
func reference(t *testing.T, rows []refcheck.Row, freq []float64) []map[string]complex128 {
	t.Helper()
	out := make([]map[string]complex128, len(freq))
	for i, f := range freq {
		mag, deg := map[string]float64{}, map[string]float64{}
		for _, r := range rows {
			if r.Has("frequency_Hz") && r.Num(t, "frequency_Hz") == f && r.Quantity[0] == 'S' {
				if k := r.Quantity[:3]; r.Quantity[3:] == "_mag" {
					mag[k] = r.Want(t)
				} else {
					deg[k] = r.Want(t)
				}
			}
		}
		out[i] = map[string]complex128{}
		for k := range mag {
			out[i][k] = cmplx.Rect(mag[k], deg[k]*math.Pi/180)
		}
	}
	return out
}

// compare checks every S row of a case: the complex numbers within tol.
func compare(t *testing.T, rows []refcheck.Row, freq []float64, s func(k, i, j int) complex128, tol float64) (worst float64) {
	t.Helper()
	want := reference(t, rows, freq)
	for k, f := range freq {
		for _, r := range rows {
			if !r.Has("frequency_Hz") || r.Num(t, "frequency_Hz") != f || r.Quantity[0] != 'S' {
				continue
			}
			got, ref := s(k, int(r.Quantity[1]-'1'), int(r.Quantity[2]-'1')), want[k][r.Quantity[:3]]
			d := cmplx.Abs(got - ref)
			worst = math.Max(worst, d)
			if r.Quantity[3:] == "_mag" {
				r.Within(t, cmplx.Abs(got), tol)
			} else { // an angle, with the circle's fold
				a := cmplx.Phase(ref*cmplx.Conj(got)) * 180 / math.Pi
				r.Record(t, r.Want(t)-a, -a, "angle; the complex numbers are compared")
			}
			if !(d <= tol) {
				t.Errorf("%s: %s at %g GHz is %.5f, want %.5f, off by %.4f", r.ID, r.Quantity[:3], f/1e9, got, ref, d)
			}
		}
	}
	return worst
}

func mustSolve(t *testing.T, m *Model, o Options) *Result {
	t.Helper()
	r, err := Solve(context.Background(), m, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func at(r *Result) func(k, i, j int) complex128 {
	n := r.Network.Ports
	return func(k, i, j int) complex128 { return r.Network.S[(k*n+i)*n+j] }
}

// extrapolate takes the error to fall with the given power of the cell, two
// grids apart by a factor 2.
func extrapolate(coarse, fine *Result, power float64) func(k, i, j int) complex128 {
	c, f, w := at(coarse), at(fine), complex(1/(math.Pow(2, power)-1), 0)
	return func(k, i, j int) complex128 { return f(k, i, j) + w*(f(k, i, j)-c(k, i, j)) }
}
