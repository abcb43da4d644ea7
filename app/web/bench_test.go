package web

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"linewright/app/workspace"
)

// An edit of each demo enquiry, answered as the page asks for it: a new length
// each time, so that nothing comes from the store.
func BenchmarkEdit(b *testing.B) {
	dir := copyOfDemo(b)
	w, err := workspace.Open(dir)
	if err != nil {
		b.Fatal(err)
	}
	names, err := w.Enquiries()
	if err != nil {
		b.Fatal(err)
	}
	s := serverOf(b, dir)
	for _, name := range names {
		b.Run(idOf(name), func(b *testing.B) {
			i := 0
			for b.Loop() {
				i++
				body := fmt.Sprintf(`{"enquiry":%q,"edits":[{"path":"path.length","value":"%d.%03d m"}]}`, idOf(name), i%2, 100+i%900)
				if r := do(s, request("POST", Prefix+"/answer", body)); r.Code != http.StatusOK {
					b.Fatalf("%d %.300s", r.Code, r.Body)
				}
			}
		})
	}
}

// An edit and a search for alternatives where the catalogue has 5,000 parts.
func BenchmarkMany(b *testing.B) {
	dir := copyOfDemo(b)
	manyParts(b, dir)
	s := serverOf(b, dir)
	b.Run("edit", func(b *testing.B) {
		i := 0
		for b.Loop() {
			i++
			body := fmt.Sprintf(`{"enquiry":"d6-board-to-board-cable","edits":[{"path":"path.length","value":"0.%03d m"}]}`, 300+i%300)
			if r := do(s, request("POST", Prefix+"/answer", body)); r.Code != http.StatusOK {
				b.Fatalf("%d %.300s", r.Code, r.Body)
			}
		}
	})
	b.Run("alternatives", func(b *testing.B) {
		for b.Loop() {
			if r := do(s, request("POST", Prefix+"/alternatives", `{"chain":"bench-jumper","piece":1}`)); r.Code != http.StatusOK {
				b.Fatalf("%d %.300s", r.Code, r.Body)
			}
		}
	})
	b.Run("predict", func(b *testing.B) {
		for b.Loop() {
			if r := do(s, request("POST", Prefix+"/predict", `{"chain":"bench-jumper","quick":true}`)); r.Code != http.StatusOK {
				b.Fatalf("%d %.300s", r.Code, r.Body)
			}
		}
	})
}

// manyParts adds 4,800 cables to a workspace's catalogue.
func manyParts(t testing.TB, dir string) {
	t.Helper()
	var parts strings.Builder
	parts.WriteString("# Invented.\nname: Copperlatch (invented)\ncables:\n")
	for i := range 4800 {
		fmt.Fprintf(&parts, "  - {id: Z%d, maker: Copperlatch (invented), description: invented cable, source: invented test data, standing: invented, outer_diameter: %.2f mm, velocity_factor: 0.8, rated_frequency: %d GHz}\n", i, 1.2+float64(i%40)/10, 18+i%50)
	}
	if err := os.WriteFile(filepath.Join(dir, "catalogue", "many.yaml"), []byte(parts.String()), 0o644); err != nil {
		t.Fatal(err)
	}
}

// A swap of one part, as the page asks for it.
func BenchmarkPredict(b *testing.B) {
	s := serverOf(b, copyOfDemo(b))
	for b.Loop() {
		if r := do(s, request("POST", Prefix+"/predict", `{"chain":"bench-jumper","quick":true}`)); r.Code != http.StatusOK {
			b.Fatalf("%d %.300s", r.Code, r.Body)
		}
	}
}
