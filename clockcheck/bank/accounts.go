package bank

import (
	"cmp"
	"math"
	"slices"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// What a run leaves open is kept as accounts: explanations of one place, with their price. In one hull of all, each would take
// the word of the others for its own: a receiver that was led away is within that hull, because the hull was made to hold
// it; and its middle is where nobody has UTC, so that what is learned beside it speaks against whoever is right. So each is
// kept, and goes on, by itself.

// MaxAccounts is how many are kept; what is left joins the nearest (assumption: a receiver is right or false, and
// leads or does not).
const MaxAccounts = 4

// Account is all explanations together that have UTC in one place, and the same of the receiver.
type Account struct {
	Off, Sigma      float64 // s: UTC, from the best track's X
	Lo, Hi          float64 // s: where else UTC may be, around that
	Rate, RateSigma float64 // s/s
	False           bool    // the receiver is false by it
	Stream          bool    // the receiver told UTC, and leads by nothing
	Lateness        float64 // s: so late is its stream against Off, or was when it was last believed
	Another         bool    // … and that is not what is kept of it
	Leads           bool    // the receiver leads by whole seconds
	Nats            float64 // how much dearer it is than that of the best track, ≥ 0
	From            Set
	Out             Set // it takes these to be false: that is paid
	Told, Rated     timescale.Local
}

// Accounts are what the bank leaves open, the best track's first, n of them; 0 where one of them knows no place. late is what is kept
// of the receiver's lateness. Of one side, those that are not dearer than apart, nats, are one account, wherever they have UTC. loose: whole
// seconds are open, so that a hull of more than that is a room about its likeliest track, which it knows to same s, and no
// Gaussian; so is one of a track that has such a room.
func (b *Bank) Accounts(late *Lateness, apart float64, loose bool, same float64) (all [MaxAccounts]Account, n int) {
	apart = math.Exp(-apart)
	var of [MaxAccounts]side
	order := b.likeliestFirst()
	for _, i := range order[:b.n] {
		t := &b.tracks[i]
		if !b.Alive(i) {
			continue
		}
		if !t.Located {
			return all, 0
		}
		s := b.sideOf(of[:n], t, late, b.weight[i]/apart)
		if s == nil {
			of[n] = side{likeliest: t, lo: math.Inf(1), hi: math.Inf(-1), another: late.isAnother(t)}
			s = &of[n]
			n++
		}
		s.most = math.Max(s.most, b.weight[i])
		// So far as the guard would span it were this account all there is: it is kept with a weight of its own.
		off := b.apart(b.Best(), t)
		lo, hi := t.Span(0, math.Max(b.z[i], math.Min(wide, tail(spent/2*s.most/b.weight[i]))), floor)
		s.take(t, b.weight[i], off+lo, off+hi)
	}
	for i, w := range b.former.weight {
		if w > Risk/2 {
			_, lo, hi := b.FormerReach(i)
			if s := b.sideOf(of[:n], &b.former.track[i], late, w/apart); s != nil {
				s.lo, s.hi = math.Min(s.lo, lo), math.Max(s.hi, hi)
			} else {
				of[0].lo, of[0].hi = math.Min(of[0].lo, lo), math.Max(of[0].hi, hi)
			}
		}
	}
	b.widen(of[:n])
	for k := range of[:n] {
		all[k] = b.account(&of[k], (loose || of[k].room > 1) && of[k].hi-of[k].lo > 1, same)
		all[k].Nats = math.Max(math.Log(of[0].weight/of[k].weight), 0)
	}
	return all, n
}

// likeliestFirst are the places of all tracks, the best first, then the likeliest.
func (b *Bank) likeliestFirst() (order [MaxTracks]int) {
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order[:b.n], func(i, k int) int {
		switch {
		case i == b.best:
			return -1
		case k == b.best:
			return 1
		}
		return cmp.Compare(b.weight[k], b.weight[i])
	})
	return order
}

// widen has all accounts hold what the guard holds and none of them does: an oscillator that moved unseen.
func (b *Bank) widen(of []side) {
	l, h := math.Inf(1), math.Inf(-1)
	for k := range of {
		l, h = math.Min(l, of[k].lo), math.Max(h, of[k].hi)
	}
	lo, hi := b.Guard(0)
	for k := range of {
		of[k].lo, of[k].hi = of[k].lo-math.Max(l-lo, 0), of[k].hi+math.Max(hi-h, 0)
	}
}

// side is what the tracks of an account reach together, s from the best track's X.
type side struct {
	likeliest *Track
	another   bool
	weight    float64
	most      float64 // weight of the likeliest
	lo, hi    float64
	rates     rateHull
	room      float64 // s: the widest of them that is no Gaussian
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

// sideOf is the account that a track belongs to: of the same second, and the same of the receiver, or no likelier than most.
// nil = none, and there is room for one; else the nearest.
func (b *Bank) sideOf(of []side, t *Track, late *Lateness, most float64) (s *side) {
	near := math.Inf(1)
	for k := range of {
		u := of[k].likeliest
		d := math.Abs(b.apart(u, t))
		if u.Out.Has(Receiver) != t.Out.Has(Receiver) || of[k].most > most && (of[k].another != late.isAnother(t) || d >= otherSecond) {
			if d += farthestOut; len(of) < MaxAccounts {
				continue
			}
		}
		if d < near {
			s, near = &of[k], d
		}
	}
	return s
}

// isAnother tells whether a track has met the receiver, or did before it took it to be false, with another lateness than
// what is kept of it.
func (l *Lateness) isAnother(t *Track) bool {
	return l.Known && !l.Said && t.Met && t.lateElse(l.Mean, l.Sigma)
}

func (s *side) take(t *Track, weight, lo, hi float64) {
	s.lo, s.hi = math.Min(s.lo, lo), math.Max(s.hi, hi)
	s.weight += weight
	s.rates.take(t)
	s.room = math.Max(s.room, t.Hi-t.Lo)
}

func (b *Bank) account(s *side, loose bool, same float64) Account {
	t := s.likeliest
	at := b.apart(b.Best(), t)
	a := Account{Off: (s.lo + s.hi) / 2, Sigma: (s.hi - s.lo) / 2 / wide, Rate: t.F.V[estimate.Y], RateSigma: s.rates.sigma(t.F.V[estimate.Y]),
		False: t.Out.Has(Receiver), Stream: t.On.Has(Receiver) && t.Lead == 0, Another: s.another, Leads: t.LeadMost > 0, From: t.Roots, Out: kinds(t.Out), Told: t.told, Rated: t.rated}
	if loose {
		a.Off, a.Sigma = at, math.Hypot(t.F.Sigma(estimate.X), same/wide)
		a.Lo, a.Hi = math.Min(s.lo-at, 0), math.Max(s.hi-at, 0)
	}
	a.Lateness = t.F.V[estimate.D] + a.Off - at
	return a
}

// goOn has a track that knows nothing go on from an account of the run before.
func (b *Bank) goOn(t *Track, h *Held, a *Account) {
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
	if b.takeOver(t, a); a.False {
		t.silence()
		t.assume(Assumed{What: ReceiverFalse, Of: Receiver, Since: h.At}, 0)
	}
}

// takeOver has a track go on at the price of an account of the run before, with what that has paid for.
func (b *Bank) takeOver(t *Track, a *Account) {
	t.Cost += a.Nats
	t.outPaid, t.leadPaid = a.Out, a.Leads
	if a.Another && !t.Met {
		t.assume(Assumed{What: LatenessNew, Of: Receiver, Since: t.F.At}, 0)
		if b.late.Known {
			b.open(t)
		}
	}
}
