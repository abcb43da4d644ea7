// Package tolerance tells how many of the built copies of a chain keep the
// enquiry's limits: it gives every dimension and datasheet figure of the chain
// a distribution, draws copies, computes each over the whole band with all
// multiple reflections, and says which tolerance decides.
//
// What it draws on: the propagation of distributions by Monte Carlo of
// [jcgm101], whose engine is package sample. What it adds: the chain. A
// datasheet part becomes a lossless discontinuity in its stretch of lossy line;
// a guaranteed VSWR bounds the discontinuity's magnitude, its phase is chance;
// a gap becomes a short section of line between two steps; a length becomes
// delay and loss. Each of these assumptions is listed with the result, with
// where it comes from, and any of them can be replaced by what the engineer
// knows: see [Tolerances].
//
// Symbols: ρ the magnitude of a discontinuity's reflection, φ its phase, A and τ
// the one-way loss (Np) and delay (s) of a stretch of line, M a transmission
// matrix with the factor 1/S21 taken out. The time convention is e^{+jωt}.
package tolerance

import (
	"encoding"
	"errors"
	"fmt"
	"math"
	"strings"

	"linewright/hardware/part"
	"linewright/job/tolerance/sample"
	"linewright/physics/units"
)

// Quantity is what of a piece varies.
type Quantity string

// The quantities. Length, Opening, Etch, Thickness and Delay deviate by metres or
// seconds; the others relative to the figure that the chain, its datasheet or
// its stackup states, which for a guaranteed one is its bound. The last three are
// those of a stackup's layers, on which a board line stands.
const (
	Length     Quantity = "length"     // of a cable or board line
	Loss       Quantity = "loss"       // dissipative
	Reflection Quantity = "reflection" // magnitude of the discontinuity
	Delay      Quantity = "delay"      // of a piece besides its length
	Velocity   Quantity = "velocity"   // of a cable or board line
	Impedance  Quantity = "impedance"  // of a board line or gap
	Opening    Quantity = "opening"    // of a gap

	Etch         Quantity = "etch"         // of the width of everything etched in a layer
	Thickness    Quantity = "thickness"    // of a layer
	Permittivity Quantity = "permittivity" // of a layer
)

// Options lists the words a file may use.
func (Quantity) Options() []string {
	return []string{"length", "loss", "reflection", "delay", "velocity", "impedance", "opening", "etch", "thickness", "permittivity"}
}

// unit is the kind of amount by which a quantity deviates.
func (q Quantity) unit() string {
	switch q {
	case Length, Opening, Etch, Thickness:
		return "m"
	case Delay:
		return "s"
	}
	return "1"
}

// Shape names a distribution.
type Shape string

// The shapes, and what each is for.
const (
	Uniform         Shape = "uniform"          // known by its limits alone
	Normal          Shape = "normal"           // known by mean and standard deviation
	TruncatedNormal Shape = "truncated normal" // a normal process that inspection has cut
	Triangular      Shape = "triangular"       // limits with a favoured value
	Arcsine         Shape = "arcsine"          // swings as a sine between limits
	Disc            Shape = "disc"             // magnitude of a phasor anywhere in a disc up to High
)

// Options lists the words a file may use.
func (Shape) Options() []string {
	return []string{"uniform", "normal", "truncated normal", "triangular", "arcsine", "disc"}
}

// Amount is a deviation with its unit: a length, a time or a ratio such as 2 %.
type Amount struct {
	Value float64 // m, s or 1
	Unit  string  // "m", "s" or "1"
}

var _ encoding.TextUnmarshaler = (*Amount)(nil)

// UnmarshalText reads "0.5 mm", "3 ps" or "-2 %".
func (a *Amount) UnmarshalText(text []byte) error {
	s := strings.TrimSpace(string(text))
	if x, err := units.Parse[units.Length](s); err == nil {
		*a = Amount{float64(x), "m"}
		return nil
	}
	if x, err := units.Parse[units.Time](s); err == nil {
		*a = Amount{float64(x), "s"}
		return nil
	}
	if x, err := units.Parse[units.Ratio](s); err == nil {
		*a = Amount{float64(x), "1"}
		return nil
	}
	return fmt.Errorf("%q is no length, time or ratio; write it like 0.5 mm, 3 ps or -2 %%", s)
}

// MarshalText writes what UnmarshalText reads.
func (a Amount) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

func (a Amount) String() string { return amount(a.Value, a.Unit) }

