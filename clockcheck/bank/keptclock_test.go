package bank

import (
	"math"
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// secondApart is a start after a power-off: the run before left two accounts of the hardware clock. By the likelier UTC is 1000 s,
// by the other one 999 s, and the receiver leads by one. Its lateness was learned.
func secondApart(other func(a *Account)) *Bank {
	b := newBank()
	b.Opened(Lateness{Mean: 0.1, Sigma: 0.02, Most: 1.2, Known: true})
	one := Account{Off: 0.5, Sigma: 0.03}
	two := Account{Off: -0.5, Sigma: 0.03, Nats: 5, Leads: true}
	other(&two)
	b.Recall(&Recalled{Base: -1000e9, Offset: 0.5, Sigma: 0.14, Compared: 0.14, RateSigma: 1e-7, Dated: true, From: SetOf(Receiver, Before),
		Accounts: [MaxAccounts]Account{one, two}})
	b.Hear(&Reading{Source: Clock, At: 10 * second, Var: 1e-6, From: SetOf(Receiver, Before)})
	return b
}

// places is where UTC is by the likeliest track that a condition holds for, s from 1000, and how much dearer that is, nats.
func places(b *Bank, where func(*Track) bool) (x, dearer float64) {
	dearer = math.Inf(1)
	for i := range b.Tracks() {
		if t := &b.Tracks()[i]; b.Weight(i) > 0 && where(t) && t.total()-b.Best().total() < dearer {
			x, dearer = float64(t.F.Base)/1e9-1000+t.F.V[estimate.X], t.total()-b.Best().total()
		}
	}
	return x, dearer
}

// In the middle of two accounts nobody has UTC: a start stands where one of them has it, and reaches the other, at its price.
func TestClockIsKeptByAccounts(t *testing.T) {
	b := secondApart(func(*Account) {})
	if x, _ := places(b, func(*Track) bool { return true }); math.Abs(x) > 0.01 {
		t.Errorf("UTC is %.3f s by the best account, want 0", x)
	}
	if x, dearer := places(b, func(u *Track) bool { return u.leadPaid }); math.Abs(x+1) > 0.01 || math.Abs(dearer-5) > 0.1 {
		t.Errorf("UTC is %.3f s by the other account at %.1f nats, want -1 at 5", x, dearer)
	}
	if lo, hi := span(b); lo > 999 || hi < 1000 {
		t.Errorf("UTC is %.3f to %.3f s by the guard", lo-1000, hi-1000)
	}
}

// What an account has assumed of a receiver is paid: it leads at this start, too, and costs no more than it did.
func TestLeadOfAKeptAccountIsPaid(t *testing.T) {
	b := secondApart(func(*Account) {})
	for k := range 6 {
		b.Hear(look(timescale.Local(20+10*k)*second, 1000-0.1, 0.003))
	}
	x, dearer := places(b, func(u *Track) bool { return u.streams() && u.Lead == 1 && u.leadPaid })
	if math.Abs(x+1) > 0.1 || math.Abs(dearer-5) > 0.5 {
		t.Errorf("by who leads UTC is %.3f s at %.1f nats, want -1 at 5", x, dearer)
	}
}

// So is that the receiver is false: who contradicts it again costs no more.
func TestFalseOfAKeptAccountIsPaid(t *testing.T) {
	b := secondApart(func(a *Account) { a.Leads, a.Out = false, SetOf(Receiver) })
	for k := range 6 {
		l := look(timescale.Local(20+10*k)*second, 1000-0.1, 0.003)
		l.Stream.LeadMost = 0
		b.Hear(l)
	}
	x, dearer := places(b, func(u *Track) bool { return u.outPaid.Has(Receiver) && u.Out.Has(Receiver) })
	if math.Abs(x+1) > 0.1 || math.Abs(dearer-5) > 0.5 {
		t.Errorf("by who takes the receiver to be false UTC is %.3f s at %.1f nats, want -1 at 5", x, dearer)
	}
}

// Where UTC is loose by it, the false stream fits, too, within the gate. That it is false stays an account all the same.
func TestFalseOfALooseAccountIsKept(t *testing.T) {
	b := secondApart(func(a *Account) { a.Leads, a.Out, a.Sigma = false, SetOf(Receiver), 0.3 })
	for k := range 6 {
		l := look(timescale.Local(20+10*k)*second, 1000-0.1, 0.003)
		l.Stream.LeadMost = 0
		b.Hear(l)
	}
	if x, dearer := places(b, func(u *Track) bool { return u.outPaid.Has(Receiver) && u.Out.Has(Receiver) }); math.Abs(x+1) > 0.1 || math.Abs(dearer-5) > 0.5 {
		t.Errorf("by who takes the receiver to be false UTC is %.3f s at %.1f nats, want -1 at 5", x, dearer)
	}
}

// By an account the receiver is late by another time than is kept of it: there any lateness fits, for no more.
func TestLatenessOfAKeptAccountIsItsOwn(t *testing.T) {
	b := secondApart(func(a *Account) { a.Leads, a.Another = false, true })
	for k := range 6 {
		l := look(timescale.Local(20+10*k)*second, 999-0.4, 0.003)
		l.Stream.LeadMost = 0
		b.Hear(l)
	}
	x, dearer := places(b, func(u *Track) bool { return u.streams() && math.Abs(u.F.V[estimate.D]-0.4) < 0.05 })
	if math.Abs(x+1) > 0.05 || dearer > 5 {
		t.Errorf("where it is 0.4 s late UTC is %.3f s at %.1f nats, want -1 at 5 or less", x, dearer)
	}
}

// A room is where the hardware clock has UTC anywhere. A stream whose lateness is known tells the place in it, and one of which
// it is not has none from there: neither lateness is learned from one end of the room.
func TestStreamInTheRoomOfAClock(t *testing.T) {
	for _, known := range []bool{true, false} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: map[bool]float64{true: 0.02, false: 0.45}[known], Most: 1.2, Known: known})
		b.Recall(&Recalled{Base: -1000e9, Sigma: 0.03, Compared: 0.03, RateSigma: 1e-7, Dated: true, Lo: -0.2, Hi: 1.4, From: SetOf(Before)})
		for k := range 6 {
			b.Hear(&Reading{Source: Clock, At: timescale.Local(10+20*k) * second, Var: 1e-6, From: SetOf(Before)})
			l := look(timescale.Local(20+20*k)*second, 1001-0.3, 0.003)
			l.Stream.LeadMost = 0
			b.Hear(l)
		}
		u := b.Best()
		if lo, hi := span(b); lo > 1001 || hi < 1001 || known && u.F.Sigma(estimate.X) > 0.05 {
			t.Errorf("lateness known: %v: UTC is %.3f to %.3f s by the guard, and was 1001", known, lo, hi)
		}
		if d := u.F.V[estimate.D]; !u.streams() || u.Assumes(ClockSet) || math.Abs(d-0.3) > 3*u.F.Sigma(estimate.D) || u.Free == known {
			t.Errorf("lateness known: %v: it is %.3f ± %.3f s, and was 0.3: %+v", known, d, u.F.Sigma(estimate.D), u.Assumptions())
		}
	}
}

