// Package rtc admits readings of the hardware clock: it refuses a chip that says itself
// that it stopped and a date before the build, and says what the comparison of an earlier
// run is worth after the time off. A value machine, for one goroutine.
//
// An RTC is a flywheel, no source: its word has the ancestry of whom it was compared with.
package rtc

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

// Fault is why a reading is no evidence.
type Fault int

const (
	Missing   Fault = iota // none is there
	None                   // sound
	Invalid                // the chip says itself that it stopped or lost its supply
	EarlyDate              // before the build date
	WentBack               // it is before what an earlier run read: it was set, or stopped
)

const (
	// Rates, 1σ, s/s. Compensated: ±2 ppm at 0 to 40 °C by data sheet (DS3231), ±5 for a variant
	// sold under the same name, which is where 99.99 % ends (3.89 σ). Plain: a tuning fork of
	// ±20 ppm, −69 ppm more by its parabola at −20 °C (NXP UM10301): 2σ = 89 ppm.
	rateComp, ratePlain = 5e-6 / 3.89, 45e-6
	// … more while it is off, at other temperatures. Compensated: ±3.5 ppm at −40 °C in place
	// of ±2 (DS3231), half of the difference. Plain, learned in a warm room: offPlain at once,
	// 3.89 σ = 47 ppm at −12 °C; with offTurned, 3.89 σ = 140 ppm at −40 °C (NXP UM10301), once
	// it has taken that temperature, after an hour (assumption).
	offComp             = 0.7e-6
	offPlain, offTurned = 12e-6, 24e-6 // NXP UM10301, as said
	turnsIn             = 3600         // s (assumption)
	// Random walk of the rate while the station is on, 1/s: √(3e-19 · 1 h) = 0.03 ppm in an hour
	// (assumption: a compensation of 1 ppm steps over a night), and √(1e-12 · 1 h) = 60 ppm: a
	// plain fork carried out at −38 °C loses 145 ppm within minutes (NXP UM10301).
	wanderComp, wanderPlain = 3e-19, 1e-12
	// s²/s: √(1e-14 · 10 min) = 2 µs, far under how well an edge is found (assumption).
	white = 1e-14
	// The kernel's own writes leave the chip up to kernelMost off either way, s, and one may have
	// come after the last look: 0.5/√3.
	kernelMost, writtenSigma = 0.5, 0.3
	// kernelFloor, s: its writes come up to 5 jiffies early or late (kernel/time/ntp.c), of 4 ms.
	kernelFloor = 0.02
	// Readings come each ten minutes (package rtc), less ten seconds; the kernel writes each 11
	// (kernel/time/ntp.c), and one minute more.
	kernelApart  = 590 * time.Second
	kernelPeriod = 11*time.Minute + time.Minute // kernel/time/ntp.c
	// kernelMean readings after its writes make the mean, some three hours (assumption).
	kernelMean = 20
	floorSlack = 24 * time.Hour // a build date is of any time zone, UTC − 12 to + 14 h (tzdata)
	// backSlack, s: an early reading may be a write of the kernel off (0.5 s) and a second that
	// the reader missed; more is another time (assumption).
	backSlack = 2
	// sigmaLeast, s: no edge is found better over a bus of 100 kHz (I²C), ten bits.
	sigmaLeast = 1e-4
)

// Clock follows the hardware clock.
type Clock struct {
	Fault   Fault
	Why     string // when missing: the reason
	Heard   timescale.Local
	Z       int64 // its last reading − local, ns
	Ticks   bool  // it has been read
	Written bool  // it was set, in this run, by somebody we know of, and not read since
	SetSeen bool  // … by somebody we do not
	Kernel  bool  // the kernel's own writes are on
	Urgent  bool  // what is kept of it is no longer so

	byUs    bool // … by this program itself
	learned *clockcheck.LearnedRTC
	from    bank.Set
	since   timescale.Local // the kernel's writes are on since
	reads   int             // readings after its writes, so far apart that one came between
	counted timescale.Local // the newest of them
	begun   timescale.Local // … and the first
	newest  timescale.Local // of all readings since
	first   float64         // s: where it stood at since
	all     int             // readings after its writes
	mean    float64         // s, hardware clock − UTC after the kernel's writes
	spread  float64         // s, largest deviation from that
}

// New is a hardware clock of which an earlier run learned l (nil = nothing), from those.
func New(l *clockcheck.LearnedRTC, from bank.Set) Clock {
	return Clock{Why: "No hardware clock has been read yet.", learned: l, from: from}
}

// RateSigma is the 1σ of its unlearned rate, s/s, and Wander that rate's random walk, 1/s.
func RateSigma(compensated bool) (sigma, wander float64) {
	if compensated {
		return rateComp, wanderComp
	}
	return ratePlain, wanderPlain
}

// Gone says that there is no usable hardware clock, and why.
func (c *Clock) Gone(why string) { c.Fault, c.Why, c.Ticks = Missing, why, false }

// Take admits a reading.
func (c *Clock) Take(r *clockcheck.RTC, floor timescale.UTC) (out bank.Reading, ok bool) {
	c.Heard = r.Edge
	switch {
	case r.Invalid:
		c.Fault = Invalid
	case floor != 0 && r.Value < floor.Add(-floorSlack):
		c.Fault = EarlyDate
	default:
		ok = true
		if c.Fault != WentBack {
			c.Fault = None
		}
	}
	if c.Ticks = ok; !ok {
		return out, false
	}
	c.Z = int64(r.Value) - int64(r.Edge)
	s := math.Max(r.Sigma.Seconds(), sigmaLeast)
	return bank.Reading{Source: bank.Clock, At: r.Edge, Z: c.Z, Var: s * s, From: c.from}, true
}