// amount writes a deviation for people: ratios in per cent, angles in degrees.
func amount(x float64, unit string) string {
	switch unit {
	case "m":
		return fmt.Sprintf("%.4g mm", x*1e3)
	case "s":
		return fmt.Sprintf("%.4g ps", x*1e12)
	case "rad":
		return fmt.Sprintf("%.3g deg", x*180/math.Pi)
	}
	return fmt.Sprintf("%.4g %%", x*100)
}

// Tolerances is a file of tolerances: what the engineer knows of his parts, in
// place of the defaults.
//
//	tolerances:
//	  - {piece: cable, quantity: length, distribution: uniform, half_width: 0.5 mm}
//	  - {piece: cable, quantity: loss, distribution: normal, mean: -4 %, sigma: 1.5 %, source: last three lots}
//	  - {piece: cable connector, quantity: reflection, low: -70 %, high: 0 %}
//	correlations:
//	  - {between: ["cable connector: loss"], coefficient: 0.9, source: both from one lot}
type Tolerances struct {
	Note         string
	Tolerances   []Tolerance
	Correlations []Correlation
}

// Correlation says that quantities rise and fall together from copy to copy:
// two connectors from one lot, two traces of one board.
type Correlation struct {
	// Between names inputs as piece and quantity, "near cable connector: loss"; a
	// piece is named as in [Tolerance], so that one name can stand for several.
	// Every two of them get the coefficient.
	Between []string
	// Coefficient is that of the inputs' normal scores, −1 to 1: see
	// [sample.Study]. With 1 they are one quantity seen at several places.
	Coefficient float64
	Source      string
	Standing    part.Standing
}

// Tolerance gives one quantity of the matching pieces a distribution. Every
// amount is a deviation from the figure of the chain or its datasheet: a loss
// from -10 % to 0 % lies up to a tenth below its guaranteed value.
type Tolerance struct {
	Piece        string // a piece's name as the ledger shows it, its kind, or its part's id; empty: every piece that has the quantity
	Quantity     Quantity
	Layer        string  // of the stackup, by its name; empty: every layer that has the quantity
	Distribution Shape   // empty: uniform
	HalfWidth    *Amount // limits at mean ± this; in place of low and high
	Low, High    *Amount
	Mean, Sigma  *Amount // of the normal shapes, before the cut
	Mode         *Amount // of the triangular shape; nil: the middle
	Source       string  // where it comes from
	Standing     part.Standing
}

// Errors that a tolerance or a correlation can make; each names the cure.
var (
	ErrAmounts     = errors.New("the amounts do not make this distribution")
	ErrUnits       = errors.New("the amount is of another kind than the quantity")
	ErrPiece       = errors.New("no piece of the chain fits")
	ErrCorrelation = errors.New("no quantities can be correlated so")
)

// A Fault says which tolerance or correlation of a file cannot be used, and
// what to do.
type Fault struct {
	Of      string // "correlation"; empty: of a tolerance
	Index   int    // from 0
	Problem string
	Err     error
	Help    string
}

func (f *Fault) Error() string {
	return fmt.Sprintf("%s: %s: %v; %s", f.Where(), f.Problem, f.Err, f.Help)
}

// Where names the tolerance or correlation, counted from one.
func (f *Fault) Where() string { return fmt.Sprintf("%s %d", orElse(f.Of, "tolerance"), f.Index+1) }

func (f *Fault) Unwrap() error { return f.Err }

