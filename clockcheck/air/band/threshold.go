package band

import (
	"math"
)

// threshold is what a place must reach.
type threshold struct {
	hits  int // 0: too few symbols to say anything
	plain int
	score float64
	// Fewer hits do where the symbols stand out added in phase, too.
	gate, gatePlain int
}

// thresholds gives, for each number of sync symbols in the sound, what keeps the rate of
// false finds per place below falseRate: the number of hits by the binomial law, which
// holds for any interference that treats the tones alike, however strong; the score
// by the Gamma law, which holds for even noise.
func thresholds(m Mode, most int) []threshold {
	out := make([]threshold, most+1)
	for n := most / 2; n <= most; n++ {
		fewest := func(p float64) (hits int) {
			for hits <= n && binomialTail(n, hits, 1/float64(m.Tones)) > p {
				hits++
			}
			return hits
		}
		hits := fewest(hitRate)
		if hits > n {
			continue
		}
		score := float64(n) / float64(m.Tones-1)
		for gammaTail(n, score*float64(m.Tones-1)) > noiseRate {
			score += 0.02
		}
		out[n] = threshold{hits, fewest(plainRate), score, hits, fewest(plainRate)}
		if m.inPhase() > 1 {
			out[n].gate, out[n].gatePlain = fewest(gateRate), fewest(gatePlainRate)
		}
	}
	return out
}

// Rates of false finds per place looked at. Noise alone makes fewer than one in a hundred
// periods of 15 s; the FT8 signals of the recordings make 1 false JS8 find a period at
// hitRate and 0.2 at plainRate (TestFalseFinds).
const (
	hitRate   = 4e-6
	plainRate = 3e-7
	noiseRate = 1e-7
	// Where symbols are added in phase, too, noise is kept out by their sum (noiseRate). These rates
	// are for what is not noise, as other modes' signals: so often they make so many hits, and
	// then they have yet to be in phase. Assumptions: the other modes' signals of TestNothingThere
	// make no find at them.
	gateRate      = 3e-4
	gatePlainRate = 4e-5
)

// binomialTail is P(X ≥ k) of n trials.
func binomialTail(n, k int, p float64) (sum float64) {
	for i := k; i <= n; i++ {
		lg := func(x int) float64 { v, _ := math.Lgamma(float64(x + 1)); return v }
		sum += math.Exp(lg(n) - lg(i) - lg(n-i) + float64(i)*math.Log(p) + float64(n-i)*math.Log(1-p))
	}
	return sum
}

// gammaTail is P(X > x) of a Gamma variable of whole shape n: P(Poisson(x) < n).
func gammaTail(n int, x float64) float64 {
	term, sum := math.Exp(-x), 0.0
	for i := range n {
		sum += term
		term *= x / float64(i+1)
	}
	return sum
}
