package bank

import (
	"fmt"
	"testing"

	"noonmark/clockcheck/timescale"
)

// A receiver has been right for two hours, its lateness is known. Then servers speak that all lie alike, and maybe
// one that does not. They may have their time from one clock, whatever they name as theirs: however many they are,
// the receiver is not outvoted by them, and whoever hears either has a place in the guard.
func TestHeadsProveLittle(t *testing.T) {
	for _, row := range []struct {
		liars, right int
		by           float64
	}{{2, 0, 5}, {3, 0, -28}, {3, 1, -28}, {4, 1, 16}, {4, 1, 0.5}, {5, 0, -0.45}, {6, 1, 3600}} {
		t.Run(fmt.Sprintf("%d by %g s, %d right", row.liars, row.by, row.right), func(t *testing.T) {
			b, at := settled()
			for k := timescale.Local(1); k < 60; k++ {
				now := at + k*64*second
				r := look(now, 1000-0.15, 0.01)
				r.Stream.LeadMost = 0
				b.Hear(r)
				for i := range row.liars + row.right {
					z := 1000.0
					if i < row.liars {
						z += row.by
					}
					b.Hear(server(Server+1+Source(i), now+second, z, 0.004))
				}
				if lo, hi := span(b); lo > 1000 || hi < 1000 {
					t.Fatalf("UTC is 1000 s, the guard %.3f to %.3f s", lo, hi)
				}
			}
		})
	}
}

// The servers speak before the receiver: whoever hears it alone pays for all of them, and is alive all the same
// once the best account has had to call the receiver false.
func TestHeadsBeforeTheReceiver(t *testing.T) {
	for n := range Source(6) {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.02, Most: 1.2, Known: true})
		for s := range n + 1 {
			b.Hear(server(Server+s, 10*second+timescale.Local(s)*second, 1016, 0.01))
		}
		for k := timescale.Local(21); k < 300; k++ {
			if b.Hear(look(k*10*second, 1000-0.3, 0.004)); k == 21 {
				continue
			}
			if lo, hi := span(b); lo > 1000 || hi < 1016 {
				t.Fatalf("%d servers: after %d looks the guard is %.2f to %.2f s: want it to reckon with both", n+1, k-20, lo, hi)
			}
		}
	}
}

// Of five servers four of unlike names lie alike, half a second off; one is right, and speaks first, in the middle or
// last. The receiver's lateness is open, so it fits either. Whether the servers speak before it or after it, they are
// not alone from then on, and whoever hears the right one has a place in the guard.
func TestServersAreAloneNoMore(t *testing.T) {
	for right := range Source(5) {
		for _, before := range []bool{true, false} {
			b := newBank()
			b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
			servers := func(at timescale.Local) {
				for s := range Source(5) {
					z := 1000.5
					if s == right {
						z = 1000
					}
					b.Hear(server(Server+s, at+timescale.Local(s)*second, z, 0.013))
				}
			}
			if before {
				servers(10 * second)
				servers(20 * second)
			}
			for k := range timescale.Local(100) {
				at := (30 + 10*k) * second
				r := look(at, 1000-0.14, 0.004)
				r.Stream.LeadMost = 0
				if b.Hear(r); k%6 == 5 {
					servers(at + second)
				}
				if lo, hi := span(b); (before || k > 6) && (lo > 1000 || hi < 1000.5) {
					t.Fatalf("server %d is right, all before the receiver: %v; after %d looks the guard is %.2f to %.2f s: want it to reckon with both",
						right, before, k+1, lo, hi)
				}
			}
		}
	}
}

// Four servers and a receiver whose lateness they told say the same, and a fifth says another minute. That all five are
// false, each by itself, and the same but for a lateness, is chance: it has no place in the guard.
func TestReceiverThatSaysTheSameIsNoChance(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	for k := range timescale.Local(200) {
		at := (30 + 10*k) * second
		r := look(at, 1000-0.3, 0.004)
		r.Stream.LeadMost = 0
		if b.Hear(r); k%6 == 5 {
			for s := range Source(4) {
				b.Hear(server(Server+s, at+timescale.Local(s+1)*second, 1000, 0.013))
			}
		}
		if k > 100 && k%6 == 5 {
			b.Hear(server(Server+4, at+6*second, 1061, 0.013))
		}
		if lo, hi := span(b); k > 110 && (lo < 999 || hi > 1001) {
			t.Fatalf("after %d looks the guard is %.2f to %.2f s", k+1, lo, hi)
		}
	}
}
