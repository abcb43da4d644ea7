package line

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sort"

	"linewright/physics/material"
)

// Method says how a planar line's cross-section is solved.
type Method int

// The methods. Every line takes both.
const (
	// FieldSolution solves the quasi-static field of the cross-section, metal
	// thickness included, to about 1e-5. It costs milliseconds, once: see
	// [Prepare].
	FieldSolution Method = iota
	// ClosedForm takes the published formulas, in nanoseconds, with their
	// errors: see each line's Model.
	ClosedForm
)

// Prepare checks l and solves its cross-section once, so that each call of At
// on the returned line takes microseconds. The returned line is immutable, may
// be shared between goroutines, and gives the same numbers as l. A line that
// has nothing to prepare is returned as it is.
func Prepare(l Line) (Line, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	p, ok := l.(planar)
	if !ok {
		return l, nil
	}
	s, err := p.section()
	if err != nil {
		return nil, err
	}
	return prepared{p, s}, nil
}

// planar is a line whose At falls into a frequency-independent solution of
// its cross-section and a cheap rest.
type planar interface {
	Line
	section() (section, error)
	at(s section, f float64) Point
	fillings(f float64) (lower, upper complex128)
	warnings(s section, f float64) []Warning
}

type prepared struct {
	planar
	s section
}

// At returns the wanted mode at frequency f, in Hz.
func (p prepared) At(f float64) Point { return p.planar.at(p.s, f) }

// Warnings lists what is out of its source's range at frequency f.
func (p prepared) Warnings(f float64) []Warning { return p.planar.warnings(p.s, f) }

// Static returns the quasi-static values.
func (p prepared) Static() Static { return p.s.at(p.planar.fillings(0)) }

// section is the quasi-static solution of a cross-section with one dielectric
// below the strip's lower face and one above it. The capacitance is
// homogeneous of first degree in the two permittivities, so with r = ε1/ε2
//
//	εe = ε2 g(r)
//
// and g, which is nearly straight, is held as a parabola about the nominal r.
// It is analytic, so complex permittivities give the dielectric loss.
type section struct {
	air          float64 // impedance with every dielectric replaced by air, Ω
	ratio        float64 // r at which g is expanded
	g, slope, dd float64 // g, g′ and g″/2 there
	loss         float64 // series resistance over surface resistance, 1/m
	area         float64 // metal that carries direct current, m²
	dispersion   *dispersion
}

// eps returns the complex effective permittivity.
func (s section) eps(lower, upper complex128) complex128 {
	d := lower/upper - complex(s.ratio, 0)
	return upper * (complex(s.g, 0) + d*(complex(s.slope, 0)+d*complex(s.dd, 0)))
}

func (s section) at(lower, upper complex128) Static {
	e := real(s.eps(lower, upper))
	return Static{s.air / math.Sqrt(e), e}
}

// expand fills the dielectric part of a section: effective(r) is εe of the
// cross-section with ε2 = 1 and ε1 = r.
func (s *section) expand(ratio float64, effective func(r float64) float64) {
	const step = 0.05 // of r; g″ is small, so the parabola holds to 2e-5 over ±10 %
	d := step * ratio
	lo, mid, hi := effective(ratio-d), effective(ratio), effective(ratio+d)
	s.ratio, s.g = ratio, mid
	s.slope = (hi - lo) / (2 * d)
	s.dd = (hi - 2*mid + lo) / (2 * d * d)
}

// recede returns R/Rs, in 1/m, by Wheeler's incremental inductance rule from
// the air impedance of the cross-section whose metal surfaces have all receded
// by n metres:
//
//	R = Rs/μ0 · ∂L/∂n = Rs/η0 · ∂Z/∂n
//
// Source: [wheeler1942].
func recede(smallest float64, air func(n float64) float64) float64 {
	n := 2e-3 * smallest
	return (air(n) - air(-n)) / (2 * n) / Eta0
}

