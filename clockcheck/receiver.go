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
	// subframe 4 page 18). One page may be missed, by a short loss of signal; two in a
	// row are taken for too rare to count (assumption: a page in 200 is missed under a sky
	// that keeps the status valid, two then are below 10⁻⁴). Valid for two pages without
	// a break, and a tenth for the way from tracking to status, a receiver has them.
	proofTime   = 2*almanacPage + almanacPage/5
	almanacPage = 12*time.Minute + 30*time.Second
	// validGap is the longest hole in a run of valid epochs.
	validGap = 5 * time.Second
	// A line that is too slow lets a sentence through in time now and then: so many more
	// overrun epochs than others are believed for so long at most.
	overrunHabit, overrunMost = 60, 600
	// freshFor: a reference is silent after this.
	receiverFresh = 10 * time.Second
	// leapMax: a receiver without leap-second data is ahead of UTC by 18 s
	// minus its firmware's count; 18 = GPS − UTC since 2017-01-01 (tzdata).
	leapMax = 18
	// runLength valid epochs must agree before the first is believed.
	runLength = 3
	// The prior of an unproved latency: mean and σ of the Gaussian that the
	// filter starts with. The hull [0, latencyMax] is what verdicts use.
	latencyMean, latencySigma = 0.30, 0.45
	latencyFloor              = 0.020 // s, σ: no latency is known better
	boundFloor                = 0.012 // s, σ for a 99 % interval: the tail of what latencies do unseen is long
	latencyProved             = 0.035 // s, σ: ±0.09 s at 99 %
	latencyMoved              = 0.060 // s: more than it is known to and than it wanders in a night
	jitterStart               = 0.020 // s: usual
	jitterFirst               = 0.050 // s: until it is seen; receivers of two modes have so much
	outlierGate               = 0.40  // s: beyond, a reading is not the same stream
	week1024                  = 1024 * 7 * 24 * time.Hour
	agreeAgain                = 10 // agreeing epochs that clear a fault
)

// fault is what a reference is found guilty of.
type fault int

const (
	fNone       fault = iota
	fSimulated        // says it is a simulator
	fNotValid         // status V
	fOverrun          // sends more than its line carries
	fNoDate           // valid, but no date and nobody to ask
	fEarlyDate        // before the build date, and no repair fits
	fStuck            // the same instant again and again
	fScatter          // readings that agree with nothing
	fJumped           // left its own stream by whole seconds or more
	fDragged          // was led away faster than the oscillator can go
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
	overruns   int  // epochs that overran the line, less those that did not
	leapStep   bool // its leap-second data have come in
	sawInvalid bool // status V on this stream: a cold start is possible
	leap60     timescale.Local
	weeks      int // 1024-week rollovers repaired, in weeks
	dateSaid   bool

	attached     bool // its stream takes part in the filter
	leapsMissing int  // whole seconds by which it leads UTC, as explained
	secProved    bool // whole second: by the unbroken run or a witness
	noProof      bool // it jumped without explanation: the run proves nothing
	gone         bool // it was attached, and is lost
	resumed      bool // noProof is of the run before, of a receiver that may have stayed on
	fault        fault
	jump         float64 // s, of fJumped
	jitter       float64 // variance of the arrival, s²
	pending      int     // readings in a row outside the gate, agreeing with each other
	pendingNu    float64
	back         comeback
	leap         float64         // s: the largest leap of its latency ever seen
	places       places          // where it stood before
	from         timescale.Local // its latency has not been seen to leap since
	proved       float64         // s: its latency as it was proved
	latencyBy    string          // who proved the latency: "configured", "learned", a witness; "" nobody
	claim        claim           // what it says of x while it takes no part
	claimAt      timescale.Local
}

// overran counts an epoch, and tells whether it or the habit is no evidence.
func (r *receiver) overran(now bool) bool {
	if now {
		r.overruns = min(r.overruns+1, overrunMost)
		return true
	}
	r.overruns = max(r.overruns-1, 0)
	return r.overruns > overrunHabit
}

// left tells whether the receiver has left its own stream, at once or slowly.
func (r *receiver) left() bool { return r.fault == fJumped || r.fault == fDragged }

// dissents tells whether the receiver takes no part because of what it says, or last said.
func (r *receiver) dissents() bool { return r.fault == fDisagrees || r.left() }

