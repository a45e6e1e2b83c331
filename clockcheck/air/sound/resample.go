package sound

import "math"

// Half the taps of the interpolating filter, in samples of the lower rate; and where
// it begins to fall, as a part of half the lower rate.
const (
	halfTaps = 16
	passBand = 0.92
)

// To8k brings a piece to Rate. The filter is a sinc under a Hann window, symmetrical,
// so that nothing moves in time: sample 0 stays at the instant of sample 0.
// Source: Oppenheim, Schafer, Discrete-Time Signal Processing, "Changing the sampling rate by a noninteger factor".
func To8k(p Piece) []float32 {
	if p.Rate == Rate {
		return p.Samples
	}
	step := float64(p.Rate) / Rate
	wide := math.Max(step, 1)
	phases, advance := phasesOf(p.Rate)
	reach := int(math.Ceil(halfTaps * wide))
	taps := make([][]float32, phases)
	for i := range taps {
		taps[i] = tapsAt(float64(i)/float64(phases), wide, reach)
	}
	out := make([]float32, int(float64(len(p.Samples))/step))
	for i := range out {
		at := i * advance
		whole, h := at/phases, taps[at%phases]
		first := whole - reach + 1
		lo, hi := max(-first, 0), min(len(p.Samples)-first, len(h)) // of the taps that lie in the sound
		if lo < hi {
			out[i] = weighted(h[lo:hi], p.Samples[first+lo:first+hi])
		}
	}
	return out
}

// weighted is the sum of h[k]·x[k]: four sums beside each other, so that none waits for the one before it.
func weighted(h, x []float32) float32 {
	var a, b, c, d float32
	x = x[:len(h)]
	for len(h) >= 4 && len(x) >= 4 {
		a += h[0] * x[0]
		b += h[1] * x[1]
		c += h[2] * x[2]
		d += h[3] * x[3]
		h, x = h[4:], x[4:]
	}
	for k, v := range h {
		a += v * x[k]
	}
	return a + b + (c + d)
}

// phasesOf says into how many parts a sample of rate is cut, and how many of them an
// output sample is apart.
func phasesOf(rate int) (phases, advance int) {
	a, b := rate, Rate
	for b != 0 {
		a, b = b, a%b
	}
	return Rate / a, rate / a
}

// tapsAt is the filter for an output that lies frac of a sample after an input.
func tapsAt(frac, wide float64, reach int) []float32 {
	h, sum := make([]float32, 2*reach), 0.0
	cut := passBand / wide
	for k := range h {
		x := float64(k-reach+1) - frac
		v := 0.0
		if u := x / float64(reach); math.Abs(u) < 1 {
			v = sinc(cut*x) * (1 + math.Cos(math.Pi*u)) / 2
		}
		h[k] = float32(v)
		sum += v
	}
	for k := range h {
		h[k] /= float32(sum)
	}
	return h
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}
