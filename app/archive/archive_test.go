package archive

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// importing makes the test binary import into the archive it names, to be
// killed: see TestKilledImport.
var importing = flag.String("import-into", "", "for TestKilledImport: import into this archive and report each commit")

func TestMain(m *testing.M) {
	flag.Parse()
	if *importing != "" {
		if err := importAll(*importing, os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// fileOf is the i-th file of the import: a few kilobytes that compress.
func fileOf(i int) []byte {
	rng := rand.New(rand.NewPCG(uint64(i), 1))
	var b bytes.Buffer
	for k := range 100 + rng.IntN(100) {
		fmt.Fprintf(&b, "%d %.6f %.6f\n", k, rng.Float64(), rng.Float64())
	}
	return b.Bytes()
}

const importFiles = 3000

func importAll(name string, out io.Writer) error {
	a, err := Open(name)
	if err != nil {
		return err
	}
	defer a.Close()
	var added Added
	ctx := context.Background()
	for i := range importFiles {
		if err := a.Put(ctx, fileOf(i), recordOf(i)); err != nil {
			return err
		}
		if a.Due() || i%37 == 36 {
			if err := a.Flush(ctx, &added); err != nil {
				return err
			}
			fmt.Fprintln(out, added.New+added.There) // what is reported is kept
		}
	}
	if err := a.Flush(ctx, &added); err != nil {
		return err
	}
	fmt.Fprintln(out, added.New+added.There)
	return nil
}

func recordOf(i int) Record {
	t := 296.15
	return Record{Name: fmt.Sprintf("sn%05d.s2p", i), Serial: fmt.Sprintf("%05d", i), Ports: 2, Points: 201, FromHz: 1e7, ToHz: 18e9, Quality: "good", Chain: "jumper", Enquiry: "d1", Verdict: "meets", Rule: "simple acceptance",
		Conditions: Conditions{TemperatureK: &t, Instrument: "analyser 3"}, Report: json.RawMessage(fmt.Sprintf(`{"n":%d}`, i))}
}

// An import is killed again and again, at any moment. Whatever it reported as
// kept is there each time; run to its end it has kept every file once.
func TestKilledImport(t *testing.T) {
	name := filepath.Join(t.TempDir(), "archive.sqlite")
	rng := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 0))
	reported, kills := 0, 0
	for range 6 {
		c := exec.Command(os.Args[0], "-import-into", name)
		var out bytes.Buffer
		c.Stdout = &out
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(20+rng.IntN(250)) * time.Millisecond)
		_ = c.Process.Kill() // it may have ended
		if c.Wait() != nil {
			kills++
		}
		for _, line := range bytes.Fields(out.Bytes()) {
			var n int
			if _, err := fmt.Sscan(string(line), &n); err == nil {
				reported = max(reported, n)
			}
		}
		a, err := Open(name)
		if err != nil {
			t.Fatal(err)
		}
		_, all, err := a.Find(t.Context(), Query{Most: 1})
		if err != nil {
			t.Fatal(err)
		}
		if all < reported {
			t.Fatalf("%d were reported as kept, %d are there", reported, all)
		}
		if n, err := a.Check(t.Context()); err != nil || n != all {
			t.Fatalf("%d files for %d records: %v", n, all, err)
		}
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if err := importAll(name, io.Discard); err != nil {
		t.Fatal(err)
	}
	a, err := OpenOld(name)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	n, err := a.Check(t.Context())
	_, all, errF := a.Find(t.Context(), Query{Most: 1})
	if err != nil || errF != nil || n != importFiles || all != importFiles {
		t.Fatalf("%d files, %d records, want %d of each: %v %v", n, all, importFiles, err, errF)
	}
	t.Logf("killed %d times, %d reported before the last kill", kills, reported)
	for _, i := range []int{0, 1, 1234, importFiles - 1} {
		rs, _, err := a.Find(t.Context(), Query{Serial: fmt.Sprintf("%05d", i)})
		if err != nil || len(rs) != 1 {
			t.Fatalf("%d: %d records, %v", i, len(rs), err)
		}
		r, data, err := a.Get(t.Context(), rs[0].ID)
		if err != nil || !bytes.Equal(data, fileOf(i)) || string(r.Report) != fmt.Sprintf(`{"n":%d}`, i) {
			t.Errorf("%d: %+v %v", i, r, err)
		}
	}
}

func openTemp(t *testing.T) (*Archive, string) {
	t.Helper()
	name := filepath.Join(t.TempDir(), "a strange?name #1%.sqlite")
	a, err := Open(name)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { a.Close() })
	if _, err := os.Stat(name); err != nil {
		t.Fatalf("the archive is not where it was asked for: %v", err)
	}
	return a, name
}

