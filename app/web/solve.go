package web

import (
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"net/http"
	"path"
	"slices"
	"strings"

	"linewright/app/field"
	"linewright/app/view"
	"linewright/app/wire"
	"linewright/app/workspace"
	"linewright/physics/modematch"
	"linewright/physics/xsection"
)

// Folders of the solvers' files.
var solverDirs = map[string]string{"section": workspace.SectionDir, "body": workspace.BodyDir, "field": workspace.FieldDir}

// solverFile is a file that a solver takes.
type solverFile struct {
	File string `json:"file"`
	Kind string `json:"kind" enum:"section,body,field"`
	Name string `json:"name" doc:"what it is, in words"`
}

type solverFiles struct {
	Files []solverFile `json:"files"`
}

// solverFiles lists the workspace's files of sections, bodies and structures.
func (s *Server) solverFiles(context.Context, *none) (solverFiles, error) {
	out := solverFiles{Files: []solverFile{}}
	for _, kind := range []string{"section", "body", "field"} {
		names, err := fs.Glob(s.ws.FS, solverDirs[kind]+"/*.yaml")
		if err != nil {
			return out, err
		}
		for _, n := range names {
			f := solverFile{File: n, Kind: kind, Name: strings.TrimSuffix(path.Base(n), ".yaml")}
			if text, err := fs.ReadFile(s.ws.FS, n); err == nil {
				for line := range strings.Lines(string(text)) {
					if says, ok := strings.CutPrefix(line, kind+":"); ok {
						f.Name = strings.TrimSpace(says)
					}
				}
			}
			out.Files = append(out.Files, f)
		}
	}
	return out, nil
}

// solveBody names what a solver is to take: exactly one of file, text and, for
// a section, line.
type solveBody struct {
	File string            `json:"file,omitempty" doc:"of the workspace"`
	Text string            `json:"text,omitempty" maxLength:"1000000" doc:"a file's text"`
	Line *view.LineRequest `json:"line,omitempty" doc:"section: a line of the form"`
	At   string            `json:"at,omitempty" doc:"10GHz,28GHz or 1GHz:40GHz:40; body: by default up to the mode-free limit"`
}

type solveInput struct{ Body solveBody }

// source returns the text that is to be solved and what faults call it.
func (s *Server) source(kind string, b solveBody) (name, text string, err error) {
	given := 0
	for _, ok := range []bool{b.File != "", b.Text != "", b.Line != nil} {
		if ok {
			given++
		}
	}
	switch {
	case given != 1 || b.Line != nil && kind != "section":
		return "", "", problem(http.StatusBadRequest, fmt.Sprintf("%d sources are given", given), "give exactly one of file and text, or of a section a line")
	case b.Line != nil:
		text, err := view.LineSection(*b.Line)
		return "section", text, err
	case b.Text != "":
		return kind, b.Text, nil
	}
	dir, file := path.Split(path.Clean(b.File))
	if path.Clean(dir) != solverDirs[kind] || checkID(strings.TrimSuffix(file, ".yaml")) != nil || path.Ext(file) != ".yaml" {
		return "", "", problem(http.StatusBadRequest, fmt.Sprintf("%q is no file of a %s", b.File, kind), "such files stand in %s and end in .yaml", solverDirs[kind])
	}
	data, err := fs.ReadFile(s.ws.FS, path.Clean(b.File))
	if err != nil {
		return "", "", workspace.Fault{File: b.File, Err: fs.ErrNotExist, Problem: "no such file", Help: "see them with GET " + Prefix + "/solve"}
	}
	return b.File, string(data), nil
}

// solvedSection is a cross-section that was solved.
type solvedSection struct {
	Text    string             `json:"text" doc:"of its file"`
	Solved  wire.Section       `json:"solved"`
	Drawing view.SolverDrawing `json:"drawing"`
}

func (s *Server) solveSection(ctx context.Context, in *solveInput) (solvedSection, error) {
	name, text, err := s.source("section", in.Body)
	if err != nil {
		return solvedSection{}, err
	}
	f, err := view.Sweep(in.Body.At)
	if err != nil {
		return solvedSection{}, err
	}
	x, err := workspace.SectionText(name, []byte(text))
	if err != nil {
		return solvedSection{}, err
	}
	return protect(func() (solvedSection, error) {
		r, err := xsection.Solve(ctx, x.Section, xsection.Options{})
		if err != nil {
			return solvedSection{}, x.Explain(err)
		}
		return solvedSection{Text: text, Solved: wire.NewSection(orFile(x.File.Section, name), r, f), Drawing: view.SectionDrawing(x.Section, r)}, nil
	})
}

// solvedBody is a body of revolution that was solved.
type solvedBody struct {
	Text    string             `json:"text" doc:"of its file"`
	Solved  wire.Body          `json:"solved"`
	Drawing view.SolverDrawing `json:"drawing"`
}

// bodyPoints is how many frequencies are solved where none is asked for.
const bodyPoints = 80

