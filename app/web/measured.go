package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strings"
	"time"

	"linewright/app/inspect"
	"linewright/app/measured"
	"linewright/app/view"
	"linewright/app/wire"
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
	Files        []measuredFile     `json:"files"`
	Curves       *view.Curves       `json:"curves"`       // of the prediction; null without a chain
	Prediction   *wire.Prediction   `json:"prediction"`   // of the chain
	Drawing      *view.Drawing      `json:"drawing"`      // of the chain
	Band         *predictedBand     `json:"band"`         // in which built copies of the prediction lie; null where none can be drawn
	Verification *measured.Document `json:"verification"` // of all files, in their order; null without a chain
}

// mostSamples is the number of files in one request; pictures of the first
// maxFiles are sent, the verdicts of all.
const mostSamples = 2000

// measured reads Touchstone files as they come in, each into a temporary file:
// it is read twice, and against no chain need not fit into memory. The parts that
// say what the files are held against stand before the files.
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
	ask := newTerms()
	var held against
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
			if err := ask.set(p.FormName(), strings.TrimSpace(string(text))); err != nil {
				return doc, err
			}
			continue
		}
		if !ready {
			ready = true
			if held, err = s.against(r.Context(), ask, &doc); err != nil {
				return doc, err
			}
		}
		if len(doc.Files) >= mostSamples {
			return doc, problem(http.StatusRequestEntityTooLarge, fmt.Sprintf("more than %d files", mostSamples), "verify larger lots on the command line: linewright verify")
		}
		f, err := s.measuredFile(r, p, &held, len(doc.Files))
		if err != nil {
			return doc, err
		}
		doc.Files = append(doc.Files, f)
	}
	if len(doc.Files) == 0 {
		return doc, problem(http.StatusUnprocessableEntity, "no file was sent", "send one or more Touchstone files")
	}
	if held.collector != nil {
		d, err := held.collector.Document()
		if err != nil {
			return doc, err
		}
		doc.Verification = &d
	}
	return doc, nil
}

func (s *Server) measuredFile(r *http.Request, p *multipart.Part, held *against, index int) (measuredFile, error) {
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
	var d *inspect.File
	if held.start != nil {
		data, err := os.ReadFile(temp.Name())
		if err != nil {
			return out, err
		}
		if held.plan == nil {
			if held.plan, err = held.start(measured.StatedTemperature(bytes.NewReader(data), name)); err != nil {
				return out, err
			}
			held.collector = measured.NewCollector(held.plan, held.o)
		}
		o := held.o
		o.Quick = index >= maxFiles
		f, err := measured.Judge(r.Context(), held.plan, name, data, o)
		if err != nil {
			return out, err
		}
		d = f.Inspection
		held.collector.Add(f)
	}
	if index >= maxFiles {
		return out, nil
	}
	if d == nil {
		if _, err := temp.Seek(0, io.SeekStart); err != nil {
			return out, err
		}
		x, err := inspect.Judge(r.Context(), temp, name, 0, 0)
		if err != nil {
			return fail(err)
		}
		d = &x
	}
	out.Inspection = d
	if _, err := temp.Seek(0, io.SeekStart); err != nil {
		return out, err
	}
	sample, err := view.NewSample(r.Context(), temp, name, d.Points, held.limits, held.covers)
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
