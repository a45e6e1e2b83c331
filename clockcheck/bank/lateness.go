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

// lateAfter tells whether the lateness would be in its range if z were UTC.
func (t *Track) lateAfter(r *Reading, z float64) bool {
	if !t.streams() || !t.Free {
		return true
	}
	f := t.F
	f.Measure(z, estimate.Time, r.Common*r.Common+r.Var)
	return t.late(f.V[estimate.D], f.Sigma(estimate.D))
}
