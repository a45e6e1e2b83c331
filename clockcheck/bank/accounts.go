package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// A run that ends in doubt of the receiver leaves two accounts: what those leave open who hear the
// receiver, and what those do to whom it is false. In one hull of both, each account would take the
// word of the other for its own: a receiver that was led away is within that hull, because the hull
// was made to hold it. So each is kept, and goes on, by itself.

// Account is one of the two: all explanations of one side together.
type Account struct {
	Off, Sigma      float64 // s: UTC, from the best track's X
	Lo, Hi          float64 // s: where else UTC may be, around that
	Rate, RateSigma float64 // s/s
	False           bool    // the receiver is false by it
	Stream          bool    // the receiver told UTC, and leads by nothing
	Lateness        float64 // s: so late is its stream against Off, or was when it was last believed
	Nats            float64 // how much dearer it is than that of the best track, ≥ 0
	From            Set
	Told, Rated     timescale.Local
}

// Accounts are the two sides, the best track's first; false where there is one side only, or where
// one of them knows no place. loose: whole seconds are open, so that the hull of a side is a room
// about its likeliest track, which it knows to same s, and no Gaussian.
func (b *Bank) Accounts(loose bool, same float64) (two [2]Account, ok bool) {
	var of [2]side
	for i := range b.tracks[:b.n] {
		if !b.Alive(i) {
			continue
		}
		t := &b.tracks[i]
		if !t.Located {
			return two, false
		}
		s := &of[b.sideOf(t)]
		_, lo, hi := b.Reach(i)
		s.take(t, b.weight[i], lo, hi)
		s.rates.take(t)
	}
	if of[0].weight == 0 || of[1].weight == 0 {
		return two, false
	}
	for i, w := range b.former.weight {
		if w > Risk/2 {
			_, lo, hi := b.FormerReach(i)
			s := &of[b.sideOf(&b.former.track[i])]
			s.lo, s.hi = math.Min(s.lo, lo), math.Max(s.hi, hi)
		}
	}
	lo, hi := b.Guard(0) // holds what neither side does by itself: an oscillator that moved unseen
	below, above := math.Max(math.Min(of[0].lo, of[1].lo)-lo, 0), math.Max(hi-math.Max(of[0].hi, of[1].hi), 0)
	for k := range of {
		of[k].lo, of[k].hi = of[k].lo-below, of[k].hi+above
		two[k] = b.account(&of[k], loose && of[k].hi-of[k].lo > 1, same)
	}
	two[1].Nats = math.Max(math.Log(of[0].weight/of[1].weight), 0)
	return two, true
}

// side is what the tracks of an account reach together, s from the best track's X.
type side struct {
	likeliest *Track
	most      float64
	weight    float64
	lo, hi    float64
	rates     rateHull
}

// rateHull spans the oscillator's rates by some tracks, s/s, each with wide of its σ. Where one of them has the
// oscillator moved, the likeliest one's rate alone would leave that one behind from the next run's first second on.
type rateHull struct {
	lo, hi float64
	some   bool
}

func (q *rateHull) take(t *Track) {
	y, w := t.F.V[estimate.Y], wide*t.F.Sigma(estimate.Y)
	if !q.some {
		*q = rateHull{y - w, y + w, true}
	}
	q.lo, q.hi = math.Min(q.lo, y-w), math.Max(q.hi, y+w)
}

// sigma is the σ about y of a Gaussian that is nowhere narrower, s/s.
func (q *rateHull) sigma(y float64) float64 { return math.Max(q.hi-y, y-q.lo) / wide }

// RateSigma is the σ of the oscillator's rate about the best track's, over all that the guard reckons with, s/s.
func (b *Bank) RateSigma() float64 {
	var q rateHull
	q.take(b.Best())
	for i := range b.tracks[:b.n] {
		if b.Alive(i) && b.tracks[i].Located {
			q.take(&b.tracks[i])
		}
	}
	return q.sigma(b.Best().F.V[estimate.Y])
}

// sideOf is 0 for the tracks that take the receiver as the best one does.
func (b *Bank) sideOf(t *Track) int {
	if t.Out.Has(Receiver) == b.Best().Out.Has(Receiver) {
		return 0
	}
	return 1
}

func (s *side) take(t *Track, weight, lo, hi float64) {
	if s.likeliest == nil {
		s.lo, s.hi = lo, hi
	}
	if s.lo, s.hi = math.Min(s.lo, lo), math.Max(s.hi, hi); weight > s.most {
		s.likeliest, s.most = t, weight
	}
	s.weight += weight
}

func (b *Bank) account(s *side, loose bool, same float64) Account {
	t := s.likeliest
	at := b.apart(b.Best(), t)
	a := Account{Off: (s.lo + s.hi) / 2, Sigma: (s.hi - s.lo) / 2 / wide, Rate: t.F.V[estimate.Y], RateSigma: s.rates.sigma(t.F.V[estimate.Y]),
		False: t.Out.Has(Receiver), Stream: t.On.Has(Receiver) && t.Lead == 0, From: t.Roots, Told: t.told, Rated: t.rated}
	if loose {
		a.Off, a.Sigma = at, math.Hypot(t.F.Sigma(estimate.X), same/wide)
		a.Lo, a.Hi = math.Min(s.lo-at, 0), math.Max(s.hi-at, 0)
	}
	a.Lateness = t.F.V[estimate.D] + a.Off - at
	return a
}

// goOn has a track that knows nothing go on from an account of the run before.
func (t *Track) goOn(h *Held, a *Account, price float64) {
	t.F.Base, t.F.At = h.Z, h.At
	t.F.Start(a.Off, estimate.Time, a.Sigma*a.Sigma)
	t.F.Forget(estimate.Y, a.Rate, a.RateSigma)
	if h.ClockRateSigma > 0 {
		t.F.Forget(estimate.S, h.ClockRate, h.ClockRateSigma)
	}
	t.Located, t.Dated, t.On, t.Roots = true, h.Dated, SetOf(Before), a.From
	t.Lo, t.Hi, t.told, t.rated = a.Lo, a.Hi, a.Told, a.Rated
	t.streamed, t.heldLate = a.Stream, a.Lateness
	if a.From.Has(Crowd) {
		t.F.Owe(estimate.X, -AirShared)
	}
	if t.Cost += price; a.False {
		t.silence()
		t.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: h.At}, 0)
	}
}
