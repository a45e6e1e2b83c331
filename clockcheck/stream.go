package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// meetReceiver lets a stream of agreeing valid epochs take part: it defines x
// if nothing else has, or is laid against what is known.
func (j *Judge) meetReceiver(at timescale.Local, z int64) {
	rx := &j.rx
	if !j.x.known {
		j.f.base, j.f.at = z, at
		j.f.start(0, sD, rx.jitter)
		j.x = known{known: true, dateProved: rx.dateSaid, ancestry: ancReceiver, secLo: -leapMax, support: supportReceiver, gnssAt: at}
		rx.attached, rx.fault, rx.leapsMissing, rx.from = true, fNone, 0, at
		if rx.secProved || !j.on(RuleSecond) {
			j.x.secLo = 0
		}
		j.note(at, "started", "The time now comes from the receiver.")
		return
	}
	rel := j.rel(at, z)
	f, ok := j.fits(at, rel)
	if !ok && rx.latencyBy == "learned" {
		// A latency may have leapt further than it ever was seen to.
		rx.latencyBy = ""
		mean, sigma := rx.link.latencyPrior()
		j.f.forget(sD, mean, sigma)
		f, ok = j.fits(at, rel)
	}
	if !ok || rx.fault == fDisagrees && f.k != 0 { // what would explain it settles no disagreement
		j.oppose(at, rel)
		return
	}
	if rx.fault == fDisagrees && !rx.back.agrees(at, rel, j.f.sigma(sY), rx.jitter) {
		return
	}
	j.joinReceiver(at, z, f)
}

// hearReceiver takes a further reading of an attached stream.
func (j *Judge) hearReceiver(at timescale.Local, z int64) {
	rx := &j.rx
	nu := j.zRel(at, z) - float64(rx.leapsMissing) - (j.f.v[sX] - j.f.v[sD])
	_, v := j.f.sum(sD, -1)
	gate := math.Max(outlierGate, guardZ*math.Sqrt(v))
	if rx.left() { // coming back wants more than not being absurd
		gate = dragFloorS + guardZ*math.Sqrt(v+math.Min(rx.jitter, jitterStart*jitterStart))
	}
	if math.Abs(nu) > gate {
		j.outsideGate(at, z, nu)
		return
	}
	rx.pending = 0
	if rx.left() {
		if !rx.back.agrees(at, nu, j.f.sigma(sY), rx.jitter) {
			return
		}
		rx.fault, rx.from = fNone, at
		j.streamInterrupted(at) // what it agrees with is known less well by now: it is laid against that as after a hole
		j.note(at, "trust-changed", "The receiver agrees again.")
	}
	rx.standsAhead()
	if rx.fault == fAhead && at.Sub(rx.since) >= proofTime {
		// Leap data would have come by now: the explanation is used up.
		rx.attached, rx.fault, rx.leapsMissing = false, fNone, 0
		j.meetReceiver(at, z)
		return
	}
	pulse := j.pulseLive(at) // it stands, so what moves is the latency
	if s, sudden, dragged := j.drag(at, z); dragged {
		if (sudden || pulse) && j.latencyLeapt(at, z, s) {
			return
		}
		rx.leftStream(fDragged, s)
		j.track(at, j.rel(at, z))
		j.note(at, "trust-changed", "The receiver's time has been led away by "+seconds(s)+".")
		return
	}
	if !j.doubtful() {
		j.useReceiver(at, z)
	}
}

