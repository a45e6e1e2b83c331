// Package banked is a judge of the system clock that stands on the bank of explanations
// (package bank). It has the methods of clockcheck.Judge, so that the station drives
// either. Readings walk down once: the source's package admits them, the bank hears
// them, explain says what came of it.
//
// A value machine: no I/O, no goroutine, no clock; for one goroutine at a time.
package banked

import (
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/source/air"
	"noonmark/clockcheck/source/mark"
	"noonmark/clockcheck/source/pulse"
	"noonmark/clockcheck/source/receiver"
	"noonmark/clockcheck/source/rtc"
	"noonmark/clockcheck/source/server"
	"noonmark/clockcheck/timescale"
)

const (
	rateUnlearned = 30e-6 // s/s, 1σ: ±10 to ±50 ppm parts are usual
	rateSlack     = 1e-6  // s/s: what is learned of a rate holds no better at the next start
	maxEvents     = 32
)

// Judge holds the sources and the bank. Make one with New.
type Judge struct {
	cfg     clockcheck.Config
	learned clockcheck.Learned
	bank    *bank.Bank
	rx      receiver.Receiver
	named   bool // the receiver's configuration is known
	pulse   pulse.Pulse
	clock   rtc.Clock
	servers server.Servers
	marks   [2]clockcheck.Mark
	air     [2]clockcheck.Air
	warm    warmth
	system  systemClock
	verdict verdicts
	events  []clockcheck.Event
	trust   clockcheck.Trust
	shown   bank.Proved
	came    bool // leap-second data have come in, by the best track
	watch   bank.Trace
}

// New returns a judge that knows what was learned before (the zero Learned if nothing).
func New(cfg clockcheck.Config, learned clockcheck.Learned) *Judge {
	j := &Judge{cfg: cfg, learned: learned, events: make([]clockcheck.Event, 0, maxEvents)}
	j.verdict.init(len(cfg.Modes))
	j.begin()
	j.rx.Why = "No receiver has been opened yet."
	j.pulse = pulse.New(cfg.PPSEdge)
	return j
}

// begin makes the bank from what is learned.
func (j *Judge) begin() {
	y, sy := 0.0, rateUnlearned
	if l := &j.learned; l.RateSigmaPPM > 0 {
		y, sy = l.RatePPM*1e-6, math.Hypot(l.RateSigmaPPM*1e-6, rateSlack)
	}
	sigma, wander := rtc.RateSigma(j.cfg.RTCCompensated)
	j.bank = bank.New(bank.Config{Rate: y, RateSigma: sy, ClockSigma: sigma, ClockWander: wander})
	j.bank.Watch(j.watch)
	var from bank.Set
	if l := j.learned.RTC; l != nil {
		from = setOf(l.Ancestry)
	}
	j.clock = rtc.New(j.learned.RTC, from)
	j.servers, j.marks, j.air = server.Servers{}, [2]clockcheck.Mark{}, [2]clockcheck.Air{}
}

// Bank is the bank, for whoever looks into it.
func (j *Judge) Bank() *bank.Bank { return j.bank }

// Watch names who is shown each reading and what each explanation made of it.
func (j *Judge) Watch(t bank.Trace) {
	j.watch = t
	j.bank.Watch(t)
}

// Segment says that the local timescale stood still (the machine slept): UTC − local is
// unknown again. What was known of the rest is what a start after a power-off knows.
func (j *Judge) Segment(now timescale.Local) {
	j.learned = j.Learned()
	j.learned.Held = nil
	rx, named := j.rx, j.named
	j.begin()
	j.system = systemClock{steered: j.system.steered}
	j.warm = warmth{sensor: j.warm.sensor}
	if rx.Present {
		j.ReceiverOpened("", rx.Link)
		if named {
			j.ReceiverNamed(rx.Key)
		}
	} else {
		j.rx.Lost("The receiver was not open when the computer woke.")
	}
	j.note(now, "slept", "The computer slept: the time is worked out again.")
}

// ReceiverOpened says that a receiver was opened or powered on: what it proved before
// counts no more. What it said against the rest does.
func (j *Judge) ReceiverOpened(key string, link clockcheck.Link) {
	j.learned.Latencies = j.latencies()
	j.rx, j.named = receiver.Opened(link), false
	j.ReceiverNamed(key)
}

