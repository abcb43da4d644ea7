package web

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"net/http"
	"path"

	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/job/enquiry"
	"linewright/job/propose"
)

type none struct{}

type workspaceDoc struct {
	Name      string       `json:"name"`
	Root      string       `json:"root"`
	Demo      bool         `json:"demo"`
	Version   string       `json:"version"`
	Parts     int          `json:"parts"`
	Enquiries int          `json:"enquiries"`
	Chains    int          `json:"chains"`
	Errors    []wire.Error `json:"errors" doc:"what is wrong with the catalogue, the stackups and the launches"`
}

func (s *Server) workspace(context.Context, *none) (workspaceDoc, error) {
	d := workspaceDoc{Name: path.Base(absolute(s.ws.Root)), Root: absolute(s.ws.Root), Demo: s.o.Demo, Version: s.o.Version, Errors: []wire.Error{}}
	on, err := s.store.whole()
	if err != nil {
		d.Errors = wire.NewErrors(err).Errors
	}
	d.Parts = on.cat.Len()
	names, err := s.ws.Enquiries()
	if err != nil {
		return d, err
	}
	d.Enquiries = len(names)
	names, err = s.ws.Chains()
	d.Chains = len(names)
	return d, err
}

// band is a range of frequencies.
type band struct {
	FromHz float64 `json:"from_hz"`
	ToHz   float64 `json:"to_hz"`
}

// limitRow is one limit of an enquiry, in words and as a number.
type limitRow struct {
	Name    string   `json:"name"`
	Text    string   `json:"text"`
	LevelDB *float64 `json:"level_db"`
	Wish    bool     `json:"wish"`
}

type nearest struct {
	Chain  string   `json:"chain"`
	Parts  []string `json:"parts"`
	Breaks []string `json:"breaks"`
}

type best struct {
	Chain   string   `json:"chain"`
	Parts   []string `json:"parts"`
	Verdict string   `json:"verdict"`
	Binding string   `json:"binding_limit"`
}

type enquiryRow struct {
	ID        string       `json:"id" doc:"empty: the file's name cannot be one"`
	File      string       `json:"file"`
	Title     string       `json:"title"`
	Customer  string       `json:"customer"`
	Bands     []band       `json:"bands"`
	Limits    []limitRow   `json:"limits"`
	State     string       `json:"state" enum:"answered,working,faulty"`
	Outcome   *string      `json:"outcome"`
	Why       string       `json:"why"`
	Proposals int          `json:"proposals"`
	Verdicts  []string     `json:"verdicts" doc:"of the proposals, by rank"`
	Questions int          `json:"questions"`
	Best      *best        `json:"best"`
	Nearest   *nearest     `json:"nearest"`
	Errors    []wire.Error `json:"errors"`
}

type enquiryList struct {
	Enquiries []enquiryRow `json:"enquiries"`
}

func (s *Server) enquiries(_ context.Context, _ *none) (enquiryList, error) {
	out := enquiryList{Enquiries: []enquiryRow{}}
	names, err := s.ws.Enquiries()
	if err != nil {
		return out, err
	}
	on, errS := s.store.whole()
	for _, name := range names {
		r := enquiryRow{File: name, Title: path.Base(name), State: "faulty", Bands: []band{}, Limits: []limitRow{}, Verdicts: []string{}, Errors: unnamed(name)}
		if checkID(idOf(name)) == nil {
			r = s.enquiryRow(name, on, errS)
		}
		out.Enquiries = append(out.Enquiries, r)
	}
	return out, nil
}

func (s *Server) enquiryRow(name string, on shelf, errS error) enquiryRow {
	r := enquiryRow{ID: idOf(name), File: name, Bands: []band{}, Limits: []limitRow{}, Verdicts: []string{}, Errors: []wire.Error{}, State: "faulty"}
	text, err := s.ws.Read(name)
	var e enquiry.Enquiry
	if err == nil {
		e, err = s.ws.EnquiryText(name, text)
		r.Title, r.Customer, r.Bands, r.Limits = e.Title, e.Customer, bandsOf(e), limitsOf(e)
	}
	if err == nil {
		err = errS
	}
	if err == nil {
		err = s.ws.Resolve(name, text, e, on.layouts)
	}
	if err != nil {
		r.Errors = wire.NewErrors(err).Errors
		return r
	}
	x := s.full(r.ID, text, e, on, false)
	if !x.ready() {
		r.State = "working"
		return r
	}
	if x.err != nil {
		r.Errors = wire.NewErrors(x.err).Errors
		return r
	}
	a := x.wire
	r.State, r.Outcome, r.Why, r.Proposals, r.Questions = "answered", &a.Outcome, a.Why, len(a.Proposals), len(a.Questions)
	for _, p := range a.Proposals {
		r.Verdicts = append(r.Verdicts, p.Verdict)
	}
	if len(a.Proposals) > 0 {
		p := a.Proposals[0]
		r.Best = &best{p.Chain, p.Parts, p.Verdict, p.Binding}
	}
	if len(a.NearestMisses) > 0 {
		m := a.NearestMisses[0]
		r.Nearest = &nearest{m.Chain, m.Parts, m.Broken}
	}
	return r
}

