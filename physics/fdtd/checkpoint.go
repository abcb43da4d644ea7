package fdtd

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/gob"
	"errors"
	"fmt"
	"hash"
	"io"
	"unsafe"

	"linewright/physics/fdtd/internal/yee"
)

// ErrCheckpoint says that a checkpoint cannot be gone on from: it is damaged,
// ends too early, or is of another form.
var ErrCheckpoint = errors.New("the checkpoint cannot be read")

// A checkpoint is a mark, the length of a head, the head, the SHA-256 of all that
// so far, the state of the engine, and the SHA-256 of everything. No step is run
// from one whose sums do not agree.
const mark = "fields of a run, form 2\n"

// A saved is the head of a checkpoint.
type saved struct {
	Step   int
	Size   int
	Double bool
	Series [][]float64
	Port   int
	Sums   [][][6]complexSum // of the recorders
	Seen   [][][6][]float64
	Skin   [][3]complex128
	Peak   float64    // of the energy
	Ended  []finished // runs
}

// A finished run, as a checkpoint keeps it.
type finished struct {
	In, Out    [][]complex128 // waves by port and frequency
	Pictures   map[int][]Picture
	Skin       [][3]complex128
	Steps      int
	EnergyLeft float64
}

// save writes a checkpoint, holding no second copy of the fields.
func (f *fields[T]) save(w io.Writer, e *yee.Engine[T], port int, series [][]float64) error {
	s := saved{Step: f.step, Size: f.size, Double: unsafe.Sizeof(T(0)) == 8, Series: series, Port: port, Peak: f.peak, Ended: f.ended}
	for _, r := range f.recorders {
		s.Sums, s.Seen = append(s.Sums, r.sums), append(s.Seen, r.seen)
	}
	if f.skin != nil {
		s.Skin = f.skin.sums
	}
	var head bytes.Buffer
	if err := gob.NewEncoder(&head).Encode(s); err != nil {
		return err
	}
	sum := sha256.New()
	both := io.MultiWriter(w, sum)
	if _, err := both.Write(binary.LittleEndian.AppendUint64([]byte(mark), uint64(head.Len()))); err != nil {
		return err
	}
	if _, err := both.Write(head.Bytes()); err != nil {
		return err
	}
	if _, err := both.Write(sum.Sum(nil)); err != nil {
		return err
	}
	if err := e.Save(both); err != nil {
		return err
	}
	_, err := w.Write(sum.Sum(nil))
	return err
}

// An envelope is a checkpoint that is being read: everything that was read, and its sum.
type envelope struct {
	raw  io.Reader
	sum  hash.Hash
	both io.Reader
}

func newEnvelope(r io.Reader) *envelope {
	x := &envelope{raw: r, sum: sha256.New()}
	x.both = io.TeeReader(r, x.sum)
	return x
}

func (x *envelope) damaged(what string) error {
	return fmt.Errorf("fdtd: %w: %s; take it away and begin anew", ErrCheckpoint, what)
}

// foreign says that a sound checkpoint belongs to something else.
func foreign(format string, args ...any) error {
	return fmt.Errorf("fdtd: %w: %s", ErrCheckpoint, fmt.Sprintf(format, args...))
}

// agrees reads a sum.
func (x *envelope) agrees(r io.Reader) error {
	want := x.sum.Sum(nil)
	got := make([]byte, len(want))
	if _, err := io.ReadFull(r, got); err != nil {
		return x.damaged("it ends too early")
	}
	if !bytes.Equal(got, want) {
		return x.damaged("it was damaged after it was written")
	}
	return nil
}

func (x *envelope) head(s *saved) error {
	begin := make([]byte, len(mark)+8)
	if _, err := io.ReadFull(x.both, begin); err != nil {
		return x.damaged("it ends too early")
	}
	if string(begin[:len(mark)]) != mark {
		return x.damaged("it was damaged, or another version of this program wrote it")
	}
	n := binary.LittleEndian.Uint64(begin[len(mark):])
	if n > 1<<40 {
		return x.damaged("it was damaged after it was written")
	}
	head, err := io.ReadAll(io.LimitReader(x.both, int64(n))) // grows with what is there, not with what n says
	if err != nil || uint64(len(head)) != n {
		return x.damaged("it ends too early")
	}
	if err := x.agrees(x.both); err != nil {
		return err
	}
	if err := gob.NewDecoder(bytes.NewReader(head)).Decode(s); err != nil {
		return x.damaged(err.Error())
	}
	return nil
}

// engine reads the rest.
func (x *envelope) engine(load func(io.Reader) error) error {
	if err := load(x.both); err != nil {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return x.damaged("it ends too early")
		}
		return foreign("it belongs to another model, or was damaged (%v): resume with the model and options it was written with", err)
	}
	return x.agrees(x.raw)
}

// load reads all of a checkpoint but the engine, which start reads.
func (f *fields[T]) load(r io.Reader, o Options, freq []float64, hears []int) (port int, series [][]float64, err error) {
	in := newEnvelope(r)
	var s saved
	if err := in.head(&s); err != nil {
		return 0, nil, err
	}
	if s.Double != (unsafe.Sizeof(T(0)) == 8) {
		return 0, nil, foreign("it is of the other precision: resume with the model and options it was written with")
	}
	if s.Size != f.size {
		return 0, nil, foreign("it belongs to another grid (%d places, here %d): resume with the model and options it was written with", s.Size, f.size)
	}
	f.recorders = f.grid.recorders(o, s.Port, hears)
	if f.skin = f.grid.skin(freq); f.skin != nil {
		if len(s.Skin) != len(f.skin.sums) {
			return 0, nil, foreign("it has other frequencies or other metal: resume with the model and options it was written with")
		}
		f.skin.sums = s.Skin
	}
	if len(s.Sums) != len(f.recorders) {
		return 0, nil, foreign("it holds %d slices, here %d are asked for: resume with the options it was written with", len(s.Sums), len(f.recorders))
	}
	for i, r := range f.recorders {
		if len(s.Sums[i]) != len(r.sums) || len(s.Seen[i]) != len(r.seen) {
			return 0, nil, foreign("its slice %d has other frequencies or times: resume with the options it was written with", r.place)
		}
		if len(r.sums) > 0 {
			r.sums = s.Sums[i]
		}
		if len(r.seen) > 0 {
			r.seen = s.Seen[i]
		}
	}
	f.step, f.state, f.peak, f.ended = s.Step, in, s.Peak, s.Ended
	return s.Port, s.Series, nil
}
