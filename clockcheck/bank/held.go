package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// Held is what a run of the program knew when it ended, in the same boot.
type Held struct {
	At              timescale.Local
	Z               int64   // ns: UTC − local at At
	Sigma           float64 // s
	Rate, RateSigma float64 // s/s: UTC gains on the local timescale
	Lo, Hi          float64 // s: where else UTC may be, around 0
	Dated           bool
	From            Set             // whose word it was
	Doubts          []Doubted       // whom each explanation took to be false
	Told            timescale.Local // the newest reading that told UTC
	Rated           timescale.Local // up to when a move of the oscillator would have shown
	Stream          bool            // UTC was told by the receiver, among others, and
	Lateness        float64         // … it was so late when it was last believed, s
	Same            float64         // s: a stream as late as that, to so much, is the same one
	// Accounts are those that the run left, the likeliest first; of fewer the last have Sigma 0. Where there is more than
	// one they take the place of what is said above, but for Z, At and Dated.
	Accounts [MaxAccounts]Account
	// The hardware clock's rate as it was learned, s/s; σ 0 = it was not.
	ClockRate, ClockRateSigma float64
}

// Resume goes on from what the run before knew, as through a silence.
func (b *Bank) Resume(h *Held) {
	b.held = *h
	all := h.Accounts
	if all[1].Sigma <= 0 || !b.allowed(ReceiverFalse) {
		all = [MaxAccounts]Account{{Sigma: h.Sigma, Lo: h.Lo, Hi: h.Hi, Rate: h.Rate, RateSigma: h.RateSigma, Stream: h.Stream, Lateness: h.Lateness,
			From: h.From, Told: h.Told, Rated: h.Rated}}
	}
	b.doubts = h.Doubts // what was kept with the hardware clock is no newer
	for k := range all {
		if all[k].False { // the doubt of the receiver has an account of its own
			b.doubts = but(h.Doubts, SetOf(Receiver, Pulse))
		}
	}
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if t.Located {
			continue
		}
		for k := 1; k < MaxAccounts && all[k].Sigma > 0; k++ {
			other := *t
			b.goOn(&other, h, &all[k])
			b.add(other)
		}
		b.goOn(t, h, &all[0])
	}
	b.deliver()
	b.settle()
}

// fromHeld is how far a stream that is met is from where the run before had it, nu s. ok is false
// where that run did not hear it, left whole seconds open, or something else has told UTC since.
func (b *Bank) fromHeld(t *Track, r *Reading) (nu float64, ok bool) {
	h := &b.held
	drift := wide * t.F.Sigma(estimate.Y) * r.At.Sub(h.At).Seconds()
	return t.F.Rel(r.At, r.Z) - t.F.V[estimate.X] + t.heldLate, t.toldBefore() && drift < h.Same
}

// goesOn tells whether a stream that is met is the one of the run before: as late as it
// was. Where whole seconds were open it is met as for the first time, with each that it may lead by.
func (b *Bank) goesOn(t *Track, r *Reading) bool {
	nu, ok := b.fromHeld(t, r)
	return ok && math.Abs(nu) < b.held.Same
}

// movedUnseen: a stream that is met is not where the run before had it, nor a whole number of seconds
// ahead of that. It jumped while nobody looked, at the price of a jump that was seen. Or it is right, and the oscillator
// went so far since anybody told its rate: what was kept may be hours old. One that was false then, as likely
// as not, moves on or is right again: that is no surprise.
func (b *Bank) movedUnseen(t *Track, r *Reading) {
	nu, ok := b.fromHeld(t, r)
	if natsOf(b.held.Doubts, SetOf(Receiver)) < b.nats[ServerFalse]/2 {
		return
	}
	if lead := math.Round(nu); !ok || lead >= 0 && lead <= float64(r.Stream.LeadMost) && math.Abs(nu-lead) < b.held.Same {
		return
	}
	there := *t // with the stream where the oscillator has carried it
	there.F.Advance(r.At)
	there.F.Attach(estimate.D, there.heldLate-there.F.V[estimate.X], 1, r.Var)
	there.Met = true
	if c := there; b.allowed(ReceiverFalse) {
		c.silence()
		c.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: r.At, SizeS: nu}, b.nats[ReceiverFalse])
		b.add(c)
	}
	there.Free = there.F.Sigma(estimate.D) >= proved
	age := b.untold(t, r)
	there.joined(r, 0)
	b.drifted(&there, r, nu, age, estimate.Stream)
	if b.allowed(LatenessMoved) {
		t.assume(Assumed{What: LatenessMoved, Of: Receiver, Since: r.At, SizeS: -nu}, b.nats[LatenessMoved])
	}
}

