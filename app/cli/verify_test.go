package cli

import (
	"os"
	"path/filepath"
	"testing"
)

// Two equal fixtures may be one file: it stands on both sides.
func TestOneFixtureOnBothSides(t *testing.T) {
	name := filepath.Join(t.TempDir(), "launch.s2p")
	if err := os.WriteFile(name, []byte("# GHz S RI R 50\n1 0 0 0.9 0 0.9 0 0 0\n2 0 0 0.8 0 0.8 0 0 0\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	o, err := (&measurement{leftFixture: name, rightFixture: name}).reading(1)
	if err != nil {
		t.Fatal(err)
	}
	if o.LeftFixture == nil || o.RightFixture == nil {
		t.Errorf("left fixture %v, right fixture %v: want both", o.LeftFixture, o.RightFixture)
	}
}
