// Package kernel holds the inner loops of package network that are worth
// machine code: the cascade of reciprocal two-ports.
//
// The plain Go bodies define the answers. The assembly of amd64 is generated
// by the program in gen (a module of its own, so that its library is nobody's
// dependency) and chosen at run time by what the processor has; the build tag
// noasm leaves it out.
package kernel

import "fmt"

// Width is the number of frequencies in a [Block].
const Width = 32

// The planes of a [Block]: real and imaginary part of S11, S22, S21² − S11 S22
// and S21.
const (
	S11Re = iota
	S11Im
	S22Re
	S22Im
	DRe
	DIm
	S21Re
	S21Im
	planes
)

// A Block holds a reciprocal two-port at 32 frequencies, plane by plane.
type Block [planes][Width]float64

// Cascade sets dst to the chain of two-ports; all have one number of blocks. dst
// may be one of them.
//
// A reciprocal two-port is written as the matrix and the factor
//
//	M = | 1     −S22         |        T = S21
//	    | S11   S21² − S11S22 |
//
// of which the chain's are the products; then S11 = M21/M11, S22 = −M12/M11,
// S21 = T/M11 and S21² − S11S22 = M22/M11. This is the usual product of
// transfer matrices with the factors 1/S21 taken out: one division per chain
// instead of one per element, and nothing grows with the loss.
func Cascade(dst []Block, chain ...[]Block) { cascadeBy(fastest, dst, chain) }

// An implementation computes the chain of n two-ports whose first blocks chain
// points to, over so many blocks.
type implementation struct {
	name    string
	cascade func(dst *Block, chain []*Block, blocks int)
}

var fastest = available()[0]

func cascadeBy(with implementation, dst []Block, chain [][]Block) {
	if len(chain) == 0 {
		panic("kernel: Cascade of no element")
	}
	var room [16]*Block
	first := room[:0]
	for e, b := range chain {
		if len(b) != len(dst) {
			panic(fmt.Sprintf("kernel: Cascade into %d blocks of element %d with %d", len(dst), e, len(b)))
		}
		if len(b) == 0 {
			return
		}
		first = append(first, &b[0])
	}
	with.cascade(&dst[0], first, len(dst))
}
