package cli

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/spf13/pflag"
)

type flagType = pflag.Flag

// progress shows one line that is overwritten, on a terminal only, after work
// has gone on for a moment.
type progress struct {
	w     io.Writer
	mu    sync.Mutex
	start time.Time
	last  time.Time
	shown bool
}

// newProgress returns nil, whose methods do nothing, when w is no terminal or
// quiet is asked for.
func (e *environment) newProgress() *progress {
	f, ok := e.err.(*os.File)
	if !ok || e.quiet {
		return nil
	}
	info, err := f.Stat()
	if err != nil || info.Mode()&os.ModeCharDevice == 0 {
		return nil
	}
	return &progress{w: e.err, start: time.Now()}
}

// report shows how far a stage is.
func (p *progress) report(stage string, fraction float64) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	if now.Sub(p.start) < 300*time.Millisecond || now.Sub(p.last) < 100*time.Millisecond {
		return
	}
	p.last, p.shown = now, true
	width := 24
	done := min(max(int(fraction*float64(width)), 0), width)
	// Without wrapping: in a narrow terminal the line is cut, and not begun anew
	// below itself each time.
	fmt.Fprintf(p.w, "\r\x1b[?7l%3.0f %% %s%s %s\x1b[K\x1b[?7h", 100*fraction, strings.Repeat("=", done), strings.Repeat(".", width-done), stage)
}

// end clears the line.
func (p *progress) end() {
	if p != nil && p.shown {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}
