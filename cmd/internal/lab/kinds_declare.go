package lab

import (
	"math"
	"slices"
	"time"
)

// readRarely is how long a hardware clock may go unread: the longest pause of package rtc.
const readRarely = 10 * time.Minute

// declare says what nobody could see, from what is true of the night.
func (s *newNight) declare() {
	for _, l := range s.lies {
		s.declareLie(l)
		s.fromTheStart(l)
	}
	for _, l := range s.behind {
		s.fromTheStart(l)
	}
	for _, l := range s.liars {
		s.declareLiars(l)
	}
	s.declareOwnClock()
	s.declareNextSecond()
	for _, m := range s.marks {
		s.declareMark(m)
	}
	if s.c.NoRTC {
		for _, at := range s.leaps {
			s.c.declare(7, at, 0)
		}
		return
	}
	for _, o := range s.offs {
		if s.stops(o) && !s.c.RTC.StopTold {
			s.c.declare(6, o.from, 0)
		}
		for _, at := range s.set {
			// It happens at boot then, unseen; or so shortly before that it is not read again.
			if o.has(at) || at < o.from && o.from-at < readRarely {
				s.c.declare(5, o.from, 0)
			}
		}
	}
}

func (s *newNight) declareLie(l lie) {
	nearly := (l.by - l.by.Round(time.Second)).Abs()
	switch {
	case l.drag != 0 && (math.Abs(l.drag) < VisiblePPM || s.c.Receiver.PreviousSecond):
		s.c.declare(1, l.from, 0)
	case l.by < -time.Second/2 && nearly < nearlyWhole:
		s.c.declare(2, l.from, l.to+15*time.Second)
	}
}

// declareOwnClock declares a receiver that calls its own clock's time valid, and nobody who was
// compared beside it: until the fix, and until what was believed meanwhile has gone. The step to the fix, where it is
// whole seconds, is as if leap-second data came: then the data show it, when they do.
func (s *newNight) declareOwnClock() {
	for _, o := range s.starts() {
		m, _ := s.receiverAt(o.to)
		if m.ValidTooSoon > 0 && (o.to == s.begin || s.lost(o.from)) && !s.clockKnows(o, m.OwnError) {
			s.c.declare(3, o.to, o.to+m.ColdFix+max(20*time.Minute, m.AlmanacAfter+15*time.Second))
		}
	}
}

// declareNextSecond declares a receiver that names the second to come, as long as nothing else
// was ever compared, or nothing since the state was lost.
func (s *newNight) declareNextSecond() {
	for _, at := range append([]time.Duration{0}, s.forgets...) {
		if rx, _ := s.receiverAt(at); rx.NextSecond {
			s.untilTold(9, at)
		}
	}
}

// declareMark declares a wrong mark at a start, until the receiver speaks: beside it is a hardware
// clock at most, which the run before may have left unsure. And one so little wrong that there is
// room for it in a latency that nobody proved, until a server tells, or all is forgotten.
func (s *newNight) declareMark(m wrongMark) {
	for _, o := range s.starts() {
		first := o.to + s.firstFix(o.to)
		if s.nobody(o) {
			first = s.fixed(o.to)
		}
		if m.at >= o.from && m.at < first {
			s.c.declare(8, m.at, first)
		}
	}
	if s.room(m) && !s.knows(m.at, m.Error) {
		s.untilTold(8, m.at)
	}
}

// room tells whether a mark that is wrong by 1.2 s at most leaves the receiver a latency that may
// be one: what it is, later by what the mark is fast, to the mark's bound.
func (s *newNight) room(m wrongMark) bool {
	rx, _ := s.receiverAt(m.at)
	late := rx.Latency.Mean - m.Error
	switch {
	case rx.PreviousSecond:
		late += time.Second
	case rx.NextSecond:
		late -= time.Second
	}
	return m.Error.Abs() <= unprovedLatency && late >= -m.Bound && late <= s.unproved()+m.Bound
}

// fromTheStart declares what a receiver says falsely, or a line late, from the first word
// that is heard: nothing that was compared is left beside it.
func (s *newNight) fromTheStart(l lie) {
	if s.begin == 0 && l.from < s.firstFix(0) { // nothing compared, and nobody there
		s.untilTold(3, l.from)
	}
	for _, at := range s.forgets {
		if l.has(at) {
			s.untilTold(3, at)
		}
	}
	for _, o := range s.offs {
		by := l.by + time.Duration(l.drag*1e3*(o.to-l.from).Seconds())
		if l.from <= o.to+s.firstFix(o.to) && o.to <= l.to && !s.clockKnows(o, by) {
			s.untilTold(3, o.to)
		}
	}
}

