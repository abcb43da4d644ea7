package web

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"linewright/app/workspace"
)

func TestSkeleton(t *testing.T) {
	w, err := workspace.Open("../demo/files")
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Options{Workspace: w})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, u := range []string{"/workspace", "/enquiries", "/enquiries/d3-board-to-board/answer", "/parts", "/openapi.json"} {
		r := httptest.NewRecorder()
		q := httptest.NewRequest("GET", "http://127.0.0.1:1"+Prefix+u, nil)
		s.ServeHTTP(r, q)
		if r.Code != http.StatusOK {
			t.Errorf("GET %s: %d %s", u, r.Code, r.Body)
		}
	}
}
