package standing

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// Movement by the speed that the receiver says. A standing receiver says a little, for
// its speed has an error too and no sign: nine of ten captures of standing receivers
// (testdata/nmea) stay below 0.18 m/s in the mean of 20 s. So more than 0.25 is a
// movement: a station that sets out at 0.3 m/s is noticed after 17 s (20 s × 0.25/0.3),
// sooner if it goes faster or its receiver said a little before.
const (
	creepMS   = 0.25
	creepOver = 20 * time.Second
	least     = creepOver / 2 // no verdict before the speeds span so much
	stillMS   = 0.20          // the mean of a movement that is over
	stillOver = 10 * time.Second
)

// speeds are those said in the last 20 s, oldest first.
type speeds []struct {
	at timescale.Local
	ms float64
}

// take takes the speed of a fix; one that is not said ends the row.
func (s *speeds) take(f Fix) {
	if !(f.SpeedMS >= 0) {
		*s = nil
		return
	}
	old := 0
	for old < len(*s) && f.At.Sub((*s)[old].at) >= creepOver {
		old++
	}
	*s = append((*s)[:0], (*s)[old:]...)
	*s = append(*s, struct {
		at timescale.Local
		ms float64
	}{f.At, f.SpeedMS})
}

// mean is that of the last time span, and how long the row is of which it is.
func (s speeds) mean(at timescale.Local, span time.Duration) (ms float64, long time.Duration) {
	n := 0
	for i := len(s) - 1; i >= 0 && at.Sub(s[i].at) < span; i-- {
		ms += s[i].ms
		long = at.Sub(s[i].at)
		n++
	}
	if n == 0 {
		return 0, 0
	}
	return ms / float64(n), long
}

// creeping tells whether the station goes.
func (s speeds) creeping(at timescale.Local) bool {
	ms, long := s.mean(at, creepOver)
	return long >= least && ms > creepMS
}

// slow tells that the station may stand, as far as its speeds say.
func (s speeds) slow(at timescale.Local) bool {
	ms, _ := s.mean(at, stillOver)
	return ms <= stillMS
}
