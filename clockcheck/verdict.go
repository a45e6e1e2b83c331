package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/terms"
	"noonmark/clockcheck/timescale"
)

// The words and the rule of acceptance are everybody's.
type (
	Verdict = terms.Verdict
	Basis   = terms.Basis
)

const (
	Within     = terms.Within // and held for 2 s
	Outside    = terms.Outside
	Borderline = terms.Borderline
	Unknown    = terms.Unknown

	BasisPPS      = terms.BasisPPS
	BasisGNSS     = terms.BasisGNSS
	BasisNetwork  = terms.BasisNetwork
	BasisOperator = terms.BasisOperator
	BasisRTC      = terms.BasisRTC
	BasisHoldover = terms.BasisHoldover
	BasisNone     = terms.BasisNone
)

const (
	holdFor    = 2 * time.Second     // a margin must hold so long before Within is said
	horizon    = 30 * 24 * time.Hour // good-until is not looked for beyond
	stepOver   = 0.001               // s: the clock moved by more than slewing can
	slewMaxPPM = 1000                // ppm: fastest slew of the kernel, with margin
)

// ModeJudgement is the verdict for one mode.
type ModeJudgement struct {
	Mode    Mode
	Verdict Verdict
	Margin  float64 // s: tolerance − (|error| + guard); meaningless if Unknown
	GoodFor float64 // s until the growing guard uses the margin up; 0 unless Within
}

// Term is one line of the error budget.
type Term struct {
	Name    string
	GuardS  float64 // s, half-width
	Because string
}

// Judgement is what the judge says at one instant. Error, bound and guard are
// seconds; positive error = the clock is fast.
type Judgement struct {
	At           timescale.Local
	Basis        Basis
	Known        bool    // Error and Bound have a meaning
	Guarded      bool    // Guard too; without it every verdict is Unknown
	Error        float64 // s: system clock − UTC
	Bound        float64 // s: half-width of the 99 % interval
	Guard        float64 // s: half-width that verdicts use, never below Bound
	RatePPM      float64 // the system clock gains so much on UTC at present (negative: loses)
	RateBoundPPM float64 // half-width of the 99 % interval of LocalRatePPM
	// ErrorLo and ErrorHi span what the error may be, s: Error ± Guard, but not the
	// same on both sides. LocalRatePPM: UTC gains so much on the local timescale;
	// always there, if only as what was assumed. All three are for steering.
	ErrorLo, ErrorHi float64
	LocalRatePPM     float64
	SecondIn         float64 // s until waiting alone confirms the whole second; negative where it does not
	Proved           []string
	Ancestry         []string
	Because          string
	Modes            []ModeJudgement
	References       []Reference
	Budget           []Term
	Warmth           Warmth
}

// clockRate follows how fast the system clock runs against the local timescale.
type clockRate struct {
	set      bool
	l0, l1   timescale.Local
	s0, s1   timescale.UTC
	rate     float64 // s/s, system gains on local
	haveRate bool
	steered  Steered
}

// feed takes a pair; it reports a step of the clock since the last, s.
func (c *clockRate) feed(l timescale.Local, s timescale.UTC) (step float64) {
	if !c.set {
		*c = clockRate{set: true, l0: l, l1: l, s0: s, s1: s, steered: c.steered}
		return 0
	}
	dl := l.Sub(c.l1).Seconds()
	d := s.Sub(c.s1).Seconds() - dl
	if math.Abs(d) > stepOver+slewMaxPPM*1e-6*dl {
		*c = clockRate{set: true, l0: l, l1: l, s0: s, s1: s, rate: c.rate, haveRate: c.haveRate, steered: c.steered}
		return d
	}
	c.l1, c.s1 = l, s
	if long := l.Sub(c.l0).Seconds(); long >= 10 {
		c.rate, c.haveRate = s.Sub(c.s0).Seconds()/long-1, true
		if long > 60 {
			c.l0, c.s0 = l, s
		}
	}
	return 0
}

