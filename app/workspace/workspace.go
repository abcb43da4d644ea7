package workspace

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"sort"
	"strings"

	"linewright/hardware/catalogue"
	"linewright/hardware/chain"
	"linewright/internal/spell"
	"linewright/job/enquiry"
	"linewright/physics/network"
	"linewright/physics/touchstone"
)

// The folders of a workspace, by what they hold.
const (
	EnquiryDir   = "enquiries"
	CatalogueDir = "catalogue"
	StackupDir   = "stackups"
	LaunchDir    = "launches"
	ChainDir     = "chains"
	MeasuredDir  = "measured"
	SectionDir   = "sections"
	BodyDir      = "bodies"
	FieldDir     = "fields"
)

// Workspace is a folder of plain files that belongs in version control.
type Workspace struct {
	Root string // the folder, as the user named it
	FS   fs.FS
}

// Open returns the workspace in dir. It does not read the files yet.
func Open(dir string) (Workspace, error) {
	info, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return Workspace{}, Fault{File: dir, Err: fs.ErrNotExist, Problem: "no such folder", Help: "name an existing workspace, or write one with: linewright demo"}
	case err != nil:
		return Workspace{}, err
	case !info.IsDir():
		return Workspace{}, Fault{File: dir, Err: fs.ErrInvalid, Problem: "not a folder", Help: "a workspace is a folder with enquiries and a catalogue in it"}
	}
	return Workspace{Root: dir, FS: os.DirFS(dir)}, nil
}

// Around returns the workspace that holds the named file: the nearest folder
// above it that has a catalogue folder. name is then the file's path within.
func Around(file string) (w Workspace, name string, err error) {
	abs, err := filepath.Abs(file)
	if err != nil {
		return w, "", err
	}
	if _, err := os.Stat(abs); err != nil {
		help := "check the path; enquiries usually stand in the folder " + EnquiryDir
		beside := Workspace{FS: os.DirFS(filepath.Dir(abs))}
		if near := beside.similar(filepath.Base(abs)); near != "" {
			help = "did you mean " + filepath.Join(filepath.Dir(file), near) + "?"
		}
		return w, "", Fault{File: file, Err: fs.ErrNotExist, Problem: "no such file", Help: help}
	}
	for dir := filepath.Dir(abs); ; dir = filepath.Dir(dir) {
		if info, err := os.Stat(filepath.Join(dir, CatalogueDir)); err == nil && info.IsDir() {
			rel, err := filepath.Rel(dir, abs)
			if err != nil {
				return w, "", err
			}
			if here, err := os.Getwd(); err == nil && !filepath.IsAbs(file) { // messages name files as the user did
				if short, err := filepath.Rel(here, dir); err == nil {
					dir = short
				}
			}
			w, err = Open(dir)
			return w, filepath.ToSlash(rel), err
		}
		if dir == filepath.Dir(dir) {
			return w, "", Fault{File: file, Err: fs.ErrNotExist, Problem: "no folder above it holds a catalogue", Help: "put it into a workspace beside a folder " + CatalogueDir + ", or name the workspace with --workspace"}
		}
	}
}

// read returns the bytes of a file, with a fault a user can act on.
func (w Workspace) read(name string) ([]byte, error) {
	info, err := fs.Stat(w.FS, name)
	if err != nil {
		help := "check the path; it is relative to the workspace"
		if near := w.similar(name); near != "" {
			help = "did you mean " + near + "?"
		}
		return nil, Fault{File: w.show(name), Err: fs.ErrNotExist, Problem: "no such file", Help: help}
	}
	if info.IsDir() {
		return nil, Fault{File: w.show(name), Err: fs.ErrInvalid, Problem: "a folder, not a file", Help: "name a file in it"}
	}
	if info.Size() > maxBytes {
		return nil, Fault{File: w.show(name), Err: ErrTooLarge, Problem: fmt.Sprintf("the file has %d MB", info.Size()>>20), Help: fmt.Sprintf("a file of this kind has at most %d MB: is it the right one?", maxBytes>>20)}
	}
	return fs.ReadFile(w.FS, name)
}

// show is how a file's path is written in a message.
func (w Workspace) show(name string) string {
	if w.Root == "" || w.Root == "." {
		return name
	}
	return filepath.Join(w.Root, filepath.FromSlash(name))
}

