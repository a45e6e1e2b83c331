package clockcheck

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck/thermal"
	"noonmark/clockcheck/timescale"
)

// Config is what the operator and the machine tell the judge at its start.
type Config struct {
	Floor          timescale.UTC // no true date lies before it (build, last known); 0 = believe any date
	Modes          []Mode        // the modes shown, with the tolerances in force
	Latency        time.Duration // the receiver's arrival latency if the operator knows it; 0 = learn it
	RTCCompensated bool          // the RTC is of a temperature-compensated kind
	PPSEdge        Edge          // the pulse's edge that is the second; EdgeUnknown = learn it
	Without        Rules         // rules taken away, for the laboratory alone
}

const (
	boundZ      = 2.576 // 99 % of a Gaussian, two-sided
	guardZ      = 3.891 // 99.99 %
	rateSigma   = 30e-6 // 1σ of an unlearned oscillator: ±10 to ±50 ppm parts are usual
	serverFresh = 20 * time.Minute
	serverAgree = 6 * time.Hour // so long an agreeing server counts as a supporter
	maxServers  = MaxServers
	maxEvents   = 32
)

// ancestries, as a set
type ancestry uint16

const (
	ancReceiver ancestry = 1 << iota
	ancOperator
	ancUnknown
	ancServer // and the bits above: one for each server
)

const (
	ancServers    = (ancServer<<(maxServers+1) - 1) &^ (ancServer - 1) // any server
	ancServersNow = (ancServer<<maxServers - 1) &^ (ancServer - 1)     // one heard in this run
)

type support int

const (
	supportNone support = iota
	supportReceiver
	supportPulse
	supportMark
	supportNetwork
	supportRTC
)

// known is what stands of UTC − local timescale outside the covariance.
type known struct {
	known      bool
	dateProved bool
	secLo      int  // UTC may lie this many whole seconds before the estimate (≤ 0)
	secHi      int  // … and this many after it (≥ 0)
	secAlone   bool // the receiver alone speaks for the second
	ancestry   ancestry
	support    support
	since      timescale.Local // when it was first judged
	gnssAt     timescale.Local
	netAt      timescale.Local
	rtcAt      timescale.Local
	markAt     timescale.Local
	heldAt     timescale.Local // the newest reading of the run before, if x is held over from it
	stream     bool            // … and the receiver's stream was so late then, s
	lateness   float64
	pulse      bool  // the pulse is tied to the second
	room       room  // what an unproved latency left of x when its stream was last there
	open       claim // where else x may be, as the pulse's edge is not told; s, around 0
}

func (k *known) secondProved() bool { return k.known && k.secLo == 0 && k.secHi == 0 }

// claim is an interval for x relative to its estimate, s.
type claim struct{ lo, hi float64 }

func (c claim) meets(d claim) bool { return c.lo <= d.hi && d.lo <= c.hi }

func (c claim) hull(d claim) claim { return claim{math.Min(c.lo, d.lo), math.Max(c.hi, d.hi)} }

// Judge holds all state. Make one with New.
type Judge struct {
	cfg     Config
	learned Learned
	f       filter
	x       known
	rx      receiver
	pps     pulse
	marks   [markSlots]marked
	rtc     rtcRef
	servers [maxServers]server
	nServer int
	clock   clockRate
	rises   []timescale.Local // per mode shown: since when the margin has held; -1 = it does not
	eases   []timescale.Local // per mode shown: -1 = outside; since when it has been better; 0 = neither
	within  []bool
	events  []Event
	rxTrust Trust
	watch   watch
	view    streamView
	warm    thermal.Thermometer
	doubted timescale.Local // since when references disagree; 0 = they do not
}

// New returns a judge that knows what was learned before (the zero Learned if
// nothing was).
func New(cfg Config, learned Learned) *Judge {
	j := &Judge{cfg: cfg, learned: learned,
		rises: make([]timescale.Local, len(cfg.Modes)), within: make([]bool, len(cfg.Modes)), eases: make([]timescale.Local, len(cfg.Modes)),
		events: make([]Event, 0, maxEvents)}
	for i := range j.rises {
		j.rises[i] = -1
	}
	j.reset()
	j.rx.why = "No receiver has been opened yet."
	j.rtc.fault = fMissing
	j.rtc.why = "No hardware clock has been read yet."
	return j
}

// reset forgets everything about UTC − local, and keeps what was learned of rates.
func (j *Judge) reset() {
	j.f = filter{qS: qSPlain, qD: qD}
	if j.cfg.RTCCompensated {
		j.f.qS = qSComp
	}
	j.x, j.watch, j.view = known{}, watch{}, streamView{}
	y, sy := j.rate()
	j.f.forget(sY, y, sy)
	j.f.forget(sD, latencyMean, latencySigma)
	j.f.forget(sS, 0, j.rtcRateSigma())
}

// rate is what an earlier run learned of the oscillator, or the prior.
func (j *Judge) rate() (y, sigma float64) {
	if l := j.learned; l.RateSigmaPPM > 0 {
		return l.RatePPM * 1e-6, math.Hypot(l.RateSigmaPPM, 1) * 1e-6
	}
	return 0, rateSigma
}

