package field

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"linewright/app/workspace"
	"linewright/physics/fdtd"
)

// keepEvery is how often a state is kept: with the time that writing takes, a
// run that is killed loses less than a minute.
const keepEvery = 25 * time.Second

// pair is a complex number as JSON keeps it.
type pair [2]float64

func (p pair) complex() complex128 { return complex(p[0], p[1]) }

func pairs(z []complex128) []pair {
	out := make([]pair, len(z))
	for i, x := range z {
		out[i] = pair{real(x), imag(x)}
	}
	return out
}

// header begins a file of a state, on a line of its own; the solver's own state
// follows.
type header struct {
	Kind   string `json:"kind"`
	Key    string `json:"key"`    // of the structure
	Grids  []Grid `json:"grids"`  // that are done
	Before []pair `json:"before"` // S-parameters of the last of them
}

const stateKind = "state of a field solve 1"

// state is the file that a solution keeps its state in.
type state struct {
	name    string
	header  header
	resumed bool
	file    *os.File      // that is read from, while the solver has not
	body    *bufio.Reader // of it
}

// openState opens a state that was kept, if the file is there.
func openState(name, key string) (*state, error) {
	s := &state{name: name}
	if name == "" {
		return s, nil
	}
	f, err := os.Open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err != nil {
		return nil, workspace.Fault{File: name, Err: err, Problem: "it cannot be opened", Help: "check the path and the permissions"}
	}
	s.file, s.body = f, bufio.NewReaderSize(f, 1<<20)
	line, err := s.body.ReadBytes('\n')
	if err != nil || json.Unmarshal(line, &s.header) != nil || s.header.Kind != stateKind {
		f.Close()
		return nil, workspace.Fault{File: name, Err: workspace.ErrValue, Problem: "it is no state of a field solve", Help: "name a file that is not there yet, or one that --checkpoint wrote"}
	}
	if s.header.Key != key {
		f.Close()
		return nil, workspace.Fault{File: name, Err: workspace.ErrValue, Problem: "it is the state of another structure, or the file has changed since", Help: "take the unchanged file, or remove the state to begin anew"}
	}
	s.resumed = true
	return s, nil
}

// attach makes a solution go on from the state and keep it.
// When ctx ends, it is kept once more, and then enough is called.
func (s *state) attach(ctx context.Context, enough func(), o *fdtd.Options, h header, perStep float64, now func() time.Time) {
	if s.name == "" {
		return
	}
	if s.body != nil {
		o.Resume, s.body = s.body, nil
	}
	h.Kind = stateKind
	head, err := json.Marshal(h)
	if err != nil {
		panic(err) // numbers and texts of our own
	}
	o.CheckpointSteps = max(1, min(5000, int(5/perStep)))
	last := now()
	o.Checkpoint = func() (io.WriteCloser, error) {
		ending := ctx.Err() != nil
		if !ending && now().Sub(last) < keepEvery {
			return discard{}, nil
		}
		last = now()
		f, err := os.CreateTemp(filepath.Dir(s.name), filepath.Base(s.name)+".*.tmp")
		if err != nil {
			return nil, workspace.Fault{File: s.name, Err: err, Problem: "the state cannot be written: " + err.Error(), Help: "check the path, the permissions and the space left"}
		}
		k := &keeper{file: f, buffer: bufio.NewWriterSize(f, 1<<20), name: s.name}
		if ending {
			k.after = enough
		}
		k.buffer.Write(head)
		k.buffer.WriteByte('\n')
		return k, nil
	}
}

func (s *state) close() {
	if s.file != nil {
		s.file.Close()
	}
}

// finish removes the state of a solution that is done.
func (s *state) finish() error {
	if s.name == "" {
		return nil
	}
	s.close()
	s.file = nil
	if err := os.Remove(s.name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the state of the finished solution cannot be removed: %w", err)
	}
	return nil
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }
func (discard) Close() error                { return nil }

// keeper writes beside the file and takes its place when it is whole.
type keeper struct {
	file   *os.File
	buffer *bufio.Writer
	name   string
	after  func() // nil: nothing
	err    error
}

func (k *keeper) Write(p []byte) (int, error) {
	n, err := k.buffer.Write(p)
	if err != nil {
		k.err = err
	}
	return n, err
}

func (k *keeper) Close() error {
	if k.after != nil {
		defer k.after()
	}
	err := k.err
	for _, step := range []func() error{k.buffer.Flush, k.file.Sync, k.file.Close} {
		if e := step(); err == nil {
			err = e
		}
	}
	if err == nil {
		err = os.Rename(k.file.Name(), k.name)
	}
	if err != nil {
		os.Remove(k.file.Name())
		return workspace.Fault{File: k.name, Err: err, Problem: "the state cannot be written: " + err.Error(), Help: "check the space left on the disk"}
	}
	return nil
}