// A receiver over a network leads by 17 or 18 s, for its lateness may be 10 s. What an earlier run knew of the hardware clock is
// so by either lead: when the leap-second data come, UTC is where that clock has it, and not 1 s from there.
func TestKeptClockStaysWhateverTheLead(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 1, Sigma: 3, Most: 10})
	b.Recall(&Recalled{Base: -1000e9, Sigma: 0.3, Compared: 0.3, RateSigma: 1e-7, Dated: true, From: SetOf(Receiver)})
	at := 10 * second
	clock := func() { b.Hear(&Reading{Source: Clock, At: at, Var: 1e-6, Dated: true, From: SetOf(Receiver)}) }
	clock()
	for _, lead := range []float64{18, 18, 18, 0, 0, 0} {
		at += 10 * second
		l := look(at, 1000+lead-1.35, 0.003)
		l.Stream.LateMost = 10
		b.Hear(l)
	}
	if u := b.Best(); !u.Vouched || !u.streams() {
		t.Fatal("the likeliest account does not hear both: nothing was shown")
	}
	at += 10 * second
	clock()
	if x, _ := places(b, func(*Track) bool { return true }); math.Abs(x) > 0.1 {
		t.Errorf("the hardware clock has UTC at 0 s, and the likeliest account at %.3f s", x)
	}
}
