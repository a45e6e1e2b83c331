package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// How a track hears a source that tells UTC itself: a server, a mark, the air, a pulse.

func (b *Bank) hearTime(t *Track, r *Reading) {
	b.orMarkFalse(t, r)
	if t.Located && t.LeadMost > t.Lead {
		if !t.Places(r) {
			return
		}
		if !b.narrow(t, r) {
			b.deny(t, r)
			return
		}
	}
	z, ok := t.place(r)
	if !ok {
		switch {
		case !b.contradictsItself(t, r):
		case t.Located:
			t.odd[r.Source] = b.patience(r.Source)
			b.deny(t, r)
		default:
			b.exclude(t, r, false)
		}
		return
	}
	if !t.Located {
		t.start(r, z)
		return
	}
	if !t.fitsTime(r) {
		b.deny(t, r)
		return
	}
	b.take(t, r, z)
}

// contradictsItself tells whether a source that tells UTC modulo a period says now what does
// not go with what it said last: that needs no place, only the oscillator between, with the rate
// that it is known to have.
func (b *Bank) contradictsItself(t *Track, r *Reading) bool {
	o := &b.last[r.Source]
	if !o.said || r.Modulo == 0 {
		return false
	}
	age := r.At.Sub(o.at).Seconds()
	d := math.Remainder(float64(r.Z-o.z)/1e9-t.F.V[estimate.Y]*age, r.Modulo)
	return math.Abs(d) > o.bound+2*r.Common+wide*math.Sqrt(r.Var)+wide*t.F.Sigma(estimate.Y)*age
}

// place is where a reading puts UTC in the track's terms, s; false where it cannot say.
func (t *Track) place(r *Reading) (z float64, ok bool) {
	if !t.Located {
		return 0, r.Modulo == 0
	}
	if r.Modulo == 0 {
		return t.F.Rel(r.At, r.Z), true
	}
	m := int64(r.Modulo * 1e9)
	z = t.F.Rel(r.At, r.Z+(t.F.Base-r.Z)/m*m)
	if !t.Places(r) {
		return 0, false
	}
	mid := t.F.V[estimate.X] + (t.Lo+t.Hi)/2
	return z - math.Round((z-mid)/r.Modulo)*r.Modulo, true
}

// Places tells whether a reading has one place only in the track: what the track leaves
// open, but for whole seconds that are told apart one by one, is less than its modulo.
func (t *Track) Places(r *Reading) bool {
	if r.Modulo == 0 {
		return true
	}
	one := *t
	if one.LeadMost > one.Lead {
		one = t.leading(t.Lead)
	}
	return 2*one.width(wide)+wide*r.sigma() <= r.Modulo
}

// start defines UTC by a reading alone.
func (t *Track) start(r *Reading, z float64) {
	t.F.Base, t.F.At = r.Z, r.At
	t.F.Start(0, estimate.Time, r.Common*r.Common+r.Var)
	t.Located, t.Dated, t.On, t.Roots = true, r.Dated, SetOf(r.Source), r.roots()
	t.Lo, t.Hi, t.told, t.rated = 0, 0, r.At, r.At
}

// AirShared is the σ of the delays that all hearings of a crowd share, s: √((0.03² + 0.02² + 0.05²)/3), which is
// crowd.Shared, where the three are named; the rooms forbid that import (TestFloorIsThatOfTheCrowd).
const AirShared = 0.0356

// seen is the variance of a reading of UTC, as the track expects it, s².
func (t *Track) seen(r *Reading) float64 {
	if r.Source == Crowd {
		return t.F.ExpectShared(r.Common) + r.Var
	}
	return t.F.P[estimate.X][estimate.X] + r.Common*r.Common + r.Var
}

// take updates the track with a reading that fits: what is open is narrowed to where the
// reading lies.
func (b *Bank) take(t *Track, r *Reading, z float64) {
	b.tellRate(t, r, z)
	before := t.F.Sigma(estimate.X)
	if t.Lo != 0 || t.Hi != 0 {
		nu, m := z-t.F.V[estimate.X], wide*math.Sqrt(t.seen(r))
		lo, hi := math.Max(t.Lo, nu-m), math.Min(t.Hi, nu+m)
		mid := math.Min(math.Max(0, lo), hi)
		t.F.Shift(mid)
		t.Lo, t.Hi = math.Min(lo-mid, 0), math.Max(hi-mid, 0)
	}
	switch {
	case r.Source == Crowd:
		t.F.MeasureShared(z, r.Common, r.Var, math.Max(r.Repeat, 1))
	case r.Common > 0:
		t.F.MeasureCommon(z, r.sigma())
	default:
		t.F.Measure(z, estimate.Time, r.Var)
	}
	if t.On.Only(SetOf(Clock)) && before > outweighed*t.F.Sigma(estimate.X) {
		t.Roots = 0 // what the hardware clock knew bears the source out only more loosely than that says it
	}
	t.rests(r)
	t.told = max(t.told, r.At)
	t.odd[r.Source] = 0
}

