package bank

import (
	"math"
	"time"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// How a track hears the hardware clock. It is a flywheel, no source: its word is worth
// what was known of UTC when it was last compared, and has that ancestry.

const (
	// clockFloor, σ in s: its edge is found so well at least. Interrupts of a busy machine come
	// up to 5 ms late (package rtc), 5/√3.
	clockFloor = 0.003
	// clockOdd readings in a row do not fit: one may be read late (assumption: two are not).
	clockOdd = 2
	// clockQuiet: so long after others told UTC a jump may be the oscillator's as well. Sooner its
	// largest step is hidden by the edge: oscillatorStep · 10 min = 12 ms = 4·clockFloor.
	clockQuiet = 10 * time.Minute
	// clockSteady, 1/s: a clock of less random walk is steadier than the oscillator
	// (rateRestless), so it tells that one's rate.
	clockSteady = rateRestless
)

// Recalled is what an earlier run learned of the hardware clock, grown over the time off.
type Recalled struct {
	Base            int64   // ns: hardware clock − UTC = Base + R
	Offset, Sigma   float64 // s, of R
	Compared        float64 // s: … of which it was so when it was compared
	Scattered       float64 // s: σ of R if the chip takes each write elsewhere …
	Dearer          float64 // nats: … and by how much that is dearer than its price
	Rate, RateSigma float64 // s/s
	Lo, Hi          float64 // s: where else UTC may be by it, around 0
	Dated           bool
	From            Set // whose word it was compared with
	// Accounts are those of Held, UTC from where R has it. Where there is more than one they take the place of Compared, Lo and Hi.
	Accounts [MaxAccounts]Account
}

// Recall gives the hardware clock its learned state, in all tracks, before it is first
// heard.
func (b *Bank) Recall(c *Recalled) {
	b.recalled = *c
	all := c.Accounts
	if all[1].Sigma <= 0 {
		all = [MaxAccounts]Account{{Sigma: c.Compared, Lo: c.Lo, Hi: c.Hi}}
	}
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if t.Clocked || !t.hears(Clock) {
			continue
		}
		was := *t
		b.recall(t, c, &all[0])
		for k := 1; k < MaxAccounts && all[k].Sigma > 0; k++ {
			o := was
			b.recall(&o, c, &all[k])
			b.add(o)
		}
	}
	b.deliver()
}

// recall gives the hardware clock the state that an account has of it, at the price of that, with what it has paid for.
func (b *Bank) recall(t *Track, c *Recalled, a *Account) {
	t.Clocked, t.Vouched = true, true
	t.F.ClockBase = c.Base
	more := a.Sigma*a.Sigma - c.Compared*c.Compared
	t.F.Forget(estimate.R, c.Offset-a.Off, math.Sqrt(c.Sigma*c.Sigma+more))
	if c.From.Has(Crowd) { // R is less as UTC is more
		t.F.Owe(estimate.R, AirShared)
	}
	t.F.Forget(estimate.S, c.Rate, c.RateSigma)
	if b.takeOver(t, a); !t.Located {
		t.Lo, t.Hi = a.Lo, a.Hi
	}
	if c.Scattered > c.Sigma && b.allowed(WritesScatter) {
		o := *t
		o.F.P[estimate.R][estimate.R] = c.Scattered*c.Scattered + more
		o.assume(Assumed{What: WritesScatter, Of: Clock}, b.nats[WritesScatter]+c.Dearer)
		b.add(o)
	}
}

// ClockWritten says that somebody we know of has set the hardware clock: it is compared
// again at its next reading. It speaks for UTC no more.
func (b *Bank) ClockWritten() {
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		t.Clocked, t.Vouched = false, false
		t.Out &^= SetOf(Clock)
	}
	for i := range b.former.track {
		b.former.track[i].Clocked = false
		b.aside.track[i].Clocked = false
	}
	b.last[Clock].said = true // what it will say tells nothing of UTC: no track without it
}

// clockSaysTheirs tells whether the hardware clock's word is only that of the others in the set: it was
// compared with them in the run before, and with nobody else. Of servers any will do: they may
// be the same. If those are false, so is the clock's word, for nothing.
func (b *Bank) clockSaysTheirs(others Set) bool {
	if others.Any(Families) {
		others |= SetOf(Before)
	}
	from := b.recalled.From
	return from != 0 && from.Only(others&^SetOf(Clock))
}

