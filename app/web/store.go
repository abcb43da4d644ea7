package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"

	"linewright/app/workspace"
	"linewright/hardware/catalogue"
	"linewright/hardware/launch"
)

// stamp tells whether a file may have changed.
type stamp struct {
	size int64
	time time.Time
}

// shelf is what an answer draws on beside its enquiry.
type shelf struct {
	cat     catalogue.Catalogue
	layouts launch.Layouts
	hash    string // of the files they were read from
}

// store keeps the catalogue, the stackups and the launches as they were last
// read, and reads them again when a file they came from has changed.
type store struct {
	ws    workspace.Workspace
	mu    sync.Mutex
	seen  map[string]stamp
	shelf shelf
	errC  error // of the catalogue
	errL  error // of the stackups and launches
	ready bool
}

func newStore(ws workspace.Workspace) *store { return &store{ws: ws} }

// stamps lists the files of folders.
func stamps(ws workspace.Workspace, dirs ...string) map[string]stamp {
	out := map[string]stamp{}
	for _, dir := range dirs {
		entries, err := fs.ReadDir(ws.FS, dir)
		if err != nil {
			continue // no such folder: nothing in it
		}
		for _, e := range entries {
			if info, err := e.Info(); err == nil && !e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
				out[path.Join(dir, e.Name())] = stamp{info.Size(), info.ModTime()}
			}
		}
	}
	return out
}

func same(a, b map[string]stamp) bool {
	if len(a) != len(b) {
		return false
	}
	for k, x := range a {
		if y, ok := b[k]; !ok || x.size != y.size || !x.time.Equal(y.time) {
			return false
		}
	}
	return true
}

// catalogue returns the catalogue alone.
func (s *store) catalogue() (catalogue.Catalogue, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.read()
	return s.shelf.cat, s.errC
}

// whole returns everything an answer draws on.
func (s *store) whole() (shelf, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.read()
	return s.shelf, workspace.Together(s.errC, s.errL)
}

func (s *store) read() {
	now := stamps(s.ws, workspace.CatalogueDir, workspace.StackupDir, workspace.LaunchDir)
	if s.ready && same(now, s.seen) {
		return
	}
	s.shelf.cat, s.errC = s.ws.Catalogue()
	s.shelf.layouts, s.errL = s.ws.Layouts()
	var names []string
	for n := range now {
		names = append(names, n)
	}
	sort.Strings(names)
	h := sha256.New()
	for _, n := range names {
		data, err := fs.ReadFile(s.ws.FS, n)
		fmt.Fprintf(h, "%s %d %v\n", n, len(data), err)
		h.Write(data)
	}
	for _, f := range models(s.shelf.cat) { // files beside the catalogue that it names
		data, err := fs.ReadFile(s.ws.FS, path.Clean(f))
		fmt.Fprintf(h, "%s %d %v\n", f, len(data), err)
		h.Write(data)
	}
	s.shelf.hash, s.seen, s.ready = hex.EncodeToString(h.Sum(nil)), now, true
}

// models lists the model files that parts name.
func models(c catalogue.Catalogue) []string {
	var out []string
	for _, p := range partsOf(c) {
		if p.common.Model != nil {
			out = append(out, p.common.Model.File)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
