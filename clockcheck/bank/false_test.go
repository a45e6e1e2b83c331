package bank

import (
	"math"
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// A hardware clock that is known to ±2 s agrees with a lone receiver for an hour; a false
// signal leads that away by two seconds for a while, and goes. Whoever takes the receiver to
// have been false from the start explains nothing that the best explanation does not: it is
// believed by nobody, as before.
func TestAllAlongFalseIsLatentAgain(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	b.Recall(&Recalled{Sigma: 0.65, RateSigma: 1e-6, Dated: true})
	k := timescale.Local(1)
	hear := func(looks int, z float64) float64 {
		for range looks {
			if k%60 == 1 {
				b.Hear(&Reading{Source: Clock, At: k * 10 * second, Z: 1000e9, Var: 1e-6, Dated: true, From: SetOf(Receiver)})
			}
			if b.Hear(look(k*10*second+second, z-0.15, 0.004)); k%78 == 0 {
				b.Page(9)
			}
			k++
		}
		lo, hi := b.Guard(0)
		return math.Max(-lo, hi)
	}
	before := hear(400, 1000)
	if during := hear(40, 1002); during < before+0.5 {
		t.Errorf("two seconds away the guard is %.2f s, and was %.2f s: want it to reckon with both", during, before)
	}
	if after := hear(40, 1000); after > before+0.02 {
		t.Errorf("after the false signal the guard is %.2f s, before it was %.2f s", after, before)
	}
}

// A server and a borrowed clock contradict a receiver by 100 s; it steps by two whole seconds. That somebody
// awaited just that, to whom both are false, speaks against nobody who is believed.
func TestStepOfAFalseReceiver(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	for k := timescale.Local(1); k < 30; k++ {
		z := 1100.0
		if k >= 20 {
			z -= 2
		}
		b.Hear(look(k*10*second, z, 0.004))
		if k == 5 {
			b.Hear(server(Server, k*10*second+second, 1000, 0.01))
			b.Hear(server(Borrowed, k*10*second+second, 1000, 0.01))
		}
		if lo, hi := b.Guard(0); k > 5 && math.Max(-lo, hi) > 0.3 {
			t.Fatalf("after %d looks the guard is %.2f to %.2f s", k, lo, hi)
		}
	}
}

// Another receiver is 0.53 s later than the one whose lateness was learned, and a crowd says so; or
// the crowd is false. Once it errs by more than its scatter. To either account that is one thing
// more, and neither explains it for nothing: both stay.
func TestHearingThatErrsSpeaksAgainstNeither(t *testing.T) {
	for _, errs := range []float64{-0.13, 0.13} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.02, Most: 1.2, Known: true})
		crowd := func(at timescale.Local, off, sigma float64) {
			b.Hear(&Reading{Source: Crowd, At: at, Z: int64((1000 + off) * 1e9), Common: AirShared, Var: sigma * sigma, Modulo: 15})
		}
		wide := func() float64 { lo, hi := b.Guard(0); return math.Max(-lo, hi) }
		for k := timescale.Local(1); k < 400; k++ {
			b.Hear(look(k*10*second, 1000-0.83, 0.001))
			switch k {
			case 3:
				crowd(k*10*second+second, 0, 0.16) // loosely: it agrees with the learned lateness
			case 180:
				crowd(k*10*second+second, 0, 0.02)
			}
			if k == 78 || k == 156 || k == 234 {
				b.Page(9)
			}
			if k == 300 {
				before := wide()
				if before < 0.6 {
					t.Fatalf("before, the guard is %.3f s: this proves nothing", before)
				}
				crowd(k*10*second+second, errs, 0.018)
				if after := wide(); after < 0.58 {
					t.Errorf("after a hearing that errs by %.3f s the guard is %.3f s, before %.3f s: one account is gone", errs, after, before)
				}
			}
		}
	}
}

