package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// How a track hears a receiver's sentences: UTC = stream + lateness − lead, where the
// lateness is between 0 and a bound, and the lead a whole number of seconds that ends
// when the leap-second data come.

// wholeChance is the chance that a lateness that moves does so by a whole second, to
// within wholeNear: moves of smallest to movesMost are log-uniform (assumption).
var wholeChance = 2 * wholeNear / math.Log(movesMost/smallest)

// Lateness is what is known of how late a receiver's sentences are when its port opens.
type Lateness struct {
	Mean, Sigma float64 // s
	Most        float64 // s
	Known       bool    // learned, or the operator said it
	Said        bool    // the operator said it: it needs no price
	Loose       bool    // learned, but not as closely as it takes to prove it
	Doubt       float64 // nats: how unlikely an earlier run left it that it is another by now; 0 = it left no doubt
}

// Opened says that a receiver's port was opened, or its configuration became known: its
// lateness is l. That a learned one is another now has its own track. What the receiver
// said before stands: nobody is right again because a cable was plugged.
func (b *Bank) Opened(l Lateness) {
	b.late, b.quiet = l, quiet{}
	b.dropFormer()
	for i, n := 0, b.n; i < n; i++ {
		t := &b.tracks[i]
		t.Met, t.Strain, t.LateMost = false, 0, l.Most
		t.unknow()
		t.F.Noise.D = lateRestless
		t.F.Forget(estimate.D, l.Mean, l.Sigma)
		if t.Free = !l.Known; l.Known && t.Assumes(LatenessNew) {
			b.open(t)
		}
	}
	b.weigh()
}

// hearStream updates a track by a look at the stream, or replaces it by what explains
// the look.
func (b *Bank) hearStream(t *Track, r *Reading) {
	if t.LateMost = r.Stream.LateMost; t.Met {
		b.followOn(t, r)
	} else {
		b.meetStream(t, r)
	}
}

// followOn takes a further look at a stream that takes part.
func (b *Bank) followOn(t *Track, r *Reading) {
	mean, pv := t.F.Expect(estimate.Stream)
	z := t.F.Rel(r.At, r.Z) - float64(t.Lead)
	nu := z - mean
	if nats(nu, pv+r.Var+dragFloor*dragFloor) <= gate {
		t.F.Measure(z, estimate.Stream, heavy(nu, pv, r.Var))
		t.rests(r)
		if t.told = r.At; t.Free || t.F.Noise.D <= lateRestless { // as in tellRate
			t.rated = r.At
		}
		t.odd[Receiver] = 0
		return
	}
	b.jumped(t, r, z, nu)
}

// jumped replaces a track whose stream jumped by nu seconds, to z, by all that explains
// it. An oscillator cannot jump; in a silence it may have gone far.
func (b *Bank) jumped(t *Track, r *Reading, z, nu float64) {
	whole := math.Round(nu)
	isWhole := whole != 0 && math.Abs(nu-whole) < wholeNear+seldom*math.Sqrt(r.Var)
	if isWhole && b.dataCame(t, r, z, int(-whole)) {
		return
	}
	if t == &b.tracks[b.hearer] {
		b.moved = nu
	}
	was, likeLeap := *t, isWhole && b.awaits(int(-whole))
	b.drifted(&was, r, nu, b.untold(&was, r), estimate.Stream)
	if c := was; b.allowed(ReceiverWasFalse) && was.Roots.Only(SetOf(Receiver)) {
		// It was false before, and is right now: nobody else tells UTC.
		mean, sigma := r.Stream.LateMost*priorMean, r.Stream.LateMost*priorSigma
		if !c.Free {
			mean, sigma = c.F.V[estimate.D], math.Max(c.F.Sigma(estimate.D), floor)
		}
		c.F.Advance(r.At)
		c.F.Forget(estimate.D, mean, sigma)
		c.F.Start(z, estimate.Stream, r.Var)
		c.Clocked, c.Lo, c.Hi = false, 0, 0
		c.assume(Assumed{What: ReceiverWasFalse, Of: Receiver, Since: r.At, SizeS: nu}, b.nats[ReceiverWasFalse])
		if likeLeap {
			c.Cost += expected + b.chance(2*wholeNear, nu)
		}
		b.add(c)
	}
	if c := was; b.allowed(LatenessMoved) && c.mayMove(z, nu) {
		c.F.Attach(estimate.D, -z, 1, r.Var)
		c.assume(Assumed{What: LatenessMoved, Of: Receiver, Since: r.At, SizeS: -nu}, b.moves(t, nu))
		if likeLeap {
			c.Cost += expected - math.Log(wholeChance)
		}
		if likeLeap && !t.relayed() || was.movesBefore(z, nu) {
			c.Cost += secondBefore
		}
		b.add(c)
	}
	back := t.wentThere(-nu)
	t.silence()
	t.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: r.At, SizeS: nu}, b.nats[ReceiverFalse])
	if back { // it is false by just as much as it was before it was right
		t.assume(Assumed{What: FalseFits, Of: Receiver, Since: r.At, SizeS: nu}, b.chance(sameStream, nu))
	}
	if likeLeap {
		t.assume(Assumed{What: FalseFits, Of: Receiver, Since: r.At, SizeS: nu}, b.chance(2*wholeNear, nu)+expected)
	}
	if !b.allowed(ReceiverFalse) {
		t.Cost += 2 * tooDear
	}
}

