package measured

import (
	"math"

	"linewright/app/inspect"
	"linewright/app/wire"
	"linewright/job/assess"
	"linewright/job/lot"
	"linewright/job/verify"
	"linewright/physics/network"
	"linewright/physics/units"
)

// Planes says between which planes a file was measured, and who says so.
type Planes struct {
	Port1  string `json:"port_1"`
	Port2  string `json:"port_2"`
	From   string `json:"from" enum:"file,caller,vouched"`
	Turned bool   `json:"turned"` // port 1 stands at the chain's right plane: the data were turned round
}

// LimitMargin is a sample's distance to one limit.
type LimitMargin struct {
	wire.Margin
	Trace       string    `json:"trace"`
	Uncertainty *float64  `json:"expanded_uncertainty"`
	Guard       *float64  `json:"guard_band"`
	Inside      *float64  `json:"probability_inside"`
	Segments    []Segment `json:"segments"`
}

// Segment is one straight piece of a limit with its least margin.
type Segment struct {
	FromHz float64  `json:"from_hz"`
	ToHz   float64  `json:"to_hz"`
	Margin *float64 `json:"margin"`
	AtHz   *float64 `json:"at_hz"`
}

// Agreement is a trace against the prediction's tolerance band.
type Agreement struct {
	Trace    string   `json:"trace"`
	Agrees   bool     `json:"agrees"`
	Judged   bool     `json:"judged"`
	Share    *float64 `json:"share_inside_pointwise"`
	BeyondDB float64  `json:"beyond_db"`
	AtHz     *float64 `json:"at_hz"`
	FromHz   *float64 `json:"from_hz"`
	ToHz     *float64 `json:"to_hz"`
	Above    bool     `json:"above"`
	Why      string   `json:"why"`
}

// Length is a sample's electrical length.
type Length struct {
	DelayS     *float64 `json:"delay_s"`
	PredictedS *float64 `json:"predicted_s"`
	LowS       *float64 `json:"low_s"`
	HighS      *float64 `json:"high_s"`
	Judged     bool     `json:"judged"`
	Agrees     bool     `json:"agrees"`
	OffM       *float64 `json:"off_m"`
	Unknown    []string `json:"delay_unknown"`
	Why        string   `json:"why"`
}

// PieceEchoes are one piece of the chain in the time domain.
type PieceEchoes struct {
	Name         string   `json:"name"`
	FromM        float64  `json:"from_m"`
	ToM          float64  `json:"to_m"`
	FromS        float64  `json:"from_s"`
	ToS          float64  `json:"to_s"`
	ReturnLossDB *float64 `json:"return_loss_db"`     // of the greatest reflection found in it, the loss before it taken off
	MayDB        *float64 `json:"may_return_loss_db"` // what the pieces within reach may show there
	Exceeds      bool     `json:"exceeds"`
}

// Place is a reflection with its place along the chain.
type Place struct {
	Piece        string   `json:"piece"`
	With         []string `json:"not_told_from"`
	PositionM    float64  `json:"position_m"`
	WithinM      float64  `json:"within_m"`
	IntoM        float64  `json:"into_piece_m"`
	ReturnLossDB *float64 `json:"return_loss_db"`
	MayDB        *float64 `json:"may_return_loss_db"`
	From         string   `json:"seen_from" enum:"left,right"`
	Kind         string   `json:"kind" enum:"lower impedance,higher impedance,not told"`
	Says         string   `json:"says"`
}

// Echoes are a response along the chain: reflection against place.
type Echoes struct {
	PositionM []float64  `json:"position_m"`
	Measured  []*float64 `json:"reflection"`
	May       []*float64 `json:"may_be"`
}

// Along is a sample in the time domain.
type Along struct {
	Pieces      []PieceEchoes `json:"pieces"`
	LengthM     float64       `json:"length_m"`
	TotalS      float64       `json:"total_s"`
	ResolutionM float64       `json:"resolution_m"`
	Shared      []string      `json:"delay_shared_by"`
	Scaled      float64       `json:"delays_scaled_by"`
	Near        *Echoes       `json:"from_left"` // null unless the file is one of those shown in detail
	Far         *Echoes       `json:"from_right"`
}

