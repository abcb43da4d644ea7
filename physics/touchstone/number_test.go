package touchstone

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
)

// same asks for bit equality with strconv, the slow twin.
func same(t *testing.T, text string, shift int) {
	t.Helper()
	got, end, _, ok := scanNumber([]byte(text), 0, shift)
	mantissa, e, found := strings.Cut(strings.ToLower(text), "e")
	exponent := 0
	if found {
		exponent, _ = strconv.Atoi(e)
	}
	want, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(exponent+shift), 64)
	if ok != (err == nil) || end != len(text) || ok && math.Float64bits(got) != math.Float64bits(want) {
		t.Errorf("scanNumber(%q, shift %d) = %v, end %d, ok %v; strconv says %v, %v", text, shift, got, end, ok, want, err)
	}
}

func TestScanNumber(t *testing.T) {
	for _, text := range []string{
		"0", "-0", "+0", "00", "1", "-1", "1.", ".5", "-.5", "+12.5", "007.250", "1e5", "1E+5", "1.5e-07",
		"123456789012345678901234567890", "0.00000000000000000000000000000001",
		"1e22", "1e23", "1e-22", "1e-23", "1e27", "1e28", "1e-27", "1e-28", "1e308", "1e309", "-1e309", "1e-400",
		"9007199254740992", "9007199254740993", "9007199254740991", // 2^53 and its neighbours
		"9007199254740993.0000000000000000001",         // above a tie, digits lost in 19
		"18446744073709551615", "18446744073709551616", // 2^64
		"4.9406564584124654e-324", "2.2250738585072011e-308", "1.7976931348623157e308", "1.7976931348623159e308",
		"12345678", "0.12345678", "0.123456789012345678", "0.1234567890123456789", "12345678.12345678",
	} {
		for _, shift := range []int{0, 3, 6, 9} {
			same(t, text, shift)
		}
	}
	for _, text := range []string{"", "-", ".", "e5", "1e", "1e+", "--1", "1-2", "1.2.3", "0x10", "1_0", "nan", "inf", "1,5", "1d5", "1f"} {
		if v, _, _, ok := scanNumber([]byte(text), 0, 0); ok {
			t.Errorf("scanNumber(%q) = %v, want none", text, v)
		}
	}
}

// Random numbers in the ways files write them, and decimal expansions of points
// halfway between two float64 numbers, where one wrong bit shows.
func TestScanNumberRandom(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	t.Logf("seed %d", seed)
	for range 300_000 {
		v := (r.Float64() - 0.5) * math.Pow(10, float64(r.IntN(40)-20))
		var text string
		switch r.IntN(6) {
		case 0:
			text = strconv.FormatFloat(v, 'g', -1, 64)
		case 1:
			text = strconv.FormatFloat(v, 'e', r.IntN(20), 64)
		case 2:
			text = strconv.FormatFloat(v, 'f', r.IntN(20), 64)
		case 3:
			text = strconv.FormatUint(r.Uint64(), 10) + "e" + strconv.Itoa(r.IntN(70)-35)
		case 4:
			text = strconv.FormatFloat(math.Float64frombits(r.Uint64()&^(0x7ff<<52)|uint64(1023+r.IntN(100)-50)<<52), 'e', 16, 64)
		case 5: // an odd multiple of half a unit in the last place, written out
			m := 1<<53 | r.Uint64N(1<<53) | 1 // 54 bits, odd: a tie when rounded to 53
			k := r.IntN(11)
			text = strconv.FormatUint(m<<k, 10)
			if r.IntN(2) == 0 {
				text = text[:len(text)-1] + "." + text[len(text)-1:]
			}
		}
		same(t, text, []int{0, 0, 3, 6, 9}[r.IntN(5)])
		if t.Failed() {
			return
		}
	}
}

// How often strconv is needed is a matter of speed alone; here it is on record
// that shortest digits of ordinary S-parameters do without it.
func TestExactCovers(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	n := 100_000
	missed := 0
	for range n {
		v := r.NormFloat64() * math.Pow(10, -6*r.Float64())
		text := strings.Replace(strconv.FormatFloat(math.Abs(v), 'e', -1, 64), ".", "", 1)
		digits, e, _ := strings.Cut(text, "e")
		w, _ := strconv.ParseUint(digits, 10, 64)
		exp, _ := strconv.Atoi(e)
		if _, ok := exact(w, exp-len(digits)+1); !ok {
			missed++
		}
	}
	if !(missed < n/1000) {
		t.Errorf("%d of %d shortest numbers between 1e-6 and 1 need strconv", missed, n)
	}
}

