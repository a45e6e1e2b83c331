package banked

import (
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// handHorizon is over how long the growth of the guard is taken, s: a client asks again within minutes,
// and the rate of growth hardly changes in that (assumption).
const handHorizon = 10

// Hand returns the time to hand on at now; false while there is none that the judge
// vouches for, however widely.
func (j *Judge) Hand(now timescale.Local) (clockcheck.Handed, bool) {
	t := j.bank.Best()
	if !t.Located || !j.bank.Proved().Date || j.oneByOne(now) {
		return clockcheck.Handed{}, false
	}
	j.bank.Advance(now)
	_, g := j.Ahead(0, 0)
	if g > day/2 { // UTC may be anywhere
		return clockcheck.Handed{}, false
	}
	_, later := j.Ahead(0, handHorizon)
	h := clockcheck.Handed{At: now, UTC: j.utc(now) + timescale.UTC(j.bank.Correction()*1e9), RatePPM: t.F.V[estimate.Y] * 1e6, Guard: g,
		GuardPPM: math.Max(later-g, 0) / handHorizon * 1e6, Basis: j.basis(now), Confirmed: j.bank.Told()}
	least := math.Inf(1)
	for i := range j.servers.All() {
		s := &j.servers.All()[i]
		if !t.On.Has(s.Family) || now.Sub(s.At) >= serverFresh {
			continue
		}
		switch {
		case math.IsInf(least, 1):
			h.Leap = s.Upstream.Leap
		case h.Leap != s.Upstream.Leap:
			h.Leap = 0
		}
		if s.Bound < least {
			least, h.Server = s.Bound, s.Upstream
		}
	}
	return h, true
}
