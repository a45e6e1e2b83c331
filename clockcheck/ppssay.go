package clockcheck

import (
	"fmt"
	"math"

	"noonmark/clockcheck/timescale"
)

// pulseReference is the pulse as a reference; ok is false where nobody asked for one.
func (j *Judge) pulseReference(now timescale.Local, dst *Judgement) (r Reference, ok bool) {
	p := &j.pps
	if p.heard == 0 && p.why == "" {
		return r, false
	}
	r = Reference{Name: "pulse", Kind: "pps", Age: age(now, p.heard)}
	r.Trust, r.Because = j.pulseTrust(now)
	if j.x.known && j.x.pulse && p.used != 0 {
		r.HasSaid = true
		r.Error = dst.Error + j.view.correction - j.rel(p.combs[p.secondEdge-1].at, j.pulseClaim(p.combs[p.secondEdge-1].at))
		r.Bound = boundZ*math.Sqrt(math.Max(sq(pulseFloor), p.jitter)) + math.Max(-j.x.open.lo, j.x.open.hi)
	}
	return r, true
}

func (j *Judge) pulseTrust(now timescale.Local) (Trust, string) {
	p := &j.pps
	switch {
	case p.heard == 0:
		return Silent, p.why
	case now.Sub(p.heard) > pulseFresh:
		return Silent, fmt.Sprintf("No pulse for %s: check its wire, and that the receiver sends one with its present fix.", forHowLong(now.Sub(p.heard)))
	case p.often:
		return Faulty, "The pulse line carries edges that do not come once a second: check its wire, and the receiver's pulse setting."
	case p.waits == waitFix && j.rx.left():
		return Doubted, "Its receiver is not trusted; its pulse comes from there."
	case p.waits == waitFix:
		return Warming, "The pulse counts only while its receiver has had a valid fix for 10 s."
	case p.fault != fNone:
		return j.pulseFault()
	case p.waits == waitComb:
		return Warming, "Waiting for five pulses in a row, one second apart."
	case !j.x.pulse:
		return Warming, p.waits.sentence()
	}
	return j.pulseUsed(now)
}

func (w wait) sentence() string {
	switch w {
	case waitNumber:
		return "Nothing tells yet which second the pulse marks. A time server tells, a mark by ear, or latency_s in the settings."
	case waitEdge:
		return "Only one edge of the pulse comes, and it may not be the second. Set pps_edge, or let a time server tell."
	}
	return "Waiting for the time that the pulse is to refine."
}

func (j *Judge) pulseFault() (Trust, string) {
	p := &j.pps
	switch {
	case p.fault == fJumped:
		return Doubted, fmt.Sprintf("The pulse moved by %s, which no oscillator does; it is not used until it agrees again.", pulseOff(p.off))
	case p.fault == fDragged:
		return Faulty, fmt.Sprintf("The pulse has drifted by %s, faster than the computer's oscillator can: a false signal.", pulseOff(p.off))
	case p.otherOK:
		return Doubted, fmt.Sprintf("The %s edge of the pulse is %s off; its %s edge fits: change pps_edge in the settings.", p.secondEdge, pulseOff(p.off), p.secondEdge.other())
	}
	return Doubted, fmt.Sprintf("The pulse is %s off from the rest: check pps_edge, and that it is this receiver's.", pulseOff(p.off))
}

// pulseOff prints a small difference with as many digits as it has.
func pulseOff(s float64) string {
	if math.Abs(s) < 0.01 {
		return fmt.Sprintf("%+.1f ms", s*1e3)
	}
	return fmt.Sprintf("%+.3f s", s)
}

func (j *Judge) pulseUsed(now timescale.Local) (Trust, string) {
	p := &j.pps
	if o := j.x.open; o != (claim{}) {
		return Warming, fmt.Sprintf("The pulse is used. Which of its edges is the second is open; up to %.3f s are allowed for it. Set pps_edge, or let a time server tell.",
			math.Max(-o.lo, o.hi))
	}
	if p.misses > 0 || !j.pulseLive(now) {
		return Trusted, "The last pulses did not come where they should; the time runs on without them."
	}
	by := p.edgeBy
	if by == "" {
		by = "the only one"
	}
	return Trusted, fmt.Sprintf("Each second begins with its %s edge (%s); the edges scatter by %.1f µs.", p.secondEdge, by, math.Sqrt(p.jitter)*1e6)
}

// watchPulse notes a change of trust in the pulse.
func (j *Judge) watchPulse(now timescale.Local, r Reference) {
	if was := j.pps.trust; r.Trust != was {
		if was != "" && r.Trust != Warming {
			j.note(now, "trust-changed", "Pulse "+string(r.Trust)+". "+r.Because)
		}
		j.pps.trust = r.Trust
	}
}
