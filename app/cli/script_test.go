package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"linewright/app/demo"
)

// The scripts under testdata/script drive the whole command line. Each carries
// its own files, begun by lines such as
//
//	-- enquiries/a.yaml --
//
// and commands above them, one a line; # starts a comment:
//
//	run ARGS...            runs linewright in the script's folder ('...' keeps blanks together)
//	exit N                 its exit status
//	out TEXT, err TEXT     standard output or error contains the text
//	noout, noerr           nothing stands there
//	json PATH VALUE        the document's value at a path such as errors.0.file; ? stands for anything but null
//	count PATH N           the length of a list
//	near PATH VALUE REL    a number within a relative tolerance
//	files NAME...          exactly these files stand in the folder, besides those of the script
//	demofiles FOLDER       exactly the demo's files stand there
//	demo                   writes the demo workspace into the folder
//	append FILE TEXT, crlf FILE, bom FILE, bytes FILE HEX..., big FILE MEGABYTES, dir NAME
//
// Every run is checked for a clean separation: with --json standard output is
// one JSON document and nothing else.
func TestScripts(t *testing.T) {
	names, err := filepath.Glob("testdata/script/*.txt")
	if err != nil || len(names) == 0 {
		t.Fatal("no scripts", err)
	}
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txt"), func(t *testing.T) {
			t.Chdir(t.TempDir())
			runScript(t, filepath.Base(name), string(data))
		})
	}
}

type script struct {
	t        *testing.T
	file     string
	line     int
	own      map[string]bool // files that the script itself made
	code     int
	out, err string
	doc      any
}

func (s *script) fail(format string, args ...any) {
	s.t.Helper()
	s.t.Errorf("%s:%d: %s\nstdout: %s\nstderr: %s", s.file, s.line, fmt.Sprintf(format, args...), clip(s.out), clip(s.err))
}

func clip(s string) string {
	if len(s) > 2000 {
		return s[:2000] + "..."
	}
	return s
}

func runScript(t *testing.T, file, text string) {
	s := &script{t: t, file: file, own: map[string]bool{}}
	commands, files := splitScript(text)
	for name, content := range files {
		s.write(name, []byte(content))
	}
	for i, l := range strings.Split(commands, "\n") {
		s.line = i + 1
		if l = strings.TrimSpace(l); l == "" || l[0] == '#' {
			continue
		}
		words := fields(l)
		rest := strings.TrimSpace(strings.TrimPrefix(l, words[0]))
		s.do(words[0], words[1:], rest)
	}
}

// splitScript parts the commands from the files they need.
func splitScript(text string) (commands string, files map[string]string) {
	files = map[string]string{}
	name := ""
	var b strings.Builder
	end := func() {
		if name == "" {
			commands = b.String()
		} else {
			files[name] = b.String()
		}
		b.Reset()
	}
	for _, l := range strings.SplitAfter(text, "\n") {
		if t := strings.TrimSpace(l); strings.HasPrefix(t, "-- ") && strings.HasSuffix(t, " --") {
			end()
			name = strings.TrimSpace(t[3 : len(t)-3])
			continue
		}
		b.WriteString(l)
	}
	end()
	return commands, files
}

// fields splits at blanks; single quotes keep them.
func fields(l string) []string {
	var out []string
	var b strings.Builder
	quoted, started := false, false
	for _, r := range l {
		switch {
		case r == '\'':
			quoted, started = !quoted, true
		case r == ' ' && !quoted:
			if started {
				out = append(out, b.String())
			}
			b.Reset()
			started = false
		default:
			b.WriteRune(r)
			started = true
		}
	}
	if started {
		out = append(out, b.String())
	}
	return out
}

func (s *script) write(name string, data []byte) {
	s.t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		s.t.Fatal(err)
	}
	if err := os.WriteFile(name, data, 0o666); err != nil {
		s.t.Fatal(err)
	}
	s.own[filepath.ToSlash(name)] = true
}

func (s *script) read(name string) []byte {
	s.t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		s.t.Fatal(err)
	}
	return data
}

