// Package banked is the judge of the system clock. It stands on the bank of explanations
// (package bank). Readings walk down once: the source's package admits them, the bank hears
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
	"noonmark/clockcheck/source/pulse"
	"noonmark/clockcheck/source/receiver"
	"noonmark/clockcheck/source/rtc"
	"noonmark/clockcheck/source/server"
	"noonmark/clockcheck/thermal"
	"noonmark/clockcheck/timescale"
)

const (
	// rateUnlearned, s/s, 1σ, of a computer that nobody has known: parts of ±10 to ±50 ppm are usual
	// (common practice, no source), but of 20,000 hosts half were beyond 78 ppm (Mills 2006), with
	// the counters of then (assumption).
	rateUnlearned = 30e-6
	// rateSlack, s/s: what is learned of a rate holds no better at the next start: 1 ppm/K ·
	// 1 K (0.1 to 1 are usual, Lux and Camp 2015).
	rateSlack = 1e-6
	// rateElsewhere, s/s, σ: … of the main oscillator's, which a start may find at home or in the cold: 0.3 ppm/K, the
	// geometric mean of the usual 0.1 to 1 (Lux and Camp 2015), · 30 K from a room to a frost (assumption).
	rateElsewhere = 9e-6
	maxEvents     = 32 // between two looks at them; the oldest go (assumption)
	// A lateness that was learned, σ in s, is known no better than what no filter sees of it (package
	// bank, floor). That the operator said: ± 0.08 s at 99 %, from a maker's words or one
	// measurement (assumption).
	learnedFloor, saidSigma = 0.020, 0.03
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
	first   clockcheck.RTC // the hardware clock's first reading
	servers server.Servers
	marks   [2]clockcheck.Mark
	crowds  air.Hearings
	air     [2]clockcheck.Air // as placed
	heard   [2]clockcheck.Air // as last heard
	waiting waiting
	noted   [2]timescale.Local // when it was last told what the air says
	warm    thermal.Thermometer
	system  systemClock
	verdict verdicts
	events  []clockcheck.Event
	trust   map[string]told // of each reference, as last told
	began   bool            // UTC has been told
	shown   bank.Proved
	saved   bank.Proved // what was proved in this run already, and is to be saved at once the first time
	denied  bank.Set    // whom the best track took to be false in this run: the first time that is to be saved at once
	urgent  bool
	came    bool // leap-second data have come in, by the best track
	counted bool // what this start of the receiver told is kept
	watch   bank.Trace
	forbid  []bank.Assumption
}

// New returns a judge that knows what was learned before (the zero Learned if nothing).
func New(cfg clockcheck.Config, learned clockcheck.Learned) *Judge {
	j := &Judge{cfg: cfg, learned: learned, events: make([]clockcheck.Event, 0, maxEvents), trust: map[string]told{}}
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
		y, sy = l.RatePPM*1e-6, math.Hypot(l.RateSigmaPPM*1e-6, rateElsewhere)
	}
	sigma, wander := rtc.RateSigma(j.cfg.RTCCompensated)
	j.bank = bank.New(bank.Config{Rate: y, RateSigma: sy, ClockSigma: sigma, ClockWander: wander})
	j.bank.Watch(j.watch)
	for _, a := range j.forbid {
		j.bank.Forbid(a)
	}
	var from bank.Set
	var doubts []bank.Doubted
	if l := j.learned.RTC; l != nil {
		from, doubts = setOf(l.Ancestry), doubtsOf(l.Doubted, l.WasDoubted, l.DoubtNats)
	}
	if h := j.learned.Held; h != nil { // newer: who was doubted is so in another boot, too, hardware clock or none
		doubts = doubtsOf(h.Doubted, h.WasDoubted, h.DoubtNats)
	}
	j.bank.DoubtAgain(doubts)
	j.clock = rtc.New(j.learned.RTC, from)
	j.servers, j.marks, j.air, j.began = server.Servers{}, [2]clockcheck.Mark{}, [2]clockcheck.Air{}, false
	j.waiting.n = 0
}

