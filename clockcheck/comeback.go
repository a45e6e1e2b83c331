package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// A receiver that left its stream, or never agreed, may agree again because it is right
// again, or because a false signal moves it across the estimate. A receiver that is right
// comes with a leap of more than comeLeap, or moves less than comeFloor in comeSteady; a
// receiver that is dragged moves further.
const (
	comeLeap   = 0.2              // s: it came with a leap, not by creeping
	comeSteady = 10 * time.Minute // otherwise it must stand still so long
	comeFloor  = 0.035            // s: and may go so far in that time, beside its noise
	comeMean   = 30               // readings: the noise of a mean of them
)

// comeback watches the agreeing readings of a receiver that took no part.
type comeback struct {
	since    timescale.Local
	leapt    bool
	n        int
	away     float64 // s: how far it was before it agreed
	from, to float64 // s: mean of the first readings and of the last
}

// disagrees says that a reading disagrees, nu from what is known.
func (c *comeback) disagrees(nu float64) { *c = comeback{away: nu} }

// agrees takes a reading that agrees, nu from what is known, and tells whether the
// receiver may take part again. rate is the σ of the oscillator's rate, s/s; jitter the
// variance of the arrival, s².
func (c *comeback) agrees(at timescale.Local, nu, rate, jitter float64) bool {
	if c.n == 0 {
		c.since, c.leapt = at, math.Abs(nu-c.away) > math.Max(comeLeap, 6*math.Sqrt(jitter))
	}
	if c.n++; c.n <= comeMean {
		c.from += (nu - c.from) / float64(c.n)
	}
	c.to += (nu - c.to) / float64(min(c.n, comeMean))
	if c.leapt {
		return c.n >= agreeAgain
	}
	age := at.Sub(c.since)
	if age < comeSteady || c.n < 2*comeMean {
		return false
	}
	if math.Abs(c.to-c.from) <= comeFloor+guardZ*math.Sqrt(2*jitter/comeMean)+boundZ*rate*age.Seconds() {
		return true
	}
	c.disagrees(nu)
	return false
}

// noEvidence says that a reading is no evidence, and why. That ends a run, but no
// disagreement: who was right is as open as before.
func (r *receiver) noEvidence(f fault) {
	if r.run = 0; !r.dissents() {
		r.fault = f
	}
}

// leftStream says that the receiver has left its own stream by s, at once (fJumped) or slowly
// (fDragged): it proves nothing, and takes no part until it has come back.
func (r *receiver) leftStream(f fault, s float64) {
	r.fault, r.jump, r.noProof = f, s, true
	r.back.disagrees(s)
}
