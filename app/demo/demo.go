// Package demo carries the demo workspace: the catalogues of invented makers,
// standard cable types, and enquiries of invented customers with some of their
// chains.
package demo

import (
	"embed"
	"io/fs"
	"path"
	"sort"
)

//go:embed files
var files embed.FS

// Files is the demo workspace as a file system.
func Files() fs.FS {
	sub, err := fs.Sub(files, "files")
	if err != nil { // the folder is embedded above
		panic(err)
	}
	return sub
}

// Names lists the workspace's files, sorted.
func Names() []string {
	var out []string
	_ = fs.WalkDir(Files(), ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			out = append(out, path.Clean(name))
		}
		return err
	})
	sort.Strings(out)
	return out
}
