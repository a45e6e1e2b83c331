package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// How a track hears a receiver's sentences: UTC = stream + lateness − lead, where the
// lateness is between 0 and a bound, and the lead a whole number of seconds that ends
// when the leap-second data come.

// wholeNear: leap-second data leave the fraction as it was, to so much, s.
const wholeNear = 0.06

// wholeChance is the chance that a lateness that moves does so by a whole second, to
// within wholeNear: moves of 10 ms to 1.2 s are log-uniform (assumption).
var wholeChance = 2 * wholeNear / math.Log(1.2/0.01)

// Lateness is what is known of how late a receiver's sentences are when its port opens.
type Lateness struct {
	Mean, Sigma float64 // s
	Most        float64 // s
	Known       bool    // learned, or the operator said it
	Said        bool    // the operator said it: it needs no price
}

// Opened says that a receiver's port was opened, or its configuration became known: its
// lateness is l. That a learned one is another now has its own track. What the receiver
// said before stands: nobody is right again because a cable was plugged.
func (b *Bank) Opened(l Lateness) {
	b.late = l
	b.dropFormer()
	for i, n := 0, b.n; i < n; i++ {
		t := &b.tracks[i]
		t.Met, t.Strain, t.LateMost = false, 0, l.Most
		t.F.Noise.D = lateRestless
		t.F.Forget(estimate.D, l.Mean, l.Sigma)
		if t.Free = !l.Known; l.Known && t.Assumes(LatenessNew) {
			t.open(l.Most)
		}
	}
	b.weigh()
}

// hearStream updates a track by a look at the stream, or replaces it by what explains
// the look.
func (b *Bank) hearStream(t *Track, r *Reading) {
	t.LateMost = r.Stream.LateMost
	switch {
	case !t.Located:
		b.startStream(t, r)
	case !t.Met:
		b.meetStream(t, r)
	default:
		b.followOn(t, r)
	}
}

// startStream defines UTC by a receiver alone. That its second is right and that it is
// missing are two tracks, the latter an interval.
func (b *Bank) startStream(t *Track, r *Reading) {
	t.F.Base, t.F.At = r.Z, r.At
	t.F.Start(0, estimate.Stream, r.Var)
	t.Located, t.Met, t.Dated, t.On, t.Roots = true, true, r.Dated, SetOf(Receiver), SetOf(Receiver)
	t.Lead, t.LeadMost, t.Lo, t.Hi, t.told = 0, 0, 0, 0, r.At
	was := *t
	b.forkMissing(&was, r, 1, r.Stream.LeadMost)
	if b.mayBeNew(&was) {
		was.assume(Assumed{What: LatenessNew, Of: Receiver, Since: r.At}, b.nats[LatenessNew])
		was.open(r.Stream.LateMost)
		was.F.Start(0, estimate.Stream, r.Var)
		b.add(was)
	}
}

// mayBeNew tells whether the lateness was learned, and may be another now.
func (b *Bank) mayBeNew(t *Track) bool { return !t.Free && !b.late.Said && b.allowed(LatenessNew) }

// forkMissing adds the track in which the receiver leads by first to last seconds.
func (b *Bank) forkMissing(t *Track, r *Reading, first, last int) {
	if last < first || !b.allowed(SecondMissing) || r.Stream.Missing <= 0 {
		return
	}
	c := *t
	c.assume(Assumed{What: SecondMissing, Of: Receiver, Since: r.At}, b.missing(r))
	c.F.Shift(-float64(first - c.Lead))
	c.Lead, c.LeadMost, c.Lo, c.Hi = first, last, -float64(last-first), 0
	b.add(c)
}

// missing is the price that the whole second is missing: the table's is that of a cold
// start, the source says by how much this one is likelier or not.
func (b *Bank) missing(r *Reading) float64 {
	return b.nats[SecondMissing] + math.Log(Prices[SecondMissing].P/r.Stream.Missing)
}

