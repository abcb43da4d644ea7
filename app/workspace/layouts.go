package workspace

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"linewright/hardware/board"
	"linewright/hardware/chain"
	"linewright/hardware/launch"
	"linewright/internal/spell"
	"linewright/job/enquiry"
)

// Layouts reads the workspace's stackups and launches. Faults of all files are
// returned together.
func (w Workspace) Layouts() (launch.Layouts, error) {
	var out launch.Layouts
	var errs []error
	names, err := w.list(StackupDir, ".yaml", ".yml")
	if err != nil {
		return out, err
	}
	for _, name := range names {
		s, err := w.Stackup(name)
		if err == nil {
			out.Stackups = append(out.Stackups, s)
		}
		errs = append(errs, err)
	}
	if names, err = w.list(LaunchDir, ".yaml", ".yml"); err != nil {
		return out, err
	}
	whole := Together(errs...) == nil // else a stackup that is named may be one that could not be read
	for _, name := range names {
		d, places, err := w.launch(name)
		if err == nil {
			out.Launches = append(out.Launches, d)
			if whole && d.Stackup != "" && out.Stackup(d.Stackup) == nil {
				err = places.unknown("stackup", "stackup", StackupDir, d.Stackup, stackupNames(out))
			}
		}
		errs = append(errs, err)
	}
	return out, Together(errs...)
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
	d, _, err := w.launch(name)
	return d, err
}

func (w Workspace) launch(name string) (launch.Design, where, error) {
	var d launch.Design
	data, err := w.read(name)
	if err != nil {
		return d, where{}, err
	}
	places, err := decodePlaces(w.show(name), data, &d)
	if d.Name == "" {
		d.Name = strings.TrimSuffix(path.Base(name), path.Ext(name))
	}
	return d, places, err
}

func stackupNames(l launch.Layouts) []string {
	var names []string
	for _, s := range l.Stackups {
		names = append(names, s.Name)
	}
	return names
}

// unknown is the fault of a key that names what the workspace does not hold.
func (w where) unknown(key, kind, dir, name string, known []string) Fault {
	help := fmt.Sprintf("put it into the folder %s", dir)
	if near := spell.Nearest(name, known, 3); near != "" {
		help = fmt.Sprintf("did you mean %s?", near)
	}
	return w.at(key, fs.ErrNotExist, key, fmt.Sprintf("no %s is called %q", kind, name), help)
}

// Resolve reports what an enquiry names and l does not hold. text is the
// enquiry's, from which the places of faults are taken; it may be nil.
func (w Workspace) Resolve(name string, text []byte, e enquiry.Enquiry, l launch.Layouts) error {
	var launches []string
	for _, d := range l.Launches {
		launches = append(launches, d.Name)
	}
	places := where{file: w.show(name)}
	var faults Faults
	check := func(key, kind, dir, name string, known []string) {
		if name == "" || slices.Contains(known, name) {
			return
		}
		if places.places == nil && text != nil {
			d := &decoder{file: places.file, allow: true, places: map[string]spot{}}
			d.run(text, new(enquiry.Enquiry))
			places.places = d.places
		}
		faults = append(faults, places.unknown(key, kind, dir, name, known))
	}
	for i, end := range []enquiry.End{e.From, e.To} {
		key := [...]string{"from", "to"}[i]
		check(key+".stackup", "stackup", StackupDir, end.Stackup, stackupNames(l))
		check(key+".launch", "launch", LaunchDir, end.Launch, launches)
		if p := end.Footprint; p != nil {
			check(key+".footprint.stackup", "stackup", StackupDir, p.Stackup, stackupNames(l))
		}
	}
	if len(faults) > 0 {
		return faults
	}
	return nil
}

// resolveChain looks up the stackups and launches that the pieces of s name.
func (w Workspace) resolveChain(s chain.Spec, places where) error {
	if !s.Names() {
		return nil
	}
	l, err := w.Layouts()
	if err != nil {
		return err
	}
	var faults Faults
	var walk func(error)
	walk = func(err error) {
		var b *chain.BuildError
		if many, ok := err.(interface{ Unwrap() []error }); ok {
			for _, x := range many.Unwrap() {
				walk(x)
			}
		} else if errors.As(err, &b) {
			faults = append(faults, places.at(fmt.Sprintf("pieces[%d].%s", b.Piece, b.Key), ErrValue, fmt.Sprintf("piece %d", b.Piece+1), b.Problem, b.Help))
		}
	}
	walk(s.Resolve(l))
	if len(faults) > 0 {
		return faults
	}
	return nil
}
