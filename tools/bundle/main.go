// Bundle builds the workbench's pages into app/web/dist. Run it from the
// project's root, after npm ci --ignore-scripts in web:
//
//	go run -C tools/bundle . ../..
//
// It also writes manifest.json: a hash over every source, the lock file and the
// bundler's version, by which a test tells stale pages.
package main

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"

	"github.com/evanw/esbuild/pkg/api"
)

func main() {
	root := "."
	if len(os.Args) > 1 {
		root = os.Args[1]
	}
	if err := bundle(root); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func bundle(root string) error {
	root, err := filepath.Abs(root)
	if err != nil {
		return err
	}
	web, dist := filepath.Join(root, "web"), filepath.Join(root, "app", "web", "dist")
	r := api.Build(api.BuildOptions{
		EntryPoints: []string{filepath.Join(web, "src", "main.tsx")}, AbsWorkingDir: web, Outdir: filepath.Join(dist, "assets"), EntryNames: "[name]-[hash]", ChunkNames: "[name]-[hash]",
		Bundle: true, Splitting: true, MinifyWhitespace: true, MinifyIdentifiers: true, MinifySyntax: true, Format: api.FormatESModule, Target: api.ES2022,
		JSX: api.JSXAutomatic, JSXImportSource: "preact", LegalComments: api.LegalCommentsLinked, Metafile: true, Charset: api.CharsetUTF8,
	})
	if len(r.Errors) > 0 {
		return fmt.Errorf("%s", strings.Join(api.FormatMessages(r.Errors, api.FormatMessagesOptions{}), "\n"))
	}
	if err := os.RemoveAll(dist); err != nil {
		return err
	}
	page, err := os.ReadFile(filepath.Join(web, "src", "index.html"))
	if err != nil {
		return err
	}
	text := string(page)
	for _, f := range r.OutputFiles {
		if err := os.MkdirAll(filepath.Dir(f.Path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(f.Path, f.Contents, 0o644); err != nil {
			return err
		}
		name := "/assets/" + filepath.Base(f.Path)
		if strings.HasPrefix(name, "/assets/main-") { // the others are loaded by this one
			text = strings.ReplaceAll(text, "{{"+strings.TrimPrefix(filepath.Ext(f.Path), ".")+"}}", name)
		}
		fmt.Printf("%8d %s\n", len(f.Contents), name)
	}
	if err := os.WriteFile(filepath.Join(dist, "index.html"), []byte(text), 0o644); err != nil {
		return err
	}
	licences, err := licences(filepath.Join(web, "node_modules"))
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dist, "licences.txt"), licences, 0o644); err != nil {
		return err
	}
	bundler := version()
	hash, err := sources(os.DirFS(web), bundler)
	if err != nil {
		return err
	}
	data, err := json.MarshalIndent(map[string]string{"sources": hash, "bundler": bundler}, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dist, "manifest.json"), append(data, '\n'), 0o644)
}

// licences gathers those of the libraries that are in the bundle.
func licences(modules string) ([]byte, error) {
	var out []byte
	for _, name := range []string{"preact", "@preact/signals", "@preact/signals-core"} {
		text, err := os.ReadFile(filepath.Join(modules, name, "LICENSE"))
		if err != nil {
			return nil, err
		}
		out = append(out, []byte(name+"\n\n"+string(text)+"\n")...)
	}
	return out, nil
}

// sources hashes what the bundle is made from. The test of stale pages does the
// same.
func sources(web fs.FS, bundler string) (string, error) {
	h := sha256.New()
	fmt.Fprintln(h, bundler)
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
		return "", err
	}
	err := fs.WalkDir(web, "src", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		return add(name)
	})
	return fmt.Sprintf("%x", h.Sum(nil)), err
}

func version() string {
	info, ok := debug.ReadBuildInfo()
	if ok {
		for _, m := range info.Deps {
			if m.Path == "github.com/evanw/esbuild" {
				return "esbuild " + m.Version
			}
		}
	}
	return "esbuild"
}