// sheet is an enquiry's file and what it says.
type sheet struct {
	ID             string               `json:"id"`
	File           string               `json:"file"`
	ETag           string               `json:"etag"`
	Text           string               `json:"text"`
	Title          string               `json:"title"`
	Customer       string               `json:"customer"`
	Bands          []band               `json:"bands"`
	Limits         []limitRow           `json:"limits"`
	Fields         []workspace.Field    `json:"fields"`
	Errors         []wire.Error         `json:"errors"`
	Questions      []wire.Question      `json:"questions"`
	Contradictions []wire.Contradiction `json:"contradictions"`
	Saved          bool                 `json:"saved" doc:"false: the text does not stand in the file"`
	Wrong          []wrongValue         `json:"wrong" doc:"of the edits of this request, those whose value cannot be read, each by itself"`
}

// wrongValue is an edit that cannot be.
type wrongValue struct {
	Path    string `json:"path"`
	Problem string `json:"problem"`
	Help    string `json:"help"`
}

// wrongValues tries each edit by itself, so that a form can say beside each
// value what is wrong with it.
func (s *Server) wrongValues(edits []edit) []wrongValue {
	out := []wrongValue{}
	for _, x := range edits {
		if x.Value == nil {
			continue
		}
		text, err := workspace.Edit("", []byte(blank), workspace.Change{Path: x.Path, Value: x.Value})
		if err == nil {
			_, err = s.ws.EnquiryText("", text)
		}
		if err != nil {
			e := wire.NewErrors(err).Errors[0]
			out = append(out, wrongValue{x.Path, e.Problem, e.Help})
		}
	}
	return out
}

// blank is the least that can be read as an enquiry.
const blank = "title: New enquiry\n"

func (s *Server) sheetOf(name string, text []byte, saved bool) sheet {
	d := sheet{ID: idOf(name), File: name, ETag: etag(text), Text: string(text), Errors: []wire.Error{}, Questions: []wire.Question{}, Contradictions: []wire.Contradiction{}, Saved: saved, Wrong: []wrongValue{},
		Fields: workspace.EnquiryFields(text)}
	e, err := s.ws.EnquiryText(name, text)
	if on, errS := s.store.whole(); err == nil && errS == nil {
		err = s.ws.Resolve(name, text, e, on.layouts)
	}
	if err != nil {
		d.Errors = wire.NewErrors(err).Errors
	}
	d.Title, d.Customer, d.Bands, d.Limits = e.Title, e.Customer, bandsOf(e), limitsOf(e)
	for _, q := range e.Questions() {
		d.Questions = append(d.Questions, wire.Question(q))
	}
	for _, c := range e.Contradictions() {
		d.Contradictions = append(d.Contradictions, wire.Contradiction(c))
	}
	return d
}

type idInput struct {
	ID string `path:"id"`
}

func (s *Server) enquiry(_ context.Context, in *idInput) (sheet, error) {
	name, err := s.find(workspace.EnquiryDir, in.ID)
	if err != nil {
		return sheet{}, err
	}
	text, err := s.ws.Read(name)
	if err != nil {
		return sheet{}, err
	}
	return s.sheetOf(name, text, true), nil
}

// edit is one change of a scalar.
type edit struct {
	Path  string  `json:"path" doc:"such as limits.insertion_loss[0].at_most"`
	Value *string `json:"value" doc:"as it would stand in the file, without quotes; null takes the key out" nullable:"true"`
}

func editsOf(in []edit) []workspace.Change {
	var out []workspace.Change
	for _, e := range in {
		out = append(out, workspace.Change{Path: e.Path, Value: e.Value})
	}
	return out
}

type putBody struct {
	ETag   string  `json:"etag" doc:"of the text that was edited"`
	Edits  []edit  `json:"edits,omitempty" maxItems:"1000"`
	Text   *string `json:"text,omitempty" doc:"the whole file, in place of edits"`
	DryRun bool    `json:"dry_run,omitempty" doc:"answer with the would-be file and write nothing"`
}

type putInput struct {
	ID   string `path:"id"`
	Body putBody
}

