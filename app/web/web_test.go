package web

import (
	"testing"

	"linewright/app/workspace"
)

func serverOf(t testing.TB, dir string) *Server {
	t.Helper()
	w, err := workspace.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Options{Workspace: w})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s
}