// ReceiverNamed names the receiver and its configuration; a lateness learned under the
// same key is taken up again.
func (j *Judge) ReceiverNamed(key string) {
	j.rx.Key, j.named = key, key != ""
	l := bank.Lateness{Most: j.rx.LateMost()}
	l.Mean, l.Sigma = j.rx.LatePrior()
	if kept, ok := j.kept(key); ok {
		l.Mean, l.Sigma = kept.LatencyS, math.Hypot(math.Hypot(kept.SigmaS, 0.020), kept.LeapS)
		l.Known = kept.LeapS == 0
		j.pulse.Recall(kept.Edge)
	}
	if j.cfg.Latency > 0 {
		l.Mean, l.Sigma, l.Known, l.Said = j.cfg.Latency.Seconds(), 0.03, true, true
	}
	j.bank.Opened(l)
}

// ReceiverLost says that the port is gone or cannot be opened, and why.
func (j *Judge) ReceiverLost(why string) {
	j.learned.Latencies = j.latencies()
	j.rx.Lost(why)
}

// GNSS takes one epoch.
func (j *Judge) GNSS(e *clockcheck.GNSS) {
	was := j.rx.Leap60
	l, ok := j.rx.Take(e, j.cfg.Floor, j.day)
	if j.rx.Leap60 != was && was == 0 {
		j.bank.LeapSecond(e.At)
		j.note(e.At, "leap-second", "UTC had a leap second.")
	}
	if !ok {
		return
	}
	j.bank.Hear(&bank.Reading{Source: bank.Receiver, At: l.At, Z: l.Z, Var: l.Var, Dated: l.Dated,
		Stream: bank.Stream{LeadMost: bank.MaxLead, Missing: j.rx.Missing(), Awaited: j.rx.Awaited(), LateMost: j.rx.LateMost()}})
	if n, ok := j.rx.Page(); ok {
		j.bank.Page(n)
	}
	j.changed(e.At)
}

// day is UTC as others than the receiver know it, for one that says no date.
func (j *Judge) day(at timescale.Local) (timescale.UTC, bool) {
	if !j.bank.Proved().Date {
		return 0, false
	}
	return j.utc(at), true
}

// utc is UTC at an instant by the best track.
func (j *Judge) utc(at timescale.Local) timescale.UTC {
	f := &j.bank.Best().F
	return timescale.UTC(int64(at) + f.Base + int64((f.V[estimate.X]+f.V[estimate.Y]*float64(at-f.At)/1e9)*1e9))
}

// PPS takes one edge of the receiver's pulse.
func (j *Judge) PPS(e *clockcheck.PPS) {
	fix := j.rx.Present && j.rx.Fault == receiver.None && e.At.Sub(j.rx.Valid) < pulse.FixFresh && e.At.Sub(j.rx.Since) >= pulse.Settle
	near, guard := j.second(e.At)
	if r, ok := j.pulse.Take(e, fix, near, guard); ok {
		j.bank.Hear(&r)
		j.changed(e.At)
	}
}

// second is how far an instant is from a whole second of UTC by the best track, and how
// far from it UTC may be by all; s.
func (j *Judge) second(at timescale.Local) (near, guard float64) {
	if !j.bank.Best().Located {
		return 0, math.Inf(1)
	}
	lo, hi := j.bank.Guard(0)
	s := float64(j.utc(at)%timescale.UTC(timescale.Second)) / 1e9
	return s - math.Round(s), math.Max(-lo, hi)
}

// PPSMissing says that there is no pulse to be had, and why.
func (j *Judge) PPSMissing(why string) { j.pulse.Gone(why) }

