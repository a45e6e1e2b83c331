// Package netref asks network time servers (NTP, RFC 5905) what time it is.
//
// Names of servers go in; readings on the local timescale, and problems in
// plain words, come out. The system clock is neither read nor set: both ends
// of a question are stamped on the local timescale, so that a step of the
// system clock meanwhile cannot matter. Nothing is sent while this machine has
// no network. Poller.Run owns everything and calls back from its own
// goroutine.
//
// What no reading shows: a server that spreads a leap second over a day
// ("smearing") is up to a second from UTC meanwhile and does not say so
// (RFC 8633 section 3.7.1).
package netref

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/netip"
	"time"

	"noonmark/clockcheck/timescale"
)

// Reading is one answer of a server that passed every check.
type Reading struct {
	Server string          // as configured
	At     timescale.Local // the instant the reading refers to
	UTC    timescale.UTC   // the server's estimate of UTC at At
	// Bound is the largest error of UTC if the server is honest: the root
	// distance of RFC 5905, half of Delay included. Less than 1 s.
	Bound   time.Duration
	Delay   time.Duration // round trip without the server's own time, ≥ 0
	Stratum int           // 1 to 15; 1 has a clock of its own
	RefID   string        // what the server itself follows, e.g. "GPS" or "192.0.2.7"
	Leap    int           // 0 none, 1 a second is inserted at the end of the month, 2 removed
	// ID is the reference id that those who follow this server show, and Follows its
	// own, as RFC 5905 section 7.3 has them: two servers of which one shows the other's,
	// or that show the same above stratum 1, have one ancestry. ID is zero where the
	// server's address is not known. Port is the server's.
	ID, Follows [4]byte
	Port        uint16
}

// Kind says what sort of problem there is with a server.
type Kind string

// The kinds of problem.
const (
	NoNetwork Kind = "no network"        // there is no route; nothing was sent
	NoName    Kind = "name not found"    // the name cannot be turned into an address
	NoAnswer  Kind = "no answer"         // silence, or something that is no answer
	Unfit     Kind = "unfit"             // an answer that cannot be used
	SlowDown  Kind = "told to slow down" // the server wants fewer questions (RATE)
	Stopped   Kind = "stopped"           // this server is not asked again in this run
)

// Problem is what went wrong with one server. Reason is a sentence for a
// person, without the server's name.
type Problem struct {
	Server string
	Kind   Kind
	Reason string
	Again  time.Duration // when it will be tried again; 0 = never
}

// Poller asks a fixed set of servers, politely: never the same one twice
// within 16 s, from the fifth question on never within 64 s, and less and less
// often while it answers well or not at all.
type Poller struct {
	// Servers are names or addresses, with ":port" unless it is 123.
	Servers []string
	// Now reads the local timescale.
	Now func() timescale.Local
	// Suspended, if set, returns the time spent in suspend since boot: an
	// answer during which it changed is dropped, for the local timescale
	// stood still.
	Suspended func() time.Duration
	// NotBefore, if set, is an instant in the past for sure (the build date).
	// Servers that claim an earlier time, or one 25 years later, are unfit.
	NotBefore timescale.UTC

	host *host // nil = this machine's network; tests put another here
}

// Run asks until ctx ends. It returns an error only if the Poller cannot work
// at all. The callbacks must not block for long.
func (p *Poller) Run(ctx context.Context, sink func(Reading), problem func(Problem)) error {
	if p.Now == nil {
		return errors.New("netref: no clock given")
	}
	if p.host == nil {
		p.host = thisHost()
	}
	h := p.host
	targets := p.targets(problem)
	changed := h.watch(ctx)
	for ctx.Err() == nil {
		now := p.Now()
		t, due := next(targets)
		var timer <-chan time.Time
		if t != nil {
			if wait := due.Sub(now); wait > 0 {
				timer = time.After(wait)
			} else {
				p.turn(ctx, h, t, takenBut(targets, t), sink, problem)
				continue
			}
		}
		select {
		case <-ctx.Done():
		case <-timer:
		case <-changed:
			for _, t := range targets {
				t.pace.NetworkChanged(p.Now())
			}
		}
	}
	return nil
}

// target is a server and all that is known about asking it.
type target struct {
	address
	name    string
	pace    Pace
	offline bool // NoNetwork has been told already
}

// targets makes the list, the servers a little apart from each other. A
// malformed or repeated name is told and left out.
func (p *Poller) targets(problem func(Problem)) []*target {
	var list []*target
	for i, name := range p.Servers {
		a, err := parseAddress(name)
		for _, other := range list {
			if err == nil && other.host == a.host && other.port == a.port {
				err = errors.New("it is listed twice, which does not make two witnesses of it")
			}
		}
		if err != nil {
			problem(Problem{name, Stopped, err.Error(), 0})
			continue
		}
		start := Start(p.Now(), i)
		list = append(list, &target{address: a, name: name, pace: NewPace(start)})
	}
	return list
}

// next returns the target that is due first, nil if none will ever be.
func next(targets []*target) (first *target, due timescale.Local) {
	for _, t := range targets {
		if d, ok := t.pace.Next(); ok && (first == nil || d < due) {
			first, due = t, d
		}
	}
	return first, due
}

// takenBut tells which other target an address belongs to.
func takenBut(targets []*target, but *target) func(netip.AddrPort) string {
	return func(a netip.AddrPort) string {
		for _, t := range targets {
			if t != but && !t.pace.stopped && t.found == a.Addr() && t.port == a.Port() {
				return t.name
			}
		}
		return ""
	}
}

// turn asks one server once and settles when to ask it again.
func (p *Poller) turn(ctx context.Context, h *host, t *target, taken func(netip.AddrPort) string, sink func(Reading), problem func(Problem)) {
	spread := rand.Float64()
	conn, err := h.connect(ctx, &t.address, taken)
	var r Reading
	if err == nil {
		r, err = p.ask(ctx, conn, t.name)
	}
	if ctx.Err() != nil {
		return
	}
	now := p.Now()
	if err == nil {
		t.offline = false
		t.pace.Answered(now, spread)
		sink(r)
		return
	}
	var f *failure
	if !errors.As(err, &f) {
		f = &failure{NoAnswer, err.Error()}
	}
	told := f.kind == NoNetwork && t.offline
	t.offline = f.kind == NoNetwork
	t.forget()
	switch f.kind {
	case NoNetwork:
		t.pace.Offline(now)
	case SlowDown:
		t.pace.SlowDown(now, spread)
	case Stopped:
		t.pace.Stop()
	default:
		t.pace.Failed(now, spread)
	}
	if told {
		return
	}
	again := time.Duration(0)
	if due, ok := t.pace.Next(); ok {
		again = due.Sub(now)
	}
	problem(Problem{t.name, f.kind, f.reason, again})
}

// failure is an error that knows its kind.
type failure struct {
	kind   Kind
	reason string
}

func (f *failure) Error() string { return f.reason }

func failf(kind Kind, format string, args ...any) error {
	return &failure{kind, fmt.Sprintf(format, args...)}
}
