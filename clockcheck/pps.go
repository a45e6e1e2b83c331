package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// Rules for a receiver's pulse. It marks the second within microseconds and says
// nothing else: not which second, not which of its two edges is meant, not whether
// the receiver knows the time. Each comes from elsewhere:
//
//   - Its receiver's sentences must be believed at that instant, and its ancestry is
//     the receiver's: it is no second witness.
//   - What is known besides must leave one whole second only (see number).
//   - The edge is configured, or was learned, or is told by a witness of other
//     ancestry. Until then both edges stay open in the guard: a wrong edge is off by
//     the pulse's length, often 100 ms, and at half a second nothing would show it.
//   - Edges that do not continue the comb of their kind once a second are spurious.
//   - A comb that jumps, or goes away faster than the oscillator can, is not used.
const (
	pulseFresh  = 5 * time.Second
	pulseSettle = 10 * time.Second // of valid fix; receivers align their pulse after it
	combRun     = 5                // edges that continue one another
	combLost    = 3 * time.Second
	combRate    = 150e-6 // s/s: no oscillator is further off, UTC's wander included
	combFloor   = 0.001  // s: interrupt latency, or the polling of a USB adapter
	combGap     = 300    // s: after a longer hole the comb begins anew
	oddMost     = 8.0    // spurious edges, less a quarter for each good one
	pulseGate   = 0.001  // s
	pulseMisses = 10
	pulseAgain  = 30      // agreeing edges that clear a fault
	pulseJitter = 300e-6  // s, σ to begin with: a busy computer, a USB adapter
	pulseLeast  = 0.5e-6  // s, σ: the kernel's stamps are no better
	pulseMost   = 0.002   // s, σ
	pulseFloor  = 10e-6   // s, σ of what all edges share: interrupt latency, cable (planning figure)
	numberClear = 0.020   // s: another second must be so far outside
	edgeOpen    = 0.040   // s: with more left open by the edge the latency is not proved
	pulseLate   = 2 * 1e9 // ns: an edge older than that is of no use
)

// Edge is one of the two edges of a pulse, as the kernel names them.
type Edge int

const (
	EdgeUnknown Edge = iota
	EdgeAssert
	EdgeClear
)

func (e Edge) String() string {
	return [...]string{"unknown", "assert", "clear"}[e]
}

func (e Edge) other() Edge { return EdgeAssert + EdgeClear - e }

// PPS is one edge of the receiver's pulse.
type PPS struct {
	At    timescale.Local
	Edge  Edge          // EdgeAssert or EdgeClear
	Sigma time.Duration // standard deviation of At: the stamp's and its conversion's
}

// pulse is what the judge knows of the receiver's pulse.
type pulse struct {
	why        string // when there is none: the reason, "" = nobody asked
	heard      timescale.Local
	combs      [2]comb // by Edge − 1
	odd        float64 // spurious edges lately
	often      bool    // … too many
	secondEdge Edge    // the edge taken for the second's
	edgeBy     string  // who says so: "configured", "learned", a witness; "" nobody
	open       claim   // what the edge, though told, leaves open; s, relative to it
	waits      wait
	used       timescale.Local
	misses     int
	jitter     float64 // variance, s²
	looked     timescale.Local

	fault    fault
	off      float64 // s, of fault
	otherOK  bool    // of fDisagrees: the other edge would fit
	claim    claim   // what it says of x while it is not used
	opposes  bool    // … and the guard must span that
	agreeing int
	trust    Trust
}

// wait is what a pulse that comes is waiting for.
type wait int

const (
	waitNot wait = iota
	waitComb
	waitFix
	waitTime
	waitNumber
	waitEdge
)

// PPSMissing says that there is no pulse to be had, and why.
func (j *Judge) PPSMissing(why string) {
	j.learned.Latencies = j.latencies()
	j.pps, j.x.pulse = pulse{why: why, trust: j.pps.trust}, false
}

// PPS takes one edge. Those of one kind must come in order.
func (j *Judge) PPS(r *PPS) {
	p := &j.pps
	if r.Edge != EdgeAssert && r.Edge != EdgeClear {
		return
	}
	if p.heard == 0 {
		p.jitter = sq(pulseJitter)
		j.rememberEdge()
	}
	p.heard = max(p.heard, r.At)
	c := &p.combs[r.Edge-1]
	regular := p.count(c.take(r.At))
	if !regular && j.on(RulePulseComb) {
		return
	}
	if p.waits = j.pulseWaits(r.At, c); p.waits != waitNot {
		return
	}
	j.f.advance(r.At)
	switch {
	case !j.x.pulse:
		j.namePulse(r)
	case r.Edge == p.secondEdge:
		j.hearPulse(r)
	}
}

// pulseWaits tells what an edge waits for before it is looked at.
func (j *Judge) pulseWaits(at timescale.Local, c *comb) wait {
	switch {
	case !c.steady(at):
		return waitComb
	case !j.pulseFix(at):
		return waitFix
	case !j.x.known || int64(j.f.at-at) > pulseLate:
		return waitTime
	}
	return waitNot
}

// pulseFix tells whether the receiver is believed at an instant, and so its pulse.
func (j *Judge) pulseFix(at timescale.Local) bool {
	rx := &j.rx
	if !j.on(RulePulseFix) {
		return true
	}
	return rx.present && rx.attached && rx.run >= runLength && (rx.fault == fNone || rx.fault == fAhead) &&
		at.Sub(rx.valid) < validGap && at.Sub(rx.since) >= pulseSettle
}

