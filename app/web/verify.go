package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"linewright/app/measured"
	"linewright/app/view"
	"linewright/app/wire"
	"linewright/hardware/chain"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/tolerance"
	"linewright/job/verify"
	"linewright/physics/network"
	"linewright/physics/units"
)

// terms say what measured files are held against, and how they were measured: the
// plain fields of the form. A value carries its unit.
type terms struct {
	enquiry, chain string
	rank           int
	o              verify.Options
	m              measured.Options
}

// termField is one field of the form.
type termField struct {
	name, says string
	set        func(a *terms, text string) error
}

func level(at func(a *terms) *units.Level) func(*terms, string) error {
	return func(a *terms, text string) (err error) {
		*at(a), err = units.Parse[units.Level](text)
		return err
	}
}

// residual reads a residual error in dB as a magnitude.
func residual(at func(a *terms) *float64) func(*terms, string) error {
	return func(a *terms, text string) error {
		x, err := units.Parse[units.Level](text)
		*at(a) = math.Pow(10, -math.Abs(float64(x))/20)
		return err
	}
}

// trackingError reads a tracking error in dB as a ratio.
func trackingError(at func(a *terms) *float64) func(*terms, string) error {
	return func(a *terms, text string) error {
		x, err := units.Parse[units.Level](text)
		*at(a) = math.Pow(10, math.Abs(float64(x))/20) - 1
		return err
	}
}

func plainNumber(at func(a *terms) *float64) func(*terms, string) error {
	return func(a *terms, text string) (err error) {
		*at(a), err = strconv.ParseFloat(text, 64)
		return err
	}
}

func word(at func(a *terms) *string) func(*terms, string) error {
	return func(a *terms, text string) error { *at(a) = text; return nil }
}

// termFields lists the form's fields.
func termFields() []termField {
	return []termField{
		{"enquiry", "id of an enquiry: the limits", word(func(a *terms) *string { return &a.enquiry })},
		{"rank", "a proposal of its answer: the chain", func(a *terms, text string) (err error) {
			if a.rank, err = strconv.Atoi(text); err == nil && a.rank < 1 {
				err = fmt.Errorf("a rank counts from 1")
			}
			return err
		}},
		{"chain", "id of a chain of the workspace, in place of rank", word(func(a *terms) *string { return &a.chain })},
		{"rule", "decision rule: simple, guarded or three-way; by default three-way where an uncertainty is stated", func(a *terms, text string) error {
			if !slices.Contains(verify.Rule("").Options(), text) {
				return fmt.Errorf("write simple, guarded or three-way")
			}
			a.o.Rule = verify.Rule(text)
			return nil
		}},
		{"guard", "width of the guard band in expanded uncertainties; by default 1", plainNumber(func(a *terms) *float64 { return &a.o.Guard })},
		{"uncertainty", "expanded, of the transmission: 0.1 dB", level(func(a *terms) *units.Level { return &a.o.Uncertainty.Transmission })},
		{"uncertainty_reflection", "expanded, of a reflection's magnitude: 0.01", plainNumber(func(a *terms) *float64 { return &a.o.Uncertainty.Reflection })},
		{"coverage", "k of the expanded uncertainties; by default 2", plainNumber(func(a *terms) *float64 { return &a.o.Uncertainty.Coverage })},
		{"directivity", "residual after calibration: 42 dB", residual(func(a *terms) *float64 { return &a.o.Uncertainty.Residuals.Directivity })},
		{"source_match", "residual: 38 dB", residual(func(a *terms) *float64 { return &a.o.Uncertainty.Residuals.SourceMatch })},
		{"load_match", "residual: 38 dB; by default as the directivity", residual(func(a *terms) *float64 { return &a.o.Uncertainty.Residuals.LoadMatch })},
		{"reflection_tracking", "residual: 0.05 dB", trackingError(func(a *terms) *float64 { return &a.o.Uncertainty.Residuals.Tracking })},
		{"transmission_tracking", "residual: 0.05 dB", trackingError(func(a *terms) *float64 { return &a.o.Uncertainty.Residuals.Transmission })},
		{"repeatability", "what a connection made again changes: 60 dB", residual(func(a *terms) *float64 { return &a.o.Uncertainty.Residuals.Connection })},
		{"isolation", "leakage and noise past the sample: 100 dB", residual(func(a *terms) *float64 { return &a.o.Uncertainty.Residuals.Isolation })},
		{"temperature", "of the samples when measured: 23 °C; by default as the first file says", func(a *terms, text string) error {
			t, err := units.Parse[units.Temperature](text)
			a.o.Temperature = &t
			return err
		}},
		{"stored_delay", "that an absolute match is held against: 4821.3 ps", func(a *terms, text string) (err error) {
			a.o.Stored, err = units.Parse[units.Time](text)
			return err
		}},
		{"left_plane", "of port 1, in the chain's words; by default as the file says", word(func(a *terms) *string { return &a.m.LeftPlane })},
		{"right_plane", "of port 2, likewise", word(func(a *terms) *string { return &a.m.RightPlane })},
		{"chain_planes", "true: files that name no planes were measured between the chain's own", func(a *terms, text string) (err error) {
			a.m.ChainPlanes, err = strconv.ParseBool(text)
			return err
		}},
		{"cpk", "that the lot's lower bound is to reach: 1.33", plainNumber(func(a *terms) *float64 { return &a.m.Lot.Wanted })},
	}
}

func newTerms() *terms { return &terms{} }

