package workspace

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"

	"linewright/hardware/board"
	"linewright/hardware/launch"
	"linewright/internal/spell"
	"linewright/job/assess"
	"linewright/job/enquiry"
)

// Layouts reads the workspace's stackups and launches. Faults of all files are
// returned together.
func (w Workspace) Layouts() (assess.Layouts, error) {
	var out assess.Layouts
	var faults Faults
	collect := func(err error) error {
		var fs Faults
		var f Fault
		switch {
		case err == nil:
		case errors.As(err, &fs):
			faults = append(faults, fs...)
		case errors.As(err, &f):
			faults = append(faults, f)
		default:
			return err
		}
		return nil
	}
	names, err := w.list(StackupDir, ".yaml", ".yml")
	if err != nil {
		return out, err
	}
	for _, name := range names {
		s, err := w.Stackup(name)
		if err == nil {
			out.Stackups = append(out.Stackups, s)
		} else if err := collect(err); err != nil {
			return out, err
		}
	}
	if names, err = w.list(LaunchDir, ".yaml", ".yml"); err != nil {
		return out, err
	}
	for _, name := range names {
		d, err := w.Launch(name)
		if err == nil {
			out.Launches = append(out.Launches, d)
		} else if err := collect(err); err != nil {
			return out, err
		}
	}
	if len(faults) > 0 {
		return out, faults
	}
	return out, nil
}

// Stackup reads a stackup. Its name is the file's without its ending, unless
// it states one.
func (w Workspace) Stackup(name string) (board.Stackup, error) {
	var s board.Stackup
	data, err := w.read(name)
	if err != nil {
		return s, err
	}
	if _, err := decode(w.show(name), data, &s, false); err != nil {
		return s, err
	}
	if s.Name == "" {
		s.Name = strings.TrimSuffix(path.Base(name), path.Ext(name))
	}
	if err := s.Check(); err != nil {
		problem, help, _ := strings.Cut(err.Error(), "; ")
		return s, Fault{File: w.show(name), Err: ErrValue, Problem: problem, Help: help}
	}
	return s, nil
}

// Launch reads a launch's geometry.
func (w Workspace) Launch(name string) (launch.Design, error) {
	var d launch.Design
	data, err := w.read(name)
	if err != nil {
		return d, err
	}
	if _, err := decode(w.show(name), data, &d, false); err != nil {
		return d, err
	}
	if d.Name == "" {
		d.Name = strings.TrimSuffix(path.Base(name), path.Ext(name))
	}
	return d, nil
}

// Resolve reports what an enquiry names and the workspace does not hold.
func (w Workspace) Resolve(file string, e enquiry.Enquiry, l assess.Layouts) error {
	var stackups, launches []string
	for _, s := range l.Stackups {
		stackups = append(stackups, s.Name)
	}
	for _, d := range l.Launches {
		launches = append(launches, d.Name)
	}
	var faults Faults
	check := func(key, kind, dir, name string, known []string) {
		if name == "" {
			return
		}
		for _, k := range known {
			if k == name {
				return
			}
		}
		help := fmt.Sprintf("put it into the folder %s", dir)
		if near := spell.Nearest(name, known, 2); near != "" {
			help = fmt.Sprintf("did you mean %s?", near)
		}
		faults = append(faults, Fault{File: file, Err: fs.ErrNotExist, Found: key, Problem: fmt.Sprintf("no %s is called %q", kind, name), Help: help})
	}
	for i, end := range []enquiry.End{e.From, e.To} {
		key := [...]string{"from", "to"}[i]
		check(key+".stackup", "stackup", StackupDir, end.Stackup, stackups)
		check(key+".launch", "launch", LaunchDir, end.Launch, launches)
	}
	if len(faults) > 0 {
		return faults
	}
	return nil
}