// toldBefore tells whether the receiver told the track's UTC in the run before, led by nothing, and
// nobody has told it since.
func (t *Track) toldBefore() bool {
	return t.Located && t.streamed && t.Hi-t.Lo < 1 && t.On.Only(SetOf(Before, Clock))
}

// Lateness is how late the receiver's sentences are, its σ over all tracks that hear
// them, and by how much it has been seen to move, s.
func (b *Bank) Lateness() (mean, sigma, moved float64) {
	mean = b.Best().F.V[estimate.D]
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if !b.Alive(i) || !t.streams() {
			continue
		}
		sigma = math.Max(sigma, math.Hypot(t.F.Sigma(estimate.D), (t.F.V[estimate.D]-mean)/2))
		for _, a := range t.Assumptions() {
			if a.What == LatenessMoved || a.What == LatenessWanders && a.SizeS != 0 {
				moved = math.Max(moved, math.Abs(a.SizeS))
			}
		}
	}
	return mean, sigma, moved
}

// LatenessTold tells whether somebody else than the receiver told the best track how late it
// is, in whatever width.
func (b *Bank) LatenessTold() bool {
	t := b.Best()
	return t.streams() && !t.Roots.Only(SetOf(Receiver))
}

// LatenessOfBest is the lateness that somebody told the best track, s, its σ, s, and how unlikely it is that it is another,
// nats: −ln of the weight of all tracks that do not hear the receiver just so late. false = nobody told it as closely as it
// takes to prove one, or those are together likelier than another unit, which the next start reckons with in any case.
func (b *Bank) LatenessOfBest() (mean, sigma, doubt float64, ok bool) {
	t, other := b.Best(), 0.0
	if mean, sigma = t.F.V[estimate.D], t.F.Sigma(estimate.D); t.Free || !b.LatenessTold() || t.LeadMost > 0 || sigma >= proved {
		return 0, 0, 0, false
	}
	for i := range b.tracks[:b.n] {
		u := &b.tracks[i]
		if !u.streams() || u.Free || u.LeadMost > 0 || math.Abs(u.F.V[estimate.D]-mean) > wide*proved {
			other += b.weight[i]
		}
	}
	doubt = -math.Log(math.Max(other, Risk/2))
	return mean, sigma, doubt, doubt >= b.nats[LatenessNew]
}

// LatenessDoubt is how unlikely it is that the receiver's lateness is another than mean, s,
// as it was learned to σ, s; nats: −ln of the weight of the tracks in which it is, among all that
// have met the receiver: a signal that is false now tells nothing of the unit. Who takes it to be another unit's is among
// them, however near that is: the learned one is told to less than what proves a lateness. false = none has.
func (b *Bank) LatenessDoubt(mean, sigma float64) (doubt float64, met bool) {
	other, all := 0.0, 0.0
	for i := range b.tracks[:b.n] {
		t := &b.tracks[i]
		if !t.Met || b.weight[i] == 0 {
			continue
		}
		all += b.weight[i]
		if t.lateElse(mean, sigma) {
			other += b.weight[i]
		}
	}
	if all == 0 {
		return 0, false
	}
	return -math.Log(math.Max(other/all, Risk/2)), true
}

// Turn changes the oscillator's rate in all tracks by y, known to the variance: the
// thermometer says that it got warmer or colder. s/s.
func (b *Bank) Turn(now timescale.Local, y, variance float64) {
	turn := func(f *estimate.Filter, located bool) {
		if located {
			f.Advance(now)
		}
		f.V[estimate.Y] += y
		f.Open(estimate.Y, variance)
	}
	for i := range b.tracks[:b.n] {
		turn(&b.tracks[i].F, b.tracks[i].Located)
	}
	for i := range b.quiet.f {
		turn(&b.quiet.f[i], b.quiet.have)
	}
	for _, f := range [...]*former{&b.former, &b.aside} {
		for i := range f.track {
			if f.taken[i] != 0 {
				turn(&f.track[i].F, f.track[i].Located)
			}
		}
	}
}