// Verified is the judgement of one file.
type Verified struct {
	File       string            `json:"file"`
	Serial     string            `json:"serial"`
	SHA256     string            `json:"sha256"`
	Bytes      int               `json:"bytes"`
	Quality    string            `json:"quality"`
	QualityBy  string            `json:"quality_by" enum:"all findings,initial metrics"`
	Findings   []inspect.Finding `json:"findings"` // those that are not good
	Inspection *inspect.File     `json:"-"`
	Planes     *Planes           `json:"planes"`
	Verdict    string            `json:"verdict"`
	Why        string            `json:"why"`
	Margins    []LimitMargin     `json:"margins"`
	Agreement  []Agreement       `json:"against_prediction"`
	Length     *Length           `json:"electrical_length"`
	RippleDB   *float64          `json:"ripple_pp_db"` // about the fitted smooth loss, over a band
	RippleHz   []*float64        `json:"ripple_between_hz"`
	Difference *Place            `json:"difference"` // null: no place reflects more than it may
	Largest    *Place            `json:"largest_reflection"`
	Turned     bool              `json:"looks_turned"` // it fits the chain, or the lot, when its ports are exchanged
	Along      *Along            `json:"along"`
	NotAlong   string            `json:"no_time_domain_because"`
	Errors     []wire.Error      `json:"errors"`

	verdict assess.Verdict
	report  *verify.Report
	f       []float64
	network *network.Network
}