// useReceiver updates the filter with an accepted reading.
func (j *Judge) useReceiver(at timescale.Local, z int64) {
	rx := &j.rx
	j.f.advance(at)
	zr := j.zRel(at, z) - float64(rx.leapsMissing)
	want, v := j.f.sum(sD, -1)
	nu := zr - want
	j.f.measureStream(zr, lateWeight(nu, v, rx.jitter), rx.rateFloor(at))
	if rx.link.steady() {
		j.view.take(at, &j.f, zr, rx.jitter, j.receiverCarries())
	}
	if rx.fault == fNone && !j.pulseLive(at) {
		j.learnSlope("receiver", want+math.Copysign(math.Min(math.Abs(nu), 3*math.Sqrt(v+rx.jitter)), nu), rx.jitter)
	}
	// Arrival jitter seen, slowly: 1 to 5 min of memory, 0.5 to 100 ms.
	rx.jitter = math.Min(math.Max(rx.jitter+(math.Min(nu*nu, 0.04)-rx.jitter)/float64(min(max(rx.run, 60), 300)), 2.5e-7), 1e-2)
	j.x.ancestry |= ancReceiver
	j.x.gnssAt = at
	j.x.dateProved = j.x.dateProved || rx.dateSaid // it said the day, and fits
	if rx.leapsMissing == 0 && !j.pulseLive(at) {
		j.x.support = supportReceiver
	}
	if rx.latencyBy == "" && rx.link.steady() && rx.secProved && j.f.sigma(sD) < j.latencyKnown() && (!j.receiverCarries() || !j.on(RuleAncestry)) {
		rx.latencyBy, rx.proved = "witness", j.f.v[sD]
		j.note(at, "proved", "The receiver's arrival latency is confirmed.")
	}
	// However it came to be another: it may be the former one again after the next start.
	if d := math.Abs(j.f.v[sD] - rx.proved); (rx.latencyBy == "witness" || rx.latencyBy == "learned") && d > latencyMoved && j.f.sigma(sD) < latencyProved {
		rx.leap = math.Max(rx.leap, d)
	}
}

// outsideGate counts readings that leave the stream; three in a row that agree
// with one another are a jump, and a jump wants an explanation.
func (j *Judge) outsideGate(at timescale.Local, z int64, nu float64) {
	rx := &j.rx
	if rx.left() {
		rx.jump = nu
		rx.back.disagrees(nu)
		j.track(at, j.rel(at, z))
		return
	}
	if rx.pending > 0 && math.Abs(nu-rx.pendingNu) > 0.2 {
		if rx.pending = 0; rx.run == 1 {
			rx.fault = fScatter
		}
	}
	rx.pendingNu = nu
	if rx.pending++; rx.pending < 3 {
		return
	}
	rx.pending = 0
	j.jumped(at, z, nu)
}

// jumped explains a jump of nu seconds, or calls it a fault. The oscillator
// cannot jump: either the receiver was wrong before, or it is wrong now.
func (j *Judge) jumped(at timescale.Local, z int64, nu float64) {
	rx := &j.rx
	whole := math.Round(nu)
	// Leap-second data leave the fraction as it was.
	isWhole := whole != 0 && math.Abs(nu-whole) < math.Min(0.06+4*math.Sqrt(rx.jitter), 0.25)
	switch {
	case isWhole && whole == -1 && rx.leap60 != 0 && at.Sub(rx.leap60) < 10*time.Second:
		// UTC itself took a leap second; POSIX time has no room for it.
		j.shift(-1)
		j.note(at, "leap-second", "UTC had a leap second.")
		j.useReceiver(at, z)
	case isWhole && rx.leapsMissing != 0 && int(-whole) == rx.leapsMissing:
		rx.leapsMissing, rx.fault, rx.since = 0, fNone, at
		j.note(at, "leap-data", "The receiver's leap-second data has arrived: its whole second is right now.")
		j.useReceiver(at, z)
	case j.on(RuleLeapStep) && isWhole && whole < 0 && whole >= -leapMax && !rx.secProved && !j.x.secondProved() &&
		(j.receiverCarries() || rx.leapsMissing+int(whole) >= j.x.secLo):
		// The leap-second data came in: the later value is the right one. Until
		// it is proved anew, the former may be right as well; and where no cold
		// start was seen, or it is not the first such step, only a witness can
		// prove it, for a lie looks the same.
		rx.noProof = rx.noProof || !rx.sawInvalid || rx.leapStep
		s := rx.leapsMissing + int(whole)
		j.shift(float64(s))
		j.x.secLo, j.x.secHi = min(j.x.secLo-s, 0), max(j.x.secHi-s, 0)
		if j.receiverCarries() {
			j.x.secLo = -leapMax
		}
		rx.leapsMissing, rx.fault, rx.since, rx.leapStep = 0, fNone, at, true
		j.note(at, "leap-data", "The receiver stepped back by whole seconds: its leap-second data has arrived.")
		j.useReceiver(at, z)
	case (!isWhole || !rx.link.steady()) && j.latencyLeapt(at, z, nu):
	case isWhole && whole < 0 && !rx.secProved && math.Abs(whole+float64(rx.leapsMissing)) <= 1 && j.readAnew(at, z):
		j.note(at, "leap-data", "The receiver stepped back by whole seconds: its leap-second data has arrived.")
	case !j.on(RuleJump):
		j.shift(nu)
		j.useReceiver(at, z)
	default:
		rx.leftStream(fJumped, nu)
		j.track(at, j.rel(at, z))
		j.note(at, "trust-changed", "The receiver's time jumped by "+seconds(nu)+".")
	}
}

