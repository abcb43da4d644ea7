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
		list = append(list, product{"AVX-512", addAVX512})
	}
	if cpu.X86.HasAVX2 && cpu.X86.HasFMA {
		list = append(list, product{"AVX2", addAVX2})
	}
	return append(list, plain)
}

func addAVX512(c []complex128, ldc int, a []complex128, lda int, b []complex128, ldb int, rows, inner, cols int, sign float64) {
	j := 0
	for ; j+12 <= cols; j += 12 {
		groups := rows / 4
		if groups > 0 {
			wideAVX512(&c[j], ldc, &a[0], lda, &b[j], ldb, groups, inner, 12, sign)
		}
		if i := 4 * groups; i < rows {
			wideRowAVX512(&c[i*ldc+j], ldc, &a[i*lda], lda, &b[j], ldb, rows-i, inner, 12, sign)
		}
	}
	for ; j < cols; j += 4 {
		groups := rows / 8
		if groups > 0 {
			narrowAVX512(&c[j], ldc, &a[0], lda, &b[j], ldb, groups, inner, min(4, cols-j), sign)
		}
		if i := 8 * groups; i < rows {
			narrowRowAVX512(&c[i*ldc+j], ldc, &a[i*lda], lda, &b[j], ldb, rows-i, inner, min(4, cols-j), sign)
		}
	}
}

func addAVX2(c []complex128, ldc int, a []complex128, lda int, b []complex128, ldb int, rows, inner, cols int, sign float64) {
	j := 0
	for ; j+4 <= cols; j += 4 {
		groups := rows / 3
		if groups > 0 {
			wideAVX2(&c[j], ldc, &a[0], lda, &b[j], ldb, groups, inner, 4, sign)
		}
		if i := 3 * groups; i < rows {
			wideRowAVX2(&c[i*ldc+j], ldc, &a[i*lda], lda, &b[j], ldb, rows-i, inner, 4, sign)
		}
	}
	for ; j < cols; j += 2 {
		groups := rows / 6
		if groups > 0 {
			narrowAVX2(&c[j], ldc, &a[0], lda, &b[j], ldb, groups, inner, min(2, cols-j), sign)
		}
		if i := 6 * groups; i < rows {
			narrowRowAVX2(&c[i*ldc+j], ldc, &a[i*lda], lda, &b[j], ldb, rows-i, inner, min(2, cols-j), sign)
		}
	}
}