// RTC takes one reading of the hardware clock.
func (j *Judge) RTC(r *clockcheck.RTC) {
	c := &j.clock
	out, ok := c.Take(r, j.cfg.Floor)
	if !ok {
		return
	}
	if c.Kernel || c.Written {
		c.Urgent = c.Urgent || c.Moved()
		c.Written = false
		j.bank.ClockWritten()
	} else if back, ok := c.Recall(r, j.cfg.RTCCompensated, j.warm.turned(j.learned.RTC, j.cfg.RTCCompensated)); ok {
		out.Dated, back.Doubted = back.Dated, doubtedOf(j.learned.RTC.Doubted)
		j.bank.Recall(&back)
	}
	sets := j.count(bank.ClockSet)
	j.bank.Hear(&out)
	if j.count(bank.ClockSet) > sets {
		c.SetSeen, c.Urgent = true, true
		j.note(r.Edge, "rtc-set", "Something set the hardware clock.")
	}
	if b := j.bank.Best(); b.Clocked && b.Located {
		c.LearnKernel(r.Edge, float64(b.F.ClockBase)/1e9+b.F.V[estimate.R])
	}
	j.changed(r.Edge)
}

// count is how often the best track assumes a.
func (j *Judge) count(a bank.Assumption) (n int) {
	for _, s := range j.bank.Best().Assumptions() {
		if s.What == a {
			n++
		}
	}
	return n
}

// RTCMissing says that there is no usable hardware clock, and why.
func (j *Judge) RTCMissing(why string) { j.clock.Gone(why) }

// KernelWritesRTC says whether the kernel's own 11-minute writes to the clock are on.
func (j *Judge) KernelWritesRTC(on bool) { j.clock.KernelWrites(on) }

// WroteRTC says that this program itself has set the hardware clock.
func (j *Judge) WroteRTC() { j.clock.Set() }

// Urgent tells, once, that what is kept of the hardware clock would mislead a start.
func (j *Judge) Urgent() bool {
	u := j.clock.Urgent
	j.clock.Urgent = false
	return u
}

// Network takes one answer of a server.
func (j *Judge) Network(r *clockcheck.Network) {
	if out, ok := j.servers.Take(r); ok {
		j.bank.Hear(&out)
		j.changed(r.At)
	}
}

// Mark takes a mark. It reports whether the mark could be placed.
func (j *Judge) Mark(m *clockcheck.Mark) bool {
	if m.OurOwn {
		j.note(m.At, "mark", "The borrowed clock took its time from this station: it is no witness.")
		return true
	}
	var known timescale.UTC
	half := math.Inf(1)
	if j.bank.Best().Located {
		lo, hi := j.bank.Guard(0)
		known, half = j.utc(m.At), math.Max(-lo, hi)
	}
	r, ok := mark.Take(m, known, half)
	if !ok {
		return false
	}
	j.marks[index(m.Borrowed)] = *m
	j.marks[index(m.Borrowed)].UTC = timescale.UTC(r.Z + int64(m.At))
	before := j.bank.Best().Out
	j.bank.Hear(&r)
	if out := j.bank.Best().Out; out.Has(r.Source) && !before.Has(r.Source) {
		j.note(m.At, "mark", "A mark differs from what was known.")
	}
	j.changed(m.At)
	return true
}

func index(b bool) int {
	if b {
		return 1
	}
	return 0
}

// Air takes what the station's own radio heard; it reports whether that was enough.
func (j *Judge) Air(a *clockcheck.Air) bool {
	r, ok := air.Take(a)
	if ok = ok && j.placeable(&r); ok {
		j.air[index(r.Source == bank.Station)] = *a
		j.bank.Hear(&r)
		j.changed(a.At)
	}
	return ok
}

// placeable tells whether what is known modulo something has one place only.
func (j *Judge) placeable(r *bank.Reading) bool {
	if r.Modulo == 0 {
		return true
	}
	if !j.bank.Best().Located {
		return false
	}
	lo, hi := j.bank.Guard(0)
	return hi-lo+4*r.Common < r.Modulo
}

func (j *Judge) note(at timescale.Local, kind, text string) {
	if len(j.events) == maxEvents {
		copy(j.events, j.events[1:])
		j.events = j.events[:maxEvents-1]
	}
	j.events = append(j.events, clockcheck.Event{At: at, Kind: kind, Text: text})
}

// Events appends to dst what has happened since the last call.
func (j *Judge) Events(dst []clockcheck.Event) []clockcheck.Event {
	dst = append(dst, j.events...)
	j.events = j.events[:0]
	return dst
}
