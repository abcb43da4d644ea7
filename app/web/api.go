package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"reflect"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/hardware/chain"
)

// config sets the API library up: no pages of its own, no links into answers,
// errors in our own shape.
func (s *Server) config() huma.Config {
	c := huma.DefaultConfig("Linewright workbench", "1")
	c.Info.Description = "What the workbench itself uses, over the files of one workspace. Field names carry their unit; what is unknown is null."
	c.OpenAPIPath, c.DocsPath, c.SchemasPath = "", "", ""
	c.CreateHooks = nil
	c.RejectUnknownQueryParameters = true
	format := huma.Format{
		Marshal: func(w io.Writer, v any) error {
			enc := json.NewEncoder(w)
			enc.SetEscapeHTML(false)
			return enc.Encode(v)
		},
		Unmarshal: unmarshal,
	}
	c.Formats = map[string]huma.Format{"application/json": format, "json": format}
	c.Transformers = []huma.Transformer{ownErrors}
	return c
}

// A syntaxError says where a JSON body stops making sense.
type syntaxError struct {
	line, column int
	problem      string
}

func (e *syntaxError) Error() string {
	return fmt.Sprintf("line %d, column %d: %s", e.line, e.column, e.problem)
}

func unmarshal(data []byte, v any) error {
	err := json.Unmarshal(data, v)
	var at int64
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		at = syntax.Offset
	case errors.As(err, &kind):
		at = kind.Offset
	default:
		return err
	}
	before := data[:min(max(at-1, 0), int64(len(data)))]
	line := 1 + bytes.Count(before, []byte("\n"))
	return &syntaxError{line, len(before) - bytes.LastIndexByte(before, '\n'), strings.TrimPrefix(err.Error(), "json: ")}
}

// apiError is an answer that is not a result.
type apiError struct {
	status int
	wire.Errors
	Text string `json:"text,omitempty"` // on a conflict: what stands in the file now
	ETag string `json:"etag,omitempty"`
}

// Error implements error.
func (e *apiError) Error() string {
	var b strings.Builder
	for _, x := range e.Errors.Errors {
		fmt.Fprintf(&b, "%s; %s\n", x.Problem, x.Help)
	}
	return strings.TrimSpace(b.String())
}

// GetStatus implements huma.StatusError.
func (e *apiError) GetStatus() int { return e.status }

func problem(status int, problem, help string, args ...any) *apiError {
	return &apiError{status: status, Errors: wire.Errors{Errors: []wire.Error{{Problem: problem, Help: fmt.Sprintf(help, args...)}}}}
}

// ownErrors gives the library's errors our shape.
func ownErrors(ctx huma.Context, _ string, v any) (any, error) {
	m, ok := v.(*huma.ErrorModel)
	if !ok {
		return v, nil
	}
	ctx.SetHeader("Content-Type", "application/json")
	out := wire.Errors{Errors: []wire.Error{}}
	for _, d := range m.Errors {
		e := wire.Error{Found: d.Location, Problem: d.Message, Help: "see the call in " + Prefix + "/openapi.json"}
		if d.Value != nil {
			if text, err := json.Marshal(d.Value); err == nil && len(text) < 200 {
				e.Found += " = " + string(text)
			}
		}
		var at int
		var col int
		if n, _ := fmt.Sscanf(d.Message, "line %d, column %d:", &at, &col); n == 2 {
			e.Line, e.Column = at, col
			_, e.Problem, _ = strings.Cut(d.Message, ": ")
			e.Found, e.Help = "", "send one well-formed JSON document"
		}
		out.Errors = append(out.Errors, e)
	}
	if len(out.Errors) == 0 {
		help := "see the call in " + Prefix + "/openapi.json"
		if m.Status == http.StatusRequestEntityTooLarge {
			help = fmt.Sprintf("at most %d MB are read", maxBody>>20)
		}
		out.Errors = append(out.Errors, wire.Error{Problem: m.Detail, Help: help})
	}
	return out, nil
}

// apiErr turns an error of the packages below into an answer.
func (s *Server) apiErr(err error) error {
	if err == nil {
		return nil
	}
	var own *apiError
	var fault workspace.Fault
	var faults workspace.Faults
	var build *chain.BuildError
	switch {
	case errors.As(err, &own):
		return own
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return problem(499, "the request was given up", "send it again")
	case errors.As(err, &faults), errors.As(err, &build):
	case errors.As(err, &fault):
		if errors.Is(fault.Err, fs.ErrNotExist) {
			return &apiError{status: http.StatusNotFound, Errors: wire.NewErrors(err)}
		}
	}
	return &apiError{status: http.StatusUnprocessableEntity, Errors: wire.NewErrors(err)}
}

// of is an answer whose body is T.
type of[T any] struct{ Body T }

// call registers one call of the API.
func call[I, T any](s *Server, method, path, id, summary string, f func(ctx context.Context, in *I) (T, error), options ...func(*huma.Operation)) {
	op := huma.Operation{OperationID: id, Method: method, Path: path, Summary: summary, MaxBodyBytes: maxBody, BodyReadTimeout: 15 * time.Second}
	if method == http.MethodPost && (id == "create-enquiry" || id == "create-chain" || id == "start-job") {
		op.DefaultStatus = http.StatusCreated
	}
	errs := s.api.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[wire.Errors](), true, "Errors")
	op.Responses = map[string]*huma.Response{"default": {Description: "What is wrong, fault by fault", Content: map[string]*huma.MediaType{"application/json": {Schema: errs}}}}
	for _, o := range options {
		o(&op)
	}
	huma.Register(s.api, op, func(ctx context.Context, in *I) (*of[T], error) {
		out, err := f(ctx, in)
		if err != nil {
			return nil, s.apiErr(err)
		}
		return &of[T]{out}, nil
	})
}

// openAPI serves the description of the API.
func (s *Server) openAPI(w http.ResponseWriter, r *http.Request) {
	data, err := s.api.OpenAPI().MarshalJSON()
	if err != nil {
		s.fail(w, r, http.StatusInternalServerError, err.Error(), "report it")
		return
	}
	w.Header().Set("Content-Type", "application/openapi+json")
	_, _ = w.Write(data) // a client that went away
}
