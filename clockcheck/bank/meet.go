package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// How a track takes up a stream that it has not heard since the port was opened: whether
// its lateness is the learned one, and by how many whole seconds it may lead.

// meetStream takes a stream up. Where the lateness was learned, that it is another has a
// track of its own.
func (b *Bank) meetStream(t *Track, r *Reading) {
	if b.goesOn(t, r) {
		t.F.Advance(r.At)
		t.F.Attach(estimate.D, -t.F.Rel(r.At, r.Z), 1, r.Var)
		t.Free = t.F.Sigma(estimate.D) >= proved
		t.joined(r, 0)
		return
	}
	b.heldWasFalse(t, r)
	b.movedUnseen(t, r)
	if b.mayBeNew(t) {
		c := *t
		b.open(&c)
		c.assume(Assumed{What: LatenessNew, Of: Receiver, Since: r.At}, b.another()+b.foretold(t, &c, r))
		if b.takeUp(&c, r) {
			b.add(c)
		}
	}
	if !b.takeUp(t, r) {
		b.deny(t, r)
		t.Met = true
	}
}

// heldWasFalse: UTC as the run before left it rests on this receiver alone, and what that says
// now does not go with it. As well as false since, it may have been false until then.
func (b *Bank) heldWasFalse(t *Track, r *Reading) {
	if !t.Located || !t.On.Only(SetOf(Before, Clock)) || !t.Roots.Only(SetOf(Receiver)) || t.fitsLead(r, 0) || !b.allowed(ReceiverWasFalse) {
		return
	}
	c := *t
	nu := c.amiss(r)
	c.define(r, 0, 0)
	c.Clocked = false
	c.assume(Assumed{What: ReceiverWasFalse, Of: Receiver, Since: r.At, SizeS: nu}, b.nats[ReceiverWasFalse])
	b.add(c)
}

// mayBeNew tells whether the lateness was learned, and may be another now.
func (b *Bank) mayBeNew(t *Track) bool { return !t.Free && !b.late.Said && b.allowed(LatenessNew) }

// another is the price, nats, of a lateness that is not the learned one: by this start, or
// by what an earlier run left open.
func (b *Bank) another() float64 {
	price := b.nats[LatenessNew]
	if b.late.Doubt > 0 {
		price = -math.Log(math.Min(math.Exp(-price)+math.Exp(-b.late.Doubt), likeliest))
	}
	return price
}

// open frees a learned lateness: it may be that of another receiver of the same kind. One in place of
// a unit that describes the second before is a usual one, nineteen times in twenty (secondBefore):
// its lateness is any. So is one in place of a unit that describes the second to come: no other's is below 0.
// The other way round that has LatenessNew · 0.05 = 5e-5, what the guard leaves out.
func (b *Bank) open(t *Track) {
	mean, sigma := b.late.Mean, otherUnit
	if (mean < 0 || mean > beforeFrom) && !t.relayed() {
		mean, sigma = t.LateMost*priorMean, t.LateMost*priorSigma
	}
	t.F.Forget(estimate.D, mean, sigma)
	t.Free = true
}

// foretold is by how many nats the track t, which knows the lateness, foretold a look
// better than c, to which it may be anything; at least 0. Where UTC is not known, neither
// foretold anything.
func (b *Bank) foretold(t, c *Track, r *Reading) float64 {
	if !t.Located {
		return 0
	}
	return math.Max(c.surprise(r)-t.surprise(r), 0)
}

// surprise is −ln of the density that a look has before it is heard, but for a constant;
// whole seconds that the receiver may lead by surprise nobody.
func (t *Track) surprise(r *Reading) float64 {
	t.F.Advance(r.At)
	nu, v := t.view(r)
	nu -= math.Min(math.Max(math.Round(nu), 0), float64(r.Stream.LeadMost))
	v += dragFloor * dragFloor
	return nats(t.gap(nu), v) + math.Log(v)/2
}

