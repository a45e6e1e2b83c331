// Package share passes the receiver's sentences on to other programs, while
// noonmark alone owns the port: to TCP clients, to one UDP address, and to a pty
// under a stable name.
//
// Bytes come in as they were read; whole lines go out, byte for byte, sentences or
// not. Bytes may be called from one goroutine and never waits: it is called by the
// one that stamps arrivals. Run owns everything else in a goroutine of its own, and
// writes without waiting too:
//
//   - A reader that does not keep up loses whole lines, which are counted. It
//     holds nobody else up. What has begun to be sent is finished first, so no
//     reader ever sees half a line.
//   - Each reader's backlog is bounded by its own socket or pty, and by one batch
//     of lines here.
//   - What readers send is never passed on to the receiver.
//   - A new reader begins at the beginning of a line, and gets nothing old.
//   - An outlet that cannot be opened (an address that is not there yet) is tried
//     again; the others work meanwhile.
package share

import (
	"bytes"
	"context"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

// Config says where the sentences go; "" = not there.
type Config struct {
	TCP string // address to listen on; UDP and TCP port 10110 is nmea-0183 (IANA)
	UDP string // IP address and port to send to, also broadcast or multicast
	PTY string // path of a link to a pty, such as /run/noonmark/receiver
}

// Any reports whether anything is shared.
func (c Config) Any() bool { return c != Config{} }

// Counts are what was shared since the start.
type Counts struct {
	Readers int64 // now: TCP clients, and the pty if it is open somewhere
	Lines   int64 // that came from the receiver
	Lost    int64 // that a reader was too slow for, added up over readers
}

const (
	maxLine    = 4096     // what has no line end is cut here
	maxPending = 64 << 10 // between the port and Run: seconds at any speed
	maxClients = 64
	tryAgain   = 5 * time.Second
)

// A Sharer passes lines on. Make one with New.
type Sharer struct {
	cfg  Config
	wake chan struct{} // something is pending

	mu      sync.Mutex
	part    []byte // of a line not yet ended
	pending []byte // whole lines

	readers, lines, lost atomic.Int64
}

// New returns a Sharer that opens nothing before Run.
func New(cfg Config) *Sharer { return &Sharer{cfg: cfg, wake: make(chan struct{}, 1)} }

// Counts may be called from any goroutine.
func (s *Sharer) Counts() Counts {
	return Counts{Readers: s.readers.Load(), Lines: s.lines.Load(), Lost: s.lost.Load()}
}

// Bytes takes what was read from the port. It keeps no reference to p.
func (s *Sharer) Bytes(p []byte) {
	s.mu.Lock()
	for len(p) > 0 {
		n := bytes.IndexByte(p, '\n') + 1
		if n == 0 {
			n = len(p)
		}
		n = min(n, maxLine-len(s.part))
		s.part = append(s.part, p[:n]...)
		p = p[n:]
		if s.part[len(s.part)-1] == '\n' || len(s.part) == maxLine {
			s.whole()
		}
	}
	some := len(s.pending) > 0
	s.mu.Unlock()
	if some {
		select {
		case s.wake <- struct{}{}:
		default:
		}
	}
}

// whole makes the part a line.
func (s *Sharer) whole() {
	s.lines.Add(1)
	if len(s.pending)+len(s.part) > maxPending {
		s.lost.Add(s.readers.Load())
	} else {
		s.pending = append(s.pending, s.part...)
	}
	s.part = s.part[:0]
}

// Opened says that what comes now is from a port opened anew: the rest of a line
// from before is nobody's.
func (s *Sharer) Opened() {
	s.mu.Lock()
	s.part = s.part[:0]
	s.mu.Unlock()
}

// take moves what is pending into buf.
func (s *Sharer) take(buf []byte) []byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	buf = append(buf[:0], s.pending...)
	s.pending = s.pending[:0]
	return buf
}

// Run opens what is configured and passes lines on until ctx ends. said is told
// from Run's goroutine what cannot be done, with the reason, once until it changes;
// "" = it works now.
func (s *Sharer) Run(ctx context.Context, said func(outlet, reason string)) {
	r := &running{Sharer: s, said: said, reasons: map[string]string{}, accepted: make(chan net.Conn)}
	defer r.close()
	again := time.NewTimer(0)
	defer again.Stop()
	var lines []byte
	for {
		select {
		case <-ctx.Done():
			return
		case <-again.C:
			if !r.open(ctx) {
				again.Reset(tryAgain)
			}
		case c := <-r.accepted:
			r.admit(c)
		case <-s.wake:
			lines = s.take(lines)
			r.deliver(lines)
		}
		s.readers.Store(int64(len(r.clients)) + r.pty.readers())
	}
}

// countLines counts what is lost when p is.
func countLines(p []byte) int64 {
	n := int64(bytes.Count(p, []byte{'\n'}))
	if len(p) > 0 && p[len(p)-1] != '\n' {
		n++
	}
	return n
}