// standsAhead clears a fault that only said that a reading was no evidence. That the
// stream leads UTC, as explained, stands until its data come or the explanation is used up.
func (r *receiver) standsAhead() {
	if r.fault = fNone; r.leapsMissing != 0 {
		r.fault = fAhead
	}
}

// readAnew takes a stream whose leap-second data came in, but were a second more or less
// than was made of it when it was met: a lateness of over a second hides one. A step of
// whole seconds is never a latency's. So what was made of both is void, and the lateness
// is what it seems beside x, which stands.
func (j *Judge) readAnew(at timescale.Local, z int64) bool {
	rx := &j.rx
	ahead := rx.leapsMissing
	if rx.leapsMissing = 0; !j.fitsLatency(at, z) || rx.latencyBy == "configured" {
		rx.leapsMissing = ahead
		return false
	}
	j.f.advance(at)
	j.f.attach(sD, -j.zRel(at, z), 1, rx.jitter)
	rx.fault, rx.from, rx.leapStep, rx.latencyBy, rx.places = fNone, at, true, "", places{}
	j.watch, j.view = watch{}, streamView{}
	return true
}

// latencyLeapt takes a sudden change of nu seconds as one of the arrival latency,
// if its range allows. Latencies leap in real receivers. x stands; the latency is
// open again.
func (j *Judge) latencyLeapt(at timescale.Local, z int64, nu float64) bool {
	rx := &j.rx
	if !j.on(RuleLatencyJump) || math.Abs(nu) >= rx.link.latencyMax() || !j.fitsLatency(at, z) {
		return false
	}
	j.f.advance(at)
	j.f.attach(sD, -j.zRel(at, z)+float64(rx.leapsMissing), 1, rx.jitter)
	if rx.latencyBy != "" || j.pps.stands(at) { // nobody was lied to, or x does not rest on it
		rx.places = places{}
	} else {
		rx.places.leapt(nu)
	}
	rx.latencyBy, rx.leap, rx.from = "", math.Max(rx.leap, math.Abs(nu)), at
	j.watch, j.view = watch{}, streamView{}
	j.note(at, "latency-jump", "The receiver's arrival latency has jumped.")
	return true
}

// receiverCarries tells whether x rests on the receiver alone.
func (j *Judge) receiverCarries() bool { return j.x.ancestry == ancReceiver }

// oppose records that the receiver says something else than what is known.
func (j *Judge) oppose(at timescale.Local, rel float64) {
	rx := &j.rx
	if rx.fault != fDisagrees && rx.fault != fJumped { // one that was outvoted says nothing new
		j.note(at, "trust-changed", "The receiver disagrees with the rest by "+seconds(rel)+".")
	}
	rx.fault = fDisagrees
	rx.back.disagrees(rel)
	j.track(at, rel)
	j.resolve(at)
}

// track keeps what the receiver would have x be, while it takes no part.
func (j *Judge) track(at timescale.Local, rel float64) {
	rx := &j.rx
	rx.claim, rx.claimAt = claim{rel, rel + rx.link.latencyMax()}, at
	if !rx.secProved {
		rx.claim.lo -= leapMax
	}
}
