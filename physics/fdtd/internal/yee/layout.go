package yee

import "unsafe"

// Float is what the fields are computed in.
type Float interface{ float32 | float64 }

// group is the number of bytes that the kernels work on at a time, the
// machine's cache line. Rows begin at multiples of it and are padded to it.
const group = 64

// The rows of a block. E of component a is row a, H of component a row 3+a.
const (
	rowEx = iota
	rowEy
	rowEz
	rowHx
	rowHy
	rowHz
	rowsInBlock
)

// A record says what the kernels need to know of a row (j, k): where its
// coefficients stand in the dictionary and where its matched layers' memory
// stands, all in groups from the beginning of a table, −1 for none.
//
// The assembly knows this layout.
type record struct {
	electric, magnetic int32 // coefficients
	flags              uint32
	psiX, psiY, psiZ   int32
	_                  [2]int32
}

const (
	// The coefficients are the same all along the row, but for its first and
	// last groups.
	uniformE = 1 << iota
	uniformH
)

// A layout holds the fields and all the kernels read.
//
// The six rows of the nodes (j, k), each pitch numbers long, form a block, so
// that a sweep follows few streams of memory. Node i of a row stands at i; as a row
// has at least one number of padding, node −1 is the padding of the row before.
// Padding is zero and remains so, since its coefficients are zero. Blocks of zeros
// stand at j = −1 and k = −1: a mirror needs zero there.
type layout[T Float] struct {
	n      [3]int   // cells; the nodes are one more
	pitch  int      // numbers from row to row
	groups int      // groups of a row that hold nodes
	head   int      // groups at the low end of a row that are not uniform or lie in a matched layer
	tail   int      // the same at its high end
	fields []T      // blocks, j fastest; the first group is padding
	record []record // by j, k
	// electric holds sets of rows keep x, y, z, gain x, y, z; magnetic sets of gain x, y, z.
	electric, magnetic []T
	// x holds rows 1/dual, b, c of the electric and 1/size, b, c of the
	// magnetic field; y and z the same six numbers by position, and two of padding.
	x, y, z []T
	// Memory of the matched layers. A row of psiX is, for each group of head
	// and tail, a group of Ey and one of Ez, then all those of Hy and Hz. Of psiY
	// it is Ex, Ez, Hx, Hz; of psiZ it is Ex, Ey, Hx, Hy.
	psiX, psiY, psiZ []T
}

// perGroup returns the numbers in a group.
func perGroup[T Float]() int {
	var x T
	return group / int(unsafe.Sizeof(x))
}

// aligned returns n zeros that begin at a multiple of the group's size.
func aligned[T Float](n int) []T {
	g := perGroup[T]()
	a := make([]T, n+g)
	o := int(-uintptr(unsafe.Pointer(unsafe.SliceData(a)))%group) / (group / g)
	return a[o : o+n : o+n]
}

func newLayout[T Float](n [3]int) *layout[T] {
	g := perGroup[T]()
	l := &layout[T]{n: n}
	l.pitch = (n[0] + 2 + g - 1) / g * g
	l.groups = (n[0] + 1 + g - 1) / g
	l.fields = aligned[T](g + (n[1]+2)*(n[2]+3)*l.block() + g)
	// one more of what the assembly steps along: its pointer may stand at the end
	l.record = make([]record, (n[1]+1)*(n[2]+1)+1)
	for i := range l.record {
		l.record[i].psiX, l.record[i].psiY, l.record[i].psiZ = -1, -1, -1
	}
	l.x = aligned[T](6 * l.pitch)
	l.y = aligned[T](8 * (n[1] + 2))
	l.z = aligned[T](8 * (n[2] + 2))
	return l
}

// block returns the distance from a block to that of j+1, plane to that of k+1.
func (l *layout[T]) block() int { return rowsInBlock * l.pitch }
func (l *layout[T]) plane() int { return (l.n[1] + 2) * l.block() }

// at returns where node 0 of a row stands.
func (l *layout[T]) at(row, j, k int) int {
	return perGroup[T]() + (k+1)*l.plane() + (j+1)*l.block() + row*l.pitch
}

func (l *layout[T]) recordAt(j, k int) *record { return &l.record[k*(l.n[1]+1)+j] }

// A dictionary stores equal sets of rows once.
type dictionary[T Float] struct {
	table []T
	seen  map[string]int32
}

// add returns where the set stands, in groups.
func (d *dictionary[T]) add(set []T) int32 {
	if d.seen == nil {
		d.seen = map[string]int32{}
	}
	bytes := unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(set))), len(set)*int(unsafe.Sizeof(set[0])))
	if o, ok := d.seen[string(bytes)]; ok {
		return o
	}
	o := int32(len(d.table) / perGroup[T]())
	d.table = append(d.table, set...)
	d.seen[string(bytes)] = o
	return o
}

// aligned returns the table where the kernels may read it.
func (d *dictionary[T]) aligned() []T {
	t := aligned[T](len(d.table))
	copy(t, d.table)
	return t
}

// uniform says whether each of the rows of a set has one value between head
// and tail.
func (l *layout[T]) uniform(set []T) bool {
	g := perGroup[T]()
	lo, hi := l.head*g, (l.groups-l.tail)*g
	if hi-lo < g {
		return false
	}
	for r := 0; r < len(set); r += l.pitch {
		for _, v := range set[r+lo : r+hi] {
			if v != set[r+lo] {
				return false
			}
		}
	}
	return true
}
