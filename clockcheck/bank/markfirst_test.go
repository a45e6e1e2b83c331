package bank

import (
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// A mark alone tells UTC, and is a second wrong; then a right receiver speaks. By the mark it leads by a
// second, or is as late as one receiver in twenty. That the mark is false is as possible as that,
// whoever spoke first, and whether or not an earlier run took the receiver to be false.
func TestMarkBeforeTheReceiver(t *testing.T) {
	for _, c := range []struct {
		name    string
		mark    float64 // s: UTC − local by the mark; 1000 is right
		doubted bool
	}{
		{"a second behind", 999, false},
		{"a second ahead", 1001, false},
		{"a second ahead, the receiver doubted before", 1001, true},
	} {
		for _, markFirst := range []bool{true, false} {
			b := newBank()
			b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
			m := server(Borrowed, second, c.mark, 0.1)
			if markFirst {
				b.Hear(m)
			}
			if c.doubted {
				from := SetOf(Receiver, Before)
				b.DoubtAgain([]Doubted{{SetOf(Receiver), 1e-5}})
				b.Recall(&Recalled{Offset: -0.5, Sigma: 0.25, RateSigma: 1e-6, Dated: true, From: from})
				b.Hear(&Reading{Source: Clock, At: 5 * second, Z: 1000e9, Var: 1e-6, Dated: true, From: from})
			}
			for k := range 3 {
				b.Hear(look(timescale.Local(11+10*k)*second, 1000-0.04, 0.001))
			}
			if !markFirst {
				m.At = 50 * second
				b.Hear(m)
			}
			if lo, hi := span(b); lo > 1000 || hi < 1000 {
				t.Errorf("%s, the mark first: %v: UTC from %.2f to %.2f, want 1000 in it", c.name, markFirst, lo, hi)
			}
		}
	}
}

// By a mark the receiver's sentences are a second late, as of one unit in twenty. That was paid, and
// stays so when their lateness moves.
func TestSecondBeforeStaysPaid(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	b.Hear(server(Borrowed, second, 1001, 0.1))
	for k := range timescale.Local(6) {
		z := 1000 - 0.04
		if k >= 3 {
			z += 0.45
		}
		b.Hear(look((11+10*k)*second, z, 0.001))
	}
	for i := range b.Tracks() {
		if tr := &b.Tracks()[i]; tr.Out == 0 && tr.Assumes(LatenessMoved) {
			if tr.before < 0.9*secondBefore {
				t.Errorf("of %.1f nats that were paid %.1f are left", secondBefore, tr.before)
			}
			return
		}
	}
	t.Fatal("nobody takes the lateness to have moved")
}

// A lone receiver of unproved lateness is believed for ten minutes, then it leaps and is false. A mark puts UTC 0.96 s
// before the stream of those ten minutes: who believed that stream cannot take it, whether or not the receiver is false by now.
func TestLatenessOfThenBindsWhoBelievedIt(t *testing.T) {
	for _, leap := range []float64{0, 5.3} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		b.Hear(server(Server, second, 1000.3, 0.4)) // so loose that the lateness stays open
		for k := range timescale.Local(60) {
			b.Hear(look((2+10*k)*second, 1000-0.04, 0.001))
		}
		b.Hear(look(602*second, 1000-0.04+leap, 0.001))
		b.Hear(server(Borrowed, 610*second, 999, 0.1))
		for i := range b.Tracks() {
			if u := &b.Tracks()[i]; u.On.Has(Receiver) && u.On.Has(Borrowed) && u.Lead == 0 {
				t.Errorf("after a leap of %.1f s: an account puts UTC %.2f s before the stream that it believed", leap, -u.F.V[estimate.D])
			}
		}
	}
}
