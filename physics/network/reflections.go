package network

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"sort"

	"linewright/physics/network/internal/kernel"
)

// A Reflector is a discontinuity of which only the magnitude of the reflection
// is known, as datasheets give it, and the matched line behind it up to the
// next reflector. In a chain the first reflector faces the source; the last
// one is the far end, and its line does not count.
type Reflector struct {
	Magnitude float64    // |S11|, 0 ≤ Magnitude < 1
	Loss      float64    // one-way attenuation on the way to the next reflector, Np
	Delay     [2]float64 // one-way delay to the next reflector, s: least and greatest; for a swept study
}

// Worst returns the sum of the reflections, each weakened by the two-way loss before it:
// the recursion r ← |S11| + A·r from the far end, A = e^{−2·Loss}. It is the
// trade's usual worst case. A value above 1 bounds nothing.
//
// It bounds the input reflection, all multiple reflections counted, of lossless
// discontinuities joined by matched lines, whatever their phases ([WorstExact]
// is the least such bound). A part that absorbs between its own two reflections
// can exceed it in the third order, by up to A ρ r²/(1−ρ r) per part:
// [WorstPassive] counts that too.
//
// Source: first-order theory of small reflections [pozar2012] §5.5; the
// statements on bounds are derived here and tested in TestBoundsHold and TestBoundOfAbsorbingParts.
func Worst(chain []Reflector) float64 {
	r := 0.0
	for i := len(chain) - 1; i >= 0; i-- {
		r = chain[i].Magnitude + math.Exp(-2*chain[i].Loss)*r
	}
	return r
}

// WorstExact returns the greatest input reflection, all multiple reflections
// counted, of lossless discontinuities joined by matched lines of the given loss:
//
//	r ← (ρ + A r)/(1 + ρ A r)        A = e^{−2·Loss}
//
// Without loss this is tanh Σ artanh ρ, the product of the VSWRs. It is never
// above [Worst]. A discontinuity that itself absorbs power can exceed it.
//
// Source: the product rule is [ragan1948]; with loss, derived here from the
// input reflection of a lossless two-port.
func WorstExact(chain []Reflector) float64 {
	r := 0.0
	for i := len(chain) - 1; i >= 0; i-- {
		rho, x := chain[i].Magnitude, math.Exp(-2*chain[i].Loss)*r
		r = (rho + x) / (1 + rho*x)
	}
	return r
}

// WorstPassive returns a bound to the input reflection of any passive parts with
// |S11| and |S22| up to Magnitude and |S21 S12| up to A = e^{−2·Loss}, all
// multiple reflections counted:
//
//	r ← ρ + A r/(1 − ρ r)
//
// For reflections of 20 dB it lies within a few per cent of [Worst]. It is 1 at most.
//
// Source: |S11 + S12 S21 Γ/(1 − S22 Γ)| with every phase at its worst.
func WorstPassive(chain []Reflector) float64 {
	r := 0.0
	for i := len(chain) - 1; i >= 0; i-- {
		rho := chain[i].Magnitude
		r = min(rho+math.Exp(-2*chain[i].Loss)*r/(1-rho*r), 1)
	}
	return r
}

// LeastTransmission returns the least |S21| that lossless discontinuities joined by
// matched lines of the given loss can have, all multiple reflections counted:
//
//	Π √(1−ρ²) e^{−Loss} / Π (1 + ρ A r)
//
// with r the worst reflection from behind, as in [WorstExact]; the last
// reflector's line does not count. Without loss its square is 1 − WorstExact². It
// belongs to a worst-case insertion loss budget: the loss of the lines alone is less.
//
// Source: derived here from the cascade's denominator, which all phases in step make largest.
func LeastTransmission(chain []Reflector) float64 {
	r, t := 0.0, 1.0
	for i := len(chain) - 1; i >= 0; i-- {
		rho, a := chain[i].Magnitude, math.Exp(-2*chain[i].Loss)
		if i < len(chain)-1 {
			t *= math.Sqrt(a)
		}
		x := a * r
		t *= math.Sqrt(1-rho*rho) / (1 + rho*x)
		r = (rho + x) / (1 + rho*x)
	}
	return t
}

