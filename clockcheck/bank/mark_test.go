package bank

import (
	"testing"

	"noonmark/clockcheck/timescale"
)

// UTC is known to half a second (1 σ), and a mark is a second wrong: it fits, as a right one would. So the guard goes on
// holding what was known before, until marks that are made anew say the same.
func TestMarkThatMayBeASecondWrong(t *testing.T) {
	for _, c := range []struct{ wrong, later float64 }{{1, 0}, {-1, 0}, {0, 0}} {
		b := newBank()
		b.Hear(server(Server, second, 1000, 0.5))
		at := 10 * second
		b.Hear(server(Ear, at, 1000+c.wrong, 0.1))
		if lo, hi := span(b); lo > 1000 || hi < 1000 {
			t.Errorf("a mark %.0f s wrong: UTC from %.2f to %.2f, want 1000 in it", c.wrong, lo, hi)
		}
		n := 1
		for ; n < 8 && b.Half(0) > 0.5; n++ {
			at += 60 * second
			b.Hear(server(Ear, at, 1000+c.later, 0.1))
			if lo, hi := span(b); lo > 1000 || hi < 1000 {
				t.Errorf("a mark %.0f s wrong and %d right ones: UTC from %.2f to %.2f, want 1000 in it", c.wrong, n, lo, hi)
			}
		}
		if c.wrong == 0 && n != 3 || n > 5 {
			t.Errorf("a mark %.0f s wrong: the guard is %.2f s after %d marks", c.wrong, b.Half(0), n)
		}
	}
}

// A receiver leads by eighteen, and two accounts are alike: it leads by sixteen, as a hardware clock has it, or by more. A mark is a
// second wrong. It contradicts the first account, and of the second it tells that seventeen is likelier; that it is false is
// as possible by the one as by the other. Then leap-second data come.
func TestMarkThatTellsBetweenAccounts(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	b.Recall(&Recalled{Sigma: 0.5, RateSigma: 1e-6, Dated: true, From: SetOf(Receiver)})
	b.Hear(&Reading{Source: Clock, At: second, Z: 1001e9, Var: 1e-6, Dated: true, From: SetOf(Receiver)})
	at := 2 * second
	hear := func(ahead float64) {
		for range 3 {
			at += 10 * second
			b.Hear(look(at, 1000+ahead-0.2, 0.001))
		}
	}
	hear(18)
	at += second
	m := server(Borrowed, at, 1001, 0.1)
	if one := b.Best().leading(b.Best().Lead); one.fitsTime(m) {
		t.Fatal("the mark does not contradict the likeliest account: nothing was shown")
	}
	b.Hear(m)
	hear(18)
	hear(0)
	if lo, hi := span(b); lo > 1000 || hi < 1000 {
		t.Errorf("UTC from %.2f to %.2f, want 1000 in it", lo, hi)
	}
	if w := b.Half(0); w > 1.5 {
		t.Errorf("the guard is %.2f s", w)
	}
}

// A hardware clock knows UTC to 0.2 s (1 σ), and a mark that is a second wrong lies 2 σ from it on the one side, where UTC lies
// 3 σ on the other. That the mark is false is likelier by what it was foretold badly.
func TestMarkThatIsForetoldBadly(t *testing.T) {
	b := newBank()
	b.Hear(server(Server, second, 1000, 0.2))
	b.Hear(server(Borrowed, 10*second, 1000.42, 0.1))
	if lo, hi := span(b); lo > 999.42 || hi < 1000.42 {
		t.Errorf("UTC from %.2f to %.2f, want 999.42 and 1000.42 in it", lo, hi)
	}
}

// Beside a receiver whose lateness nobody proved a mark that is right is believed: were it a second wrong, the lateness would be out
// of its range, or that of the second before, or the receiver would lead by just as much.
func TestMarkBesideALatenessIsBelieved(t *testing.T) {
	for _, most := range []int{0, MaxLead} {
		for _, late := range []float64{0.04, 0.2, 0.4} {
			b := newBank()
			b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
			for k := range timescale.Local(3) {
				r := look((1+10*k)*second, 1000-late, 0.001)
				r.Stream.LeadMost = most
				b.Hear(r)
			}
			b.Hear(server(Ear, 30*second, 1000, 0.1))
			if w := b.Half(0); w > 0.45 {
				t.Errorf("a receiver %.2f s late, which may lead by %d s: the guard is %.2f s", late, most, w)
			}
		}
	}
}
