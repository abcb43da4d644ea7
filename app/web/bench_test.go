package web

import (
	"fmt"
	"net/http"
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

// A swap of one part, as the page asks for it.
func BenchmarkPredict(b *testing.B) {
	s := serverOf(b, copyOfDemo(b))
	for b.Loop() {
		if r := do(s, request("POST", Prefix+"/predict", `{"chain":"bench-jumper","quick":true}`)); r.Code != http.StatusOK {
			b.Fatalf("%d %.300s", r.Code, r.Body)
		}
	}
}
