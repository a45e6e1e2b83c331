package sound

import (
	"math"
	"slices"
)

// Half the taps of the interpolating filter, in samples of the lower rate; and where
// it begins to fall, as a part of half the lower rate.
const (
	halfTaps = 16
	passBand = 0.92
)

// Down brings sound that arrives bit by bit to Rate. The filter is a sinc under a Hann window, symmetrical,
// so that nothing moves in time: sample 0 stays at the instant of sample 0.
// Source: Oppenheim, Schafer, Discrete-Time Signal Processing, "Changing the sampling rate by a noninteger factor".
type Down struct {
	phases, advance, reach int
	taps                   [][]float32 // nil = it is at Rate already
	kept                   []float32   // input that is needed yet
	first                  int64       // … which sample the first of it is
	made                   int64       // samples of output
}

// NewDown is for sound of a rate, Hz.
func NewDown(rate int) *Down {
	step := float64(rate) / Rate
	wide := math.Max(step, 1)
	d := &Down{reach: int(math.Ceil(halfTaps * wide))}
	if rate == Rate {
		return d
	}
	d.phases, d.advance = phasesOf(rate)
	for i := range d.phases {
		d.taps = append(d.taps, tapsAt(float64(i)/float64(d.phases), wide, d.reach))
	}
	d.kept, d.first = make([]float32, d.reach), -int64(d.reach)
	return d
}

// Made is how many samples of Rate there are so far.
func (d *Down) Made() int64 { return d.made }

// Add takes the next samples and appends what they complete to out: it lags by the filter's reach.
func (d *Down) Add(out, samples []float32) []float32 {
	if d.taps == nil {
		d.made += int64(len(samples))
		return append(out, samples...)
	}
	d.kept = append(d.kept, samples...)
	for {
		at := d.made * int64(d.advance)
		from := int(at/int64(d.phases)-d.first) - d.reach + 1
		if from+2*d.reach > len(d.kept) {
			drop := min(from, len(d.kept))
			d.kept, d.first = append(d.kept[:0], d.kept[drop:]...), d.first+int64(drop)
			return out
		}
		out = append(out, weighted(d.taps[at%int64(d.phases)], d.kept[from:from+2*d.reach]))
		d.made++
	}
}

// To8k brings a piece to Rate.
func To8k(p Piece) []float32 {
	if p.Rate == Rate {
		return p.Samples
	}
	d, n := NewDown(p.Rate), len(p.Samples)*Rate/p.Rate
	out := make([]float32, 0, n+1)
	for part := range slices.Chunk(p.Samples, p.Rate) {
		out = d.Add(out, part)
	}
	return d.Add(out, make([]float32, d.reach))[:n]
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
