package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// Two servers tell the lateness of a receiver that describes the second before, 1.04 s. That these and the receiver
// are false is just likely enough to count (at twice each price), so nothing is proved. The lateness is kept with that
// doubt: after a power-off a mark that is one second wrong does not make 0.04 s of it, and the guard holds the truth,
// as run sees each second.
func TestNearlyProvedLatenessIsKept(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.j.bank.Scale(2)
	w.late, w.lie = 1040*time.Millisecond, 2*time.Second // leap-second data are missing
	for range 30 {
		w.server("a", 0)
		w.server("b", 0)
		w.run(60)
	}
	w.lie = 0
	w.run(20 * 60)
	kept := w.j.Learned()
	if l := kept.Latencies; w.proved("second") || len(l) != 1 || math.Abs(l[0].LatencyS-1.04) > 0.03 || l[0].DoubtNats == 0 {
		t.Errorf("proved is %v, and it keeps %+v", w.got.Proved, l)
	}
	w = newStation(t, clockcheck.Learned{Latencies: kept.Latencies})
	w.late = 1040 * time.Millisecond
	w.run(45 * 60)
	w.j.Mark(&clockcheck.Mark{At: w.now, UTC: w.utc.Add(-time.Second), Bound: 250 * time.Millisecond})
	w.run(60)
	if !w.got.Guarded || w.got.Guard > 2 {
		t.Errorf("after the mark the guard is %.2f s: this proves little", w.got.Guard)
	}
}
