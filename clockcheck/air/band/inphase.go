package band

import (
	"math"
	"math/cmplx"
)

// Short sync symbols are added in phase, a block of them at a time: four symbols of FT4 then stand
// 6 dB higher over the noise than one. The tones of these modes are a spacing of 1/T apart and run on
// from symbol to symbol, so that each symbol T turns the phase by the lowest tone's f·T alone.

// coherentS is how long a block may last, s: through the moderate channels of ITU-R F.1487 (spread
// 2σ of 0.5 to 1.5 Hz) a carrier's correlation over t is exp(−2(πσt)²), 0.95 to 0.64 at 0.2 s.
const coherentS = 0.2

// inPhase is how many symbols make a block.
func (m Mode) inPhase() int { return max(1, int(coherentS*rate/float64(m.Symbol))) }

// block is sync symbols one after the other.
type block []probe

func blocksOf(m Mode) (all []block) {
	size := m.inPhase()
	for _, a := range m.Arrays {
		for from := 0; from+1 < len(a.tones); from += size {
			var b block
			for k := from; k < min(from+size, len(a.tones)); k++ {
				b = append(b, probe{(a.at + k) * perSymbol, uint8(a.tones[k])})
			}
			all = append(all, b)
		}
	}
	return all
}

// shifts are the frequencies tried between two bins, which lie half a spacing apart: ±1/16 and
// ±3/16 of a spacing, so that the phase is off by at most 1/16 of a turn a symbol.
const shifts = 4

// turns is how far each shift turns the phase in k symbols.
var turns = func() (t [shifts][8]complex64) {
	for i := range t {
		for k := range t[i] {
			t[i][k] = complex64(cmplx.Rect(1, -2*math.Pi*(float64(2*i)-3)/16*float64(k)))
		}
	}
	return t
}()

// inPhaseLeast is what the sum must reach, by the number of blocks less one.
func inPhaseLeast(most int) (least []float64) {
	for n := 1; n <= most; n++ {
		x := 0.0
		for gammaTail(n, x) > noiseRate/shifts {
			x += 0.05
		}
		least = append(least, x)
	}
	return least
}

// inPhase is the sum over n blocks of −(d−1)·ln(1 − r), r the share of what the block's symbols add up
// to in phase in all that is there, d = its symbols × tones. In even noise r is Beta(1, d − 1), so that
// the sum is Gamma(n), for each shift; the best shift counts.
func (s *spectrum) inPhase(f, b int, blocks []block, tones int) (best float64, n int) {
	var sums [shifts]float64
	for _, bl := range blocks {
		if f+bl[0].frames < 0 || f+bl[len(bl)-1].frames >= s.frames {
			continue
		}
		n++
		var added [shifts]complex64
		all := float32(0)
		for k, p := range bl {
			at := (f+p.frames)*s.bins + b
			for t := range tones {
				all += s.power[at+t*perSpacing]
			}
			at += int(p.tone) * perSpacing
			v := s.phase[at] * complex(float32(math.Sqrt(float64(s.power[at]))), 0)
			if (s.first+b)*k%2 != 0 { // the bin's own frequency is a multiple of half a turn a symbol
				v = -v
			}
			for i := range added {
				added[i] += v * turns[i][k]
			}
		}
		d := float64(len(bl) * tones)
		for i, v := range added {
			r := float64(real(v)*real(v)+imag(v)*imag(v)) / (float64(len(bl)) * float64(all))
			sums[i] -= (d - 1) * math.Log1p(-math.Min(r, 0.999))
		}
	}
	for _, v := range sums {
		best = math.Max(best, v)
	}
	return best, n
}
