package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// Rules for a receiver's word. A receiver makes four claims: the date, the time
// of day, the whole second, and (by sending now) its arrival latency. Nothing in
// the sentences proves the last two.
const (
	// proofTime: GPS repeats the leap-second data each 12.5 min (IS-GPS-200,
	// subframe 4 page 18); valid so long without a break, a receiver has it.
	proofTime = 15 * time.Minute
	// validGap is the longest hole in a run of valid epochs.
	validGap = 5 * time.Second
	// freshFor: a reference is silent after this.
	receiverFresh = 10 * time.Second
	// leapMax: a receiver without leap-second data is ahead of UTC by 18 s
	// minus its firmware's count; 18 = GPS − UTC since 2017-01-01 (tzdata).
	leapMax = 18
	// runLength valid epochs must agree before the first is believed.
	runLength = 3
	// The prior of an unproved latency: mean and σ of the Gaussian that the
	// filter starts with. The hull [0, latencyMax] is what verdicts use.
	latencyMean, latencySigma = 0.30, 0.35
	latencyFloor              = 0.020 // s, σ: no latency is known better
	latencyProved             = 0.120 // s, σ: below, the Gaussian rules
	jitterStart               = 0.020 // s
	outlierGate               = 0.40  // s: beyond, a reading is not the same stream
	week1024                  = 1024 * 7 * 24 * time.Hour
	overruleAfter             = 2 * time.Hour // see Judge.overrule
	overruleSatellites        = 5
	agreeAgain                = 10 // agreeing epochs that clear a fault
)

// fault is what a reference is found guilty of.
type fault int

const (
	fNone       fault = iota
	fSimulated        // says it is a simulator
	fNotValid         // status V
	fNoDate           // valid, but no date and nobody to ask
	fEarlyDate        // before the build date, and no repair fits
	fStuck            // the same instant again and again
	fScatter          // readings that agree with nothing
	fJumped           // left its own stream by whole seconds or more
	fAhead            // whole seconds ahead after a cold start: leap data missing
	fDisagrees        // against another reference, unexplained
	fWasSet           // RTC: something set it
	fInvalid          // RTC: says so itself
	fMissing          // RTC: none there
	fUncompared       // RTC: nobody has compared it yet
)

// receiver is what the judge knows of the GNSS receiver.
type receiver struct {
	present    bool
	why        string // when not present: the port's reason
	link       Link
	key        string
	heard      timescale.Local
	valid      timescale.Local // last valid epoch
	since      timescale.Local // start of the unbroken run of valid epochs
	run        int             // agreeing valid epochs in that run
	runZ       int64           // UTC − local of the last of them, ns
	repeats    int
	sawInvalid bool // status V on this stream: a cold start is possible
	leap60     timescale.Local
	satellites int
	weeks      int // 1024-week rollovers repaired, in weeks
	dateSaid   bool

	attached  bool // its stream takes part in the filter
	ahead     int  // whole seconds by which it leads UTC, as explained
	secProved bool // whole second: by the unbroken run or a witness
	noProof   bool // it jumped without explanation: the run proves nothing
	fault     fault
	jump      float64 // s, of fJumped
	jitter    float64 // variance of the arrival, s²
	pending   int     // readings in a row outside the gate, agreeing with each other
	pendingNu float64
	agreeing  int
	latencyBy string // who proved the latency: "configured", "learned", a witness; "" nobody
	claim     claim  // what it says of x while it takes no part
	claimAt   timescale.Local
}

// ReceiverOpened says that a receiver was opened or powered anew: what it
// proved before counts no more. key names the receiver and its configuration;
// a latency learned under the same key is taken up again.
func (j *Judge) ReceiverOpened(key string, link Link) {
	j.learned.Latencies = j.latencies()
	j.rx = receiver{present: true, key: key, link: link, jitter: jitterStart * jitterStart}
	mean, sigma := latencyMean, latencySigma
	if link == Relay {
		mean, sigma = 1, 3
	}
	if l, ok := j.learnedLatency(key); ok {
		mean, sigma = l.LatencyS, math.Hypot(math.Max(l.SigmaS, latencyFloor), latencyFloor)
		j.rx.latencyBy = "learned"
	}
	if j.cfg.Latency > 0 {
		mean, sigma = j.cfg.Latency.Seconds(), 0.05
		j.rx.latencyBy = "configured"
	}
	j.f.forget(sD, mean, sigma)
}

