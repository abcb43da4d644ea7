package workspace

import (
	"errors"
	"strings"
	"testing"
	"testing/fstest"

	"linewright/app/demo"
	"linewright/hardware/board"
	"linewright/hardware/launch"
	"linewright/job/enquiry"
)

// The demo's stackups and launches read, and belong together.
func TestLayouts(t *testing.T) {
	w := Workspace{FS: demo.Files()}
	l, err := w.Layouts()
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Stackups) == 0 || len(l.Launches) == 0 {
		t.Fatalf("%d stackups, %d launches", len(l.Stackups), len(l.Launches))
	}
	for _, d := range l.Launches {
		if l.Stackup(d.Stackup) == nil {
			t.Errorf("launch %s belongs to stackup %q, which is not there", d.Name, d.Stackup)
		}
	}
	for _, s := range l.Stackups {
		if !s.Identity().Complete() {
			t.Errorf("stackup %s has no complete identity", s.Name)
		}
	}
}

// A name that the workspace does not hold is a fault with the likely one; a
// stackup that makes no sense is refused with its file.
func TestLayoutFaults(t *testing.T) {
	l := launch.Layouts{Stackups: []board.Stackup{{Name: "four-layer"}}}
	err := Workspace{}.Resolve("e.yaml", nil, enquiry.Enquiry{From: enquiry.End{Stackup: "four-layr"}, To: enquiry.End{Launch: "x"}}, l)
	var fs Faults
	if !errors.As(err, &fs) || len(fs) != 2 || !strings.Contains(fs[0].Help, "four-layer") || fs[1].Found != "to.launch" {
		t.Errorf("unknown names give %v", err)
	}
	w := Workspace{FS: fstest.MapFS{"stackups/bad.yaml": {Data: []byte("name: bad\nlayers:\n  - {name: L1, kind: copper, thickness: -1 um}\n")}}}
	_, err = w.Layouts()
	var f Fault
	if !errors.As(err, &f) || f.File != "stackups/bad.yaml" || f.Problem == "" {
		t.Errorf("a layer of negative thickness gives %v", err)
	}
}
