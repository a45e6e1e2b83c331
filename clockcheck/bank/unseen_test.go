package bank

import (
	"testing"

	"noonmark/clockcheck/timescale"
)

// A stream that is met 0.6 s from where the run before had it has moved, and that is paid for; not where
// that run took it to be false, as likely as not: what is false moves on, or is right again.
func TestMovedUnseen(t *testing.T) {
	for _, doubted := range [][]Doubted{nil, {{Whom: SetOf(Receiver)}}} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		b.Resume(&Held{At: second, Z: 1000e9, Sigma: 0.1, RateSigma: 1e-6, Dated: true, From: SetOf(Receiver), Told: second, Rated: second,
			Doubts: doubted, Stream: true, Lateness: 0.1, Same: sameStream})
		b.Hear(look(2*second, 999.3, 0.001))
		moved := false
		for i := range b.Tracks() {
			moved = moved || b.Tracks()[i].Assumes(LatenessMoved)
		}
		if moved != (doubted == nil) {
			t.Errorf("whom the run before doubted: %v; the lateness is taken to have moved: %v", doubted, moved)
		}
	}
}

// What the run before kept is an hour and three quarters old, and the stream is 0.22 s from there: 35 ppm. It may have
// moved, and the oscillator may have gone so far. Eleven minutes old: no oscillator goes so far.
func TestMetWhereTheOscillatorWent(t *testing.T) {
	for _, c := range []struct {
		after timescale.Local // s
		want  bool
	}{{6300, true}, {660, false}} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		b.Resume(&Held{At: second, Z: 1000e9, Sigma: 0.04, Rate: 0, RateSigma: 1e-6, Dated: true, From: SetOf(Receiver),
			Told: second, Rated: second, Stream: true, Lateness: 0.1, Same: sameStream})
		for k := timescale.Local(0); k < 3; k++ {
			r := look((c.after+10*k)*second, 1000-0.1+0.22, 0.01)
			r.Stream.LeadMost = 0
			b.Hear(r)
		}
		lo, hi := span(b)
		if lo > 1000 || hi < 1000 {
			t.Errorf("after %d s UTC is said to be from %.3f to %.3f s, want where it was kept in it", c.after, lo, hi)
		}
		if got := hi >= 1000.22; got != c.want {
			t.Errorf("after %d s UTC is said to be from %.3f to %.3f s; %.2f, by the stream, in it: want %v", c.after, lo, hi, 1000.22, c.want)
		}
	}
}
