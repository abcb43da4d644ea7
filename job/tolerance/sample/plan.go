package sample

import (
	_ "embed"
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
	"strconv"
	"strings"
	"sync"
)

// Method is a way to spread samples over the inputs' space.
type Method string

// The methods. Random is what statistics' confidence intervals are made for. The
// other two spread the samples evenly, so that a smooth result settles with
// fewer of them; their error is told from replicates.
const (
	Random         Method = "random"          // independent samples
	LatinHypercube Method = "latin hypercube" // each input stratified over all samples
	Sobol          Method = "sobol"           // scrambled digital net, low discrepancy
)

// Plan says which samples are drawn. Two equal plans draw equal samples, on any
// machine and with any number of workers.
type Plan struct {
	Method Method // "" means Random
	Seed   uint64
	N      int // samples
	// Replicates splits the samples of the stratified methods into so many
	// independently randomised sets, sample i in set i mod Replicates, from
	// whose spread the error is told. Zero means 8 for those methods, 1 for Random.
	// A Sobol set is most even with a power of two samples: N = 4096 makes 8 sets of 512.
	Replicates int
}

// Check reports a plan that cannot be drawn.
func (p Plan) Check() error {
	switch p.Method {
	case "", Random, LatinHypercube, Sobol:
	default:
		return fmt.Errorf("sample: method %q: use %q, %q or %q", p.Method, Random, LatinHypercube, Sobol)
	}
	r := p.replicates()
	switch {
	case p.N < 1:
		return fmt.Errorf("sample: %d samples: draw at least one", p.N)
	case p.Replicates < 0 || r > p.N:
		return fmt.Errorf("sample: %d replicates of %d samples: use 1 up to the number of samples", r, p.N)
	case p.Method == LatinHypercube && p.N%r != 0:
		return fmt.Errorf("sample: %d samples in %d replicates: a latin hypercube needs a multiple of %d", p.N, r, r)
	case p.Method == Sobol && p.N > 1<<32-1:
		return fmt.Errorf("sample: %d samples: the Sobol sequence ends at 2^32", p.N)
	}
	return nil
}

func (p Plan) replicates() int {
	if p.Replicates > 0 {
		return p.Replicates
	}
	if p.Method == LatinHypercube || p.Method == Sobol {
		return min(8, max(1, p.N))
	}
	return 1
}

// Point fills u with sample i of the plan, 0 ≤ i < N, numbers in the open
// interval (0, 1).
//
// Random draws from a PCG generator of its own for each sample, seeded by a hash of seed
// and index. LatinHypercube puts the samples of a replicate into as many
// strata of each input, by a permutation computed from the seed, at a random place
// of the stratum. Sobol is the sequence with the direction numbers of [joe2008] under
// Owen's nested scrambling; beyond its [SobolDimensions] inputs it goes on
// with Random, so put the inputs that matter most first.
//
// Source: [oneill2014] for PCG, [mckay1979], [sobol1967], [owen1995].
func (p Plan) Point(i int, u []float64) {
	r := uint64(p.replicates())
	set, k := uint64(i)%r, uint64(i)/r
	key := mix(p.Seed + (set+1)*golden)
	switch p.Method {
	case LatinHypercube:
		n := uint64(p.N) / r
		rng := stream(key, k)
		for d := range u {
			stratum := permute(k, n, mix(key+uint64(d+1)*silver))
			u[d] = open((float64(stratum) + rng.Float64()) / float64(n))
		}
	case Sobol:
		v := directions()
		for d := 0; d < len(u) && d < SobolDimensions; d++ {
			var x uint32
			for j := uint32(k); j != 0; j &= j - 1 {
				x ^= v[d][bits.TrailingZeros32(j)]
			}
			u[d] = owen(x, mix(key+uint64(d+1)*silver))
		}
		if len(u) > SobolDimensions {
			rng := stream(key, k)
			for d := SobolDimensions; d < len(u); d++ {
				u[d] = open(rng.Float64())
			}
		}
	default:
		rng := stream(key, k)
		for d := range u {
			u[d] = open(rng.Float64())
		}
	}
}

