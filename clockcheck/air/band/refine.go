package band

import (
	"math"
	"math/cmplx"
)

// The fine search: so far to both sides of a place of the grid, in steps of a part of
// a symbol.
const (
	reachSymbols = 0.375
	fineSteps    = 64  // per symbol: 2.5 ms for FT8
	mostFine     = 4.0 // nats that one symbol may add here, where it is known to be there
)

// refine places a candidate between the steps of the grid.
func refine(samples []float32, s *spectrum, m Mode, c candidate) Signal {
	base := (float64(s.first+c.bin) + binShift(s, m, c)) * m.spacingHz() / perSpacing
	const reach = int(reachSymbols * fineSteps)
	scores := make([]float64, 2*reach+1)
	step := m.Symbol / fineSteps
	begin := c.frame * (m.Symbol / perSymbol)
	for _, a := range m.Arrays {
		for k, tone := range a.tones {
			at := begin + (a.at+k)*m.Symbol
			addSymbol(scores, samples, m, base, tone, at-reach*step, step)
		}
	}
	best := peak(scores)
	return Signal{
		BeginS: float64(begin)/rate + (best-float64(reach))*float64(step)/rate,
		FreqHz: base, SNRdB: s.snr(m, c), Score: c.score, Hits: c.hits, Of: c.of, Plain: c.plain,
	}
}

// addSymbol adds to scores how far one sync symbol stands out if it begins at
// from, from + step, …. Running sums of the rotated samples make each further begin cheap.
func addSymbol(scores []float64, samples []float32, m Mode, base float64, tone, from, step int) {
	to := from + (len(scores)-1)*step + m.Symbol
	if from < 0 || to > len(samples) {
		return
	}
	power := make([]float64, len(scores))
	var wanted []float64
	sums := make([]complex128, to-from+1)
	for k := range m.Tones {
		turn := cmplx.Rect(1, -2*math.Pi*(base+float64(k)*m.spacingHz())/rate)
		phase := complex(1, 0)
		for i, v := range samples[from:to] {
			sums[i+1] = sums[i] + phase*complex(float64(v), 0)
			phase *= turn
		}
		p := make([]float64, len(scores))
		for i := range p {
			d := sums[i*step+m.Symbol] - sums[i*step]
			p[i] = real(d)*real(d) + imag(d)*imag(d)
			power[i] += p[i]
		}
		if k == tone {
			wanted = p
		}
	}
	for i := range scores {
		if rest := power[i] - wanted[i]; rest > 0 {
			scores[i] += math.Min(math.Log(power[i]/rest), mostFine)
		}
	}
}

// peak is where the scores are highest, by a parabola through its neighbourhood.
func peak(scores []float64) float64 {
	const wing = 12
	best := 0
	for i, v := range scores {
		if v > scores[best] {
			best = i
		}
	}
	lo, hi := best-wing, best+wing
	if lo < 0 || hi >= len(scores) {
		return float64(best)
	}
	// Least squares of a parabola over equal steps −wing…wing.
	var s0, s1, s2, q2, q4, n float64
	for i := lo; i <= hi; i++ {
		x := float64(i - best)
		s0, s1, s2 = s0+scores[i], s1+x*scores[i], s2+x*x*scores[i]
		q2, q4, n = q2+x*x, q4+x*x*x*x, n+1
	}
	a := (n*s2 - q2*s0) / (n*q4 - q2*q2)
	if a >= 0 {
		return float64(best)
	}
	return float64(best) - math.Max(-wing, math.Min(wing, s1/q2/(2*a)))
}

// binShift is how far the signal's frequency lies beside the grid, in steps, by the
// power of the sync tones at the place and beside it.
func binShift(s *spectrum, m Mode, c candidate) float64 {
	var p [3]float64
	for _, a := range m.Arrays {
		for k, tone := range a.tones {
			f := c.frame + (a.at+k)*perSymbol
			if f < 0 || f >= s.frames {
				continue
			}
			for i := range p {
				if b := c.bin + tone*perSpacing + i - 1; b >= 0 && b < s.bins {
					p[i] += math.Log1p(float64(s.at(f, b)))
				}
			}
		}
	}
	d := p[0] - 2*p[1] + p[2]
	if d >= 0 {
		return 0
	}
	return math.Max(-0.5, math.Min(0.5, (p[0]-p[2])/(2*d)))
}

// halfSineNoise is the noise bandwidth of a half-sine window, in parts of the spacing: π²/8.
const halfSineNoise = 1.234

// snr is the power of the sync tones above the noise, dB in 2500 Hz. The noise is the
// middle of the levels around: in a crowded band the level of a signal's own
// frequency holds its neighbours.
func (s *spectrum) snr(m Mode, c candidate) float64 {
	sum, n := 0.0, 0.0
	for _, a := range m.Arrays {
		for k, tone := range a.tones {
			f, b := c.frame+(a.at+k)*perSymbol, c.bin+tone*perSpacing
			if f >= 0 && f < s.frames {
				sum, n = sum+float64(s.at(f, b)*s.above[b]), n+1
			}
		}
	}
	return 10*math.Log10(math.Max(sum/n-1, 0.01)) + 10*math.Log10(halfSineNoise*m.spacingHz()/2500)
}