// declareLiars declares servers that all lie alike where nobody else is there (no receiver
// heard, no hardware clock compared), or where what is there leaves room for so small a lie.
func (s *newNight) declareLiars(l lie) {
	for _, at := range append([]time.Duration{l.from}, s.forgets...) {
		if l.has(at) && l.by.Abs() <= s.unproved() && !s.knows(at, l.by) {
			s.untilTold(4, at)
		}
	}
	for _, o := range s.starts() {
		from, first := max(o.to, l.from), s.fixed(o.to)
		if s.nobody(o) && from < min(first, l.to) && !s.rightAt(from) {
			s.c.declare(4, from, first)
		}
	}
}

// nobody tells whether nothing is left that was compared before a start: no hardware clock, or a
// new one, or one that nothing is known of any more, or that tells that it stood still.
func (s *newNight) nobody(o window) bool {
	last, _ := s.told(o.from)
	return s.c.NoRTC || o.to == 0 || s.lost(o.from) || s.c.RTC.StopTold && s.stops(window{last, o.to})
}

// starts are the power-offs before each start of the station in the night. A night without an
// evening begins with one of a new station: nobody has compared its hardware clock.
func (s *newNight) starts() []window {
	if s.begin > 0 {
		return s.offs
	}
	return append([]window{{}}, s.offs...)
}

// lost tells whether the state was lost at an instant.
func (s *newNight) lost(at time.Duration) bool { return slices.Contains(s.forgets, at) }

// firstFix is how long after a start the receiver has spoken at the latest, under open sky.
func (s *newNight) firstFix(start time.Duration) time.Duration {
	if m, _ := s.receiverAt(start); !m.Warm {
		return m.ColdFix + time.Minute
	}
	return time.Minute
}

// stops tells whether the hardware clock may have stood still in the cold in a part of the night.
func (s *newNight) stops(w window) bool {
	return s.c.RTC.StopsBelowC != 0 && s.coldest(w) < s.c.RTC.StopsBelowC
}

// unprovedLatency is how late a receiver may be, as long as nobody proved it: up to 0.2 s into
// the second after the one that it names.
const unprovedLatency = 1200 * time.Millisecond

// unproved is how late what the receiver says may be read; over a network 10 s, and there nobody
// proves it.
func (s *newNight) unproved() time.Duration {
	if s.c.Link.Relay {
		return 10 * time.Second
	}
	return unprovedLatency
}

// knows tells whether an honest server has told the time, and what is left of it contradicts
// a lie of such size: all in the run in which it told; after a power-off the latency of the
// receiver that was there before (not of one that took its place in the dark), if it names the
// present second, or the hardware clock.
func (s *newNight) knows(at, by time.Duration) bool {
	last, ok := s.told(at)
	if !ok {
		return false
	}
	var off window
	for _, o := range s.offs {
		if o.from >= last && o.from < at && o.from >= off.from {
			off = o
		}
	}
	if off == (window{}) {
		return true
	}
	rx, since := s.receiverAt(off.to)
	proved := since < last || !slices.ContainsFunc(s.offs, func(o window) bool { return o.has(since) })
	return proved && !rx.NextSecond && !rx.PreviousSecond && !s.c.Link.Relay || s.clockKnows(off, by)
}

// clockKnows tells whether the hardware clock, compared before a power-off, is good enough
// after it to contradict a receiver wrong by so much: ±5 ppm for compensated ones by data
// sheet (DS3231M), −150 ppm for a plain fork at −40 °C. It is not, if it stood still since.
func (s *newNight) clockKnows(off window, by time.Duration) bool {
	last, ok := s.told(off.from)
	if !ok || s.c.NoRTC || s.stops(window{last, off.to}) {
		return false
	}
	ppm := 150.0
	if s.c.Compensated {
		ppm = 5
	}
	return by.Seconds() != 0 && math.Abs(by.Seconds()) > 0.2+ppm*1e-6*(off.to-off.from).Seconds()
}

// coldest is the lowest temperature that a part of the night may have seen, °C.
func (s *newNight) coldest(o window) float64 {
	c := 25 + s.c.Air.OffC - s.c.Air.SwingC
	for _, w := range s.colds {
		if o.from < w.to+time.Hour && o.to > w.from {
			c = -40
		}
	}
	return c
}
