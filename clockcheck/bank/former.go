package bank

import (
	"math"
	"time"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// A false signal can lead a receiver away slowly, each look within the gate of the one
// before. What it cannot lead away is the oscillator: so the best track is kept as it
// was at five ages, and runs on from there without the receiver. How far the stream is
// from where each of them expects it, in nats, is the strain on whoever hears it.

// ages at which former states are renewed: each 2 to 8 times the one before (assumption; a drag-off is seen
// against the one that it has left furthest).
var ages = [...]time.Duration{15 * time.Second, 2 * time.Minute, 10 * time.Minute, time.Hour, 2 * time.Hour}

const (
	// strainRun looks in a row beyond the gate are no scatter: where the tails are so long that 1 look in
	// 20 is, (1/20)³ are.
	strainRun = 3
	// softLeast: a ramp is no steeper than seen over this (assumption; a leap seen over less is no ramp).
	softLeast = 30 * time.Minute
)

// former holds the copies, the youngest first.
type former struct {
	of     uint32 // the track of which they are
	track  [len(ages)]Track
	taken  [len(ages)]timescale.Local // when it stopped hearing the receiver; 0 = there is none
	weight [len(ages)]float64         // of each
	owes   [len(ages)]float64         // nats: what each had to assume since, besides that the receiver is false
	away   int
	rates  rates
}

// hear lets the copies hear everybody but the receiver.
func (f *former) hear(b *Bank, r *Reading) {
	for i := range f.track {
		if f.taken[i] == 0 {
			continue
		}
		t := &f.track[i]
		t.F.Advance(r.At)
		switch {
		case !t.hears(r.Source):
		case r.Source == Clock:
			f.owes[i] += b.clockOfCopy(t, r)
		default:
			if z, ok := t.place(r); ok && nats(t.gap(z-t.F.V[estimate.X]), t.seen(r)) <= gate {
				b.take(t, r, z)
			} else {
				f.taken[i] = 0 // a witness speaks against it
			}
		}
	}
}

// clockOfCopy lets a copy hear the hardware clock while it fits. To part with it costs as much as
// to say that it was set.
func (b *Bank) clockOfCopy(t *Track, r *Reading) float64 {
	if !t.Clocked {
		return 0
	}
	z := t.clockSays(r)
	mean, v := t.F.Expect(estimate.Clock)
	if nats(z-mean, v+r.Var+clockFloor*clockFloor) <= gate {
		t.odd[Clock] = 0
		t.F.Measure(z, estimate.Clock, r.Var)
		return 0
	}
	if t.odd[Clock]++; t.odd[Clock] < clockOdd {
		return 0
	}
	t.odd[Clock], t.Clocked = 0, false
	return b.nats[ClockSet]
}

// followStream lays the stream against the copies of the best track, and renews them. Where that takes the
// receiver to be false, against those of the likeliest track that hears it: whether an oscillator could have gone
// where the stream goes is asked of whoever says that it did. Their weight is in that track's.
func (b *Bank) followStream(r *Reading) {
	if !b.allowed(ReceiverFalse) {
		return
	}
	if b.Best().streams() {
		b.aside = former{}
		if f := &b.former; f.of != b.Best().id && !f.fits(b.Best()) { // another explanation; the one before is a track still
			b.dropFormer()
		}
		b.lay(&b.former, b.best, r)
		return
	}
	k := b.likeliestHearer()
	if !b.tracks[k].streams() {
		return
	}
	if b.aside.of != b.tracks[k].id {
		b.aside = former{}
	}
	b.lay(&b.aside, k, r)
}

// lay lays the stream against the copies of the k-th track, and renews them.
func (b *Bank) lay(f *former, k int, r *Reading) {
	t := &b.tracks[k]
	f.of = t.id
	strain, worst, nu := 0.0, -1, 0.0
	for i := range f.track {
		if f.taken[i] == 0 {
			continue
		}
		c := &f.track[i]
		c.F.Advance(r.At)
		mean, v := c.F.Expect(estimate.Stream)
		d := c.F.Rel(r.At, r.Z) - float64(c.Lead) - mean
		if e := nats(d, v+r.Var+dragFloor*dragFloor); e > strain {
			strain, worst, nu = e, i, d
		}
	}
	for i := range b.tracks[:b.n] {
		if f == &b.former && b.tracks[i].streams() {
			b.tracks[i].Strain = strain
		}
	}
	if strain <= gate {
		f.away = 0
	} else if f.away++; f.away >= strainRun {
		b.part(r, f, k, worst, nu)
		return
	}
	if f.rates.note(&t.F, r.At); strain <= easyStrain {
		f.renew(t, r.At)
	}
}

// sameStream = 2·edge: two tracks that expect the stream so near each other, s, take it alike. A
// whole second apart they do not.
const sameStream = 0.1

// fits tells whether the copies are of a track that takes the receiver as t does: the same
// second, nobody else false, and the stream where t expects it.
func (f *former) fits(t *Track) bool {
	c := &f.track[0]
	if f.taken[0] == 0 || c.Lead != t.Lead || c.LeadMost != t.LeadMost || c.Free != t.Free || c.Out&^SetOf(Receiver, Pulse) != t.Out {
		return false
	}
	mine, _ := t.F.Expect(estimate.Stream)
	yours, _ := c.F.Expect(estimate.Stream)
	d := float64(c.F.Base-t.F.Base)/1e9 + yours - mine + c.F.V[estimate.Y]*float64(t.F.At-c.F.At)/1e9
	return math.Abs(d) < sameStream
}

// dropFormer forgets the former states.
func (b *Bank) dropFormer() {
	for i := range b.tracks[:b.n] {
		b.tracks[i].Strain = 0
	}
	b.former, b.aside = former{}, former{}
}

// renew passes the copies on: each takes over from the next younger when it is old
// enough.
func (f *former) renew(t *Track, now timescale.Local) {
	for i := len(ages) - 1; i >= 0; i-- {
		switch {
		case f.taken[i] != 0 && now.Sub(f.taken[i]) < ages[i]:
		case i > 0 && f.taken[i-1] != 0 && now.Sub(f.taken[i-1]) >= ages[i-1]:
			f.track[i], f.taken[i], f.owes[i] = f.track[i-1], f.taken[i-1], f.owes[i-1]
		case i == 0:
			f.track[0], f.taken[0], f.owes[0] = *t, now, 0
			f.track[0].silence()
			f.track[0].F.Noise = restlessOf(t.F.Noise)
		}
	}
}

// restlessOf is the noise that the guard reckons with.
func restlessOf(n estimate.Noise) estimate.Noise {
	n.Y, n.D = math.Max(n.Y, rateRestless), math.Max(n.D, lateRestless)
	return n
}

// part is a stream that has left a former state of a track, nu seconds from where that expects it:
// the oscillator moved and the stream is right; or the lateness goes away, or the
// receiver is led away, and the former state is right.
func (b *Bank) part(r *Reading, f *former, of, i int, nu float64) {
	old, since, owes := f.track[i], f.taken[i], f.owes[i]
	age := r.At.Sub(since).Seconds()
	base := b.tracks[of].Cost
	way := int8(math.Copysign(1, nu))
	goesOn := b.led.note(way, r.At)
	for k := range b.tracks[:b.n] {
		switch t := &b.tracks[k]; {
		case t.Out.Has(Receiver):
			if f == &b.former {
				t.Cost += b.nats[FalseMoves]
			} else if t.way != way && !goesOn { // as in movesToo
				t.Cost, t.way = t.Cost+b.nats[FalseMoves], way
			}
		case !t.streams():
		case k == of:
			b.turnedBy(t, old, r, nu, since)
		case t.hasTurned(&b.tracks[of], &old, r, nu, since):
			t.Strain = 0
		default: // no former state is kept of it: it spans both, at the cheaper's price
			t.Strain = 0
			t.Lo, t.Hi = math.Min(t.Lo, t.Lo-nu), math.Max(t.Hi, t.Hi-nu)
			t.assume(Assumed{What: LatenessWanders, Of: Receiver, Since: since, SizeS: -nu, Slow: true}, b.nats[LatenessWanders])
		}
	}
	f.ledBefore(&old, nu, age, since)
	if old.Cost = base; owes > 0 {
		old.assume(Assumed{What: ClockSet, Of: Clock, Since: since}, owes)
	}
	if c := old; b.allowed(LatenessWanders) {
		z := c.F.Rel(r.At, r.Z) - float64(c.Lead)
		if c.mayMove(z, nu) {
			c.Out &^= SetOf(Receiver, Pulse)
			c.F.Attach(estimate.D, -z, 1, r.Var)
			c.F.Noise.D = math.Max(c.F.Noise.D, nu*nu/math.Max(age, softLeast.Seconds()))
			c.assume(Assumed{What: LatenessWanders, Of: Receiver, Since: since, SizeS: -nu}, b.nats[LatenessWanders])
			b.add(c)
		}
	}
	old.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: since, SizeS: nu, Slow: true}, b.nats[ReceiverFalse])
	b.add(old)
	if f == &b.aside {
		b.aside = former{}
	} else {
		b.dropFormer()
	}
}