// similar returns the file of the same folder whose name is nearest, or begins
// alike.
func (w Workspace) similar(name string) string {
	entries, _ := fs.ReadDir(w.FS, path.Dir(name))
	base := strings.TrimSuffix(path.Base(name), path.Ext(name))
	var names []string
	for _, e := range entries {
		if !e.IsDir() {
			names = append(names, e.Name())
		}
	}
	if near := spell.Nearest(path.Base(name), names, 3); near != "" {
		return path.Join(path.Dir(name), near)
	}
	for _, n := range names {
		if base != "" && strings.HasPrefix(n, base) {
			return path.Join(path.Dir(name), n)
		}
	}
	return ""
}

// list returns the files of a folder with one of the endings, sorted.
func (w Workspace) list(dir string, endings ...string) ([]string, error) {
	entries, err := fs.ReadDir(w.FS, dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		for _, end := range endings {
			if !e.IsDir() && strings.HasSuffix(strings.ToLower(e.Name()), end) {
				out = append(out, path.Join(dir, e.Name()))
			}
		}
	}
	sort.Strings(out)
	return out, nil
}

// Enquiries lists the enquiry files.
func (w Workspace) Enquiries() ([]string, error) { return w.list(EnquiryDir, ".yaml", ".yml") }

// Chains lists the chain files.
func (w Workspace) Chains() ([]string, error) { return w.list(ChainDir, ".yaml", ".yml") }

// Enquiry reads an enquiry. Its ID is the file's name without its ending.
func (w Workspace) Enquiry(name string) (enquiry.Enquiry, error) {
	data, err := w.read(name)
	if err != nil {
		return enquiry.Enquiry{}, err
	}
	return w.EnquiryText(name, data)
}

// Catalogue reads every file of the catalogue folder as one catalogue, YAML and
// CSV alike. Faults of all files are returned together.
func (w Workspace) Catalogue() (catalogue.Catalogue, error) {
	var faults Faults
	var cs []catalogue.Catalogue
	names, err := w.list(CatalogueDir, ".yaml", ".yml", ".csv")
	if err != nil {
		return catalogue.Catalogue{}, err
	}
	if len(names) == 0 {
		return catalogue.Catalogue{}, Fault{File: w.show(CatalogueDir), Err: ErrEmpty, Problem: "the catalogue is empty", Help: "add a .yaml or .csv file with parts; an example comes with: linewright demo"}
	}
	for _, name := range names {
		c, err := w.CatalogueFile(name)
		if err != nil {
			var fs Faults
			var f Fault
			switch {
			case errors.As(err, &fs):
				faults = append(faults, fs...)
			case errors.As(err, &f):
				faults = append(faults, f)
			default:
				return catalogue.Catalogue{}, err
			}
			continue
		}
		cs = append(cs, c)
	}
	if len(faults) > 0 {
		return catalogue.Catalogue{}, faults
	}
	return catalogue.Join(cs...), nil
}

// CatalogueFile reads one catalogue file, and the model files it names.
func (w Workspace) CatalogueFile(name string) (catalogue.Catalogue, error) {
	var c catalogue.Catalogue
	data, err := w.read(name)
	if err != nil {
		return c, err
	}
	if strings.HasSuffix(strings.ToLower(name), ".csv") {
		c, err = decodeCSV(w.show(name), data)
	} else {
		_, err = decode(w.show(name), data, &c, false)
	}
	if err != nil {
		return c, err
	}
	return c, w.loadModels(&c, name)
}

// loadModels reads the Touchstone files that parts name.
func (w Workspace) loadModels(c *catalogue.Catalogue, name string) error {
	var faults Faults
	load := func(id, file string) *network.Network {
		n, err := w.Network(file)
		if err != nil {
			faults = append(faults, Fault{File: w.show(name), Err: ErrValue, Found: id, Problem: "its model file " + file + " cannot be read", Help: "correct the path, which is relative to the workspace, or the file"})
			var inside Faults
			var one Fault
			switch {
			case errors.As(err, &inside):
				faults = append(faults, inside...)
			case errors.As(err, &one):
				faults = append(faults, one)
			}
		}
		return n
	}
	for i := range c.CableConnectors {
		if m := c.CableConnectors[i].Model; m != nil {
			m.Network = load(c.CableConnectors[i].ID, m.File)
		}
	}
	for i := range c.BoardConnectors {
		if m := c.BoardConnectors[i].Model; m != nil {
			m.Network = load(c.BoardConnectors[i].ID, m.File)
		}
	}
	for i := range c.Adapters {
		if m := c.Adapters[i].Model; m != nil {
			m.Network = load(c.Adapters[i].ID, m.File)
		}
	}
	for i := range c.Bullets {
		if m := c.Bullets[i].Model; m != nil {
			m.Network = load(c.Bullets[i].ID, m.File)
		}
	}
	if len(faults) > 0 {
		return faults
	}
	return nil
}