// Judge says how it stands at now, when the system clock showed system. dst is
// filled anew; its slices are used again.
func (j *Judge) Judge(now timescale.Local, system timescale.UTC, dst *Judgement) {
	j.judge(now, system, dst)
	j.Promise(dst)
}

// judge is Judge without the look ahead.
func (j *Judge) judge(now timescale.Local, system timescale.UTC, dst *Judgement) {
	if step := j.clock.feed(now, system); step != 0 {
		j.note(now, "clock-stepped", "Another program moved the system clock by "+seconds(step)+".")
	}
	*dst = Judgement{At: now, Basis: BasisNone, Proved: dst.Proved[:0], Ancestry: dst.Ancestry[:0], Modes: dst.Modes[:0],
		References: dst.References[:0], Budget: dst.Budget[:0]}
	dst.LocalRatePPM, dst.RateBoundPPM = j.f.v[sY]*1e6, boundZ*j.f.sigma(sY)*1e6
	j.expire(now)
	if j.x.known {
		if j.x.since == 0 {
			j.x.since = now
		}
		j.f.advance(now)
		j.choose(now)
		j.estimate(now, system, dst)
	} else if c := &j.rtc; c.provisional {
		dst.Known, dst.Basis = true, BasisRTC
		dst.Error = float64(int64(system)-int64(now)-c.provZ) / 1e9
	}
	j.modes(now, dst)
	j.references(now, dst)
	dst.Because = j.because(now, dst)
	dst.Warmth = WarmthOf(&j.warm, j.live(now), now)
	j.watchTrust(now, dst)
	j.watchDoubt(now)
}

// watchDoubt has what is kept saved when a disagreement begins: killed before the next
// save, the program would start with what it knew before, and believe whoever speaks.
func (j *Judge) watchDoubt(now timescale.Local) {
	switch opposed := j.opposed(); {
	case !opposed:
		j.doubted = 0
	case j.doubted == 0:
		j.doubted, j.rtc.urgent = now, true
	}
}

// expire ends what time alone ends.
func (j *Judge) expire(now timescale.Local) {
	for i := range j.servers[:j.nServer] {
		if s := &j.servers[i]; !s.agrees && now.Sub(s.at) > serverAgree {
			s.outvoted = true
		}
	}
}

func (j *Judge) estimate(now timescale.Local, system timescale.UTC, dst *Judgement) {
	dst.Known = true
	dst.Error = float64(int64(system)-int64(now)-j.f.base)/1e9 - j.f.v[sX] - j.view.correction
	lo, hi := j.interval(boundZ)
	g := j.guardAhead(0).about(j.view.correction)
	// A proved second keeps the reported bound free of hypotheses; unproved, they
	// are part of what is not known.
	dst.Bound = claim{lo, hi}.about(j.view.correction).half()
	dst.Guarded = j.x.dateProved
	dst.Guard = math.Max(g.half(), dst.Bound)
	dst.ErrorLo, dst.ErrorHi = dst.Error-g.hi, dst.Error-g.lo
	dst.RatePPM = (j.clock.rate - j.f.v[sY]) * 1e6
	dst.LocalRatePPM, dst.RateBoundPPM = j.f.v[sY]*1e6, boundZ*j.f.sigma(sY)*1e6
	dst.Basis = j.basis(now)
	if j.x.dateProved {
		dst.Proved = append(dst.Proved, "date")
	}
	if j.x.secondProved() {
		dst.Proved = append(dst.Proved, "second")
	}
	if j.rx.attached && j.rx.latencyBy != "" {
		dst.Proved = append(dst.Proved, "latency")
	}
	dst.Ancestry = append(dst.Ancestry, j.ancestryNames(j.x.ancestry)...)
	j.budget(dst)
}

