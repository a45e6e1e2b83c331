package station

import (
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
)

// line measures how busy a serial line is. A receiver whose buffer is full drops
// sentences, so that its bursts look short enough; but then the line never rests.
type line struct {
	since timescale.Local
	bytes int
	busy  bool
}

// lineWindow is so long that a piece of the stream more or less does not matter.
const lineWindow = time.Minute

// at closes a window, if it is time to.
func (l *line) at(now timescale.Local, baud int) {
	if l.since == 0 {
		l.since, l.bytes = now, 0
		return
	}
	if d := now.Sub(l.since); d >= lineWindow {
		l.busy = time.Duration(l.bytes)*10*time.Second/time.Duration(baud) >= d*97/100
		l.since, l.bytes = now, 0
	}
}

// overrun tells whether bursts fill the line until the next one: three within
// twenty or so do, for a damaged line can make one burst of two; or whether the line
// never rests.
func (s *Station) overrun(e *gnss.Epoch) bool {
	if s.keyed && s.src.Baud > 0 && time.Duration(e.Bytes)*10*time.Second/time.Duration(s.src.Baud) > s.step*98/100 {
		s.full = min(s.full+20, 80)
	} else {
		s.full = max(s.full-1, 0)
	}
	if s.src.Baud > 0 {
		s.line.at(e.TimeArrival, s.src.Baud)
	}
	return s.full > 40 || s.line.busy
}

// firstSentence follows with which sentence the bursts of a receiver begin. One that begins with
// another has lost its first: what is heard first then comes later than the burst did, and
// is no evidence of the time. Enough of them would look like another latency.
type firstSentence struct {
	addr [5]byte
	n    int // so many more began with it than with others, at most firstsMost
}

const (
	firstsKnown = 10
	firstsMost  = 60 // epochs until another is believed to be the first now
)

// usual tells whether e began with what bursts usually begin with, or nobody knows yet.
func (f *firstSentence) usual(e *gnss.Epoch) bool {
	switch {
	case e.FirstType == f.addr:
		f.n = min(f.n+1, firstsMost)
		return true
	case f.n > 0:
		f.n--
	default:
		f.addr, f.n = e.FirstType, 1
	}
	return f.n < firstsKnown
}