func TestAppendShifted(t *testing.T) {
	for _, c := range []struct {
		n     Number
		v     float64
		shift int
		want  string
	}{
		{Number{}, 1.1e9, 9, "1.1"},
		{Number{}, 0, 9, "0"},
		{Number{'f', 3}, 0, 9, "0.000"},
		{Number{}, 1.5e9, 0, "1500000000"},
		{Number{}, 26.5e9, 6, "26500"},
		{Number{}, 1e3, 9, "0.000001"},
		{Number{}, 1, 9, "1e-09"},
		{Number{'f', 5}, 5e9, 9, "5.00000"},
		{Number{'f', 1}, 1.25e9, 9, "1.25"}, // one place would change the frequency
		{Number{'f', 0}, 5e9, 0, "5000000000"},
		{Number{'e', 4}, 26.5e9, 9, "2.6500e+01"},
		{Number{'E', 2}, 1e6, 9, "1.00E-03"},
	} {
		if got := string(c.n.appendShifted(nil, c.v, c.shift)); got != c.want {
			t.Errorf("%+v writes %g Hz shifted by %d as %q, want %q", c.n, c.v, c.shift, got, c.want)
		}
	}
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 2))
	for range 100_000 {
		v := math.Abs(math.Float64frombits(r.Uint64()))
		if r.IntN(2) == 0 {
			v = r.Float64() * 1.2e11
		}
		if math.IsNaN(v) || v > 1e300 || v < 1e-290 {
			continue
		}
		n := Number{"\x00feE"[r.IntN(4)], r.IntN(18)}
		for _, shift := range []int{0, 3, 6, 9} {
			text := n.appendShifted(nil, v, shift)
			got, _, _, ok := scanNumber(text, 0, shift)
			if !ok || got != v {
				t.Fatalf("seed %d: %v written by %+v with shift %d as %q reads %v", seed, v, n, shift, text, got)
			}
		}
	}
}

func TestSincosDegrees(t *testing.T) {
	for deg, want := range map[float64][2]float64{0: {0, 1}, 90: {1, 0}, 180: {0, -1}, -90: {-1, 0}, 270: {-1, 0}, -180: {0, -1}, 360: {0, 1}, 450: {1, 0}, -720: {0, 1}} {
		sin, cos := sincosDegrees(deg)
		if sin != want[0] || cos != want[1] {
			t.Errorf("sin, cos of %g° = %v, %v, want %v", deg, sin, cos, want)
		}
	}
	for deg := -1000.0; deg < 1000; deg += 0.37 {
		sin, cos := sincosDegrees(deg)
		s, c := math.Sincos(deg * math.Pi / 180)
		// The plain route loses what deg·π/180 rounds, up to 1000° · 2^-53.
		if !(math.Abs(sin-s) <= 4e-15 && math.Abs(cos-c) <= 4e-15) {
			t.Errorf("sin, cos of %g° = %v, %v; plain route %v, %v", deg, sin, cos, s, c)
		}
	}
}

func ExampleNumber() {
	f := &File{Layout: Layout{Ports: 1, Format: RI}, Frequency: []float64{26.5e9}, Data: []complex128{complex(1.0/3, -0.25)}}
	var b strings.Builder
	f.Write(&b, WriteOptions{Style: Style{First: Number{'f', 4}, Second: Number{'e', 2}}})
	fmt.Print(b.String())
	// Output:
	// # GHz S RI R 50
	// 26.5 0.3333 -2.50e-01
}

// Any text is a number here exactly if strconv says so and it is plain decimal.
func FuzzScanNumber(f *testing.F) {
	for _, text := range []string{"1", "-1.5e-3", ".5", "9007199254740993", "0.1234567890123456789", "1e309", "4.9e-324", "nan", "0x1p4"} {
		f.Add(text, uint8(9))
	}
	f.Fuzz(func(t *testing.T, text string, shift uint8) {
		if strings.ContainsAny(text, " \t!") {
			return
		}
		plain := text != ""
		for _, c := range []byte(text) {
			plain = plain && strings.IndexByte("0123456789.+-eE", c) >= 0
		}
		v, _, _, ok := scanNumber([]byte(text), 0, int(shift%10))
		mantissa, exponent := text, 0
		if i := strings.IndexAny(text, "eE"); i >= 0 {
			mantissa = text[:i]
			n, err := strconv.Atoi(text[i+1:])
			if err != nil || n > 1e5 || n < -1e5 {
				return
			}
			exponent = n
		}
		want, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(exponent+int(shift%10)), 64)
		if ok != (plain && err == nil) || ok && math.Float64bits(v) != math.Float64bits(want) {
			t.Errorf("%q shifted by %d: %v, %v; strconv %v, %v", text, shift%10, v, ok, want, err)
		}
	})
}