// Where a receiver's lateness was never learned, any in its range fits a track that knows UTC and takes it to be
// false. One that is led on by 74 ppm fits for hours so, and does not come back; one that stays where it is does.
func TestOnlyASteadyStreamComesBack(t *testing.T) {
	for _, ppm := range []float64{0, 74} {
		b := newBank()
		b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
		b.Hear(server(Server, second, 1000, 0.02))
		o := &b.tracks[0]
		o.silence()
		o.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: second}, b.nats[ReceiverFalse])
		back := timescale.Local(0)
		for k := timescale.Local(1); k < 400 && back == 0; k++ {
			if k%20 == 0 { // the server goes on telling UTC
				b.Hear(server(Server, k*10*second+second, 1000, 0.02))
			}
			if b.Hear(look(k*10*second, 999.6-ppm*1e-5*float64(k), 0.004)); b.tracks[0].hears(Receiver) {
				back = k
			}
		}
		if (ppm == 0) != (back == againSteady) {
			t.Errorf("led by %v ppm it is back after %d looks of 10 s, want after %d where it is steady, else never", ppm, back, againSteady)
		}
	}
}

// A server was found to be off by 4.4 s. In an account that leaves six seconds open its word fits, and would
// narrow them to the lie: it stays false there. Where UTC is known it comes back once it is right.
func TestWhatIsFalseFitsALooseAccount(t *testing.T) {
	for _, row := range []struct {
		open, off, says float64
		back            bool
	}{
		{6, 4.4, 997, false},
		{6, unsaid, 997, false}, // found false by the run before
		{6, 0, 997, true},       // never found false
		{3, 8, 997.5, true},     // less is open than it was off
		{0, 4.4, 1000, true},
		{0, 4.4, 997, false},
	} {
		b := newBank()
		b.Hear(server(Server, second, 1000, 0.02))
		o := &b.tracks[0]
		o.Out |= SetOf(Server + 1)
		o.Lo, o.off[Server+1] = -row.open, float32(row.off)
		b.last[Server+1].said = true // no first word
		for k := timescale.Local(2); k < 7; k++ {
			b.Hear(server(Server+1, k*second, row.says, 0.02))
		}
		if got := b.tracks[0].hears(Server + 1); got != row.back {
			t.Errorf("%v s open, off by %v s, says %v: heard again %v, want %v", row.open, row.off, row.says, got, row.back)
		}
	}
}

// A learned lateness says one time, and two bands, each by its own stations, another: each is 3 σ off and within the
// gate. That the receiver is another one foretold both, and is as likely then: 1e-3 a start against 4.5e-3 twice.
func TestHearingsWithinTheGateTellBetweenTracks(t *testing.T) {
	hear := func(off, repeat float64) *Bank {
		b := New(Config{RateSigma: 3e-6, ClockSigma: 1.3e-6, ClockWander: 3e-19})
		b.Opened(Lateness{Mean: 0.25, Sigma: 0.055, Most: 1.2, Known: true, Loose: true})
		for k := timescale.Local(1); k < 4; k++ {
			r := look(k*10*second, 1000, 0.001)
			r.Stream.LeadMost = 0
			b.Hear(r)
		}
		for k := timescale.Local(4); k < 6; k++ {
			b.Hear(&Reading{Source: Crowd, At: k * 10 * second, Z: int64((1000.25 + off) * 1e9), Var: 0.09 * 0.09, Common: 0.0368, Repeat: repeat, Modulo: 15})
		}
		return b
	}
	another := func(b *Bank) (w float64) {
		for i := range b.Tracks() {
			if b.Tracks()[i].Assumes(LatenessNew) {
				w += b.Weight(i)
			}
		}
		return w
	}
	if w := another(hear(0, 1)); w > 2e-3 {
		t.Errorf("bands that agree: that it is another receiver is %.4f likely", w)
	}
	if w := another(hear(0.36, 1)); w < 0.02 {
		t.Errorf("two bands that do not: that it is another receiver is %.4f likely", w)
	}
	if w := another(hear(0.36, 100)); w > 2e-3 {
		t.Errorf("the same stations twice: that it is another receiver is %.4f likely", w)
	}
}

