package bank

import (
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// The lateness is learned, and it may be another unit's, 1 start in 1,000: then it is 0.25 s from that, σ, and anywhere in
// its range of 1.2 s. Of so unlikely an account the guard spans 2.2 σ, but it is kept with a weight of its own, so
// it is kept as wide as it is. Else each start makes it narrower.
func TestAnUnlikelyAccountIsKeptAsWideAsItIs(t *testing.T) {
	b := newBank()
	late := Lateness{Mean: 0.6, Sigma: 0.01, Most: 1.2, Known: true}
	b.Opened(late)
	for k := range 3 {
		l := look(timescale.Local(1+10*k)*second, 1000-0.6, 0.003)
		l.Stream.LeadMost = 0
		b.Hear(l)
	}
	all, n := b.Accounts(&late, 0, false, 0.1)
	found := false
	for _, a := range all[:n] {
		if a.Another {
			if found = true; 2*wide*a.Sigma < 1.2 {
				t.Errorf("another unit, %.1f nats: kept %.2f s wide, it is 1.2 s", a.Nats, 2*wide*a.Sigma)
			}
		}
	}
	if !found {
		t.Errorf("%d accounts, none of another unit", n)
	}
}

// Two accounts hear one stream with the same lead, and have it 0.9 s apart in its range, for nobody told its lateness. That is one
// second all the same. Where it was told, one of the two is of the second before.
func TestTwoThatHearOneStreamAreOfOneSecond(t *testing.T) {
	for _, told := range []bool{false, true} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		for k := range 3 {
			l := look(timescale.Local(1+10*k)*second, 1000-0.6, 0.003)
			l.Stream.LeadMost = 0
			b.Hear(l)
		}
		c := *b.Best()
		c.F.V[estimate.X], c.F.V[estimate.D], c.Cost = c.F.V[estimate.X]+0.9, c.F.V[estimate.D]+0.9, c.Cost+3
		b.tracks[b.best].Free, c.Free = !told, !told
		b.add(c)
		b.deliver()
		b.settle()
		if got := b.Proved().Second; got == told {
			t.Errorf("the lateness was told: %v; the second is proved: %v", told, got)
		}
	}
}
