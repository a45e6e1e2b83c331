package band

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"noonmark/clockcheck/air/order"
)

// The grid of the search: steps of an eighth of a symbol in time and of half the tones'
// spacing in frequency.
const (
	perSymbol  = 8
	perSpacing = 2
)

// Where signals are looked for, Hz: the voice channel of a set, with room.
const lowHz, highHz = 100, 3600

// spectrum is the power of the sound, levelled so that the noise of each frequency is
// about 1, and which of a mode's tones upward from each frequency is the strongest.
type spectrum struct {
	frames, bins int
	first        int // frequency of bin 0, in grid steps
	power        []float32
	words        int         // of strongest, in a frame
	strongest    []uint64    // the tone of eight bins in a word, the lowest bin in the lowest byte
	phase        []complex64 // of each power, where symbols are added in phase; else nil
	above        []float32   // what each bin was divided by, over the noise around it
}

func (s *spectrum) at(frame, bin int) float32 { return s.power[frame*s.bins+bin] }

// analyse makes the spectrum of 8 kHz samples for a mode. A frame is a symbol long, under
// a half-sine: next to a signal 20 dB stronger its first side lobe of −23 dB loses fewer
// signals than the −13 dB of no window (seen in testdata/air: 96 against 93 % found).
func analyse(samples []float32, m Mode) *spectrum {
	hop, size := m.Symbol/perSymbol, perSpacing*m.Symbol
	if len(samples) < m.Symbol {
		return &spectrum{}
	}
	first := int(lowHz / rate * float64(size))
	last := int(highHz / rate * float64(size))
	s := &spectrum{frames: (len(samples)-m.Symbol)/hop + 1, bins: last - first, first: first}
	s.power = make([]float32, s.frames*s.bins)
	if m.inPhase() > 1 {
		s.phase = make([]complex64, s.frames*s.bins)
	}
	fft := fourier.NewFFT(size)
	in, out := make([]float64, size), make([]complex128, size/2+1)
	win := make([]float64, m.Symbol)
	for i := range win {
		win[i] = math.Sin(math.Pi * (float64(i) + 0.5) / float64(m.Symbol))
	}
	for f := range s.frames {
		for i, v := range samples[f*hop : f*hop+m.Symbol] {
			in[i] = float64(v) * win[i]
		}
		fft.Coefficients(out, in)
		row := s.power[f*s.bins : (f+1)*s.bins]
		for b := range row {
			c := out[first+b]
			row[b] = float32(real(c)*real(c) + imag(c)*imag(c))
			if s.phase != nil && row[b] > 0 {
				scale := 1 / math.Sqrt(float64(row[b]))
				s.phase[f*s.bins+b] = complex(float32(real(c)*scale), float32(imag(c)*scale))
			}
		}
	}
	s.flatten()
	s.climb(m.Tones)
	return s
}

// flatten divides each frequency by its median over time: a carrier or the slope of a
// filter then looks like noise. The median of noise power is ln 2 times its mean.
func (s *spectrum) flatten() {
	const ln2, every = 0.693, 4
	level := make([]float32, s.bins)
	column := make([]float32, 0, s.frames/every+1)
	for b := range s.bins {
		column = column[:0]
		for f := 0; f < s.frames; f += every {
			column = append(column, s.at(f, b))
		}
		level[b] = order.Middle(column)/ln2 + 1e-20
	}
	s.above = make([]float32, s.bins)
	const reach = 48
	near := make([]float32, 0, 2*reach+1)
	for b := range s.bins {
		near = append(near[:0], level[max(0, b-reach):min(s.bins, b+reach+1)]...)
		s.above[b] = level[b] / order.Middle(near)
	}
	for b, v := range level {
		level[b] = 1 / v
	}
	for f := range s.frames {
		row := s.power[f*s.bins : (f+1)*s.bins]
		for b := range row {
			row[b] *= level[b]
		}
	}
}

// climb says anew which tone is the strongest, upward from each bin. Powers are compared in pairs,
// pairs of pairs and so on. The three lowest bits of each are given up for which of a pair it is,
// so that a comparison needs no branch: powers are not negative, and such numbers stand in the order of their bits.
func (s *spectrum) climb(tones int) {
	s.words = (s.bins + 7) / 8
	if s.strongest == nil {
		s.strongest = make([]uint64, s.frames*s.words)
	}
	best := make([]uint32, s.words*8+perSpacing*tones) // what lies beyond the bins stays below 8, the least of powers
	for f := range s.frames {
		for b, v := range s.power[f*s.bins : (f+1)*s.bins] {
			best[b] = math.Float32bits(v) &^ 7
		}
		for pair := 1; pair < tones; pair *= 2 {
			upper := best[perSpacing*pair:]
			for b := range upper {
				best[b] = max(best[b]|uint32(pair), upper[b])
			}
		}
		top := s.strongest[f*s.words : (f+1)*s.words]
		for i := range top {
			word := uint64(0)
			for k, v := range best[8*i : 8*i+8] {
				word |= uint64(v&7^uint32(tones-1)) << (8 * k)
			}
			top[i] = word
		}
	}
}

// tone is the strongest upward from a bin.
func (s *spectrum) tone(frame, bin int) int {
	return int(s.strongest[frame*s.words+bin/8] >> (8 * (bin % 8)) & 7)
}

// blank takes a found signal out, so that a weaker one across it is seen: at each
// symbol the strongest of its tones becomes noise. Which message the tones make is not asked.
func (s *spectrum) blank(m Mode, c candidate) {
	for k := range m.Length {
		f := c.frame + k*perSymbol
		if f < 0 || f >= s.frames {
			continue
		}
		mid := c.bin + s.tone(f, c.bin)*perSpacing
		for g := max(0, f-perSymbol+1); g < min(s.frames, f+perSymbol); g++ {
			row := s.power[g*s.bins:]
			for b := max(0, mid-perSpacing); b <= min(s.bins-1, mid+perSpacing); b++ {
				row[b] = min(row[b], 1)
			}
		}
	}
}
