package lab

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/world"
	"noonmark/status"
)

// Floor is the build date that nights are judged with.
var Floor = timescale.UTCOf(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC))

// Trace is told each second of a night: the picture is drawn from it.
type Trace func(at time.Duration, truth float64, s *status.Snapshot)

// Play runs one night. trace may be nil.
func (c *Case) Play(seed uint64, without Forbidden, trace Trace) *Night {
	cfg := station.Config{
		Judge:     clockcheck.Config{Floor: Floor, Modes: c.Modes, RTCCompensated: c.Compensated, Latency: c.Latency, PPSEdge: c.Edge},
		MakeJudge: c.judge(without), BuildDate: Floor, LocatorLength: 10, Record: c.Record,
	}
	if c.Steered {
		cfg.Steer = &steer.Config{Modes: c.Modes, Floor: Floor, RTC: "simulated"}
	}
	w := world.New(c.Scenario, cfg, seed)
	o := newObserver(c, seed)
	for w.Elapsed() < c.Length {
		snap := w.Second()
		o.look(w, snap)
		if trace != nil {
			trace(w.Elapsed(), w.SystemError(), snap)
		}
	}
	o.night.StateWrites = w.StateWrites()
	return o.finish()
}

// observer measures a night from outside: it knows the truth.
type observer struct {
	c                   *Case
	night               Night
	checks              []checker
	rng                 *rand.Rand
	healthy             int // s for which the receiver has been healthy and proved
	unproved            int
	air                 bool    // nothing but the receiver and a crowd tells UTC
	lean                float64 // … s, by which that crowd is off
	faded               bool    // … and it has not been heard for long
	sum2                float64
	n                   int
	held2               float64
	held                int
	good                int // s since all modes were within
	lastSteps, lastSets int
	drawn               map[[2]string]int
}

func newObserver(c *Case, seed uint64) *observer {
	o := &observer{c: c, night: Night{Scenario: c.Name, Seed: seed, Kinds: c.Kinds, Kept: 1}, rng: rand.New(rand.NewPCG(seed, 0x6f627365727665)),
		drawn: make(map[[2]string]int)}
	for i := range c.Expect {
		o.checks = append(o.checks, checker{Expectation: &c.Expect[i]})
	}
	for _, m := range c.Modes {
		o.night.Modes = append(o.night.Modes, Mode{Mode: m.Name, First: -1})
	}
	return o
}

func (o *observer) look(w *world.World, s *status.Snapshot) {
	at, truth := w.Elapsed(), w.SystemError()
	o.night.Seconds++
	for i := range o.checks {
		o.checks[i].look(at, s, truth)
	}
	o.health(w, s)
	o.lookAtPromise(w, s)
	o.lookForFault(at, truth, s)
	for i, m := range s.Modes {
		before := o.night.Modes[i].Needless
		if o.mode(&o.night.Modes[i], m, truth, at); o.night.Modes[i].Needless > before {
			o.why(s)
		}
	}
	o.steered(w, s, truth)
	cl := &s.Clock
	if !cl.GuardS.OK {
		return
	}
	e := cl.ErrorS.V - truth
	if math.Abs(e) > cl.GuardS.V && !o.mayMiss(at) {
		o.night.Missed++
	}
	learned := o.learned(s)
	if learned {
		o.sum2 += e * e
		o.n++
		o.night.Max = math.Max(o.night.Max, math.Abs(e))
	}
	if !o.mayMiss(at) {
		o.sample(Sample{cl.Basis, learned, e, cl.BoundS.V})
	}
}

// steered measures the steered clock itself. Counters begin anew at each boot.
func (o *observer) steered(w *world.World, s *status.Snapshot, truth float64) {
	if !o.c.Steered {
		return
	}
	if n := w.Steps(); n > o.lastSteps {
		o.night.Steps += n - o.lastSteps
	}
	if n := w.RTCSets(); n > o.lastSets {
		o.night.RTCSets += n - o.lastSets
	}
	o.lastSteps, o.lastSets = w.Steps(), w.RTCSets()
	if !slices.ContainsFunc(s.Modes, func(m status.Mode) bool { return m.Verdict != status.Within }) {
		o.good++
	} else {
		o.good = 0
	}
	if o.good > 60 {
		o.held2 += truth * truth
		o.held++
		o.night.SteeredMax = math.Max(o.night.SteeredMax, math.Abs(truth))
	}
}

// mayMiss: the scenario declares that nobody could see it.
func (o *observer) mayMiss(at time.Duration) bool {
	return slices.ContainsFunc(o.c.MayMiss, func(d Declared) bool { return d.has(at) })
}