// Recall is what the earlier run's comparison is worth at a reading, once; turned is by
// how much a plain fork's rate may have changed with the temperature since, s/s.
func (c *Clock) Recall(r *clockcheck.RTC, compensated bool, turned float64) (out bank.Recalled, ok bool) {
	l := c.learned
	if l == nil {
		return out, false
	}
	c.learned = nil
	off := r.Value.Sub(l.At).Seconds() - l.OffsetS
	if off < -backSlack {
		c.Fault = WentBack
		return out, false
	}
	off = math.Max(off, 0)
	whole, frac := math.Modf(l.OffsetS)
	prior, _ := RateSigma(compensated)
	rate, sr := l.RatePPM*1e-6, math.Min(l.RateSigmaPPM*1e-6, prior)
	open := offComp
	if !compensated {
		open = offPlain + offTurned*math.Min(off/turnsIn, 1)
	}
	s2 := sq(l.SigmaS) + sq(sr*off) + sq(open*off) + white*off + sq(turned/2*off)
	near, far, dearer := slack(l)
	return bank.Recalled{Base: int64(whole) * timescale.Second, Offset: frac + rate*off, Sigma: math.Sqrt(s2 + sq(near)), Compared: l.SigmaS,
		Scattered: math.Sqrt(s2 + sq(far)), Dearer: dearer, Rate: rate, RateSigma: math.Hypot(math.Hypot(sr, open), turned),
		Lo: float64(l.SecLo), Hi: float64(l.SecHi), Dated: l.DateProved}, true
}

// slack is by how much the chip may be elsewhere than at its last comparison, for the
// kernel or something else may have set it since, 1σ in s: near where the kernel's writes
// have been seen to leave it, far if it takes each one elsewhere. Dearer, nats: by how much
// its standing still over several writes speaks against that: each would have left it anywhere in a second,
// so within ±w of where it was with 2w. Without a reading after a write both are far.
func slack(l *clockcheck.LearnedRTC) (near, far, dearer float64) {
	switch {
	case !l.Written:
		return 0, 0, 0
	case l.KernelReads == 0:
		return writtenSigma, writtenSigma, 0
	}
	off := l.OffsetS // by the likeliest account, as KernelS is
	if len(l.Accounts) > 0 {
		off -= l.Accounts[0].OffS
	}
	near = math.Min(math.Max(math.Abs(off-l.KernelS)+l.KernelSpreadS, kernelFloor), writtenSigma)
	w := math.Min(math.Max(l.KernelSpreadS, kernelFloor), kernelMost)
	return near, writtenSigma, -math.Log(2*w) * float64(max(l.KernelWrites, 0))
}

// KernelWrites says whether the kernel's own 11-minute writes are on: while they are, the
// clock is set from the system clock again and again, and tells nothing of UTC.
func (c *Clock) KernelWrites(on bool) {
	if on != c.Kernel {
		c.Written, c.Urgent = c.Written || !on, c.Urgent || c.Ticks
		c.since, c.reads, c.all = 0, 0, 0
	}
	c.Kernel = on
}

// Set says that this program has set it.
func (c *Clock) Set() { c.Written, c.byUs, c.learned = true, true, nil }

// Read says that it was read since it was written.
func (c *Clock) Read() { c.Written, c.byUs = false, false }

// LearnKernel takes where the clock stands after the kernel's writes, s from UTC.
func (c *Clock) LearnKernel(at timescale.Local, off float64) {
	if !c.Kernel {
		return
	}
	if c.since == 0 {
		c.since, c.first = at, off
	}
	c.newest = at
	if at.Sub(c.since) < kernelPeriod {
		return
	}
	if c.reads == 0 {
		c.begun = at
	}
	if c.reads == 0 || at.Sub(c.counted) >= kernelApart {
		c.reads, c.counted = c.reads+1, at
	}
	c.all++
	c.mean += (off - c.mean) / float64(min(c.all, kernelMean))
	c.spread = math.Max(c.spread, math.Abs(off-c.mean))
}

// Keep adds to what is learned what only this source knows.
func (c *Clock) Keep(l *clockcheck.LearnedRTC) {
	l.Written = c.SetSeen || c.Kernel || c.Moved()
	if !c.SetSeen {
		l.KernelS, l.KernelSpreadS, l.KernelReads, l.KernelWrites = c.mean, c.spread, c.reads, c.writes()
	}
}

// writes is how many of the kernel's writes came at least between the first reading and the newest that found
// the clock where they leave it. The very first may have come before any of them.
func (c *Clock) writes() int {
	if c.reads == 0 {
		return 0
	}
	from := c.begun
	if math.Abs(c.first-c.mean) <= math.Max(c.spread, kernelFloor) {
		from = c.since
	}
	return int(c.newest.Sub(from) / kernelPeriod)
}

// Moved tells whether it may have been written since it was last read.
func (c *Clock) Moved() bool { return c.Written || c.Kernel && c.since == 0 }

// Near tells whether it still is, within what the kernel's writes leave open (slack), where it
// was when it was last read, off s from UTC: nobody but the kernel may have written it since, from
// a system clock that is wrong by system, s, and neither is more than such a write leaves.
func (c *Clock) Near(off, system float64) bool {
	return !c.byUs && math.Max(math.Abs(off), math.Abs(system)) <= kernelMost
}

// Forget returns what the earlier run learned, until it has been used, and forgets it.
func (c *Clock) Forget() *clockcheck.LearnedRTC {
	l := c.learned
	c.learned = nil
	return l
}

// Kept is what the earlier run learned, until it has been used.
func (c *Clock) Kept() *clockcheck.LearnedRTC { return c.learned }

func sq(v float64) float64 { return v * v }
