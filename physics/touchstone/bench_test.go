package touchstone

import (
	"bufio"
	"bytes"
	"io"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// benchFile is a file of about 4 MB with numbers as analysers and solvers write
// them.
func benchFile(ports int, format Format, n Number) []byte {
	r := rand.New(rand.NewPCG(1, 1))
	var out bytes.Buffer
	style := Style{Number{'f', 6}, n, n}
	w, err := NewWriter(&out, Layout{Ports: ports, Format: format}, WriteOptions{Style: style})
	if err != nil {
		panic(err)
	}
	m := make([]complex128, ports*ports)
	for k := 1; out.Len() < 4<<20; k++ {
		for i := range m {
			m[i] = complex(r.NormFloat64()/3, r.NormFloat64()/3)
		}
		if err := w.Write(float64(k)*10e6, m); err != nil {
			panic(err)
		}
	}
	if err := w.Close(); err != nil {
		panic(err)
	}
	return out.Bytes()
}

// baseline is the plain way to read the numbers: lines, fields, strconv.
func baseline(text []byte) (sum float64) {
	sc := bufio.NewScanner(bytes.NewReader(text))
	for sc.Scan() {
		line := sc.Text()
		if strings.HasPrefix(line, "#") || strings.HasPrefix(line, "!") {
			continue
		}
		for _, w := range strings.Fields(line) {
			v, err := strconv.ParseFloat(w, 64)
			if err != nil {
				panic(err)
			}
			sum += v
		}
	}
	return sum
}

func BenchmarkRead(b *testing.B) {
	for _, c := range []struct {
		name   string
		ports  int
		format Format
		number Number
	}{
		{"2-port/RI/9 decimals", 2, RI, Number{'f', 9}},
		{"2-port/RI/exponent 12", 2, RI, Number{'e', 12}},
		{"2-port/RI/shortest", 2, RI, Number{}},
		{"2-port/MA/6 decimals", 2, MA, Number{'f', 6}},
		{"2-port/DB/6 decimals", 2, DB, Number{'f', 6}},
		{"16-port/RI/9 decimals", 16, RI, Number{'f', 9}},
	} {
		text := benchFile(c.ports, c.format, c.number)
		b.Run(c.name+"/ours", func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				sc := NewScanner(bytes.NewReader(text), "bench", ReadOptions{Ports: c.ports})
				for sc.Scan() {
				}
				if sc.Err() != nil {
					b.Fatal(sc.Err())
				}
			}
		})
		b.Run(c.name+"/baseline", func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				baseline(text)
			}
		})
	}
}

func BenchmarkWrite(b *testing.B) {
	for _, format := range []Format{RI, MA, DB} {
		f, err := Read(bytes.NewReader(benchFile(2, RI, Number{})), "bench", 2)
		if err != nil {
			b.Fatal(err)
		}
		f.Layout.Format = format
		b.Run(format.String(), func(b *testing.B) {
			var n int64
			for b.Loop() {
				var size counter
				if err := f.Write(&size, WriteOptions{}); err != nil {
					b.Fatal(err)
				}
				n = int64(size)
			}
			b.SetBytes(n)
		})
	}
}

type counter int64

func (c *counter) Write(p []byte) (int, error) { *c += counter(len(p)); return len(p), nil }

var _ io.Writer = (*counter)(nil)
