package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/thermal"
	"noonmark/clockcheck/timescale"
)

// rtcRef is what the judge knows of the hardware clock. An RTC is a flywheel,
// not a source: its word is worth what was known of UTC when it was last
// compared, and it inherits the ancestry of that.
type rtcRef struct {
	heard       timescale.Local
	provisional bool  // it ticks, but nobody has compared it
	provZ       int64 // its reading − local, ns
	base        int64 // ns: RTC − UTC = base + state r
	attached    bool
	independent bool // still stands on what was learned in an earlier run
	misses      int
	fault       fault
	ancestry    ancestry // of what was learned of it in an earlier run
	why         string
	claim       claim
	setSeen     bool // something set it while we watched
	kernel      bool // the kernel's own writes are on
	urgent      bool // see Urgent
	written     bool // somebody we know of has set it since its last reading
	after       afterKernel
}

// rtcRateSigma is the 1σ rate error of the RTC unlearned: ±2 ppm for a
// compensated chip (DS3231 data sheet: ±2 ppm 0…40 °C; boards with the ±5 ppm
// variant are sold under the same name, hence 2.5), ±20 ppm for a plain tuning
// fork, and −69 ppm more by its parabola at −20 °C.
func (j *Judge) rtcRateSigma() float64 {
	if j.cfg.RTCCompensated {
		return 2.5e-6
	}
	return 45e-6
}

// rtcOffSigma is the 1σ by which a learned rate may change over off seconds without
// power: other temperatures than those it was learned at. A plain tuning fork learned in
// a warm room loses 12 s a day more at −40 °C (139 ppm by its parabola, NXP UM10301,
// section 9: 3.9 times 36 ppm), once it has taken that temperature.
func (j *Judge) rtcOffSigma(off float64) float64 {
	if j.cfg.RTCCompensated {
		return 0.7e-6
	}
	return 12e-6 + 24e-6*math.Min(off/3600, 1)
}

// rtcSlack: the kernel's own writes leave the chip up to 0.5 s off, and a write
// may have come after our last look. Half of it counts as 1σ.
const rtcSlack = 0.6

// RTCMissing says that there is no usable hardware clock, and why.
func (j *Judge) RTCMissing(why string) {
	j.rtc.fault, j.rtc.why = fMissing, why
	j.rtc.provisional, j.rtc.attached, j.rtc.independent = false, false, false
}

// KernelWritesRTC says that the kernel's own 11-minute writes to the RTC are on:
// its phase is not ours to rely on over a restart. While they are on the RTC is set
// from the system clock again and again, so that it tells nothing of UTC: taken for
// a witness it would repeat to us what we told it.
func (j *Judge) KernelWritesRTC(on bool) {
	if on != j.rtc.kernel {
		j.rtc.written, j.rtc.after = j.rtc.written || !on, afterKernel{}
		j.rtc.urgent = j.rtc.urgent || j.rtc.attached
	}
	j.rtc.kernel = on
}

// Urgent tells, once, that the hardware clock is or will be elsewhere than what was
// learned before says: a power cut would have the next start believe that. Whoever
// keeps what is learned saves it now.
func (j *Judge) Urgent() bool {
	u := j.rtc.urgent
	j.rtc.urgent = false
	return u
}

// moved tells whether the hardware clock may have been written since it was last read.
func (c *rtcRef) moved() bool { return c.written || c.kernel && c.after.since == 0 }

// afterKernel is how far off the kernel's own writes leave the chip: its rule for the
// edge may not be the chip's (up to 0.5 s). It is looked at once the first write is past.
type afterKernel struct {
	since  timescale.Local
	n      int
	mean   float64 // s, RTC − UTC
	spread float64 // s, largest deviation from the mean
}

const (
	kernelPeriod = 11 * time.Minute // SYNC_PERIOD_NS of kernel/time/ntp.c
	kernelKnown  = 3                // so many readings tell how far off
	kernelFloor  = 0.02             // s: its writes come up to 5 jiffies early or late
)

func (j *Judge) learnKernel(at timescale.Local) {
	a := &j.rtc.after
	switch {
	case !j.rtc.kernel || j.opposed():
		return
	case a.since == 0:
		a.since = at
	}
	if at.Sub(a.since) < kernelPeriod+time.Minute {
		return
	}
	off := float64(j.rtc.base)/1e9 + j.f.v[sR]
	a.n++
	a.mean += (off - a.mean) / float64(min(a.n, 20))
	a.spread = math.Max(a.spread, math.Abs(off-a.mean))
}

