package launch

import "testing"

// A judgement of many chains checks the same launch for each: it must not wait
// for field solutions.
func BenchmarkCheck(b *testing.B) {
	in := d2()
	in.Trace.Width, in.Trace.Gap = mm(0.58), mm(0.2)
	in.Fence.RowWidth = mm(1.9)
	in.Pad = Pad{Length: mm(1), Width: mm(0.8)}
	for b.Loop() {
		Check(in)
	}
}
