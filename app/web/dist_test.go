package web

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"testing"
)

// TestPagesFresh tells pages that were not built again after their sources
// changed. It hashes what tools/bundle hashes.
func TestPagesFresh(t *testing.T) {
	var manifest struct{ Sources, Bundler string }
	data, err := fs.ReadFile(dist, "dist/manifest.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &manifest); err != nil {
		t.Fatal(err)
	}
	web := os.DirFS("../../web")
	h := sha256.New()
	fmt.Fprintln(h, manifest.Bundler)
	add := func(name string) error {
		data, err := fs.ReadFile(web, name)
		if err != nil {
			return err
		}
		fmt.Fprintf(h, "%s %d\n", name, len(data))
		h.Write(data)
		return nil
	}
	if err := add("package-lock.json"); err != nil {
		t.Fatal(err)
	}
	err = fs.WalkDir(web, "src", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		return add(name)
	})
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprintf("%x", h.Sum(nil)); got != manifest.Sources {
		t.Error("web/src or web/package-lock.json changed after app/web/dist was built; build it again with: go run -C tools/bundle . ../..")
	}
	mod, err := os.ReadFile("../../tools/bundle/go.mod")
	if err != nil {
		t.Fatal(err)
	}
	if want := strings.TrimPrefix(manifest.Bundler, "esbuild "); !strings.Contains(string(mod), "esbuild "+want) {
		t.Errorf("app/web/dist was built by esbuild %s, which tools/bundle/go.mod does not name", want)
	}
}
