package rtc

import (
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// The next edge is looked for at whole seconds after the last, wider by the drift of both
// oscillators and by how late timers wake; where it is too late for one, at the next.
func TestWindow(t *testing.T) {
	const s, ms, us = int64(time.Second), int64(time.Millisecond), int64(time.Microsecond)
	for _, tc := range []struct {
		name         string
		now          int64
		hi           int64 // of the last bracket, which began at 10 s
		lo, end      int64
		predicted    bool
		lead, ofHint time.Duration
	}{
		{"in the third second", 12*s + 300*ms, 10*s + 500*us, 13*s - 1100*us - ms, 13*s + 500*us + 1100*us, true, time.Millisecond, 0},
		{"the window begins now", 13*s - 1100*us - ms, 10*s + 500*us, 13*s - 1100*us - ms, 13*s + 1600*us, true, time.Millisecond, 0},
		{"it has begun", 13*s - 1100*us - ms + 1, 10*s + 500*us, 14*s - 1100*us - ms, 14*s + 1600*us, true, time.Millisecond, 0},
		{"timers wake late", 12*s + 300*ms, 10*s + 500*us, 13*s - 1100*us - 50*ms, 13*s + 1600*us, true, 50 * time.Millisecond, 0},
		{"a hint", 12*s + 300*ms, 10*s + 50*ms, 13*s + 40*ms - 1100*us - ms, 13*s + 50*ms + 1100*us, true, time.Millisecond, 40 * time.Millisecond},
		{"too wide to save anything", 10*s + 900*ms, 10*s + 550*ms - 2400*us, 11*s - 700*us - ms, 11*s + 550*ms - 1700*us, false, time.Millisecond, 0},
		{"just narrow enough", 10*s + 900*ms, 10*s + 550*ms - 2401*us, 11*s - 700*us - ms, 11*s + 550*ms - 1701*us, true, time.Millisecond, 0},
	} {
		c := &Clock{known: true, earlyBy: tc.lead, now: func() timescale.Local { return timescale.Local(tc.now) },
			last: bracket{lo: timescale.Local(10 * s), hi: timescale.Local(tc.hi), hint: timescale.Local(10 * s).Add(tc.ofHint)}}
		w, predicted := c.window()
		if int64(w.lo) != tc.lo || int64(w.hi) != tc.end || predicted != tc.predicted {
			t.Errorf("%s: %d to %d, %v; want %d to %d, %v", tc.name, w.lo, w.hi, predicted, tc.lo, tc.end, tc.predicted)
		}
	}
	if w, predicted := (&Clock{now: func() timescale.Local { return 5 }}).window(); predicted || w != (window{}) {
		t.Errorf("nothing is known: %v, %v", w, predicted)
	}
}
