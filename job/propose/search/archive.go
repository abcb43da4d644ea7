package search

import (
	"math"
	"slices"
)

// A vector holds values that are all 0 or more: integers as they are and
// reflections by their bits, which for numbers that are not negative have
// the order of the numbers. So all comparisons are of integers, and
//
//	a is nowhere greater than b   ⇔   (b0-a0 | b1-a1 | ... ) >= 0
//
// because the sign bit of a difference is set where a is greater, and differences of
// numbers that are not negative cannot overflow. One branch in place of four.
type vector [wide]int64

// scales bring the numbers of a vector to comparable size.
type scales struct {
	factor     [wide]float64
	reflection [wide]bool // the number is the bits of a reflection
}

// of returns the scaled number d, ascending in x.
func (s *scales) of(d int, x int64) float64 {
	if s.reflection[d] {
		return s.factor[d] * math.Float64frombits(uint64(x))
	}
	return s.factor[d] * float64(x)
}

// sum returns the sum of the scaled numbers. It ascends in each of them, rounding included.
func (s *scales) sum(v *vector, used int) float64 {
	k := 0.0
	for d := range used {
		k += float64(s.of(d, v[d]))
	}
	return k
}

func within4(a, b *[4]int64) bool {
	return (b[0]-a[0])|(b[1]-a[1])|(b[2]-a[2])|(b[3]-a[3]) >= 0
}

func within8(a, b *[8]int64) bool {
	return within4((*[4]int64)(a[:4]), (*[4]int64)(b[:4])) && within4((*[4]int64)(a[4:]), (*[4]int64)(b[4:]))
}

// leafSize is the number of points in a leaf of an archive before it splits.
const leafSize = 32

// An archive answers, for a growing set of points, whether one of them is
// nowhere greater than q. It is a tree of boxes: a box whose lower corner is
// not within q holds no such point, one whose upper corner is within q holds nothing else.
type archive struct {
	stride int // 4 or 8: numbers per point, the unused ones 0
	used   int
	scale  *scales
	nodes  []archiveNode
	box    []int64 // lower and upper corner of each node
	points []int64 // blocks of leaves
	stack  []int32
	spare  []int64
	n      int32 // points; they are numbered from 1
}

type archiveNode struct {
	left, right int32 // children; left 0: a leaf
	dim         int32
	n           int32 // points of a leaf
	room        int32 // points its block can take
	last        int32 // number of the last point added below
	split       int64 // in the left child are values <= split
	block       int   // start in points
}

func newArchive(stride, used int, scale *scales) *archive {
	a := &archive{stride: stride, used: used, scale: scale}
	a.leaf(leafSize)
	return a
}

// leaf appends an empty leaf.
func (a *archive) leaf(room int) int32 {
	id := int32(len(a.nodes))
	a.nodes = append(a.nodes, archiveNode{block: len(a.points), room: int32(room)})
	for range room * a.stride {
		a.points = append(a.points, 0)
	}
	for range a.stride {
		a.box = append(a.box, math.MaxInt64)
	}
	for range a.stride {
		a.box = append(a.box, 0)
	}
	return id
}

// dominates says whether some point added after point number since is nowhere greater than
// q, and if so copies one to witness. It may find older points too.
func (a *archive) dominates(q *vector, since int32, witness *vector) bool {
	if a.stride == 4 {
		return a.dominates4((*[4]int64)(q[:4]), since, (*[4]int64)(witness[:4]))
	}
	return a.dominates8((*[8]int64)(q), since, (*[8]int64)(witness))
}

func (a *archive) dominates4(q *[4]int64, since int32, witness *[4]int64) bool {
	stack := append(a.stack[:0], 0)
	for len(stack) > 0 {
		id := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		n := &a.nodes[id]
		if n.last <= since || !within4((*[4]int64)(a.box[int(id)*8:]), q) {
			continue
		}
		if n.left != 0 {
			stack = append(stack, n.right, n.left)
			continue
		}
		points := a.points[n.block : n.block+4*int(n.n)]
		for len(points) >= 4 {
			if within4((*[4]int64)(points), q) {
				*witness = [4]int64(points)
				a.stack = stack
				return true
			}
			points = points[4:]
		}
	}
	a.stack = stack
	return false
}