// clockSays is a reading of the hardware clock in the track's terms, s: X + R.
func (t *Track) clockSays(r *Reading) float64 { return t.F.Rel(r.At, r.Z-t.F.ClockBase) }

func (b *Bank) hearClock(t *Track, r *Reading) {
	switch {
	case !t.Located && t.Clocked:
		t.F.Base, t.F.At = r.Z-t.F.ClockBase, r.At
		t.F.Start(0, estimate.Clock, r.Var)
		t.Located, t.Dated, t.On, t.Roots = true, r.Dated, SetOf(Clock), r.roots()
	case !t.Located:
	case !t.Clocked:
		t.compare(r)
	default:
		b.clockAgain(t, r)
	}
}

// setToo: the best track has just had to assume that something set the hardware clock. It moved
// against the oscillator, whoever tells UTC: so that has its price for those, too, who know no UTC
// to lay it against.
func (b *Bank) setToo(r *Reading) {
	all := b.Best().Assumptions()
	if len(all) == 0 || all[len(all)-1].What != ClockSet || all[len(all)-1].Of != Clock || all[len(all)-1].Since != r.At {
		return
	}
	for i := range b.tracks[:b.n] {
		if t := &b.tracks[i]; !t.Located && t.hears(Clock) {
			t.Cost += b.nats[ClockSet]
		}
	}
}

// compare defines the hardware clock's offset by what is known of UTC.
func (t *Track) compare(r *Reading) {
	z := t.F.Rel(r.At, r.Z)
	whole := math.Trunc(z - t.F.V[estimate.X])
	t.F.ClockBase = int64(whole) * timescale.Second
	t.F.Attach(estimate.R, z-whole, -1, r.Var+clockFloor*clockFloor)
	t.Clocked, t.Vouched = true, false
	t.odd[Clock] = 0
}

// ClockOdd tells whether the newest reading of the hardware clock did not fit the best track, and the next one has not
// answered yet whether it was read late, or set.
func (b *Bank) ClockOdd() bool { return b.Best().Clocked && b.Best().odd[Clock] > 0 }

// clockAgain takes a further reading of a clock that was compared.
func (b *Bank) clockAgain(t *Track, r *Reading) {
	z := t.clockSays(r)
	mean, v := t.F.Expect(estimate.Clock)
	nu := z - mean
	own := r.Var + clockFloor*clockFloor
	out, news := t.outOfRange(nu, estimate.Clock, own)
	if nats(t.gap(nu), v+own) <= gate && out <= gate {
		t.odd[Clock] = 0
		if news > easyStrain { // no lateness explains it but by the clock's error: it was set as likely
			other := *t
			b.clockMoved(&other, r, nu)
			b.add(other)
			t.Cost += news
		}
		if t.Lo == 0 && t.Hi == 0 {
			t.F.Measure(z, estimate.Clock, own)
		}
		if t.ticked = r.At; t.Vouched {
			t.rests(r)
		}
		return
	}
	if t.odd[Clock]++; t.odd[Clock] < clockOdd {
		return
	}
	t.odd[Clock] = 0
	b.clockMoved(t, r, nu)
}

// clockMoved replaces a track whose hardware clock is nu seconds from where it was
// expected: it was set, or the computer's oscillator moved. That its own rate moved needs no
// assumption: the walk of that rate spans a fork carried into the cold.
func (b *Bank) clockMoved(t *Track, r *Reading, nu float64) {
	// An oscillator that moves takes the hardware clock along since that was last heard,
	// whoever tells UTC: the scatter of a stream hides more than that of an edge.
	heard := t.told
	if t.ticked != 0 {
		heard = min(heard, t.ticked)
	}
	b.drifted(t, r, nu, r.At.Sub(heard).Seconds(), estimate.Clock)
	t.compare(r)
	t.ticked = r.At
	t.assume(Assumed{What: ClockSet, Of: Clock, Since: r.At, SizeS: nu}, b.nats[ClockSet])
}