// slack is by how much the chip may be elsewhere than it was at its last comparison,
// for something else may have set it since, 1σ in s. The kernel's writes leave it where
// they left it before; a boot may come before the next write or after it.
func (l *LearnedRTC) slack() float64 {
	switch {
	case !l.Written:
		return 0
	case l.KernelReads >= kernelKnown:
		return math.Min(math.Max(math.Abs(l.OffsetS-l.KernelS)+l.KernelSpreadS, kernelFloor), rtcSlack/2)
	}
	return rtcSlack / 2
}

// RTC takes one reading.
func (j *Judge) RTC(r *RTC) {
	c := &j.rtc
	c.heard = r.Edge
	// A chip that lost its time is what it was compared with no more: whoever sets it next
	// may have the time from here, and it would bear that out as another's.
	if r.Invalid {
		c.fault, c.provisional, c.attached, c.independent = fInvalid, false, false, false
		j.learned.RTC = nil
		return
	}
	if j.cfg.Floor != 0 && r.Value < j.cfg.Floor.Add(-24*time.Hour) && j.on(RuleFloor) {
		c.fault, c.provisional, c.attached, c.independent = fEarlyDate, false, false, false
		j.learned.RTC = nil
		return
	}
	z := int64(r.Value) - int64(r.Edge)
	c.provisional, c.provZ = true, z
	v := sq(math.Max(r.Sigma.Seconds(), 1e-4))
	switch {
	case !j.x.known:
		j.startFromRTC(r, z, v)
	case c.attached && (c.kernel || c.written):
		c.urgent = c.urgent || c.moved()
		c.written = false
		j.attachRTC(r.Edge, z, v)
	case c.attached:
		j.hearRTC(r.Edge, z, v)
	case j.usableRTC():
		j.meetRTC(r, z, v)
	default:
		j.attachRTC(r.Edge, z, v)
	}
	if c.attached {
		j.learnKernel(r.Edge)
	}
}

// usableRTC: something was learned in an earlier run and not used up yet.
func (j *Judge) usableRTC() bool { return j.learned.RTC != nil && j.rtc.fault != fDisagrees }

// recall puts the learned RTC state into the filter, grown over the time off.
func (j *Judge) recall(r *RTC) bool {
	l := j.learned.RTC
	off := (r.Value.Sub(l.At) - seconds2d(l.OffsetS)).Seconds()
	if off < -2 {
		j.rtc.fault = fWasSet
		j.learned.RTC = nil
		j.note(r.Edge, "trust-changed", "The hardware clock went back since it was last read: something set it, or its battery failed.")
		return false
	}
	off = math.Max(off, 0)
	j.rtc.ancestry = j.ancestryOf(l.Ancestry)
	whole, frac := math.Modf(l.OffsetS)
	rate, sr, open := l.RatePPM*1e-6, math.Min(l.RateSigmaPPM*1e-6, j.rtcRateSigma()), j.rtcOffSigma(off)
	j.rtc.base = int64(whole) * timescale.Second
	s2 := 0.0
	s2 += sq(l.slack()) + sq(l.SigmaS)
	if j.on(RuleOffGrowth) {
		s2 += sq(sr*off) + sq(open*off) + qR*off + sq(j.rtcTurned(l)/2*off)
	}
	j.f.met++
	j.f.forget(sR, frac+rate*off, math.Sqrt(s2))
	j.f.forget(sS, rate, math.Hypot(math.Hypot(sr, open), j.rtcTurned(l)))
	return true
}

// rtcTurned is by how much the rate of a plain hardware clock has changed between the
// temperature at which it was last compared and that of now. When it changed while the
// power was off nobody knows: half of it is 1σ of the mean. It only widens: a board is
// warmer while it works, so that a thermometer tells less of the hours without power than
// it seems to. A chip that has a thermometer of its own has it to compensate itself
// (DS3231, DS3232, RV-3029, RV-3032: their data sheets).
func (j *Judge) rtcTurned(l *LearnedRTC) float64 {
	w := &j.warm
	if !w.Have || w.OfRTC || j.cfg.RTCCompensated || l.Sensor == "" || l.Sensor != w.Sensor || !thermal.Sound(l.TempC) {
		return 0
	}
	return thermal.ForkTurned(l.TempC, w.C)
}

