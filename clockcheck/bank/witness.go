package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// Witnesses of UTC: what is kept when one speaks for the first time, and what it settles when it agrees.

// meetWitness keeps, before a source of UTC is heard for the first time, how the best
// track stands without it. Latent: nobody has spoken against the source.
func (b *Bank) meetWitness(r *Reading) {
	if b.last[r.Source].said || r.Source == Receiver && b.tracks[b.best].Met || !b.allowed(falseOf(r.Source)) {
		return
	}
	b.meetPaid(r)
	t := b.tracks[b.best]
	if !t.hears(r.Source) {
		return
	}
	if r.Source == Clock && !t.Vouched { // nobody compared it in an earlier run: it tells nothing of UTC
		return
	}
	t.Out |= SetOf(r.Source)
	price := b.nats[falseOf(r.Source)]
	// A doubt of the run before is as likely as it was then. One that a latent track would
	// outlive (settle) leaves the others latent.
	t.Latent = natsOf(b.doubts, 0) > b.nats[ServerFalse]/2
	if doubt, ok := b.doubtedBefore(&b.tracks[b.best], r.Source); ok {
		t.Latent, price = false, math.Min(price, doubt)
		t.off[r.Source] = unsaid
	}
	if t.Latent {
		t.Lurked = SetOf(r.Source)
	}
	t.assume(Assumed{What: falseOf(r.Source), Of: r.Source, Since: r.At}, price)
	b.add(t)
	b.aloneWith(r)
	b.deliver()
}

// meetPaid: who goes on from an account that took a source to be false, and paid for it, may find that it fits what is open. Then
// both are kept: that it is right by now, and that it is not.
func (b *Bank) meetPaid(r *Reading) {
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if !t.outPaid.Has(kind(r.Source)) || !t.hears(r.Source) {
			continue
		}
		c := *t
		if c.Out |= SetOf(r.Source); r.Source == Receiver {
			c.silence()
		}
		c.off[r.Source] = unsaid
		c.assume(Assumed{What: falseOf(r.Source), Of: r.Source, Since: r.At}, 0)
		b.add(c)
	}
	b.deliver()
}

// kind is the source that stands for all of a kind in what is kept: servers of an earlier
// run are one.
func kind(s Source) Source { return min(s, Server) }

// borneOut: a witness of UTC that knows it as closely as a lateness must be known has just agreed with a
// receiver whose lateness is known. So the receiver was right until now, and the track that takes it to be
// false does so from now on only. A looser one agrees with a receiver that is led away, too.
func (b *Bank) borneOut(r *Reading) {
	best := b.Best()
	if r.Source == Clock || r.sigma() > proved || r.roots().Only(SetOf(Receiver)) || !best.streams() || best.Free || !best.On.Has(r.Source) {
		return
	}
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if !t.Latent || t.nAssumed != best.nAssumed+1 || t.assumed[t.nAssumed-1].What != ReceiverFalse || t.Out&^SetOf(Receiver, Pulse) != best.Out {
			continue
		}
		cost, a := t.Cost, t.assumed[t.nAssumed-1]
		*t = *best
		t.silence()
		t.Latent, t.Cost, a.Since = true, cost, r.At
		t.assume(a, 0)
		t.F.Noise = b.restless()
	}
}

// aloneWith keeps a track that hears the new source and takes all others to be false. A receiver whose lateness only
// servers among these told is met anew: its lateness is open again, and may fit the new source as well.
func (b *Bank) aloneWith(r *Reading) {
	t := b.tracks[b.best]
	if !t.Located || t.On == 0 || t.Roots.Any(r.roots()) || r.Modulo != 0 {
		return
	}
	alone, left := Families.Has(r.Source) && t.Roots.Only(Families), t.On
	if Families.Has(r.Source) && t.streams() && !b.late.Known && t.On.Any(Families) {
		left &^= SetOf(Receiver)
		t.F.Forget(estimate.D, b.late.Mean, b.late.Sigma)
		t.Free = true
		t.unknow()
	}
	if servers, paid, ok := b.disbelieve(&t, left, r, alone); !ok {
		return
	} else if servers > 1 {
		t.born = paid
	}
	t.Latent = true
	b.add(t)
}

// disbelieve has a track take all in left, whom it hears, to be false from a reading on, and hear nobody: that is to be met
// anew. It pays for each, but servers say the same, for the track hears all of them, and the further ones may have that
// from one clock: paid is their price so. Where servers are alone the most are believed, and it pays for each in full until
// others tell UTC too (heads). ok is false, and the track is not to be used, where it may not take one of them to be false.
func (b *Bank) disbelieve(t *Track, left Set, r *Reading, alone bool) (servers int, paid float64, ok bool) {
	for s := Source(0); int(s) < NumSources; s++ {
		if !left.Has(s) {
			continue
		} else if !b.allowed(falseOf(s)) {
			return 0, 0, false
		}
		price := b.nats[falseOf(s)]
		switch {
		case Families.Has(s):
			one := price
			if servers++; servers > 1 {
				one = math.Min(price, oneUpstream)
			}
			if paid += one; alone {
				t.heads += price - one
			} else {
				price = one
			}
		case s == Clock && b.clockSaysTheirs(t.On), s == Before && left.Has(Receiver) && t.Roots.Only(SetOf(Receiver)):
			price = 0 // it is one word with theirs, which pay: what an earlier run knew by the receiver alone is the receiver's
		}
		t.assume(Assumed{What: falseOf(s), Of: s, Since: r.At}, price)
	}
	t.Out |= left
	t.On, t.Roots, t.Located, t.Lo, t.Hi = 0, 0, false, 0, 0
	t.Lead, t.LeadMost, t.Met = 0, 0, false
	return servers, paid, true
}