// meetStream lays a stream that was not heard yet against what the track knows: one
// track for each lead that fits, an interval where more than two leads do.
func (b *Bank) meetStream(t *Track, r *Reading) {
	if b.goesOn(t, r) {
		t.F.Advance(r.At)
		t.F.Attach(estimate.D, -t.F.Rel(r.At, r.Z), 1, r.Var)
		t.Met, t.Lead, t.LeadMost, t.Free = true, 0, 0, t.F.Sigma(estimate.D) >= proved
		t.rests(r)
		t.told = r.At
		return
	}
	first, last := -1, -1
	for k := 0; k <= r.Stream.LeadMost; k++ {
		if t.fitsLead(r, k) {
			if first < 0 {
				first = k
			}
			last = k
		}
	}
	switch {
	case first < 0 && b.mayBeNew(t):
		t.open(r.Stream.LateMost)
		if t.assume(Assumed{What: LatenessNew, Of: Receiver, Since: r.At}, b.nats[LatenessNew]); true {
			b.meetStream(t, r)
		}
	case first < 0:
		b.deny(t, r)
		t.Met = true
	default:
		was := *t
		if first == 0 && b.mayBeNew(&was) {
			c := was
			c.open(r.Stream.LateMost)
			c.assume(Assumed{What: LatenessNew, Of: Receiver, Since: r.At}, math.Max(b.nats[LatenessNew]+c.misfit(r)-was.misfit(r), 0))
			c.join(r, 0)
			b.add(c)
		}
		t.join(r, first)
		if first > 0 {
			t.assume(Assumed{What: SecondMissing, Of: Receiver, Since: r.At, SizeS: float64(first)}, b.missing(r))
		}
		b.joinLeads(&was, r, first+1, last)
	}
}

// joinLeads adds the tracks of the leads first to last.
func (b *Bank) joinLeads(was *Track, r *Reading, first, last int) {
	if last < first || !b.allowed(SecondMissing) {
		return
	}
	c := *was
	c.assume(Assumed{What: SecondMissing, Of: Receiver, Since: r.At, SizeS: float64(first)}, b.missing(r))
	if last == first {
		c.join(r, first)
		b.add(c)
		return
	}
	// UTC is known too loosely to tell them apart: the stream tells it, but for the lead.
	c.F.Advance(r.At)
	c.F.Start(c.F.Rel(r.At, r.Z)-float64(first), estimate.Stream, r.Var)
	c.Met, c.On, c.Roots, c.told = true, SetOf(Receiver), SetOf(Receiver), r.At
	c.Lead, c.LeadMost, c.Lo, c.Hi = first, last, -float64(last-first), 0
	b.add(c)
}

// open frees the lateness: it is anywhere in its range.
func (t *Track) open(most float64) {
	t.F.Forget(estimate.D, most/4, most*0.375)
	t.Free = true
}

// fitsLead tells whether the stream, k seconds ahead, is explained by a lateness in its
// range, or by the one that is known.
func (t *Track) fitsLead(r *Reading, k int) bool {
	rel := t.F.Rel(r.At, r.Z) - float64(k)
	if t.Free {
		d, m := t.F.V[estimate.X]-rel, 0.05+4*math.Sqrt(t.F.P[estimate.X][estimate.X]+r.Var)
		return d+t.Hi > -m && d+t.Lo < t.LateMost+m
	}
	mean, v := t.F.Expect(estimate.Stream)
	return nats(t.gap(rel-mean), v+r.Var+dragFloor*dragFloor) <= gate
}

// misfit is how unlikely a look is before it is heard, nats: −ln of the Gaussian's density
// but for a constant. A lateness that may be anything foretells little.
func (t *Track) misfit(r *Reading) float64 {
	t.F.Advance(r.At)
	nu, v := t.view(r)
	v += dragFloor * dragFloor
	return nats(nu, v) + math.Log(v)/2
}

// join lets the stream take part, k seconds ahead. Where UTC came from this very receiver
// on another way (the hardware clock that it set) the two are one witness: whichever is
// known better stands, and the other takes its uncertainty over.
func (t *Track) join(r *Reading, k int) {
	t.F.Advance(r.At)
	z := t.F.Rel(r.At, r.Z) - float64(k)
	t.Met, t.Lead, t.LeadMost = true, k, k
	switch x, d := t.F.Sigma(estimate.X), t.F.Sigma(estimate.D); {
	case t.Roots.Only(SetOf(Receiver)) && x <= d:
		t.F.Attach(estimate.D, -z, 1, r.Var)
	case t.Roots.Only(SetOf(Receiver)):
		t.F.Start(z, estimate.Stream, r.Var)
		t.Lo, t.Hi = 0, 0
	default:
		t.F.Measure(z, estimate.Stream, r.Var)
	}
	t.rests(r)
	t.told = r.At
}

