package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// A mark is one word of one hand, and a wrong one is wrong by whole seconds as a rule (fault budget, entry slips).
// So whoever takes a mark asks first whether it may be another second's.

// oneOfSlips, nats: a mark that is wrong is so by one second, one way, 1 time in 6 (assumption: by a second, by more seconds and
// by minutes alike, both ways alike; the fault budget says "whole seconds or minutes"). −ln(1/6).
const oneOfSlips = 1.8

// isMark tells whether a reading is an operator's mark, by ear or by a borrowed clock.
func (r *Reading) isMark() bool { return r.Source == Ear || r.Source == Borrowed }

// misfit is −ln of how likely a reading of UTC is by a track, but for a constant, by the whole second of those that the
// receiver may lead by which has it likeliest, nats; Inf = it contradicts the track.
func (t *Track) misfit(r *Reading) float64 {
	least := math.Inf(1)
	for k := t.Lead; k <= t.LeadMost; k++ {
		one := *t
		if t.LeadMost > t.Lead {
			one = t.leading(k)
		}
		if one.fitsTime(r) {
			z, _ := one.place(r)
			least = math.Min(least, nats(one.gap(z-one.F.V[estimate.X]), one.seen(r))+one.unlikelyLate(r, z))
		}
	}
	return least
}

// unlikelyLate is what a reading that puts UTC at z says against the lateness that it tells, nats: beyond its range, or
// of the second before.
func (t *Track) unlikelyLate(r *Reading, z float64) float64 {
	if !t.streams() || !t.Free {
		return 0
	}
	f, own := t.F, r.Common*r.Common+r.Var
	out, _ := t.outOfRange(z-f.V[estimate.X], estimate.Time, own)
	if t.relayed() {
		return out
	}
	f.Measure(z, estimate.Time, own)
	return out + priceBefore(f.V[estimate.D], f.Sigma(estimate.D))
}

// slip is what the mark that is just heard says for its being false, by its misfit, and up to what cost an account that takes
// it may not be left out if it is another second's, nats.
type slip struct{ misfit, most float64 }

// mayBeASlip lays a mark against the likeliest of those who heard marks until now. What it foretold badly speaks for the
// mark's being false; where the mark contradicts it, it has to pay for that itself.
func (b *Bank) mayBeASlip(believer int, r *Reading) (s slip) {
	if believer >= 0 {
		t := &b.tracks[believer]
		t.F.Advance(r.At)
		if m := t.misfit(r); !math.IsInf(m, 1) {
			s.misfit = math.Min(m, b.nats[MarkFalse])
		}
	}
	s.most = b.Best().total() - math.Log(Risk/2) - b.nats[MarkFalse] + s.misfit - oneOfSlips
	return s
}

// orMarkFalse has an account be born by which a mark is false that the track takes, where that contradicts nobody: a mark
// that is a second wrong would fit the track, too, and so well that this may not be left out. Of several whole
// seconds that the receiver may lead by, a slip hits the one by chance. Where nothing but a
// hardware clock stands beside it, the mark is all there is, and is believed (class 8 of what is declared).
func (b *Bank) orMarkFalse(t *Track, r *Reading) {
	if !r.isMark() || !t.Located || t.On.Only(SetOf(Clock, Ear, Borrowed)) || t.Latent || !b.allowed(MarkFalse) || math.IsInf(t.misfit(r), 1) {
		return
	}
	early, late := *r, *r
	early.Z, late.Z = r.Z-1e9, r.Z+1e9
	chance := math.Log(float64(1+t.LeadMost-t.Lead)) + math.Min(t.misfit(&early), t.misfit(&late))
	if t.total()+chance > b.slip.most {
		return
	}
	c := *t
	b.exclude(&c, r, false)
	c.Cost = math.Max(c.Cost-b.slip.misfit, t.Cost)
	b.add(c)
}

// markAgain: each mark is made on its own, and has its price. A further one may be right where the first was not;
// who takes it to be false, too, pays again.
func (b *Bank) markAgain(t *Track, r *Reading) {
	if !r.isMark() || !t.Located || t.Latent {
		return
	}
	if c := *t; c.LeadMost == c.Lead && c.fitsTime(r) {
		c.Out &^= SetOf(r.Source)
		z, _ := c.place(r)
		b.take(&c, r, z)
		b.add(c)
	}
	t.Cost += b.nats[MarkFalse]
}
