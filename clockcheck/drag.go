package clockcheck

import (
	"math"
	"slices"
	"time"

	"noonmark/clockcheck/timescale"
)

// A false signal can lead a receiver away slowly, each reading within the gate of
// the one before. What it cannot lead away is the oscillator: so the filter is
// kept as it was one to two hours ago, runs on without the receiver, and the
// receiver must stay within what that holdover allows. With a learned rate a drag
// of 200 ppm (12 ms a minute) or more is seen before the error leaves the guard; a
// slower one softens the latency, and the guard grows along (scenario
// dragged-slowly: 40 ppm); what stays below the oscillator's own wander is never seen.
// While the rate is unlearned (first minutes) the figures are several times worse.
const (
	keepEvery  = time.Hour
	lookEvery  = 10 * time.Second
	longHole   = 20 * time.Minute // after it a state from before is little worth
	earlyKeep  = 15 * time.Second // a latency may leap as soon as it is there
	firstKeep  = 2 * time.Minute  // by then the stream has settled
	dragFloorS = 0.060            // s: jitter and bimodal bursts are no drag
	leapFloorS = 0.035            // s: so much at once is no wander
	rateYoung  = 1.5e-6           // s/s, σ: a rate of some hours is better known
	rampFloorS = 0.025            // s: so much an oscillator in changing air goes astray in an hour
)

// watch holds two former states of the filter, the older of which counts.
type watch struct {
	older, newer filter
	kept         timescale.Local // when young was kept
	since        timescale.Local // … and old
	looked       timescale.Local
	have         bool
	settled      bool     // old is of a stream that had settled
	away         int      // looks in a row that found the receiver away
	lastNear     filter   // as it was at the last look that did not
	before       float64  // s: where the receiver was found then
	noise        float64  // s²: variance of the arrival then
	looks        bool     // there was such a look since old was kept
	last         [9]int64 // the last readings as explained, UTC − local in ns: their median is looked at
	n            int
	overHole     bool    // old is what was held over a hole, not yet laid against the stream
	back         bool    // it comes back after a break, and has not been looked at since
	offset       float64 // s: by how much UTC is later in old than in the filter, where the stream has left what old expects
	slow         float64 // s: by how much the stream leads old, its mean over about a minute
}

const (
	awayLooks = 2 // in a row make a drag
	slowLooks = 6 // are a minute
	// An exponential mean over n looks has the noise of 2n−1, each a mean of nine.
	slowReadings = (2*slowLooks - 1) * 9
)

// median of the last readings: single ones may be damaged or late.
func (w *watch) median() int64 {
	v := w.last
	slices.Sort(v[:])
	return v[len(v)/2]
}

// slowly follows by how much the stream leads the older state: the mean of the last
// readings, over slowLooks looks. Scatter and bursts that come in two places are no ramp.
func (w *watch) slowly(want float64) float64 {
	var sum float64
	for _, z := range w.last {
		sum += float64(z-w.older.base) / 1e9
	}
	w.slow += (sum/float64(len(w.last)) - want - w.slow) / slowLooks
	return w.slow
}

// found keeps how it stood at a look that finds the receiver nu away, and near. The
// arrival's variance is not known at once: at first what the last readings show of it
// counts too.
func (w *watch) found(nu float64, j *Judge) {
	w.before, w.noise, w.lastNear, w.looks = nu, j.rx.jitter, j.f, true
	if !w.settled {
		w.noise = math.Max(w.noise, w.scatter())
	}
}

// scatter is the variance of the last readings, s².
func (w *watch) scatter() float64 {
	var sum, square float64
	for _, z := range w.last {
		d := float64(z-w.last[0]) / 1e9
		sum, square = sum+d, square+d*d
	}
	n := float64(len(w.last))
	return (square - sum*sum/n) / (n - 1)
}

