package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// What a source that is false does besides is evidence too. Were it free, who takes a
// receiver to be false for one reason would explain all that it does later for nothing,
// and outlive those who have to pay for each.

// deaf is which tracks take a source to be false, by their places.
func (b *Bank) deaf(s Source) (places uint32) {
	for i := range b.tracks[:b.n] {
		if b.tracks[i].Out.Has(s) {
			places |= 1 << i
		}
	}
	return places
}

// likeliestHearer is the place of the cheapest track that hears the receiver; where none does,
// of the best.
func (b *Bank) likeliestHearer() (place int) {
	place = b.best
	for i := range b.tracks[:b.n] {
		t, u := &b.tracks[i], &b.tracks[place]
		if t.streams() && !t.Latent && (!u.streams() || u.Latent || t.total() < u.total()) {
			place = i
		}
	}
	return place
}

// movesToo: the receiver moved, and the likeliest of those who hear it had to pay, whether or not
// the best is among them. A move that a lateness makes tells nothing of whether the time is right, for that of a false
// receiver moves as well: who took it to be false before pays as much, unless the stream goes on that way. For any other
// it pays that what is false moves besides: once for each way it goes, for what is led on goes on, and not where that
// makes it right again.
func (b *Bank) movesToo(deaf uint32, r *Reading) {
	way, small, price := int8(math.Copysign(1, b.moved)), math.Abs(b.moved) < leapt, b.nats[FalseMoves]
	b.moved = 0
	if goesOn := b.led.note(way, r.At); small {
		if price = b.nats[LatenessMoved]; goesOn {
			return
		}
	}
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if deaf>>i&1 == 0 || !t.Out.Has(Receiver) || !small && t.way == way || !t.falseStill(r) {
			continue
		}
		t.Cost += price
		t.paid[1], t.paid[0] = t.paid[0], paid{r.At, price}
		if !small {
			t.way = way
		}
	}
}

// paid is what a track paid when, nats.
type paid struct {
	at   timescale.Local
	nats float64
}

// led is which way the receiver last moved, and when.
type led struct {
	way int8
	at  timescale.Local
}

// note takes down that it moved that way, and tells whether it goes on so: what stands still for sameEvent has ended.
func (l *led) note(way int8, now timescale.Local) (goesOn bool) {
	goesOn = l.way == way && now.Sub(l.at) <= sameEvent
	l.way, l.at = way, now
	return goesOn
}

// falseStill tells whether a reading of a source that the track takes to be false does not make it right.
func (t *Track) falseStill(r *Reading) bool {
	z, v, _, ok := t.fitsAgain(r)
	return !ok || nats(z, v) > easyStrain
}

// likeliestBeliever is the place of the cheapest track that hears a source which tells UTC itself and
// that lives; −1 = there is none.
func (b *Bank) likeliestBeliever(s Source) (place int) {
	place = -1
	for i := range b.tracks[:b.n] {
		if t := &b.tracks[i]; t.Located && !t.Latent && t.hears(s) && (place < 0 || t.total() < b.tracks[place].total()) {
			place = i
		}
	}
	return place
}

// contradictedToo: a source that tells UTC itself contradicts the likeliest of those who believed it, who
// pays that it is false. Who took it to be false before pays that it moves besides, unless that
// makes it right: a source that is false is as steady as one that is right, until it is seen to move.
func (b *Bank) contradictedToo(deaf uint32, r *Reading) {
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if deaf>>i&1 == 1 && t.Out.Has(r.Source) && t.falseStill(r) {
			t.Cost += b.nats[FalseMoves]
		}
	}
}

// ledBy tells whether, by the track, the receiver led by m whole seconds when it became false,
// and no page has passed without bringing the data.
func (t *Track) ledBy(m int) bool {
	return (t.stillLeads() || t.Met && !t.missed) && 0 < t.Lead && t.Lead <= m && m <= t.LeadMost
}

// stepToo: leap-second data came, as a track foretold that hears the receiver and that the guard
// reckons with: it stepped back by m whole seconds, at the time of a page. To whom the receiver
// was false before, and led by no such number besides, its error moved by just that, and just
// then, by chance. Where no track reckoned with both, that it led and was false may be cheaper:
// any lead is as likely then.
func (b *Bank) stepToo(deaf uint32, m int, r *Reading) {
	b.stepped = 0
	chance := b.chance(2*wholeNear, float64(m)) + expected
	for i := range b.tracks[:b.n] {
		t, a, price := &b.tracks[i], FalseFits, chance
		if deaf>>i&1 == 0 || !t.Out.Has(Receiver) || t.ledBy(m) {
			continue
		}
		if led := b.missing(t, r) + math.Log(MaxLead); led < chance && (!t.Met || t.Hi-t.Lo >= anywhere) {
			a, price = SecondMissing, led
		}
		t.assume(Assumed{What: a, Of: Receiver, Since: r.At, SizeS: float64(m)}, price)
	}
}

// backAgain: after a leap the receiver is back where a track, which hears it again, expected it all the
// time, to the σ s, whether or not that track is the best. To whom it was false before the leap too, a second false
// signal was there meanwhile, and the first went on below it: once for each leap it pays for that what the track paid
// for the one, its moves there and back included. It is assumed, so that settle finds who assumes all that the best does
// and has gained nothing by the rest.
func (b *Bank) backAgain(back *Track, sigma float64) {
	left := back.parted()
	if sigma >= sameStream { // so loosely expected, it is back by chance
		return
	}
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if t == back || !t.Out.Has(Receiver) || t.parted() >= left || t.covered == left {
			continue
		}
		owes := b.nats[ReceiverFalse]
		for _, p := range t.paid {
			if p.at >= left {
				owes -= p.nats
			}
		}
		t.covered = left
		t.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: left}, math.Max(owes, 0))
	}
}

// weighHearing: a crowd is a loose witness, so that what contradicts a track by 3.7 σ is within its gate yet and would
// speak against nobody. But where another track foretold it, it tells between the two: what a track
// foretold worse, beyond what is easy, it pays. The same stations again are as wrong as they were: a hearing
// that counts once in Repeat costs so much less. Together that is never dearer than that the air is false.
func (b *Bank) weighHearing(r *Reading) {
	if r.Source != Crowd {
		return
	}
	var misfit [MaxTracks]float64
	least := math.Inf(1)
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if !t.Located || !t.hears(Crowd) || t.LeadMost > t.Lead {
			continue
		}
		t.F.Advance(r.At)
		z, ok := t.place(r)
		if !ok {
			continue
		}
		if misfit[i] = nats(t.gap(z-t.F.V[estimate.X]), t.seen(r)); !t.Latent {
			least = math.Min(least, misfit[i])
		}
	}
	for i := range b.tracks[:b.n] {
		if over := misfit[i] - math.Max(least, easyStrain); over > 0 && misfit[i] <= gate {
			t := &b.tracks[i]
			pays := math.Min(over/math.Max(r.Repeat, 1), b.nats[AirFalse]-t.aired)
			t.Cost, t.aired = t.Cost+pays, t.aired+pays
		}
	}
}