// ReceiverOpened says that a receiver was opened or powered anew: what it
// proved before counts no more. What it said against the rest does: who was right is
// as open as before. key is that of ReceiverNamed, "" while not known.
func (j *Judge) ReceiverOpened(key string, link Link) {
	j.learned.Latencies = j.latencies()
	j.keepRoom()
	j.watch, j.view, j.f.qD = watch{}, streamView{}, link.wander()
	j.forgetPulse()
	j.forgetTies()
	was, opposed := j.rx, j.receiverOpposes()
	j.rx = receiver{present: true, link: link, jitter: jitterFirst * jitterFirst}
	if was.resumed { // the program was started anew, not the receiver
		j.rx.noProof = was.noProof
	}
	if opposed {
		j.rx.fault, j.rx.claim, j.rx.claimAt, j.rx.back = fDisagrees, was.claim, was.claimAt, was.back
	}
	j.ReceiverNamed(key)
}

// ReceiverNamed names the receiver that was opened and its configuration; a
// latency learned under the same key is taken up again.
func (j *Judge) ReceiverNamed(key string) {
	j.rx.key = key
	mean, sigma := j.rx.link.latencyPrior()
	if l, ok := j.learnedLatency(key); ok && j.rx.link.steady() {
		mean, sigma = l.LatencyS, math.Hypot(math.Max(l.SigmaS, latencyFloor), latencyFloor)
		if j.rx.leap = l.LeapS; l.sure() {
			j.rx.latencyBy, j.rx.proved = "learned", l.LatencyS
		}
		sigma = math.Hypot(sigma, l.LeapS) // one that leaps may have leapt since
	}
	if !j.on(RuleLatency) {
		sigma, j.rx.latencyBy = 0.05, "configured"
	}
	if j.cfg.Latency > 0 && j.rx.link.steady() {
		mean, sigma = j.cfg.Latency.Seconds(), 0.03
		j.rx.latencyBy = "configured"
	}
	j.f.forget(sD, mean, sigma)
	j.rememberEdge()
}

// ReceiverLost says that the port is gone or cannot be opened, and why.
func (j *Judge) ReceiverLost(why string) {
	j.learned.Latencies = j.latencies()
	j.rx.gone = j.rx.gone || j.rx.attached
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
	case r.Simulated && j.on(RuleSimulated):
		rx.noEvidence(fSimulated)
		return
	case r.LeapSecond:
		rx.leap60, rx.valid = r.At, r.At
		return
	case r.Repeated && j.on(RuleRepeated):
		if rx.repeats++; rx.repeats > 5 {
			rx.noEvidence(fStuck)
		}
		return
	case rx.overran(r.Overrun) && j.on(RuleOverrun):
		rx.noEvidence(fOverrun)
		return
	case !r.Valid && j.on(RuleValid):
		rx.sawInvalid = true
		rx.noEvidence(fNotValid)
		return
	}
	rx.repeats = 0
	utc, ok := j.dated(r)
	if !ok {
		return
	}
	z := int64(utc) - int64(r.At)
	j.continueRun(r.At, z)
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
		j.streamInterrupted(at)
	}
	if d := time.Duration(z - rx.runZ); rx.run > 0 && (d > 300*time.Millisecond || d < -300*time.Millisecond) {
		rx.run = 0
		if !rx.attached {
			rx.since = at
		}
	}
	rx.valid, rx.runZ = at, z
	rx.run++
	if at.Sub(rx.since) < proofTime && j.on(RuleSecond) || rx.noProof || rx.secProved {
		return
	}
	rx.secProved = true
	j.secondByRun(at, z)
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
	if floor == 0 || utc >= floor.Add(-24*time.Hour) || !j.on(RuleFloor) {
		return utc, true
	}
	n := 1 + (floor.Sub(utc)-24*time.Hour-1)/week1024
	repaired := utc.Add(n * week1024)
	if defaultDate(r.Year, r.Month, r.Day) || repaired > floor.Add(10*365*24*time.Hour) || !j.on(RuleRollover) {
		rx.noEvidence(fEarlyDate)
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
		j.rx.noEvidence(fNoDate)
		return 0, false
	}
	day := 24 * int64(time.Hour)
	n := math.Round(float64(near-int64(r.TimeOfDay)) / float64(day))
	return timescale.UTC(int64(n)*day + int64(r.TimeOfDay)), true
}

// latencyRange is where the arrival latency may lie before the stream is compared.
func (j *Judge) latencyRange() claim {
	if j.rx.latencyBy == "" {
		return claim{0, j.rx.link.latencyMax()}
	}
	m := guardZ * j.f.sigma(sD)
	return claim{j.f.v[sD] - m, j.f.v[sD] + m}
}