// pulseLive tells whether x is being measured by the pulse.
func (j *Judge) pulseLive(at timescale.Local) bool {
	return j.x.pulse && j.x.support == supportPulse && at.Sub(j.pps.used) < pulseFresh
}

// pulseClaim is the UTC − local, ns, that an edge means by the second nearest to the
// estimate.
func (j *Judge) pulseClaim(at timescale.Local) int64 {
	utc := int64(at) + j.f.base + int64(math.Round((j.f.v[sX]-j.f.v[sY]*float64(j.f.at-at)/1e9)*1e9))
	second := (utc + timescale.Second/2) / timescale.Second * timescale.Second
	return second - int64(at)
}

// hearPulse takes a further edge of a pulse that is in use.
func (j *Judge) hearPulse(r *PPS) {
	p := &j.pps
	z := j.pulseClaim(r.At)
	nu, v := j.rel(r.At, z), j.f.p[sX][sX]
	noise := j.pulseNoise(r)
	if math.Abs(nu) > math.Max(pulseGate, 6*math.Sqrt(v+noise)) && j.on(RulePulseGate) {
		if p.misses++; p.misses >= pulseMisses {
			j.losePulse(r.At, fJumped, nu)
			j.note(r.At, "trust-changed", "The receiver's pulse moved by "+seconds(nu)+".")
		}
		return
	}
	p.misses = 0
	if !j.pulseDragged(r.At, z) {
		j.usePulse(r, nu)
	}
}

// pulseNoise is the variance of an edge, s². An edge that came to us late is carried
// forward at a rate that is not known well.
func (j *Judge) pulseNoise(r *PPS) float64 {
	late := math.Max(float64(j.f.at-r.At)/1e9, 0)
	return math.Max(sq(math.Max(r.Sigma.Seconds(), pulseLeast)), j.pps.jitter) + j.f.p[sY][sY]*late*late
}

// usePulse measures x with an edge that is nu seconds from the estimate.
func (j *Judge) usePulse(r *PPS, nu float64) {
	p := &j.pps
	v, noise := j.f.p[sX][sX], j.pulseNoise(r)
	weight := noise
	if q := nu * nu / (9 * (v + noise)); q > 1 {
		weight = (v+noise)*q - v // interrupts are late in a skewed way
	}
	j.learnSlope("pulse", j.f.v[sX]+nu, noise)
	j.f.measure(j.f.v[sX]+nu, sNo, 0, weight)
	if v < noise { // else nu tells more of x than of the edge
		p.jitter = math.Min(math.Max(p.jitter+(math.Min(nu*nu, sq(pulseMost))-p.jitter)/60, sq(pulseLeast)), sq(pulseMost))
	}
	j.x.ancestry |= ancReceiver
	j.x.support, j.x.gnssAt, p.used = supportPulse, r.At, r.At
	j.pulseProvesLatency(r.At)
}

func (j *Judge) pulseProvesLatency(at timescale.Local) {
	rx := &j.rx
	if !rx.attached || rx.latencyBy == "pps" || j.f.sigma(sD) > latencyProved || j.x.open.hi-j.x.open.lo > edgeOpen {
		return
	}
	if rx.latencyBy == "" {
		j.note(at, "proved", "The pulse confirms the receiver's arrival latency.")
	}
	rx.latencyBy = "pps"
}

// losePulse stops using the pulse. What it says is off from the estimate.
func (j *Judge) losePulse(at timescale.Local, f fault, off float64) {
	p := &j.pps
	j.x.pulse, p.fault, p.off, p.misses, p.agreeing, p.otherOK = false, f, off, 0, 0, false
	p.claim = claim{off, off}
	// Where nobody but the receiver spoke for the time, the pulse may have been wrong
	// before as well as now.
	p.opposes = f != fDragged && p.edgeBy != "" && !j.witnessed()
}

// witnessed tells whether x does not stand on the receiver alone.
func (j *Judge) witnessed() bool { return j.x.ancestry&^ancReceiver != 0 || !j.on(RuleAncestry) }

// pulseDragged looks whether the pulse has gone away from what the oscillator allows,
// as drag does for the stream, but finer: what a pulse of microseconds leaves is the
// oscillator's own wander.
func (j *Judge) pulseDragged(at timescale.Local, z int64) bool {
	p, w := &j.pps, &j.watch
	if !w.have || at.Sub(p.looked) < lookEvery || !j.on(RuleDrag) {
		return false
	}
	p.looked = at
	was, nu, away := j.pulseAway(at, z)
	if !away {
		return false
	}
	spoken := float64(w.median()-was.base)/1e9 - float64(j.rx.leapsMissing) - (was.v[sX] - was.v[sD])
	j.f, w.older, w.newer, j.view = was, was, was, streamView{}
	j.losePulse(at, fDragged, nu)
	j.note(at, "trust-changed", "The receiver's pulse has been led away by "+seconds(nu)+".")
	if w.n >= len(w.last) && math.Abs(spoken-nu) < rampFloorS+math.Abs(nu)/2 {
		// The sentences went with it: the signal is false, not the wire.
		j.rx.leftStream(fDragged, nu)
		j.track(at, j.rel(at, w.median()))
	}
	return true
}

// pulseAway is the pulse against a holdover of one to two hours.
func (j *Judge) pulseAway(at timescale.Local, z int64) (was filter, nu float64, away bool) {
	was = j.watch.older
	was.qS, was.qD = j.f.qS, j.f.qD
	was.advance(at)
	nu = float64(z-was.base)/1e9 + was.v[sY]*float64(was.at-at)/1e9 - was.v[sX]
	return was, nu, math.Abs(nu) > rampFloorS+guardZ*math.Sqrt(was.p[sX][sX])
}