// followOn takes a further look at a stream that takes part.
func (b *Bank) followOn(t *Track, r *Reading) {
	mean, pv := t.F.Expect(estimate.Stream)
	z := t.F.Rel(r.At, r.Z) - float64(t.Lead)
	nu := z - mean
	if nats(nu, pv+r.Var+dragFloor*dragFloor) <= gate {
		t.F.Measure(z, estimate.Stream, heavy(nu, pv, r.Var))
		t.rests(r)
		t.told = r.At
		t.odd[Receiver] = 0
		return
	}
	b.jumped(t, r, z, nu)
}

// jumped replaces a track whose stream jumped by nu seconds, to z, by all that explains
// it. An oscillator cannot jump.
func (b *Bank) jumped(t *Track, r *Reading, z, nu float64) {
	whole := math.Round(nu)
	isWhole := whole != 0 && math.Abs(nu-whole) < wholeNear+3*math.Sqrt(r.Var)
	if m := int(-whole); isWhole && m >= t.Lead && m >= 1 && m <= t.LeadMost {
		now := z + float64(t.Lead) // the leap-second data came: it led by m, and leads no more
		t.lead(m)
		t.Lead, t.LeadMost = 0, 0
		b.rename(t)
		t.F.Measure(now, estimate.Stream, r.Var)
		return
	}
	was, likeLeap := *t, isWhole && whole < 0 && -whole <= MaxLead && r.Stream.Awaited
	if c := was; b.allowed(ReceiverWasFalse) && was.Roots.Only(SetOf(Receiver)) {
		// It was false before, and is right now: nobody else tells UTC.
		mean, sigma := r.Stream.LateMost/4, r.Stream.LateMost*0.375
		if !c.Free {
			mean, sigma = c.F.V[estimate.D], math.Max(c.F.Sigma(estimate.D), floor)
		}
		c.F.Advance(r.At)
		c.F.Forget(estimate.D, mean, sigma)
		c.F.Start(z, estimate.Stream, r.Var)
		c.Clocked = false
		c.assume(Assumed{What: ReceiverWasFalse, Of: Receiver, Since: r.At, SizeS: nu}, b.nats[ReceiverWasFalse])
		if likeLeap {
			c.Cost += expected + b.chance(2*wholeNear, nu)
		}
		b.add(c)
	}
	if c := was; b.allowed(LatenessMoved) && c.mayMove(z, nu) {
		c.F.Attach(estimate.D, -z, 1, r.Var)
		c.assume(Assumed{What: LatenessMoved, Of: Receiver, Since: r.At, SizeS: -nu}, b.nats[LatenessMoved])
		if likeLeap {
			c.Cost += expected + secondBefore - math.Log(wholeChance)
		}
		b.add(c)
	}
	t.silence()
	t.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: r.At, SizeS: nu}, b.nats[ReceiverFalse])
	if likeLeap {
		t.assume(Assumed{What: FalseFits, Of: Receiver, Since: r.At, SizeS: nu}, b.chance(2*wholeNear, nu)+expected)
	}
	if !b.allowed(ReceiverFalse) {
		t.Cost += 2 * tooDear
	}
}

// mayMove tells whether the lateness can have moved so that the stream is at z, nu from
// where it was: both before and now it is in its range.
func (t *Track) mayMove(z, nu float64) bool {
	if t.Free {
		return math.Abs(nu) < t.LateMost
	}
	return t.late(t.F.V[estimate.X]-z, t.F.Sigma(estimate.X))
}

// Page says that a page of leap-second data must have come in, were it not missed by
// every one of so many satellites: the tracks that wait for it become dearer.
func (b *Bank) Page(satellites int) {
	for i := range b.tracks[:b.n] {
		if t := &b.tracks[i]; t.Lead > 0 && t.streams() {
			t.Cost += math.Min(b.nats[PageMissed], -math.Log(satelliteMiss)*float64(max(satellites, 1)))
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
}
