package port

import (
	"context"
	"errors"
	"fmt"
	"time"

	"noonmark/clockcheck/timescale"
)

// session reads one open source until it ends.
type session struct {
	src  source
	kind traits
	now  func() timescale.Local
	emit func(Event)
	name string // for sentences

	prompt bool // hand bytes on while a burst still comes in

	baud  int
	seek  *seeker
	pace  pacer
	held  []Event // Data before the first sentences, in case the speed is right
	heldN int

	opened, last timescale.Local
	tail         timescale.Local // what comes before it still belongs to the burst
	settled      bool            // nothing read from now on can have been waiting at opening
	giveWay      func() bool
}

// heldMax bounds what is held while the speed is sought: more than the bursts
// of several seconds at any speed that is worth believing.
const heldMax = 64 << 10

// errGiveWay ends a silent session when another receiver can be tried.
var errGiveWay = errors.New("sends no sentences, and there is another receiver to try")

func newSession(src source, name string, baud int, fixed bool, now func() timescale.Local, emit func(Event)) *session {
	at := now()
	s := &session{src: src, kind: src.traits(), now: now, emit: emit, name: name, opened: at, last: at}
	var list []int
	if s.kind.speed {
		s.baud, s.pace.baud = baud, baud
		list = []int{baud}
		for _, b := range speeds {
			if b != baud && !fixed {
				list = append(list, b)
			}
		}
	}
	s.seek = newSeeker(at, list)
	return s
}

// run reads until ctx ends (nil) or the source does.
func (s *session) run(ctx context.Context) error {
	defer context.AfterFunc(ctx, s.src.stop)()
	buf := make([]byte, 4096)
	for ctx.Err() == nil {
		n, err := s.src.read(buf, s.patience())
		at := s.now()
		if n > 0 {
			quiet := at.Sub(s.last)
			if at < s.tail {
				quiet = 0
				s.pace.more(at)
			}
			s.data(at, buf[:n], quiet)
			if s.kind.rest {
				err = s.gather(ctx, buf)
			}
		}
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		if err := s.decide(s.now()); err != nil {
			return err
		}
	}
	return nil
}

// gather takes the rest of a burst, in few reads.
func (s *session) gather(ctx context.Context, buf []byte) error {
	for ctx.Err() == nil {
		d := s.pace.rest(s.now())
		came, err := s.rested(ctx, buf, d)
		if !came || err != nil {
			return err
		}
		if err := s.decide(s.now()); err != nil {
			return err
		}
		// After most of a burst was slept through its end is not looked for by resting
		// again, which would cost a wake-up: what comes within that rest is its end.
		if d > restMax && !s.prompt {
			s.tail = s.now().Add(s.pace.pause())
			return nil
		}
	}
	return nil
}

// promptly is how long bytes wait at most when they are to be handed on.
const promptly = 20 * time.Millisecond

// rested rests for d and takes what came meanwhile: in one read at the end, or,
// if prompt, as it comes. The burst has ended only if nothing came in all of d, so
// that a short pause within it begins no other.
func (s *session) rested(ctx context.Context, buf []byte, d time.Duration) (came bool, err error) {
	for end := s.now().Add(d); ctx.Err() == nil; {
		part := d
		if s.prompt {
			part = min(end.Sub(s.now()), promptly)
		}
		s.src.rest(part)
		n, err := s.src.read(buf, 0)
		at := s.now()
		if n > 0 {
			s.data(at, buf[:n], 0)
			s.pace.more(at)
			came = true
		}
		if err != nil || !s.prompt || at >= end {
			return came, err
		}
	}
	return came, nil
}

// patience is how long a read may wait before decide has to be asked again.
func (s *session) patience() time.Duration {
	if len(s.seek.speeds) > 1 && !s.seek.heard {
		return time.Second / 2
	}
	return 5 * time.Second
}

func (s *session) data(at timescale.Local, p []byte, quiet time.Duration) {
	ev := Event{Kind: Data, At: at, Data: p, Quiet: quiet}
	switch {
	case s.kind.plain:
		ev.Stale, ev.Quiet = true, 0
	case s.settled:
	case quiet >= quietFor:
		s.settled = true
	case at.Sub(s.opened) < staleFor:
		ev.Stale = true
	default:
		s.settled = true
	}
	ev.First = ev.Quiet >= quietFor
	if ev.First {
		s.pace.burst(at, ev.Quiet)
	}
	s.last = at
	began := s.seek.feed(at, p)
	if began {
		s.emit(Event{Kind: Heard, At: at, Baud: s.baud})
	}
	s.pass(ev)
}

// pass hands Data on, or holds it while the speed is in doubt: noise at a
// wrong speed is nobody's business.
func (s *session) pass(ev Event) {
	if s.seek.heard || len(s.seek.speeds) < 2 {
		for _, h := range s.held {
			s.emit(h)
		}
		s.held, s.heldN = nil, 0
		s.emit(ev)
		return
	}
	ev.Data = append([]byte(nil), ev.Data...)
	s.held, s.heldN = append(s.held, ev), s.heldN+len(ev.Data)
	for s.heldN > heldMax {
		s.heldN -= len(s.held[0].Data)
		s.held = s.held[1:]
	}
}

// decide acts on what the seeker thinks.
func (s *session) decide(at timescale.Local) error {
	if s.seek.tell(at) {
		if !s.seek.heard && s.giveWay != nil && s.giveWay() {
			return errGiveWay
		}
		s.emit(Event{Kind: Waiting, At: at, Reason: s.silence()})
	}
	baud := s.seek.step(at)
	if baud == 0 {
		return nil
	}
	s.held, s.heldN = nil, 0
	s.baud, s.pace = baud, pacer{baud: baud}
	return s.src.setBaud(baud)
}

// silence explains why there are no sentences.
func (s *session) silence() string {
	switch {
	case s.seek.bytes == 0:
		return s.name + " is open but silent: check the receiver's power and cable, and that this is its port"
	case len(s.seek.speeds) == 1:
		return fmt.Sprintf("%s sends bytes but no NMEA sentence at %d baud: set baud = 0 to find the speed", s.name, s.baud)
	case len(s.seek.speeds) > 1:
		return s.name + " sends bytes but no NMEA sentence at any speed: switch the receiver to NMEA output"
	}
	return s.name + " sends bytes but no NMEA sentence: check what is sending there"
}
