package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"path"

	"linewright/app/view"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/job/assess"
	"linewright/job/enquiry"
	"linewright/job/propose"
)

// detail is one chain in full: its ledger, curves and picture.
type detail struct {
	Prediction  wire.Prediction `json:"prediction"`
	Spec        json.RawMessage `json:"spec" doc:"the chain file's keys, quantities as texts"`
	Curves      view.Curves     `json:"curves"`
	Drawing     view.Drawing    `json:"drawing"`
	Breaks      []string        `json:"breaks" doc:"of a miss"`
	Preliminary *preliminary    `json:"preliminary" doc:"null: these are the full figures"`
}

func newDetail(e enquiry.Enquiry, cat catalogue.Catalogue, b chain.Built, r assess.Report) (detail, error) {
	spec, err := workspace.EncodeJSON(b.Spec)
	return detail{Prediction: wire.NewPrediction(b, r), Spec: spec, Curves: view.NewCurves(e, b, r), Drawing: view.NewDrawing(b, cat), Breaks: []string{}}, err
}

type rankInput struct {
	ID   string `path:"id"`
	Rank int    `path:"rank" minimum:"1"`
}

// ranked returns a proposal of the full answer.
func (s *Server) ranked(ctx context.Context, in *rankInput) (propose.Proposal, enquiry.Enquiry, shelf, error) {
	e, _, on, err := s.asked(in.ID, nil)
	if err != nil {
		return propose.Proposal{}, e, on, err
	}
	x, err := s.answerOf(ctx, in.ID, nil)
	if err != nil {
		return propose.Proposal{}, e, on, err
	}
	for _, p := range x.found.Proposals {
		if p.Rank == in.Rank {
			return p, e, on, nil
		}
	}
	return propose.Proposal{}, e, on, problem(http.StatusNotFound, fmt.Sprintf("there is no proposal %d", in.Rank), "the answer has %d", len(x.found.Proposals))
}

func (s *Server) proposal(ctx context.Context, in *rankInput) (detail, error) {
	p, e, on, err := s.ranked(ctx, in)
	if err != nil {
		return detail{}, err
	}
	return newDetail(e, on.cat, p.Built, p.Report)
}

func (s *Server) miss(ctx context.Context, in *rankInput) (detail, error) {
	e, _, on, err := s.asked(in.ID, nil)
	if err != nil {
		return detail{}, err
	}
	x, err := s.answerOf(ctx, in.ID, nil)
	if err != nil {
		return detail{}, err
	}
	for i, m := range x.found.Misses {
		if m.Rank == in.Rank || m.Rank == 0 && i+1 == in.Rank {
			d, err := newDetail(e, on.cat, m.Built, m.Report)
			d.Breaks = append(d.Breaks, m.Broken...)
			return d, err
		}
	}
	return detail{}, problem(http.StatusNotFound, fmt.Sprintf("there is no miss %d", in.Rank), "the answer has %d", len(x.found.Misses))
}

type alternativesInput struct {
	ID    string `path:"id"`
	Rank  int    `path:"rank" minimum:"1"`
	Piece int    `query:"piece" required:"true" minimum:"0" doc:"of the chain file, from 0"`
}

func (s *Server) alternatives(ctx context.Context, in *alternativesInput) (view.Alternatives, error) {
	p, e, on, err := s.ranked(ctx, &rankInput{in.ID, in.Rank})
	if err != nil {
		return view.Alternatives{}, err
	}
	return s.insteadOf(ctx, e, on, p.Spec, in.Piece)
}

type predictInput struct {
	Body struct {
		Enquiry string          `json:"enquiry,omitempty" doc:"by default the one that the chain names"`
		Edits   []edit          `json:"edits,omitempty" maxItems:"1000" doc:"of the enquiry"`
		Chain   string          `json:"chain,omitempty" doc:"id of a chain of the workspace, in place of spec"`
		Spec    json.RawMessage `json:"spec,omitempty" doc:"the chain file's keys, quantities as texts"`
		Quick   bool            `json:"quick,omitempty" doc:"few frequencies and no random draws"`
		Piece   *int            `json:"piece,omitempty" doc:"only in /alternatives: which piece, from 0"`
	}
}