// ReceiverLost says that the port is gone or cannot be opened, and why.
func (j *Judge) ReceiverLost(why string) {
	j.learned.Latencies = j.latencies()
	j.rx.present, j.rx.why, j.rx.attached = false, why, false
	j.rx.run, j.rx.pending = 0, 0
}

// GNSS takes one epoch.
func (j *Judge) GNSS(r *GNSS) {
	rx := &j.rx
	if !rx.present || r.Backlog {
		return
	}
	rx.heard = r.At
	switch {
	case r.Simulated:
		rx.fault, rx.run = fSimulated, 0
		return
	case r.LeapSecond:
		rx.leap60, rx.valid = r.At, r.At
		return
	case r.Repeated:
		if rx.repeats++; rx.repeats > 5 {
			rx.fault, rx.run = fStuck, 0
		}
		return
	case !r.Valid:
		rx.sawInvalid, rx.run = true, 0
		if rx.fault != fJumped {
			rx.fault = fNotValid
		}
		return
	}
	rx.repeats, rx.satellites = 0, r.Satellites
	utc, ok := j.dated(r)
	if !ok {
		rx.run = 0
		return
	}
	z := int64(utc) - int64(r.At)
	j.continueRun(r.At, z)
	j.settle(r.At)
	if !rx.attached {
		if rx.run >= runLength {
			j.meetReceiver(r.At, z)
		}
		return
	}
	j.hearReceiver(r.At, z)
}

// continueRun keeps the count of valid epochs that continue one another.
func (j *Judge) continueRun(at timescale.Local, z int64) {
	rx := &j.rx
	broken := rx.run == 0 || at.Sub(rx.valid) > validGap
	if broken {
		rx.since, rx.run = at, 0
	}
	if d := time.Duration(z - rx.runZ); rx.run > 0 && (d > 300*time.Millisecond || d < -300*time.Millisecond) {
		rx.run = 0
		if !rx.attached {
			rx.since = at
		}
	}
	rx.valid, rx.runZ = at, z
	rx.run++
	if at.Sub(rx.since) < proofTime || rx.noProof || rx.secProved {
		return
	}
	rx.secProved = true
	if rx.attached && rx.ahead == 0 && !j.x.secondProved() {
		j.x.secLo, j.x.secHi = 0, 0
		j.note(at, "proved", "The receiver has been valid for 15 min without a break: the whole second is proved.")
	}
}

// dated turns the receiver's date and time of day into a claim about UTC. Rules
// for dates: one before the floor is moved by whole 1024 weeks, if that lands
// within ten years of the floor and the date is no firmware default.
func (j *Judge) dated(r *GNSS) (timescale.UTC, bool) {
	rx := &j.rx
	rx.dateSaid = r.Year != 0
	if !rx.dateSaid {
		return j.dateFromOthers(r)
	}
	day := time.Date(r.Year, time.Month(r.Month), r.Day, 0, 0, 0, 0, time.UTC)
	utc := timescale.UTCOf(day.Add(r.TimeOfDay))
	rx.weeks = 0
	floor := j.cfg.Floor
	if floor == 0 || utc >= floor.Add(-24*time.Hour) {
		return utc, true
	}
	n := 1 + (floor.Sub(utc)-24*time.Hour-1)/week1024
	repaired := utc.Add(n * week1024)
	if defaultDate(r.Year, r.Month, r.Day) || repaired > floor.Add(10*365*24*time.Hour) {
		rx.fault = fEarlyDate
		return 0, false
	}
	rx.weeks = int(n) * 1024
	return repaired, true
}

// defaultDate tells the dates that receivers show before they know better
// (seen in captures and makers' texts): GPS week 0, and three firmware dates.
func defaultDate(y, m, d int) bool {
	switch y*10000 + m*100 + d {
	case 20061028, 20120701, 20130901, 19960101:
		return true
	}
	return y == 1980 && m == 1 && d <= 12
}