// turnedBy has the oscillator of a track have gone nu seconds astray since then: of its former
// state, which the stream has carried on since. What the track itself made of that may have gone to
// the lateness: its own oscillator does not turn so fast.
func (b *Bank) turnedBy(t *Track, old Track, r *Reading, nu float64, since timescale.Local) {
	age := r.At.Sub(since).Seconds()
	old.Out, old.On, old.Roots, old.Cost, old.Dated, old.missed = t.Out, t.On, t.Roots, t.Cost, t.Dated, t.missed
	old.assumed, old.nAssumed, old.told, old.rated, old.before = t.assumed, t.nAssumed, r.At, r.At, t.before
	a, price := b.oscillator(&old, nu, age)
	old.F.Open(estimate.Y, nu*nu/(age*age))
	old.F.Open(estimate.X, nu*nu)
	old.F.Measure(old.F.Rel(r.At, r.Z)-float64(old.Lead), estimate.Stream, r.Var)
	*t = old
	t.assume(Assumed{What: a, Of: Receiver, Since: since, SizeS: nu, Slow: true, at: r.At}, price)
	b.rename(t)
}

// oscillator is the explanation, and its price, by which the oscillator of a track went nu
// seconds astray in age: by a step, by the cold where it is a fork, or as none does. Where nobody
// has told the rate yet it need not have moved: it may have been far off all the time.
func (b *Bank) oscillator(t *Track, nu, age float64) (Assumption, float64) {
	switch rate := math.Abs(nu) / age; {
	case rate < farMost && b.allowed(CrystalFar) && t.unlearned():
		return CrystalFar, b.nats[CrystalFar]
	case rate < oscillatorStep && b.allowed(OscillatorMoved):
		return OscillatorMoved, b.nats[OscillatorMoved]
	case rate < forkStep && b.allowed(CrystalTurned):
		return CrystalTurned, b.nats[CrystalTurned]
	}
	return OscillatorMoved, capped + b.nats[OscillatorMoved]
}

// unlearned tells whether nobody has told the track the oscillator's rate yet, nor has it assumed one.
func (t *Track) unlearned() bool {
	return t.F.Sigma(estimate.Y) >= unlearned && !t.Assumes(CrystalFar) && !t.Assumes(CrystalTurned) && !t.Assumes(OscillatorMoved)
}
