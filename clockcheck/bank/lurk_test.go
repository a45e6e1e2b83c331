package bank

import (
	"testing"

	"noonmark/clockcheck/timescale"
)

// A hardware clock and a receiver agree for an hour, and an account by which the receiver was false in
// between has just taken it back: it hears everybody, but has not met the receiver yet, and is dear. That
// speaks for nobody: the account that never heard the receiver stays latent, as long as one that has met it
// is cheap.
func TestWhoHasNotMetTheReceiverWakesNobody(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.05, Most: 1.2, Known: true})
	b.Recall(&Recalled{Sigma: 0.05, RateSigma: 1e-6, Dated: true, From: SetOf(Server)})
	for k := timescale.Local(1); k < 360; k++ {
		if k%60 == 1 {
			b.Hear(&Reading{Source: Clock, At: k * 10 * second, Z: 1000e9, Var: 1e-6, Dated: true})
		}
		b.Hear(look(k*10*second+second, 1000-0.3, 0.004))
	}
	without := func() *Track {
		for i := range b.tracks[:b.n] {
			if u := &b.tracks[i]; u.Lurked == SetOf(Receiver) && u.Out == u.Lurked {
				return u
			}
		}
		t.Fatal("no account was born without the receiver")
		return nil
	}
	if !without().Latent {
		t.Fatal("nobody has contradicted the receiver")
	}
	back := *b.Best()
	back.Met, back.Cost = false, 12
	b.tracks[b.n] = back
	b.n++
	if b.settle(); !without().Latent {
		t.Error("an account that has not met the receiver has woken the one that never heard it")
	}
	// Where no cheaper one hears everybody, it does.
	b.tracks[b.best].Out = SetOf(Server)
	for i := range b.tracks[:b.n] {
		if u := &b.tracks[i]; u.Met && u.Out == 0 {
			u.Out = SetOf(Server)
		}
	}
	if b.settle(); without().Latent {
		t.Error("everybody who hears all had to pay, and the account without the receiver is believed by nobody")
	}
}
