package clockcheck

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// place is where an edge would have x be, relative to the estimate, s.
type place struct {
	n   int     // how many whole seconds fit what is known besides
	at  float64 // the one that fits, or the nearest
	fit bool    // it does fit
}

// number lays the comb of an edge against an interval for x. Only where a single
// whole second lies inside, and the next ones clearly outside, is the second named.
func (j *Judge) number(e Edge, c claim) (p place) {
	at := j.pps.combs[e-1].at
	rel := j.rel(at, j.pulseClaim(at))
	slack := 3 * math.Sqrt(j.pps.jitter)
	mid := (c.lo + c.hi) / 2
	p.at = rel + math.Round(mid-rel)
	for k := math.Ceil(c.lo - numberClear - rel); rel+k <= c.hi+numberClear && p.n < 2; k++ {
		if p.n++; p.n == 1 || math.Abs(rel+k) < math.Abs(p.at) {
			p.at = rel + k
		}
	}
	p.fit = p.at >= c.lo-slack && p.at <= c.hi+slack
	if !j.on(RulePulseNumber) {
		p.n, p.at, p.fit = 1, rel, true
	}
	return p
}

// namePulse tries to tie the pulse to the second: by which edge, and which second.
func (j *Judge) namePulse(r *PPS) {
	p := &j.pps
	lo, hi := j.interval(guardZ)
	c := claim{lo - float64(j.x.secLo), hi - float64(j.x.secHi)}
	if p.edgeBy != "" {
		if r.Edge == p.secondEdge {
			j.nameEdge(r, c)
		}
		return
	}
	if !p.combs[r.Edge.other()-1].steady(r.At) {
		if p.combs[r.Edge.other()-1].run == 0 || r.At.Sub(p.combs[r.Edge.other()-1].at) > combGap*1e9 {
			j.nameLoneEdge(r, c)
		}
		return
	}
	j.nameEither(r, c)
}

// nameEdge is for a pulse whose edge is known.
func (j *Judge) nameEdge(r *PPS, c claim) {
	p := &j.pps
	switch at := j.number(p.secondEdge, c); {
	case at.n > 1:
		p.waits = waitNumber
	case !at.fit:
		j.pulseDisagrees(r, at.at, c)
	default:
		j.adoptPulse(r, p.secondEdge, at.at, p.open)
	}
}

// nameLoneEdge is for a line of which only one edge is seen, and nobody said whether
// it is the right one: a pulse as long as what is known besides may hide the other.
func (j *Judge) nameLoneEdge(r *PPS, c claim) {
	p := &j.pps
	at := j.number(r.Edge, c)
	switch {
	case at.n > 1:
		p.waits = waitNumber
	case !j.witnessed() || !at.fit:
		p.waits = waitEdge
	default:
		j.adoptPulse(r, r.Edge, at.at, claim{c.lo - at.at, c.hi - at.at})
	}
}

// nameEither is for a pulse both of whose edges come, and nobody said which counts.
func (j *Judge) nameEither(r *PPS, c claim) {
	p := &j.pps
	a, b := r.Edge, r.Edge.other()
	pa, pb := j.number(a, c), j.number(b, c)
	if pa.n > 1 || pb.n > 1 {
		p.waits = waitNumber
		return
	}
	switch {
	case !pa.fit && !pb.fit:
		near := pa.at
		if math.Abs(pb.at) < math.Abs(near) {
			near = pb.at
		}
		j.pulseDisagrees(r, near, c)
		return
	case pa.fit && pb.fit && p.combs[a-1].shortlyBefore(&p.combs[b-1]), pa.fit && !pb.fit:
		// Common practice, no source: the second is where a short pulse begins. It
		// only chooses which of two open edges leads.
	default:
		return // the other edge will come, and lead
	}
	if !pb.fit && j.witnessed() && j.rx.latencyBy != "learned" || !j.on(RulePulseEdge) {
		p.edgeBy, p.open = "witness", claim{}
		j.adoptPulse(r, a, pa.at, claim{})
		return
	}
	rest := pb.at - pa.at
	if !pb.fit {
		rest -= math.Round(rest)
	}
	j.adoptPulse(r, a, pa.at, claim{math.Min(rest, 0), math.Max(rest, 0)})
}

// shortlyBefore tells whether the pulse is shorter if it begins with c and ends with d.
func (c *comb) shortlyBefore(d *comb) bool {
	s := d.at.Sub(c.at).Seconds()
	return s-math.Floor(s) <= 0.5
}

// returns is how close a pulse that left must come to be believed again, s, where x
// is known to sigma without what is common to all readings of its stream. After a
// slow drag what the oscillator might do by now is no evidence.
func (p *pulse) returns(sigma float64) float64 {
	switch p.fault {
	case fDragged:
		return rampFloorS
	case fJumped:
		return pulseGate + guardZ*sigma
	}
	return math.Inf(1)
}

