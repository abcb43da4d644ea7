// Package lot tells what many samples of one part say together: how capable the
// process is of each limit and how sure that is, whether the figures are normal
// at all, which samples do not belong with the others, and whether the lot
// drifts along its serial numbers.
//
// A quantity is one number of each sample, for a limit its least margin over a
// stretch of the mask, positive inside. Such a least-of-a-band is an extreme
// value and seldom normal: so each capability comes with its confidence bound
// and a test of normality, and says so.
//
// Tests on several quantities at once raise more false alarms than one: the
// level of every test is the asked one divided by the number of quantities
// (Bonferroni), so that a lot of sound samples raises an alarm of one kind no
// more often than Options.Level says.
package lot

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"linewright/job/tolerance/sample"
)

// Quantity is one figure of every sample.
type Quantity struct {
	Name   string
	Unit   string
	Margin bool // it is a distance inside a limit: capability is against zero
}

// Unit is one sample: its name, its place along the lot, and its values in the
// order of the quantities; NaN where a value is not known.
type Unit struct {
	Name   string
	Serial float64 // NaN: not known, it counts by its place in the list
	Values []float64
}

// Options of an analysis; the zero value is sensible.
type Options struct {
	Confidence float64 // of capability bounds, one-sided; 0: 0.95
	Level      float64 // false alarms of one kind of test over all quantities; 0: 0.05
	Wanted     float64 // Cpk that is asked for; 0: none
}

// Report is what the lot says.
type Report struct {
	Units      int
	Quantities []Summary
	Options    Options
	Serials    bool // serial numbers were known; else the order of the list stands for them
}

// Summary is one quantity over the lot.
type Summary struct {
	Quantity
	N               int
	Mean, Deviation float64
	Least, Most     float64
	LeastOf, MostOf string // the samples
	Capability      *Capability
	Normality       Normality
	Outliers        []Outlier
	Drift           *Drift // nil: fewer than four samples
}

// Capability is how far a process stays from a limit, in thirds of the distance
// of the mean in standard deviations.
type Capability struct {
	Cpk        float64
	Lower      float64 // exact one-sided lower confidence bound, normal samples
	Bissell    float64 // its usual approximation, a check on it
	Confidence float64
	Outside    int             // samples beyond the limit
	Share      sample.Interval // of the process beyond the limit, 95 % two-sided, whatever the distribution
	Enough     bool            // Lower reaches what is wanted; true when nothing is
}

// Normality is the test of Anderson and Darling against a normal distribution of
// unknown mean and deviation.
type Normality struct {
	Statistic float64 // A*², corrected for the number of samples; NaN: fewer than eight
	P         float64
	Rejected  bool // at the level of the analysis
	Says      string
}

// Outlier is a sample that does not belong with the others.
type Outlier struct {
	Unit      int // index
	Name      string
	Value     float64
	Statistic float64 // its distance from the mean of what was left, in deviations
	Critical  float64
}

// Drift is a straight line along the serial numbers, outliers left out.
type Drift struct {
	PerUnit  float64 // change of the quantity from one serial number to the next
	Over     float64 // change from the first to the last
	T, P     float64 // of the slope against none
	Detected bool
}

// ErrFew says that there are not enough samples for statistics.
var ErrFew = errors.New("statistics need three samples at least")

