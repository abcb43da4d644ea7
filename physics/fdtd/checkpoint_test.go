package fdtd

import (
	"bytes"
	"context"
	"io"
	"math/rand/v2"
	"reflect"
	"runtime"
	"strings"
	"testing"
)

// kept returns a state of the stripe in the middle of a run, the options it was
// written with, and what an undisturbed solution gives.
func kept(t testing.TB) ([]byte, Options, *Result) {
	o := Options{Frequencies: []float64{5e9, 15e9}, EnergyLeft: 1e-3, Layers: 4, Slices: []Slice{{Axis: 0, At: 0.5e-3, Frequencies: []float64{5e9}}}}
	whole, err := Solve(context.Background(), stripe(), o)
	if err != nil {
		t.Fatal(err)
	}
	var state bytes.Buffer
	cut, n := o, 0
	cut.CheckpointSteps = 50
	cut.Checkpoint = func() (io.WriteCloser, error) {
		if n++; n != 3 {
			return nil, nil
		}
		return nopCloser{&state}, nil
	}
	if _, err := Solve(context.Background(), stripe(), cut); err != nil || state.Len() == 0 {
		t.Fatalf("%v, a state of %d bytes", err, state.Len())
	}
	return state.Bytes(), o, whole
}

// damaged fails unless a state that was changed is refused before its first step,
// in a sentence that says what to do.
func damaged(t *testing.T, what string, state []byte, o Options) {
	t.Helper()
	o.Resume = bytes.NewReader(state)
	o.Progress = func(int, int, int, float64) { t.Errorf("%s: steps were run", what) }
	_, err := Solve(context.Background(), stripe(), o)
	if err == nil || !strings.Contains(err.Error(), "checkpoint") || !strings.Contains(err.Error(), "begin anew") && !strings.Contains(err.Error(), "resume with") {
		t.Fatalf("%s: %v", what, err)
	}
}

// No bit of a state can turn over, and no end of it can be missing, unseen.
func TestDamagedCheckpoint(t *testing.T) {
	state, o, whole := kept(t)
	o.Resume = bytes.NewReader(state)
	if got, err := Solve(context.Background(), stripe(), o); err != nil || !reflect.DeepEqual(got, whole) {
		t.Fatalf("the undamaged state: %v", err)
	}
	r := rand.New(rand.NewPCG(11, 3))
	places := []int{0, len(mark), len(mark) + 7, len(mark) + 8, len(state) - 33, len(state) - 32, len(state) - 1}
	for range 150 {
		places = append(places, r.IntN(len(state)))
	}
	for _, at := range places {
		bad := bytes.Clone(state)
		bad[at] ^= 1 << r.IntN(8)
		damaged(t, "a bit turned over", bad, o)
		damaged(t, "an end is missing", state[:at], o)
	}
}

// FuzzResume reads anything in place of a state: only the state itself goes on.
func FuzzResume(f *testing.F) {
	state, o, _ := kept(f)
	o.MaxSteps = 200
	f.Add(state[:len(state)/2], 0)
	f.Add([]byte(mark), 0)
	f.Add([]byte{}, 40)
	f.Fuzz(func(t *testing.T, text []byte, at int) {
		bad := text
		if at > 0 && at+len(text) <= len(state) { // laid over the true one
			bad = bytes.Clone(state)
			copy(bad[at:], text)
		}
		if !bytes.HasPrefix(bad, state) {
			damaged(t, "fuzzed", bad, o)
		}
	})
}

// Keeping a state needs a small part of the memory that a run does.
func TestCheckpointMemory(t *testing.T) {
	m := stripe()
	m.Lines = [3][]float64{}
	m.Region.High = Point{20e-3, 20e-3, 30e-3}
	m.Ports[0].Signal, m.Ports[1].Signal, m.Ports[1].Plane = [2]float64{0, 20e-3}, [2]float64{0, 20e-3}, 30e-3
	o := Options{Cell: 0.4e-3, MaxSteps: 101, CheckpointSteps: 100, Frequencies: []float64{5e9}}
	size, err := Estimate(m, o)
	if err != nil {
		t.Fatal(err)
	}
	var before, after runtime.MemStats
	written := 0
	o.Checkpoint = func() (io.WriteCloser, error) {
		runtime.ReadMemStats(&before)
		return counter{&written, func() { runtime.ReadMemStats(&after) }}, nil
	}
	o.Progress = func(run, _, _ int, _ float64) {}
	if _, err := Solve(context.Background(), m, o); err != nil {
		t.Fatal(err)
	}
	took := after.TotalAlloc - before.TotalAlloc
	t.Logf("%.1f MB written of a run of %.1f MB took %.2f MB", float64(written)/1e6, size.Bytes/1e6, float64(took)/1e6)
	if float64(written) < 10e6 || !(float64(took) < 0.1*size.Bytes) {
		t.Errorf("writing %d bytes of a run of %.0f took %d more", written, size.Bytes, took)
	}
}

type counter struct {
	n   *int
	end func()
}

func (c counter) Write(p []byte) (int, error) { *c.n += len(p); return len(p), nil }
func (c counter) Close() error                { c.end(); return nil }
