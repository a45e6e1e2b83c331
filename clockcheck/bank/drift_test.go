package bank

import (
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// After six hours in which nobody told the time, the first to speak is off by 1.2 s. It may be
// false, and the oscillator may have gone so far, at 55 ppm: the guard holds both. Ten
// minutes earlier others spoke: no oscillator goes so far in ten minutes.
func TestDriftedInASilence(t *testing.T) {
	for _, c := range []struct {
		name   string
		after  timescale.Local // s
		speaks func(at timescale.Local, utc float64) *Reading
		want   bool
	}{
		{"a server after six hours", 6 * 3600, func(at timescale.Local, utc float64) *Reading {
			return server(Server+1, at, utc, 0.01)
		}, true},
		{"the receiver after six hours", 6 * 3600, func(at timescale.Local, utc float64) *Reading {
			r := look(at, utc-0.15, 0.01)
			r.Stream.LeadMost = 0
			return r
		}, true},
		{"a server after eleven minutes", 11 * 60, func(at timescale.Local, utc float64) *Reading {
			return server(Server+1, at, utc, 0.01)
		}, false},
	} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.15, Sigma: 0.02, Most: 1.2, Known: true})
		at := timescale.Local(1)
		for ; at < 360; at++ {
			r := look(at*10*second, 1000-0.15, 0.01)
			r.Stream.LeadMost = 0
			b.Hear(r)
			if at%6 == 1 {
				b.Hear(server(Server, at*10*second+second, 1000, 0.01))
			}
		}
		last := at * 10 * second
		utc := 1000 - 1.2
		for k := timescale.Local(0); k < 3; k++ { // a look that is late once proves nothing
			b.Hear(c.speaks(last+c.after*second+k*10*second, utc))
		}
		if lo, hi := span(b); (lo <= utc && utc <= hi) != c.want {
			t.Errorf("%s: UTC from %.3f to %.3f; %.3f in it: want %v", c.name, lo, hi, utc, c.want)
		}
	}
}

// That a crystal was always far off needs no move, but only where nobody has told its rate, once, and within what a
// kernel can turn a clock by.
func TestCrystalFarOffIsSaidOnce(t *testing.T) {
	b := newBank()
	var k Track
	k.F.Forget(estimate.Y, 0, 30e-6)
	if what, price := b.oscillator(&k, 0.05, 200); what != CrystalFar || price != b.nats[CrystalFar] {
		t.Errorf("250 ppm, rate unlearned: explanation %d at %.1f nats, want %d", what, price, CrystalFar)
	}
	if what, _ := b.oscillator(&k, 0.12, 200); what == CrystalFar {
		t.Error("600 ppm is no crystal")
	}
	said := k
	said.assume(Assumed{What: CrystalFar, Of: Receiver}, 0)
	k.F.Forget(estimate.Y, 0, 10e-6)
	for _, one := range []*Track{&said, &k} {
		if what, _ := b.oscillator(one, 0.05, 200); what == CrystalFar {
			t.Errorf("far off again, or a rate that is known: %v", one.Assumptions())
		}
	}
}
