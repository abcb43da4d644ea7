// Package measured reads files of measured samples and holds them against a
// chain: one file, or ten thousand. Each file's quality is judged first, then
// its reference planes, then its limits and its prediction; a file that cannot
// be read or compared is named and the others are judged.
//
// Files are read one at a time by each worker, and of each only its judgement is
// kept, so that a lot needs little more memory than its answer.
package measured

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"time"

	"linewright/app/inspect"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/job/assess"
	"linewright/job/lot"
	"linewright/job/verify"
	"linewright/physics/network"
	"linewright/physics/sweep"
	"linewright/physics/touchstone"
	"linewright/physics/units"
)

// Options say what the files do not say of themselves, and how many are judged
// at once.
type Options struct {
	LeftPlane, RightPlane string // the planes of ports 1 and 2; empty: as the file says
	ChainPlanes           bool   // the caller vouches: measured between the chain's own planes
	LeftFixture           *network.Network
	RightFixture          *network.Network
	Lot                   lot.Options
	Workers               int // 0: one per processor
	// Quick judges a file's quality by the initial metrics of IEEE 370 alone where
	// they are all good, a tenth of the work: for large lots.
	Quick     bool
	Detail    int // files whose time domain is kept for a picture; 0: none
	MostBytes int64
	Progress  func(stage string, fraction float64)
	// Judged is handed each file's bytes and judgement, in order, before the bytes
	// are dropped. An error ends the run.
	Judged func(data []byte, f Verified) error
}

// Source is one file.
type Source struct {
	Name string
	Open func() (io.ReadCloser, error)
}

// mostBytes is the largest file that is judged whole.
const mostBytes = 256 << 20

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
	Difference *Place            `json:"difference"` // null: no place reflects more than it may
	Largest    *Place            `json:"largest_reflection"`
	Turned     bool              `json:"looks_turned"` // it fits the chain when its ports are exchanged
	Along      *Along            `json:"along"`
	NotAlong   string            `json:"no_time_domain_because"`
	Errors     []wire.Error      `json:"errors"`

	verdict assess.Verdict
	report  *verify.Report
	f       []float64
	network *network.Network
}

// Network is the sample between the chain's planes, until the run drops it.
func (f Verified) Network() *network.Network { return f.network }

// Judge judges one file whose bytes are data.
func Judge(ctx context.Context, p *verify.Plan, name string, data []byte, o Options) (Verified, error) {
	sum := sha256.Sum256(data)
	out := Verified{File: name, Serial: SerialOf(name), SHA256: hex.EncodeToString(sum[:]), Bytes: len(data), Verdict: assess.NotAssessed.String(), verdict: assess.NotAssessed,
		Findings: []inspect.Finding{}, Margins: []LimitMargin{}, Agreement: []Agreement{}, Errors: []wire.Error{}}
	fail := func(err error) (Verified, error) {
		if ctx.Err() != nil {
			return out, ctx.Err()
		}
		out.Errors = wire.NewErrors(err).Errors
		out.Why = out.Errors[0].Problem
		return out, nil
	}
	file, err := touchstone.Read(bytes.NewReader(data), name, 0)
	if err != nil {
		return fail(workspace.ReadFaults(name, err))
	}
	n, err := file.Network()
	if err != nil {
		return fail(workspace.Fault{File: name, Err: err, Problem: "its data give no scattering parameters: " + err.Error(), Help: "export S-parameters"})
	}
	d, quick := initial(n)
	out.QualityBy = "initial metrics"
	if !o.Quick || !quick {
		out.QualityBy = "all findings"
		if d, err = inspect.Judge(ctx, bytes.NewReader(data), name, 0, 0); err != nil {
			return fail(err)
		}
	}
	out.Quality, out.Inspection = d.Verdict, &d
	for _, f := range d.Findings {
		if f.Verdict != inspect.Good {
			out.Findings = append(out.Findings, f)
		}
	}
	if out.Planes, err = planes(p, file, o); err != nil {
		var e *verify.PlaneError
		if errors.As(err, &e) {
			err = workspace.Fault{File: name, Found: e.Found, Err: err, Problem: e.Problem, Help: e.Help}
		}
		return fail(err)
	}
	if n.Ports == 2 {
		if n, err = between(n, out.Planes.Turned, o); err != nil {
			return fail(workspace.Fault{File: name, Err: err, Problem: "the fixtures cannot be taken off: " + err.Error(), Help: "give fixtures that cover the file's frequencies and pass a signal"})
		}
	}
	r, err := p.Judge(ctx, n)
	if err != nil {
		return fail(workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: "measure the chain from end to end as a two-port, over the enquiry's bands"})
	}
	out.fill(r)
	out.report, out.f, out.network = &r, n.Frequency, &n
	if why := bad(d); why != "" && out.verdict != assess.Fails {
		out.verdict, out.Verdict = assess.NotAssessed, assess.NotAssessed.String()
		out.Why = "its data are not to be trusted: " + why
	}
	return out, nil
}

