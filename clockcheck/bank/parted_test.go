package bank

import (
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// A main crystal loses 60 ppm at once; the receiver and the hardware clock are right and go on
// together. That both went astray costs more than that the crystal did: the guard holds the truth.
func TestFormerStatePaysForTheClock(t *testing.T) {
	b := New(Config{RateSigma: 5e-6, ClockSigma: 1.3e-6, ClockWander: 3e-19})
	b.Opened(Lateness{Mean: 0.05, Sigma: 0.022, Most: 1.2, Known: true})
	const leap = 3 * 3600 // s
	utc := func(at timescale.Local) float64 { return 1000 - 60e-6*max(at.Sub(0).Seconds()-leap, 0) }
	b.Hear(server(Server, second, 1000, 0.005))
	for k := timescale.Local(1); k < 1500; k++ {
		at := k * 10 * second
		if k%60 == 1 {
			b.Hear(&Reading{Source: Clock, At: at, Z: int64(utc(at) * 1e9), Var: 1e-6, Dated: true, From: SetOf(Server)})
		}
		r := look(at+second, utc(at+second)-0.05, 0.001)
		r.Stream.LeadMost = 0
		b.Hear(r)
		f := &b.Best().F
		if lo, hi := span(b); utc(f.At) < lo || utc(f.At) > hi {
			t.Fatalf("at %d s UTC is %.3f, and the guard %.3f to %.3f", k*10, utc(f.At), lo, hi)
		}
	}
	if s := b.Best().F.Sigma(estimate.X); s > 0.05 {
		t.Errorf("UTC is known to %.3f s: no guard was needed", s)
	}
}

// A receiver is led away by 34 ppm so soon after its start that the only former state from before knows no
// rate, and the next one was led, too. The drag shows in that one: what it says of UTC and of the rate is as
// wrong as what led it, and what the band says later must not be laid against it as if it were right.
func TestDragThatBeganBeforeTheFormerState(t *testing.T) {
	b := New(Config{RateSigma: 30e-6, ClockSigma: 1.3e-6, ClockWander: 3e-19})
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	const begin, late, drag = 30 * 60, 0.028, 34e-6
	utc := func(at timescale.Local) float64 { return 1000 - 32e-6*at.Sub(0).Seconds() }
	rng := rand.New(rand.NewPCG(7, 7))
	for k := timescale.Local(1); k < 1400; k++ {
		at := k * 10 * second
		if k%15 == 13 {
			b.Hear(&Reading{Source: Crowd, At: at, Z: int64(utc(at) * 1e9), Var: 0.1 * 0.1, Common: 0.0368, Repeat: 24, Modulo: 15})
		}
		r := look(at+second, utc(at+second)-late+drag*max((at+second).Sub(0).Seconds()-begin, 0)+0.001*rng.NormFloat64(), 0.0005)
		r.Stream.LeadMost = 0
		b.Hear(r)
		f := &b.Best().F
		if lo, hi := span(b); utc(f.At) < lo || utc(f.At) > hi {
			t.Fatalf("at %d s UTC is %.3f, and the guard %.3f to %.3f", k*10, utc(f.At), lo, hi)
		}
	}
	seen := false
	for i := range b.Tracks() {
		seen = seen || b.Tracks()[i].ledAway()
	}
	if !seen {
		t.Error("nobody has seen the drag")
	}
}