// outweighed: a reading that leaves so much less of σ has 15/16 of the information, and UTC is its word alone
// (assumption: 4, as a half-width is kept as 4 σ).
const outweighed = 4

// rests says that the track's UTC rests on a reading, among others.
func (t *Track) rests(r *Reading) {
	t.On |= SetOf(r.Source)
	t.Roots |= r.roots()
	if t.heads > 0 && !t.Roots.Only(Families) { // they are alone no more, whoever spoke first (ofOneClock)
		t.Cost, t.heads = t.Cost-t.heads, 0
	}
	t.Dated = t.Dated || r.Dated
	t.know()
}

// deny makes of a track that a reading contradicts one that takes the source to be
// false. Where another that is false says the same, chance had to do it.
func (b *Bank) deny(t *Track, r *Reading) {
	if t.odd[r.Source]++; t.odd[r.Source] < b.patience(r.Source) {
		return
	}
	t.odd[r.Source] = 0
	if r.Modulo > 0 && t.Lead == 0 && t.streams() && t.Roots.Only(SetOf(Receiver)) && b.allowed(ReceiverFalse) {
		// Or the receiver that UTC rests on is false; then nobody says where UTC is. One that
		// leads by whole seconds has its fault already.
		c := *t
		c.silence()
		c.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: r.At}, b.nats[ReceiverFalse])
		c.Lo, c.Hi, c.Lurked = -anywhere, anywhere, SetOf(Receiver)
		b.add(c)
	}
	b.wasFalse(t, r)
	nu := t.F.Rel(r.At, r.Z) - t.F.V[estimate.X]
	if r.Source != Receiver && r.Modulo == 0 && t.Located {
		b.drifted(t, r, nu, b.untold(t, r), estimate.Time)
	}
	back, one := t.turned(r, nu), b.ofOneClock(t, r)
	alone, before := !one && b.saidByAFalseServer(t, r), t.Cost
	b.exclude(t, r, one)
	switch {
	case back > 0:
		t.assume(Assumed{What: FalseFits, Of: r.Source, Since: r.At}, b.chance(back, nu))
	case !one && !t.outPaid.Has(kind(r.Source)):
		b.fitsByChance(t, r, nu)
	}
	if alone {
		t.heads += math.Max(t.Cost-before-oneUpstream, 0)
		if t.born > 0 {
			t.born += oneUpstream
		}
	}
}

// exclude has a track take a source to be false from now on. Who goes on from a run that doubted it paid
// then: that it is false is as likely as it was. Whose account has it so has paid.
func (b *Bank) exclude(t *Track, r *Reading, one bool) {
	a := falseOf(r.Source)
	price := b.nats[a]
	if one {
		price = math.Min(price, oneUpstream)
	}
	if doubt, ok := b.doubtedBefore(t, r.Source); ok && t.On.Has(Before) {
		price = math.Min(price, doubt)
	}
	if t.outPaid.Has(kind(r.Source)) {
		price = 0
	}
	if r.Source == Crowd { // who pays that the air is false has no need to explain its hearings
		t.Cost, t.aired = t.Cost-t.aired, 0
	}
	t.assume(Assumed{What: a, Of: r.Source, Since: r.At}, price)
	t.off[r.Source] = 0
	if p, ok := t.place(r); ok && t.Located {
		t.off[r.Source] = float32(t.gap(p - t.F.V[estimate.X]))
	}
	t.Out |= SetOf(r.Source)
	t.On &^= SetOf(r.Source)
	if !b.allowed(a) { // then nothing explains it
		t.Cost += 2 * tooDear
	}
}

// wasFalse: a source contradicts what it said itself, and UTC rests on nobody else. As well
// as false from now on it may have been false until now.
func (b *Bank) wasFalse(t *Track, r *Reading) {
	a := falseOf(r.Source)
	if r.Modulo != 0 || !t.Roots.Only(r.roots()) || !b.allowed(a) {
		return
	}
	c := *t
	c.assume(Assumed{What: a, Of: r.Source, Since: r.At, SizeS: t.F.Rel(r.At, r.Z) - t.F.V[estimate.X]}, b.nats[a])
	c.Clocked, c.Vouched = false, false
	c.start(r, 0)
	b.add(c)
}

// turned tells whether a source that by the track was false until it changed its word by so
// much now takes the change back, nu s: to within how much, s; 0 = it does not.
func (t *Track) turned(r *Reading, nu float64) float64 {
	w := wide*r.sigma() + between
	for _, a := range t.Assumptions() {
		if a.Of == r.Source && a.What == falseOf(r.Source) && a.SizeS != 0 && math.Abs(a.SizeS+nu) < w {
			return w
		}
	}
	return 0
}

// patience is how many readings of a source must not fit, one after the other, before it
// is false: single edges of a pulse are spurious.
func (b *Bank) patience(s Source) uint8 {
	if s == Pulse {
		return pulseOdd
	}
	return 1
}
