package touchstone

import (
	"flag"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"
)

var long = flag.Bool("long", false, "run the studies that take minutes")

// sweep is a two-port file of any length, made as it is read.
type sweep struct {
	points, next int
	rest         []byte
	buf          []byte
	read         int64
}

func (s *sweep) Read(p []byte) (int, error) {
	if len(s.rest) == 0 {
		switch {
		case s.next > s.points:
			return 0, io.EOF
		case s.next == 0:
			s.rest = []byte("# Hz S RI R 50\n")
		default:
			x := float64(s.next) / float64(s.points)
			s.buf = fmt.Appendf(s.buf[:0], "%d %.9f %.9f %.9e %.9e %.9e %.9e %.9f %.9f\n", 1000*s.next,
				0.1*x, -0.05, -0.9*x, 0.1, -0.9*x, 0.1, 0.1*x, -0.05)
			s.rest = s.buf
		}
		s.next++
	}
	n := copy(p, s.rest)
	s.rest = s.rest[n:]
	s.read += int64(n)
	return n, nil
}

// A Scanner holds on to no more of a long file than of a short one: 40 MB here, 1.1
// GB with -long. Ten times during the reading the garbage is collected and what
// is left is counted.
func TestConstantMemory(t *testing.T) {
	points := 330_000
	if *long {
		points = 9_000_000
	}
	live := func() int64 {
		runtime.GC()
		runtime.GC() // pools are emptied in two steps
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int64(m.HeapAlloc)
	}
	src := &sweep{points: points}
	before, most := live(), int64(0)
	sc := NewScanner(src, "long.s2p", ReadOptions{})
	n := 0
	var sum float64
	for sc.Scan() {
		_, m := sc.Point()
		sum += real(m[2])
		if n++; n%(points/10) == 0 {
			most = max(most, live()-before)
		}
	}
	if sc.Err() != nil || n != points {
		t.Fatalf("%d of %d points: %v", n, points, sc.Err())
	}
	want := -0.9 * float64(points+1) / 2
	if !(math.Abs(sum-want) <= 1e-6*math.Abs(want)) {
		t.Fatalf("sum of S21 %v, want %v", sum, want)
	}
	t.Logf("%d bytes read, at most %d bytes held", src.read, most)
	if !(most < 1<<20) {
		t.Errorf("%d bytes held while %d bytes were read", most, src.read)
	}
}

// Nothing is allocated for what a file only claims.
func TestClaimsCostNothing(t *testing.T) {
	for _, text := range []string{
		"[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 10000\n[Number of Frequencies] 2000000000\n[Network Data]\n1 0 0\n",
		"[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 9999\n[Number of Frequencies] 1\n[Reference] 50 50\n[Network Data]\n1 0 0\n",
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Read(strings.NewReader(text), "claims.ts", 0)
		runtime.ReadMemStats(&after)
		if err == nil {
			t.Error("no fault found in a file cut short")
		}
		if got := after.TotalAlloc - before.TotalAlloc; !(got < 1<<20) {
			t.Errorf("%d bytes allocated for a file of %d", got, len(text))
		}
	}
}

// onebyte hands out a file byte by byte, so that every place where a buffer can
// end is tried.
type onebyte struct{ r io.Reader }

func (o onebyte) Read(p []byte) (int, error) { return o.r.Read(p[:min(1, len(p))]) }

// LF, CR LF and CR, mixed, with and without a last line end, a byte-order mark,
// tabs: all the same file.
func TestLineEnds(t *testing.T) {
	const text = "! head\n# GHz S RI R 50\n\n1\t0.5 0.25\n2 0.5 0.125 ! beside\n"
	for _, v := range []string{
		text,
		strings.TrimSuffix(text, "\n"),
		strings.ReplaceAll(text, "\n", "\r\n"),
		strings.ReplaceAll(text, "\n", "\r"),
		strings.TrimSuffix(strings.ReplaceAll(text, "\n", "\r"), "\r"),
		strings.Replace(strings.Replace(text, "\n", "\r", 1), "50\n", "50\r\n", 1),
		"\xef\xbb\xbf" + text,
	} {
		for _, r := range []io.Reader{strings.NewReader(v), onebyte{strings.NewReader(v)}} {
			f, err := Read(r, "a.s1p", 0)
			if err != nil || len(f.Frequency) != 2 || f.Data[1] != 0.5+0.125i || len(f.Comments) != 2 || len(f.Warnings) != 0 {
				t.Errorf("%q: %v, %+v", v, err, f)
				continue
			}
			if c := f.Comments[1]; c.Line != 5 || c.Text != " beside" || !c.Trailing || c.Point != 1 {
				t.Errorf("%q: comment %+v", v, c)
			}
		}
	}
}

// Comments keep their places through reading and writing.
func TestCommentPlaces(t *testing.T) {
	const text = `! who measured
! when
# GHz S RI R 50
! columns
1 0.1 0.2 0.3 0.4 0.5 0.6 0.7 0.8 ! first
! between
2 0.1 0.2 0.3 0.4 0.5 0.6 0.7 0.8
! noise
1 0.5 0.1 90 0.25 ! quiet
! the end
`
	f, err := Read(strings.NewReader(text), "a.s2p", 0)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := f.Write(&out, WriteOptions{}); err != nil {
		t.Fatal(err)
	}
	if out.String() != text {
		t.Errorf("became\n%s", out.String())
	}
}

func TestRewriteKeepsPrecision(t *testing.T) {
	for _, text := range []string{
		"# MHz S MA R 50\n10.000 0.123456 -170.50 0.900000 45.00 0.900000 45.00 0.100000 180.00\n20.500 0.123457 -90.00 0.000001 0.10 0.900000 45.01 0.100000 -180.00\n",
		"# Hz S DB R 75\n1000000 -0.0010 0.000\n2000000 -60.1230 -179.999\n",
		"# GHz S RI R 50\n1.000000e+00 1.234560e-03 -1.000000e+00\n2.000000e+00 0.000000e+00 -0.000000e+00\n",
		"# kHz Z RI R 50\n9.00 1.2000 -0.3300\n",
	} {
		name := "a.s1p"
		if strings.Contains(text, "MHz") {
			name = "a.s2p"
		}
		f, err := Read(strings.NewReader(text), name, 0)
		if err != nil {
			t.Fatal(err)
		}
		var out strings.Builder
		if err := f.Write(&out, WriteOptions{Style: f.Style}); err != nil {
			t.Fatal(err)
		}
		if out.String() != text {
			t.Errorf("%+v\n%sbecame\n%s", f.Style, text, out.String())
		}
	}
}
