package bank

import (
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// A stream leaves a former state of the best track by 0.06 s in 10 min. Another account has paid for a fork that turns by
// 100 ppm, as the best has not: by that the stream goes just there, so it pays nothing and leaves no more open. Where
// the fork does not explain it, or the best assumes the same, it pays that the lateness goes away.
func TestWhoTurnedTheOscillatorForetoldTheStream(t *testing.T) {
	const turn, age = 100e-6, 600.0
	for _, c := range []struct {
		name    string
		assumes bool    // the account has a fork that turned
		best    bool    // … and the best track the same
		rate    float64 // s/s: by so much its rate is another than the former state's
		pays    bool
	}{
		{"a fork that turned", true, false, turn, false},
		{"another rate, and nothing paid for it", false, false, turn, true},
		{"the best track has the same fork", true, true, turn, true},
		{"a fork that turned the other way", true, false, -turn, true},
	} {
		b := newBank()
		b.Opened(known(0.3))
		for k := range timescale.Local(360) {
			r := look((k+1)*10*second, 1000-0.3, 0.001)
			r.Stream.LeadMost = 0
			b.Hear(r)
		}
		fork := Assumed{What: CrystalTurned, Of: Receiver, Since: 100 * second, at: 200 * second}
		other := *b.Best()
		if c.assumes {
			other.assume(fork, b.nats[CrystalTurned])
		}
		if c.best {
			b.Best().assume(fork, b.nats[CrystalTurned])
		}
		other.F.V[estimate.Y] += c.rate
		b.add(other)
		b.deliver()
		f := former{of: b.Best().id}
		f.track[0], f.taken[0] = *b.Best(), b.Best().F.At.Add(-age*1e9)
		f.track[0].silence()
		r := look(b.Best().F.At, 1000-0.3+turn*age, 0.001)
		f.track[0].F.P[estimate.Y][estimate.Y], b.tracks[b.n-1].F.P[estimate.Y][estimate.Y] = 1e-14, 1e-14
		b.part(r, &f, b.best, 0, turn*age)
		got := &b.tracks[b.n-1]
		if paid := got.Cost - other.Cost; (paid > 0) != c.pays || (got.Lo < 0 || got.Hi > 0) != c.pays {
			t.Errorf("%s: it pays %.1f nats and leaves %.3f s open, want to pay: %v", c.name, paid, got.Hi-got.Lo, c.pays)
		}
	}
}

// A lateness that was told and goes away hides a move of the oscillator: for an hour the looks at its stream have told no
// rate, and the guard spans what it may have gone. One that stays where it was told tells it at each look.
func TestLatenessThatGoesAwayTellsNoRate(t *testing.T) {
	for _, away := range []bool{true, false} {
		b := newBank()
		b.Opened(known(0.3))
		for k := range timescale.Local(420) {
			if k == 60 && away {
				b.Best().F.Noise.D = 100 * lateRestless
			}
			r := look((k+1)*10*second, 1000-0.3, 0.001)
			r.Stream.LeadMost = 0
			b.Hear(r)
		}
		if got, want := b.unseen(0), b.stepSince(3600); away != (got >= want) || away != (got > 0) {
			t.Errorf("the lateness goes away: %v; %.4f s for an oscillator that moved unseen, %.4f s in an hour", away, got, want)
		}
	}
}
