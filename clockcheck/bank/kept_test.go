package bank

import (
	"math"
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// fromOneRun is a start after a power-off: the hardware clock was compared by a run that heard the receiver, among
// others, and that run learned the lateness, each to its σ, s.
func fromOneRun(clock, late float64, from Set) *Bank {
	b := newBank()
	b.Opened(Lateness{Mean: 0.4, Sigma: late, Most: 1.2, Known: true, Loose: late >= proved})
	b.Recall(&Recalled{Base: -1000e9, Sigma: clock, RateSigma: 1e-7, Dated: true, From: from})
	return b
}

// What a run that heard the receiver left of UTC and of the lateness is one word, whoever else told it: together
// they leave no less open than the surer of them, however often both are heard. Two words would.
func TestKeptOfUTCAndOfLatenessIsOneWord(t *testing.T) {
	const z = 1000.0
	for _, c := range []struct{ clock, late float64 }{{0.12, 0.11}, {0.11, 0.12}, {0.12, 0.12}, {0.3, 0.05}, {0.05, 0.3}} {
		sigma := func(from Set) float64 {
			b := fromOneRun(c.clock, c.late, from)
			for k := range 3 {
				at := timescale.Local(10+20*k) * second
				b.Hear(&Reading{Source: Clock, At: at, Var: 1e-6, From: from})
				l := look(at+10*second, z-0.4, 0.005)
				l.Stream.LeadMost = 0
				b.Hear(l)
			}
			if !b.Best().streams() {
				t.Fatalf("clock %.2f s, lateness %.2f s: the best does not hear the receiver", c.clock, c.late)
			}
			return b.Best().F.Sigma(estimate.X)
		}
		surer := math.Min(c.clock, c.late)
		if got := sigma(SetOf(Receiver, Before)); got < 0.99*surer || got > 1.05*surer {
			t.Errorf("clock %.2f s, lateness %.2f s of one run: UTC to %.4f s, want %.4f", c.clock, c.late, got, surer)
		}
		if got, two := sigma(SetOf(Before)), surer/math.Hypot(1, surer/math.Max(c.clock, c.late)); math.Abs(got-two) > 0.05*two {
			t.Errorf("clock %.2f s by servers, lateness %.2f s: UTC to %.4f s, want %.4f", c.clock, c.late, got, two)
		}
	}
}

// Another unit is late by its own: what the run left of UTC tells nothing of that, and the two are two words.
func TestKeptUTCAndAnotherUnitAreTwoWords(t *testing.T) {
	from := SetOf(Receiver, Before)
	b := fromOneRun(0.17, 0.03, from)
	b.Hear(&Reading{Source: Clock, At: 10 * second, Var: 1e-6, From: from})
	l := look(20*second, 999.6, 0.005)
	l.Stream.LeadMost = 0
	b.Hear(l)
	for i := range b.Tracks() {
		if u := &b.Tracks()[i]; u.Assumes(LatenessNew) && u.streams() && u.On.Has(Clock) {
			if got, want := u.F.Sigma(estimate.X), 0.17*otherUnit/math.Hypot(0.17, otherUnit); math.Abs(got-want) > 0.03*want {
				t.Errorf("UTC to %.3f s, want %.3f", got, want)
			}
			return
		}
	}
	t.Error("nobody reckons with another unit")
}

// By a server the unit is likelier another than not, 0.13 s earlier than the learned one: the next start is left that doubt,
// though the two are no further apart than what proves a lateness.
func TestDoubtThatTheUnitIsAnother(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.16, Sigma: 0.02, Most: 1.2, Known: true})
	b.Recall(&Recalled{Base: -1000e9, Sigma: 0.2, RateSigma: 1e-7, Dated: true, From: SetOf(Receiver, Before)})
	b.Hear(&Reading{Source: Clock, At: 10 * second, Var: 1e-6, From: SetOf(Receiver, Before)})
	for k := range 6 {
		l := look(timescale.Local(20+10*k)*second, 999.97, 0.001)
		l.Stream.LeadMost = 0
		b.Hear(l)
	}
	b.Hear(server(Server, 90*second, 1000, 0.02))
	if lo, hi := span(b); lo > 1000 || hi < 1000 {
		t.Errorf("UTC is %.3f to %.3f s by the guard", lo-1000, hi-1000)
	}
	another := b.Nats(LatenessNew)
	if d, met := b.LatenessDoubt(0.16, 0.02); !met || d > another-2 {
		t.Errorf("the doubt that the unit is another is %.1f nats, without the server it is %.1f", d, another)
	}
}

// What a run knew of UTC by a receiver alone is that receiver's word: if it is false, so is what was kept, for nothing more. So
// servers that contradict both, in whatever number, leave their own account.
func TestKeptByAFalseReceiverIsFalse(t *testing.T) {
	for _, from := range []Set{SetOf(Receiver), SetOf(Receiver, Server)} {
		b := newBank()
		b.Resume(&Held{At: second, Z: 1000e9, Sigma: 0.15, RateSigma: 1e-6, Dated: true, From: from, Told: second, Rated: second,
			Stream: true, Lateness: 0.6, Same: sameStream})
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		at := 2 * second
		for range 3 {
			at += 10 * second
			l := look(at, 1000-0.6, 0.002)
			l.Stream.LeadMost = 0
			b.Hear(l)
		}
		for range 3 {
			at += 10 * second
			b.Hear(server(Server, at, 999.1, 0.005))
		}
		if lo, hi := span(b); (lo < 999.1 && hi > 999.1) != (from == SetOf(Receiver)) {
			t.Errorf("kept by %b: UTC is %.2f to %.2f s, the servers have it at -0.90", from, lo-1000, hi-1000)
		}
	}
}
