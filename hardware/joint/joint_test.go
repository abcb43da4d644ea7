package joint

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"linewright/hardware/part"
	"linewright/physics/line"
	"linewright/physics/network"
	"linewright/physics/units"
)

const mm = 1e-3

func within(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.4g, want %.4g ± %.2g", what, got, want, tol)
	}
}

// Return loss of one gap, in dB, as tabulated in the trade's notes (F32): exact
// air-filled section, rounded to the dB. Tolerance half the last digit.
func TestReflectionTable(t *testing.T) {
	freq := []units.Frequency{28e9, 40e9, 67e9}
	for _, row := range []struct {
		gap  units.Length
		want [3][3]float64 // by impedance 60, 70, 80 Ω, by frequency
	}{
		{0.05 * mm, [3][3]float64{{45, 42, 38}, {40, 37, 32}, {37, 34, 29}}},
		{0.1 * mm, [3][3]float64{{39, 36, 32}, {34, 31, 26}, {31, 28, 23}}},
		{0.2 * mm, [3][3]float64{{33, 30, 26}, {28, 25, 21}, {25, 22, 18}}},
		{0.3 * mm, [3][3]float64{{30, 27, 23}, {24, 21, 17}, {21, 18, 14}}},
		{0.5 * mm, [3][3]float64{{26, 23, 19}, {20, 17, 13}, {17, 14, 10}}},
	} {
		for i, z := range []units.Resistance{60, 70, 80} {
			for k, f := range freq {
				within(t, fmt.Sprintf("%v gap of %v at %v", row.gap, z, f), network.ReturnLoss(Reflection(f, row.gap, z)), row.want[i][k], 0.5+0.05)
			}
		}
	}
}

// The worked board-to-board case of the trade's notes: 14.0 ± 0.25 mm, bullet
// home at 13.7 mm, 70 Ω, 31 GHz.
func TestBoardToBoard(t *testing.T) {
	gap := AxialGap(14.0*mm, 13.7*mm, 0.25*mm)
	within(t, "least gap, mm", float64(gap.Least())/mm, 0.05, 1e-9)
	within(t, "largest gap, mm", float64(gap.Most())/mm, 0.55, 1e-9)
	within(t, "one end, dB", network.ReturnLoss(Reflection(31e9, gap.Most(), 70)), 18.5, 0.05)
	within(t, "both ends, dB", network.ReturnLoss(WorstReflection(31e9, gap.Most(), 70)), 18.3, 0.05)
	within(t, "0.025 mm, dB", network.ReturnLoss(Reflection(31e9, gap.Least()/2, 70)), 45, 0.5)
	radial := NewStack(0, 0.12*mm, 0.12*mm, 0.15*mm)
	within(t, "radial worst, mm", float64(radial.Sum)/mm, 0.39, 1e-9)
	within(t, "radial RSS, mm", float64(radial.RSS)/mm, 0.23, 0.005)
	allowed := Float(9.7*mm, units.Angle(3*math.Pi/180))
	within(t, "allowed, mm", float64(allowed)/mm, 0.51, 0.005)
	within(t, "margin, mm", float64(allowed-radial.Sum)/mm, 0.12, 0.005)
	within(t, "smooth bore, N", float64(FieldForce(32, 9)), 288, 0)
	within(t, "full detent, N", float64(FieldForce(32, 68)), 2176, 0)
	within(t, "64 lines of 5 N, N", float64(FieldForce(64, 5)), 320, 0)
}

// F34: at 3 deg 0.31 mm for 6 mm, 0.52 for 10, 0.79 for 15, 1.57 for 30 mm.
func TestFloat(t *testing.T) {
	for _, c := range [][2]float64{{6, 0.31}, {10, 0.52}, {15, 0.79}, {30, 1.57}} {
		within(t, fmt.Sprintf("float of %g mm", c[0]), float64(Float(units.Length(c[0]*mm), units.Angle(3*math.Pi/180)))/mm, c[1], 0.005)
	}
}

// The section by its chain matrix is an independent route, and two equal
// sections back to back are one of twice the length.
func TestReflectionAgainstChain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(1e9, 110e9).Draw(t, "f")
		gap := rapid.Float64Range(0, 2e-3).Draw(t, "gap")
		z := rapid.Float64Range(30, 120).Draw(t, "z")
		p := line.Point{Frequency: f, Gamma: complex(0, 2*math.Pi*f/line.C0), Impedance: complex(z, 0)}
		s11, _ := p.Chain(gap, Reference)
		want := math.Hypot(real(s11), imag(s11))
		if got := Reflection(units.Frequency(f), units.Length(gap), units.Resistance(z)); !(math.Abs(got-want) <= 1e-12) {
			t.Fatalf("%g, by the chain matrix %g", got, want)
		}
	})
}

