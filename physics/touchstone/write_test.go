package touchstone

import (
	"errors"
	"math"
	"strings"
	"testing"
)

func TestWriterRefuses(t *testing.T) {
	for _, c := range []struct {
		why string
		l   Layout
		o   WriteOptions
	}{
		{"no ports", Layout{}, WriteOptions{}},
		{"negative reference", Layout{Ports: 1, Reference: []float64{-50}}, WriteOptions{}},
		{"NaN reference", Layout{Ports: 1, Reference: []float64{math.NaN()}}, WriteOptions{}},
		{"two references of three", Layout{Ports: 3, Reference: []float64{50, 75}}, WriteOptions{}},
		{"1.0 with unlike references", Layout{Version: Version10, Ports: 2, Reference: []float64{50, 75}}, WriteOptions{}},
		{"1.1 Z with unlike references", Layout{Parameter: Z, Ports: 2, Reference: []float64{50, 75}}, WriteOptions{}},
		{"H of three ports", Layout{Parameter: H, Ports: 3}, WriteOptions{}},
		{"triangle in version 1", Layout{Triangle: Lower, Ports: 3}, WriteOptions{}},
		{"no count in version 2", Layout{Version: Version20, Ports: 1}, WriteOptions{}},
		{"noise of one port", Layout{Version: Version20, Ports: 1}, WriteOptions{Points: 1, Noise: 1}},
		{"half a mode pair", Layout{Version: Version20, Ports: 2, Modes: []Mode{{'D', 1, 2}, {'S', 1, 0}}}, WriteOptions{Points: 1}},
	} {
		if _, err := NewWriter(&strings.Builder{}, c.l, c.o); !errors.Is(err, ErrLayout) {
			t.Errorf("%s: %v", c.why, err)
		}
	}
	for _, c := range []struct {
		want error
		do   func(w *Writer)
	}{
		{ErrEmpty, func(w *Writer) {}},
		{ErrFrequencyOrder, func(w *Writer) { w.Write(2e9, []complex128{0}); w.Write(1e9, []complex128{0}) }},
		{ErrFrequencyOrder, func(w *Writer) { w.Write(2e9, []complex128{0}); w.Write(2e9, []complex128{0}) }},
		{ErrFrequency, func(w *Writer) { w.Write(math.NaN(), []complex128{0}) }},
		{ErrFrequency, func(w *Writer) { w.Write(-1, []complex128{0}) }},
		{ErrValue, func(w *Writer) { w.Write(1, []complex128{complex(math.NaN(), 0)}) }},
		{ErrValue, func(w *Writer) { w.Write(1, []complex128{complex(0, math.Inf(-1))}) }},
		{ErrNoisePorts, func(w *Writer) { w.Write(1, []complex128{0}); w.WriteNoise(NoisePoint{}) }},
		{ErrCount, func(w *Writer) {
			w.Write(1, []complex128{0})
			w.Write(2, []complex128{0})
			w.Write(3, []complex128{0})
		}},
	} {
		w, err := NewWriter(&strings.Builder{}, Layout{Ports: 1}, WriteOptions{Points: 2})
		if err != nil {
			t.Fatal(err)
		}
		c.do(w)
		if err := w.Close(); !errors.Is(err, c.want) {
			t.Errorf("got %v, want %v", err, c.want)
		}
	}
}

// Version 1 wraps rows after four pairs ([ibis2009], networks of five ports and
// more), and a strict reader is content with what is written.
func TestWrap(t *testing.T) {
	f := &File{Layout: Layout{Ports: 6, Format: RI}, Frequency: []float64{1e9, 2e9}, Data: make([]complex128, 72)}
	var out strings.Builder
	if err := f.Write(&out, WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(out.String(), "\n")
	if got := len(lines); got != 1+2*12+1 {
		t.Errorf("%d lines", got)
	}
	for i, want := range []int{9, 4, 8, 4} {
		if got := len(strings.Fields(lines[1+i])); got != want {
			t.Errorf("data line %d has %d numbers, want %d", i+1, got, want)
		}
	}
	if _, err := NewScanner(strings.NewReader(out.String()), "a.s6p", ReadOptions{Strict: true}).ReadAll(); err != nil {
		t.Error(err)
	}
}