// adoptPulse takes the pulse into use. open is where x may be besides, relative to it.
func (j *Judge) adoptPulse(r *PPS, lead Edge, at float64, open claim) {
	p := &j.pps
	if p.fault != fNone {
		if math.Abs(at) > p.returns(j.f.sigma(sX)) {
			p.agreeing = 0
		}
		if p.agreeing++; p.agreeing < pulseAgain {
			return
		}
		j.note(r.At, "trust-changed", "The receiver's pulse agrees again.")
	}
	if j.f.sigma(sX) > rampFloorS {
		j.watch = watch{} // former states knew too little to be compared with
	}
	j.x.pulse, p.secondEdge, p.fault, p.opposes, p.misses = true, lead, fNone, false, 0
	if open.hi-open.lo < 4*pulseFloor {
		open = claim{}
	}
	j.x.open = claim{math.Min(open.lo, 0), math.Max(open.hi, 0)}
	j.note(r.At, "pulse", "The receiver's pulse now marks the second.")
	j.f.measure(j.f.v[sX]+at, sNo, 0, j.pulseNoise(r))
	j.usePulse(r, 0)
}

// pulseDisagrees records that no second of the pulse fits what is known besides.
func (j *Judge) pulseDisagrees(r *PPS, off float64, c claim) {
	p := &j.pps
	if p.fault != fDragged && p.fault != fJumped {
		if p.fault != fDisagrees {
			j.note(r.At, "trust-changed", "The receiver's pulse disagrees with the rest by "+seconds(off)+".")
		}
		p.fault = fDisagrees
	}
	p.agreeing, p.off, p.claim = 0, off, claim{off, off}
	p.otherOK = p.edgeBy != "" && p.combs[p.secondEdge.other()-1].steady(r.At) && j.number(p.secondEdge.other(), c).fit
	explained := p.otherOK || p.edgeBy == "" // it may be the wrong edge
	p.opposes = p.fault != fDragged && !(explained && j.witnessed())
	if p.misses++; p.misses >= pulseMisses && p.edgeBy != "" && !j.witnessed() && j.rx.latencyBy == "learned" {
		p.misses = 0
		j.reopenLatency(r.At)
	}
}

// reopenLatency gives up a learned latency that the pulse contradicts: latencies
// leap over a power-off, a pulse does not. x stood on it and is open again.
func (j *Judge) reopenLatency(at timescale.Local) {
	rx := &j.rx
	rx.latencyBy = ""
	j.f.advance(at)
	stream := j.zRel(rx.valid, rx.runZ) - float64(rx.leapsMissing)
	mean, sigma := rx.link.latencyPrior()
	j.f.forget(sD, mean, sigma)
	j.f.start(stream, sD, rx.jitter)
	j.x.support = supportReceiver
	j.rtc.attached, j.rtc.independent = false, false
	j.watch, j.view = watch{}, streamView{}
	j.note(at, "latency-jump", "The receiver's pulse contradicts the latency learned before: it is open again.")
}

// edgeWitness lays an independent claim on x against what the edge leaves open.
func (j *Judge) edgeWitness(at timescale.Local, c claim) {
	p, o := &j.pps, j.x.open
	if o == (claim{}) {
		return
	}
	m := guardZ * math.Sqrt(j.f.p[sX][sX]+j.common(latencyFloor))
	if p.combs[0].run > 0 && p.combs[1].run > 0 {
		j.eitherWitness(at, claim{c.lo - m, c.hi + m})
		return
	}
	n := claim{math.Max(o.lo, c.lo-m), math.Min(o.hi, c.hi+m)}
	if n.lo > 0 || n.hi < 0 {
		j.losePulse(at, fDisagrees, (c.lo+c.hi)/2)
		return
	}
	j.x.open, p.open = n, n
	if p.edgeBy == "" && n.hi-n.lo < edgeOpen {
		p.edgeBy = "witness"
	}
}

// eitherWitness decides between two edges that are both open.
func (j *Judge) eitherWitness(at timescale.Local, c claim) {
	p, rest := &j.pps, j.x.open.lo+j.x.open.hi // one of them is 0
	in := func(v float64) bool { return c.lo <= v && v <= c.hi }
	switch lead, other := in(0), in(rest); {
	case lead && other:
		return
	case other:
		// The other edge is the second's: x moves, and the latency with it.
		j.shift(rest)
		j.f.v[sD] += rest
		p.secondEdge = p.secondEdge.other()
	case !lead:
		j.losePulse(at, fDisagrees, (c.lo+c.hi)/2)
		return
	}
	j.x.open, p.edgeBy, p.open = claim{}, "witness", claim{}
	j.note(at, "proved", "A second reference tells which edge of the pulse is the second: "+p.secondEdge.String()+".")
}

// rememberEdge takes the edge from the settings, or from what an earlier run learned
// of this receiver.
func (j *Judge) rememberEdge() {
	p := &j.pps
	if j.cfg.PPSEdge != EdgeUnknown {
		p.secondEdge, p.edgeBy = j.cfg.PPSEdge, "configured"
		return
	}
	if p.edgeBy != "" || j.x.pulse {
		return
	}
	l, _ := j.learnedLatency(j.rx.key)
	switch l.Edge {
	case "assert":
		p.secondEdge, p.edgeBy = EdgeAssert, "learned"
	case "clear":
		p.secondEdge, p.edgeBy = EdgeClear, "learned"
	}
	p.open = claim{-l.EdgeOpenS, l.EdgeOpenS}
}

// learnedEdge is what is worth keeping of the edge.
func (p *pulse) learnedEdge() (edge string, openS float64) {
	if p.edgeBy == "" || p.edgeBy == "configured" {
		return "", 0
	}
	return p.secondEdge.String(), math.Max(-p.open.lo, p.open.hi)
}

// forgetPulse begins anew with a receiver that was opened.
func (j *Judge) forgetPulse() {
	j.pps = pulse{why: j.pps.why, trust: j.pps.trust}
}