// streamInterrupted says that the stream had a hole: its latency may have leapt meanwhile. Where
// no former state is kept, or the hole was long, what was held over it is one.
func (j *Judge) streamInterrupted(at timescale.Local) {
	w := &j.watch
	if !j.rx.link.steady() {
		return
	}
	if j.rx.attached && (!w.have || at.Sub(j.rx.valid) >= longHole) {
		*w = watch{older: j.f, newer: j.f, kept: at, since: at, have: true, overHole: true}
	}
	w.back, w.n = w.have, 0
}

// doubtful tells whether a reading must wait for a look before it may move the filter.
func (j *Judge) doubtful() bool {
	return j.on(RuleDrag) && j.watch.have && (j.watch.back || j.watch.away > 0)
}

// drag looks whether the receiver has been led away since the older state was
// kept. If so that state is taken up again, and drag reports by how much, and
// whether it was sudden.
func (j *Judge) drag(at timescale.Local, z int64) (s float64, sudden, dragged bool) {
	w := &j.watch
	if !j.rx.link.steady() { // it carries nobody away who does not rely on when it speaks
		return 0, false, false
	}
	w.last[w.n%len(w.last)] = z - int64(j.rx.leapsMissing)*1e9 // leap-second data that come in are no drag
	w.n++
	first := !w.have && at.Sub(j.rx.since) >= earlyKeep && w.n >= 2*len(w.last)
	settled := w.have && !w.settled && w.away == 0 && !w.back && at.Sub(w.kept) >= firstKeep
	switch {
	case first, settled:
		*w = watch{older: j.f, newer: j.f, kept: at, since: at, have: true, settled: w.have, last: w.last, n: w.n}
		w.found(0, j) // so the filter has it; the next look may find a leap already
		return 0, false, false
	case !w.have || at.Sub(w.looked) < lookEvery && !w.back || w.n < len(w.last) || !j.on(RuleDrag):
		return 0, false, false
	}
	w.looked, w.back = at, false
	was := w.from(w.older, at)
	slow := w.slowly(was.want)
	if !w.looks {
		w.found(was.nu, j)
	}
	leap := math.Abs(was.nu-w.before) > unseen(w.noise)
	gone := math.Abs(was.nu) > dragFloorS+guardZ*math.Sqrt(was.variance+math.Max(math.Min(w.noise, jitterStart*jitterStart), w.noise/5))
	young, led := view{}, false
	if leap || !gone {
		young, led = w.younger(at, was, slow, leap)
	}
	if leap || gone || led {
		if w.away++; w.away < awayLooks {
			return 0, false, false
		}
		if led {
			w.before += young.nu - was.nu
			was = young
		}
		return j.foundAway(at, was, leap)
	}
	j.foundNear(at, was, slow)
	return 0, false, false
}

// foundNear is a look that finds the stream where was expects it, or nearly so: slow is its
// mean over a minute.
func (j *Judge) foundNear(at timescale.Local, was view, slow float64) {
	w := &j.watch
	if w.overHole && math.Abs(was.nu) > leapFloorS+math.Min(math.Sqrt(was.variance+w.noise/3), latencyMoved) {
		j.mayHaveMoved(at, was.nu)
		j.mayHaveLeapt(was.nu)
	}
	w.away, w.overHole, w.offset = 0, false, 0
	w.found(was.nu, j)
	if math.Abs(slow) > rampFloorS+math.Sqrt(was.variance+w.noise/slowReadings) {
		w.offset = was.v[sX] - j.f.v[sX]
	}
	if w.settled && math.Abs(slow) > rampFloorS+boundZ*math.Sqrt(was.variance+w.noise/slowReadings) {
		t := at.Sub(w.since).Seconds()
		j.soften(slow, t)
		if was.sigma(sY) > rateYoung { // or it is the rate that is wrong
			j.f.p[sY][sY] = math.Max(j.f.p[sY][sY], sq(slow/math.Max(t, 600)))
		}
	}
	j.rateTooFar()
	if at.Sub(w.kept) >= w.keepAfter() && at.Sub(j.rx.since) >= firstKeep {
		w.older, w.newer, w.since, w.kept, w.slow = w.newer, j.f, w.kept, at, 0
		w.found(w.from(w.older, at).nu, j)
	}
}