func (s *Server) solveBody(ctx context.Context, in *solveInput) (solvedBody, error) {
	name, text, err := s.source("body", in.Body)
	if err != nil {
		return solvedBody{}, err
	}
	f, err := view.Sweep(in.Body.At)
	if err != nil {
		return solvedBody{}, err
	}
	slices.Sort(f)
	f = slices.Compact(f)
	x, err := workspace.BodyText(name, []byte(text))
	if err != nil {
		return solvedBody{}, err
	}
	return protect(func() (solvedBody, error) {
		if len(f) == 0 {
			var ok bool
			if f, ok, err = view.BodySweep(ctx, x.Body, bodyPoints); err != nil {
				return solvedBody{}, x.Explain(err)
			} else if !ok {
				return solvedBody{}, problem(http.StatusUnprocessableEntity, "a port is an empty guide, which has no mode-free range from 0 Hz", "ask for frequencies above its cutoff, such as 90GHz:110GHz:41")
			}
		}
		r, err := modematch.Solve(ctx, x.Body, f, modematch.Options{Shift: x.Shift})
		if err != nil {
			return solvedBody{}, x.Explain(err)
		}
		return solvedBody{Text: text, Solved: wire.NewBody(orFile(x.File.Body, name), r, r.Network, true), Drawing: view.BodyDrawing(x.Body)}, nil
	})
}

func orFile(title, name string) string {
	if title != "" {
		return title
	}
	return strings.TrimSuffix(path.Base(name), path.Ext(name))
}

// plannedField is what a field solve will take.
type plannedField struct {
	Text string             `json:"text" doc:"of its file"`
	Plan wire.FieldSolution `json:"plan"`
	Cuts []view.Cut         `json:"cuts"`
	Fits bool               `json:"fits" doc:"into memory"`
}

func (s *Server) planField(_ context.Context, in *solveInput) (plannedField, error) {
	name, text, err := s.source("field", in.Body)
	if err != nil {
		return plannedField{}, err
	}
	x, err := workspace.StructureText(name, []byte(text))
	if err != nil {
		return plannedField{}, err
	}
	return protect(func() (plannedField, error) {
		p, err := field.NewPlan(x, x.Options)
		if err != nil && p.Total == 0 {
			return plannedField{}, err
		}
		out := plannedField{Text: text, Plan: wire.NewFieldPlan(orFile(x.File.Field, name), x, p), Cuts: view.StructureCuts(x), Fits: err == nil}
		if err != nil {
			out.Plan.Warnings = append(out.Plan.Warnings, err.Error())
		}
		return out, nil
	})
}

// liveField is how the energy falls while a field solve runs.
type liveField struct {
	Step     []int     `json:"step"` // of all runs, one after the other
	EnergyDB []float64 `json:"energy_db"`
	TargetDB float64   `json:"target_db"`
}

// solvedField is the result of a field solve.
type solvedField struct {
	Text       string              `json:"text"`
	Solved     wire.FieldSolution  `json:"solved"`
	Cuts       []view.Cut          `json:"cuts"`
	Pictures   []view.FieldPicture `json:"pictures"`
	Touchstone string              `json:"touchstone" doc:"the file's text"`
}

// startField starts a field solve as a job.
func (s *Server) startField(b solveBody, request json.RawMessage) (Job, error) {
	name, text, err := s.source("field", b)
	if err != nil {
		return Job{}, err
	}
	x, err := workspace.StructureText(name, []byte(text))
	if err != nil {
		return Job{}, err
	}
	if len(x.Options.Slices) == 0 {
		x.Options.Slices = append(x.Options.Slices, view.UsualSlice(x))
	}
	title := orFile(x.File.Field, name)
	plan, err := field.NewPlan(x, x.Options)
	if err != nil {
		return Job{}, problem(http.StatusUnprocessableEntity, err.Error(), "take larger cells, a smaller region, or a mirror where the structure has one")
	}
	return s.jobs.startLive("field", "field of "+title, request, func(ctx context.Context, report func(string, float64, any)) (any, error) {
		var live liveField
		base, last := 0, field.Progress{Grid: 1, Run: 1}
		r, err := field.Run(ctx, x, field.Options{Options: x.Options, Accuracy: x.File.Accuracy, Speed: plan.Speed, Progress: func(p field.Progress) {
			if p.Grid != last.Grid || p.Run != last.Run {
				base += last.Step
			}
			last = p
			live.Step, live.EnergyDB = append(live.Step, base+p.Step), append(live.EnergyDB, math.Round(100*math.Log10(math.Max(p.EnergyLeft, 1e-30)))/10)
			live.TargetDB = 10 * math.Log10(p.Target)
			if len(live.Step) > 400 { // every second one will do
				for i := range len(live.Step) / 2 {
					live.Step[i], live.EnergyDB[i] = live.Step[2*i+1], live.EnergyDB[2*i+1]
				}
				live.Step, live.EnergyDB = live.Step[:len(live.Step)/2], live.EnergyDB[:len(live.EnergyDB)/2]
			}
			report(p.Stage(), p.Fraction, &live)
		}})
		if err != nil {
			return nil, err
		}
		n, err := field.Refer(r.Result, 0)
		if err != nil {
			return nil, err
		}
		data, err := field.Touchstone(title, x, r, n)
		if err != nil {
			return nil, err
		}
		out := solvedField{Text: text, Solved: wire.NewField(title, x, plan, r, n, true), Cuts: view.StructureCuts(x), Pictures: []view.FieldPicture{}, Touchstone: string(data)}
		for _, p := range r.Slices {
			out.Pictures = append(out.Pictures, view.NewFieldPicture(x, p, pictureSide))
		}
		return out, nil
	})
}

// pictureSide is the number of points along the longer side of a picture.
const pictureSide = 96