// Analyse sums a lot up.
func Analyse(quantities []Quantity, units []Unit, o Options) (Report, error) {
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	if o.Level == 0 {
		o.Level = 0.05
	}
	if !(o.Confidence > 0 && o.Confidence < 1) || !(o.Level > 0 && o.Level < 1) {
		return Report{}, fmt.Errorf("confidence %g and level %g: both are shares, such as 0.95 and 0.05", o.Confidence, o.Level)
	}
	if len(units) < 3 {
		return Report{}, fmt.Errorf("%d: %w", len(units), ErrFew)
	}
	r := Report{Units: len(units), Options: o, Serials: true}
	serial := make([]float64, len(units))
	for i, u := range units {
		if len(u.Values) != len(quantities) {
			return Report{}, fmt.Errorf("%s has %d values for %d quantities", u.Name, len(u.Values), len(quantities))
		}
		serial[i] = u.Serial
		r.Serials = r.Serials && !math.IsNaN(u.Serial)
	}
	if !r.Serials {
		for i := range serial {
			serial[i] = float64(i)
		}
	}
	level := o.Level / float64(max(1, len(quantities)))
	for k, q := range quantities {
		var at []int
		var x []float64
		for i, u := range units {
			if v := u.Values[k]; !math.IsNaN(v) && !math.IsInf(v, 0) {
				at, x = append(at, i), append(x, v)
			}
		}
		s := Summary{Quantity: q, N: len(x), Mean: math.NaN(), Deviation: math.NaN(), Least: math.NaN(), Most: math.NaN(), Normality: Normality{Statistic: math.NaN(), P: math.NaN(), Says: "too few samples to tell"}}
		if len(x) >= 3 {
			s.fill(x, at, units, serial, o, level)
		}
		r.Quantities = append(r.Quantities, s)
	}
	return r, nil
}

func (s *Summary) fill(x []float64, at []int, units []Unit, serial []float64, o Options, level float64) {
	m := sample.MeanOf(x)
	s.Mean, s.Deviation = m.Mean, m.Deviation
	least, most := 0, 0
	for i := range x {
		if x[i] < x[least] {
			least = i
		}
		if x[i] > x[most] {
			most = i
		}
	}
	s.Least, s.LeastOf, s.Most, s.MostOf = x[least], units[at[least]].Name, x[most], units[at[most]].Name
	if s.Margin {
		c := Capability{Cpk: sample.Cpk(x, 0), Confidence: o.Confidence, Lower: math.NaN(), Bissell: math.NaN()}
		for _, v := range x {
			if v < 0 {
				c.Outside++
			}
		}
		if s.Deviation > 0 {
			c.Lower, c.Bissell = sample.CpkLowerExact(c.Cpk, len(x), o.Confidence), sample.CpkLower(c.Cpk, len(x), o.Confidence)
		}
		c.Share = sample.ClopperPearson(c.Outside, len(x), 0.95)
		c.Enough = o.Wanted == 0 || c.Lower >= o.Wanted
		s.Capability = &c
	}
	s.Normality = normality(x, m.Mean, m.Deviation, level)
	// Up to a tenth of the lot may be outliers; beyond that they are another lot.
	for _, e := range Deviates(x, max(1, min(len(x)/10, 100)), level) {
		e.Unit = at[e.Unit]
		e.Name = units[e.Unit].Name
		s.Outliers = append(s.Outliers, e)
	}
	s.Drift = drift(x, at, serial, s.Outliers, level)
}

// Deviates returns the values that the generalised test of extreme studentised
// deviates names as outliers, most extreme first; Unit is the index in x. The
// distance R of the most extreme value from the mean, in standard deviations, is
// compared with
//
//	λᵢ = t (n−i) / √((n−i−1+t²)(n−i+1))        t = t_{n−i−1}(1 − α/2(n−i+1))
//
// and the value taken out, most times over; the last i with Rᵢ > λᵢ tells how
// many there are. For one suspect it is the two-sided test of Grubbs. The
// critical values are good from n = 15 on, very good from 25; below 15 one
// suspect only is tried, for which they are exact.
//
// Source: [rosner1983]; for one [grubbs1969]; example of [nisthandbook] 1.3.5.17.
func Deviates(x []float64, most int, level float64) []Outlier {
	n := len(x)
	if n < 15 {
		most = 1
	}
	if n < 3 {
		return nil
	}
	left := make([]int, n)
	sum, sq, shift := 0.0, 0.0, x[0] // a shift keeps the sums of squares exact
	for i, v := range x {
		left[i] = i
		sum += v - shift
		sq += (v - shift) * (v - shift)
	}
	var tried []Outlier
	found := 0
	for i := 1; i <= most && len(left) > 2; i++ {
		k := float64(len(left))
		mean := sum / k
		s := math.Sqrt(math.Max(0, (sq-sum*mean)/(k-1)))
		if !(s > 1e-12*(math.Abs(mean+shift)+math.Abs(mean))) {
			break
		}
		far := 0
		for j, a := range left {
			if math.Abs(x[a]-shift-mean) > math.Abs(x[left[far]]-shift-mean) {
				far = j
			}
		}
		a := left[far]
		d := x[a] - shift
		free := k - 2
		t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: free}.Quantile(1 - level/(2*k))
		e := Outlier{Unit: a, Value: x[a], Statistic: math.Abs(d-mean) / s, Critical: t * (k - 1) / math.Sqrt((free+t*t)*k)}
		tried = append(tried, e)
		if e.Statistic > e.Critical {
			found = i
		}
		left = slices.Delete(left, far, far+1)
		sum, sq = sum-d, sq-d*d
	}
	return tried[:found]
}

