package web

import (
	"bytes"
	"compress/gzip"
	"embed"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"regexp"
	"strings"
)

// The pages are built from their sources beforehand and stand in the
// repository, so that building this program needs Go only.
//
//go:embed all:dist
var dist embed.FS

// missing is shown while no pages have been built.
const missing = `<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Linewright</title>
<h1>The workbench's pages are missing</h1>
<p>This program was built without them. Its calls under /api/v1 work; build the pages, then the program again.</p>
</html>
`

// hashed names carry a hash of their content, so they never change.
var hashed = regexp.MustCompile(`[-.][A-Z0-9]{8}\.(js|css|svg|woff2|wasm)$`)

// asset is one file as it is sent.
type asset struct {
	kind  string
	plain []byte
	gzip  []byte // nil: it does not get smaller
	fixed bool
	etag  string
}

// assets serves files by their names, and the page for every other address: the
// page itself reads the address.
type assets struct{ byName map[string]asset }

func newAssets(fsys fs.FS) (*assets, error) {
	if fsys == nil {
		sub, err := fs.Sub(dist, "dist")
		if err != nil {
			return nil, err
		}
		fsys = sub
	}
	a := &assets{byName: map[string]asset{}}
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(path.Base(name), ".") {
			return err
		}
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return err
		}
		kind := mime.TypeByExtension(path.Ext(name))
		switch path.Ext(name) { // whatever the machine's own table says
		case ".js":
			kind = "text/javascript; charset=utf-8"
		case ".css":
			kind = "text/css; charset=utf-8"
		case ".html":
			kind = "text/html; charset=utf-8"
		case ".svg":
			kind = "image/svg+xml"
		case ".txt":
			kind = "text/plain; charset=utf-8"
		case ".json":
			kind = "application/json"
		case ".woff2":
			kind = "font/woff2"
		case "":
			kind = "application/octet-stream"
		}
		x := asset{kind: kind, plain: data, fixed: hashed.MatchString(name), etag: `"` + etag(data) + `"`}
		var b bytes.Buffer
		z, _ := gzip.NewWriterLevel(&b, gzip.BestCompression) // a level that exists
		_, _ = z.Write(data)                                  // into memory
		_ = z.Close()
		if b.Len() < len(data)*9/10 {
			x.gzip = b.Bytes()
		}
		a.byName[name] = x
		return nil
	})
	if err != nil {
		return nil, err
	}
	if _, ok := a.byName["index.html"]; !ok {
		a.byName["index.html"] = asset{kind: "text/html; charset=utf-8", plain: []byte(missing), etag: `"missing"`}
	}
	return a, nil
}

// ServeHTTP implements http.Handler.
func (a *assets) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, "only GET and HEAD here", http.StatusMethodNotAllowed)
		return
	}
	name := strings.TrimPrefix(path.Clean(r.URL.Path), "/")
	x, ok := a.byName[name]
	if !ok {
		if path.Ext(name) != "" && strings.HasPrefix(name, "assets/") {
			http.Error(w, "no such file", http.StatusNotFound)
			return
		}
		x = a.byName["index.html"]
	}
	h := w.Header()
	h.Set("Content-Type", x.kind)
	h.Set("Cache-Control", "no-cache")
	if x.fixed {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	h.Set("ETag", x.etag)
	h.Set("Vary", "Accept-Encoding")
	if r.Header.Get("If-None-Match") == x.etag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	body := x.plain
	if x.gzip != nil && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = x.gzip
	}
	if r.Method == http.MethodGet {
		_, _ = w.Write(body) // a client that went away
	}
}
