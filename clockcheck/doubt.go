package clockcheck

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// What can be explained in more than one way.

// latencyNames tells whether the stream, laid against an x whose second is proved, can
// be explained in one way only: as late as it seems, and not a whole second ahead and as
// much later. While its leap-second data may be missing a short latency leaves both
// open, and what were learned then would be a second too short for a receiver whose
// sentences describe the second before.
func (j *Judge) latencyNames(at timescale.Local) bool {
	rx := &j.rx
	return at.Sub(rx.since) >= proofTime || rx.latencyBy != "" || j.f.v[sD]+1 > rx.link.latencyMax()+guardZ*j.f.sigma(sD) || !j.on(RuleSecond)
}

// contradicted tells whether the servers heard lately exclude what s says, or leave it
// open whether they do, and how far off they are, s: x may be known too loosely to tell
// a liar whom the others tell. Where most of them agree, and in one place only, whoever
// is not there is wrong; where there are two such places nobody knows which is right, and
// only he who is in both is above doubt. Kin have one voice.
func (j *Judge) contradicted(s *server, at timescale.Local) (off float64, yes bool) {
	if !j.on(RuleVote) {
		return 0, false
	}
	var buf [maxServers]claim
	all, me := buf[:0], j.indexOf(s)
	for i := range j.servers[:j.nServer] {
		o := &j.servers[i]
		age := at.Sub(o.at)
		if i != me && (o.outvoted || age > serverFresh || j.family(i) == j.family(me) || j.spokenFor(i, at, false)) {
			continue
		}
		r, m := j.rel(o.at, o.z), o.bound+guardZ*j.f.sigma(sY)*age.Seconds()
		all = append(all, claim{r - m, r + m})
	}
	most, says := 0, j.rel(s.at, s.z)
	for pass := range 2 { // the first finds how many agree at most
		for _, c := range all {
			n, end := 0, c.hi
			for _, o := range all {
				if o.lo <= c.lo && c.lo <= o.hi {
					n, end = n+1, math.Min(end, o.hi)
				}
			}
			if pass == 0 {
				most = max(most, n)
				continue
			}
			if d := says - (c.lo+end)/2; n == most && math.Abs(d) > s.bound && math.Abs(d) > math.Abs(off) {
				off = d
			}
		}
		if most == len(all) {
			return 0, false
		}
	}
	return off, off != 0
}

// secondByRun takes the whole second from a receiver that has proved its own.
func (j *Judge) secondByRun(at timescale.Local, z int64) {
	rx := &j.rx
	if !rx.secProved || !rx.attached || rx.leapsMissing != 0 || j.x.secondProved() {
		return
	}
	if j.x.secHi > 0 && rx.latencyBy == "" {
		j.restOnReceiver(at, z)
	}
	j.x.secLo, j.x.secHi, j.x.secAlone = 0, 0, true
	j.note(at, "proved", "The receiver has been valid for "+forHowLong(proofTime)+" without a break: the whole second is confirmed.")
}

// restOnReceiver takes x up anew from the stream and what may be its latency. Where it
// might as well be a second later and the latency a second longer, the filter has the
// latency on the condition of the one second it took for the best; the receiver's own
// proof is none of that.
func (j *Judge) restOnReceiver(at timescale.Local, z int64) {
	j.f.advance(at)
	mean, sigma := j.rx.link.latencyPrior()
	j.f.forget(sD, mean, sigma)
	j.f.start(j.zRel(at, z), sD, j.rx.jitter)
	j.rtc.attached, j.rtc.independent = false, false // it is compared anew
	j.watch, j.view = watch{}, streamView{}
}

// fitsLatency tells whether the stream is explained by a latency in its hull.
func (j *Judge) fitsLatency(at timescale.Local, z int64) bool {
	rel := j.zRel(at, z) - float64(j.rx.leapsMissing)
	d := j.f.v[sX] - rel
	m := guardZ * j.f.sigma(sX)
	return d > -m-0.05 && d < j.rx.link.latencyMax()+m
}
