// Package joint knows the push-on joint between two boards: a bullet floating
// between two faces. It stacks up the tolerances along and across the axis,
// says which end opens, what a gap reflects, how far the bullet can lean, and
// what force a field of joints takes.
package joint

import (
	"cmp"
	"math"
	"slices"

	"linewright/hardware/part"
	"linewright/physics/line"
	"linewright/physics/units"
)

// Reference is the impedance that reflections refer to, in ohms.
const Reference = 50.0

// Stack is a nominal dimension with the tolerances that add up on it. Sum is
// the worst case: all of them at their limit and the same way. RSS is the root
// of their squared sum, which independent, centred tolerances seldom pass; it
// is no bound.
type Stack struct {
	Nominal  units.Length
	Sum, RSS units.Length // plus or minus
}

// NewStack stacks tolerances, each plus or minus, on a nominal dimension.
func NewStack(nominal units.Length, tolerances ...units.Length) Stack {
	s := Stack{Nominal: nominal}
	squares := 0.0
	for _, t := range tolerances {
		x := math.Abs(float64(t))
		s.Sum += units.Length(x)
		squares += x * x
	}
	s.RSS = units.Length(math.Sqrt(squares))
	return s
}

// Least is the smallest dimension that the worst case leaves.
func (s Stack) Least() units.Length { return s.Nominal - s.Sum }

// Most is the largest dimension of the worst case.
func (s Stack) Most() units.Length { return s.Nominal + s.Sum }

// LeastLikely is the smallest dimension by root sum of squares.
func (s Stack) LeastLikely() units.Length { return s.Nominal - s.RSS }

// MostLikely is the largest dimension by root sum of squares.
func (s Stack) MostLikely() units.Length { return s.Nominal + s.RSS }

// AxialGap returns the whole axial gap of a joint whose bullet is home at the
// board spacing seated, when the boards stand at spacing with the given
// tolerances. A negative gap means that the boards crush the bullet.
func AxialGap(spacing, seated units.Length, tolerances ...units.Length) Stack {
	return NewStack(spacing-seated, tolerances...)
}

// Float returns how far the two faces of a joint may stand aside of each other:
//
//	x = pivot · sin(tilt)
//
// pivot is the distance of the bullet's two contact points, tilt the largest
// angle it may lean to. Exact for a rigid rod. (F34 of the trade.)
func Float(pivot units.Length, tilt units.Angle) units.Length {
	return units.Length(float64(pivot) * math.Sin(float64(tilt)))
}

// Lean returns the angle to which an offset of the faces leans the bullet, the
// inverse of [Float]; it is NaN where the offset is longer than the bullet.
func Lean(pivot, offset units.Length) units.Angle {
	return units.Angle(math.Asin(float64(offset) / float64(pivot)))
}

// Shortening returns what leaning takes off the bullet's length along the axis,
// pivot·(1 − cos tilt): it adds to the axial gap.
func Shortening(pivot units.Length, tilt units.Angle) units.Length {
	s := math.Sin(float64(tilt) / 2)
	return units.Length(2 * float64(pivot) * s * s)
}

// unlikeness is |z − 1/z| of the gap's impedance over the reference: what the
// section reflects per unit of electrical length, twice.
func unlikeness(z units.Resistance) float64 {
	r := float64(z) / Reference
	return math.Abs(r - 1/r)
}

// Reflection returns |S11| of one axial gap: a short section of air-filled line
// of impedance z between 50 Ω lines,
//
//	|S11| = u·sin βl / √(4 + u²·sin² βl)        u = |z/50 − 50/z|,  β = 2πf/c
//
// The section is exact; that a gap is such a section, without the capacitance
// of its ends or radiation, holds while the gap is short beside the line's
// bore. The impedance is the catalogue's; 60 to 80 Ω are seen.
//
// Source: input impedance of a line section, [pozar2012] §2.3.
func Reflection(f units.Frequency, gap units.Length, z units.Resistance) float64 {
	us := unlikeness(z) * math.Abs(math.Sin(2*math.Pi*float64(f)*float64(gap)/line.C0))
	return us / math.Sqrt(4+us*us)
}