// Best returns the least input reflection that lossless discontinuities joined
// by matched lines of the given loss can have: often 0, when they
// can cancel. Its phases are the luckiest at one frequency; no swept band sees it throughout.
//
// Source: as [WorstExact]: behind each reflector |r| takes every value of an
// interval, and (ρ − x)/(1 − ρx) is monotonic in x.
func Best(chain []Reflector) float64 {
	low, high := 0.0, 0.0
	for i := len(chain) - 1; i >= 0; i-- {
		rho, a := chain[i].Magnitude, math.Exp(-2*chain[i].Loss)
		l, h := a*low, a*high
		low = 0
		if rho < l {
			low = (l - rho) / (1 - rho*l)
		} else if rho > h {
			low = (rho - h) / (1 - rho*h)
		}
		high = (rho + h) / (1 + rho*h)
	}
	return low
}

// RSS returns the root of the sum of the squared reflections, each weakened by
// the two-way loss before it: the rms input reflection of random phases, to
// first order. It is no bound, and below what a swept measurement shows: see [Study].
func RSS(chain []Reflector) float64 {
	sum := 0.0
	for i := len(chain) - 1; i >= 0; i-- {
		sum = chain[i].Magnitude*chain[i].Magnitude + math.Exp(-4*chain[i].Loss)*sum
	}
	return math.Sqrt(sum)
}

// Study says how reflections of random phase are drawn. The zero value draws
// 10 000 chains at one frequency, with seed 0, and asks for the 95th percentile.
type Study struct {
	Draws      int     // number of random chains; 0 is 10 000
	Percentile float64 // between 0 and 1; 0 is 0.95
	Seed       uint64
	FirstOrder bool // sum the waves once reflected, instead of counting all multiple reflections

	// A sweep from Start to Stop, in Hz, takes of each draw its greatest
	// reflection in the band: what a swept test against a limit sees. Every
	// Reflector then needs its Delay, drawn evenly between the two values.
	// Stop = 0 means one frequency.
	Start, Stop float64
	Points      int // of the sweep, rounded up to a multiple of 8; 0 makes steps of an eighth of the fastest ripple's period
}

// Likely is the outcome of a [Study].
type Likely struct {
	Value      float64   // the asked percentile of the input reflection
	Low, High  float64   // between these the true percentile lies with 95 % confidence
	Percentile float64   // between 0 and 1
	Mean       float64   // of all draws
	Draws      []float64 // input reflections in increasing order
	Points     int       // frequencies per draw
}