// takeUp lets the stream take part, with each lead that fits: the least in the track
// itself, the others in one that is born. It reports whether any fits.
func (b *Bank) takeUp(t *Track, r *Reading) bool {
	if !t.Located {
		was := *t
		t.define(r, 0, 0)
		b.missingFrom(&was, r, 1, r.Stream.LeadMost)
		return true
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
	if first < 0 || first > 0 && !b.allowed(SecondMissing) {
		return false
	}
	was, more := *t, 0.0
	t.join(r, first)
	if first > 0 {
		more = b.reconciles(&was)
		t.assume(Assumed{What: SecondMissing, Of: Receiver, Since: r.At, SizeS: float64(first)}, b.missing(&was, r)+more)
	}
	was.Cost += more
	b.missingFrom(&was, r, first+1, last)
	return true
}

// missingFrom has the track be born in which the receiver leads by first to last seconds.
// Where these are more than one, UTC is known too loosely to tell them apart: the stream
// tells it, but for the lead.
func (b *Bank) missingFrom(was *Track, r *Reading, first, last int) {
	if last < first || !b.allowed(SecondMissing) || r.Stream.Missing <= 0 {
		return
	}
	c := *was
	c.assume(Assumed{What: SecondMissing, Of: Receiver, Since: r.At, SizeS: float64(first)}, b.missing(was, r))
	if c.Located && first == last {
		c.join(r, first)
	} else {
		c.define(r, first, last)
	}
	b.add(c)
}

// missing is the price that the whole second is missing: the table's is that of a cold
// start, the source says by how much this one is likelier or not. Who led by nothing when
// the run before ended, in the same boot, leads only if it was started again since. Who led by the account has paid:
// a firmware without the data has none at its next start either.
func (b *Bank) missing(t *Track, r *Reading) float64 {
	if t.leadPaid {
		return 0
	}
	price := b.nats[SecondMissing] + math.Log(Prices[SecondMissing].P/r.Stream.Missing)
	if t.Located && t.Roots != 0 && t.Roots.Only(SetOf(Ear, Borrowed)) {
		// A mark is wrong by whole seconds as a rule (fault budget, entry slips). Then the receiver
		// leads by just as many by chance: any number is as likely.
		price += math.Log(MaxLead)
	}
	if t.toldBefore() {
		price += restarted
	}
	if t.Lead > 0 { // it led when the port was closed: whether a unit does is its firmware
		price = -math.Log(likeliest)
	}
	return price
}

// reconciles is what a lead costs besides, nats, where a receiver and the lone word of servers contradict each other
// without it. If that word is slow, by whatever, some lead fits it, for any lateness will do: any number of
// seconds is as likely.
func (b *Bank) reconciles(t *Track) float64 {
	if t.Roots.Any(Families) && t.Roots.Only(Families|SetOf(Before)) {
		return math.Log(MaxLead)
	}
	return 0
}

// define has UTC told by the stream alone, which leads by first to last seconds.
func (t *Track) define(r *Reading, first, last int) {
	if !t.Located {
		t.F.Base, t.F.At = r.Z, r.At
	} else if !t.Vouched || t.Lo < 0 || t.Hi > 0 { // the hardware clock was compared with what counts no more, or stands in a room
		t.Clocked, t.Vouched = false, false
	}
	t.F.Advance(r.At)
	t.F.Start(t.F.Rel(r.At, r.Z)-float64(first), estimate.Stream, r.Var)
	t.unknow()
	t.Located, t.On, t.Roots = true, 0, 0
	t.joined(r, first)
	t.LeadMost, t.Lo, t.Hi = last, -float64(last-first), 0
}

// fitsLead tells whether the stream, k seconds ahead, is explained by a lateness in its
// range, or by the one that is known.
func (t *Track) fitsLead(r *Reading, k int) bool {
	rel := t.F.Rel(r.At, r.Z) - float64(k)
	if t.Free {
		d, m := t.F.V[estimate.X]-rel, edge+wide*math.Sqrt(t.F.P[estimate.X][estimate.X]+r.Var)
		return d+t.Hi > -m && d+t.Lo < t.LateMost+m
	}
	mean, v := t.F.Expect(estimate.Stream)
	return nats(t.gap(rel-mean), v+r.Var+dragFloor*dragFloor) <= gate
}

// amiss is how far the stream is from what any lateness in its range, or the known one, has
// it say, s.
func (t *Track) amiss(r *Reading) float64 {
	rel := t.F.Rel(r.At, r.Z)
	if !t.Free {
		mean, _ := t.F.Expect(estimate.Stream)
		return rel - mean
	}
	if d := rel - t.F.V[estimate.X]; d > t.Hi {
		return d - t.Hi
	} else if d < t.Lo-t.LateMost {
		return d - t.Lo + t.LateMost
	}
	return 0
}

// join lets the stream take part, k seconds ahead. Where UTC came from this very receiver
// on another way (the hardware clock that it set) the two are one witness: whichever is
// known better stands, and the other takes its uncertainty over. A hardware clock that has UTC anywhere in a room
// is wherever in it the stream is.
func (t *Track) join(r *Reading, k int) {
	t.F.Advance(r.At)
	z := t.F.Rel(r.At, r.Z) - float64(k)
	room := t.On.Only(SetOf(Clock)) && (t.Lo < 0 || t.Hi > 0)
	if !room && t.keptTogether() {
		t.F.Tie(estimate.D)
	}
	switch x, d := t.F.Sigma(estimate.X), t.F.Sigma(estimate.D); {
	case room:
		t.F.Start(z, estimate.Stream, r.Var)
		t.Lo, t.Hi, t.Clocked, t.Vouched = 0, 0, false, false
	case t.Roots.Only(SetOf(Receiver)) && x <= d && t.Lo == 0 && t.Hi == 0:
		t.F.Attach(estimate.D, -z, 1, r.Var)
	case t.Roots.Only(SetOf(Receiver)):
		t.F.Start(z, estimate.Stream, r.Var)
		t.Lo, t.Hi = 0, 0
	default:
		t.F.Measure(z, estimate.Stream, r.Var)
	}
	t.joined(r, k)
}

// keptTogether tells whether all that the track knows of UTC was kept by an earlier run that heard the receiver, whoever
// else told it. That run took UTC to be the stream and its lateness, so what is kept of the two is one word: at
// each start it would count once more. Another unit is late by its own.
func (t *Track) keptTogether() bool {
	return t.On.Only(SetOf(Before, Clock)) && t.Roots.Has(Receiver) && !t.Assumes(LatenessNew)
}

// joined says that the stream takes part, k seconds ahead.
func (t *Track) joined(r *Reading, k int) {
	t.missed = t.missed && t.Lead > 0 && k > 0 // what made it miss its page lasts over a cable, too
	t.Met, t.Lead, t.LeadMost, t.told, t.rated = true, k, k, r.At, r.At
	t.rests(r)
}