// foundAway takes up a former state, from which the stream was found away. dragged is false
// where it only came back to that.
func (j *Judge) foundAway(at timescale.Local, was view, leap bool) (s float64, sudden, dragged bool) {
	w, nu, v := &j.watch, was.nu, was.variance
	s, dragged = nu-w.before, true
	held := w.overHole
	if held { // nobody saw it on the way
		s, leap, w.before = nu, true, 0
	}
	switch {
	case leap && math.Abs(w.before) <= rampFloorS+boundZ*math.Sqrt(v+w.noise/5):
		j.restoreState(w.lastNear, at)
	case leap: // and it had gone astray before: so, maybe, had the filter
		dragged = math.Abs(nu) > leapFloorS+guardZ*math.Sqrt(v+w.noise/3)
		j.restoreState(was.filter, at)
	default:
		s = nu
		j.restoreState(was.filter, at)
	}
	if held {
		j.mayHaveMoved(at, nu)
	}
	*w, j.view = watch{}, streamView{} // what was kept may have been led away as well
	return s, leap, dragged
}

// restoreState goes back to a former state of the filter. Where the hardware clock was met anew
// since, it is compared again: what the former state says of it is no longer so.
func (j *Judge) restoreState(f filter, at timescale.Local) {
	f.advance(at)
	if f.met != j.f.met {
		f.met = j.f.met
		f.forget(sR, j.f.v[sR], 1)
		f.forget(sS, j.f.v[sS], j.f.sigma(sS))
	}
	j.f = f
}

// mayHaveLeapt: after a hole the stream is nu seconds from what was held over it, too
// much for the oscillator to be likely, too little for it to be ruled out. Then it may
// be the latency that has changed, and it is proved no more.
func (j *Judge) mayHaveLeapt(nu float64) {
	if j.on(RuleLatencyJump) {
		j.f.p[sD][sD] += nu * nu
		j.rx.latencyBy = ""
		j.watch.older, j.watch.newer = j.f, j.f
	}
}

// soften lets the latency wander as fast as the stream was seen to leave what the
// oscillator allows in t seconds: receivers whose reports are not locked to the
// second go like a ramp, 10 to 60 ms an hour and more (reports of measurements on
// an open list of timing amateurs). What is lost once is not believed to be
// steadier again until the receiver is opened anew.
func (j *Judge) soften(nu, t float64) {
	if j.on(RuleRamp) {
		j.f.qD = math.Max(j.f.qD, nu*nu/math.Max(t, keepEvery.Seconds()/2))
	}
}

// rateTooFar looks at a compensated hardware clock: one that seems to run three times
// further astray than its kind can was compared with a stream that ramps. Both rates are
// then open again, and the latency is soft.
func (j *Judge) rateTooFar() {
	sigma := j.rtcRateSigma()
	if s := j.f.v[sS]; j.cfg.RTCCompensated && j.rtc.attached && j.on(RuleRamp) && math.Abs(s) > 3*sigma {
		j.soften(s*keepEvery.Seconds(), keepEvery.Seconds())
		j.f.forget(sS, 0, sigma)
		y, sy := j.rate()
		j.f.forget(sY, y, sy)
		j.view = streamView{} // but not what is watched: it tells a ramp from a drag-off
	}
}

// shift moves UTC by s: former states of the filter no longer compare.
func (j *Judge) shift(s float64) {
	if s == 0 {
		return
	}
	j.f.shift(s)
	j.x.room.c = claim{j.x.room.c.lo + s, j.x.room.c.hi + s}
	j.watch, j.view = watch{}, streamView{}
}