// initial judges a network by the initial metrics of IEEE 370; false: one of
// them is not even usable, or cannot be told, and a full look is needed.
func initial(n network.Network) (inspect.File, bool) {
	d := inspect.File{Verdict: inspect.Good, Ports: n.Ports, Points: len(n.Frequency), FromHz: num(n.Frequency[0]), ToHz: num(n.Frequency[len(n.Frequency)-1])}
	q, err := n.InitialQuality()
	if err != nil {
		return d, false
	}
	if points, delay := sweep.PointsPerRipple(n); delay > 0 && points < 8 { // the worst values may stand between the points
		return d, false
	}
	for _, m := range []struct {
		name                string
		value, good, usable float64
	}{{"passivity", q.Passivity, network.GoodPassivity, network.AcceptablePassivity}, {"reciprocity", q.Reciprocity, network.GoodReciprocity, network.AcceptableReciprocity}, {"causality", q.Causality, network.GoodCausality, network.AcceptableCausality}} {
		switch {
		case m.value >= m.good:
		case m.value >= m.usable:
			d.Verdict = inspect.Care
			d.Findings = append(d.Findings, inspect.Finding{Finding: m.name, Verdict: inspect.Care, Grade: num(m.value), Ports: []int{}, Means: fmt.Sprintf("the initial metric is %.2f %%: usable, not good", m.value), Do: "inspect the file to see where"})
		default:
			return d, false
		}
	}
	return d, true
}

// bad names the findings that forbid a verdict. The turning sense of a
// reflection does not: near the noise it is chance, and limits are of
// magnitudes.
func bad(d inspect.File) string {
	var s []string
	for _, f := range d.Findings {
		if f.Verdict == inspect.Bad && !(f.Finding == "causality" && len(f.Ports) == 2 && f.Ports[0] == f.Ports[1]) {
			s = append(s, f.Finding)
		}
	}
	return strings.Join(s, ", ")
}

// planes finds out where the file was measured, and compares.
func planes(p *verify.Plan, file *touchstone.File, o Options) (*Planes, error) {
	c := p.Chain.Chain
	out := &Planes{From: "file"}
	if h, _ := touchstone.ParseHeader(file.Name, file.Comments); h != nil {
		for i, port := range h.Ports {
			switch i {
			case 0:
				out.Port1 = port.Plane
			case 1:
				out.Port2 = port.Plane
			}
		}
	}
	if o.LeftPlane != "" {
		out.Port1, out.From = o.LeftPlane, "caller"
	}
	if o.RightPlane != "" {
		out.Port2, out.From = o.RightPlane, "caller"
	}
	if o.ChainPlanes {
		if c.LeftPlane == "" || c.RightPlane == "" {
			_, err := verify.CheckPlanes(c, verify.Planes{})
			return out, err
		}
		// A file that says otherwise is believed over whoever vouches.
		if out.Port1 == "" && out.Port2 == "" {
			return &Planes{c.LeftPlane, c.RightPlane, "vouched", false}, nil
		}
	}
	var err error
	out.Turned, err = verify.CheckPlanes(c, verify.Planes{One: out.Port1, Two: out.Port2})
	return out, err
}

// between turns a two-port round where its ports stand so, and takes the
// fixtures off.
func between(n network.Network, turned bool, o Options) (network.Network, error) {
	var err error
	if turned {
		if n, err = n.Reorder(1, 0); err != nil {
			return n, err
		}
	}
	if o.LeftFixture == nil && o.RightFixture == nil {
		return n, nil
	}
	through := network.Line(n.Frequency, 50, func(float64) (complex128, complex128) { return 0, 50 })
	ends := [2]network.Network{through, through}
	for i, x := range []*network.Network{o.LeftFixture, o.RightFixture} {
		if x == nil {
			continue
		}
		if ends[i], err = x.Interpolate(n.Frequency, network.Interpolation{ToZero: true}); err != nil {
			return n, err
		}
	}
	return network.Deembed(n, ends[0], ends[1])
}