// Segment says that the local timescale stood still (the machine slept): UTC −
// local is unknown again, to be refilled from the RTC.
func (j *Judge) Segment(now timescale.Local) {
	if !j.on(RuleSegment) {
		return
	}
	j.learned = j.Learned()
	key, link, present := j.rx.key, j.rx.link, j.rx.present
	j.reset()
	// Nothing of them is learned from what reset left. A clock that is not there is not there after a sleep either.
	missing, why := j.rtc.fault == fMissing, j.rtc.why
	j.rx, j.rtc = receiver{}, rtcRef{fault: fUncompared}
	if missing {
		j.RTCMissing(why)
	}
	j.nServer = 0
	j.marks = [markSlots]marked{}
	if j.ReceiverOpened(key, link); !present {
		j.ReceiverLost("The receiver was not open when the computer woke.")
	}
	j.clock = clockRate{}
	j.warm.Restart(j.learned.Temperature.Kept(j.warm.Sensor))
	j.note(now, "slept", "The computer slept: the time is worked out again.")
}

// zRel is a measured UTC − local at an instant, relative to the base and
// carried to the filter's instant.
func (j *Judge) zRel(at timescale.Local, z int64) float64 {
	return float64(z-j.f.base)/1e9 + j.f.v[sY]*float64(j.f.at-at)/1e9
}

// rel is the same relative to the estimate.
func (j *Judge) rel(at timescale.Local, z int64) float64 { return j.zRel(at, z) - j.f.v[sX] }

// interval is where x lies around its estimate by its own support, without
// opponents, now.
func (j *Judge) interval(zscore float64) (lo, hi float64) { return j.intervalAhead(0, zscore) }

// intervalAhead is interval after t more seconds without a reading.
func (j *Judge) intervalAhead(t, zscore float64) (lo, hi float64) {
	floor := latencyFloor
	if zscore == boundZ {
		floor = boundFloor
	}
	g := j.spread(math.Sqrt(j.f.predictVariance(t, sNo, 0)+j.common(floor)), t, zscore)
	lo, hi = -g, g
	if c, ok := j.roomFor(t, zscore); ok {
		if lo, hi = math.Max(lo, c.lo), math.Min(hi, c.hi); lo > 0 || hi < 0 {
			lo, hi = -g, g
		}
	}
	return lo + j.x.open.lo + float64(j.x.secLo), hi + j.x.open.hi + float64(j.x.secHi)
}

// common is the variance of what all readings of the receiver share and no filter
// can see: its latency is never known better than the floor, s.
func (j *Judge) common(floor float64) float64 {
	if j.x.gnssAt == 0 || j.x.support == supportNetwork || j.x.support == supportMark {
		return 0
	}
	if j.x.support == supportPulse {
		return math.Max(sq(pulseFloor), j.pps.jitter)
	}
	return floor * floor
}

// guardAhead spans, besides, what undefeated opponents say.
func (j *Judge) guardAhead(t float64) claim {
	lo, hi := j.intervalAhead(t, guardZ)
	c := claim{lo, hi}
	if a := j.watch.offset; a != 0 { // it may have begun to be led away: then a former state is right
		c = c.hull(claim{lo + a, hi + a})
	}
	if !j.on(RuleDispute) {
		return c
	}
	if j.receiverOpposes() {
		c = c.hull(j.rx.claim)
	}
	if j.rtc.fault == fDisagrees {
		c = c.hull(j.rtc.claim)
	}
	if j.pps.opposes {
		c = c.hull(j.pps.claim)
	}
	for i := range j.marks {
		if m := &j.marks[i]; j.markOpposes(m) || i >= slotCrowd && j.airSpans(m) {
			c = c.hull(j.saysAhead(m, t))
		}
	}
	for i := range j.servers[:j.nServer] {
		if s := &j.servers[i]; !s.agrees && !s.outvoted {
			r := j.rel(s.at, s.z)
			c = c.hull(claim{r - s.bound, r + s.bound})
		}
	}
	return c
}

// receiverOpposes tells whether what the receiver says, or last said, may be right
// instead of what is known.
func (j *Judge) receiverOpposes() bool {
	return j.rx.fault == fDisagrees || j.rx.left() && j.undecided()
}

// undecided tells whether nobody but the receiver itself speaks for what it said
// before it left: it was wrong then, or it is wrong now.
func (j *Judge) undecided() bool {
	return !j.x.secondProved() || j.x.secAlone || j.receiverCarries()
}

func (j *Judge) receiverLive(at timescale.Local) bool {
	return j.rx.present && j.rx.attached && at.Sub(j.rx.valid) < receiverFresh
}

// Event is something an operator may want to know of later.
type Event struct {
	At   timescale.Local
	Kind string // a stable word: "started", "proved", "trust-changed", …
	Text string // one sentence
}

func (j *Judge) note(at timescale.Local, kind, text string) {
	if len(j.events) == maxEvents {
		copy(j.events, j.events[1:])
		j.events = j.events[:maxEvents-1]
	}
	j.events = append(j.events, Event{at, kind, text})
}

// Events appends to dst what has happened since the last call.
func (j *Judge) Events(dst []Event) []Event {
	dst = append(dst, j.events...)
	j.events = j.events[:0]
	return dst
}

func sq(v float64) float64 { return v * v }

// seconds prints a signed time difference for a sentence.
func seconds(s float64) string {
	switch a := math.Abs(s); {
	case a < 10:
		return fmt.Sprintf("%+.2f s", s)
	case a < 7200:
		return fmt.Sprintf("%+.1f s", s)
	case a < 2*86400:
		return fmt.Sprintf("%+.1f h", s/3600)
	default:
		return fmt.Sprintf("%+.1f days", s/86400)
	}
}
