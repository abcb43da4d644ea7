package web

import (
	"container/list"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"sync"
	"time"

	"linewright/app/wire"
	"linewright/job/enquiry"
	"linewright/job/propose"
)

// keptAnswers is how many answers are held; the one used longest ago goes first.
const keptAnswers = 200

// answers computes answers in the background, each content once, and keeps them.
type answers struct {
	ctx    context.Context
	events *broker
	mu     sync.Mutex
	wake   *sync.Cond
	byKey  map[string]*answer
	order  *list.List // of *answer, used last in front
	urgent []*answer  // somebody waits for them
	idle   []*answer
	front  int // requests that somebody looks at right now
	behind int // idle ones that are being worked on
	least  int // how many of those at once
	closed bool
}

// ahead says that somebody waits for an answer that is computed where it is
// asked for; until the returned function is called no idle work is begun, so
// that an edit has the machine to itself.
func (a *answers) ahead() (done func()) {
	a.mu.Lock()
	a.front++
	a.mu.Unlock()
	return func() {
		a.mu.Lock()
		a.front--
		a.mu.Unlock()
		a.wake.Broadcast()
	}
}

// answer is one computation and its result, which is read after done is closed.
type answer struct {
	key     string
	id      string
	work    func(context.Context) (propose.Answer, error)
	done    chan struct{}
	started bool
	at      *list.Element

	found propose.Answer
	wire  wire.Answer
	err   error
}

func newAnswers(ctx context.Context, wg *sync.WaitGroup, workers int, events *broker) *answers {
	a := &answers{ctx: ctx, events: events, byKey: map[string]*answer{}, order: list.New(), least: max(1, workers-1)}
	a.wake = sync.NewCond(&a.mu)
	for range workers {
		wg.Go(a.run)
	}
	wg.Go(func() {
		<-ctx.Done()
		a.mu.Lock()
		a.closed = true
		a.mu.Unlock()
		a.wake.Broadcast()
	})
	return a
}

func (a *answers) run() {
	for {
		a.mu.Lock()
		var x *answer
		idle := false
		for x == nil && !a.closed {
			switch {
			case len(a.urgent) > 0:
				x, a.urgent = a.urgent[0], a.urgent[1:]
			case len(a.idle) > 0 && a.front == 0 && a.behind < a.least: // a processor stays free for edits
				x, a.idle, idle = a.idle[0], a.idle[1:], true
			default:
				a.wake.Wait()
				continue
			}
			if x.started { // it was made urgent and has been taken from there
				x, idle = nil, false
				continue
			}
			x.started = true
			if idle {
				a.behind++
			}
		}
		a.mu.Unlock()
		if x == nil {
			return
		}
		x.found, x.err = protect(func() (propose.Answer, error) { return x.work(a.ctx) })
		if x.err == nil {
			x.wire = wire.NewAnswer(x.found)
		}
		x.work = nil
		if idle {
			a.mu.Lock()
			a.behind--
			a.mu.Unlock()
			a.wake.Broadcast()
		}
		close(x.done)
		if a.ctx.Err() != nil {
			continue
		}
		state := "answered"
		if x.err != nil {
			state = "faulty"
		}
		a.events.send(Answered{x.id, state})
	}
}

// protect turns a panic below into an error: one enquiry that trips the program
// must not take the others down.
func protect[T any](f func() (T, error)) (out T, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("a fault of the program: %v; report it with this file", p)
		}
	}()
	return f()
}

func keyOf(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// get returns the computation for a key, starting it when it is new.
func (a *answers) get(key, id string, urgent bool, work func(context.Context) (propose.Answer, error)) *answer {
	a.mu.Lock()
	defer a.mu.Unlock()
	x, ok := a.byKey[key]
	if !ok {
		x = &answer{key: key, id: id, work: work, done: make(chan struct{})}
		x.at = a.order.PushFront(x)
		a.byKey[key] = x
		for back := a.order.Back(); a.order.Len() > keptAnswers && back != nil; {
			old := back.Value.(*answer)
			back = back.Prev()
			if old.ready() { // what is still to be computed stays
				a.order.Remove(old.at)
				delete(a.byKey, old.key)
			}
		}
		if !urgent {
			a.idle = append(a.idle, x)
			a.wake.Signal()
		}
	} else {
		a.order.MoveToFront(x.at)
	}
	if urgent && !x.started {
		a.urgent = append(a.urgent, x)
		a.wake.Signal()
	}
	return x
}

func (x *answer) ready() bool {
	select {
	case <-x.done:
		return true
	default:
		return false
	}
}

// wait returns the answer when it is there.
func (x *answer) wait(ctx context.Context) error {
	select {
	case <-x.done:
		return x.err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// full answers an enquiry as the command line does.
func (s *Server) full(id string, text []byte, e enquiry.Enquiry, on shelf, urgent bool) *answer {
	return s.answers.get(keyOf("full", id, string(text), on.hash), id, urgent, func(ctx context.Context) (propose.Answer, error) {
		var last time.Time
		workers := 1 // in the background, one processor an enquiry
		if urgent {
			workers = 0
		}
		return propose.Find(ctx, e, on.cat, propose.Options{Layouts: on.layouts, Workers: workers, Progress: func(stage string, x float64) {
			if now := time.Now(); now.Sub(last) > 250*time.Millisecond {
				last = now
				s.events.send(Working{id, stage, x})
			}
		}})
	})
}
