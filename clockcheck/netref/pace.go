package netref

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// The manners of asking. RFC 4330 section 10: a client never asks more often
// than every 15 s, and backs off exponentially when nothing comes back.
// RFC 5905: 64 s is the usual fastest steady interval (MINPOLL 6 in appendix
// A), 1024 s the usual slowest (MAXPOLL 10). RFC 8633 section 5.4: nothing a
// server says makes the interval longer than 2^13 s.
const (
	quick          = 16 * time.Second   // between the first questions
	quickOnes      = 4                  // how many of them
	steady         = 64 * time.Second   // then
	slowest        = 1024 * time.Second // after a long row of good answers
	longest        = 8192 * time.Second // after a long row of failures
	goodRow        = 8                  // good answers before asking half as often
	lookAgain      = 30 * time.Second   // for a network; nothing is sent for it
	settleTime     = 2 * time.Second    // for a network that has just changed
	betweenServers = 2 * time.Second    // between the first questions to two servers
)

// Pace decides when one server is asked next. It is a pure value: each event
// comes with its time. spread in [0, 1) lengthens a wait by up to 1/16, so
// that many stations do not ask in step.
type Pace struct {
	due          timescale.Local
	asked        timescale.Local // the last time a packet may have gone out
	everSent     bool
	interval     time.Duration
	floor        time.Duration // raised by RATE, for good
	quick        int           // quick questions left
	answersInRow int           // good answers in a row at this interval
	failing      bool
	away         bool // there was no network at the last look
	stopped      bool
}

// Start is when the first question goes to the server that is number i of the list.
func Start(now timescale.Local, i int) timescale.Local {
	return now.Add(time.Duration(i) * betweenServers)
}

// NewPace returns the pace of a server that is first asked at start.
func NewPace(start timescale.Local) Pace {
	return Pace{due: start, interval: steady, floor: steady, quick: quickOnes}
}

// Next returns when to ask; ok = false means never.
func (p *Pace) Next() (due timescale.Local, ok bool) { return p.due, !p.stopped }

func (p *Pace) sent(now timescale.Local) {
	p.asked, p.everSent, p.away = now, true, false
}

func (p *Pace) wait(now timescale.Local, d time.Duration, spread float64) {
	p.due = now.Add(d + time.Duration(spread*float64(d)/16))
}

// Answered: a usable answer came.
func (p *Pace) Answered(now timescale.Local, spread float64) {
	p.sent(now)
	if p.failing {
		p.failing, p.answersInRow, p.interval = false, 0, p.floor
	}
	if p.quick > 1 && p.floor == steady {
		p.quick--
		p.wait(now, quick, spread)
		return
	}
	p.quick = 0
	if p.answersInRow++; p.answersInRow >= goodRow {
		p.answersInRow = 0
		p.interval = max(p.floor, min(2*p.interval, slowest))
	}
	p.wait(now, p.interval, spread)
}

// Failed: nothing came, or nothing usable.
func (p *Pace) Failed(now timescale.Local, spread float64) {
	p.sent(now)
	p.quick, p.answersInRow = 0, 0
	if p.failing {
		p.interval = min(2*p.interval, longest)
	} else {
		p.failing, p.interval = true, p.floor
	}
	p.wait(now, p.interval, spread)
}

// SlowDown: the server asked for fewer questions. It is never again asked as
// often as it was.
func (p *Pace) SlowDown(now timescale.Local, spread float64) {
	p.sent(now)
	p.quick, p.answersInRow = 0, 0
	p.interval = min(max(2*p.interval, 4*steady), longest)
	p.floor = p.interval
	p.failing = false
	p.wait(now, p.interval, spread)
}

// Offline: there is no route, nothing was sent.
func (p *Pace) Offline(now timescale.Local) {
	p.away = true
	p.due = now.Add(lookAgain)
}

// NetworkChanged: an address or a route came or went. A server that was away
// or silent is worth a question now, but not sooner after the last one than
// the steady rate allows. One that slows us down or answers is left alone.
func (p *Pace) NetworkChanged(now timescale.Local) {
	if !p.away && !p.failing {
		return
	}
	soon := now.Add(settleTime)
	if p.everSent {
		soon = max(soon, p.asked.Add(p.floor))
	}
	p.due = min(p.due, soon)
}

// Stop: never ask again.
func (p *Pace) Stop() { p.stopped = true }
