package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/hardware/chain"
	"linewright/job/propose"
	"linewright/job/tolerance"
)

// jobBody asks for long work.
type jobBody struct {
	Kind    string          `json:"kind" enum:"yield,propose,field"`
	Enquiry string          `json:"enquiry,omitempty"`
	Edits   []edit          `json:"edits,omitempty" maxItems:"1000" doc:"of the enquiry"`
	Chain   string          `json:"chain,omitempty" doc:"yield: id of a chain of the workspace"`
	Spec    json.RawMessage `json:"spec,omitempty" doc:"yield: a chain, in place of its id"`
	Rank    int             `json:"rank,omitempty" minimum:"0" doc:"yield: a proposal of the enquiry's answer, in place of both"`
	// Yield.
	Tolerances json.RawMessage `json:"tolerances,omitempty" doc:"the keys of a file of tolerances; without it the defaults"`
	Samples    int             `json:"samples,omitempty" minimum:"0" maximum:"1000000" doc:"copies drawn; by default 10000"`
	Seed       uint64          `json:"seed,omitempty"`
	AtLeast    float64         `json:"at_least,omitempty" minimum:"0" exclusiveMaximum:"1" doc:"the yield asked for; by default 0.99"`
	// Propose.
	Most   int `json:"most,omitempty" minimum:"0" maximum:"200"`
	Misses int `json:"misses,omitempty" minimum:"0" maximum:"50"`
	// Field.
	File string `json:"file,omitempty" doc:"field: of the workspace"`
	Text string `json:"text,omitempty" maxLength:"1000000" doc:"field: a file's text, in place of it"`
}

type jobInput struct{ Body jobBody }

func (s *Server) startJob(ctx context.Context, in *jobInput) (Job, error) {
	b := in.Body
	request, err := json.Marshal(b)
	if err != nil {
		return Job{}, err
	}
	if b.Kind == "field" {
		return s.startField(solveBody{File: b.File, Text: b.Text}, request)
	}
	if b.Kind == "propose" {
		e, _, on, err := s.asked(b.Enquiry, b.Edits)
		if err != nil {
			return Job{}, err
		}
		return s.jobs.start(b.Kind, "answer to "+e.ID, request, func(ctx context.Context, report func(string, float64)) (any, error) {
			a, err := propose.Find(ctx, e, on.cat, propose.Options{Layouts: on.layouts, Most: b.Most, Misses: b.Misses, Seed: b.Seed, Progress: report})
			if err != nil {
				return nil, err
			}
			return wire.NewAnswer(a), nil
		})
	}
	var c chain.Spec
	e, _, on, errE := s.asked(b.Enquiry, b.Edits)
	switch {
	case b.Rank > 0:
		if errE != nil {
			return Job{}, errE
		}
		x, err := s.answerOf(ctx, b.Enquiry, b.Edits)
		if err != nil {
			return Job{}, err
		}
		if b.Rank > len(x.found.Proposals) {
			return Job{}, problem(http.StatusNotFound, fmt.Sprintf("there is no proposal %d", b.Rank), "the answer has %d", len(x.found.Proposals))
		}
		c = x.found.Proposals[b.Rank-1].Spec
	default:
		if c, e, on, err = s.subject(b.Chain, b.Spec, b.Enquiry, b.Edits); err != nil {
			return Job{}, err
		}
	}
	built, err := chain.Build(c, on.cat)
	if err != nil {
		return Job{}, err
	}
	var t tolerance.Tolerances
	if len(b.Tolerances) > 0 {
		text, err := indented(b.Tolerances)
		if err != nil {
			return Job{}, err
		}
		if t, err = workspace.TolerancesText("tolerances", text); err != nil {
			return Job{}, err
		}
	}
	o := tolerance.Options{Samples: b.Samples, Seed: b.Seed, AtLeast: b.AtLeast}
	study, err := tolerance.New(e, built, t, o)
	if err != nil {
		var f *tolerance.Fault
		if errors.As(err, &f) {
			return Job{}, workspace.Fault{File: "tolerances", Found: f.Where(), Err: err, Problem: f.Problem + ": " + f.Err.Error(), Help: f.Help}
		}
		return Job{}, err
	}
	return s.jobs.start(b.Kind, "yield of "+built.Name, request, func(ctx context.Context, report func(string, float64)) (any, error) {
		o := o
		o.Progress = report
		r, err := study.Run(ctx, o)
		if err != nil {
			return nil, err
		}
		return wire.NewYield(r), nil
	})
}