// Bank is the bank, for whoever looks into it.
func (j *Judge) Bank() *bank.Bank { return j.bank }

// Forbid takes an explanation away: for the laboratory, which asks what falls without it.
func (j *Judge) Forbid(a bank.Assumption) {
	j.forbid = append(j.forbid, a)
	j.bank.Forbid(a)
}

// Watch names who is shown each reading and what each explanation made of it.
func (j *Judge) Watch(t bank.Trace) {
	j.watch = t
	j.bank.Watch(t)
}

// Segment says that the local timescale stood still (the machine slept): UTC − local is
// unknown again. What was known of the rest is what a start after a power-off knows.
func (j *Judge) Segment(now timescale.Local) {
	j.learned = j.Learned()
	j.system = systemClock{steered: j.system.steered}
	j.warm.Restart(j.learned.Temperature.Kept(j.warm.Sensor))
	missing, why := j.clock.Fault == rtc.Missing, j.clock.Why
	j.again()
	if j.learned.Held = nil; !j.rx.Present {
		j.rx.Lost("The receiver was not open when the computer woke.")
	}
	if missing { // what is not there is not there after a sleep either
		j.clock.Gone(why)
	}
	j.note(now, "slept", "The computer slept: the time is worked out again.")
}

// again begins from what is learned, with the receiver that is open.
func (j *Judge) again() {
	rx, named := j.rx, j.named
	if j.begin(); !rx.Present {
		return
	}
	j.ReceiverOpened("", rx.Link)
	if named {
		j.ReceiverNamed(rx.Key)
	}
}

// ReceiverOpened says that a receiver was opened or powered on: what it proved before
// counts no more. What it said against the rest does.
func (j *Judge) ReceiverOpened(key string, link clockcheck.Link) {
	j.learned.Latencies = j.latencies()
	j.rx, j.named, j.counted = receiver.Opened(link), false, false
	j.ReceiverNamed(key)
}

// ReceiverNamed names the receiver and its configuration; a lateness learned under the
// same key is taken up again.
func (j *Judge) ReceiverNamed(key string) {
	j.rx.Key, j.named, j.rx.Starts = key, key != "", j.learned.StartsOf(key)
	if kept, ok := j.kept(key); ok && j.rx.Steady() && kept.EdgeOpenS == 0 { // an earlier version kept some that were not quite told
		j.pulse.Recall(kept.Edge)
	}
	j.bank.Opened(j.lateness(j.learned.Latencies))
}

// lateness is what is known of the present receiver's lateness when its port opens, where all is kept.
func (j *Judge) lateness(all []clockcheck.LearnedLatency) bank.Lateness {
	l := bank.Lateness{Most: j.rx.LateMost()}
	l.Mean, l.Sigma = j.rx.LatePrior()
	if kept, ok := latencyOf(all, j.rx.Key); ok && j.rx.Steady() {
		l.Mean, l.Sigma = kept.LatencyS, math.Hypot(math.Hypot(kept.SigmaS, learnedFloor), kept.LeapS)
		l.Known, l.Doubt, l.Loose = kept.LeapS == 0, kept.DoubtNats, kept.Loose
	}
	if j.cfg.Latency > 0 {
		l.Mean, l.Sigma, l.Known, l.Said = j.cfg.Latency.Seconds(), saidSigma, true, true
	}
	return l
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
		j.waiting.n = 0
		j.note(e.At, "leap-second", "UTC had a leap second.")
	}
	if !ok {
		if late, overrun := j.rx.NotBefore(); overrun && j.bank.NotBefore(late.At, late.Z, late.Var) {
			j.changed(e.At, bank.Receiver)
		}
		return
	}
	said := bank.Reading{Source: bank.Receiver, At: l.At, Z: l.Z, Var: l.Var, Dated: l.Dated,
		Stream: bank.Stream{LeadMost: bank.MaxLead, Missing: j.rx.Missing(), LateMost: j.rx.LateMost()}}
	j.bank.Hear(&said)
	j.learnRate(&said)
	if n, ok := j.rx.Page(); ok {
		j.bank.Page(n)
	}
	j.changed(e.At, bank.Receiver)
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