// normality is the test of Anderson and Darling with both parameters estimated:
//
//	A² = −n − Σ (2i−1)/n · [ln Φ(zᵢ) + ln(1−Φ(z_{n+1−i}))]        A*² = A² (1 + 0.75/n + 2.25/n²)
//
// Source: [dagostino1986] table 4.7 for A*², table 4.9 for p (coefficients from
// memory; TestNormality meets the printed critical values).
func normality(x []float64, mean, sd, level float64) Normality {
	n := len(x)
	out := Normality{Statistic: math.NaN(), P: math.NaN(), Says: "too few samples to tell"}
	if n < 8 || !(sd > 0) {
		return out
	}
	z := slices.Clone(x)
	slices.Sort(z)
	a := 0.0
	for i := range z {
		lo, hi := sample.NormalCDF((z[i]-mean)/sd), sample.NormalCDF(-(z[n-1-i]-mean)/sd)
		a += float64(2*i+1) * (math.Log(math.Max(lo, 1e-300)) + math.Log(math.Max(hi, 1e-300)))
	}
	nn := float64(n)
	out.Statistic = (-nn - a/nn) * (1 + 0.75/nn + 2.25/nn/nn)
	out.P = andersonDarlingP(out.Statistic)
	out.Rejected = out.P < level
	switch {
	case out.Rejected:
		out.Says = "not normal: a Cpk tells no share of misses here; the least of a band seldom is normal"
	default:
		out.Says = "nothing speaks against a normal distribution"
	}
	return out
}

// andersonDarlingP is the chance of a larger A*² from normal samples.
func andersonDarlingP(a float64) float64 {
	switch {
	case a >= 13:
		return 0
	case a >= 0.6:
		return math.Exp(1.2937 - 5.709*a + 0.0186*a*a)
	case a >= 0.34:
		return math.Exp(0.9177 - 4.279*a - 1.38*a*a)
	case a >= 0.2:
		return 1 - math.Exp(-8.318+42.796*a-59.938*a*a)
	}
	return 1 - math.Exp(-13.436+101.14*a-223.73*a*a)
}

// drift fits a straight line along the serial numbers and tests its slope.
//
// Source: slope and its standard uncertainty [jcgm100] H.3; the ratio of both
// follows Student's t with n − 2 degrees of freedom [montgomery2009].
func drift(x []float64, at []int, serial []float64, outliers []Outlier, level float64) *Drift {
	var sx, sy []float64
	for i, k := range at {
		if !slices.ContainsFunc(outliers, func(o Outlier) bool { return o.Unit == k }) {
			sx, sy = append(sx, serial[k]), append(sy, x[i])
		}
	}
	if len(sx) < 4 {
		return nil
	}
	low, high := slices.Min(sx), slices.Max(sx)
	if low == high {
		return nil
	}
	for i := range sx { // serial numbers may be large: the line is fitted about their middle
		sx[i] -= (low + high) / 2
	}
	fit, err := sample.FitLine(sx, sy)
	if err != nil {
		return nil
	}
	d := Drift{PerUnit: fit.Slope, Over: fit.Slope * (high - low), P: 1}
	switch {
	case fit.USlope > 0:
		d.T = fit.Slope / fit.USlope
		d.P = 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: fit.Freedom}.Survival(math.Abs(d.T))
	case fit.Slope != 0:
		d.T, d.P = math.Inf(1), 0
	}
	d.Detected = d.P < level
	return &d
}
