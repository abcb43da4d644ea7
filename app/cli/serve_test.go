package cli

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"linewright/app/view"
)

// serving runs the command until the test ends and returns the address it
// prints. The exit status comes out of ended.
func serving(t *testing.T, args ...string) (address string, stop func() int) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r, w := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, append([]string{"serve", "--no-browser", "--json"}, args...), strings.NewReader(""), w, io.Discard)
		w.Close()
	}()
	stop = func() int {
		cancel()
		select {
		case code := <-ended:
			return code
		case <-time.After(30 * time.Second):
			t.Fatal("it does not end")
			return -1
		}
	}
	var said struct{ Address string }
	if err := json.NewDecoder(r).Decode(&said); err != nil {
		t.Fatal(err)
	}
	go io.Copy(io.Discard, r)
	return said.Address, stop
}

func get(t *testing.T, address string) (int, string) {
	t.Helper()
	r, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(body)
}

func TestServe(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	address, stop := serving(t, "--demo", dir, "--port", "0")
	if !strings.HasPrefix(address, "http://127.0.0.1:") {
		t.Errorf("the address is %s", address)
	}
	if code, body := get(t, address); code != 200 || !strings.Contains(body, "<html") {
		t.Errorf("the page: %d %.200s", code, body)
	}
	if code, body := get(t, address+"api/v1/workspace"); code != 200 || !strings.Contains(body, `"demo":true`) {
		t.Errorf("the workspace: %d %s", code, body)
	}
	// A listener to events does not hold the end up.
	r, err := http.Get(address + "api/v1/events")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	if code := stop(); code != ExitMet {
		t.Errorf("exit status %d after Ctrl-C", code)
	}
	if _, err := http.Get(address); err == nil {
		t.Error("it still answers")
	}
}

// Beyond this machine it is open only to who has the token.
func TestServeListen(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	address, stop := serving(t, "--demo", dir, "--listen", "0.0.0.0", "--port", "0")
	defer stop()
	base, token, ok := strings.Cut(address, "?token=")
	if !ok || len(token) < 32 {
		t.Fatalf("the address is %s", address)
	}
	_, port, _ := net.SplitHostPort(strings.TrimSuffix(strings.TrimPrefix(base, "http://"), "/"))
	local := "http://127.0.0.1:" + port + "/api/v1/workspace"
	if code, _ := get(t, local); code != http.StatusUnauthorized {
		t.Errorf("without token: %d", code)
	}
	if code, _ := get(t, local+"?token="+token); code != 200 {
		t.Errorf("with token: %d", code)
	}
}

func TestServeRefuses(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	_, port, _ := net.SplitHostPort(taken.Addr().String())
	demo := filepath.Join(t.TempDir(), "demo")
	for _, args := range [][]string{
		{"serve", "no such folder"},
		{"serve", t.TempDir()}, // no catalogue in it
		{"serve", "--demo", demo, "--port", port},
		{"serve", "--demo", demo, "--port", "70000"},
		{"serve", "--demo", demo, "--listen", "example.org"},
		{"serve", "a", "b"},
	} {
		var out, errOut strings.Builder
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		code := run(ctx, append(args, "--no-browser"), strings.NewReader(""), &out, &errOut)
		cancel()
		if code != ExitUsage || errOut.Len() == 0 {
			t.Errorf("%v: exit status %d, %q", args, code, errOut.String())
		}
	}
}

// The command line and the workbench read the same words and give the same
// line.
func TestLineOfWorkbench(t *testing.T) {
	for _, c := range []struct {
		kind   string
		fields map[string]string
		solve  string
	}{
		{"coax", map[string]string{"inner_diameter": "1.27 mm", "outer_diameter": "2.92 mm", "permittivity": "1.05", "loss_tangent": "0.0002", "inner_roughness": "0.3 um", "temperature": "85 °C", "wall_thickness": "0.2 mm", "braid_factor": "1.5", "offset": "0.05 mm"}, ""},
		{"coax", map[string]string{"inner_diameter": "0.51 mm", "permittivity": "2.05", "outer_conductivity": "6 MS/m"}, "outer-diameter=50ohm"},
		{"microstrip", map[string]string{"height": "0.254 mm", "thickness": "35 um", "permittivity": "3.66", "loss_tangent": "0.0037", "fitted_at": "10 GHz", "roughness": "0.4 um", "roughness_model": "Groiss", "method": "formula"}, "width=50ohm"},
		{"stripline", map[string]string{"width": "0.2 mm", "spacing": "0.508 mm", "thickness": "17 um", "permittivity": "3", "offset": "0.05 mm", "walls": "3 mm"}, ""},
		{"coplanar", map[string]string{"width": "0.4 mm", "gap": "0.2 mm", "permittivity": "3", "ground_below": "false"}, ""},
		{"coplanar", map[string]string{"width": "0.4 mm", "height": "0.254 mm", "permittivity": "3", "thickness": "35 um", "cover": "2 mm"}, "gap=50ohm"},
	} {
		args := []string{c.kind, "--at", "1GHz:30GHz:5"}
		for name, value := range c.fields {
			args = append(args, "--"+strings.ReplaceAll(name, "_", "-")+"="+value)
		}
		if c.solve != "" {
			args = append(args, "--solve-for", c.solve)
		}
		want := lineJSON(t, args...)
		got, err := view.NewLine(view.LineRequest{Kind: c.kind, Fields: c.fields, At: "1GHz:30GHz:5", SolveFor: c.solve})
		if err != nil {
			t.Errorf("%s %v: %v", c.kind, c.fields, err)
			continue
		}
		if d := cmp.Diff(want, got.Line); d != "" {
			t.Errorf("%s %v: command line and workbench differ:\n%s", c.kind, c.fields, d)
		}
	}
}

// Each flag of a line is a field of the workbench's form, and the other way.
func TestLineFormsAreFlags(t *testing.T) {
	own := map[string]bool{"at": true, "solve-for": true, "plot": true, "help": true, "json": true, "quiet": true}
	for kind, fields := range view.LineForms() {
		c, _, err := newRoot(&environment{}).Find([]string{"line", kind})
		if err != nil {
			t.Fatal(err)
		}
		known := map[string]bool{}
		for _, f := range fields {
			known[strings.ReplaceAll(f.Name, "_", "-")] = true
			if c.Flags().Lookup(strings.ReplaceAll(f.Name, "_", "-")) == nil {
				t.Errorf("line %s has no flag for the field %s", kind, f.Name)
			}
		}
		c.Flags().VisitAll(func(f *flagType) {
			if !known[f.Name] && !own[f.Name] {
				t.Errorf("the form of a %s line has no field for --%s", kind, f.Name)
			}
		})
	}
}
