//go:build unix

package field

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"linewright/app/workspace"
)

// killed names the variable that makes TestKilled a process that solves.
const killed = "FIELD_TEST_STATE"

const coarse = "grid: {cells_per_wave: 10}\nstop: {energy_down: 60 dB}\n"

// keeping solves with its state in a file, written as often as it can be.
func keepingRun(t *testing.T, name string, tell func(Progress)) (Result, error) {
	s := structure(t, coarse)
	return Run(context.Background(), s, Options{Options: s.Options, Accuracy: 0.03, Checkpoint: name, KeepEvery: time.Nanosecond, Key: "k", Speed: 2e5, Progress: tell})
}

func bits(r Result) []byte {
	var b bytes.Buffer
	for _, x := range r.Network.S {
		binary.Write(&b, binary.LittleEndian, []float64{real(x), imag(x)})
	}
	return b.Bytes()
}

// A process that is killed, at any moment, wherever it writes, and begun again
// gives what one that is left alone gives, to the bit.
func TestKilled(t *testing.T) {
	if name := os.Getenv(killed); name != "" { // the process that is killed
		r, err := keepingRun(t, name, func(Progress) { os.Stdout.WriteString("step\n") })
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name+".s", bits(r), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	dir := t.TempDir()
	whole, err := keepingRun(t, filepath.Join(dir, "whole"), nil)
	if err != nil {
		t.Fatal(err)
	}
	name, random := filepath.Join(dir, "killed"), rand.New(rand.NewPCG(9, 26))
	kills, resumed := 0, 0
	for {
		if _, err := os.Stat(name); err == nil {
			resumed++
		}
		c := exec.Command(os.Args[0], "-test.run=^TestKilled$")
		c.Env = append(os.Environ(), killed+"="+name)
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		var says bytes.Buffer
		c.Stderr = &says
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		after, last := 3+random.IntN(20), ""
		for lines, n := bufio.NewScanner(out), 0; lines.Scan(); n++ {
			last = lines.Text()
			if n == after {
				time.Sleep(time.Duration(random.IntN(3000)) * time.Microsecond)
				c.Process.Kill()
			}
		}
		err = c.Wait()
		if err == nil {
			break
		}
		if c.ProcessState.ExitCode() != -1 {
			t.Fatalf("it ended by itself: %v, %s %s", err, last, says.String())
		}
		if kills++; kills > 200 {
			t.Fatal("it does not come to an end")
		}
	}
	got, err := os.ReadFile(name + ".s")
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("killed %d times, went on %d times", kills, resumed)
	if kills < 3 || resumed < 3 || !bytes.Equal(got, bits(whole)) {
		t.Errorf("killed %d times, went on %d times; the same to the bit: %v", kills, resumed, bytes.Equal(got, bits(whole)))
	}
	for _, left := range []string{name, name + ".part"} {
		if _, err := os.Stat(left); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s is left behind", filepath.Base(left))
		}
	}
}

// A state that was damaged is refused in words, before a step, wherever in it.
func TestDamagedState(t *testing.T) {
	s := structure(t, coarse)
	name := filepath.Join(t.TempDir(), "x.state")
	ctx, cancel := context.WithCancel(context.Background())
	_, err := Run(ctx, s, Options{Options: s.Options, Checkpoint: name, Key: "k", Speed: 2e5, Progress: func(p Progress) {
		if p.Step > 100 {
			cancel()
		}
	}})
	if !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	sound, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(4, 1))
	for i := range 60 {
		at := random.IntN(len(sound))
		if i < 30 { // most of it is fields: look at the words before them too
			at = random.IntN(min(len(sound), 700))
		}
		bad := bytes.Clone(sound)
		bad[at] ^= 1 << random.IntN(8)
		if i%2 == 0 {
			bad = bad[:at]
		}
		if err := os.WriteFile(name, bad, 0o666); err != nil {
			t.Fatal(err)
		}
		_, err := Run(context.Background(), s, Options{Options: s.Options, Checkpoint: name, Key: "k", Speed: 1e8, Progress: func(Progress) { t.Error("a step was run") }})
		var f workspace.Fault
		if !errors.As(err, &f) || f.File != name || !strings.Contains(f.Help, "file") {
			t.Fatalf("damaged at %d: %v", at, err)
		}
	}
}

// A state belongs to one process at a time.
func TestStateOfAnother(t *testing.T) {
	name := filepath.Join(t.TempDir(), "x.state")
	first, err := openState(name, "k", keepEvery)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := openState(name, "k", keepEvery); err == nil || !strings.Contains(err.Error(), "another process") {
		t.Errorf("a second one: %v", err)
	}
	first.close()
	second, err := openState(name, "k", keepEvery)
	if err != nil {
		t.Errorf("after it was given back: %v", err)
	}
	second.close()
	if _, err := openState(filepath.Dir(name), "k", keepEvery); err == nil || !strings.Contains(err.Error(), "no file") {
		t.Errorf("a folder: %v", err)
	}
}
