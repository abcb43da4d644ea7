package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"linewright/app/inspect"
	"linewright/app/view"
	"linewright/app/wire"
	"linewright/job/assess"
)

// measuredFile is one file that was dropped: what is in it and how it stands.
type measuredFile struct {
	File       string        `json:"file"`
	Inspection *inspect.File `json:"inspection"` // null when it cannot be read
	Sample     *view.Sample  `json:"sample"`
	Errors     []wire.Error  `json:"errors"` // with line and column
}

// measuredDoc is the answer to dropped files.
type measuredDoc struct {
	Files      []measuredFile   `json:"files"`
	Curves     *view.Curves     `json:"curves"`     // of the prediction; null without enquiry and rank
	Prediction *wire.Prediction `json:"prediction"` // of the proposal
}

// measured reads Touchstone files as they come in, each into a temporary file:
// it is read twice, and need not fit into memory. The parts called enquiry and
// rank stand before the files.
func (s *Server) measured(w http.ResponseWriter, r *http.Request) {
	_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(10 * time.Minute)) // a slow line may take its time for 64 MB
	doc, err := s.readMeasured(r)
	if err != nil {
		var own *apiError
		if !errors.As(err, &own) {
			errors.As(s.apiErr(err), &own)
		}
		if own.status == http.StatusRequestEntityTooLarge {
			w.Header().Set("Connection", "close")
		}
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(own.status)
		_ = json.NewEncoder(w).Encode(own)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(doc) // a client that went away
}

func (s *Server) readMeasured(r *http.Request) (measuredDoc, error) {
	doc := measuredDoc{Files: []measuredFile{}}
	parts, err := r.MultipartReader()
	if err != nil {
		return doc, problem(http.StatusBadRequest, "no multipart form: "+err.Error(), "send the files as multipart/form-data")
	}
	var id string
	rank := 0
	var limits []view.Limit
	var covers func(from, to float64) string
	ready := false
	for {
		p, err := parts.NextPart()
		if err == io.EOF { // not wrapped: the form's own end
			break
		}
		if err != nil {
			return doc, uploadError(err)
		}
		if p.FileName() == "" {
			text, err := io.ReadAll(io.LimitReader(p, 1<<10))
			if err != nil {
				return doc, uploadError(err)
			}
			switch p.FormName() {
			case "enquiry":
				id = strings.TrimSpace(string(text))
			case "rank":
				if rank, err = strconv.Atoi(strings.TrimSpace(string(text))); err != nil || rank < 1 {
					return doc, problem(http.StatusUnprocessableEntity, fmt.Sprintf("rank %q", text), "send a whole number from 1")
				}
			default:
				return doc, problem(http.StatusUnprocessableEntity, fmt.Sprintf("no field is called %q", p.FormName()), "send enquiry, rank and files")
			}
			continue
		}
		if !ready {
			ready = true
			if id != "" {
				if limits, covers, err = s.against(r, id, rank, &doc); err != nil {
					return doc, err
				}
			}
		}
		if len(doc.Files) >= maxFiles {
			return doc, problem(http.StatusRequestEntityTooLarge, fmt.Sprintf("more than %d files", maxFiles), "send the others afterwards")
		}
		f, err := s.measuredFile(r, p, limits, covers)
		if err != nil {
			return doc, err
		}
		doc.Files = append(doc.Files, f)
	}
	if len(doc.Files) == 0 {
		return doc, problem(http.StatusUnprocessableEntity, "no file was sent", "send one or more Touchstone files")
	}
	return doc, nil
}

// against prepares what the files are held against.
func (s *Server) against(r *http.Request, id string, rank int, doc *measuredDoc) ([]view.Limit, func(from, to float64) string, error) {
	e, _, _, err := s.asked(id, nil)
	if err != nil {
		return nil, nil, err
	}
	if rank == 0 {
		return view.LimitsOver(e, assess.Grid(e, 2)), view.Covers(e), nil
	}
	p, e, _, err := s.ranked(r.Context(), &rankInput{ID: id, Rank: rank})
	if err != nil {
		return nil, nil, err
	}
	c := view.NewCurves(e, p.Built, p.Report)
	w := wire.NewPrediction(p.Built, p.Report)
	doc.Curves, doc.Prediction = &c, &w
	return c.Limits, view.Covers(e), nil
}

func (s *Server) measuredFile(r *http.Request, p *multipart.Part, limits []view.Limit, covers func(from, to float64) string) (measuredFile, error) {
	name := path.Base(filepath.ToSlash(strings.ReplaceAll(p.FileName(), `\`, "/")))
	out := measuredFile{File: name, Errors: []wire.Error{}}
	temp, err := os.CreateTemp("", "linewright-measured-")
	if err != nil {
		return out, err
	}
	defer os.Remove(temp.Name())
	defer temp.Close()
	n, err := io.Copy(temp, io.LimitReader(p, maxUpload+1))
	switch {
	case err != nil:
		return out, uploadError(err)
	case n > maxUpload:
		return out, problem(http.StatusRequestEntityTooLarge, name+" is too large", "a file has at most %d MB", maxUpload>>20)
	}
	fail := func(err error) (measuredFile, error) {
		if r.Context().Err() != nil {
			return out, err
		}
		out.Errors = wire.NewErrors(err).Errors
		return out, nil
	}
	if _, err := temp.Seek(0, io.SeekStart); err != nil {
		return out, err
	}
	d, err := inspect.Judge(r.Context(), temp, name, 0, 0)
	if err != nil {
		return fail(err)
	}
	out.Inspection = &d
	if _, err := temp.Seek(0, io.SeekStart); err != nil {
		return out, err
	}
	sample, err := view.NewSample(r.Context(), temp, name, d.Points, limits, covers)
	if err != nil {
		return fail(err)
	}
	out.Sample = &sample
	return out, nil
}

// uploadError tells a body that is too large from one that broke off.
func uploadError(err error) error {
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return problem(http.StatusRequestEntityTooLarge, "the files are too large together", "at most %d MB are read", large.Limit>>20)
	case errors.Is(err, os.ErrDeadlineExceeded):
		return problem(http.StatusRequestTimeout, "the files did not come in time", "send them again")
	}
	return problem(http.StatusBadRequest, "the form broke off: "+err.Error(), "send it again")
}