// subject reads the chain and the enquiry of a request.
func (s *Server) subject(chainID string, spec json.RawMessage, enquiryID string, edits []edit) (chain.Spec, enquiry.Enquiry, shelf, error) {
	var c chain.Spec
	var e enquiry.Enquiry
	var on shelf
	switch {
	case chainID != "" && len(spec) > 0:
		return c, e, on, problem(http.StatusUnprocessableEntity, "both chain and spec are given", "send one of them")
	case chainID == "" && len(spec) == 0:
		return c, e, on, problem(http.StatusUnprocessableEntity, "neither chain nor spec is given", "send the id of a chain, or its pieces as spec")
	case chainID != "":
		name, err := s.find(workspace.ChainDir, chainID)
		if err != nil {
			return c, e, on, err
		}
		if c, err = s.ws.Chain(name); err != nil {
			return c, e, on, err
		}
	default:
		text, err := indented(spec)
		if err != nil {
			return c, e, on, err
		}
		if c, err = s.ws.ChainText("spec", text); err != nil {
			return c, e, on, err
		}
	}
	if enquiryID == "" {
		enquiryID = c.Enquiry
	}
	if enquiryID == "" {
		return c, e, on, problem(http.StatusUnprocessableEntity, "the chain names no enquiry", "send enquiry: the band and the limits come from it")
	}
	e, _, on, err := s.asked(enquiryID, edits)
	return c, e, on, err
}

// indented breaks JSON into lines, which the reader bounds in length.
func indented(spec json.RawMessage) ([]byte, error) {
	var v any
	if err := json.Unmarshal(spec, &v); err != nil {
		return nil, problem(http.StatusBadRequest, "spec is no JSON: "+err.Error(), "send an object")
	}
	return json.MarshalIndent(v, "", "  ")
}

func (s *Server) predict(ctx context.Context, in *predictInput) (detail, error) {
	defer s.answers.ahead()()
	b := in.Body
	c, e, on, err := s.subject(b.Chain, b.Spec, b.Enquiry, b.Edits)
	if err != nil {
		return detail{}, err
	}
	var o assess.Options
	var p *preliminary
	if b.Quick {
		o = assess.Options{Points: 41, Draws: -1}
		p = &preliminary{Points: o.Points, Figures: []string{"likely return loss: no random phases were drawn", "worst values between the frequencies of the grid"}}
	}
	built, err := chain.Build(c, on.cat)
	if err != nil {
		return detail{}, err
	}
	r, err := protect(func() (assess.Report, error) {
		return assess.Assess(ctx, e, assess.Subject{Built: built, Catalogue: on.cat, Layouts: on.layouts}, o)
	})
	if err != nil {
		return detail{}, err
	}
	d, err := newDetail(e, on.cat, built, r)
	d.Preliminary = p
	return d, err
}

// findAlternatives is alternatives for a chain that stands in no answer.
func (s *Server) findAlternatives(ctx context.Context, in *predictInput) (view.Alternatives, error) {
	b := in.Body
	if b.Piece == nil {
		return view.Alternatives{}, problem(http.StatusUnprocessableEntity, "piece is missing", "send its index from 0")
	}
	c, e, on, err := s.subject(b.Chain, b.Spec, b.Enquiry, b.Edits)
	if err != nil {
		return view.Alternatives{}, err
	}
	return s.insteadOf(ctx, e, on, c, *b.Piece)
}

func (s *Server) insteadOf(ctx context.Context, e enquiry.Enquiry, on shelf, c chain.Spec, piece int) (view.Alternatives, error) {
	defer s.answers.ahead()()
	a, err := protect(func() (propose.Alternatives, error) {
		return propose.FindAlternatives(ctx, e, on.cat, c, piece, propose.AlternativesOptions{Layouts: on.layouts})
	})
	if err != nil {
		return view.Alternatives{}, err
	}
	return view.NewAlternatives(a), nil
}

// ChainRow is a chain in a list.
type ChainRow struct {
	ID      string       `json:"id"`
	File    string       `json:"file"`
	Name    string       `json:"name"`
	Note    string       `json:"note"`
	Enquiry string       `json:"enquiry"`
	Parts   []string     `json:"parts"`
	Errors  []wire.Error `json:"errors"`
}

type chainList struct {
	Chains []ChainRow `json:"chains"`
}

