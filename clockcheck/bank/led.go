package bank

import (
	"math"
	"time"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// A former state may have been led, too: what leads the receiver away may have begun before that
// state was kept. How far, the rate tells that the stream had taught before.

const (
	// ratesEvery is how often the rate is noted: what leads by 34 ppm is seen after 30 min (assumption: nothing
	// shorter matters).
	ratesEvery = 20 * time.Minute
	// ratesMost = 6 h / ratesEvery = 18: twice the age of the oldest former state there may be, 2 h and 1 h until the
	// next takes its place.
	ratesMost = 18
)

// rates are what the best track took the oscillator's rate to be, the oldest first.
type rates struct {
	of [ratesMost]struct {
		at       timescale.Local
		y, sigma float64 // s/s
	}
	n int
}

// note notes the rate, where that is due.
func (q *rates) note(f *estimate.Filter, now timescale.Local) {
	if q.n > 0 && now.Sub(q.of[q.n-1].at) < ratesEvery {
		return
	}
	if q.n == ratesMost {
		q.n = copy(q.of[:], q.of[1:])
	}
	e := &q.of[q.n]
	e.at, e.y, e.sigma = now, f.V[estimate.Y], f.Sigma(estimate.Y)
	q.n++
}

// off is how far, s/s, a rate y may be from what the stream taught until some time before; Inf = nothing is known of it.
func (q *rates) off(y float64, until timescale.Local) float64 {
	for i := q.n - 1; i >= 0; i-- {
		if e := &q.of[i]; e.at <= until {
			return math.Hypot(y-e.y, e.sigma)
		}
	}
	return math.Inf(1)
}

// ledBefore opens a former state of some age that the stream has left by nu seconds. If what leads the receiver had
// begun before that was kept, a part f of its rate is in the state's own, and 1 − f was seen: the
// state's rate is off by f/(1−f) of what was seen. That is as much again where f = 1/2, which stands for 1 σ
// (assumption; 4 σ are f = 0.8). It is off by no more than it had moved since the rate was known from so long before
// that what began then would have been seen by now, nor than the oldest state leaves open; and it
// has been so since that was kept at most. Edges of a pulse would have shown it at once.
func (f *former) ledBefore(old *Track, nu, age float64, since timescale.Local) {
	oldest := len(ages) - 1
	for f.taken[oldest] == 0 {
		oldest--
	}
	rate := math.Min(math.Abs(nu)/age, f.track[oldest].F.Sigma(estimate.Y))
	rate = math.Min(rate, f.rates.off(old.F.V[estimate.Y], since.Add(-time.Duration(age*1e9))))
	before := math.Min(since.Sub(f.taken[oldest]).Seconds(), age)
	if before <= 0 || old.On.Has(Pulse) {
		return
	}
	old.F.Open(estimate.Y, rate*rate)
	old.F.Open(estimate.X, rate*rate*before*before)
	old.away = nu
}