// WorstReflection returns the greatest |Γ| that a total gap can show however it
// is divided between the two ends, their reflections added as they are: the
// unluckiest phase, no loss between.
//
// |S11| of one gap is concave in its length below a quarter wave, so the equal
// halves add up to most: 2·|S11(total/2)|. Above a quarter wave that is not so,
// and the result is bounded by twice the greatest reflection of one gap.
func WorstReflection(f units.Frequency, total units.Length, z units.Resistance) float64 {
	if 4*float64(f)*float64(total) > line.C0 {
		u := unlikeness(z)
		return math.Min(1, 2*u/math.Sqrt(4+u*u))
	}
	return math.Min(1, 2*Reflection(f, total/2, z))
}

// AllowedGap returns the longest gap in one end that reflects at most rho at
// frequency f, the inverse of [Reflection] below a quarter wave:
//
//	l = asin(2ρ / (u·√(1 − ρ²))) / β
//
// It is +Inf where no gap of that impedance reflects so much.
func AllowedGap(f units.Frequency, z units.Resistance, rho float64) units.Length {
	s := 2 * rho / (unlikeness(z) * math.Sqrt(1-rho*rho))
	if !(s < 1) {
		return units.Length(math.Inf(1))
	}
	return units.Length(math.Asin(s) * line.C0 / (2 * math.Pi * float64(f)))
}

// Opening says at which end of a bullet the axial gap appears.
type Opening int

// The end that holds less opens. Two equal ends, or an end whose retention is
// not stated, leave it open: the worst case counts. Common practice.
const (
	EitherEnd Opening = iota
	LeftEnd
	RightEnd
)

func (o Opening) String() string { return [...]string{"either end", "near end", "far end"}[o] }

// Opens says which end opens, from the retention of the faces at the bullet's
// left and right.
func Opens(left, right part.Retention) Opening {
	l, r := strength(left), strength(right)
	switch {
	case l == 0 || r == 0 || l == r:
		return EitherEnd
	case l > r:
		return RightEnd
	}
	return LeftEnd
}

// strength orders the retention grades; 0 is not stated.
func strength(r part.Retention) int {
	switch r {
	case part.FullDetent:
		return 3
	case part.LimitedDetent:
		return 2
	case part.SmoothBore:
		return 1
	}
	return 0
}

// FieldForce returns the force of a field: lines × force of one. All are taken
// to meet at once, as rigid boards do.
func FieldForce(lines int, one units.Force) units.Force { return units.Force(lines) * one }

// Fit is how one bullet stands between two boards.
type Fit struct {
	Bullet  part.Bullet
	Gap     Stack
	Seats   bool // home at the least spacing: nothing is crushed
	Contact bool // the largest gap keeps contact, where the maker says to where
}

// Fits judges every bullet that states its seated spacing, best first: those
// that seat, by the least gap they leave; then those that would be crushed, by
// how little.
func Fits(bullets []part.Bullet, spacing units.Length, tolerances ...units.Length) []Fit {
	var out []Fit
	for _, b := range bullets {
		if b.SeatedSpacing == nil {
			continue
		}
		f := Fit{Bullet: b, Gap: AxialGap(spacing, *b.SeatedSpacing, tolerances...)}
		f.Seats = f.Gap.Least() >= -seatedWithin
		f.Contact = b.MaxGap == nil || f.Gap.Most() <= *b.MaxGap+seatedWithin
		out = append(out, f)
	}
	slices.SortStableFunc(out, func(a, b Fit) int {
		switch {
		case a.Seats != b.Seats && a.Seats, a.Seats == b.Seats && a.Contact && !b.Contact:
			return -1
		case a.Seats != b.Seats, a.Contact != b.Contact:
			return 1
		case a.Seats:
			return cmp.Compare(a.Gap.Nominal, b.Gap.Nominal)
		}
		return cmp.Compare(b.Gap.Nominal, a.Gap.Nominal)
	})
	return out
}

// seatedWithin forgives the rounding of decimal millimetres: a picometre.
const seatedWithin = 1e-12
