package lab

import (
	"math"
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
	if m := &s.c.Receiver; m.ValidTooSoon > 0 && (s.begin == 0 || !s.clockKnows(window{s.offs[0].from, s.begin}, m.OwnError)) {
		// Valid with its own clock's time, and nobody beside it: until the fix, and until what
		// was believed meanwhile has gone.
		s.c.declare(3, s.begin, s.begin+m.ColdFix+20*time.Minute)
	}
	for _, at := range s.marks {
		s.declareMark(at)
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

// declareMark declares a wrong mark at a start, until the receiver speaks: beside it is a hardware
// clock at most, which the run before may have left unsure.
func (s *newNight) declareMark(at time.Duration) {
	for _, o := range s.offs {
		if first := o.to + s.firstFix(); at >= o.from && at < first {
			s.c.declare(8, at, first)
		}
	}
}

// fromTheStart declares what a receiver says falsely, or a line late, from the first word
// that is heard: nothing that was compared is left beside it.
func (s *newNight) fromTheStart(l lie) {
	firstFix := s.firstFix()
	if s.begin == 0 && l.from < firstFix { // nothing compared, and nobody there
		s.c.declare(3, l.from, 0)
	}
	for _, at := range s.forgets {
		if l.has(at) {
			s.c.declare(3, at, 0)
		}
	}
	for _, o := range s.offs {
		by := l.by + time.Duration(l.drag*1e3*(o.to-l.from).Seconds())
		if o.to >= l.from-firstFix && o.to <= l.to && !s.clockKnows(o, by) {
			s.c.declare(3, o.to, 0)
		}
	}
}

// declareLiars declares servers that all lie alike where nobody else is there (no receiver
// heard, no hardware clock compared), or where what is there leaves room for so small a lie.
func (s *newNight) declareLiars(l lie) {
	if s.c.NoReceiver || s.c.NoRTC && l.from < s.begin+s.c.Receiver.ColdFix+20*time.Minute || l.by.Abs() <= s.unproved() && !s.knows(l) {
		s.c.declare(4, l.from, 0)
	}
	for _, o := range s.offs { // the hardware clock tells that it stood still: nobody is there until the receiver is
		if first := o.to + s.firstFix(); s.c.RTC.StopTold && s.stops(window{0, o.to}) && l.from < first && l.to > o.to {
			s.c.declare(4, o.to, first)
		}
	}
}

// firstFix is when the receiver has spoken at the latest, from a start on.
func (s *newNight) firstFix() time.Duration { return s.c.Receiver.ColdFix + time.Minute }

// stops tells whether the hardware clock may have stood still in the cold in a part of the night.
func (s *newNight) stops(w window) bool {
	return s.c.RTC.StopsBelowC != 0 && s.coldest(w) < s.c.RTC.StopsBelowC
}

// unproved is how late a receiver may be, as long as nobody proved it: up to 0.2 s into the
// second after the one that it names; over a network 10 s, and there nobody proves it.
func (s *newNight) unproved() time.Duration {
	if s.c.Link.Relay {
		return 10 * time.Second
	}
	return 1200 * time.Millisecond
}

// knows tells whether anybody was compared with an honest server before a lie of such size: a
// receiver that names the present second, or a hardware clock over the last power-off.
func (s *newNight) knows(l lie) bool {
	m := &s.c.Receiver
	if !s.compared() || !m.NextSecond && !m.PreviousSecond && !s.c.Link.Relay {
		return s.compared()
	}
	var last window
	for _, o := range s.offs {
		if o.from < l.from && o.from >= last.from {
			last = o
		}
	}
	return s.clockKnows(last, l.by)
}

// clockKnows tells whether the hardware clock, compared before a power-off, is good enough
// after it to contradict a receiver wrong by so much: ±5 ppm for compensated ones by data
// sheet (DS3231M), −150 ppm for a plain fork at −40 °C.
func (s *newNight) clockKnows(off window, by time.Duration) bool {
	ppm := 150.0
	if s.c.Compensated {
		ppm = 5
	}
	if s.stops(window{0, off.to}) { // what was compared of it before is no longer so
		return false
	}
	return !s.c.NoRTC && s.compared() && by.Seconds() != 0 &&
		math.Abs(by.Seconds()) > 0.2+ppm*1e-6*(off.to-off.from).Seconds()
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
