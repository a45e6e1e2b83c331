package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
)

// What a witness of UTC tells of the lateness of a receiver that has part in a track.

// know ends the freedom of a lateness that a witness has told. That the sentences describe
// the second before has its price, as soon as it is likelier than not: however wide the witness.
func (t *Track) know() {
	if !t.Free || !t.streams() || t.Roots.Only(SetOf(Receiver)) {
		return
	}
	sigma, price := t.F.Sigma(estimate.D), 0.0
	if !t.relayed() {
		price = priceBefore(t.F.V[estimate.D], sigma)
	}
	if price > t.before { // what was paid stays paid, wherever the lateness moves
		t.Cost, t.before = t.Cost+price-t.before, price
	}
	if sigma < proved {
		t.Free, t.before = false, 0
	}
}

// unknow takes back what know made the track pay: its lateness is anybody's again.
func (t *Track) unknow() { t.Cost, t.before = t.Cost-t.before, 0 }

// priceBefore is the price, nats, of a lateness told as d to σ, s: with the chance q it is below
// beforeFrom, else that of one receiver in twenty. Where it is below as likely as not, nothing.
func priceBefore(d, sigma float64) float64 {
	q := beyond((d - beforeFrom) / sigma)
	return -math.Log(math.Min(2*q+math.Exp(-secondBefore), 1))
}

// outOfRange is the misfit, nats, of a word nu s from where the track has it, seen as o with the variance r, s²: to
// the nearest lateness in its range. The range ends there, whatever the Gaussian has beyond it, so only the
// word's own error may carry it over the end. What the track has paid for that already is no news. Who believed the
// receiver until it became false has UTC from its stream of then, and a lateness: that is no freer since.
func (t *Track) outOfRange(nu float64, o estimate.Sight, r float64) (misfit, news float64) {
	if !t.Free || !t.Met || !t.On.Has(Receiver) {
		return 0, 0
	}
	d := t.F.V[estimate.D]
	paid := t.beyondRange(d, t.F.P[estimate.D][estimate.D])
	o.D-- // what is seen less the stream is the lateness
	_, v := t.F.Expect(o)
	misfit = t.beyondRange(d+t.gap(nu), v+r)
	return misfit, math.Max(misfit-paid, 0)
}

// beyondRange is the misfit of a lateness of d s, known to the variance v, s², nats.
func (t *Track) beyondRange(d, v float64) float64 {
	return nats(math.Max(0, math.Max(-d, d-t.LateMost)), v+floor*floor)
}

// lateElse tells whether the lateness is another than mean, s, as it was learned to σ, s: nobody knows it, it is said to be
// another unit's, or it lies elsewhere.
func (t *Track) lateElse(mean, sigma float64) bool {
	return t.Free || t.Assumes(LatenessNew) || math.Abs(t.F.V[estimate.D]-mean) > wide*math.Max(proved, sigma)
}
