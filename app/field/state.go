package field

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
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

// header begins a file of a state, on a line of its own after its SHA-256; the
// solver's own state follows, with its own sums.
type header struct {
	Kind   string `json:"kind"`
	Key    string `json:"key"`    // of the structure
	Grids  []Grid `json:"grids"`  // that are done
	Before []pair `json:"before"` // S-parameters of the last of them
}

const (
	stateKind    = "state of a field solve"
	stateVersion = " 2"
)

// line is the header as it stands in the file.
func (h header) line() []byte {
	h.Kind = stateKind + stateVersion
	text, err := json.Marshal(h)
	if err != nil {
		panic(err) // numbers and texts of our own
	}
	return fmt.Appendf(nil, "%x %s\n", sha256.Sum256(text), text)
}

// state is the file that a solution keeps its state in.
type state struct {
	name    string
	every   time.Duration
	header  header
	resumed bool
	lock    *os.File
	file    *os.File      // that is read from, while the solver has not
	body    *bufio.Reader // of it
}

// anew is how a solution is begun again when its state is of no use.
const anew = "remove it to begin anew, or name another file"

// openState opens a state that was kept, if the file is there. Until it is closed
// no other process can.
func openState(name, key string, every time.Duration) (*state, error) {
	s := &state{name: name, every: every}
	if name == "" {
		return s, nil
	}
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() {
		return nil, workspace.Fault{File: name, Err: workspace.ErrValue, Problem: "it is no file that a state could be kept in", Help: "name a file that is not there yet, or one that --checkpoint wrote"}
	}
	if err := s.take(); err != nil {
		return nil, err
	}
	err := s.read(key)
	if err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

// take locks the state, which also shows that its folder can be written.
func (s *state) take() error {
	f, err := os.OpenFile(s.lockName(), os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return cannotWrite(s.name, err)
	}
	taken, err := lock(f)
	if err == nil { // another process may have taken the file away between the two
		var here, there fs.FileInfo
		if here, err = f.Stat(); err == nil {
			there, err = os.Stat(s.lockName())
			taken = err != nil || !os.SameFile(here, there)
		}
	}
	if taken {
		f.Close()
		return workspace.Fault{File: s.name, Err: workspace.ErrValue, Problem: "another process keeps its state in it just now", Help: "wait until that has ended, or name another file"}
	}
	if err != nil {
		f.Close()
		return fmt.Errorf("the state in %s cannot be locked: %w", s.name, err)
	}
	s.lock = f
	return nil
}

func (s *state) lockName() string { return s.name + ".lock" }

// partName is where a state stands until it is whole.
func (s *state) partName() string { return s.name + ".part" }

func cannotWrite(name string, err error) error {
	return workspace.Fault{File: name, Err: err, Problem: "the state cannot be written: " + err.Error(), Help: "check the path, the permissions and the space left on the disk"}
}

func (s *state) read(key string) error {
	f, err := os.Open(s.name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return workspace.Fault{File: s.name, Err: err, Problem: "it cannot be opened", Help: "check the path and the permissions"}
	}
	s.file, s.body = f, bufio.NewReaderSize(f, 1<<20)
	bad := func(problem, help string) error {
		return workspace.Fault{File: s.name, Err: workspace.ErrValue, Problem: problem, Help: help}
	}
	line, err := s.body.ReadBytes('\n')
	sum, text, _ := bytes.Cut(bytes.TrimSuffix(line, []byte("\n")), []byte(" "))
	switch ours := bytes.Contains(line, []byte(stateKind)); {
	case !ours:
		return bad("it is no state of a field solve", "name a file that is not there yet, or one that --checkpoint wrote")
	case bytes.HasPrefix(line, []byte(`{"kind":"`+stateKind)):
		return bad("it is a state that another version of this program wrote", anew)
	case err != nil || string(sum) != fmt.Sprintf("%x", sha256.Sum256(text)) || json.Unmarshal(text, &s.header) != nil:
		return bad("it is a state that was damaged after it was written", anew)
	case s.header.Kind != stateKind+stateVersion:
		return bad("it is a state that another version of this program wrote", anew)
	case s.header.Key != key:
		return bad("it is the state of another structure, or the file has changed since", "take the unchanged file, or remove the state to begin anew")
	}
	s.resumed = true
	return nil
}

// damaged turns what the solver says of its part of the state into words on the file.
func (s *state) damaged(err error) error {
	if s.name == "" || !errors.Is(err, fdtd.ErrCheckpoint) {
		return err
	}
	_, why, _ := strings.Cut(err.Error(), fdtd.ErrCheckpoint.Error()+": ")
	why, _, _ = strings.Cut(why, ": resume with")
	why, _, _ = strings.Cut(why, "; ")
	return workspace.Fault{File: s.name, Err: workspace.ErrValue, Problem: "the state cannot be gone on from: " + why, Help: anew}
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
	head := h.line()
	o.CheckpointSteps = max(1, min(5000, int(5/perStep)))
	last := now()
	o.Checkpoint = func() (io.WriteCloser, error) {
		ending := ctx.Err() != nil
		if !ending && now().Sub(last) < s.every {
			return nil, nil
		}
		last = now()
		f, err := os.Create(s.partName())
		if err != nil {
			return nil, cannotWrite(s.name, err)
		}
		k := &keeper{file: f, buffer: bufio.NewWriterSize(f, 1<<20), name: s.name}
		if ending {
			k.after = enough
		}
		k.Write(head)
		return k, nil
	}
}

func (s *state) close() {
	if s.file != nil {
		s.file.Close()
		s.file = nil
	}
	if s.lock != nil {
		os.Remove(s.lockName())
		s.lock.Close()
		s.lock = nil
	}
}

// finish removes the state of a solution that is done.
func (s *state) finish() error {
	if s.name == "" {
		return nil
	}
	for _, name := range []string{s.partName(), s.name} {
		if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("the state of the finished solution cannot be removed: %w", err)
		}
	}
	return nil
}

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
		return cannotWrite(k.name, err)
	}
	return nil
}
