//go:build !noasm

package kernel

import (
	"unsafe"

	"golang.org/x/sys/cpu"
)

//go:generate sh -c "cd gen && go run . -out ../cascade_amd64.s"

//go:noescape
func cascadeAVX512(dst *float64, chain **float64, n, blocks int)

//go:noescape
func cascadeAVX2(dst *float64, chain **float64, n, blocks int)

// available lists the implementations this machine can run, the fastest first.
func available() []implementation {
	wrap := func(f func(dst *float64, chain **float64, n, blocks int)) func(*Block, []*Block, int) {
		return func(dst *Block, chain []*Block, blocks int) {
			f(&dst[0][0], pointers(chain), len(chain), blocks)
		}
	}
	var list []implementation
	if cpu.X86.HasAVX512F {
		list = append(list, implementation{"AVX-512", wrap(cascadeAVX512)})
	}
	if cpu.X86.HasAVX2 && cpu.X86.HasFMA {
		list = append(list, implementation{"AVX2", wrap(cascadeAVX2)})
	}
	return append(list, plain)
}

// pointers gives the assembly the list as pointers to the blocks' first number.
func pointers(chain []*Block) **float64 { return (**float64)(unsafe.Pointer(&chain[0])) }
