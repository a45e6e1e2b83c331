package banked

import (
	"testing"
	"time"

	"noonmark/clockcheck"
)

// coldStart starts a receiver cold, ahead by lead until the data come (after come seconds of
// valid fix); how long it takes until the second is proved, s.
func coldStart(t *testing.T, learned *clockcheck.Learned, lead time.Duration, come int) (seconds int) {
	w := newStation(t, *learned)
	for range 40 {
		w.now, w.utc = w.now.Add(time.Second), w.utc.Add(time.Second)
		w.j.GNSS(&clockcheck.GNSS{At: w.now, Satellites: 0})
	}
	for w.lie = lead; seconds < 3*3600 && !w.proved("second"); seconds++ {
		if seconds == come {
			w.lie = 0
		}
		w.run(1)
	}
	*learned = w.j.Learned()
	return seconds
}

// A receiver whose leap-second data are never missing: what its starts tell is kept, and each
// makes it less likely that it is one that leads. By the prices three pages of 13 min prove the
// second at first, two from the fourth cold start on, one from the seventh.
func TestStartsTell(t *testing.T) {
	var l clockcheck.Learned
	for start, pages := range []int{3, 3, 3, 2, 2, 2, 1, 1} {
		if s := coldStart(t, &l, 0, 0); s < pages*780 || s > pages*780+60 {
			t.Errorf("cold start %d: the second was proved after %d s, want %d pages of 780 s", start+1, s, pages)
		}
	}
	// Another one has told nothing.
	l.Starts[0].Key = "another receiver"
	if s := coldStart(t, &l, 0, 0); s < 3*780 {
		t.Errorf("of another receiver the second was proved after %d s", s)
	}
}

// A receiver that leads until its data come does so again: when it steps back, the second is
// proved at once; one that led once and does not now has to wait for a page more.
func TestLedBefore(t *testing.T) {
	var l clockcheck.Learned
	for range 2 {
		if s := coldStart(t, &l, 2*time.Second, 700); s < 700 || s > 730 {
			t.Errorf("it stepped back after 700 s, and the second was proved after %d", s)
		}
	}
	if len(l.Starts) != 1 || !l.Starts[0].Led || l.Starts[0].Right != 0 {
		t.Fatalf("kept is %+v", l.Starts)
	}
	if s := coldStart(t, &l, 0, 0); s < 4*780 || s > 4*780+60 {
		t.Errorf("it led before, and not now: the second was proved after %d s, want four pages of 780 s", s)
	}
}