func (j *Judge) basis(now timescale.Local) Basis {
	switch {
	case j.pulseLive(now):
		return BasisPPS
	case j.receiverLive(now) && (j.rx.fault == fNone || j.rx.fault == fScatter):
		return BasisGNSS
	case j.x.netAt != 0 && now.Sub(j.x.netAt) < serverFresh:
		return BasisNetwork
	case j.x.support == supportMark && now.Sub(j.x.markAt) < markFresh:
		return BasisOperator
	case j.x.support == supportRTC:
		return BasisRTC
	}
	return BasisHoldover
}

// modes gives each shown mode its verdict.
func (j *Judge) modes(now timescale.Local, dst *Judgement) {
	for i, m := range j.cfg.Modes {
		mj := ModeJudgement{Mode: m, Verdict: Unknown}
		if dst.Known && dst.Guarded {
			mj.Verdict, mj.Margin = terms.Accept(dst.Error, dst.Guard, m.Tolerance.Seconds())
		}
		mj.Verdict = j.hysteresis(i, now, mj.Verdict)
		dst.Modes = append(dst.Modes, mj)
	}
}

// hysteresis lets a verdict fall at once and rise only after it has hysteresis: from borderline to
// within, and from outside to borderline, for no answer may flutter.
func (j *Judge) hysteresis(i int, now timescale.Local, v Verdict) Verdict {
	said := j.riseHeld(i, now, v)
	switch since := &j.eases[i]; {
	case v == Outside:
		*since = -1
	case v == Unknown || !j.on(RuleHold):
		*since = 0
	case *since < 0:
		*since = now
		fallthrough
	case *since > 0 && now.Sub(*since) < holdFor:
		if said == Borderline {
			return Outside
		}
	default:
		*since = 0
	}
	return said
}

// riseHeld is v, but borderline until a margin has held.
func (j *Judge) riseHeld(i int, now timescale.Local, v Verdict) Verdict {
	if v != Within {
		j.rises[i], j.within[i] = -1, false
		return v
	}
	if j.within[i] || !j.on(RuleHold) {
		return Within
	}
	if j.rises[i] < 0 {
		j.rises[i] = now
	}
	if now.Sub(j.rises[i]) < holdFor {
		return Borderline
	}
	j.within[i] = true
	return Within
}

// goodFor is the last whole second, from now, at which |error| + guard is within the
// tolerance if no reading ever comes again; at most the horizon. Seconds 1, 2, 4, … are
// looked at until one is not, then the last interval is halved.
func (j *Judge) goodFor(err, tol float64) float64 {
	holds := func(t int) bool {
		e, guard := j.Ahead(err, float64(t))
		if math.Abs(e)+guard > tol || j.view.correction == 0 { // nothing led: the quiet view is the same
			return math.Abs(e)+guard <= tol
		}
		e, guard = j.quietAhead(err, float64(t))
		return math.Abs(e)+guard <= tol
	}
	most := int(horizon / time.Second)
	good, bad := 0, 1
	for holds(bad) {
		if good = bad; good >= most {
			return float64(most)
		}
		bad = min(2*bad, most)
	}
	for bad-good > 1 {
		if mid := (good + bad) / 2; holds(mid) {
			good = mid
		} else {
			bad = mid
		}
	}
	return float64(good)
}

// Promise says again for how long each verdict within is good: after Steered, which changes
// where the clock goes from here.
func (j *Judge) Promise(dst *Judgement) {
	for i := range dst.Modes {
		if m := &dst.Modes[i]; m.Verdict == Within {
			m.GoodFor = j.goodFor(dst.Error, m.Mode.Tolerance.Seconds())
		}
	}
}

// quietAhead is what the error and the guard would be once the stream has fallen silent
// and its view is not reported any more (choose).
func (j *Judge) quietAhead(err, t float64) (ahead, guard float64) {
	return err + j.view.correction + j.drift(t), j.guardAhead(t).half()
}

// Ahead is what the error, err now, and the guard would be t seconds from the
// last Judge if no reading ever came again; seconds, t ≥ 0. It has a meaning
// while that judgement is guarded.
func (j *Judge) Ahead(err, t float64) (ahead, guard float64) {
	return err + j.drift(t), j.guardAhead(t).about(j.view.correction).half()
}