// change reads a file, changes its text and writes it, unless it is not the one
// that the client saw or the new text has faults.
func (s *Server) change(dir string, in *putInput, edit func(string, []byte, ...workspace.Change) ([]byte, error), check func(name string, text []byte) error) (name string, text []byte, err error) {
	name, err = s.find(dir, in.ID)
	if err != nil {
		return "", nil, err
	}
	s.writing.Lock()
	defer s.writing.Unlock()
	now, err := s.ws.Read(name)
	if err != nil {
		return "", nil, err
	}
	if in.Body.ETag != etag(now) {
		return "", nil, conflict(name, now)
	}
	switch {
	case in.Body.Text != nil && len(in.Body.Edits) > 0:
		return "", nil, problem(http.StatusUnprocessableEntity, "both text and edits are given", "send one of them")
	case in.Body.Text != nil:
		text = []byte(*in.Body.Text)
	default:
		if text, err = edit(name, now, editsOf(in.Body.Edits)...); err != nil {
			return "", nil, err
		}
	}
	if in.Body.DryRun {
		return name, text, nil
	}
	if err := check(name, text); err != nil {
		return "", nil, err
	}
	return name, text, s.root.write(name, text)
}

func (s *Server) putEnquiry(_ context.Context, in *putInput) (sheet, error) {
	name, text, err := s.change(workspace.EnquiryDir, in, workspace.Edit, func(name string, text []byte) error {
		_, err := s.ws.EnquiryText(name, text)
		return err
	})
	if err != nil {
		return sheet{}, err
	}
	d := s.sheetOf(name, text, !in.Body.DryRun)
	if in.Body.DryRun {
		d.Wrong = s.wrongValues(in.Body.Edits)
	}
	return d, nil
}

type createInput struct {
	Body struct {
		ID     string  `json:"id"`
		Text   *string `json:"text,omitempty" doc:"the file; without it and without edits a template is written"`
		Edits  []edit  `json:"edits,omitempty" maxItems:"1000" doc:"what the new enquiry states, in place of text"`
		DryRun bool    `json:"dry_run,omitempty" doc:"answer with the would-be file and write nothing"`
	}
}

// template is a new enquiry: what must be stated, and what usually is.
const template = `title: New enquiry
band: [{from: 1 GHz, to: 18 GHz}]
from: {kind: port, presents: {gender: male}}
to: {kind: port, presents: {gender: male}}
path: {through: cable, length: 1 m}
limits:
  insertion_loss: [{at_most: 3 dB}]
  return_loss: [{at_least: 14 dB}]
environment: {min_temperature: 15 °C, max_temperature: 35 °C}
commercial: {quantity: 1, currency: EUR}
`

// create writes a new file.
func (s *Server) create(dir, id string, text []byte, check func(name string, text []byte) error) (string, error) {
	if err := checkNewID(id); err != nil {
		return "", err
	}
	name := path.Join(dir, id+".yaml")
	if err := check(name, text); err != nil {
		return "", err
	}
	s.writing.Lock()
	defer s.writing.Unlock()
	if there, err := s.find(dir, id); err == nil {
		now, err := s.ws.Read(there)
		if err != nil {
			return "", err
		}
		return "", conflict(there, now)
	}
	err := s.root.create(name, text)
	if errors.Is(err, fs.ErrExist) {
		return "", conflict(name, nil)
	}
	return name, err
}

func (s *Server) postEnquiry(_ context.Context, in *createInput) (sheet, error) {
	b := in.Body
	text := []byte(template)
	switch {
	case b.Text != nil && len(b.Edits) > 0:
		return sheet{}, problem(http.StatusUnprocessableEntity, "both text and edits are given", "send one of them")
	case b.Text != nil:
		text = []byte(*b.Text)
	case len(b.Edits) > 0:
		var err error
		if text, err = workspace.Edit(path.Join(workspace.EnquiryDir, b.ID+".yaml"), []byte(blank), editsOf(b.Edits)...); err != nil {
			return sheet{}, err
		}
	}
	if b.DryRun {
		if err := checkNewID(b.ID); err != nil {
			return sheet{}, err
		}
		name := path.Join(workspace.EnquiryDir, b.ID+".yaml")
		d := s.sheetOf(name, text, false)
		d.Wrong = s.wrongValues(b.Edits)
		if there, err := s.find(workspace.EnquiryDir, b.ID); err == nil {
			d.Errors = append(d.Errors, wire.Error{File: there, Problem: "an enquiry of this name is there already", Help: "choose another title"})
		}
		return d, nil
	}
	name, err := s.create(workspace.EnquiryDir, b.ID, text, func(name string, text []byte) error {
		_, err := s.ws.EnquiryText(name, text)
		return err
	})
	if err != nil {
		return sheet{}, err
	}
	return s.sheetOf(name, text, true), nil
}

