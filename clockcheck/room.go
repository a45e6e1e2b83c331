package clockcheck

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// An unproved latency is no Gaussian: it has a range, and x = stream + latency lies in
// it. That stays known when the stream falls silent or is lost. When it is opened anew,
// with another latency maybe, it is kept as a range of x, which grows as the oscillator
// lets x wander.

// room is where x lay at an instant, whatever the covariance says.
type room struct {
	have bool
	c    claim // UTC − local − base at at, s
	at   timescale.Local
	v    float64 // s²: variance of x then
}

// openLatency tells whether x hangs on a stream whose latency nobody proved, and which is
// there or was lost and not opened again.
func (j *Judge) openLatency() bool {
	return (j.rx.attached || j.rx.gone) && j.rx.latencyBy == "" && j.x.support == supportReceiver
}

// roomFor is where x lies around its estimate, after t more seconds without a reading.
func (j *Judge) roomFor(t, zscore float64) (c claim, ok bool) {
	if j.openLatency() {
		m := j.spread(math.Sqrt(j.f.predictVariance(t, sD, -1)), t, zscore)
		before, after := j.rx.places.reach()
		return claim{before - j.f.v[sD] - m, after + j.rx.link.latencyMax() - j.f.v[sD] + m}, true
	}
	r := &j.x.room
	if !r.have || j.rx.attached {
		return claim{}, false
	}
	m := j.spread(math.Sqrt(math.Max(j.f.predictVariance(t, sNo, 0)-r.v, 0)), t, zscore)
	moved := j.f.v[sY]*j.f.at.Sub(r.at).Seconds() - j.f.v[sX]
	return claim{r.c.lo + moved - m, r.c.hi + moved + m}, true
}

// keepRoom is called before the stream is forgotten.
func (j *Judge) keepRoom() {
	if c, ok := j.roomFor(0, guardZ); ok && j.openLatency() {
		x := j.f.v[sX]
		j.x.room = room{have: true, c: claim{x + c.lo, x + c.hi}, at: j.f.at, v: j.f.p[sX][sX]}
	}
}