func num(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

func hz(f units.Frequency) *float64 {
	if f == 0 {
		return nil
	}
	return num(float64(f))
}

func nums(xs []float64) []*float64 {
	out := make([]*float64, len(xs))
	for i, x := range xs {
		out[i] = num(x)
	}
	return out
}

func listed(xs []string) []string {
	if xs == nil {
		return []string{}
	}
	return xs
}

func newMargin(j verify.Judged) LimitMargin {
	m := LimitMargin{wire.NewMargin(j.Margin), j.Trace, num(j.Uncertainty), num(j.Guard), num(j.Inside), []Segment{}}
	for _, s := range j.Segments {
		m.Segments = append(m.Segments, Segment{float64(s.From), float64(s.To), num(s.Margin), hz(s.At)})
	}
	return m
}

func newPlace(x *verify.Place) *Place {
	if x == nil {
		return nil
	}
	from := "right"
	if x.FromLeft {
		from = "left"
	}
	kind := map[int]string{-1: "lower impedance", 1: "higher impedance"}[x.Sign]
	if kind == "" {
		kind = "not told"
	}
	return &Place{x.Name, listed(x.With), x.Position, x.Within, x.Into, num(network.ReturnLoss(x.Size)), num(network.ReturnLoss(x.May)), from, kind, x.Says}
}

// fill shapes a report.
func (f *Verified) fill(r verify.Report) {
	f.verdict, f.Verdict = r.Verdict, r.Verdict.String()
	for _, j := range r.Margins {
		f.Margins = append(f.Margins, newMargin(j))
		if !j.Wish && j.Verdict == r.Verdict && f.Why == "" && r.Verdict != assess.Meets {
			f.Why = j.Limit + ": " + j.Why
		}
	}
	for _, a := range r.Agreement {
		f.Agreement = append(f.Agreement, Agreement{a.Trace, a.Agrees, a.Judged, num(a.Share), a.Beyond, hz(a.At), hz(a.From), hz(a.To), a.Above, a.Why})
	}
	l := r.Length
	f.Length = &Length{num(l.Delay), num(l.Predicted), num(l.Low), num(l.High), l.Judged, l.Agrees, num(l.Metres), listed(l.Unknown), l.Why}
	f.RippleDB, f.RippleHz = num(r.Ripple.PeakToPeak), []*float64{hz(r.Ripple.From), hz(r.Ripple.To)}
	f.NotAlong = r.NotAlong
	a := r.Along
	if a == nil {
		return
	}
	f.Difference, f.Turned = newPlace(a.Difference), a.Turned
	if a.Largest.Size > 0 {
		f.Largest = newPlace(&a.Largest)
	}
	f.Along = &Along{Pieces: []PieceEchoes{}, LengthM: a.Length, TotalS: a.Total, ResolutionM: a.Resolution, Shared: listed(a.Shared), Scaled: a.Scaled}
	for _, p := range a.Pieces {
		f.Along.Pieces = append(f.Along.Pieces, PieceEchoes{p.Name, p.From, p.To, p.Start, p.Stop, num(network.ReturnLoss(p.Measured)), num(network.ReturnLoss(p.May)), p.Exceeds})
	}
	trace := func(t verify.Trace) *Echoes { return &Echoes{t.Position, nums(t.Measured), nums(t.May)} }
	f.Along.Near, f.Along.Far = trace(a.Near), trace(a.Far)
}

// Decision is the rule that the verdicts were made by.
type Decision struct {
	Rule     string  `json:"rule" enum:"simple,guarded,three-way"`
	Default  bool    `json:"default"`
	Guard    float64 `json:"guard_band_in_expanded_uncertainties"`
	Coverage float64 `json:"coverage_factor"`
	Says     string  `json:"says"`
	Source   string  `json:"source"`
}

// Width is a spread of phase in its three forms.
type Width struct {
	Degrees float64 `json:"deg"`
	Seconds float64 `json:"s"`
	Metres  float64 `json:"m"`
}

// Member is one sample's delay.
type Member struct {
	File   string   `json:"file"`
	DelayS *float64 `json:"delay_s"`
	Why    string   `json:"why"`
}

// Set is the phase of the samples as a set.
type Set struct {
	Size       int          `json:"size"`
	AtHz       *float64     `json:"at_hz"`
	Width      Width        `json:"width"`
	Shortest   string       `json:"shortest"`
	Longest    string       `json:"longest"`
	MeanS      *float64     `json:"mean_delay_s"`
	DeviationS *float64     `json:"standard_deviation_s"`
	Absolute   Width        `json:"widest_over_band"`
	AbsoluteHz *float64     `json:"widest_over_band_at_hz"`
	Flat       Width        `json:"widest_own_delay_removed"`
	FlatHz     *float64     `json:"widest_own_delay_removed_at_hz"`
	Match      *LimitMargin `json:"match"`
	Members    []Member     `json:"members"`
	LeftOut    []Member     `json:"left_out"`
	Why        string       `json:"why"`
}

// Lot is the statistics of many samples.
type Lot struct {
	Units      int        `json:"units"`
	Serials    bool       `json:"by_serial_number"`
	Confidence float64    `json:"confidence"`
	Level      float64    `json:"false_alarm_level"`
	Wanted     float64    `json:"cpk_wanted"`
	Quantities []Quantity `json:"quantities"`
	Exchanged  []string   `json:"look_exchanged"` // files that are like the others with their ports exchanged
}

// Quantity is one figure over the lot.
type Quantity struct {
	Name       string      `json:"name"`
	Unit       string      `json:"unit"`
	N          int         `json:"n"`
	Mean       *float64    `json:"mean"`
	Deviation  *float64    `json:"standard_deviation"`
	Least      *float64    `json:"least"`
	LeastOf    string      `json:"least_of"`
	Most       *float64    `json:"most"`
	MostOf     string      `json:"most_of"`
	Capability *Capability `json:"capability"`
	Normality  Normality   `json:"normality"`
	Outliers   []Outlier   `json:"outliers"`
	Drift      *Drift      `json:"drift"`
}

// Capability of a limit.
type Capability struct {
	Cpk        *float64      `json:"cpk"`
	Lower      *float64      `json:"cpk_at_least"`
	Bissell    *float64      `json:"cpk_at_least_bissell"`
	Confidence float64       `json:"confidence"`
	Outside    int           `json:"outside"`
	Share      wire.Interval `json:"share_outside"`
	Enough     bool          `json:"enough"`
}

// Normality is a test against a normal distribution.
type Normality struct {
	Statistic *float64 `json:"anderson_darling"`
	P         *float64 `json:"p"`
	Rejected  bool     `json:"rejected"`
	Says      string   `json:"says"`
}

// Outlier does not belong with the others.
type Outlier struct {
	File      string  `json:"file"`
	Value     float64 `json:"value"`
	Statistic float64 `json:"statistic"`
	Critical  float64 `json:"critical"`
}

// Drift along the serial numbers.
type Drift struct {
	PerUnit  float64  `json:"per_unit"`
	Over     float64  `json:"over_the_lot"`
	T        *float64 `json:"t"`
	P        float64  `json:"p"`
	Detected bool     `json:"detected"`
}

// Document is everything that is said of a number of files.
type Document struct {
	Chain        string          `json:"chain"`
	Enquiry      string          `json:"enquiry"`
	Decision     Decision        `json:"decision"`
	TemperatureC *float64        `json:"temperature_c"`
	Verdict      string          `json:"verdict"`
	Counts       map[string]int  `json:"counts"` // files by verdict, and "unreadable"
	Files        []Verified      `json:"files"`
	Set          *Set            `json:"set"` // null with one file
	Lot          *Lot            `json:"lot"` // null with fewer than eight
	Questions    []wire.Question `json:"questions"`
	Notes        []string        `json:"notes"`
}

func newSet(r verify.SetReport) Set {
	s := Set{Size: r.Size, AtHz: hz(r.At), Width: Width(r.Width), Shortest: r.Shortest.Name, Longest: r.Longest.Name, MeanS: num(r.Mean), DeviationS: num(r.Sigma), Absolute: Width(r.Absolute), AbsoluteHz: hz(r.AbsoluteAt),
		Flat: Width(r.Flat), FlatHz: hz(r.FlatAt), Members: []Member{}, LeftOut: []Member{}, Why: r.Why}
	if r.Match != nil {
		m := newMargin(*r.Match)
		s.Match = &m
	}
	for _, m := range r.Members {
		s.Members = append(s.Members, Member{m.Name, num(m.Delay), m.Why})
	}
	for _, m := range r.LeftOut {
		s.LeftOut = append(s.LeftOut, Member{m.Name, nil, m.Why})
	}
	return s
}

func newLot(r lot.Report) *Lot {
	out := &Lot{r.Units, r.Serials, r.Options.Confidence, r.Options.Level, r.Options.Wanted, []Quantity{}, []string{}}
	for _, s := range r.Quantities {
		q := Quantity{Name: s.Name, Unit: s.Unit, N: s.N, Mean: num(s.Mean), Deviation: num(s.Deviation), Least: num(s.Least), LeastOf: s.LeastOf, Most: num(s.Most), MostOf: s.MostOf,
			Normality: Normality{num(s.Normality.Statistic), num(s.Normality.P), s.Normality.Rejected, s.Normality.Says}, Outliers: []Outlier{}}
		if c := s.Capability; c != nil {
			q.Capability = &Capability{num(c.Cpk), num(c.Lower), num(c.Bissell), c.Confidence, c.Outside, wire.Interval{Low: c.Share.Low, High: c.Share.High}, c.Enough}
		}
		for _, o := range s.Outliers {
			q.Outliers = append(q.Outliers, Outlier{o.Name, o.Value, o.Statistic, o.Critical})
		}
		if d := s.Drift; d != nil {
			q.Drift = &Drift{d.PerUnit, d.Over, num(d.T), d.P, d.Detected}
		}
		out.Quantities = append(out.Quantities, q)
	}
	return out
}
