package yee

import (
	"encoding/binary"
	"fmt"
	"io"
	"unsafe"
)

// parts are the numbers that change from step to step: fields, and the memory of
// layers and materials.
func (e *Engine[T]) parts() [][]T {
	out := [][]T{e.fields, e.psiX, e.psiY, e.psiZ}
	for _, d := range e.spans {
		out = append(out, d.j)
	}
	return out
}

// shape says of which grid a state is: cells, bytes of a number, and the length
// of each part.
func (e *Engine[T]) shape() []int64 {
	out := []int64{int64(e.n[0]), int64(e.n[1]), int64(e.n[2]), int64(unsafe.Sizeof(T(0)))}
	for _, p := range e.parts() {
		out = append(out, int64(len(p)))
	}
	return out
}

// chunk is how many numbers are turned into bytes at once, so that a state is
// written and read without a second one in memory.
const chunk = 8192

// Save writes the state. What the meters have read is the caller's to keep.
func (e *Engine[T]) Save(w io.Writer) error {
	if e.broken {
		return fmt.Errorf("yee: the state of a cancelled run cannot be saved")
	}
	if err := binary.Write(w, binary.LittleEndian, append([]int64{int64(e.step)}, e.shape()...)); err != nil {
		return err
	}
	buffer := make([]byte, 0, chunk*int(unsafe.Sizeof(T(0))))
	for _, p := range e.parts() {
		for len(p) > 0 {
			n := min(chunk, len(p))
			bytes, err := binary.Append(buffer, binary.LittleEndian, p[:n])
			if err != nil {
				return err
			}
			if _, err := w.Write(bytes); err != nil {
				return err
			}
			p = p[n:]
		}
	}
	return nil
}

// Load reads a state that Save wrote of an engine of the same Config. After an
// error the engine holds no state.
func (e *Engine[T]) Load(r io.Reader) error {
	want := e.shape()
	got := make([]int64, 1+len(want))
	if err := binary.Read(r, binary.LittleEndian, got); err != nil {
		return fmt.Errorf("yee: the state cannot be read: %w", err)
	}
	for i, n := range want {
		if got[1+i] != n {
			return fmt.Errorf("yee: the state is of another grid (figure %d is %d, here %d)", i+1, got[1+i], n)
		}
	}
	e.step, e.broken = int(got[0]), true
	buffer := make([]byte, chunk*int(unsafe.Sizeof(T(0))))
	for _, p := range e.parts() {
		for len(p) > 0 {
			n := min(chunk, len(p))
			bytes := buffer[:n*int(unsafe.Sizeof(T(0)))]
			if _, err := io.ReadFull(r, bytes); err != nil {
				return fmt.Errorf("yee: the state cannot be read: %w", err)
			}
			if _, err := binary.Decode(bytes, binary.LittleEndian, p[:n]); err != nil {
				return fmt.Errorf("yee: the state cannot be read: %w", err)
			}
			p = p[n:]
		}
	}
	e.broken = false
	return nil
}
