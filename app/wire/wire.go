// Package wire is the stable form of results for machines: the JSON of the
// command line and of the workbench. Field names carry their unit; numbers are
// full precision; fields may be added, never renamed or dropped without a line
// in CHANGELOG.md. What is unknown is null.
package wire

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"linewright/app/workspace"
	"linewright/hardware/chain"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose"
	"linewright/job/propose/search"
	"linewright/physics/network"
	"linewright/physics/units"
)

// num returns a number, or null for NaN and the infinities.
func num(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// Margin is a distance to one limit.
type Margin struct {
	Limit      string            `json:"limit"`
	Verdict    string            `json:"verdict"`
	Worst      *float64          `json:"worst"`
	Likely     *float64          `json:"likely"`
	LimitValue *float64          `json:"limit_value"`
	Margin     *float64          `json:"margin"`
	Unit       string            `json:"unit"`
	AtHz       *float64          `json:"at_hz"`
	Element    string            `json:"element"`
	Conditions map[string]string `json:"conditions"`
	Source     string            `json:"source"`
	Why        string            `json:"why"`
	Wish       bool              `json:"wish"`
}

// NewMargin shapes a margin.
func NewMargin(m assess.Margin) Margin {
	out := Margin{Limit: m.Limit, Verdict: m.Verdict.String(), Worst: num(m.Worst), Likely: num(m.Likely), LimitValue: num(m.LimitValue), Margin: num(m.Margin), Unit: m.Unit,
		Element: m.Element, Conditions: map[string]string{}, Source: m.Source, Why: m.Why, Wish: m.Wish}
	if m.At > 0 {
		out.AtHz = num(float64(m.At))
	}
	for _, c := range m.Conditions {
		out.Conditions[c.Name] = c.Value
	}
	return out
}

// Price is an amount with its currency.
type Price struct {
	Amount   float64 `json:"amount"`
	Currency string  `json:"currency"`
}

func price(m *units.Money) *Price {
	if m == nil {
		return nil
	}
	return &Price{m.Float(), m.Currency}
}

// Element is one line of a chain's ledger at the top of the band.
type Element struct {
	Name              string   `json:"name"`
	Kind              string   `json:"kind"`
	Part              string   `json:"part"`
	Description       string   `json:"description"`
	InsertionLossDB   *float64 `json:"insertion_loss_db"`
	ReturnLossWorstDB *float64 `json:"return_loss_worst_db"`
	DelayS            *float64 `json:"delay_s"`
	LengthM           *float64 `json:"length_m"`
	ModeFreeLimitHz   *float64 `json:"mode_free_limit_hz"`
	RatedHz           *float64 `json:"rated_hz"`
	TemperatureC      *float64 `json:"temperature_c"`
	MassKg            *float64 `json:"mass_kg"`
	Price             *Price   `json:"price"`
	Model             string   `json:"model"`
	Source            string   `json:"source"`
	Notes             []string `json:"notes"`
}

// ReturnLoss holds a chain's four return losses side by side, in dB.
type ReturnLoss struct {
	Nominal *float64 `json:"nominal"`
	Likely  *float64 `json:"likely"`
	Worst   *float64 `json:"worst"`
	RSS     *float64 `json:"rss"`
	Exact   *float64 `json:"lossless_parts_exact"`
	How     string   `json:"likely_is"`
	AtHz    *float64 `json:"at_hz"`
	// The worst over the whole band, which for flat bounds lies at its low end.
	WorstOfBand   *float64 `json:"worst_of_band"`
	WorstOfBandHz *float64 `json:"worst_of_band_at_hz"`
}

// First is the element where a chain breaks first on one axis.
type First struct {
	Element string   `json:"element"`
	Says    string   `json:"says"`
	Value   *float64 `json:"value"`
}

// State is a chain's loss and delay at one temperature and frequency.
type State struct {
	TemperatureC    float64  `json:"temperature_c"`
	FrequencyHz     float64  `json:"frequency_hz"`
	InsertionLossDB float64  `json:"insertion_loss_db"`
	AssemblyLossDB  *float64 `json:"assembly_loss_db"`
}

// Prediction is one chain's prediction and judgement.
type Prediction struct {
	Chain           string           `json:"chain"`
	LeftPlane       string           `json:"left_plane"`
	RightPlane      string           `json:"right_plane"`
	AtHz            *float64         `json:"at_hz"`
	TemperatureC    *float64         `json:"temperature_c"`
	Elements        []Element        `json:"elements"`
	InsertionLossDB *float64         `json:"insertion_loss_db"`
	MismatchAddsDB  *float64         `json:"mismatch_adds_at_most_db"`
	ReturnLossDB    ReturnLoss       `json:"return_loss_db"`
	ReturnLossFarDB ReturnLoss       `json:"return_loss_far_end_db"`
	RipplePPDB      *float64         `json:"ripple_pp_db"`
	RipplePeriodHz  *float64         `json:"ripple_period_hz"`
	DelayS          *float64         `json:"delay_s"`
	DelayUnknown    []string         `json:"delay_unknown"`
	ModeFreeLimitHz *float64         `json:"mode_free_limit_hz"`
	MassKg          *float64         `json:"mass_kg"`
	Price           *Price           `json:"price"`
	States          []State          `json:"states"`
	BreaksFirst     map[string]First `json:"breaks_first"`
	Verdict         string           `json:"verdict"`
	Binding         string           `json:"binding_limit"`
	Margins         []Margin         `json:"margins"`
	Questions       []Question       `json:"questions"`
	Gaps            []Gap            `json:"gaps"`
	Ways            []Way            `json:"ways"`
	Cautions        []string         `json:"cautions"`
	Notes           []string         `json:"notes"`
	Phase           any              `json:"phase"`
	Power           any              `json:"power"`
	Joint           any              `json:"joint"`
	Density         any              `json:"density"`
	Life            any              `json:"life"`
	Noise           any              `json:"noise"`
	Launch          any              `json:"launch"`
	Touchstone      string           `json:"touchstone"`
	TouchstoneHolds string           `json:"touchstone_holds,omitempty"`
	UnknownCount    int              `json:"figures_not_stated"`
}

// Question is something left open.
type Question struct {
	Field   string `json:"field"`
	Text    string `json:"question"`
	Changes string `json:"changes"`
}

// Gap is an unmet demand.
type Gap struct {
	Axis  string `json:"axis"`
	Asked string `json:"asked"`
	Best  string `json:"best"`
	Cause string `json:"cause"`
	Needs string `json:"needs"`
}

// Way is a way out.
type Way struct {
	Title  string `json:"title"`
	Effect string `json:"effect"`
}

// NewPrediction shapes a judged chain.
func NewPrediction(b chain.Built, r assess.Report) Prediction {
	p := r.Prediction
	out := Prediction{Chain: b.Name, LeftPlane: b.LeftPlane, RightPlane: b.RightPlane, Verdict: r.Verdict().String(), BreaksFirst: map[string]First{},
		Margins: []Margin{}, Questions: []Question{}, Gaps: []Gap{}, Ways: []Way{}, Cautions: []string{}, Notes: r.Notes, Elements: []Element{}, DelayUnknown: []string{}, States: []State{}}
	if out.Notes == nil {
		out.Notes = []string{}
	}
	if n := len(p.Frequency); n > 0 {
		top := n - 1
		out.AtHz, out.TemperatureC = num(p.Frequency[top]), num(p.Conditions.Temperature.Celsius())
		out.InsertionLossDB, out.MismatchAddsDB = num(p.Loss[top]), num(p.Mismatch[top])
		out.ReturnLossDB, out.ReturnLossFarDB = returnLoss(p, p.Left), returnLoss(p, p.Right)
		if p.Ripple.From >= 0 {
			out.RipplePPDB, out.RipplePeriodHz = num(p.Ripple.PeakToPeak), num(p.Ripple.Period)
		}
		for _, row := range p.Rows {
			out.Elements = append(out.Elements, element(row, top, p))
		}
		if len(p.NoDelay) < len(p.Rows) {
			out.DelayS = num(p.Delay)
		}
		for _, k := range p.NoDelay {
			out.DelayUnknown = append(out.DelayUnknown, p.Rows[k].Name)
		}
		if p.ModeFree.Element >= 0 {
			out.ModeFreeLimitHz = num(float64(p.ModeFree.CrossSection.ModeFree))
		}
		for _, f := range p.Firsts {
			out.BreaksFirst[f.Axis] = First{p.Rows[f.Element].Name, f.Value, num(f.Number)}
		}
		for _, s := range r.States {
			out.States = append(out.States, state(b, s, top))
		}
		if r.AtRating != nil {
			out.States = append(out.States, state(b, *r.AtRating, 0))
		}
	}
	if mass, unknown := b.Mass(); len(unknown) == 0 {
		out.MassKg = num(float64(mass))
	}
	if sum, unknown, err := b.Price(); err == nil && len(unknown) == 0 {
		out.Price = price(&sum)
	}
	if m, ok := r.Binding(); ok {
		out.Binding = m.Limit
	}
	for _, m := range r.Margins {
		out.Margins = append(out.Margins, NewMargin(m))
	}
	for _, q := range r.Questions {
		out.Questions = append(out.Questions, Question(q))
	}
	for _, g := range r.Gaps {
		out.Gaps = append(out.Gaps, newGap(g))
	}
	for _, w := range r.Ways {
		out.Ways = append(out.Ways, Way{w.Title, w.Effect})
	}
	for _, c := range r.Cautions {
		out.Cautions = append(out.Cautions, string(c))
	}
	out.Phase, out.Power, out.Joint = plain(r.Phase), plain(r.Power), plain(r.Joint)
	out.Density, out.Life, out.Noise, out.Launch = plain(r.Density), plain(r.Life), plain(r.Noise), plain(r.LaunchNotes)
	return out
}

func newGap(g assess.Gap) Gap { return Gap{g.Axis, g.Asked, g.Best, string(g.Cause), g.Needs} }

func state(b chain.Built, p chain.Prediction, i int) State {
	s := State{TemperatureC: p.Conditions.Temperature.Celsius(), FrequencyHz: p.Frequency[i], InsertionLossDB: p.Loss[i]}
	sum, any := 0.0, false
	for k, row := range p.Rows {
		if role := b.Roles[k]; role == chain.RoleConnector || role == chain.RoleCable {
			sum, any = sum+row.Response.Loss[i], true
		}
	}
	if any {
		s.AssemblyLossDB = num(sum)
	}
	return s
}

func returnLoss(p chain.Prediction, r chain.Returns) ReturnLoss {
	top := len(p.Frequency) - 1
	rl := func(rho float64) *float64 { return num(network.ReturnLoss(rho)) }
	out := ReturnLoss{Worst: rl(r.Worst[top]), RSS: rl(r.RSS[top]), Exact: rl(r.Exact[top]), AtHz: num(p.Frequency[top]),
		WorstOfBand: rl(r.Worst[r.AtWorst]), WorstOfBandHz: num(p.Frequency[r.AtWorst])}
	if r.Nominal != nil {
		out.Nominal = rl(r.Nominal[top])
	}
	if r.Swept != nil {
		out.Likely, out.How = rl(r.Swept.Value), r.Swept.String()
	}
	return out
}

func element(row chain.Row, i int, p chain.Prediction) Element {
	e := Element{Name: row.Name, Kind: row.Kind, Part: row.Part, Description: row.Description, InsertionLossDB: num(row.Response.Loss[i]), DelayS: num(row.Delay),
		TemperatureC: num(p.Conditions.Temperature.Celsius()), Price: price(row.Price), Model: row.Step.String(), Source: row.Response.Source, Notes: []string{}}
	if rho := math.Max(row.Left[i], row.Right[i]); row.Reflecting && rho > 0 {
		e.ReturnLossWorstDB = num(network.ReturnLoss(rho))
	}
	if !row.Lossy {
		e.InsertionLossDB = nil
	}
	if row.Length != nil {
		e.LengthM = num(float64(*row.Length))
	}
	if row.Mass != nil {
		e.MassKg = num(float64(*row.Mass))
	}
	if row.Rated != nil {
		e.RatedHz = num(float64(*row.Rated))
	}
	for _, s := range row.CrossSections {
		if e.ModeFreeLimitHz == nil || float64(s.ModeFree) < *e.ModeFreeLimitHz {
			e.ModeFreeLimitHz = num(float64(s.ModeFree))
		}
	}
	for _, n := range row.Notes {
		e.Notes = append(e.Notes, n.Text)
	}
	return e
}

// Proposal is a ranked chain with its whole prediction.
type Proposal struct {
	Rank  int      `json:"rank"`
	Parts []string `json:"parts"`
	Score *float64 `json:"score"`
	Prediction
}

// Miss is a chain that breaks limits.
type Miss struct {
	Proposal
	Broken []string `json:"breaks"`
}

// Refusal counts parts that a filter dropped.
type Refusal struct {
	Slot   string   `json:"slot"`
	Reason string   `json:"reason"`
	Parts  []string `json:"parts"`
}

// Contradiction is two statements that cannot both hold.
type Contradiction struct {
	Fields []string `json:"fields"`
	Text   string   `json:"text"`
	Help   string   `json:"help"`
}

// Answer is everything an enquiry gets.
type Answer struct {
	Enquiry        string          `json:"enquiry"`
	Title          string          `json:"title"`
	Customer       string          `json:"customer"`
	Outcome        string          `json:"outcome"`
	Why            string          `json:"why"`
	Questions      []Question      `json:"questions"`
	Contradictions []Contradiction `json:"contradictions"`
	Considered     string          `json:"considered"`
	Exact          bool            `json:"exact"`
	FrontSize      int             `json:"front_size"`
	Covered        bool            `json:"front_covered"`
	Cover          string          `json:"front_cover,omitempty"`
	ComparedAtHz   float64         `json:"compared_at_hz"`
	ComparedAtC    float64         `json:"compared_at_c"`
	Proposals      []Proposal      `json:"proposals"`
	NearestMisses  []Miss          `json:"nearest_misses"`
	Gaps           []Gap           `json:"gaps"`
	Cautions       []string        `json:"cautions"`
	Refused        []Refusal       `json:"refused"`
}

// NewAnswer shapes an answer.
func NewAnswer(a propose.Answer) Answer {
	out := Answer{Enquiry: a.Enquiry.ID, Title: a.Enquiry.Title, Customer: a.Enquiry.Customer, Outcome: string(a.Outcome), Why: a.Why, Considered: search.Count(a.Considered), Exact: a.Exact,
		FrontSize: a.FrontSize, Covered: a.Covered, Cover: a.Cover, ComparedAtHz: float64(a.At), ComparedAtC: a.Temperature.Celsius(),
		Questions: []Question{}, Contradictions: []Contradiction{}, Proposals: []Proposal{}, NearestMisses: []Miss{}, Gaps: []Gap{}, Cautions: []string{}, Refused: []Refusal{}}
	for _, q := range a.Questions {
		out.Questions = append(out.Questions, Question(q))
	}
	for _, c := range a.Contradictions {
		out.Contradictions = append(out.Contradictions, Contradiction(c))
	}
	for _, p := range a.Proposals {
		out.Proposals = append(out.Proposals, newProposal(p))
	}
	for _, m := range a.Misses {
		x := Miss{newProposal(m.Proposal), m.Broken}
		if x.Broken == nil {
			x.Broken = []string{}
		}
		out.NearestMisses = append(out.NearestMisses, x)
	}
	for _, g := range a.Gaps {
		out.Gaps = append(out.Gaps, newGap(g))
	}
	for _, c := range a.Cautions {
		out.Cautions = append(out.Cautions, string(c))
	}
	for _, r := range a.Refused {
		out.Refused = append(out.Refused, Refusal(r))
	}
	return out
}

func newProposal(p propose.Proposal) Proposal {
	out := Proposal{Rank: p.Rank, Score: num(p.Score), Parts: []string{}, Prediction: NewPrediction(p.Built, p.Report)}
	out.UnknownCount = p.Values.Unknown
	for _, row := range p.Report.Prediction.Rows {
		if row.Part != "" {
			out.Parts = append(out.Parts, row.Part)
		}
	}
	return out
}

// Errors is the document that stands for a result when the input is bad.
type Errors struct {
	Errors []Error `json:"errors"`
}

// Error is one fault.
type Error struct {
	File    string `json:"file"`
	Line    int    `json:"line"`
	Column  int    `json:"column"`
	Found   string `json:"found"`
	Problem string `json:"problem"`
	Help    string `json:"help"`
}

// NewErrors shapes an error: each fault of a file by itself, anything else as
// one problem.
func NewErrors(err error) Errors {
	out := Errors{Errors: []Error{}}
	var walk func(err error)
	walk = func(err error) {
		var f workspace.Fault
		var b *chain.BuildError
		var many interface{ Unwrap() []error }
		own, isFault := err.(workspace.Fault)
		switch {
		case isFault: // whatever list it may wrap
			out.Errors = append(out.Errors, Error{own.File, own.Line, own.Column, own.Found, own.Problem, own.Help})
		case errors.As(err, &b):
			out.Errors = append(out.Errors, Error{File: b.Chain, Found: fmt.Sprintf("piece %d", b.Piece+1), Problem: b.Problem, Help: b.Help})
		case errors.As(err, &many) && len(many.Unwrap()) > 0:
			for _, e := range many.Unwrap() {
				walk(e)
			}
		case errors.As(err, &f):
			out.Errors = append(out.Errors, Error{f.File, f.Line, f.Column, f.Found, f.Problem, f.Help})
		default:
			problem, help, _ := strings.Cut(err.Error(), "; ")
			out.Errors = append(out.Errors, Error{Problem: problem, Help: help})
		}
	}
	walk(err)
	return out
}

// Question and Contradiction mirror their originals field by field.
var (
	_ = Question(enquiry.Question{})
	_ = Contradiction(enquiry.Contradiction{})
)
