package web

import (
	"context"
	"io/fs"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2/sse"

	"linewright/app/workspace"
)

// Answered says that an enquiry's answer is ready, or that it has none.
type Answered struct {
	Enquiry string `json:"enquiry"`
	State   string `json:"state" enum:"answered,faulty"`
}

// FileChanged says that files of the workspace changed on disk.
type FileChanged struct {
	Files []string `json:"files"`
}

// Working says how far an answer is.
type Working struct {
	Enquiry  string  `json:"enquiry"`
	Stage    string  `json:"stage"`
	Fraction float64 `json:"fraction"`
}

// Alive is sent now and then, so that a broken connection is noticed.
type Alive struct {
	Time time.Time `json:"time"`
}

// broker hands events to whoever listens. A listener that does not keep up
// loses the oldest events: each tells what to fetch again, none is a record.
type broker struct {
	mu     sync.Mutex
	to     map[chan any]bool
	closed chan struct{}
	once   sync.Once
}

func newBroker() *broker { return &broker{to: map[chan any]bool{}, closed: make(chan struct{})} }

func (b *broker) close() { b.once.Do(func() { close(b.closed) }) }

func (b *broker) send(e any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for c := range b.to {
		for {
			select {
			case c <- e:
			default:
				select {
				case <-c:
				default:
				}
				continue
			}
			break
		}
	}
}

func (b *broker) listen() (<-chan any, func()) {
	c := make(chan any, 256)
	b.mu.Lock()
	b.to[c] = true
	b.mu.Unlock()
	return c, func() {
		b.mu.Lock()
		delete(b.to, c)
		b.mu.Unlock()
	}
}

// stream sends events until the client or the server goes.
func (s *Server) stream(ctx context.Context, _ *struct{}, send sse.Sender) {
	events, done := s.events.listen()
	defer done()
	tick := time.NewTicker(15 * time.Second)
	defer tick.Stop()
	if send.Data(Alive{time.Now()}) != nil {
		return
	}
	for {
		var e any
		select {
		case <-ctx.Done():
			return
		case <-s.events.closed:
			return
		case t := <-tick.C:
			e = Alive{t}
		case e = <-events:
		}
		if send.Data(e) != nil {
			return
		}
	}
}

// watch looks every so often whether files changed, by size and time.
func (s *Server) watch(ctx context.Context, every time.Duration) {
	dirs := []string{workspace.EnquiryDir, workspace.CatalogueDir, workspace.ChainDir, workspace.StackupDir, workspace.LaunchDir, workspace.MeasuredDir}
	last := stamps(s.ws, dirs...)
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
		if _, err := fs.Stat(s.ws.FS, "."); err != nil {
			continue // the folder is away for the moment
		}
		now := stamps(s.ws, dirs...)
		if same(now, last) {
			continue
		}
		changed := map[string]bool{}
		for n, x := range now {
			if y, ok := last[n]; !ok || x.size != y.size || !x.time.Equal(y.time) {
				changed[n] = true
			}
		}
		for n := range last {
			if _, ok := now[n]; !ok {
				changed[n] = true
			}
		}
		last = now
		s.events.send(FileChanged{slices.Sorted(maps.Keys(changed))})
	}
}