// No division of a gap reflects more than the equal halves, and no gap shorter
// than the allowed one reflects more than it.
func TestDivision(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := units.Frequency(rapid.Float64Range(1e9, 110e9).Draw(t, "f"))
		z := units.Resistance(rapid.Float64Range(51, 120).Draw(t, "z"))
		total := units.Length(rapid.Float64Range(0, 3e-3).Draw(t, "total"))
		share := rapid.Float64Range(0, 1).Draw(t, "share")
		a := units.Length(share) * total
		if sum, worst := Reflection(f, a, z)+Reflection(f, total-a, z), WorstReflection(f, total, z); !(math.Min(1, sum) <= worst+1e-12) {
			t.Fatalf("divided %g, worst %g", sum, worst)
		}
		rho := rapid.Float64Range(0.001, 0.5).Draw(t, "rho")
		allowed := AllowedGap(f, z, rho)
		if math.IsInf(float64(allowed), 1) {
			if !(Reflection(f, units.Length(line.C0/(4*float64(f))), z) <= rho+1e-12) {
				t.Fatalf("every gap is allowed, but a quarter wave reflects more than %g", rho)
			}
			return
		}
		if got := Reflection(f, allowed, z); !(math.Abs(got-rho) <= 1e-9) {
			t.Fatalf("the allowed gap reflects %g, asked %g", got, rho)
		}
	})
}

// More tolerance never leaves more room, and the root of squares lies within
// the sum.
func TestStack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) units.Length { // whole nanometres: squares of less vanish
			return units.Length(float64(rapid.IntRange(0, 1e6).Draw(t, name)) * 1e-9)
		}
		a, b, c := draw("a"), draw("b"), draw("c")
		s, wider := NewStack(1e-3, a, b), NewStack(1e-3, a, b, c)
		if !(wider.Least() <= s.Least() && wider.Most() >= s.Most() && s.RSS <= s.Sum*(1+1e-12) && wider.RSS >= s.RSS*(1-1e-12)) {
			t.Fatalf("%+v, with another tolerance %+v", s, wider)
		}
	})
}

func TestOpens(t *testing.T) {
	for _, c := range []struct {
		left, right part.Retention
		want        Opening
	}{
		{part.FullDetent, part.SmoothBore, RightEnd},
		{part.SmoothBore, part.LimitedDetent, LeftEnd},
		{part.SmoothBore, part.SmoothBore, EitherEnd},
		{part.FullDetent, part.FullDetent, EitherEnd},
		{"", part.SmoothBore, EitherEnd},
	} {
		if got := Opens(c.left, c.right); got != c.want {
			t.Errorf("%q and %q: the %v opens, want the %v", c.left, c.right, got, c.want)
		}
	}
}

// Boards 14.0 ± 0.25 mm apart: 13.7 seats, 15.7 is crushed, 11.7 leaves more
// than 2 mm. A bullet home at exactly the least spacing seats.
func TestFits(t *testing.T) {
	seated := func(x units.Length) part.Bullet { return part.Bullet{SeatedSpacing: &x} }
	fs := Fits([]part.Bullet{seated(11.7 * mm), seated(15.7 * mm), seated(13.7 * mm), {}}, 14*mm, 0.25*mm)
	if len(fs) != 3 {
		t.Fatalf("%d bullets are judged, 3 state their spacing", len(fs))
	}
	for i, want := range []units.Length{13.7 * mm, 11.7 * mm, 15.7 * mm} {
		if *fs[i].Bullet.SeatedSpacing != want {
			t.Errorf("place %d: %v, want %v", i+1, *fs[i].Bullet.SeatedSpacing, want)
		}
	}
	if !fs[0].Seats || !fs[1].Seats || fs[2].Seats || !(fs[1].Gap.Most() > 2*mm) {
		t.Errorf("%+v", fs)
	}
	if f := Fits([]part.Bullet{seated(13.75 * mm)}, 14*mm, 0.25*mm); !f[0].Seats {
		t.Errorf("home at the least spacing, but crushed by %v", -f[0].Gap.Least())
	}
}

// A bullet that leans as far as it may stands no longer than its pivots.
func TestLean(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pivot := units.Length(rapid.Float64Range(1e-3, 30e-3).Draw(t, "pivot"))
		tilt := units.Angle(rapid.Float64Range(0, 0.2).Draw(t, "tilt"))
		x := Float(pivot, tilt)
		if back := Lean(pivot, x); !(math.Abs(float64(back-tilt)) <= 1e-9) {
			t.Fatalf("leans %v, then %v", tilt, back)
		}
		axial := pivot - Shortening(pivot, tilt)
		if h := math.Hypot(float64(axial), float64(x)); !(math.Abs(h-float64(pivot)) <= 1e-12) {
			t.Fatalf("rod of %v measures %g m", pivot, h)
		}
	})
}

func ExampleReflection() {
	gap := AxialGap(14.0e-3, 13.7e-3, 0.25e-3) // boards 14.0 ± 0.25 mm apart, bullet home at 13.7 mm
	rho := Reflection(31e9, gap.Most(), 70)
	fmt.Printf("gap %.2f to %.2f mm; %.1f dB at 31 GHz\n", float64(gap.Least())*1e3, float64(gap.Most())*1e3, network.ReturnLoss(rho))
	// Output: gap 0.05 to 0.55 mm; 18.5 dB at 31 GHz
}