// ReadFixture reads a fixture's two-port from a Touchstone file.
func ReadFixture(r io.Reader, name string) (*network.Network, error) {
	f, err := touchstone.Read(r, name, 0)
	if err != nil {
		return nil, workspace.ReadFaults(name, err)
	}
	n, err := f.Network()
	switch {
	case err != nil:
		return nil, workspace.Fault{File: name, Err: err, Problem: err.Error(), Help: "export S-parameters"}
	case n.Ports != 2:
		return nil, workspace.Fault{File: name, Err: verify.ErrTwoPort, Problem: fmt.Sprintf("a fixture with %d ports", n.Ports), Help: "give a two-port, port 2 towards the sample on the left, port 1 on the right"}
	}
	return &n, nil
}

var digits = regexp.MustCompile(`[0-9]+`)

// SerialOf is the serial number in a file's name: the last whole number before
// its ending, or the whole name where it holds none.
func SerialOf(name string) string {
	stem := path.Base(filepath.ToSlash(name))
	stem = strings.TrimSuffix(stem, path.Ext(stem))
	if all := digits.FindAllString(stem, -1); len(all) > 0 {
		return all[len(all)-1]
	}
	return stem
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

// leastLot is the number of files from which a lot is summed up.
const leastLot = 8

// Collector gathers judged files, in order.
type Collector struct {
	plan       *verify.Plan
	o          Options
	set        *verify.Set
	quantities []lot.Quantity
	units      []lot.Unit
	doc        Document
	worst      assess.Verdict
}

// NewCollector starts a collection.
func NewCollector(p *verify.Plan, o Options) *Collector {
	d := p.Decision
	c := &Collector{plan: p, o: o, set: p.NewSet()}
	c.doc = Document{Chain: p.Chain.Name, Enquiry: p.Enquiry.ID, Decision: Decision{string(d.Rule), d.Default, d.Guard, d.Coverage, d.Says, d.Source},
		Counts: map[string]int{}, Files: []Verified{}, Questions: []wire.Question{}, Notes: []string{}}
	if t := p.Temperature(); t != nil {
		c.doc.TemperatureC = num(t.Celsius())
	}
	for _, q := range p.Questions {
		c.doc.Questions = append(c.doc.Questions, wire.Question(q))
	}
	c.doc.Notes = append(c.doc.Notes, p.Notes...)
	if p.NoBand != "" {
		c.doc.Notes = append(c.doc.Notes, "no tolerance band of the prediction: "+p.NoBand)
	}
	return c
}

// Add takes the next file.
func (c *Collector) Add(f Verified) {
	if r := f.report; r != nil {
		c.set.Add(f.File, f.f, *r)
		c.unit(f, *r)
	}
	word := f.Verdict
	if len(f.Errors) > 0 {
		word = "unreadable"
	}
	c.doc.Counts[word]++
	c.worst = max(c.worst, f.verdict)
	if len(c.doc.Files) >= c.o.Detail && f.Along != nil {
		a := *f.Along
		a.Near, a.Far = nil, nil
		f.Along = &a
	}
	f.report, f.f, f.network, f.Inspection = nil, nil, nil, nil
	c.doc.Files = append(c.doc.Files, f)
}

// unit turns a report into the lot's figures: the least margin in each piece of
// each limit, and the delay.
func (c *Collector) unit(f Verified, r verify.Report) {
	u := lot.Unit{Name: f.File, Serial: math.NaN()}
	if x, err := strconv.ParseFloat(f.Serial, 64); err == nil {
		u.Serial = x
	}
	var qs []lot.Quantity
	for _, j := range r.Margins {
		for _, s := range j.Segments {
			name := j.Limit
			if len(j.Segments) > 1 {
				name += fmt.Sprintf(", %v to %v", s.From, s.To)
			}
			qs = append(qs, lot.Quantity{Name: name, Unit: j.Unit, Margin: true})
			u.Values = append(u.Values, s.Margin)
		}
	}
	qs = append(qs, lot.Quantity{Name: "delay", Unit: "ps"})
	u.Values = append(u.Values, r.Length.At*1e12)
	if c.quantities == nil {
		c.quantities = qs
	}
	if len(qs) == len(c.quantities) { // the limits are the plan's: always, but for files that cover none of a band
		c.units = append(c.units, u)
	}
}

// Document sums up what was added.
func (c *Collector) Document() (Document, error) {
	d := c.doc
	if len(d.Files) > 1 {
		s := newSet(c.set.Report())
		d.Set = &s
		if s.Match != nil {
			v := map[string]assess.Verdict{"meets": assess.Meets, "at risk": assess.AtRisk, "fails": assess.Fails, "not assessed": assess.NotAssessed}[s.Match.Verdict]
			c.worst = max(c.worst, v)
		}
	}
	if len(c.units) >= leastLot {
		r, err := lot.Analyse(c.quantities, c.units, c.o.Lot)
		if err != nil {
			return d, err
		}
		d.Lot = newLot(r)
	}
	d.Verdict = c.worst.String()
	return d, nil
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
	out := &Lot{r.Units, r.Serials, r.Options.Confidence, r.Options.Level, r.Options.Wanted, []Quantity{}}
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

// Run judges the sources and sums them up. Workers read ahead by a few files
// only; the files come into the document in their order.
func Run(ctx context.Context, p *verify.Plan, sources []Source, o Options) (Document, error) {
	workers := o.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	type judged struct {
		f    Verified
		data []byte
		err  error
	}
	// A slot for each file under way: the i-th result goes to slot i mod n.
	window := 2 * workers
	slots := make([]chan judged, window)
	for i := range slots {
		slots[i] = make(chan judged, 1)
	}
	next := make(chan int)
	free := make(chan struct{}, window)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer stop()
	wg.Go(func() {
		defer close(next)
		for i := range sources {
			select {
			case free <- struct{}{}:
			case <-ctx.Done():
				return
			}
			select {
			case next <- i:
			case <-ctx.Done():
				return
			}
		}
	})
	for range workers {
		wg.Go(func() {
			for i := range next {
				data, err := read(sources[i], o)
				var f Verified
				if err == nil {
					f, err = Judge(ctx, p, sources[i].Name, data, o)
				} else if ctx.Err() == nil {
					f = Verified{File: sources[i].Name, Serial: SerialOf(sources[i].Name), Verdict: assess.NotAssessed.String(), verdict: assess.NotAssessed, Findings: []inspect.Finding{}, Margins: []LimitMargin{}, Agreement: []Agreement{},
						Errors: wire.NewErrors(err).Errors}
					f.Why, err = f.Errors[0].Problem, nil
				}
				slots[i%window] <- judged{f, data, err}
			}
		})
	}
	c := NewCollector(p, o)
	last := time.Time{}
	for i := range sources {
		var j judged
		select {
		case j = <-slots[i%window]:
			<-free
		case <-ctx.Done():
			return Document{}, ctx.Err()
		}
		if j.err != nil {
			return Document{}, j.err
		}
		if o.Judged != nil {
			if err := o.Judged(j.data, j.f); err != nil {
				return Document{}, err
			}
		}
		c.Add(j.f)
		if now := time.Now(); o.Progress != nil && now.Sub(last) > 50*time.Millisecond {
			last = now
			o.Progress("judging files", float64(i+1)/float64(len(sources)))
		}
	}
	return c.Document()
}

func read(s Source, o Options) ([]byte, error) {
	r, err := s.Open()
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, workspace.Fault{File: s.Name, Err: fs.ErrNotExist, Problem: "no such file", Help: "check the path"}
		}
		return nil, workspace.Fault{File: s.Name, Err: err, Problem: "it cannot be opened: " + err.Error(), Help: "check the permissions"}
	}
	defer r.Close()
	most := o.MostBytes
	if most == 0 {
		most = mostBytes
	}
	data, err := io.ReadAll(io.LimitReader(r, most+1))
	switch {
	case err != nil:
		return nil, workspace.Fault{File: s.Name, Err: err, Problem: "it cannot be read: " + err.Error(), Help: "check the disk and the permissions"}
	case int64(len(data)) > most:
		return nil, workspace.Fault{File: s.Name, Err: fs.ErrInvalid, Problem: fmt.Sprintf("it is larger than %d MB", most>>20), Help: "inspect it by itself, or measure fewer points"}
	}
	return data, nil
}
