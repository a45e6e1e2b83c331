package banked

import (
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
)

// A learned lateness that a server has spoken against is kept with that doubt: a start
// after that reckons with another unit at its price, and no cheaper or dearer.
func TestDoubtOfLatenessIsKept(t *testing.T) {
	kept := clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: "a receiver at 9600", LatencyS: 0.15, SigmaS: 0.01}}}
	doubt := func(late time.Duration) float64 {
		w := newStation(t, kept)
		w.late = late
		for range 10 {
			w.server("a", 0)
			w.run(60)
		}
		l := w.j.Learned().Latencies
		if len(l) != 1 {
			t.Fatalf("kept %+v", l)
		}
		if l[0].DoubtNats == 0 {
			return 20
		}
		return l[0].DoubtNats
	}
	another := bank.New(bank.Config{}).Nats(bank.LatenessNew)
	if d := doubt(150 * time.Millisecond); d < another {
		t.Errorf("beside a server that bears it out the doubt is %.1f nats, without one %.1f", d, another)
	}
	if d := doubt(600 * time.Millisecond); d > another-1 {
		t.Errorf("beside a server that speaks against it the doubt is %.1f nats, without one %.1f", d, another)
	}
}
