package web

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"linewright/job/propose"
)

// While somebody waits in front, nothing idle is begun; what is urgent is. Later
// all of it is done, and of idle work never more at once than leaves a worker.
func TestIdleWorkWaits(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	const workers = 3
	a := newAnswers(ctx, &wg, workers, newBroker())
	defer wg.Wait()
	defer stop()
	var now, most, begun atomic.Int32
	idle := func(context.Context) (propose.Answer, error) {
		begun.Add(1)
		n := now.Add(1)
		for {
			m := most.Load()
			if n <= m || most.CompareAndSwap(m, n) {
				break
			}
		}
		time.Sleep(2 * time.Millisecond)
		now.Add(-1)
		return propose.Answer{}, nil
	}
	done := a.ahead()
	var all []*answer
	for _, key := range []string{"a", "b", "c", "d", "e", "f", "g", "h"} {
		all = append(all, a.get(key, key, false, idle))
	}
	urgent := a.get("now", "now", true, func(context.Context) (propose.Answer, error) { return propose.Answer{}, nil })
	if err := urgent.wait(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := begun.Load(); n != 0 {
		t.Errorf("%d idle answers were begun while somebody waited", n)
	}
	if err := a.get("b", "b", true, nil).wait(t.Context()); err != nil { // the idle one becomes urgent
		t.Fatal(err)
	}
	done()
	for _, x := range all {
		if err := x.wait(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if begun.Load() != int32(len(all)) || most.Load() > workers-1 {
		t.Errorf("%d of %d were computed, up to %d at once by %d workers", begun.Load(), len(all), most.Load(), workers)
	}
}