// The same judgement of the same bytes is one record; another verdict, or other
// conditions, is another of the same file.
func TestAddingAgain(t *testing.T) {
	a, _ := openTemp(t)
	put := func(r Record) Added {
		t.Helper()
		var n Added
		if err := a.Put(t.Context(), fileOf(1), r); err != nil {
			t.Fatal(err)
		}
		if err := a.Flush(t.Context(), &n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	r := recordOf(1)
	if n := put(r); n != (Added{1, 0}) {
		t.Error(n)
	}
	if n := put(r); n != (Added{0, 1}) {
		t.Error(n)
	}
	r.Version = "another program" // does not make another judgement
	if n := put(r); n != (Added{0, 1}) {
		t.Error(n)
	}
	r.Verdict = "at risk"
	if n := put(r); n != (Added{1, 0}) {
		t.Error(n)
	}
	hot := 358.15
	r.TemperatureK = &hot
	if n := put(r); n != (Added{1, 0}) {
		t.Error(n)
	}
	if n, err := a.Check(t.Context()); n != 1 || err != nil {
		t.Errorf("%d files, want 1: %v", n, err)
	}
	rs, all, err := a.Find(t.Context(), Query{})
	if err != nil || all != 3 || *rs[0].TemperatureK != hot {
		t.Errorf("%d %+v %v", all, rs, err)
	}
	sum := sha256.Sum256(fileOf(1))
	if rs[0].SHA256 != hex.EncodeToString(sum[:]) || rs[0].Bytes != int64(len(fileOf(1))) {
		t.Errorf("%+v", rs[0])
	}
}

func TestFind(t *testing.T) {
	a, _ := openTemp(t)
	for i := range 30 {
		r := recordOf(i)
		if i%10 == 3 {
			r.Verdict = "fails"
		}
		if i == 7 {
			r.Serial, r.Chain = "50%_x", "bench"
		}
		if err := a.Put(t.Context(), fileOf(i), r); err != nil {
			t.Fatal(err)
		}
	}
	var n Added
	if err := a.Flush(t.Context(), &n); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(fileOf(5))
	today := time.Now().UTC().Format("2006-01-02")
	for _, c := range []struct {
		q    Query
		want int
	}{
		{Query{}, 30}, {Query{Serial: "00003"}, 1}, {Query{Serial: "0001*"}, 10}, {Query{Verdict: "fails"}, 3}, {Query{Serial: "0001*", Verdict: "fails"}, 1},
		{Query{Serial: "50%_x"}, 1}, {Query{Serial: "50%*"}, 1}, {Query{Serial: "%"}, 0}, {Query{Serial: "'; DROP TABLE record; --"}, 0}, {Query{Chain: "b*"}, 1}, {Query{Name: "sn0000*"}, 10},
		{Query{SHA256: hex.EncodeToString(sum[:4])}, 1}, {Query{From: today[:4]}, 30}, {Query{Until: today}, 30}, {Query{Until: "2001"}, 0}, {Query{From: "2999"}, 0},
	} {
		rs, all, err := a.Find(t.Context(), c.q)
		if err != nil || all != c.want || len(rs) != c.want {
			t.Errorf("%+v: %d found, %d shown, want %d: %v", c.q, all, len(rs), c.want, err)
		}
	}
	if rs, all, _ := a.Find(t.Context(), Query{Most: 4}); len(rs) != 4 || all != 30 {
		t.Errorf("%d shown of %d", len(rs), all)
	}
}

// Damage, foreign files, newer archives and missing ones are told apart.
func TestRefusals(t *testing.T) {
	a, name := openTemp(t)
	if err := a.Put(t.Context(), fileOf(1), recordOf(1)); err != nil {
		t.Fatal(err)
	}
	var n Added
	if err := a.Flush(t.Context(), &n); err != nil {
		t.Fatal(err)
	}
	if _, _, err := a.Get(t.Context(), 99); !errors.Is(err, ErrNone) {
		t.Error(err)
	}
	if _, err := a.db.Exec("UPDATE file SET packed = ? WHERE id = 1", pack(append([]byte{'x'}, fileOf(1)[1:]...))); err != nil {
		t.Fatal(err)
	}
	if _, _, err := a.Get(t.Context(), 1); !errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
	if _, err := a.Check(t.Context()); !errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
	if _, err := a.db.Exec("PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	a.Close()
	if _, err := Open(name); !errors.Is(err, ErrNewer) {
		t.Error(err)
	}
	dir := t.TempDir()
	text := filepath.Join(dir, "text")
	if err := os.WriteFile(text, bytes.Repeat([]byte("no database at all "), 100), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(text); !errors.Is(err, ErrNotArchive) {
		t.Error(err)
	}
	foreign := filepath.Join(dir, "foreign.sqlite")
	db, err := sql.Open("sqlite", foreign)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE birds (name TEXT)"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	if _, err := Open(foreign); !errors.Is(err, ErrNotArchive) {
		t.Error(err)
	}
	if _, err := OpenOld(filepath.Join(dir, "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
}

// An archive of an older version is brought on, its records kept; a step that
// fails leaves it as it was.
func TestMigrations(t *testing.T) {
	name := filepath.Join(t.TempDir(), "a.sqlite")
	a, err := open(name, migrations[:])
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Put(t.Context(), fileOf(1), recordOf(1)); err != nil {
		t.Fatal(err)
	}
	var n Added
	if err := a.Flush(t.Context(), &n); err != nil {
		t.Fatal(err)
	}
	a.Close()
	if _, err := open(name, append(migrations[:], "CREATE TABLE later (x TEXT) STRICT", "this is not SQL")); err == nil {
		t.Fatal("a failing step is taken")
	}
	if a, err = Open(name); err != nil {
		t.Fatalf("a failed step left its mark: %v", err)
	}
	a.Close()
	if a, err = open(name, append(migrations[:], "ALTER TABLE record ADD COLUMN torque REAL")); err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if _, all, err := a.Find(t.Context(), Query{}); err != nil || all != 1 {
		t.Errorf("%d records after the migration: %v", all, err)
	}
}

// Two programs may add to one archive at the same time.
func TestTwoWriters(t *testing.T) {
	_, name := openTemp(t)
	done := make(chan error, 2)
	for w := range 2 {
		go func() {
			a, err := Open(name)
			if err != nil {
				done <- err
				return
			}
			defer a.Close()
			var n Added
			for i := range 40 {
				if err := a.Put(context.Background(), fileOf(i+w*20), recordOf(i+w*20)); err != nil {
					done <- err
					return
				}
				if err := a.Flush(context.Background(), &n); err != nil {
					done <- err
					return
				}
			}
			done <- nil
		}()
	}
	for range 2 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	a, err := Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	if _, all, _ := a.Find(t.Context(), Query{Most: 1}); all != 60 {
		t.Errorf("%d records, want 60", all)
	}
}

func ExampleArchive() {
	dir, _ := os.MkdirTemp("", "archive")
	defer os.RemoveAll(dir)
	a, _ := Open(filepath.Join(dir, "archive.sqlite"))
	defer a.Close()
	var added Added
	ctx := context.Background()
	_ = a.Put(ctx, []byte("# GHz S RI R 50\n1 0 0 1 0 1 0 0 0\n"), Record{Name: "sn0012.s2p", Serial: "0012", Chain: "bench jumper", Verdict: "meets", Rule: "simple acceptance"})
	_ = a.Flush(ctx, &added)
	found, _, _ := a.Find(ctx, Query{Serial: "0012"})
	r, data, _ := a.Get(ctx, found[0].ID)
	fmt.Println(r.Serial, r.Verdict, r.SHA256[:8], len(data), "bytes as shipped")
	// Output: 0012 meets 9b426074 34 bytes as shipped
}
