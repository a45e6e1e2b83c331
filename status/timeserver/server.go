package timeserver

import (
	"context"
	"errors"
	"math/rand/v2"
	"net"
	"sync/atomic"
	"time"

	"golang.org/x/net/ipv4"

	"noonmark/clockcheck/timescale"
)

// Clock is what a Server needs of this machine's clocks. It is used by one
// goroutine.
type Clock interface {
	// Now reads the local timescale.
	Now() timescale.Local
	// Bracket reads the clocks and returns the present instant. Stamps of what
	// arrived before it can then be converted.
	Bracket() timescale.Local
	// ToLocal converts a stamp of the system clock that was taken shortly before
	// the last Bracket. It says false where that would be a guess: the clock was
	// stepped meanwhile, or the machine slept.
	ToLocal(stamp timescale.UTC) (timescale.Local, bool)
}

// Limit is how often one client may ask: Burst questions at once, then one Every.
type Limit struct {
	Every time.Duration
	Burst int
}

// Counts are numbers of packets since the start.
type Counts struct {
	Answered uint64 // questions answered, with the time or without
	Ignored  uint64 // what is no question of a client
	Limited  uint64 // questions of clients that ask too often
	Dropped  uint64 // questions that could not be dated or answered
}

// Server answers questions. It may serve several sockets, each in its goroutine.
type Server struct {
	state func() *State
	limit Limit
	heard heard

	answered, ignored, limited, dropped atomic.Uint64
}

// New returns a server of the time that state returns; state is called for each
// few packets from any goroutine, and may return nil. The zero Limit is the usual
// one.
func New(state func() *State, limit Limit) *Server { return &Server{state: state, limit: limit} }

// Counts may be called from any goroutine.
func (s *Server) Counts() Counts {
	return Counts{s.answered.Load(), s.ignored.Load(), s.limited.Load(), s.dropped.Load()}
}

// batch is how many questions are read and answered at once, at most. The last is
// answered some 50 µs after its transmit stamp was taken, which only a flood sees.
const batch = 32

// Serve answers on conn until ctx ends, then returns nil; it closes conn.
func (s *Server) Serve(ctx context.Context, conn *net.UDPConn, clock Clock) error {
	defer conn.Close()
	defer context.AfterFunc(ctx, func() { conn.Close() })()
	v6, err := prepare(conn)
	if err != nil {
		return err
	}
	d := &desk{Server: s, conn: ipv4.NewPacketConn(conn), clock: clock, limiter: newLimiter(s.limit), v6: v6}
	d.open()
	for {
		switch err := d.turn(); {
		case ctx.Err() != nil || errors.Is(err, net.ErrClosed):
			return nil
		case err != nil:
			s.dropped.Add(1)
			time.Sleep(100 * time.Millisecond) // a passing want of memory, say: no hot loop
		}
	}
}

// desk serves one socket.
type desk struct {
	*Server
	conn    *ipv4.PacketConn // IPv6 too: its batches do not ask for the family
	clock   Clock
	limiter *limiter
	v6      bool
	in, out []ipv4.Message
	answers [batch][size]byte
	sources [batch][]byte // control messages that name the address to answer from
}

func (d *desk) open() {
	d.in, d.out = make([]ipv4.Message, batch), make([]ipv4.Message, batch)
	for i := range d.in {
		// What is longer than the header is cut off: it is not read.
		d.in[i] = ipv4.Message{Buffers: [][]byte{make([]byte, size)}, OOB: make([]byte, controlSize)}
		d.out[i] = ipv4.Message{Buffers: [][]byte{d.answers[i][:]}}
		d.sources[i] = sourceMessage(d.v6)
	}
}

// turn reads what is there, waiting for the first, and answers it.
func (d *desk) turn() error {
	n, err := d.conn.ReadBatch(d.in, 0)
	if err != nil || n == 0 {
		return err
	}
	state, now := d.state(), d.clock.Bracket()
	k := 0
	for i := range d.in[:n] {
		if d.take(&d.in[i], k, state, now) {
			k++
		}
	}
	d.send(d.out[:k])
	return nil
}

// take writes the answer to a question into the k-th message to send; false = there
// is none.
func (d *desk) take(m *ipv4.Message, k int, state *State, now timescale.Local) bool {
	q := m.Buffers[0][:m.N]
	from, ok := m.Addr.(*net.UDPAddr)
	if !ok || from.Port == 0 || !question(q) {
		d.ignored.Add(1)
		return false
	}
	c := controls(m.OOB[:m.NN])
	if c.group {
		d.ignored.Add(1)
		return false
	}
	switch d.limiter.ask(from.AddrPort().Addr(), now) {
	case silence:
		d.limited.Add(1)
		return false
	case kiss:
		d.limited.Add(1)
		rate(&d.answers[k], q)
	default:
		arrived := now
		if c.stamped {
			if arrived, ok = d.clock.ToLocal(c.stamp); !ok {
				d.dropped.Add(1)
				return false
			}
		}
		state.answer(&d.answers[k], q, arrived, d.clock.Now(), rand.Uint32())
		d.answered.Add(1)
		d.heard.note(household(from.AddrPort().Addr()))
	}
	d.out[k].Addr = m.Addr
	d.out[k].OOB = c.source(d.sources[k])
	return true
}

// send sends, and leaves out what the network does not take.
func (d *desk) send(out []ipv4.Message) {
	for len(out) > 0 {
		n, err := d.conn.WriteBatch(out, 0)
		if err != nil || n <= 0 {
			d.dropped.Add(1)
			n = 1
		}
		out = out[n:]
	}
}
