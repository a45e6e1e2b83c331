package bank

import "testing"

// A stream that is met 0.6 s from where the run before had it has moved, and that is paid for; not where
// that run took it to be false, as likely as not: what is false moves on, or is right again.
func TestMovedUnseen(t *testing.T) {
	for _, doubted := range []Set{0, SetOf(Receiver)} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		b.Resume(&Held{At: second, Z: 1000e9, Sigma: 0.1, RateSigma: 1e-6, Dated: true, From: SetOf(Receiver), Told: second, Rated: second,
			Doubted: doubted, Stream: true, Lateness: 0.1, Same: sameStream})
		b.Hear(look(2*second, 999.3, 0.001))
		moved := false
		for i := range b.Tracks() {
			moved = moved || b.Tracks()[i].Assumes(LatenessMoved)
		}
		if moved != (doubted == 0) {
			t.Errorf("whom the run before doubted: %b; the lateness is taken to have moved: %v", doubted, moved)
		}
	}
}
