package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path"
	"regexp"
	"strings"

	"linewright/app/wire"
)

// stateDir holds what the server remembers of a workspace; it can be deleted.
const stateDir = ".linewright"

// files writes below one folder and nowhere else.
type files struct{ root *os.Root }

func openFiles(dir string) (*files, error) {
	r, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	return &files{r}, nil
}

// write writes a file as a whole or not at all.
func (f *files) write(name string, data []byte) error {
	if err := f.root.MkdirAll(path.Dir(name), 0o777); err != nil {
		return err
	}
	mode := fs.FileMode(0o644)
	if info, err := f.root.Stat(name); err == nil {
		mode = info.Mode().Perm()
	}
	temp := path.Join(path.Dir(name), "."+path.Base(name)+"."+randomHex(6))
	w, err := f.root.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	defer f.root.Remove(temp) // after the rename there is nothing to remove
	_, err = w.Write(data)
	if err == nil {
		err = w.Sync()
	}
	if e := w.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = f.root.Rename(temp, name)
	}
	return err
}

// create writes a file that must not be there yet.
func (f *files) create(name string, data []byte) error {
	if _, err := f.root.Lstat(name); err == nil {
		return fs.ErrExist
	}
	return f.write(name, data)
}

// idPattern is what an id may be: it is a file's name.
var idPattern = regexp.MustCompile(`^[A-Za-z0-9_][A-Za-z0-9._-]{0,99}$`)

// checkID refuses what could name anything but a file of the folder.
func checkID(id string) error {
	if !idPattern.MatchString(id) || strings.Contains(id, "..") || strings.HasSuffix(id, ".") {
		return problem(http.StatusBadRequest, fmt.Sprintf("%q is not an id", id), "an id has up to 100 letters, digits, points, dashes and underscores, and does not begin or end with a point")
	}
	return nil
}

// checkNewID also refuses capitals: on some machines' disks two names that
// differ in them alone are one.
func checkNewID(id string) error {
	if err := checkID(id); err != nil {
		return err
	}
	if id != strings.ToLower(id) {
		return problem(http.StatusBadRequest, fmt.Sprintf("%q has capitals", id), "write it in small letters: on some disks names that differ in capitals alone are one file")
	}
	return nil
}

// unnamed says of a file that no address can name it.
func unnamed(name string) []wire.Error {
	return []wire.Error{{File: name, Problem: "the file's name cannot stand in an address", Help: "rename it: letters, digits, points, dashes and underscores"}}
}

// find returns the file of an id in a folder.
func (s *Server) find(dir, id string) (string, error) {
	if err := checkID(id); err != nil {
		return "", err
	}
	for _, end := range []string{".yaml", ".yml"} {
		name := path.Join(dir, id+end)
		if info, err := s.root.root.Stat(name); err == nil && !info.IsDir() {
			return name, nil
		}
	}
	return "", problem(http.StatusNotFound, "there is no "+path.Join(dir, id)+".yaml", "see what there is with GET %s/%s", Prefix, dir)
}

// idOf is the id of a file.
func idOf(name string) string { return strings.TrimSuffix(path.Base(name), path.Ext(name)) }

// etag names a text.
func etag(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:16])
}

// conflict says that a file is no longer what the client saw.
func conflict(name string, now []byte) error {
	e := problem(http.StatusConflict, name+" was changed meanwhile", "look at the text that stands there now, and edit that")
	e.Text, e.ETag = string(now), etag(now)
	return e
}
