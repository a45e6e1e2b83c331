package lab

import (
	"time"

	"noonmark/cmd/internal/world"
)

// otherKinds: operators, busy machines, relays, evenings, restarts.
var otherKinds = []kind{
	// Wrong minute or second at a mark: 0.01 (0.003 to 0.03) a mark.
	{"mark wrong", func(s *newNight) {
		at := s.instant()
		m := &world.Mark{Bound: 250 * time.Millisecond, Borrowed: s.chance(0.6)}
		m.Error = time.Duration(s.sign()) * []time.Duration{time.Second, 2 * time.Second, time.Minute, time.Hour}[s.IntN(4)]
		if !m.Borrowed {
			m.Error = time.Duration(s.sign()) * time.Duration(1+s.IntN(3)) * time.Second
		}
		s.then(at, func(c *world.Chapter) { c.Mark = m })
		s.marks = append(s.marks, wrongMark{at, m})
	}},
	// A worn card stalled for 4 and 7 s in 3.5 h; a busy machine reads up to 3 s late.
	{"busy machine", func(s *newNight) {
		for range 1 + s.IntN(3) {
			from, to := s.part(time.Minute, 4*time.Hour)
			grain, busy := s.c.Link.Grain, s.logSpan(30*time.Millisecond, 3*time.Second)
			s.then(from, func(c *world.Chapter) { c.Link = &world.Link{Grain: grain, Busy: busy} })
			s.then(to, func(c *world.Chapter) { c.Link = &world.Link{Grain: grain} })
		}
	}},
	// 6 to 10 s for an hour behind a Wi-Fi multiplexer; relays say things twice.
	{"relay", func(s *newNight) {
		s.c.Link = world.Link{Relay: true, Behind: s.logSpan(20*time.Millisecond, time.Second), Twice: s.log(1e-3, 0.2)}
		for range s.IntN(4) {
			from, to := s.part(time.Minute, 2*time.Hour)
			slow, usual := s.c.Link, s.c.Link
			slow.Behind = s.logSpan(200*time.Millisecond, 10*time.Second)
			s.then(from, func(c *world.Chapter) { c.Link = &slow })
			s.then(to, func(c *world.Chapter) { c.Link = &usual })
		}
	}},
	// What befalls a station at home, beside honest servers: a cold start with leap-second data
	// missing, a blink, a lie, a plug, a step, a restart.
	{"evening at home", func(s *newNight) {
		if s.begin == 0 {
			return
		}
		stay := s.offs[0].from
		if s.chance(0.6) {
			s.c.Receiver.Warm, s.c.Receiver.LeapMissing = false, []int{1, 1, 2, 3, 18}[s.IntN(5)]
		}
		for range 1 + s.IntN(4) {
			from := s.span(0, stay)
			to := min(from+s.logSpan(2*time.Second, time.Hour), stay)
			switch s.IntN(6) {
			case 0:
				s.then(from, func(c *world.Chapter) { c.Void = to - from })
			case 1:
				s.lie(from, to, s.falseTime(), 0)
			case 2:
				s.unplugged(from, to)
			case 3:
				by := time.Duration(2e9 * s.NormFloat64())
				s.then(from, func(c *world.Chapter) { c.Step = by })
			case 4:
				s.inside(from, to)
			case 5:
				s.restart(from)
			}
		}
	}},
	{"restarts", func(s *newNight) {
		for range 1 + s.IntN(8) {
			s.restart(s.anywhere())
		}
	}},
	// Restarts, kills and lost state while something is false: in the minutes after a lie
	// begins, and after it ends.
	{"restarts while in doubt", func(s *newNight) {
		from, to := s.part(10*time.Minute, 3*time.Hour)
		by := s.falseTime()
		s.lie(from, to, by, 0)
		for range 1 + s.IntN(3) {
			s.restart(from + s.logSpan(2*time.Second, max(to-from, 3*time.Second)))
		}
		if s.chance(0.3) {
			s.restart(to + s.logSpan(2*time.Second, 20*time.Minute))
		}
	}},
	// The same with the power.
	{"power cuts while in doubt", func(s *newNight) {
		from, to := s.part(30*time.Minute, 4*time.Hour)
		s.lie(from, to, s.falseTime(), 0)
		for range 1 + s.IntN(2) {
			at := from + s.logSpan(2*time.Second, max(to-from, 3*time.Second))
			s.power(at, at+s.logSpan(5*time.Second, 30*time.Minute), s.chance(0.7), s.chance(0.15))
		}
	}},
	// A file lost or torn: 0.01 a power cut; the generation before is read then.
	{"former state", func(s *newNight) {
		for range 1 + s.IntN(3) {
			at := s.instant()
			off := s.logSpan(5*time.Second, time.Hour)
			if s.chance(0.5) {
				s.then(at, func(c *world.Chapter) { c.Off, c.Cut, c.Former = off, true, true })
				s.offs = append(s.offs, window{at, at + off})
			} else {
				s.then(at, func(c *world.Chapter) { c.Down, c.Former = min(off, time.Minute), true })
			}
		}
	}},
}

// restart ends the program, by any of the ways there are, and starts it again.
func (s *newNight) restart(at time.Duration) {
	d, how := s.logSpan(time.Second, 2*time.Minute), s.Float64()
	s.then(at, func(c *world.Chapter) {
		c.Down, c.Stopped = d, how < 0.3
		c.Forget, c.Former = how > 0.92, how > 0.85 && how <= 0.92
	})
	if how > 0.92 {
		s.forgets = append(s.forgets, at)
	}
}