// point assembles the wanted mode at f from the lossless impedance z, the
// complex effective permittivity eps and the metal:
//
//	γ = √(Zs Y)   Z = √(Zs/Y)   Zs = Zint + jk0√ε′·z   Y = jk0 ε/(√ε′·z)
//	Zint² = R0² + (K·Zsurf·R/Rs)²
//
// where R0 is the strip's resistance to direct current. The internal impedance
// so has the right limits at low and at high frequency, is causal, and between
// them (thickness one to three skin depths) is an estimate.
func (s section) point(f, z float64, eps complex128, metal material.Conductor) Point {
	k0 := 2 * pi * f / C0
	n := math.Sqrt(real(eps))
	rough := metal.RoughnessFactor(f)
	surface := metal.SurfaceImpedance(f)
	skin := complex(real(surface)*rough, imag(surface))
	sigma := metal.Metal.At(metal.Temperature)
	if k, _ := metal.Metal.Wave(f, metal.Temperature); len(metal.Plating) == 0 {
		if h, ok := metal.Roughness.Complex(k); ok {
			skin = surface * h
		}
	}
	skin *= complex(s.loss, 0)
	if s.area > 0 && !math.IsInf(sigma, 1) {
		dc := 1 / (sigma * s.area)
		skin = cmplx.Sqrt(complex(dc*dc, 0) + skin*skin)
	}
	zs := skin + complex(0, k0*n*z)
	y := complex(0, k0/(n*z)) * eps
	lossless := complex(0, k0/(n*z)*real(eps))
	gamma := forward(cmplx.Sqrt(zs) * cmplx.Sqrt(y))
	conductor := real(forward(cmplx.Sqrt(zs) * cmplx.Sqrt(lossless)))
	return Point{
		Frequency:  f,
		Gamma:      gamma,
		Impedance:  cmplx.Sqrt(zs) / cmplx.Sqrt(y),
		Conductor:  conductor,
		Dielectric: real(gamma) - conductor,
		Roughness:  rough,
	}
}

// forward picks the root with a positive phase constant.
func forward(g complex128) complex128 {
	if imag(g) < 0 {
		return -g
	}
	return g
}

// relative returns a dielectric's complex relative permittivity at f, or at
// the frequency for which its numbers are given when f is 0.
func relative(d material.Dielectric, f float64) complex128 {
	if f == 0 {
		f = d.FittedAt
		if f == 0 {
			f = 1
		}
	}
	return d.At(f)
}

// DimensionError says which field of a line makes no sense, what it holds and
// what would.
type DimensionError struct {
	Line  string  // "microstrip"
	Field string  // "Width"
	Value float64 // what it is, in Unit
	Unit  string  // "m", or "" for a ratio
	Want  string  // what would be right
}

func (e *DimensionError) Error() string {
	value := fmt.Sprintf("%.6g", e.Value)
	if e.Unit != "" {
		value += " " + e.Unit
	}
	return fmt.Sprintf("%s: %s is %s; %s", e.Line, e.Field, value, e.Want)
}

// checks gathers the faults of one line.
type checks struct {
	line string
	errs []error
}

// need records a fault of a length unless ok.
func (c *checks) need(ok bool, field string, value float64, want string) {
	if !ok {
		c.errs = append(c.errs, &DimensionError{c.line, field, value, "m", want})
	}
}

// positive asks for a finite value above zero.
func (c *checks) positive(field string, value float64) {
	c.need(value > 0 && !math.IsInf(value, 1), field, value, "it must be a length above 0 m, such as "+example[field])
}

// optional asks for a finite value of zero or more.
func (c *checks) optional(field string, value float64, meaning string) {
	c.need(value >= 0 && !math.IsInf(value, 1), field, value, "it must be 0 ("+meaning+") or a length in m")
}

func (c *checks) dielectric(field string, d material.Dielectric) {
	if err := d.Check(); err != nil {
		c.errs = append(c.errs, fmt.Errorf("%s: %s: %w", c.line, field, err))
		return
	}
	if e := relative(d, 0); !(real(e) >= 1 && real(e) <= 1000) {
		c.errs = append(c.errs, &DimensionError{c.line, field + ".Permittivity", real(e), "", "it must lie between 1 (air) and 1000"})
	}
}

func (c *checks) metal(m material.Conductor) {
	if err := m.Check(); err != nil {
		c.errs = append(c.errs, fmt.Errorf("%s: Metal: %w", c.line, err))
	}
}

const spread = 200 // between two dimensions of a line

// spread asks that no dimension is so far from another that neither formulas
// nor the field solution mean anything.
func (c *checks) spread(field string, value, other float64, otherField string) {
	if value > 0 && other > 0 && !math.IsInf(value, 1) && !math.IsInf(other, 1) {
		c.need(value <= spread*other && other <= spread*value, field, value,
			fmt.Sprintf("it must lie within a factor %d of %s, which is %.6g m; look for a slipped unit", spread, otherField, other))
	}
}

func (c *checks) err() error { return errors.Join(c.errs...) }

var example = map[string]string{
	"Width": "0.25e-3 (0.25 mm)", "Height": "0.127e-3 (5 mil)", "Spacing": "0.508e-3 (20 mil)", "Gap": "0.1e-3 (0.1 mm)",
}

