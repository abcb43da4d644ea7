package web

import (
	"context"

	"linewright/app/view"
)

// lineForms are the fields of each kind of line.
type lineForms struct {
	Kinds map[string][]view.LineField `json:"kinds"`
}

func (s *Server) lineForms(context.Context, *none) (lineForms, error) {
	return lineForms{view.LineForms()}, nil
}

type lineInput struct{ Body view.LineRequest }

func (s *Server) line(_ context.Context, in *lineInput) (view.Line, error) {
	return protect(func() (view.Line, error) { return view.NewLine(in.Body) })
}
