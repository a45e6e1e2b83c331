package port

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// speeds in the order they are tried: the defaults of most receivers first
// (common practice, no source).
var speeds = []int{9600, 4800, 38400, 115200, 57600, 19200, 230400, 460800, 921600}

const (
	// enough sentences to believe a speed, or that a source speaks NMEA at all.
	enough = 2
	// A receiver at 1 Hz has spoken once within listenFor; with so much junk
	// and no sentence by then the speed is wrong.
	listenFor = 1200 * time.Millisecond
	junkMin   = 200
	// With less to go by, wait longer; with one right sentence, longer still.
	listenLong = 3 * time.Second
	listenMore = 6 * time.Second
	// In silence nothing can be learnt: it is not the speed that is wrong.
	listenIdle = 10 * time.Second
	// A known speed is doubted again after so much junk for so long.
	doubtJunk = 512
	doubtFor  = 5 * time.Second
	// After so long without a sentence the operator hears of it.
	tellAfter = 30 * time.Second
)

// seeker decides whether sentences are coming in, and which speed to listen
// at next. It is pure: bytes and instants in, decisions out.
type seeker struct {
	speeds []int // tried in turn; empty = the source has no speed, or it is fixed
	at     int   // index into speeds

	sniff sniffer
	since timescale.Local // start of listening at this speed
	last  timescale.Local // of the last sentence, or since
	bytes int             // since then
	heard bool
	told  bool // that nothing is coming
}

func newSeeker(now timescale.Local, speeds []int) *seeker {
	return &seeker{speeds: speeds, since: now, last: now}
}

// feed takes bytes; it reports whether sentences have (again) begun to come.
func (s *seeker) feed(now timescale.Local, p []byte) (began bool) {
	before := s.sniff.sentences
	s.sniff.feed(p)
	s.bytes += len(p)
	if s.sniff.sentences == before {
		return false
	}
	s.last, s.bytes = now, 0
	if s.sniff.sentences < enough || s.heard && !s.told {
		return false
	}
	s.heard, s.told = true, false
	return true
}

// step reports the speed to change to, or 0.
func (s *seeker) step(now timescale.Local) int {
	if len(s.speeds) < 2 || !s.wrong(now) {
		return 0
	}
	s.at = (s.at + 1) % len(s.speeds)
	s.sniff, s.since, s.heard = sniffer{}, now, false
	return s.speeds[s.at]
}

func (s *seeker) wrong(now timescale.Local) bool {
	if s.heard {
		return s.sniff.junk >= doubtJunk && now.Sub(s.last) >= doubtFor
	}
	listened := now.Sub(s.since)
	junk := s.sniff.junk + s.sniff.n
	switch {
	case s.sniff.sentences > 0:
		return listened >= listenMore
	case junk >= junkMin:
		return listened >= listenFor
	case junk > 0:
		return listened >= listenLong
	}
	return listened >= listenIdle
}

// tell reports, once, that no sentence has come for long.
func (s *seeker) tell(now timescale.Local) bool {
	if s.told || now.Sub(s.last) < tellAfter {
		return false
	}
	s.told = true
	return true
}