func seconds2d(s float64) time.Duration { return time.Duration(s * 1e9) }

// startFromRTC defines x from a learned RTC: a boot without satellites.
func (j *Judge) startFromRTC(r *RTC, z int64, v float64) {
	if j.learned.RTC == nil {
		j.rtc.fault = fUncompared
		return
	}
	if !j.recall(r) {
		return
	}
	l := j.learned.RTC
	j.f.base, j.f.at = z-j.rtc.base, r.Edge
	j.f.start(0, sR, v)
	j.x = known{known: true, dateProved: l.DateProved, secLo: l.SecLo, secHi: l.SecHi,
		ancestry: j.ancestryOf(l.Ancestry), support: supportRTC, rtcAt: r.Edge}
	j.rtc.attached, j.rtc.independent, j.rtc.fault = true, true, fNone
	j.note(r.Edge, "started", "The time now comes from the hardware clock.")
}

// meetRTC lays a learned RTC, read after something else had defined x, against
// that: agreement makes it a witness, where the ancestries are disjoint.
func (j *Judge) meetRTC(r *RTC, z int64, v float64) {
	l := j.learned.RTC
	if !j.recall(r) {
		return
	}
	j.f.advance(r.Edge)
	rel := j.rel(r.Edge, z-j.rtc.base) - j.f.v[sR]
	g := guardZ * math.Sqrt(j.f.p[sR][sR]+v)
	c := claim{rel - g + float64(l.SecLo), rel + g + float64(l.SecHi)}
	disjoint := (j.ancestryOf(l.Ancestry)&j.x.ancestry == 0 || !j.on(RuleAncestry)) && l.DateProved && l.SecLo == 0 && l.SecHi == 0
	lo, hi := j.interval(guardZ)
	switch {
	case disjoint && j.narrowSecond(r.Edge, c):
		j.rtc.attached, j.rtc.independent, j.rtc.fault = true, true, fNone
		j.x.ancestry |= j.ancestryOf(l.Ancestry)
		j.f.measure(j.zRel(r.Edge, z-j.rtc.base), sR, 1, v)
	case c.meets(claim{lo, hi}):
		j.attachRTC(r.Edge, z, v) // agrees, proves nothing
	default:
		j.rtc.fault, j.rtc.claim = fDisagrees, c
		j.note(r.Edge, "trust-changed", "The hardware clock disagrees with the rest by "+seconds(rel)+".")
		j.resolve(r.Edge)
	}
}

// attachRTC compares the RTC with what is known: from here it is a flywheel.
func (j *Judge) attachRTC(at timescale.Local, z int64, v float64) {
	if j.rtc.fault == fDisagrees {
		return
	}
	j.f.advance(at)
	rel := j.zRel(at, z) // RTC − local − base
	whole := math.Trunc(rel - j.f.v[sX])
	j.rtc.base = int64(whole) * timescale.Second
	j.f.met++
	j.f.attach(sR, rel-whole, -1, v)
	if j.rtc.attached { // it was written: an earlier run's comparison holds no more
		j.learned.RTC = nil
	} else {
		j.f.forget(sS, 0, j.rtcRateSigma())
	}
	j.rtc.attached, j.rtc.independent, j.rtc.fault, j.rtc.misses = true, false, fNone, 0
}

// hearRTC takes a further reading.
func (j *Judge) hearRTC(at timescale.Local, z int64, v float64) {
	j.f.advance(at)
	zr := j.zRel(at, z-j.rtc.base)
	want, s := j.f.sum(sR, 1)
	if nu := zr - want; math.Abs(nu) > math.Max(0.03, 6*math.Sqrt(s+v)) && j.on(RuleRTCSet) {
		if j.rtc.misses++; j.rtc.misses >= 2 {
			j.rtc.setSeen, j.rtc.urgent = true, true
			j.note(at, "rtc-set", "Something set the hardware clock: it moved by "+seconds(nu)+".")
			j.attachRTC(at, z, v)
		}
		return
	}
	j.rtc.misses = 0
	j.f.measure(zr, sR, 1, v)
	j.x.rtcAt = at
}