// sorted drops modes that never travel and sorts the rest by cutoff.
func sorted(modes []Mode) []Mode {
	var out []Mode
	for _, m := range modes {
		if m.Cutoff > 0 && !math.IsInf(m.Cutoff, 1) {
			out = append(out, m)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Cutoff < out[j].Cutoff })
	if len(out) == 0 {
		out = []Mode{{"none known", math.Inf(1)}}
	}
	return out
}

// outside adds a warning when value is not within low to high.
func outside(ws []Warning, model, quantity string, value, low, high float64, effect string) []Warning {
	if !(value >= low && value <= high) {
		ws = append(ws, Warning{model, quantity, value, low, high, effect})
	}
	return ws
}

// solveDimension returns the value between lo and hi of one parameter that gives
// the wanted quasi-static impedance; z(x) is the impedance with it at x.
func solveDimension(line string, what Parameter, ohms, lo, hi float64, z func(x float64) float64) (float64, error) {
	x, err := solve(ohms, lo, hi, z)
	if err != nil {
		return 0, fmt.Errorf("%s: no %s gives %.6g Ω: %w", line, what, ohms, err)
	}
	return x, nil
}

// dispersion holds how far a line's effective permittivity has risen from its
// quasi-static value towards the substrate's,
//
//	P(f) = (εe(f) − εe(0)) / (εr − εe(f)),
//
// computed at Chebyshev points of ln f. P/f² changes slowly, and its logarithm
// is interpolated; outside the points it is held.
type dispersion struct {
	low, high float64 // ln of the end frequencies
	er        float64 // permittivity for which it was computed
	coef      []float64
}

// tabulate computes the dispersion between two frequencies, in Hz, at n points
// from the quasi-static value and the function eps that gives εe(f), near a
// guess, both for vanishing thickness. It returns nil when eps has no answer
// at one of the points.
func tabulate(low, high, er, static float64, n int, eps func(f, guess float64) float64) *dispersion {
	d := &dispersion{low: math.Log(low), high: math.Log(high), er: er, coef: make([]float64, n)}
	rise := 0.0 // P/f² at the last point
	for i := n - 1; i >= 0; i-- {
		th := pi * (float64(i) + 0.5) / float64(n)
		f := math.Exp((d.low+d.high)/2 + (d.high-d.low)/2*math.Cos(th))
		p := rise * f * f
		e := eps(f, er-(er-static)/(1+p))
		rise = (e - static) / (er - e) / (f * f)
		v := math.Log(rise)
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		for k := range n {
			c := 2 / float64(n)
			if k == 0 {
				c /= 2
			}
			d.coef[k] += c * v * math.Cos(float64(k)*th)
		}
	}
	return d
}

// p returns P(f).
func (d *dispersion) p(f float64) float64 {
	x := (2*math.Log(f) - d.low - d.high) / (d.high - d.low)
	x = math.Min(math.Max(x, -1), 1)
	b1, b2 := 0.0, 0.0 // Clenshaw
	for k := len(d.coef) - 1; k > 0; k-- {
		b1, b2 = d.coef[k]+2*x*b1-b2, b1
	}
	return math.Exp(d.coef[0]+x*b1-b2) * f * f
}

// nearestRoot returns the root of g between low and high nearest to the guess,
// to 1e-11 of its value: an interval about the guess grows until g changes sign
// in it, and then shrinks by false position with Illinois's correction. It
// returns NaN when there is no change of sign.
func nearestRoot(guess, low, high float64, g func(x float64) float64) float64 {
	guess = math.Min(math.Max(guess, low), high)
	for span := 1e-3; span < 1; span *= 2 {
		a, b := math.Max(guess*(1-span), low), math.Min(guess*(1+span), high)
		ga, gb := g(a), g(b)
		if (ga > 0) == (gb > 0) {
			if a == low && b == high {
				break
			}
			continue
		}
		for range 60 {
			x := b - gb*(b-a)/(gb-ga)
			gx := g(x)
			if math.Abs(x-b) <= 1e-11*x || gx == 0 {
				return x
			}
			if (gx > 0) == (gb > 0) {
				ga /= 2
			} else {
				a, ga = b, gb
			}
			b, gb = x, gx
		}
		return b
	}
	return math.NaN()
}

// nanPoint is the state of a line at a frequency that makes no sense.
func nanPoint(f float64) Point {
	n := math.NaN()
	return Point{f, complex(n, n), complex(n, n), n, n, n}
}
