package clockcheck

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// fit says by how many whole seconds a stream may lead x: from lo to hi, and best
// by k, where of the whole seconds open for x that is right which is s later. A stream
// leads UTC while its leap-second data are missing.
type fit struct {
	k, lo, hi int
	s         int
	pinned    bool // x is known to within a second and so names it
}

// fits lays a stream that would have x be rel away, and be late besides, against x.
func (j *Judge) fits(at timescale.Local, rel float64) (f fit, ok bool) {
	rx := &j.rx
	lo, hi := j.interval(guardZ)
	if j.goesOn(at, rel) {
		return fit{pinned: true}, true
	}
	f.pinned = hi-lo < 1
	last := leapMax
	if rx.secProved || at.Sub(rx.since) >= proofTime {
		last = 0
	}
	late := j.latencyRange()
	meets := func(n int, lo, hi float64) bool {
		return claim{late.lo + rel - float64(n), late.hi + rel - float64(n)}.meets(claim{lo, hi})
	}
	f.lo = last
	for k := last; k >= 0; k-- {
		if meets(k, lo, hi) {
			f.lo, f.hi = k, max(f.hi, k)
		}
	}
	best := math.Inf(1)
	for n := j.x.secLo; n <= last+j.x.secHi; n++ {
		off := math.Abs(rel - float64(n) + j.f.v[sD])
		if off < best && meets(n, lo-float64(j.x.secLo), hi-float64(j.x.secHi)) {
			f.k = min(max(n, 0), last)
			best, f.s, ok = off, n-f.k, true
		}
	}
	if ok && f.lo > 0 && !rx.sawInvalid {
		return f, false // no cold start was seen that would explain it
	}
	return f, ok
}

// joinReceiver attaches a stream that fits x. Where x does not name the second, all
// seconds that fit stay open beside the best.
func (j *Judge) joinReceiver(at timescale.Local, z int64, f fit) {
	rx, k := &j.rx, f.k
	j.shift(float64(f.s))
	j.x.secLo, j.x.secHi = j.x.secLo-f.s, j.x.secHi-f.s
	if !f.pinned {
		j.x.secAlone = true // x, by whomever it stands, does not name the second
		// UTC is what the stream says less its lead, and f holds each lead by which that lies
		// among the seconds open for x: one or the other is right, and their doubts are not
		// added. A hardware clock that an unproved evening has set leaves the next as unsure
		// as that. What x left open stays open: this proves nothing.
		j.x.secLo, j.x.secHi = min(j.x.secLo, k-f.hi), max(j.x.secHi, k-f.lo)
	}
	rx.gone = false
	rx.attached, rx.leapsMissing, rx.fault, rx.pending, rx.from, j.x.stream, j.x.room = true, k, fNone, 0, at, false, room{}
	if k > 0 {
		rx.fault = fAhead
	}
	if j.receiverCarries() && j.on(RuleAncestry) {
		j.sameAncestry(at, z, k)
	}
	if f.pinned && f.lo == f.hi && j.x.secondProved() && (j.x.ancestry&^ancReceiver != 0 || !j.on(RuleAncestry)) && k == 0 {
		rx.secProved = true
	}
	j.secondByRun(at, z)
	j.useReceiver(at, z)
	if j.opposed() {
		j.resolve(at) // there is a vote more
	}
}

// sameAncestry joins a stream to an x that came from this very receiver by way of
// the RTC. The two are one witness: whichever is known better stands, and the
// other takes its uncertainty over. Fused, the receiver's unproved latency would
// seem better known at each boot.
func (j *Judge) sameAncestry(at timescale.Local, z int64, k int) {
	j.f.advance(at)
	zr := j.zRel(at, z) - float64(k)
	if j.f.sigma(sX) <= j.f.sigma(sD) {
		j.f.attach(sD, -zr, 1, j.rx.jitter)
		return
	}
	j.f.start(zr, sD, j.rx.jitter)
	j.rtc.attached, j.rtc.independent = false, false
	j.learned.RTC = nil
}
