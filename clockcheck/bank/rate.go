package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// What a reading of UTC tells of the oscillator's rate. An answer of a server is known to lie
// within its root distance of UTC and no closer (RFC 5905 section 11.2): over a path that is
// nearly all one way it sits at an edge of that, and where it sits changes with the queues. So
// it hides a move of the oscillator as far as it may be wrong itself. The filter says no more:
// errors that a source shares do not average out (MeasureCommon), so neither does their change
// tell a rate. A look at a stream and an edge of a pulse have errors of their own, another at
// each, and a row of them tells the rate: but for a lateness that was told and goes away, for that
// goes wherever the oscillator takes the stream. One that nobody told has its range, whatever that did.

// tellRate says up to when a move of the oscillator would have shown, in a track that is to
// take a reading at z. That the oscillator moved at all in the t seconds before has the chance
// P·t/night. Where it took UTC e away, the reading, nu off with the variance v, has
// exp(−(e−nu)²/2v + nu²/2v) of the density that it has without: together they are below the part of
// Risk that stepSince spends beyond
//
//	w = |nu| + x·√v,  x² = 2·ln(P·t/night / (Risk/4)) + nu²/v,
//
// and what is open besides. So the reading tells the rate as well as if nobody had told it for
// as long as it takes a move to come to w unseen.
func (b *Bank) tellRate(t *Track, r *Reading, z float64) {
	if r.Source == Pulse {
		t.rated = r.At
		return
	}
	nu, v := math.Abs(t.gap(z-t.F.V[estimate.X])), t.seen(r)
	moved := math.Exp(-b.nats[OscillatorMoved]) * r.At.Sub(t.rated).Seconds() / night
	w := nu + math.Sqrt(2*math.Max(math.Log(moved/(Risk/4)), 0)*v+nu*nu) + t.Hi - t.Lo
	t.rated = max(t.rated, timescale.Local(math.Max(float64(r.At)-b.unseenFor(w)*1e9, 1)))
}

// stepOdds is c·t in the equation of stepSince, s.
func (b *Bank) stepOdds() float64 {
	return Risk / 4 * math.Exp(b.nats[OscillatorMoved]) * night * math.Log(oscillatorStep/oscillatorLeast)
}

// unseenFor is for how long nobody must have told the oscillator's rate for a move to have come
// to w, both s: where stepSince(t) = w. With u = w/20 ppm, a = u/t there, and
//
//	t·ln(t/u) − t + u = c·t of stepSince,
//
// of which the left side is convex: Newton's method from above stays above, so no move that may
// be there is left out.
func (b *Bank) unseenFor(w float64) float64 {
	if w <= 0 || !b.allowed(OscillatorMoved) {
		return 0
	}
	c, u := b.stepOdds(), w/oscillatorStep
	t := math.E*u + c
	for range 6 {
		t -= (t*math.Log(t/u) - t + u - c) / math.Log(t/u)
	}
	return t
}
