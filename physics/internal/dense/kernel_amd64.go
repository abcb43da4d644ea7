//go:build !noasm

package dense

import "golang.org/x/sys/cpu"

//go:generate sh -c "cd gen && go run . -out ../kernel_amd64.s"

//go:noescape
func wideAVX512(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

//go:noescape
func wideRowAVX512(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

//go:noescape
func narrowAVX512(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

//go:noescape
func narrowRowAVX512(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

//go:noescape
func wideAVX2(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

//go:noescape
func wideRowAVX2(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

//go:noescape
func narrowAVX2(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

//go:noescape
func narrowRowAVX2(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

// available lists the products this machine can run, the fastest first.
func available() []product {
	var list []product
	if cpu.X86.HasAVX512F && cpu.X86.HasBMI2 {
		t := tiles{wideAVX512, wideRowAVX512, narrowAVX512, narrowRowAVX512, 4, 12, 8, 4}
		list = append(list, product{"AVX-512", t.add})
	}
	if cpu.X86.HasAVX2 && cpu.X86.HasFMA {
		t := tiles{wideAVX2, wideRowAVX2, narrowAVX2, narrowRowAVX2, 3, 4, 6, 2}
		list = append(list, product{"AVX2", t.add})
	}
	return append(list, plain)
}

// A strip adds a product to groups of rows of a strip of columns.
type strip func(c *complex128, ldc int, a *complex128, lda int, b *complex128, ldb int, groups int, inner int, cols int, sign float64)

// tiles are the strips of one instruction set, with the size of their tiles: the
// wide ones take all their columns, the narrow ones as many as are left, and
// those of a row the rows that fill no tile.
type tiles struct {
	wide, wideRow, narrow, narrowRow strip
	wideRows, wideCols               int
	narrowRows, narrowCols           int
}

func (t tiles) add(c []complex128, ldc int, a []complex128, lda int, b []complex128, ldb int, rows, inner, cols int, sign float64) {
	down := func(tile, row strip, height, j, width int) {
		groups := rows / height
		if groups > 0 {
			tile(&c[j], ldc, &a[0], lda, &b[j], ldb, groups, inner, width, sign)
		}
		if i := height * groups; i < rows {
			row(&c[i*ldc+j], ldc, &a[i*lda], lda, &b[j], ldb, rows-i, inner, width, sign)
		}
	}
	j := 0
	for ; j+t.wideCols <= cols; j += t.wideCols {
		down(t.wide, t.wideRow, t.wideRows, j, t.wideCols)
	}
	for ; j < cols; j += t.narrowCols {
		down(t.narrow, t.narrowRow, t.narrowRows, j, min(t.narrowCols, cols-j))
	}
}
