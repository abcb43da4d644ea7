package touchstone

import (
	"bytes"
	"errors"
	"io"
)

const (
	maxLine  = 16 << 20 // bytes; a matrix row of 10000 ports takes about half a megabyte
	maxPorts = 10000
)

var errLineTooLong = errors.New("line too long")

// lines cuts a stream into lines, which end in LF, CR LF or a lone CR. Its
// buffer grows to the longest line there is, not further.
type lines struct {
	r        io.Reader
	buf      []byte
	pos, end int // what is unread: buf[pos:end]
	feed     int // the next LF at or behind pos, end if there is none; below pos if not searched for
	eof      bool
	err      error // of r, other than io.EOF
	number   int   // of the line last returned, from 1
}

// next returns the next line without its end; the bytes are valid until the
// following call. ok is false at the end of the stream or after an error.
func (l *lines) next() (line []byte, ok bool) {
	searched := l.pos
	for {
		if l.feed < l.pos {
			if i := bytes.IndexByte(l.buf[searched:l.end], '\n'); i >= 0 {
				l.feed = searched + i
			} else {
				l.feed = l.end
			}
		}
		if i := bytes.IndexByte(l.buf[searched:l.feed], '\r'); i >= 0 {
			i += searched
			if i+1 < l.end || l.eof { // else an LF may follow
				next := i + 1
				if next == l.feed && l.feed < l.end {
					next++
				}
				return l.take(i, next), true
			}
		} else if l.feed < l.end {
			return l.take(l.feed, l.feed+1), true
		}
		if l.eof {
			if l.pos == l.end {
				return nil, false
			}
			return l.take(l.end, l.end), true
		}
		searched = l.fill()
		if l.err != nil {
			return nil, false
		}
	}
}

func (l *lines) take(end, next int) []byte {
	line := l.buf[l.pos:end]
	l.pos = next
	l.number++
	return line
}

// fill reads more behind what is unread, and returns where the search for a line
// end goes on.
func (l *lines) fill() (searched int) {
	if l.pos > 0 {
		copy(l.buf, l.buf[l.pos:l.end])
		l.end -= l.pos
		l.pos = 0
	}
	if l.end == len(l.buf) {
		if l.end >= maxLine {
			l.err = errLineTooLong
			return 0
		}
		grown := make([]byte, max(64<<10, 2*len(l.buf)))
		copy(grown, l.buf[:l.end])
		l.buf = grown
	}
	searched = l.end
	if searched > 0 && l.buf[searched-1] == '\r' {
		searched--
	}
	for range 100 {
		n, err := l.r.Read(l.buf[l.end:])
		l.end += n
		if err == io.EOF {
			l.eof = true
			err = nil
		}
		if err != nil {
			l.err = err
		}
		if n > 0 || l.eof || l.err != nil {
			l.feed = -1
			return searched
		}
	}
	l.err = io.ErrNoProgress
	return searched
}

// peek returns what follows the current line, as far as it fits a buffer of
// ordinary size, without reading past it. The current line is moved by that;
// whoever still needs it keeps a copy.
func (l *lines) peek() (ahead []byte, whole bool) {
	for l.end-l.pos < 32<<10 && !l.eof && l.err == nil {
		l.fill()
	}
	return l.buf[l.pos:l.end], l.eof
}
