package clockcheck

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// Two views of a receiver's stream that moves slowly against the oscillator. The
// filter thinks that the latency wanders, and holds on to the oscillator for
// hours: so a ramp or a slow drag-off does not take the estimate along, and what
// verdicts stand on is this. But mostly it is the oscillator that moves, with the
// temperature, and then the estimate trails. So beside the filter the stream is
// followed as if the latency stood still since a witness last spoke; that is the
// estimate that is reported, for it is the better one on ordinary nights, and the
// guard spans both views: whatever time a verdict had to reckon with without this,
// it has to reckon with still. Where the views part further than an oscillator in
// changing air accounts for (viewsFar), it is no ordinary night, and the filter's is
// reported; from half of that on the report goes over to it.
const (
	// q2View is the oscillator's random walk of rate while it is followed, 1/s: its root times
	// that of 3,600 s is 0.3 ppm in an hour. Measured: 0.13 in 0.6 ppm peak to peak in 8 h
	// idle; the temperature adds to it, by an assumption. Its price: a wrong rate costs little
	// here, for the stream corrects it.
	q2View = 3e-17
	// viewsFar, s: 1 ppm up and down in a day parts the views by 14 ms (1 ppm × 86,400 s / 2π);
	// three and a half times that is an assumption. Its price: a drag may move the report so far.
	viewsFar = 0.050
	// viewLearns: so long after it was met a stream refines its latency against
	// whatever x stood on before.
	viewLearns = firstKeep
)

// streamView follows x − latency: states sX and sY of a filter of its own.
type streamView struct {
	have        bool
	f           filter
	since       timescale.Local
	latency     float64 // what was known of it when a witness last spoke, s
	independent int     // measurements of x by others, as counted then
	difference  float64 // s: by how much UTC is later in this view than in the filter's
	correction  float64 // s: UTC as last reported is the filter's x and this
}

// take follows one accepted reading zr, which the filter has used already. alone: x
// stands on this receiver only.
func (l *streamView) take(at timescale.Local, main *filter, zr, jitter float64, alone bool) {
	if !l.have || l.f.base != main.base {
		*l = streamView{have: true, since: at, latency: main.v[sD]}
		l.f.base, l.f.at = main.base, at
		l.f.v[sX], l.f.p[sX][sX] = main.sum(sD, -1)
		l.f.v[sY], l.f.p[sY][sY] = main.v[sY], main.p[sY][sY]
		l.f.p[sX][sY] = main.p[sX][sY] - main.p[sD][sY]
		l.f.p[sY][sX] = l.f.p[sX][sY]
	} else {
		l.advance(at)
		l.f.measure(zr, sNo, 0, lateWeight(zr-l.f.v[sX], l.f.p[sX][sX], jitter))
	}
	if !alone && at.Sub(l.since) < viewLearns || main.independent != l.independent {
		l.latency, l.independent = main.v[sD], main.independent
	}
	l.difference = l.f.v[sX] + l.latency - main.v[sX]
}

// advance carries the view forward.
func (l *streamView) advance(at timescale.Local) {
	dt := at.Sub(l.f.at).Seconds()
	l.f.at = at
	l.f.v[sX] += l.f.v[sY] * dt
	l.f.shear(sX, sY, dt)
	l.f.noise(sX, sY, dt, q1X, q2View)
}

// lateWeight is the variance with which a reading nu away from where it is
// expected, to the variance v, counts: beyond 5 sigma the weight falls off, for
// bursts are late in a skewed way.
func lateWeight(nu, v, jitter float64) float64 {
	if q := nu * nu / (25 * (v + jitter)); q > 1 {
		return (v+jitter)*q - v
	}
	return jitter
}

// choose says which view is reported at now. The stream is, while it carries the
// time and its latency is proved.
func (j *Judge) choose(now timescale.Local) {
	l := &j.view
	l.correction = 0
	if l.have && l.f.base == j.f.base && j.x.support == supportReceiver && j.rx.latencyBy != "" && j.rx.fault == fNone && j.receiverLive(now) {
		l.correction = l.difference * math.Min(math.Max(2-2*math.Abs(l.difference)/viewsFar, 0), 1)
	}
}

// about is the claim relative to the estimate as reported.
func (c claim) about(lead float64) claim { return claim{c.lo - lead, c.hi - lead} }

// half is the half-width about 0 that holds the claim.
func (c claim) half() float64 { return math.Max(-c.lo, c.hi) }
