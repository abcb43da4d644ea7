package inspect

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"
)

// A file longer than what is held at once gives the same worst values; the
// metrics that need the whole are said to be left out.
func TestPiecewise(t *testing.T) {
	var b strings.Builder
	b.WriteString("# GHz S MA R 50\n")
	for k := range 1000 {
		a := 0.9
		if k == 637 {
			a = 1.25
		}
		fmt.Fprintf(&b, "%g 0.1 %d %g %d %g %d 0.1 %d\n", 1+float64(k)/100, -k%360, a, -5*k%360, a, -5*k%360, -k%360)
	}
	judged := func(keep int) File {
		d, err := Judge(context.Background(), strings.NewReader(b.String()), "long.s2p", 0, keep)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	find := func(d File, name string) Finding {
		for _, f := range d.Findings {
			if f.Finding == name {
				return f
			}
		}
		t.Fatalf("no finding %q", name)
		return Finding{}
	}
	whole, pieces := judged(1<<20), judged(100)
	if whole.ReadPiecewise || !pieces.ReadPiecewise || len(pieces.LeftOut) == 0 {
		t.Errorf("piecewise: %v and %v, left out %q", whole.ReadPiecewise, pieces.ReadPiecewise, pieces.LeftOut)
	}
	if whole.Points != 1000 || pieces.Points != 1000 {
		t.Errorf("%d and %d points, want 1000", whole.Points, pieces.Points)
	}
	for _, name := range []string{"passivity", "reciprocity", "transmission", "low end"} {
		w, p := find(whole, name), find(pieces, name)
		if *w.Figure != *p.Figure || (w.AtHz == nil) != (p.AtHz == nil) || w.AtHz != nil && *w.AtHz != *p.AtHz {
			t.Errorf("%s: %v whole, %v piece by piece", name, *w.Figure, *p.Figure)
		}
	}
	if f := find(whole, "transmission"); *f.AtHz != 7.37e9 || !(math.Abs(*f.Figure-20*math.Log10(1.25)) <= 1e-9) {
		t.Errorf("the worst transmission is %v dB at %v Hz, want 1.938 at 7.37 GHz", *f.Figure, *f.AtHz)
	}
	if f := find(pieces, "causality"); f.Verdict != NotAssessed {
		t.Errorf("causality of a file read piece by piece is %s", f.Verdict)
	}
}
