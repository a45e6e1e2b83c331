package banked

import (
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/air/crowd"
)

// Other stations come, those that were heard go: over hours the crowd's scatter averages out, the
// range of its delays does not. The same stations again within a minute tell nothing more.
func TestScatterAveragesRangeStays(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(20 * time.Second)
	hear := func(d time.Duration) float64 {
		for range int(d / ft8) {
			w.crowd(12, 0, ft8, airing)
			w.run(ft8)
		}
		return w.got.Guard
	}
	first, second := hear(ft8), hear(ft8)
	if second > 0.99*first { // those who send in the other periods
		t.Errorf("guard %.3f s by one crowd, %.3f by two", first, second)
	}
	minute, hours := hear(time.Minute), hear(3*time.Hour)
	if minute < 0.98*second || hours > 0.95*minute {
		t.Errorf("guard %.3f s after a minute of the same two crowds, %.3f after three hours of others", minute, hours)
	}
	if least := 3.89 * crowd.Shared; hours < least {
		t.Errorf("guard %.3f s, and the range of the delays alone leaves %.3f", hours, least)
	}
	w.honest()
}

// Who heard a crowd before the program was started again hears the same stations after it: it
// knows no more than before.
func TestSameCrowdAfterARestart(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(20 * time.Second)
	for range 4 {
		w.crowd(12, 0.08, ft8, airing)
		w.run(ft8)
	}
	before := w.got.Guard
	for range 12 { // and again, and again
		w.restart(true, false)
		w.run(20 * time.Second)
		w.crowd(12, 0.08, ft8, airing)
		w.run(ft8)
	}
	if w.got.Guard < 0.95*before {
		t.Errorf("guard %.3f s, %.3f after a dozen restarts", before, w.got.Guard)
	}
	w.honest()
}
