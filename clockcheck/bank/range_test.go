package bank

import (
	"testing"

	"noonmark/clockcheck/estimate"
)

// A lone receiver is 1.1 s late, which nobody told, and UTC is 1000 s. A hardware clock that is known to 0.45 s has gone
// astray, and the lateness would be −1.4 s by it. That is 3.1 σ of its own error: the range of a lateness has no tail.
// So it was set as likely, the guard still holds the truth, and what is paid once is not paid at each reading.
func TestALatenessIsNeverFarOutOfItsRange(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	b.Recall(&Recalled{Base: -1000e9, Sigma: 0.45, RateSigma: 1e-7, Dated: true, From: SetOf(Before)})
	at := second
	for range 6 {
		l := look(at, 1000-1.1, 0.003)
		l.Stream.LeadMost = 0
		b.Hear(l)
		at += 10 * second
	}
	paid := 0.0
	for k := range 4 {
		b.Hear(&Reading{Source: Clock, At: at, Z: -2.5e9, Var: 1e-6, Dated: true, From: SetOf(Before)})
		at += 600 * second
		if k == 0 {
			paid = believerOfClock(t, b)
		}
	}
	if lo, hi := span(b); hi < 1000 {
		t.Errorf("UTC from %.3f to %.3f s; it is 1000", lo, hi)
	}
	if now := believerOfClock(t, b); now > paid+0.5 {
		t.Errorf("who believes the clock has paid %.1f nats; at its first reading %.1f", now, paid)
	}
}

// believerOfClock is the cost of who hears both, nats, above the cheapest that has the clock set.
func believerOfClock(t *testing.T, b *Bank) float64 {
	t.Helper()
	set, believes := 100.0, 100.0
	for i := range b.Tracks() {
		switch u := &b.Tracks()[i]; {
		case !u.streams():
		case u.Assumes(ClockSet):
			set = min(set, u.Cost)
		case u.On.Has(Clock):
			believes = min(believes, u.Cost)
			if d := u.F.V[estimate.D]; d > u.LateMost {
				t.Errorf("a lateness of %.2f s", d)
			}
		}
	}
	return believes - set
}
