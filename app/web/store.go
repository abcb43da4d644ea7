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
)

// stamp tells whether a file may have changed.
type stamp struct {
	size int64
	time time.Time
}

// store keeps the catalogue as it was last read, and reads it again when a file
// it came from has changed.
type store struct {
	ws    workspace.Workspace
	mu    sync.Mutex
	seen  map[string]stamp
	cat   catalogue.Catalogue
	err   error
	hash  string
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

// catalogue returns the catalogue and a hash of the files it was read from.
func (s *store) catalogue() (catalogue.Catalogue, string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := stamps(s.ws, workspace.CatalogueDir)
	if s.ready && same(now, s.seen) {
		return s.cat, s.hash, s.err
	}
	s.cat, s.err = s.ws.Catalogue()
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
	for _, f := range models(s.cat) { // files beside the catalogue that it names
		data, err := fs.ReadFile(s.ws.FS, path.Clean(f))
		fmt.Fprintf(h, "%s %d %v\n", f, len(data), err)
		h.Write(data)
	}
	s.hash, s.seen, s.ready = hex.EncodeToString(h.Sum(nil)), now, true
	return s.cat, s.hash, s.err
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
