package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// NotBefore takes the word of a receiver whose sentences come too late to tell UTC: UTC − local was z ns at an instant, to
// within a variance of v s². UTC is no earlier, but for the seconds that it may lead, and one more if it names the second
// to come. Whoever has UTC earlier has to take the receiver to be false: no lateness explains it. It reports whether any had to.
func (b *Bank) NotBefore(at timescale.Local, z int64, v float64) (paid bool) {
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if !t.Located || !t.hears(Receiver) || !b.allowed(ReceiverFalse) {
			continue
		}
		t.F.Advance(at)
		nu := t.F.Rel(at, z) - t.F.V[estimate.X]
		if _, hi := t.Span(0, wide, floor); nu-(MaxLead+1) <= hi+wide*math.Sqrt(v) {
			continue
		}
		t.silence()
		t.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: at, SizeS: nu}, b.nats[ReceiverFalse])
		paid = true
	}
	if paid {
		b.settle()
	}
	return paid
}
