package signal

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"noonmark/clockcheck/air/order"
)

// tones are windows of some ms by their tones, from the lowest to the highest that a receiver for speech lets through.
type tones struct {
	samples []float32
	size    int // samples in a window
	lowest  int // whole waves of the lowest tone in a window
	noise   []float64
	fft     *fourier.FFT
	in      []float64
	out     []complex128
}

// newTones takes each tone's noise from windows all over the sound; it is least at least.
func newTones(samples []float32, window int, least float64) *tones {
	size := window * perMS
	t := &tones{samples: samples, size: size, lowest: int(math.Ceil(keyedLow / rate * float64(size))), fft: fourier.NewFFT(size),
		in: make([]float64, size), out: make([]complex128, size/2+1)}
	t.noise = make([]float64, int(keyedHigh/rate*float64(size))-t.lowest+1)
	all := make([][]float64, len(t.noise))
	const hop = 97 * perMS // ten windows a second, nowhere in it more often than elsewhere
	for first := 0; first+size <= len(samples); first += hop {
		for b, v := range t.powers(first) {
			all[b] = append(all[b], v)
		}
	}
	for b := range all {
		t.noise[b] = math.Max(order.Middle(all[b]), least) + 1e-30
	}
	return t
}

func (t *tones) hz(b int) float64 { return float64(t.lowest+b) * rate / float64(t.size) }

// powers are those of the tones in the window that begins with a sample.
func (t *tones) powers(first int) []float64 {
	for i := range t.in {
		t.in[i] = float64(t.samples[first+i])
	}
	t.fft.Coefficients(t.out, t.in)
	for b := range t.noise {
		c := t.out[t.lowest+b]
		t.in[b] = real(c)*real(c) + imag(c)*imag(c)
	}
	return t.in[:len(t.noise)]
}

// each gives each tone's evidence d ms after ms begin of each second, but for the first and the last.
func (t *tones) each(begin, d int) [][]float64 {
	out := make([][]float64, len(t.noise))
	for b := range out {
		out[b] = make([]float64, secondsOf(t.samples))
	}
	for s := range out[0] {
		if k := ((s+1)*1000 + begin + d) * perMS; k+t.size <= len(t.samples) {
			for b, v := range t.powers(k) {
				out[b][s] = evidence(v, t.noise[b])
			}
		}
	}
	return out
}
