package bank

import (
	"math"
	"testing"

	"noonmark/clockcheck/timescale"
)

// costOf is the least cost of the accounts that hear the receiver, or of those that take it to be false, nats.
func costOf(b *Bank, hears bool) float64 {
	least := math.Inf(1)
	for i := range b.tracks[:b.n] {
		if t := &b.tracks[i]; !t.Latent && t.hears(Receiver) == hears {
			least = math.Min(least, t.total())
		}
	}
	return least
}

// A receiver and a server contradict each other by 3.6 s, so one of them is false. The lateness of the stream moves
// with its satellites, by 0.07 s each time, three times later and three times earlier, 15 min apart. That of a false
// one does, too: it tells nothing of which of the two is right. A stream that goes on by 0.07 s in each look, or each
// minute, is led.
func TestLatenessThatMovesTellsNothingOfTheTime(t *testing.T) {
	apart := func(looks int, moves []float64) float64 {
		b := newBank()
		b.Opened(Lateness{Mean: 0.5, Sigma: 0.45, Most: 1.2})
		k, z := timescale.Local(1), 999.6
		hear := func(n int) {
			for range n {
				b.Hear(look(k*10*second, z, 0.001))
				k++
			}
		}
		hear(90)
		b.Hear(server(Server, k*10*second-second, 1003.6, 0.02))
		hear(90)
		before := costOf(b, false) - costOf(b, true)
		for _, m := range moves {
			z += m
			hear(looks)
		}
		return costOf(b, false) - costOf(b, true) - before
	}
	if by := apart(90, []float64{-0.07, -0.07, -0.07, 0.07, 0.07, 0.07}); math.Abs(by) > 0.1 {
		t.Errorf("six moves of a lateness speak by %.1f nats for who hears the receiver, want 0", by)
	}
	for _, looks := range []int{1, 6} {
		if by := apart(looks, []float64{-0.07, -0.07, -0.07, -0.07, -0.07, -0.07}); by > -3 {
			t.Errorf("a stream that is led by 0.07 s in %d looks speaks by %.1f nats for who hears the receiver, want −3 or less", looks, by)
		}
	}
}

// oneMove is a bank that has heard a receiver for ten minutes, and its account to which that was false from then on; the
// receiver has just moved by 0.07 s.
func oneMove() (b *Bank, deaf *Track) {
	b = newBank()
	b.Opened(known(0.3))
	for k := range timescale.Local(60) {
		b.Hear(look((k+1)*10*second, 999.7, 0.001))
	}
	c := b.tracks[b.best]
	c.silence()
	c.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: 600 * second}, 1)
	b.add(c)
	b.deliver()
	b.moved = 0.07
	b.movesToo(b.deaf(Receiver), look(610*second, 999.77, 0.001))
	return b, &b.tracks[b.n-1]
}

// A receiver that moved is back where an account expected it, which had it false meanwhile. To whom it was false before
// a second false signal was there, less what he paid for the move.
func TestReturnCostsLessWhatTheMoveDid(t *testing.T) {
	b, deaf := oneMove()
	before := deaf.Cost - b.nats[LatenessMoved]
	back := *deaf
	back.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: 610 * second}, 0)
	if b.backAgain(&back, 0.01); math.Abs(deaf.Cost-before-b.nats[ReceiverFalse]) > 0.1 {
		t.Errorf("the move and the return cost %.1f nats, want those of a false signal, %.1f", deaf.Cost-before, b.nats[ReceiverFalse])
	}
}

// The same stream then leaves a former state by going on that way: that is one lead, and was paid for.
func TestWhatGoesOnIsPaidOnce(t *testing.T) {
	b, deaf := oneMove()
	b.aside.track[0], b.aside.taken[0] = *deaf, 500*second
	paid := deaf.Cost
	if b.part(look(630*second, 999.84, 0.001), &b.aside, b.best, 0, 0.14); math.Abs(deaf.Cost-paid) > 0.1 {
		t.Errorf("going on cost %.1f nats, want 0", deaf.Cost-paid)
	}
}