func (a *archive) dominates8(q *[8]int64, since int32, witness *[8]int64) bool {
	q0, q1 := (*[4]int64)(q[:4]), (*[4]int64)(q[4:])
	stack := append(a.stack[:0], 0)
	for len(stack) > 0 {
		id := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		n := &a.nodes[id]
		box := (*[8]int64)(a.box[int(id)*16:])
		if n.last <= since || !within4((*[4]int64)(box[:4]), q0) || !within4((*[4]int64)(box[4:]), q1) {
			continue
		}
		if n.left != 0 {
			stack = append(stack, n.right, n.left)
			continue
		}
		points := a.points[n.block : n.block+8*int(n.n)]
		for len(points) >= 8 {
			p := (*[8]int64)(points)
			if within4((*[4]int64)(p[:4]), q0) && within4((*[4]int64)(p[4:]), q1) {
				*witness = *p
				a.stack = stack
				return true
			}
			points = points[8:]
		}
	}
	a.stack = stack
	return false
}

// add puts a point into the archive.
func (a *archive) add(q *vector) {
	a.n++
	st := a.stride
	id := int32(0)
	for {
		box := a.box[int(id)*2*st : (int(id)+1)*2*st]
		for d := range st {
			box[d] = min(box[d], q[d])
			box[st+d] = max(box[st+d], q[d])
		}
		n := &a.nodes[id]
		n.last = a.n
		if n.left != 0 {
			if q[n.dim] <= n.split {
				id = n.left
			} else {
				id = n.right
			}
			continue
		}
		if n.n < n.room {
			copy(a.points[n.block+int(n.n)*st:][:st], q[:st])
			n.n++
			return
		}
		a.divide(id)
	}
}

// divide turns a full leaf into two; if all its points are one, it gets more room.
func (a *archive) divide(id int32) {
	st := a.stride
	n := a.nodes[id]
	block := slices.Clone(a.points[n.block : n.block+int(n.n)*st])
	dim, wide := -1, 0.0
	for d := range a.used {
		lo, hi := int64(math.MaxInt64), int64(0)
		for j := d; j < len(block); j += st {
			lo, hi = min(lo, block[j]), max(hi, block[j])
		}
		if w := a.scale.of(d, hi) - a.scale.of(d, lo); lo < hi && (dim < 0 || w > wide) {
			dim, wide = d, w
		}
	}
	if dim < 0 {
		room := 2 * int(n.room)
		a.nodes[id].block, a.nodes[id].room = len(a.points), int32(room)
		a.points = append(a.points, block...)
		for range room*st - len(block) {
			a.points = append(a.points, 0)
		}
		return
	}
	values := a.spare[:0]
	for j := dim; j < len(block); j += st {
		values = append(values, block[j])
	}
	slices.Sort(values)
	// the middle, or the last place before it or first after it where the value changes
	mid := len(values) / 2
	at := mid
	for at > 0 && values[at-1] == values[at] {
		at--
	}
	if at == 0 {
		for at = mid; values[at] == values[0]; at++ {
		}
	}
	split := values[at-1]
	a.spare = values
	left, right := a.leaf(int(n.room)), a.leaf(int(n.room))
	for j := 0; j < len(block); j += st {
		to := right
		if block[j+dim] <= split {
			to = left
		}
		c := &a.nodes[to]
		copy(a.points[c.block+int(c.n)*st:][:st], block[j:j+st])
		c.n++
		c.last = n.last // of the whole leaf: numbers are not kept by point
		box := a.box[int(to)*2*st : (int(to)+1)*2*st]
		for d := range st {
			box[d] = min(box[d], block[j+d])
			box[st+d] = max(box[st+d], block[j+d])
		}
	}
	p := &a.nodes[id]
	p.left, p.right, p.dim, p.split = left, right, int32(dim), split
}
