package bank

import (
	"testing"

	"noonmark/clockcheck/timescale"
)

// A lone receiver has told UTC for three hours, and somebody set the hardware clock twice meanwhile. Then the
// first server says that it is 3 s earlier. The receiver is no likelier to be false for what
// was done to the clock: the guard holds both. UTC − local is 1000 s.
func TestAClockThatWasSetTellsNothingOfTheReceiver(t *testing.T) {
	for _, sets := range []int{0, 1, 2, 3} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		off := 0.0
		at := second
		for ; at < 3*3600*second; at += 10 * second {
			r := look(at, 1000-0.1, 0.003)
			r.Stream.LeadMost = 0
			b.Hear(r)
			if at%(600*second) == second {
				if n := int(at / (3000 * second)); n > 0 && n <= sets {
					off = float64(n)
				}
				b.Hear(&Reading{Source: Clock, At: at + second, Z: int64((1000 + off) * 1e9), Var: 1e-6, Dated: true})
			}
		}
		for k := range timescale.Local(3) {
			b.Hear(server(Server, at+k*17*second, 997, 0.005))
		}
		if lo, hi := span(b); lo > 997 || hi < 1000 {
			t.Errorf("set %d times: UTC from %.3f to %.3f s; it may be 997 and 1000", sets, lo, hi)
		}
	}
}