// Odd constants that spread counters over 64 bits: 2⁶⁴/φ and 2⁶⁴(√2 − 1).
const (
	golden = 0x9e3779b97f4a7c15
	silver = 0x6a09e667f3bcc909
)

// mix is the finaliser of SplitMix64, a bijection in which each bit of the
// input moves half of the output's.
//
// Source: [steele2014].
func mix(z uint64) uint64 {
	z += golden
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// stream returns the generator of sample k under the key.
func stream(key, k uint64) *rand.Rand {
	a := mix(key ^ mix(k))
	return rand.New(rand.NewPCG(a, mix(a^silver)))
}

// open moves a number of [0, 1) off the ends, where quantiles are infinite.
func open(u float64) float64 { return math.Min(1-0x1p-53, math.Max(0x1p-54, u)) }

// permute returns the place of k in a permutation of 0..n−1 that the key
// picks: a Feistel network of six rounds over the next even number of bits, walked
// along its cycle until it falls below n.
//
// Source: [black2002] for cycle walking.
func permute(k, n, key uint64) uint64 {
	half := (bits.Len64(n-1) + 1) / 2
	mask := uint64(1)<<half - 1
	for {
		l, r := k>>half, k&mask
		for round := range uint64(6) {
			l, r = r, l^mix(key+round*golden^r*silver)&mask
		}
		if k = l<<half | r; k < n {
			return k
		}
	}
}

// owen returns x, a fraction of 2³², under Owen's nested uniform scrambling: each bit is
// flipped or not by a coin that depends on all bits before it, here a hash
// of them. The bits beyond the 32nd are random, so that a point lies anywhere
// in its cell.
//
// Source: [owen1995].
func owen(x uint32, key uint64) float64 {
	var out uint64
	for b := 31; b >= 0; b-- {
		node := uint64(1)<<(31-b) | uint64(x)>>(b+1) // root 1, then left 2, right 3 ...
		coin := mix(key+node*golden) >> 63
		out = out<<1 | uint64(x)>>b&1 ^ coin
	}
	tail := mix(key+(1<<32|uint64(x))*golden) >> 43 // 21 bits
	return open((float64(out<<21|tail) + 0.5) * 0x1p-53)
}

// SobolDimensions is how many inputs the low-discrepancy sequence covers.
const SobolDimensions = 128

//go:embed joekuo/directions.txt
var directionTable string

// directions returns the direction numbers v[d][j], bit j of the index
// counting from the lowest, as fractions of 2³². Computed once from the table:
//
//	v_j = m_j/2^j,    m_j = 2a₁m_{j−1} ⊕ 2²a₂m_{j−2} ⊕ … ⊕ 2^s m_{j−s} ⊕ m_{j−s}
//
// Source: [joe2008], [bratley1988].
var directions = sync.OnceValue(func() *[SobolDimensions][32]uint32 {
	var v [SobolDimensions][32]uint32
	for j := range 32 {
		v[0][j] = 1 << (31 - j)
	}
	lines := strings.Split(strings.TrimSpace(directionTable), "\n")
	for d, row := range lines[1:] { // the first line is the heading
		var n []uint32
		for _, f := range strings.Fields(row) {
			x, err := strconv.ParseUint(f, 10, 32)
			if err != nil {
				panic("sample: direction numbers: " + err.Error())
			}
			n = append(n, uint32(x))
		}
		s, a, m := int(n[1]), n[2], n[3:]
		w := &v[d+1]
		for j := range 32 {
			if j < s {
				w[j] = m[j] << (31 - j)
				continue
			}
			w[j] = w[j-s] ^ w[j-s]>>s
			for k := 1; k < s; k++ {
				w[j] ^= (a >> (s - 1 - k) & 1) * w[j-k]
			}
		}
	}
	return &v
})