func (s *script) do(command string, words []string, rest string) {
	s.t.Helper()
	switch command {
	case "run":
		s.run(words)
	case "exit":
		if want, _ := strconv.Atoi(rest); s.code != want {
			s.fail("exit status %d, want %d", s.code, want)
		}
	case "out":
		if !strings.Contains(s.out, rest) {
			s.fail("standard output lacks %q", rest)
		}
	case "err":
		if !strings.Contains(s.err, rest) {
			s.fail("standard error lacks %q", rest)
		}
	case "noout":
		if s.out != "" {
			s.fail("standard output is not empty")
		}
	case "noerr":
		if s.err != "" {
			s.fail("standard error is not empty")
		}
	case "json":
		path, want, _ := strings.Cut(rest, " ")
		got := s.at(path)
		if want == "?" {
			if got == nil {
				s.fail("%s is null", path)
			}
		} else if text := fmt.Sprint(got); text != strings.TrimSpace(want) {
			s.fail("%s is %q, want %q", path, text, want)
		}
	case "count":
		list, ok := s.at(words[0]).([]any)
		if want, _ := strconv.Atoi(words[1]); !ok || len(list) != want {
			s.fail("%s has %d items, want %s", words[0], len(list), words[1])
		}
	case "near":
		got, ok := s.at(words[0]).(float64)
		want, _ := strconv.ParseFloat(words[1], 64)
		rel, _ := strconv.ParseFloat(words[2], 64)
		if d := got - want; !ok || !(d <= rel*want && -d <= rel*want) {
			s.fail("%s is %v, want %v within %v of it", words[0], got, want, rel)
		}
	case "files":
		s.files(words)
	case "demofiles":
		var want []string
		for _, name := range demo.Names() {
			want = append(want, rest+"/"+name)
		}
		s.files(want)
	case "demo":
		for _, name := range demo.Names() {
			data, err := fs.ReadFile(demo.Files(), name)
			if err != nil {
				s.t.Fatal(err)
			}
			s.write(name, data)
		}
	case "append":
		_, text, _ := strings.Cut(rest, " ")
		s.write(words[0], append(s.read(words[0]), strings.ReplaceAll(text, `\n`, "\n")...))
	case "crlf":
		s.write(rest, bytes.ReplaceAll(s.read(rest), []byte("\n"), []byte("\r\n")))
	case "bom":
		s.write(rest, append([]byte("\ufeff"), s.read(rest)...))
	case "bytes":
		var data []byte
		for _, w := range words[1:] {
			x, err := strconv.ParseUint(w, 16, 8)
			if err != nil {
				s.t.Fatal(err)
			}
			data = append(data, byte(x))
		}
		s.write(words[0], data)
	case "big":
		n, _ := strconv.Atoi(words[1])
		s.write(words[0], nil)
		if err := os.Truncate(words[0], int64(n)<<20); err != nil {
			s.t.Fatal(err)
		}
	case "dir":
		if err := os.MkdirAll(rest, 0o777); err != nil {
			s.t.Fatal(err)
		}
	default:
		s.t.Fatalf("%s:%d: no command %q", s.file, s.line, command)
	}
}

func (s *script) run(args []string) {
	var out, errOut bytes.Buffer
	s.code = run(context.Background(), args, strings.NewReader(""), &out, &errOut)
	s.out, s.err, s.doc = out.String(), errOut.String(), nil
	for _, a := range args {
		if a != "--json" {
			continue
		}
		d := json.NewDecoder(&out)
		if err := d.Decode(&s.doc); err != nil {
			s.fail("standard output is no JSON: %v", err)
			return
		}
		if d.More() {
			s.fail("more than one document")
		}
		if s.code == ExitUsage { // one object per fault, each with what is wrong and what to do
			list, _ := s.at("errors").([]any)
			if len(list) == 0 {
				s.fail("exit status 2 without errors")
			}
			for _, e := range list {
				m, _ := e.(map[string]any)
				for _, k := range []string{"file", "line", "column", "found", "problem", "help"} {
					if _, ok := m[k]; !ok {
						s.fail("an error lacks %q", k)
					}
				}
				if m["problem"] == "" || m["help"] == "" {
					s.fail("an error without problem or help: %v", m)
				}
			}
		}
	}
	if s.code == ExitUsage && s.doc == nil && s.err == "" {
		s.fail("exit status 2 and not a word on standard error")
	}
}

// at follows a path such as errors.0.file.
func (s *script) at(path string) any {
	x := s.doc
	for _, key := range strings.Split(path, ".") {
		switch y := x.(type) {
		case map[string]any:
			v, ok := y[key]
			if !ok {
				s.fail("the document has no %q in %s", key, path)
				return nil
			}
			x = v
		case []any:
			i, err := strconv.Atoi(key)
			if err != nil || i < 0 || i >= len(y) {
				s.fail("the list in %s has no item %s", path, key)
				return nil
			}
			x = y[i]
		default:
			s.fail("nothing lies below %q in %s", key, path)
			return nil
		}
	}
	return x
}

// files asks that just these files were made.
func (s *script) files(want []string) {
	left := map[string]bool{}
	for _, w := range want {
		left[w] = true
	}
	for _, name := range tree(s.t, ".") {
		switch {
		case s.own[name]:
		case left[name]:
			delete(left, name)
		default:
			s.fail("%s stands there", name)
		}
	}
	for name := range left {
		s.fail("%s does not stand there", name)
	}
}

// tree lists every file below a folder, hidden and half-written ones too.
func tree(t *testing.T, dir string) []string {
	t.Helper()
	var names []string
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			names = append(names, filepath.ToSlash(name))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}