// Run draws the study's chains. Each reflector's phase is drawn evenly over the
// full turn, fixed over the sweep, beside the phase of the delay before it.
// Discontinuities are taken as lossless (the loss is in the lines between), so no draw
// exceeds [WorstExact]; with FirstOrder none exceeds [Worst].
// The same study and chain give the same draws.
//
// Low and High are order statistics: the ranks pN ± 1.96 √(Np(1−p)).
//
// Source: derived here; the single-frequency and swept figures of six equal
// reflectors are checked in TestSixReflectors.
func (s Study) Run(chain []Reflector) (Likely, error) {
	const op = "random-phase study"
	if s.Draws == 0 {
		s.Draws = 10000
	}
	if s.Percentile == 0 {
		s.Percentile = 0.95
	}
	if len(chain) == 0 || s.Draws < 1 || !(s.Percentile > 0 && s.Percentile < 1) {
		return Likely{}, fault(op, ErrShape, "", "%d reflectors, %d draws, percentile %g", len(chain), s.Draws, s.Percentile)
	}
	total := 0.0
	for i, r := range chain {
		if !(r.Magnitude >= 0 && r.Magnitude < 1 && r.Loss >= 0) {
			return Likely{}, fault(op, ErrValue, "a reflection lies from 0 to below 1, a loss is not negative", "reflector %d has magnitude %g and loss %g Np", i, r.Magnitude, r.Loss)
		}
		if i < len(chain)-1 {
			if s.Stop != 0 && !(r.Delay[0] >= 0 && r.Delay[1] >= r.Delay[0] && r.Delay[1] > 0) {
				return Likely{}, fault(op, ErrValue, "give the least and greatest delay to the next reflector", "reflector %d has delays %g to %g s", i, r.Delay[0], r.Delay[1])
			}
			total += r.Delay[1]
		}
	}
	step := 0.0
	if s.Stop == 0 {
		s.Points = 1
	} else {
		if !(s.Start >= 0 && s.Stop > s.Start) {
			return Likely{}, fault(op, ErrFrequency, "", "a sweep from %g to %g Hz", s.Start, s.Stop)
		}
		if s.Points == 0 {
			s.Points = 1 + int(math.Ceil((s.Stop-s.Start)*16*total))
		}
		s.Points = max(s.Points+kernel.Lane-1, 2*kernel.Lane-1) / kernel.Lane * kernel.Lane
		step = (s.Stop - s.Start) / float64(s.Points-1)
	}

	l := Likely{Percentile: s.Percentile, Draws: make([]float64, s.Draws), Points: s.Points}
	source := rand.NewPCG(0, 0)
	rng := rand.New(source)
	lines := make([]kernel.Line, len(chain)-1)
	end := chain[len(chain)-1].Magnitude
	sweeper := kernel.NewSweeper(s.Start, step, s.Points)
	for d := range l.Draws {
		source.Seed(s.Seed, uint64(d)) // each draw has its own stream
		for i, r := range chain[:len(lines)] {
			lines[i] = kernel.Line{Rho: r.Magnitude, Fixed: r.Loss,
				Delay: r.Delay[0] + (r.Delay[1]-r.Delay[0])*rng.Float64(), Phase: rng.Float64()}
		}
		switch {
		case s.FirstOrder:
			l.Draws[d] = firstOrder(lines, end, s.Start, step, s.Points)
		case s.Points == 1:
			r := complex(end, 0)
			for i := len(lines) - 1; i >= 0; i-- {
				rho := complex(lines[i].Rho, 0)
				r *= cmplx.Rect(math.Exp(-2*lines[i].Fixed), 2*math.Pi*lines[i].Phase)
				r = (r + rho) / (1 + rho*r)
			}
			l.Draws[d] = cmplx.Abs(r)
		default:
			l.Draws[d] = math.Sqrt(slices.Max(sweeper.Reflect(lines, end)))
		}
	}
	sort.Float64s(l.Draws)
	for _, r := range l.Draws {
		l.Mean += r / float64(s.Draws)
	}
	rank := func(x float64) float64 { return l.Draws[min(max(int(math.Ceil(x))-1, 0), s.Draws-1)] }
	np := float64(s.Draws) * s.Percentile
	half := 1.96 * math.Sqrt(np*(1-s.Percentile))
	l.Value, l.Low, l.High = rank(np), rank(np-half), rank(np+half+1)
	return l, nil
}

// firstOrder returns the greatest magnitude of the sum of the waves once reflected.
func firstOrder(lines []kernel.Line, end, start, step float64, points int) float64 {
	greatest := 0.0
	for k := range points {
		r := complex(end, 0)
		for i := len(lines) - 1; i >= 0; i-- {
			turns := 2 * (start + step*float64(k)) * lines[i].Delay
			r *= cmplx.Rect(math.Exp(-2*lines[i].Fixed), 2*math.Pi*(lines[i].Phase-turns+math.Floor(turns)))
			r += complex(lines[i].Rho, 0)
		}
		greatest = max(greatest, cmplx.Abs(r))
	}
	return greatest
}

// String gives the percentile and how it was found.
func (l Likely) String() string {
	at := "at one frequency"
	if l.Points > 1 {
		at = fmt.Sprintf("swept over %d points", l.Points)
	}
	return fmt.Sprintf("%.3f (%g %% of %d random draws, %s)", l.Value, 100*l.Percentile, len(l.Draws), at)
}