// set reads one field.
func (a *terms) set(name, text string) error {
	for _, f := range termFields() {
		if f.name != name {
			continue
		}
		if text == "" {
			return nil
		}
		if err := f.set(a, text); err != nil {
			return problem(http.StatusUnprocessableEntity, fmt.Sprintf("%s %q: %v", name, text, err), "send %s", f.says)
		}
		return nil
	}
	return problem(http.StatusUnprocessableEntity, fmt.Sprintf("no field is called %q", name), "see the fields in %s/openapi.json", Prefix)
}

// against is what files are held against.
type against struct {
	limits    []view.Limit
	covers    func(from, to float64) string
	o         measured.Options
	start     func(stated *units.Temperature) (*verify.Plan, error) // makes the plan; nil: no chain
	plan      *verify.Plan
	collector *measured.Collector
}

// predictedBand is where 95 % of the built copies of a prediction lie, at every
// frequency at once, in dB: losses and return losses.
type predictedBand struct {
	FrequencyHz  []float64  `json:"frequency_hz"`
	LossLeast    []*float64 `json:"loss_least_db"`
	LossMiddle   []*float64 `json:"loss_middle_db"`
	LossMost     []*float64 `json:"loss_most_db"`
	ReturnNearDB []*float64 `json:"return_loss_near_least_db"`
	ReturnFarDB  []*float64 `json:"return_loss_far_least_db"`
	Share        float64    `json:"share"`
	Copies       int        `json:"copies"`
	TemperatureC *float64   `json:"temperature_c"`
}

func newBand(b *tolerance.Band, t *units.Temperature) *predictedBand {
	if b == nil {
		return nil
	}
	db := func(x []float64) []*float64 {
		out := make([]*float64, len(x))
		for i, v := range x {
			if y := network.ReturnLoss(v); !math.IsInf(y, 0) && !math.IsNaN(y) {
				out[i] = &y
			}
		}
		return out
	}
	out := &predictedBand{b.Frequency, db(b.Transmission.Highest), db(b.Transmission.Middle), db(b.Transmission.Lowest), db(b.Near.Highest), db(b.Far.Highest), b.Share, b.Copies, nil}
	if t != nil {
		c := t.Celsius()
		out.TemperatureC = &c
	}
	return out
}

// against prepares what the files are held against.
func (s *Server) against(ctx context.Context, a *terms, doc *measuredDoc) (against, error) {
	var built chain.Built
	var report assess.Report
	var e enquiry.Enquiry
	var on shelf
	switch {
	case a.chain != "" && a.rank > 0:
		return against{}, problem(http.StatusUnprocessableEntity, "both chain and rank are given", "send one of them")
	case a.chain != "":
		spec, asked, shelf, err := s.subject(a.chain, nil, a.enquiry, nil)
		if err != nil {
			return against{}, err
		}
		e, on = asked, shelf
		if built, err = chain.Build(spec, on.cat); err != nil {
			return against{}, err
		}
		if report, err = assess.Assess(ctx, e, assess.Subject{Built: built, Catalogue: on.cat, Layouts: on.layouts}, assess.Options{}); err != nil {
			return against{}, err
		}
	case a.enquiry == "":
		return against{}, nil
	case a.rank == 0:
		e, _, _, err := s.asked(a.enquiry, nil)
		if err != nil {
			return against{}, err
		}
		return against{limits: view.LimitsOver(e, assess.Grid(e, 2)), covers: view.Covers(e)}, nil
	default:
		p, asked, shelf, err := s.ranked(ctx, &rankInput{ID: a.enquiry, Rank: a.rank})
		if err != nil {
			return against{}, err
		}
		built, report, e, on = p.Built, p.Report, asked, shelf
	}
	// A proposal's planes are the outer ends of its pieces.
	if built.LeftPlane == "" {
		built.LeftPlane = "left end of the chain"
	}
	if built.RightPlane == "" {
		built.RightPlane = "right end of the chain"
	}
	c, w, d := view.NewCurves(e, built, report), wire.NewPrediction(built, report), view.NewDrawing(built, on.cat)
	doc.Curves, doc.Prediction, doc.Drawing = &c, &w, &d
	held := against{limits: c.Limits, covers: view.Covers(e), o: a.m}
	held.o.Detail = maxFiles
	held.start = func(stated *units.Temperature) (*verify.Plan, error) {
		if a.o.Temperature == nil { // as the first file says
			a.o.Temperature = stated
		}
		plan, err := verify.New(ctx, e, built, a.o)
		if err != nil {
			return nil, problem(http.StatusUnprocessableEntity, err.Error(), "see the fields in %s/openapi.json", Prefix)
		}
		doc.Band = newBand(plan.Band, plan.Temperature())
		return plan, nil
	}
	return held, nil
}

// termSchema describes the form's fields.
func termSchema() map[string]*huma.Schema {
	out := map[string]*huma.Schema{}
	for _, f := range termFields() {
		out[f.name] = &huma.Schema{Type: huma.TypeString, Description: f.says}
	}
	out["file"] = &huma.Schema{Type: huma.TypeArray, Items: &huma.Schema{Type: huma.TypeString, Format: "binary"},
		Description: fmt.Sprintf("up to %d files of up to %d MB, together up to %d MB; the other fields stand before them. Pictures of the first %d are sent, the verdicts of all.", mostSamples, maxUpload>>20, maxFiles*maxUpload>>20, maxFiles)}
	return out
}