// asked reads an enquiry with edits and what its answer draws on.
func (s *Server) asked(id string, edits []edit) (e enquiry.Enquiry, text []byte, on shelf, err error) {
	name, err := s.find(workspace.EnquiryDir, id)
	if err != nil {
		return e, nil, on, err
	}
	if text, err = s.ws.Read(name); err != nil {
		return e, nil, on, err
	}
	if len(edits) > 0 {
		if text, err = workspace.Edit(name, text, editsOf(edits)...); err != nil {
			return e, nil, on, err
		}
	}
	if e, err = s.ws.EnquiryText(name, text); err != nil {
		return e, nil, on, err
	}
	if on, err = s.store.whole(); err == nil {
		err = s.ws.Resolve(name, text, e, on.layouts)
	}
	return e, text, on, err
}

// answerOf returns the full answer of an enquiry, computing it if need be.
func (s *Server) answerOf(ctx context.Context, id string, edits []edit) (*answer, error) {
	e, text, on, err := s.asked(id, edits)
	if err != nil {
		return nil, err
	}
	x := s.full(id, text, e, on, true)
	return x, x.wait(ctx)
}

func (s *Server) answer(ctx context.Context, in *idInput) (wire.Answer, error) {
	x, err := s.answerOf(ctx, in.ID, nil)
	if err != nil {
		return wire.Answer{}, err
	}
	return x.wire, nil
}

// preliminary says what a quick answer leaves to the full one.
type preliminary struct {
	Figures []string `json:"figures" doc:"what the full answer may show differently"`
	Points  int      `json:"points" doc:"frequencies over the band"`
	Judged  int      `json:"judged" doc:"chains of the front judged in full"`
}

// quickAnswer is an answer that was made in a hurry.
type quickAnswer struct {
	wire.Answer
	Preliminary *preliminary      `json:"preliminary" doc:"null: this is the full answer"`
	Specs       []json.RawMessage `json:"specs" doc:"of the proposals by rank: the chain file's keys, to predict or to keep them"`
	MissSpecs   []json.RawMessage `json:"miss_specs"`
}

func newQuickAnswer(found propose.Answer, w wire.Answer, p *preliminary) (quickAnswer, error) {
	out := quickAnswer{Answer: w, Preliminary: p, Specs: []json.RawMessage{}, MissSpecs: []json.RawMessage{}}
	for _, x := range found.Proposals {
		spec, err := workspace.EncodeJSON(x.Spec)
		if err != nil {
			return out, err
		}
		out.Specs = append(out.Specs, spec)
	}
	for _, x := range found.Misses {
		spec, err := workspace.EncodeJSON(x.Spec)
		if err != nil {
			return out, err
		}
		out.MissSpecs = append(out.MissSpecs, spec)
	}
	return out, nil
}

type quickInput struct {
	Body struct {
		Enquiry string `json:"enquiry"`
		Edits   []edit `json:"edits,omitempty" maxItems:"1000"`
		Most    int    `json:"most,omitempty" minimum:"0" maximum:"50" doc:"proposals; by default 10"`
		Full    bool   `json:"full,omitempty" doc:"all frequencies, draws and chains; slower"`
	}
}

// quick steers the answer to an edit: few frequencies and no random draws.
func quick(most int) propose.Options {
	if most == 0 {
		most = 10
	}
	return propose.Options{Most: most, Misses: 2, Judged: most + 5, Points: quickPoints, Draws: -1}
}

const quickPoints = 11

func (s *Server) quickAnswer(ctx context.Context, in *quickInput) (quickAnswer, error) {
	defer s.answers.ahead()()
	b := in.Body
	e, text, on, err := s.asked(b.Enquiry, b.Edits)
	if err != nil {
		return quickAnswer{}, err
	}
	if x := s.answers.peek(keyOf("full", b.Enquiry, string(text), on.hash)); x != nil && x.err == nil {
		return newQuickAnswer(x.found, x.wire, nil)
	}
	if b.Full {
		x := s.full(b.Enquiry, text, e, on, true)
		if err := x.wait(ctx); err != nil {
			return quickAnswer{}, err
		}
		return newQuickAnswer(x.found, x.wire, nil)
	}
	o := quick(b.Most)
	o.Layouts = on.layouts
	a, err := protect(func() (propose.Answer, error) { return propose.Find(ctx, e, on.cat, o) })
	if err != nil {
		return quickAnswer{}, err
	}
	return newQuickAnswer(a, wire.NewAnswer(a), &preliminary{Points: o.Points, Judged: o.Judged, Figures: []string{
		"likely return loss: no random phases were drawn",
		"worst values between the frequencies of the grid",
		"the order of chains beyond those judged, and misses beyond the nearest two"}})
}

// peek returns a finished answer, or nil.
func (a *answers) peek(key string) *answer {
	a.mu.Lock()
	defer a.mu.Unlock()
	if x := a.byKey[key]; x != nil && x.ready() {
		a.order.MoveToFront(x.at)
		return x
	}
	return nil
}