// However many bands contradict it, a track pays for that at most what the air costs that is false, and nothing
// once it says so.
func TestHearingsCostAtMostThatTheAirIsFalse(t *testing.T) {
	b := New(Config{RateSigma: 3e-6, ClockSigma: 1.3e-6, ClockWander: 3e-19})
	tr := Track{Located: true, aired: b.nats[AirFalse] - 0.5}
	tr.Cost = tr.aired
	tr.F.Start(0, estimate.Time, 1e-8)
	far := tr
	far.F.V[estimate.X] = 0.11
	b.tracks[0], b.tracks[1], b.n = tr, far, 2
	r := &Reading{Source: Crowd, Z: 0.11e9, Var: 0.03 * 0.03, Common: 0.001, Repeat: 1, Modulo: 15}
	b.weighHearing(r)
	if c := b.tracks[0].Cost; c > b.nats[AirFalse]+rounding || c < b.nats[AirFalse]-rounding {
		t.Fatalf("it pays %.2f nats, that the air is false costs %.2f", c, b.nats[AirFalse])
	}
	b.exclude(&b.tracks[0], r, false)
	if c := b.tracks[0].Cost; math.Abs(c-b.nats[AirFalse]) > rounding {
		t.Fatalf("it takes the air to be false and pays %.2f nats", c)
	}
}

// A run ended in doubt, and by its likelier account the receiver was false, 5 s from where it is. Five times old signals
// are replayed to it, 900 s behind, and each time it is back where who hears it expected it. To whom it was false
// before, another false signal came and went each time: neither account is left behind, whichever is the best.
func TestReturnSpeaksWhoeverIsBest(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.15, Sigma: 0.02, Most: 1.2, Known: true})
	right := Account{Sigma: 0.012, RateSigma: 0.5e-6, Lateness: 0.15, Stream: true, From: SetOf(Receiver), Told: 1, Rated: 1, Nats: 4}
	lie := right
	lie.False, lie.Off, lie.Nats = true, 5, 0
	b.Resume(&Held{At: 1, Z: 1000e9, Dated: true, Doubts: []Doubted{{SetOf(Receiver), 0.05}}, Accounts: [MaxAccounts]Account{lie, right}, Same: 0.1})
	for k := timescale.Local(1); k < 1000; k++ {
		z := 1000 - 0.15
		if k%180 > 120 {
			z -= 900
		}
		r := look(k*10*second, z, 0.004)
		r.Stream.LeadMost = 0
		b.Hear(r)
		if k == 100 && !b.Best().Out.Has(Receiver) {
			t.Fatal("the best explanation hears the receiver: this proves nothing")
		}
		if lo, hi := span(b); lo > 1000 {
			t.Fatalf("after %d looks the guard is %.2f to %.2f s, UTC by who hears the receiver 1000 s", k, lo, hi)
		}
	}
}

// A mark lays a receiver's open lateness at 1 s; it may be a second wrong. An hour later the receiver is led away. By the
// likeliest account the mark is right and the receiver was false all along; who believed the receiver until then, and
// not the mark, has UTC from elsewhere, and keeps its place in the guard.
func TestWhoBelievedForLongerIsAnotherAccount(t *testing.T) {
	b := newBank()
	b.Opened(Lateness{Mean: 0.3, Sigma: 0.45, Most: 1.2})
	for k := timescale.Local(1); k < 800; k++ {
		at := k * 10 * second
		r := look(at, 1000-0.03+0.0116*math.Max(float64(k-700), 0), 0.002)
		r.Stream.LeadMost = 0
		if b.Hear(r); k == 300 {
			b.Hear(server(Borrowed, at+second, 1001, 0.1))
		}
		if lo, hi := span(b); k > 300 && (lo > 1000 || hi < 1001) {
			t.Fatalf("after %d looks the guard is %.2f to %.2f s: want it to reckon with the mark and with the receiver as it was", k, lo, hi)
		}
	}
}

// Servers of one wrong clock are heard while a signal is false, and the receiver known to be so. When that signal has
// gone the receiver is right, and the servers are as likely false: it alone would show that, hours later too.
func TestWhoLeapsMayBeRightAgain(t *testing.T) {
	b := newBank()
	at := timescale.Local(0)
	for range 5 {
		at += 10 * second
		b.Hear(server(Server, at, 1000, 0.02))
	}
	o := &b.tracks[b.best]
	o.Out |= SetOf(Receiver)
	for range 5 {
		at += 10 * second
		b.Hear(look(at, 1006.6, 0.001))
	}
	if lo, hi := span(b); hi-lo > 1 {
		t.Fatalf("before the leap: from %.3f to %.3f s", lo, hi)
	}
	for range 60 {
		at += 10 * second
		b.Hear(look(at, 1003.6, 0.001))
	}
	if lo, hi := span(b); lo > 1000 || hi < 1003.6 {
		t.Errorf("after it: from %.3f to %.3f s, want from 1000 to the receiver's", lo, hi)
	}
}