// Network reads a Touchstone file of the workspace.
func (w Workspace) Network(name string) (*network.Network, error) {
	n, _, err := w.model(name)
	return n, err
}

// model is Network with what the file says of itself, nil where it says nothing.
func (w Workspace) model(name string) (*network.Network, *touchstone.Header, error) {
	f, err := w.FS.Open(path.Clean(name))
	if err != nil {
		return nil, nil, Fault{File: w.show(name), Err: fs.ErrNotExist, Problem: "no such file", Help: "check the path; it is relative to the workspace"}
	}
	defer f.Close()
	t, err := touchstone.Read(f, w.show(name), 0)
	if err != nil {
		return nil, nil, ReadFaults(w.show(name), err)
	}
	n, err := t.Network()
	if err != nil {
		return nil, nil, Fault{File: w.show(name), Err: err, Problem: "its data give no scattering parameters: " + err.Error(), Help: "export S-parameters"}
	}
	h, err := touchstone.ParseHeader(w.show(name), t.Comments)
	if err != nil { // comments of another kind: the file says nothing that counts
		h = nil
	}
	return &n, h, nil
}

// ReadFaults turns what is wrong with a Touchstone file into faults.
func ReadFaults(name string, err error) Faults {
	var all Faults
	var walk func(error)
	walk = func(e error) {
		var s *touchstone.SyntaxError
		var u *touchstone.UnsupportedError
		switch many := e.(type) {
		case interface{ Unwrap() []error }:
			for _, x := range many.Unwrap() {
				walk(x)
			}
			return
		}
		switch {
		case errors.As(e, &s):
			all = append(all, Fault{File: s.File, Line: s.Line, Column: s.Column, Found: s.Found, Err: s.Err, Problem: s.Err.Error(), Help: s.Help})
		case errors.As(e, &u):
			all = append(all, Fault{File: u.File, Line: u.Line, Column: u.Column, Found: u.Found, Err: u.Err, Problem: u.Err.Error(), Help: u.Help})
		default:
			all = append(all, Fault{File: name, Err: e, Problem: e.Error(), Help: "check that the file can be read to its end"})
		}
	}
	walk(err)
	return all
}

// Chain reads a chain and the files its pieces name.
func (w Workspace) Chain(name string) (chain.Spec, error) {
	data, err := w.read(name)
	if err != nil {
		return chain.Spec{}, err
	}
	return w.ChainText(name, data)
}

// WriteFile writes a file of the workspace as a whole or not at all: into a
// temporary file beside it, flushed, then renamed.
func (w Workspace) WriteFile(name string, data []byte) error {
	return WriteFile(filepath.Join(w.Root, filepath.FromSlash(name)), data)
}

// WriteFile writes a file as a whole or not at all, making its folder. Through
// a link it writes the file that is meant. A device or a pipe is written to,
// never put aside for a file.
func WriteFile(name string, data []byte) error {
	if info, err := os.Stat(name); err == nil {
		switch {
		case info.IsDir():
			return &fs.PathError{Op: "write", Path: name, Err: errors.New("a folder stands there")}
		case !info.Mode().IsRegular():
			return writeThrough(name, data)
		}
		if target, err := filepath.EvalSymlinks(name); err == nil {
			name = target
		}
	}
	dir := filepath.Dir(name)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, "."+filepath.Base(name)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // after the rename there is nothing to remove
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o666&^umask)
	}
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	return err
}

// writeThrough writes to what is there and is no file.
func writeThrough(name string, data []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Close())
}

// umask is the usual mask of a file that others may read.
const umask = 0o022