// dataCame tells whether a step back by m seconds, to z, is the leap-second data that the track awaits: it led by m,
// and leads no more.
func (b *Bank) dataCame(t *Track, r *Reading, z float64, m int) bool {
	if m < max(t.Lead, 1) || m > t.LeadMost {
		return false
	}
	now := z + float64(t.Lead)
	if t.LeadMost > t.Lead && t.Out.Any(Families) {
		t.Cost += math.Log(MaxLead) // who heard servers paid it when they told the number (reconciles)
	}
	t.lead(m)
	t.Lead, t.LeadMost = 0, 0
	if b.rename(t); b.reckons(t) {
		b.stepped = m
	}
	t.F.Measure(now, estimate.Stream, r.Var)
	return true
}

// wentThere tells whether the track has the receiver become right by a jump of nu.
func (t *Track) wentThere(nu float64) bool {
	for _, a := range t.Assumptions() {
		if a.What == ReceiverWasFalse && math.Abs(a.SizeS-nu) < sameStream {
			return true
		}
	}
	return false
}

// mayMove tells whether the lateness can have moved so that the stream is at z, nu from
// where it was: both before and now it is in its range.
func (t *Track) mayMove(z, nu float64) bool {
	if t.Free {
		return math.Abs(nu) < t.LateMost
	}
	return t.late(t.F.V[estimate.X]-z, t.F.Sigma(estimate.X))
}

// moves is the price, nats, of a lateness that moved by nu seconds: over a relay the line backs up and catches up as
// it pleases. By less than leapt that has the usual price: a line that crawls away is told from a receiver that does.
func (b *Bank) moves(t *Track, nu float64) float64 {
	if t.relayed() && math.Abs(nu) >= leapt {
		return math.Min(relayMoves, b.nats[LatenessMoved])
	}
	return b.nats[LatenessMoved]
}

// relayed tells whether the sentences come over a network: then they may be as late as those that describe the second
// before, and later.
func (t *Track) relayed() bool { return t.LateMost >= beforeMost }

// movesBefore tells whether a lateness that moved so is one of sentences that describe the
// second before, now or until now.
func (t *Track) movesBefore(z, nu float64) bool {
	if t.relayed() {
		return false
	}
	if t.Free {
		return math.Abs(nu) > beforeFrom
	}
	return t.F.V[estimate.X]-z > beforeFrom
}

// awaits tells whether some track waits for the leap-second data of a receiver that leads
// by k seconds, or did until this very look.
func (b *Bank) awaits(k int) bool {
	if k >= 1 && b.stepped == k {
		return true
	}
	for i := range b.tracks[:b.n] {
		if t := &b.tracks[i]; k >= 1 && t.streams() && !t.Latent && t.Lead <= k && k <= t.LeadMost {
			return true
		}
	}
	return false
}

// Page says that a page of leap-second data must have come in, were it not missed by
// every one of so many satellites: the tracks that wait for it become dearer. So do those
// that take the receiver to be false by now, where it is no whole second from where it was:
// a false signal brings the page too, or is ahead by just as much by chance.
func (b *Bank) Page(satellites int) {
	for i := range b.tracks[:b.n] {
		if t := &b.tracks[i]; t.waits() || t.stillLeads() {
			t.Cost += b.pagePrice(t.missed, satellites)
			t.missed = true
		}
	}
	b.settle()
}

// LeapSecond says that UTC itself has just had a leap second: POSIX time has no room for
// it, so UTC as counted is a second later by all accounts.
func (b *Bank) LeapSecond(now timescale.Local) {
	for i := range b.tracks[:b.n] {
		if t := &b.tracks[i]; t.Located {
			t.F.Advance(now)
			t.F.Shift(-1)
		}
	}
	b.dropFormer()
	b.quiet = quiet{}
}
