package bank

import (
	"math"
	"time"

	"noonmark/clockcheck/estimate"
)

// The estimate that is published. The tracks are wary, for the guard stands on them: each
// reckons with a lateness that wanders and an oscillator that is restless, both at once, and
// so neither a ramp nor a false signal that leads slowly takes it along. But on most nights
// the lateness stands still and the oscillator is an ordinary one. So beside the best track
// its filter is carried on with noises of which one is the true one, nearly, each weighed by
// how well it foretold the stream (multiple-model estimation: Magill, IEEE Trans. Automatic
// Control 10, 1965). The guard stays where it is: it is only told from the published estimate.

// noises are those that are laid against the stream. Of the oscillator's, each is 6.3 times
// the one before, so that one is within 2.5 of any between them. A filter whose gain is that
// of a rate's noise q times the true one has the variance ¾·q^¼ + ¼·q^−¾ (the estimate's part
// and the oscillator's, of which the sum is least at q = 1): for 2.5 and 1/2.5 the RMS is 1.05
// times the least, at most.
var noises = [...]struct {
	rate  float64 // 1/s: random walk of the oscillator's rate
	late  float64 // s²/s: random walk of the lateness
	prior float64
}{
	// 0.6 ppm peak to peak in 8 h idle was measured (fault budget, crystals); the range of a
	// random walk over T is 1.6·√(q·T) (Feller, Ann. Math. Stat. 22, 1951).
	{rate: 5e-18, prior: 1},
	// 0.33 ppm in an hour: 1 ppm up and down in a day (assumption) turns the rate by 0.26.
	{rate: 3e-17, prior: 1},
	// 0.85 ppm in an hour: 1 to 3 K/h outdoors at 0.1 to 1 ppm/K (fault budget, crystals).
	{rate: 2e-16, prior: 1},
	// The lateness wanders, as often as its price says.
	{rate: 3e-17, late: lateRestless, prior: Prices[LatenessWanders].P},
}

// fitLasts: what spoke for a noise so long ago counts 1/e (assumption: the temperature of a night
// and that of a day are each of some such length).
const fitLasts = 8 * time.Hour

// quiet carries one track's filter on. The zero value carries none.
type quiet struct {
	have bool
	of   uint32 // the track
	lead int    // whole seconds by which its receiver leads
	f    [len(noises)]estimate.Filter
	fit  [len(noises)]float64 // ln of how likely the stream was by it
	off  float64              // s: UTC as published is later than in the track
}

// follow takes a reading that the best track t has heard; v is the variance that X had there
// before, s². Where the two part further than half of what the track thinks possible at 99 %, it
// is no ordinary night, and from there to the whole of that the track's own X takes over.
func (q *quiet) follow(t *Track, r *Reading, v float64) {
	switch {
	case !t.Located || !t.streams() || t.Free || t.LeadMost != t.Lead || t.F.Noise.D > lateRestless:
		*q = quiet{} // the stream does not tell UTC, or its lateness goes away
		return
	case !q.have || q.of != t.id || q.lead != t.Lead || q.f[0].Base != t.F.Base:
		q.seat(t)
	case t.told != r.At || r.Source == Clock: // the track made nothing of it, or no UTC
		return
	case r.Source == Receiver:
		q.look(t, r)
	case v > 0:
		q.settle(t, math.Min(t.F.P[estimate.X][estimate.X]/v, 1))
	}
	d := q.mean(t)
	q.off = d * math.Min(math.Max(2-2*math.Abs(d)/t.bound(), 0), 1)
}

// seat begins at what the track knows of UTC, its rate and the lateness.
func (q *quiet) seat(t *Track) {
	*q = quiet{have: true, of: t.id, lead: t.Lead}
	for i := range q.f {
		f := &q.f[i]
		*f = t.F
		f.Forget(estimate.R, 0, 0)
		f.Forget(estimate.S, 0, 0)
		f.Noise = estimate.Noise{X: rateWhite, Y: noises[i].rate, D: noises[i].late}
	}
}

// look takes a look at the stream.
func (q *quiet) look(t *Track, r *Reading) {
	for i := range q.f {
		f := &q.f[i]
		old := math.Max(1-r.At.Sub(f.At).Seconds()/fitLasts.Seconds(), 0)
		f.Advance(r.At)
		z := f.Rel(r.At, r.Z) - float64(t.Lead)
		mean, v := f.Expect(estimate.Stream)
		q.fit[i] = q.fit[i]*old - nats(z-mean, v+r.Var) - math.Log(v+r.Var)/2
		f.Measure(z, estimate.Stream, heavy(z-mean, v, r.Var))
	}
}

// settle has a witness settle where UTC is, as far as the track believed it: what it left of
// the variance of X it leaves of the distance. The stream stays where it is.
func (q *quiet) settle(t *Track, left float64) {
	for i := range q.f {
		by := (left - 1) * q.apart(i, t)
		q.f[i].V[estimate.X] += by
		q.f[i].V[estimate.D] += by
	}
}

// mean is by how much UTC is later than in the track by all noises, each as likely as it is, s.
func (q *quiet) mean(t *Track) float64 {
	most := math.Inf(-1)
	for _, l := range q.fit {
		most = math.Max(most, l)
	}
	sum, all := 0.0, 0.0
	for i, l := range q.fit {
		w := noises[i].prior * math.Exp(l-most)
		sum, all = sum+w*q.apart(i, t), all+w
	}
	return sum / all
}

// apart is by how much UTC is later by the i-th noise than in the track, s.
func (q *quiet) apart(i int, t *Track) float64 {
	f := &q.f[i]
	return f.V[estimate.X] + f.V[estimate.Y]*float64(t.F.At-f.At)/1e9 - t.F.V[estimate.X]
}

// Correction is by how much UTC as it is published is later than the best track's X, s. It stays
// as it is while nothing is heard.
func (b *Bank) Correction() float64 {
	if q := &b.quiet; q.have && q.of == b.Best().id {
		return q.off
	}
	return 0
}