// dateFromOthers supplies the day to a receiver that gives a time of day only.
func (j *Judge) dateFromOthers(r *GNSS) (timescale.UTC, bool) {
	var near int64
	switch {
	case j.x.known:
		near = int64(r.At) + j.f.base + int64(j.f.v[sX]*1e9)
	case j.rtc.provisional:
		near = int64(r.At) + j.rtc.provZ
	default:
		j.rx.fault = fNoDate
		return 0, false
	}
	day := 24 * int64(time.Hour)
	n := math.Round(float64(near-int64(r.TimeOfDay)) / float64(day))
	return timescale.UTC(int64(n)*day + int64(r.TimeOfDay)), true
}

// meetReceiver lets a stream of agreeing valid epochs take part: it defines x
// if nothing else has, or is laid against what is known.
func (j *Judge) meetReceiver(at timescale.Local, z int64) {
	rx := &j.rx
	if !j.x.known {
		j.f.base, j.f.at = z, at
		j.f.start(0, sD, rx.jitter)
		j.x = known{known: true, dateProved: rx.dateSaid, ancestry: ancReceiver, secLo: -leapMax, carrier: carReceiver, gnssAt: at}
		rx.attached, rx.fault, rx.ahead = true, fNone, 0
		if rx.secProved {
			j.x.secLo = 0
		}
		j.note(at, "started", "The time now comes from the receiver.")
		return
	}
	rel := j.rel(at, z)
	lo, hi := j.interval(guardZ)
	for k := 0; k <= leapMax; k++ {
		kk := float64(k)
		c := claim{rel - kk, rel - kk + rx.link.latencyMax()}
		if !c.meets(claim{lo, hi}) {
			continue
		}
		if k > 0 && (!rx.sawInvalid || at.Sub(rx.since) >= proofTime) {
			break
		}
		j.joinReceiver(at, z, k, hi-lo < 1)
		return
	}
	j.oppose(at, rel)
}

