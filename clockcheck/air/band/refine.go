package band

import (
	"math"
	"math/cmplx"
)

// The fine search: so far to both sides of a place of the grid, in steps of a part of
// a symbol. The wings of the peak make the parabola through it.
const (
	reachSymbols, wingSymbols = 0.375, 0.1875
	leastSteps                = 64  // per symbol: 2.5 ms for FT8
	mostFine                  = 4.0 // nats that one symbol may add here, where it is known to be there
)

// fine is the raster of the fine search: the sound is turned so that a mode's middle tone stands still, and
// summed over parts of a symbol.
type fine struct {
	part      int // samples
	perSymbol int // parts
	perStep   int // parts
	turns     []complex128
}

// part is the sound of one part: its sum, and its sum weighted by the samples from its middle.
type part struct{ sum, lean complex128 }

// partsPerTone: within one of so many parts the outermost tone, half the tones away, turns by θ = 2π/24 at most.
// The first two terms of e^jθ take that out (sum and lean). The third is (θ/2)²/2 at its edges, 0.9 % or −41 dB: so much
// of a signal elsewhere is left.
const partsPerTone = 12

func newFine(m Mode) (f fine) {
	for p := 1; p*max(partsPerTone*m.Tones, leastSteps) <= m.Symbol; p++ {
		if m.Symbol%p == 0 {
			f.part = p
		}
	}
	f.perSymbol = m.Symbol / f.part
	f.perStep = f.perSymbol / leastSteps
	for i := range f.perSymbol {
		f.turns = append(f.turns, cmplx.Rect(1, -2*math.Pi*float64(i)/float64(f.perSymbol)))
	}
	return f
}

// refine places a candidate between the steps of the grid.
func (fi fine) refine(samples []float32, s *spectrum, m Mode, c candidate) Signal {
	base := (float64(s.first+c.bin) + binShift(s, m, c)) * m.spacingHz() / perSpacing
	step := fi.part * fi.perStep
	reach := int(reachSymbols * float64(m.Symbol/step))
	scores := make([]float64, 2*reach+1)
	begin := c.frame * (m.Symbol / perSymbol)
	for _, a := range m.Arrays {
		fi.addArray(scores, samples, m, base, a, begin+a.at*m.Symbol-reach*step)
	}
	best := peak(scores, int(wingSymbols*float64(m.Symbol/step)))
	return Signal{
		BeginS: float64(begin)/rate + (best-float64(reach))*float64(step)/rate,
		FreqHz: base, SNRdB: s.snr(m, c), Score: c.score, Hits: c.hits, Of: c.of, Plain: c.plain,
	}
}

// addArray adds to scores how far the sync symbols of an array stand out if it begins at
// from, a step later, …. A symbol outside the sound is left out.
func (fi fine) addArray(scores []float64, samples []float32, m Mode, base float64, a array, from int) {
	wide := (len(scores)-1)*fi.perStep + fi.perSymbol // parts that a symbol is looked for in
	parts := make([]part, (len(a.tones)-1)*fi.perSymbol+wide)
	turn, phase := cmplx.Rect(1, -2*math.Pi*(base+float64(m.Tones/2)*m.spacingHz())/rate), complex(1, 0)
	for i := range parts {
		lo := from + i*fi.part
		if lo < 0 || lo+fi.part > len(samples) {
			continue
		}
		var p part
		off := -float64(fi.part-1) / 2
		for _, v := range samples[lo : lo+fi.part] {
			re, im := float64(v)*real(phase), float64(v)*imag(phase)
			p.sum += complex(re, im)
			p.lean += complex(re*off, im*off)
			phase *= turn
			off++
		}
		parts[i] = p
	}
	for k, tone := range a.tones {
		if lo := from + k*m.Symbol; lo >= 0 && lo+wide*fi.part <= len(samples) {
			fi.addSymbol(scores, parts[k*fi.perSymbol:][:wide], m.Tones, tone)
		}
	}
}

// addSymbol adds how far one sync symbol stands out, by its tone and the others'. Running sums make each
// further begin cheap. Tones lie one turn a symbol apart.
func (fi fine) addSymbol(scores []float64, parts []part, tones, tone int) {
	power, wanted := make([]float64, len(scores)), make([]float64, len(scores))
	sums := make([]complex128, len(parts)+1)
	for k := range tones {
		at, apart := 0, (k-tones/2+fi.perSymbol)%fi.perSymbol
		turn := 2 * math.Pi * float64(k-tones/2) / float64(fi.perSymbol*fi.part) // a sample
		for i, p := range parts {
			v := complex(real(p.sum)+turn*imag(p.lean), imag(p.sum)-turn*real(p.lean))
			sums[i+1] = sums[i] + v*fi.turns[at]
			if at += apart; at >= fi.perSymbol {
				at -= fi.perSymbol
			}
		}
		for i := range power {
			d := sums[i*fi.perStep+fi.perSymbol] - sums[i*fi.perStep]
			p := real(d)*real(d) + imag(d)*imag(d)
			power[i] += p
			if k == tone {
				wanted[i] = p
			}
		}
	}
	for i := range scores {
		if rest := power[i] - wanted[i]; rest > 0 {
			scores[i] += math.Min(math.Log(power[i]/rest), mostFine)
		}
	}
}

// peak is where the scores are highest, by a parabola through its neighbourhood.
func peak(scores []float64, wing int) float64 {
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
	return float64(best) - math.Max(-float64(wing), math.Min(float64(wing), s1/q2/(2*a)))
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
