package lab

import (
	"time"

	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
)

// toldWithin is how long an honest server must be there to tell UTC: one minute (README,
// "What to do when it says Not sure").
const toldWithin = time.Minute

// tellers are the parts of the night in which honest servers tell UTC.
func (s *newNight) tellers() (out []window) {
	for i := range s.c.Story {
		ch := &s.c.Story[i]
		from, to := s.lasts(i)
		if !honest(ch) || to <= from {
			continue
		}
		if n := len(out); n > 0 && out[n-1].to == from {
			out[n-1].to = to
			continue
		}
		out = append(out, window{from, to})
	}
	return out
}

// lasts is the part of the night in which a chapter goes on with the power on.
func (s *newNight) lasts(i int) (from, to time.Duration) {
	from, to = s.c.Story[i].From, s.c.Length
	if i+1 < len(s.c.Story) {
		to = s.c.Story[i+1].From
	}
	for _, o := range s.offs {
		if o.from <= from && from < o.to {
			from = o.to
		}
	}
	return from, to
}

// honest tells whether more than half of the servers that answer are right, over a way that
// hides nothing: one of 0.1 to 1.5 s leaves room for half of that (RFC 5905, root distance).
func honest(ch *world.Chapter) bool {
	return ch.Way == (world.Way{}) && 2*truthful(ch) > len(ch.Servers)
}

// truthful is how many of the servers that answer are right.
func truthful(ch *world.Chapter) (n int) {
	for _, v := range ch.Servers {
		if ch.Portal == nil && v.Error.Abs() <= v.Bound {
			n++
		}
	}
	return n
}

// rightAt tells whether a server that is right answers at an instant, be it one among many.
func (s *newNight) rightAt(at time.Duration) bool {
	some := false
	for i := range s.c.Story {
		if ch := &s.c.Story[i]; ch.From <= at {
			some = truthful(ch) > 0
		}
	}
	return some
}

// told is when an honest server told UTC last, at an instant at the latest, and nothing of that
// is lost since: a lost state knows nothing of what was before.
func (s *newNight) told(at time.Duration) (last time.Duration, ok bool) {
	lost := time.Duration(0)
	for _, f := range s.forgets {
		if f <= at {
			lost = max(lost, f)
		}
	}
	for _, w := range s.tellers() {
		if to := min(w.to, at); to-max(w.from, lost) >= toldWithin {
			last, ok = to, true
		}
	}
	return last, ok
}

// tellerAt tells whether an honest server is there at an instant.
func (s *newNight) tellerAt(at time.Duration) bool {
	for _, w := range s.tellers() {
		if at >= w.from && at < w.to {
			return true
		}
	}
	return false
}

// untilTold declares from an instant on, until an honest server has told UTC, or the state is
// lost, and what was falsely believed with it.
func (s *newNight) untilTold(class int, from time.Duration) {
	if s.tellerAt(from) {
		return
	}
	to := time.Duration(0)
	for _, w := range s.tellers() {
		if told := max(w.from, from) + toldWithin; told <= w.to {
			to = told
			break
		}
	}
	for _, at := range s.forgets {
		if gone := at + time.Second; at > from && (to == 0 || gone < to) { // it happens as the next second begins
			to = gone
		}
	}
	s.c.declare(class, from, to)
}

// fixed is when the receiver has spoken at the latest, after a start: it must see satellites for
// as long as a start takes, with the power on.
func (s *newNight) fixed(start time.Duration) time.Duration {
	since, before := start, start
	for i := range s.c.Story {
		from, to := s.lasts(i)
		if to <= start || to <= from {
			continue
		}
		if from > before {
			since = from
		}
		if before = to; s.c.Story[i].Scene.Satellites < 3 || s.c.Story[i].Scene.Unplugged {
			since = to
		}
		if first := s.firstFix(start); to-since >= first {
			return since + first
		}
	}
	return s.c.Length
}

// receiverAt is the receiver that is plugged in at an instant, and since when.
func (s *newNight) receiverAt(at time.Duration) (m *gnsstest.Model, since time.Duration) {
	m = &s.c.Receiver
	for i := range s.c.Story {
		if ch := &s.c.Story[i]; ch.Plug != nil && ch.From <= at {
			m, since = ch.Plug, ch.From
		}
	}
	return m, since
}