// joinReceiver attaches a stream that fits x when taken k seconds back. pinned:
// x was known to within one second, so that it names the second.
func (j *Judge) joinReceiver(at timescale.Local, z int64, k int, pinned bool) {
	rx := &j.rx
	rx.attached, rx.ahead, rx.fault, rx.pending = true, k, fNone, 0
	if k > 0 {
		rx.fault = fAhead
	}
	if rx.latencyBy == "learned" {
		// A latency may have leapt since it was learned: it must fit.
		nu := j.zRel(at, z) - float64(k) - (j.f.v[sX] - j.f.v[sD])
		_, v := j.f.sum(sD, -1)
		if math.Abs(nu) > guardZ*math.Sqrt(v+rx.jitter) {
			rx.latencyBy = ""
			j.f.forget(sD, latencyMean, latencySigma)
		}
	}
	if j.receiverCarries() {
		j.sameAncestry(at, z, k)
	}
	if pinned && j.x.secondProved() && j.x.ancestry&^ancReceiver != 0 && k == 0 {
		rx.secProved = true
	}
	j.useReceiver(at, z)
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

// hearReceiver takes a further reading of an attached stream.
func (j *Judge) hearReceiver(at timescale.Local, z int64) {
	rx := &j.rx
	nu := j.zRel(at, z) - float64(rx.ahead) - (j.f.v[sX] - j.f.v[sD])
	if _, v := j.f.sum(sD, -1); math.Abs(nu) > math.Max(outlierGate, guardZ*math.Sqrt(v)) {
		j.outsideGate(at, z, nu)
		return
	}
	rx.pending = 0
	if rx.fault == fJumped {
		if rx.agreeing++; rx.agreeing < agreeAgain {
			return
		}
		rx.fault = fNone
		j.note(at, "trust-changed", "The receiver agrees again.")
	}
	if rx.fault != fAhead {
		rx.fault = fNone
	}
	if rx.fault == fAhead && at.Sub(rx.since) >= proofTime {
		// Leap data would have come by now: the explanation is used up.
		rx.attached = false
		j.oppose(at, j.rel(at, z))
		return
	}
	j.useReceiver(at, z)
}

// useReceiver updates the filter with an accepted reading.
func (j *Judge) useReceiver(at timescale.Local, z int64) {
	rx := &j.rx
	j.f.advance(at)
	zr := j.zRel(at, z) - float64(rx.ahead)
	want, v := j.f.sum(sD, -1)
	nu := zr - want
	r := rx.jitter
	if q := nu * nu / (9 * (v + r)); q > 1 {
		r = (v+r)*q - v // beyond 3 σ the weight falls off: bursts are late in a skewed way
	}
	j.f.measure(zr, sD, -1, r)
	if j.f.p[sD][sD] < latencyFloor*latencyFloor {
		j.f.p[sD][sD] = latencyFloor * latencyFloor
	}
	// Arrival jitter seen, slowly: 1 min of memory, 2 to 100 ms.
	rx.jitter = math.Min(math.Max(rx.jitter+(math.Min(nu*nu, 0.04)-rx.jitter)/60, 4e-6), 1e-2)
	j.x.ancestry |= ancReceiver
	j.x.gnssAt = at
	j.x.dateProved = j.x.dateProved || rx.dateSaid // it said the day, and fits
	if rx.ahead == 0 {
		j.x.carrier = carReceiver
	}
	if rx.latencyBy == "" && j.f.sigma(sD) < latencyProved && !j.receiverCarries() {
		rx.latencyBy = "witness"
		j.note(at, "proved", "The receiver's arrival latency is proved.")
	}
}

// outsideGate counts readings that leave the stream; three in a row that agree
// with one another are a jump, and a jump wants an explanation.
func (j *Judge) outsideGate(at timescale.Local, z int64, nu float64) {
	rx := &j.rx
	rx.agreeing = 0
	if rx.fault == fJumped {
		rx.jump = nu
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
	isWhole := whole != 0 && math.Abs(nu-whole) < 0.25
	switch {
	case isWhole && whole == -1 && rx.leap60 != 0 && at.Sub(rx.leap60) < 10*time.Second:
		// UTC itself took a leap second; POSIX time has no room for it.
		j.f.shift(-1)
		j.note(at, "leap-second", "UTC had a leap second.")
		j.useReceiver(at, z)
	case isWhole && rx.fault == fAhead && int(-whole) == rx.ahead:
		rx.ahead, rx.fault, rx.since = 0, fNone, at
		j.note(at, "leap-data", "The receiver's leap-second data has arrived: its whole second is right now.")
		j.useReceiver(at, z)
	case isWhole && whole < 0 && whole >= -leapMax && !rx.secProved && j.receiverCarries() && !j.x.secondProved():
		// The leap-second data came in: the later value is the right one. Until
		// it is proved anew, the former may be right as well; and where no cold
		// start was seen, only a witness can prove it, for a lie looks the same.
		rx.noProof = rx.noProof || !rx.sawInvalid
		j.f.shift(whole)
		j.x.secHi = max(j.x.secHi, 0) - int(whole)
		j.x.secLo = -leapMax
		rx.since = at
		j.note(at, "leap-data", "The receiver stepped back by whole seconds: its leap-second data has arrived.")
		j.useReceiver(at, z)
	case math.Abs(nu) < rx.link.latencyMax() && !isWhole && j.fitsLatency(at, z):
		// Latencies leap in real receivers. x stands; the latency is open again.
		j.f.advance(at)
		j.f.attach(sD, -j.zRel(at, z)+float64(rx.ahead), 1, rx.jitter)
		rx.latencyBy = ""
		j.note(at, "latency-jump", "The receiver's arrival latency has jumped.")
	default:
		rx.fault, rx.jump, rx.noProof, rx.agreeing = fJumped, nu, true, 0
		j.track(at, j.rel(at, z))
		j.note(at, "trust-changed", "The receiver's time jumped by "+seconds(nu)+".")
	}
}

// fitsLatency tells whether the stream is explained by a latency in its hull.
func (j *Judge) fitsLatency(at timescale.Local, z int64) bool {
	rel := j.zRel(at, z) - float64(j.rx.ahead)
	d := j.f.v[sX] - rel
	m := guardZ * j.f.sigma(sX)
	return d > -m-0.05 && d < j.rx.link.latencyMax()+m
}

// receiverCarries tells whether x rests on the receiver alone.
func (j *Judge) receiverCarries() bool { return j.x.ancestry == ancReceiver }

// oppose records that the receiver says something else than what is known.
func (j *Judge) oppose(at timescale.Local, rel float64) {
	rx := &j.rx
	if rx.fault != fDisagrees {
		j.note(at, "trust-changed", "The receiver disagrees with the rest by "+seconds(rel)+".")
	}
	rx.fault = fDisagrees
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