func rowOf(name string, c chain.Spec, err error) ChainRow {
	r := ChainRow{ID: idOf(name), File: name, Name: c.Name, Note: c.Note, Enquiry: c.Enquiry, Parts: []string{}, Errors: []wire.Error{}}
	for _, p := range c.Pieces {
		if p.Part != "" {
			r.Parts = append(r.Parts, p.Part)
		}
	}
	if err != nil {
		r.Errors = wire.NewErrors(err).Errors
	}
	return r
}

func (s *Server) chains(context.Context, *none) (chainList, error) {
	out := chainList{Chains: []ChainRow{}}
	names, err := s.ws.Chains()
	if err != nil {
		return out, err
	}
	for _, name := range names {
		if checkID(idOf(name)) != nil {
			out.Chains = append(out.Chains, ChainRow{File: name, Name: path.Base(name), Parts: []string{}, Errors: unnamed(name)})
			continue
		}
		c, err := s.ws.Chain(name)
		out.Chains = append(out.Chains, rowOf(name, c, err))
	}
	return out, nil
}

// chainSheet is a chain's file and what it says.
type chainSheet struct {
	ChainRow
	ETag  string          `json:"etag"`
	Text  string          `json:"text"`
	Spec  json.RawMessage `json:"spec"`
	Saved bool            `json:"saved"`
}

func (s *Server) chainSheet(name string, text []byte, saved bool) (chainSheet, error) {
	c, err := s.ws.ChainText(name, text)
	d := chainSheet{ChainRow: rowOf(name, c, err), ETag: etag(text), Text: string(text), Saved: saved}
	d.Spec, err = workspace.EncodeJSON(c)
	return d, err
}

func (s *Server) chain(_ context.Context, in *idInput) (chainSheet, error) {
	name, err := s.find(workspace.ChainDir, in.ID)
	if err != nil {
		return chainSheet{}, err
	}
	text, err := s.ws.Read(name)
	if err != nil {
		return chainSheet{}, err
	}
	return s.chainSheet(name, text, true)
}

func (s *Server) checkChain(name string, text []byte) error {
	_, err := s.ws.ChainText(name, text)
	return err
}

func (s *Server) putChain(_ context.Context, in *putInput) (chainSheet, error) {
	name, text, err := s.change(workspace.ChainDir, in, workspace.EditChain, s.checkChain)
	if err != nil {
		return chainSheet{}, err
	}
	return s.chainSheet(name, text, !in.Body.DryRun)
}

type createChainInput struct {
	Body struct {
		ID   string          `json:"id"`
		Text *string         `json:"text,omitempty" doc:"the file"`
		Spec json.RawMessage `json:"spec,omitempty" doc:"in place of text"`
	}
}

func (s *Server) postChain(_ context.Context, in *createChainInput) (chainSheet, error) {
	if err := checkNewID(in.Body.ID); err != nil {
		return chainSheet{}, err
	}
	var text []byte
	switch {
	case in.Body.Text != nil:
		text = []byte(*in.Body.Text)
	case len(in.Body.Spec) > 0:
		data, err := indented(in.Body.Spec)
		if err != nil {
			return chainSheet{}, err
		}
		c, err := s.ws.ChainText(path.Join(workspace.ChainDir, in.Body.ID+".yaml"), data)
		if err != nil {
			return chainSheet{}, err
		}
		if text, err = workspace.EncodeChain(c); err != nil {
			return chainSheet{}, err
		}
	default:
		return chainSheet{}, problem(http.StatusUnprocessableEntity, "neither text nor spec is given", "send one of them")
	}
	name, err := s.create(workspace.ChainDir, in.Body.ID, text, s.checkChain)
	if err != nil {
		return chainSheet{}, err
	}
	return s.chainSheet(name, text, true)
}

type deleteInput struct {
	ID   string `path:"id"`
	ETag string `query:"etag" required:"true" doc:"of the text that was seen"`
}

type removed struct {
	File string `json:"file"`
}

// deleteChain undoes the making of a chain: a file that was changed since stays.
func (s *Server) deleteChain(_ context.Context, in *deleteInput) (removed, error) {
	name, err := s.find(workspace.ChainDir, in.ID)
	if err != nil {
		return removed{}, err
	}
	s.writing.Lock()
	defer s.writing.Unlock()
	now, err := s.ws.Read(name)
	if err != nil {
		return removed{}, err
	}
	if in.ETag != etag(now) {
		return removed{}, conflict(name, now)
	}
	return removed{name}, s.root.root.Remove(name)
}
