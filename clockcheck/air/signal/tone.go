// Package signal finds time-signal stations in received sound: where their seconds
// begin, which minute it is, and, where a code is sent, the date.
//
// It is pure: samples in, findings out. Any goroutine may call.
package signal

import (
	"math"
	"math/cmplx"
	"slices"

	"noonmark/clockcheck/air/order"
)

const (
	rate  = 8000.0
	perMS = 8 // samples
)

// envelope is the power at hz in windows of some ms that begin at each
// millisecond. Tones that are 1000 Hz/window away, or multiples of that, do not show: with
// windows of 5 ms 1000 and 1200 Hz are apart.
func envelope(samples []float32, hz float64, window int) []float64 {
	if len(samples) < window*perMS {
		return nil
	}
	turn, phase := cmplx.Rect(1, -2*math.Pi*hz/rate), complex(1, 0)
	sums := make([]complex128, len(samples)/perMS+1) // of all before each millisecond
	for i := range len(sums) - 1 {
		sum := sums[i]
		for _, v := range samples[i*perMS : (i+1)*perMS] {
			sum += complex(float64(v)*real(phase), float64(v)*imag(phase))
			phase *= turn
		}
		if sums[i+1] = sum; i%128 == 0 {
			phase /= complex(cmplx.Abs(phase), 0)
		}
	}
	out := make([]float64, len(sums)-window)
	for i := range out {
		d := sums[i+window] - sums[i]
		out[i] = real(d)*real(d) + imag(d)*imag(d)
	}
	return out
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return order.Middle(slices.Clone(x))
}

// fold is the mean over all seconds of ln(1 + power/noise), for each millisecond of
// the second: what repeats each second stands out, however loud the rest is.
func fold(env []float64) []float64 {
	noise := median(env) + 1e-30
	out, n := make([]float64, 1000), make([]float64, 1000)
	for i, v := range env {
		out[i%1000] += math.Log1p(v / noise)
		n[i%1000]++
	}
	for i := range out {
		out[i] /= math.Max(n[i], 1)
	}
	return out
}

// at is a folded profile at millisecond i of the second, around its end.
func at(p []float64, i int) float64 { return p[((i%1000)+1000)%1000] }

// mean is that of a profile from ms a to before b.
func mean(p []float64, a, b int) (sum float64) {
	for i := a; i < b; i++ {
		sum += at(p, i)
	}
	return sum / float64(b-a)
}