// distribution makes the distribution of the deviation.
func (t Tolerance) distribution() (sample.Distribution, error) {
	unit := t.Quantity.unit()
	fail := func(err error, problem, help string, args ...any) (sample.Distribution, error) {
		return nil, &Fault{Problem: problem, Err: err, Help: fmt.Sprintf(help, args...)}
	}
	example := map[string]string{"m": "0.5 mm", "s": "3 ps", "1": "2 %"}[unit]
	for _, a := range []*Amount{t.HalfWidth, t.Low, t.High, t.Mean, t.Sigma, t.Mode} {
		if a != nil && a.Unit != unit && a.Value != 0 {
			return fail(ErrUnits, fmt.Sprintf("%s of %s", a, t.Quantity), "a %s deviates by an amount like %s", t.Quantity, example)
		}
	}
	value := func(a *Amount) float64 {
		if a == nil {
			return 0
		}
		return a.Value
	}
	low, high := value(t.Low), value(t.High)
	bounded := t.Low != nil && t.High != nil
	if t.HalfWidth != nil {
		if t.Low != nil || t.High != nil {
			return fail(ErrAmounts, "half_width beside low and high", "give one or the other")
		}
		bounded = true
		low, high = value(t.Mean)-t.HalfWidth.Value, value(t.Mean)+t.HalfWidth.Value
	}
	shape := t.Distribution
	if shape == "" {
		shape = Uniform
	}
	if shape != Normal && !bounded {
		return fail(ErrAmounts, fmt.Sprintf("a %s distribution without limits", shape), "give half_width: %s, or low and high", example)
	}
	if (shape == Normal || shape == TruncatedNormal) && t.Sigma == nil {
		return fail(ErrAmounts, fmt.Sprintf("a %s distribution without its standard deviation", shape), "give sigma: %s", example)
	}
	if shape == Normal && bounded {
		return fail(ErrAmounts, "a normal distribution with limits", "leave the limits out, or write distribution: truncated normal")
	}
	if shape != Normal && shape != TruncatedNormal && t.Sigma != nil {
		return fail(ErrAmounts, fmt.Sprintf("a %s distribution with sigma", shape), "its width is given by its limits: leave sigma out, or write distribution: normal")
	}
	var d sample.Distribution
	switch shape {
	case Uniform:
		d = sample.Uniform{Low: low, High: high}
	case Normal:
		d = sample.Normal{Mean: value(t.Mean), Sigma: t.Sigma.Value}
	case TruncatedNormal:
		d = sample.TruncatedNormal{Mean: value(t.Mean), Sigma: t.Sigma.Value, Low: low, High: high}
	case Triangular:
		mode := (low + high) / 2
		if t.Mode != nil {
			mode = t.Mode.Value
		}
		d = sample.Triangular{Low: low, Mode: mode, High: high}
	case Arcsine:
		d = sample.Arcsine{Low: low, High: high}
	case Disc:
		d = disc{low, high}
	default:
		return fail(ErrAmounts, fmt.Sprintf("%q is no distribution", shape), "write one of: %s", strings.Join(shape.Options(), ", "))
	}
	if err := d.Check(); err != nil {
		return fail(ErrAmounts, err.Error(), "check the signs and the order of the amounts")
	}
	return d, nil
}

// disc is the distribution of the distance from the rim's centre of a point
// anywhere on a disc, shifted so that the centre is at low and the rim at high:
// the magnitude of a reflection whose phasor is as likely at one place of the
// disc of its bound as at another. Source: [harris1981], the reflection of
// which only the largest magnitude is known.
type disc struct{ low, high float64 }

// Quantile returns low + (high − low)√p.
func (d disc) Quantile(p float64) float64 { return d.low + (d.high-d.low)*math.Sqrt(p) }

// Expectation returns the point two thirds of the way out.
func (d disc) Expectation() float64 { return d.low + (d.high-d.low)*2/3 }

// StandardDeviation returns the width over √18.
func (d disc) StandardDeviation() float64 { return (d.high - d.low) / math.Sqrt(18) }

// Limits returns low and high.
func (d disc) Limits() (low, high float64) { return d.low, d.high }

// Check wants low ≤ high.
func (d disc) Check() error {
	if !(d.low <= d.high) || math.IsInf(d.low, 0) || math.IsInf(d.high, 0) {
		return fmt.Errorf("disc from %g to %g: low must not be above high", d.low, d.high)
	}
	return nil
}

// describe says a distribution of deviations in words.
func describe(d sample.Distribution, unit string) string {
	low, high := d.Limits()
	between := fmt.Sprintf("%s to %s", amount(low, unit), amount(high, unit))
	switch x := d.(type) {
	case sample.Uniform:
		return "uniform, " + between
	case sample.Normal:
		return fmt.Sprintf("normal, mean %s, standard deviation %s", amount(x.Mean, unit), amount(x.Sigma, unit))
	case sample.TruncatedNormal:
		return fmt.Sprintf("normal, mean %s, standard deviation %s, cut to %s", amount(x.Mean, unit), amount(x.Sigma, unit), between)
	case sample.Triangular:
		return fmt.Sprintf("triangular, %s, most often %s", between, amount(x.Mode, unit))
	case sample.Arcsine:
		return "arcsine, " + between
	case disc:
		return "anywhere in a disc, " + between
	}
	return between
}