// declared counts a second of false within in a part that is declared, by its classes.
func (o *observer) declared(at time.Duration) {
	for _, d := range o.c.MayMiss {
		if d.has(at) {
			if o.night.Classes == nil {
				o.night.Classes = map[int]int{}
			}
			o.night.Classes[d.Class]++
		}
	}
}

// learned tells whether latency and rate are known, so far as the basis wants.
func (o *observer) learned(s *status.Snapshot) bool {
	cl := &s.Clock
	if !slices.Contains(cl.Proved, "second") || !cl.RateBoundPPM.OK {
		return false
	}
	switch cl.Basis {
	case "gnss", "holdover":
		return slices.Contains(cl.Proved, "latency") && cl.RateBoundPPM.V < 3
	case "rtc":
		return o.c.Compensated && slices.Contains(cl.Ancestry, "server")
	}
	return cl.RateBoundPPM.V < 3
}

// sample keeps one instant of the night for each basis, any with the same chance.
func (o *observer) sample(s Sample) {
	key := [2]string{s.Basis, map[bool]string{true: "learned"}[s.Learned]}
	o.drawn[key]++
	if o.rng.IntN(o.drawn[key]) != 0 {
		return
	}
	for i := range o.night.Samples {
		if k := &o.night.Samples[i]; k.Basis == s.Basis && k.Learned == s.Learned {
			*k = s
			return
		}
	}
	o.night.Samples = append(o.night.Samples, s)
}

// health counts how long a truly healthy receiver has been there.
func (o *observer) health(w *world.World, s *status.Snapshot) {
	r := reference(s, "receiver")
	if !w.Healthy() || s.Clock.Basis != "gnss" && s.Clock.Basis != "pps" || r.Trust != status.Trusted && r.Trust != status.Warming {
		o.healthy, o.unproved = 0, 0
		return
	}
	lean, ago, heard := w.Crowd()
	o.faded = ago > faded
	o.air = heard && !slices.ContainsFunc(s.Clock.Ancestry, func(a string) bool { return a != "receiver" && a != "air" })
	o.lean = lean.Seconds()
	o.unproved++
	if slices.Contains(s.Clock.Proved, "second") && slices.Contains(s.Clock.Proved, "latency") {
		o.healthy++
	} else {
		o.healthy = 0
	}
}

// faded: a band on which nobody has been heard for so long is counted apart, for there is nothing to learn from it
// (assumption; a band closes for hours).
const faded = time.Hour

// airLeast is the least guard that a crowd can give: the σ of its delays is crowd.Shared, however often it is
// heard; 3.89 σ at 99.99 %. Where the clock, by that crowd, is nearer to the tolerance, nobody could prove it
// inside.
var airLeast = 3.89 * crowd.Shared

func (o *observer) mode(n *Mode, m status.Mode, truth float64, at time.Duration) {
	if m.Verdict == status.Within {
		n.Within++
		if n.First < 0 {
			n.First = at.Seconds()
		}
		if math.Abs(truth) > m.ToleranceS {
			if o.mayMiss(at) {
				n.Declared++
				o.declared(at)
			} else {
				n.False++
			}
		}
	}
	if math.Abs(truth) > m.ToleranceS/2 {
		return
	}
	needless := m.Verdict != status.Within
	if o.air && o.unproved > 60 && math.Abs(truth+o.lean)+airLeast <= m.ToleranceS {
		all, not := &n.Ear, &n.NeedlessEar
		if o.faded {
			all, not = &n.Faded, &n.NeedlessFaded
		}
		if *all++; needless {
			*not++
		}
	}
	switch {
	case o.healthy > 60:
		n.Proved++
		if needless {
			n.Needless++
		}
	case o.healthy == 0 && o.unproved > 60:
		n.Unproved++
		if needless {
			n.NeedlessUnpr++
		}
	}
}

// why tallies what made the guard so wide.
func (o *observer) why(s *status.Snapshot) {
	largest := status.Term{Term: "hold"}
	for _, t := range s.Clock.Budget {
		if t.GuardS.V > largest.GuardS.V {
			largest = t
		}
	}
	if o.night.Why == nil {
		o.night.Why = map[string]int{}
	}
	o.night.Why[largest.Term]++
}

func (o *observer) finish() *Night {
	if o.n > 0 {
		o.night.RMS = math.Sqrt(o.sum2 / float64(o.n))
	}
	if o.held > 0 {
		o.night.Steered = math.Sqrt(o.held2 / float64(o.held))
	}
	for i := range o.checks {
		if b, ok := o.checks[i].result(); !ok {
			o.night.Breaks = append(o.night.Breaks, b)
		}
	}
	return &o.night
}
