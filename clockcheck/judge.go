package clockcheck

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck/selection"
	"noonmark/clockcheck/timescale"
)

// Config is what the operator and the machine tell the judge at its start.
type Config struct {
	Floor          timescale.UTC // no true date lies before it (build, last known); 0 = believe any date
	Modes          []Mode        // the modes shown, with the tolerances in force
	Latency        time.Duration // the receiver's arrival latency if the operator knows it; 0 = learn it
	RTCCompensated bool          // the RTC is of a temperature-compensated kind
}

const (
	boundZ      = 2.576 // 99 % of a Gaussian, two-sided
	guardZ      = 3.891 // 99.99 %
	rateSigma   = 30e-6 // 1σ of an unlearned oscillator: ±10 to ±50 ppm parts are usual
	serverFresh = 20 * time.Minute
	serverAgree = 6 * time.Hour // so long an agreeing server counts as a supporter
	maxServers  = 8
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

type carrier int

const (
	carNone carrier = iota
	carReceiver
	carNetwork
	carRTC
)

// known is what stands of UTC − local timescale outside the covariance.
type known struct {
	known      bool
	dateProved bool
	secLo      int // UTC may lie this many whole seconds before the estimate (≤ 0)
	secHi      int // … and this many after it (≥ 0)
	ancestry   ancestry
	carrier    carrier
	gnssAt     timescale.Local
	netAt      timescale.Local
	rtcAt      timescale.Local
}

func (k *known) secondProved() bool { return k.known && k.secLo == 0 && k.secHi == 0 }

// claim is an interval for x relative to its estimate, s.
type claim struct{ lo, hi float64 }

func (c claim) meets(d claim) bool { return c.lo <= d.hi && d.lo <= c.hi }

func (c claim) hull(d claim) claim { return claim{math.Min(c.lo, d.lo), math.Max(c.hi, d.hi)} }

// server is what the judge knows of one time server.
type server struct {
	name     string
	at       timescale.Local
	bound    float64
	z        int64 // its UTC − local at at, ns
	agrees   bool
	outvoted bool
}

// Judge holds all state. Make one with New.
type Judge struct {
	cfg     Config
	learned Learned
	f       filter
	x       known
	rx      receiver
	rtc     rtcRef
	servers [maxServers]server
	nServer int
	clock   clockRate
	rises   []timescale.Local // per mode shown: since when the margin has held; -1 = it does not
	within  []bool
	events  []Event
	rxTrust Trust
}

// New returns a judge that knows what was learned before (the zero Learned if
// nothing was).
func New(cfg Config, learned Learned) *Judge {
	j := &Judge{cfg: cfg, learned: learned,
		rises: make([]timescale.Local, len(cfg.Modes)), within: make([]bool, len(cfg.Modes)),
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
	j.f = filter{qS: qSPlain}
	if j.cfg.RTCCompensated {
		j.f.qS = qSComp
	}
	j.x = known{}
	y, sy := 0.0, rateSigma
	if l := j.learned; l.RateSigmaPPM > 0 {
		y, sy = l.RatePPM*1e-6, math.Hypot(l.RateSigmaPPM, 1)*1e-6
	}
	j.f.forget(sY, y, sy)
	j.f.forget(sD, latencyMean, latencySigma)
	j.f.forget(sS, 0, j.rtcRateSigma())
}

// Segment says that the local timescale stood still (the machine slept): UTC −
// local is unknown again, to be refilled from the RTC.
func (j *Judge) Segment(now timescale.Local) {
	j.learned = j.Learned()
	key, link, present := j.rx.key, j.rx.link, j.rx.present
	j.reset()
	j.rtc = rtcRef{fault: fUncompared}
	j.nServer = 0
	if j.ReceiverOpened(key, link); !present {
		j.ReceiverLost("The receiver was not open when the computer woke.")
	}
	j.clock = clockRate{}
	j.note(now, "slept", "The computer slept: the time is taken up anew.")
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
	g := zscore * math.Sqrt(j.f.ahead(t, sNo, 0))
	lo, hi = -g, g
	if j.rx.attached && j.rx.latencyBy == "" && j.x.carrier == carReceiver {
		// The latency is not proved, but it has a range, and x = stream + latency.
		m := zscore * math.Sqrt(j.f.ahead(t, sD, -1))
		lo = math.Max(lo, -j.f.v[sD]-m)
		hi = math.Min(hi, j.rx.link.latencyMax()-j.f.v[sD]+m)
		if lo > 0 || hi < 0 {
			lo, hi = -g, g
		}
	}
	return lo + float64(j.x.secLo), hi + float64(j.x.secHi)
}

// guardAhead spans, besides, what undefeated opponents say.
func (j *Judge) guardAhead(t float64) claim {
	lo, hi := j.intervalAhead(t, guardZ)
	c := claim{lo, hi}
	rx := &j.rx
	if rx.fault == fDisagrees || rx.fault == fJumped && !j.x.secondProved() {
		c = c.hull(rx.claim)
	}
	if j.rtc.fault == fDisagrees {
		c = c.hull(j.rtc.claim)
	}
	for i := range j.servers[:j.nServer] {
		if s := &j.servers[i]; !s.agrees && !s.outvoted {
			r := j.rel(s.at, s.z)
			c = c.hull(claim{r - s.bound, r + s.bound})
		}
	}
	return c
}

// Network takes one answer of a server.
func (j *Judge) Network(r *Network) {
	s := j.serverNamed(r.Server)
	if s == nil {
		return
	}
	z := int64(r.UTC) - int64(r.At)
	s.at, s.bound, s.z, s.outvoted = r.At, r.Bound.Seconds(), z, false
	bit := ancServer << j.indexOf(s)
	if !j.x.known {
		j.f.base, j.f.at = z, r.At
		j.f.start(0, sNo, sq(s.bound/2))
		j.x = known{known: true, dateProved: true, ancestry: bit, carrier: carNetwork, netAt: r.At}
		s.agrees = true
		j.note(r.At, "started", "The time now comes from a network server.")
		return
	}
	j.f.advance(r.At)
	rel := j.rel(r.At, z)
	if !j.witness(r.At, claim{rel - s.bound, rel + s.bound}) {
		if s.agrees {
			j.note(r.At, "trust-changed", "The server "+s.name+" disagrees by "+seconds(rel)+".")
		}
		s.agrees = false
		j.resolve(r.At)
		return
	}
	s.agrees = true
	j.x.netAt, j.x.dateProved = r.At, true
	j.x.ancestry |= bit
	if j.x.carrier == carRTC || !j.receiverLive(r.At) {
		j.x.carrier = carNetwork
	}
	j.f.measure(j.zRel(r.At, z), sNo, 0, sq(s.bound/2))
	// A server's error is common to all its answers: it does not average down.
	if floor := sq(s.bound / 3); j.f.p[sX][sX] < floor {
		j.f.p[sX][sX] = floor
	}
	j.resolve(r.At)
}

// witness lays an independent claim on x against the whole-second hypotheses.
// It reports whether any survives; where one does, the second is proved.
func (j *Judge) witness(at timescale.Local, c claim) bool {
	lo, hi := j.interval(guardZ)
	lo, hi = lo-float64(j.x.secLo), hi-float64(j.x.secHi)
	first, last, n := 0, 0, 0
	for s := j.x.secLo; s <= j.x.secHi; s++ {
		if (claim{lo + float64(s), hi + float64(s)}).meets(c) {
			if n == 0 {
				first = s
			}
			last = s
			n++
		}
	}
	if n == 0 {
		return false
	}
	was := j.x.secondProved()
	// The hypothesis nearest zero leads; the rest stay beside it.
	lead := min(max(0, first), last)
	j.f.shift(float64(lead))
	j.rx.ahead -= lead
	if j.rx.attached && j.rx.ahead != 0 {
		j.rx.fault = fAhead
	}
	j.x.secLo, j.x.secHi = first-lead, last-lead
	if n == 1 || c.hi-c.lo < 1 {
		// A claim narrower than a second names the second by itself, even where the
		// receiver could be a second ahead and a second later to arrive.
		j.x.secLo, j.x.secHi = 0, 0
		j.rx.secProved = j.rx.secProved || j.rx.attached && j.rx.ahead == 0
		if !was {
			j.note(at, "proved", "A second reference agrees: the whole second is proved.")
		}
	}
	return true
}

// resolve lets agreement decide while anything opposes the estimate: the
// largest set of references of disjoint ancestry whose intervals intersect
// (RFC 5905 section 11.2.1). No majority, no winner: the guard spans all.
func (j *Judge) resolve(at timescale.Local) {
	var buf [maxServers + 4]selection.Interval
	all := buf[:0]
	lo, hi := j.interval(guardZ)
	own := selection.Interval{Low: lo, High: hi}
	opposed := false
	add := func(iv selection.Interval, agrees bool) {
		if agrees {
			all = append(all, own)
			return
		}
		opposed = true
		all = append(all, iv)
	}
	if j.rx.attached && j.rx.fault != fJumped && j.receiverLive(at) {
		add(own, true)
	} else if j.rx.fault == fDisagrees || j.rx.fault == fJumped {
		add(selection.Interval{Low: j.rx.claim.lo, Mid: j.rx.claim.hi - j.rx.link.latencyMax() + latencyMean, High: j.rx.claim.hi}, false)
	}
	if j.rtc.independent && j.rtc.fault == fNone {
		add(own, true)
	} else if j.rtc.fault == fDisagrees {
		add(selection.Interval{Low: j.rtc.claim.lo, Mid: (j.rtc.claim.lo + j.rtc.claim.hi) / 2, High: j.rtc.claim.hi}, false)
	}
	for i := range j.servers[:j.nServer] {
		s := &j.servers[i]
		r := j.rel(s.at, s.z)
		if at.Sub(s.at) < serverAgree {
			add(selection.Interval{Low: r - s.bound, Mid: r, High: r + s.bound}, s.agrees)
		}
	}
	if !opposed {
		return
	}
	if len(all) == 0 {
		return
	}
	wlo, whi, _, ok := selection.Select(all)
	if !ok {
		return
	}
	win := claim{wlo, whi}
	if win.meets(claim{lo, hi}) {
		j.outvote(win)
		return
	}
	j.restart(at, win)
}

// outvote takes the opponents outside the winning interval out of the guard.
func (j *Judge) outvote(win claim) {
	for i := range j.servers[:j.nServer] {
		s := &j.servers[i]
		r := j.rel(s.at, s.z)
		s.outvoted = !s.agrees && !win.meets(claim{r - s.bound, r + s.bound})
	}
	if j.rtc.fault == fDisagrees && !win.meets(j.rtc.claim) {
		j.rtc.fault, j.rtc.attached, j.rtc.independent = fWasSet, false, false
	}
	if j.rx.fault == fDisagrees && !win.meets(j.rx.claim) {
		j.rx.fault, j.rx.jump, j.rx.noProof = fJumped, (j.rx.claim.lo+j.rx.claim.hi)/2, true
	}
}

// restart takes the estimate up anew from a majority that outvotes it.
func (j *Judge) restart(at timescale.Local, win claim) {
	mid := (win.lo + win.hi) / 2
	j.f.shift(mid)
	j.f.forget(sX, j.f.v[sX], math.Max((win.hi-win.lo)/2/boundZ, 0.01))
	j.x = known{known: true, dateProved: true, carrier: carNetwork, netAt: at}
	for i := range j.servers[:j.nServer] {
		s := &j.servers[i]
		r := j.rel(s.at, s.z)
		s.agrees = (claim{r - s.bound, r + s.bound}).meets(claim{win.lo - mid, win.hi - mid})
		s.outvoted = !s.agrees
		if s.agrees {
			j.x.ancestry |= ancServer << i
		}
	}
	j.rx.attached, j.rx.fault, j.rx.run, j.rx.secProved = false, fNone, 0, false
	j.rtc.attached, j.rtc.independent, j.rtc.fault = false, false, fWasSet
	j.note(at, "overruled", "Several references that agree overruled the former time by "+seconds(mid)+".")
}

// settle lets sustained GNSS evidence overrule an RTC that disagrees, in the end.
func (j *Judge) settle(at timescale.Local) {
	rx := &j.rx
	if rx.run == 0 || at.Sub(rx.since) < overruleAfter || rx.satellites < overruleSatellites || rx.noProof {
		return
	}
	switch {
	case rx.fault == fDisagrees && j.x.carrier == carRTC && j.x.netAt == 0:
		j.x = known{}
		rx.attached, rx.fault, rx.secProved = false, fNone, true
		j.rtc.attached, j.rtc.independent, j.rtc.fault = false, false, fWasSet
		j.note(at, "overruled", "The receiver has been steady for 2 h with many satellites: it overrules the hardware clock.")
	case j.rtc.fault == fDisagrees && rx.attached && rx.fault == fNone:
		j.rtc.attached, j.rtc.independent, j.rtc.fault = false, false, fWasSet
		j.note(at, "overruled", "The receiver has been steady for 2 h with many satellites: it overrules the hardware clock.")
	}
}

func (j *Judge) receiverLive(at timescale.Local) bool {
	return j.rx.present && j.rx.attached && at.Sub(j.rx.valid) < receiverFresh
}

func (j *Judge) serverNamed(name string) *server {
	for i := range j.servers[:j.nServer] {
		if j.servers[i].name == name {
			return &j.servers[i]
		}
	}
	if j.nServer == maxServers {
		return nil
	}
	s := &j.servers[j.nServer]
	*s = server{name: name}
	j.nServer++
	return s
}

func (j *Judge) indexOf(s *server) int {
	for i := range j.servers {
		if &j.servers[i] == s {
			return i
		}
	}
	return 0
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
