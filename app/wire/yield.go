package wire

import (
	"linewright/job/tolerance"
	"linewright/job/tolerance/sample"
)

// Interval is a confidence interval of a share.
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Share is how many copies keep a limit. Interval is the one to quote,
// IntervalIs says which it is.
type Share struct {
	Meets          int      `json:"meets"`
	Of             int      `json:"of"`
	Share          float64  `json:"share"`
	Interval       Interval `json:"interval"`
	IntervalIs     string   `json:"interval_is"`
	Wilson         Interval `json:"wilson"`
	ClopperPearson Interval `json:"clopper_pearson"`
}

// Driver is one input's part in the spread of one limit, or that of the
// correlated inputs listed in Together.
type Driver struct {
	Input           string   `json:"input"`
	Together        []string `json:"together"`
	Total           float64  `json:"total_share"`
	TotalError      float64  `json:"total_share_error"`
	First           float64  `json:"first_share"`
	FirstError      float64  `json:"first_share_error"`
	RankCorrelation *float64 `json:"rank_correlation"`
	Chance          bool     `json:"chance"`
}

// YieldHistogram counts values between neighbouring edges.
type YieldHistogram struct {
	Edges  []float64 `json:"edges"`
	Counts []int     `json:"counts"`
}

// InputValue is an input of one copy, in the unit named.
type InputValue struct {
	Input string  `json:"input"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// YieldOutput is one limit over all copies, its values being margins, or an
// observed quantity, its values the quantity's own.
type YieldOutput struct {
	Name          string         `json:"name"`
	Unit          string         `json:"unit"`
	LimitValue    *float64       `json:"limit_value"`
	Wish          bool           `json:"wish"`
	Yield         *Share         `json:"yield"`
	Mean          *float64       `json:"mean"`
	Deviation     *float64       `json:"standard_deviation"`
	Low95         *float64       `json:"low_95_percent"`
	High95        *float64       `json:"high_95_percent"`
	Least         float64        `json:"least"`
	LeastSample   int            `json:"least_sample"`
	LeastInputs   []InputValue   `json:"least_inputs"`
	Most          float64        `json:"most"`
	MostSample    int            `json:"most_sample"`
	WorstCorner   *float64       `json:"worst_corner"`
	WorstCornerHz *float64       `json:"worst_corner_at_hz"`
	Missing       []string       `json:"missing"`
	Drivers       []Driver       `json:"drivers"`
	Histogram     YieldHistogram `json:"histogram"`
}

// YieldInput is one thing that differs from copy to copy.
type YieldInput struct {
	Name         string   `json:"name"`
	Piece        string   `json:"piece"`
	Quantity     string   `json:"quantity"`
	Unit         string   `json:"unit"`
	Distribution string   `json:"distribution"`
	Mean         *float64 `json:"mean"`
	Deviation    *float64 `json:"standard_deviation"`
	Low          *float64 `json:"low"`
	High         *float64 `json:"high"`
	Standing     string   `json:"standing"`
	Source       string   `json:"source"`
	Assumed      bool     `json:"assumed"`
	Chance       bool     `json:"chance"`
}

// YieldCorrelation ties two inputs.
type YieldCorrelation struct {
	Inputs      [2]string `json:"inputs"`
	Coefficient float64   `json:"coefficient"`
	Source      string    `json:"source"`
}

// YieldSorting is what a phase or delay match asks of building and sorting.
type YieldSorting struct {
	Kind          string  `json:"kind"`
	HalfWidthS    float64 `json:"half_width_s"`
	AtHz          float64 `json:"at_hz"`
	SetSize       int     `json:"set_size"`
	DeviationS    float64 `json:"standard_deviation_s"`
	UnsortedShare float64 `json:"unsorted_share"`
	UnsortedWidth float64 `json:"unsorted_width_s"`
	BuildHalf     int     `json:"build_5_of_10"`
	BuildNine     int     `json:"build_9_of_10"`
	Beyond        bool    `json:"beyond_sorting"`
	// Unsorted is where UnsortedShare lies with the document's confidence.
	Unsorted Interval `json:"unsorted_share_interval"`
}

// Yield is the result of a study of tolerances.
type Yield struct {
	Chain        string             `json:"chain"`
	Enquiry      string             `json:"enquiry"`
	Method       string             `json:"method"`
	Seed         uint64             `json:"seed"`
	Samples      int                `json:"samples"`
	Frequencies  int                `json:"frequencies"`
	Confidence   float64            `json:"confidence"`
	AtLeast      float64            `json:"at_least"`
	Enough       bool               `json:"enough"`
	Yield        Share              `json:"yield"`
	Limits       []YieldOutput      `json:"limits"`
	Observed     []YieldOutput      `json:"observed"`
	Inputs       []YieldInput       `json:"inputs"`
	Correlations []YieldCorrelation `json:"correlations"`
	Sorting      *YieldSorting      `json:"sorting"`
	DriversFrom  string             `json:"drivers_are"`
	Missing      []string           `json:"missing"`
	NotTried     []string           `json:"not_tried"`
	Sigmas       []string           `json:"taken_at_three_sigma"`
	Notes        []string           `json:"notes"`
}

func interval(i sample.Interval) Interval { return Interval{i.Low, i.High} }

func listed(xs []string) []string {
	if xs == nil {
		return []string{}
	}
	return xs
}

func share(s tolerance.Share) Share {
	return Share{s.Meets, s.N, s.Share, interval(s.Quoted), s.Basis, interval(s.Wilson), interval(s.Exact)}
}

// unitWord is the SI unit of an input for a field's value.
func unitWord(unit string) string {
	if unit == "1" {
		return "relative"
	}
	return unit
}

// NewYield shapes the result of a study of tolerances.
func NewYield(r tolerance.Report) Yield {
	s := r.Study
	out := Yield{Chain: s.Chain, Enquiry: s.Enquiry, Method: string(r.Plan.Method), Seed: r.Plan.Seed, Samples: r.Yield.N, Frequencies: s.Points, Confidence: r.Confidence, AtLeast: r.AtLeast, Enough: r.Enough,
		Yield: share(r.Yield), Limits: []YieldOutput{}, Observed: []YieldOutput{}, Inputs: []YieldInput{}, Correlations: []YieldCorrelation{}, DriversFrom: r.DriversFrom,
		Missing: listed(s.Missing), NotTried: listed(s.Untried), Sigmas: listed(r.Sigmas), Notes: listed(s.Notes)}
	for _, x := range r.Limits {
		y := yieldOutput(x, s.Inputs)
		sh := share(x.Share)
		y.Yield, y.LimitValue = &sh, num(x.Value)
		out.Limits = append(out.Limits, y)
	}
	for _, x := range r.Observed {
		out.Observed = append(out.Observed, yieldOutput(x, s.Inputs))
	}
	for _, in := range s.Inputs {
		low, high := in.Distribution.Limits()
		out.Inputs = append(out.Inputs, YieldInput{in.Name, in.Piece, in.Quantity, unitWord(in.Unit), in.Says, num(in.Distribution.Expectation()), num(in.Distribution.StandardDeviation()), num(low), num(high),
			string(in.Standing), in.Source, in.Assumed, in.Chance})
	}
	for _, t := range s.Ties {
		out.Correlations = append(out.Correlations, YieldCorrelation{[2]string{s.Inputs[t.I].Name, s.Inputs[t.J].Name}, t.Coefficient, t.Source})
	}
	if m := r.Sorting; m != nil {
		kind := "relative"
		if m.Absolute {
			kind = "absolute"
		}
		out.Sorting = &YieldSorting{kind, m.Half, m.At, m.Size, m.Deviation, m.Unsorted, m.Width, m.Half50, m.Half90, m.Beyond, interval(m.UnsortedIn)}
	}
	return out
}

func yieldOutput(x tolerance.Result, inputs []tolerance.Input) YieldOutput {
	y := YieldOutput{Name: x.Name, Unit: x.Unit, Wish: x.Wish, Mean: num(x.Summary.Mean), Deviation: num(x.Summary.StandardDeviation), Least: x.Summary.Least, LeastSample: x.Summary.LeastAt,
		Most: x.Summary.Most, MostSample: x.Summary.MostAt, WorstCorner: num(x.Worst), WorstCornerHz: num(x.WorstAt), Missing: listed(x.Missing), Drivers: []Driver{}, LeastInputs: []InputValue{},
		Histogram: YieldHistogram{x.Histogram.Edges, x.Histogram.Counts}}
	if c := x.Coverage; c != nil {
		y.Low95, y.High95 = num(c.Symmetric.Low), num(c.Symmetric.High)
	}
	for i, v := range x.Least {
		y.LeastInputs = append(y.LeastInputs, InputValue{inputs[i].Name, v, unitWord(inputs[i].Unit)})
	}
	for i, d := range x.Drivers {
		together := []string{}
		for _, k := range d.With {
			together = append(together, inputs[k].Name)
		}
		e := Driver{Input: d.Name, Together: together, Total: d.Total, TotalError: d.TotalError, First: d.First, FirstError: d.FirstError, Chance: inputs[d.Input].Chance}
		if i < len(x.Direction) {
			e.RankCorrelation = num(x.Direction[i])
		}
		y.Drivers = append(y.Drivers, e)
	}
	return y
}
