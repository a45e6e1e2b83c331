package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// By how many whole seconds a receiver leads, where a source of UTC can tell.

// narrow lays a reading of UTC against each whole second that the receiver may lead by:
// the track becomes one for each that fits, and these share its weight. It reports whether
// any does.
func (b *Bank) narrow(t *Track, r *Reading) bool {
	was, fits := *t, 0
	for k := was.Lead; k <= was.LeadMost; k++ {
		if one := was.leading(k); one.fitsTime(r) {
			fits++
		}
	}
	if fits == 0 {
		return false
	}
	was.Cost += math.Log(float64(fits))
	for k := was.LeadMost; k >= was.Lead; k-- {
		one := was.leading(k)
		if !one.fitsTime(r) {
			continue
		}
		if fits--; fits == 0 { // the least: the caller goes on with it
			*t = one
			break
		}
		z, _ := one.place(r)
		b.take(&one, r, z)
		b.add(one)
	}
	return true
}

// leading is the track if the receiver leads by exactly k.
func (t *Track) leading(k int) Track {
	one := *t
	one.lead(k)
	return one
}

// fitsTime tells whether a track explains a reading of UTC, and the receiver may lead so.
func (t *Track) fitsTime(r *Reading) bool {
	z, ok := t.place(r)
	if !ok || r.Modulo > 0 && !mayLead(t.Lead) {
		return false
	}
	nu := z - t.F.V[estimate.X]
	out, _ := t.outOfRange(nu, estimate.Time, r.Common*r.Common+r.Var)
	return nats(t.gap(nu), t.seen(r)) <= gate && out <= gate
}

// mayLead tells whether a receiver without leap-second data may lead by k: 18 less its
// firmware's count. A count of 1 to 6 is from before 1991 (tzdata, leapseconds), when no
// receiver sent sentences with a date (from memory). Where a reading modulo a period
// cannot tell k from none, that does.
func mayLead(k int) bool { return k < 12 || k == MaxLead }

// lead says that the receiver leads by exactly k whole seconds. A hardware clock that was compared with the stream moves
// along; what an earlier run knew of it is so whatever the lead, and no reading has been laid against that (clockAgain).
func (t *Track) lead(k int) {
	t.F.V[estimate.X] -= float64(k - t.Lead)
	if !t.Vouched {
		t.F.V[estimate.R] += float64(k - t.Lead)
	}
	t.Lead, t.LeadMost, t.Lo, t.Hi = k, k, 0, 0
}
