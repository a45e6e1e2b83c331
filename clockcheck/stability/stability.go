// Package stability measures how steady an oscillator is: the deviations that
// the time and frequency community uses, from phase data.
//
// In: phase samples x, seconds, equally spaced by tau0 seconds, and an averaging
// factor m, so that the averaging time is m·tau0. Out: a deviation, a pure
// number (Time: seconds). Too few samples, or an m below 1, give NaN.
//
// Definitions: W. J. Riley, Handbook of Frequency Stability Analysis, NIST
// Special Publication 1065 (2008), whose test sets the tests here reproduce.
// The functions hold no state and may be called by anyone at any time.
package stability

import "math"

// Phase integrates fractional frequencies y, one for each tau0 seconds, to one
// phase sample more, the first of them 0.
func Phase(y []float64, tau0 float64) []float64 {
	x := make([]float64, len(y)+1)
	for i, v := range y {
		x[i+1] = x[i] + v*tau0
	}
	return x
}

// Allan is the Allan deviation from adjoining, not overlapping, averages.
func Allan(x []float64, tau0 float64, m int) float64 { return differences(x, tau0, m, m, 2) }

// OverlappingAllan is the Allan deviation from all averages there are.
func OverlappingAllan(x []float64, tau0 float64, m int) float64 {
	return differences(x, tau0, m, 1, 2)
}

// Hadamard is the Hadamard deviation from adjoining averages: an even drift of
// the frequency does not show in it.
func Hadamard(x []float64, tau0 float64, m int) float64 { return differences(x, tau0, m, m, 3) }

// OverlappingHadamard is the Hadamard deviation from all averages there are.
func OverlappingHadamard(x []float64, tau0 float64, m int) float64 {
	return differences(x, tau0, m, 1, 3)
}

// differences is the deviation of second (Allan) or third (Hadamard) differences
// of x over m samples, one difference for each step samples.
func differences(x []float64, tau0 float64, m, step, order int) float64 {
	if m < 1 {
		return math.NaN()
	}
	sum, n := 0.0, 0
	for i := 0; i+order*m < len(x); i += step {
		d := x[i+2*m] - 2*x[i+m] + x[i]
		if order == 3 {
			d = x[i+3*m] - 3*x[i+2*m] + 3*x[i+m] - x[i]
		}
		sum += d * d
		n++
	}
	// The variance of n first differences of frequency: 2, of second ones: 6.
	scale := map[int]float64{2: 2, 3: 6}[order]
	return math.Sqrt(sum/(scale*float64(n))) / (float64(m) * tau0)
}

// Modified is the modified Allan deviation, which tells white from flicker phase
// noise: each second difference is averaged over m phase samples.
func Modified(x []float64, tau0 float64, m int) float64 {
	if m < 1 {
		return math.NaN()
	}
	total := make([]float64, len(x)+1) // running sums
	for i, v := range x {
		total[i+1] = total[i] + v
	}
	sum, n := 0.0, 0
	for i := 0; i+3*m <= len(x); i++ {
		d := total[i+3*m] - 3*total[i+2*m] + 3*total[i+m] - total[i]
		sum += d * d
		n++
	}
	fm := float64(m)
	return math.Sqrt(sum/(2*float64(n))) / (fm * fm * tau0)
}

// Time is the time deviation, seconds: the modified Allan deviation seen as the
// uncertainty of a time carried over the averaging time.
func Time(x []float64, tau0 float64, m int) float64 {
	return float64(m) * tau0 / math.Sqrt(3) * Modified(x, tau0, m)
}

// Total is the total deviation: the overlapping Allan deviation of x lengthened
// at both ends by its reflection, without a correction for bias.
func Total(x []float64, tau0 float64, m int) float64 {
	n := len(x)
	if m < 1 || m > n-1 || n < 3 {
		return math.NaN()
	}
	at := func(i int) float64 {
		switch {
		case i < 0:
			return 2*x[0] - x[-i]
		case i >= n:
			return 2*x[n-1] - x[2*(n-1)-i]
		}
		return x[i]
	}
	sum := 0.0
	for i := 1; i < n-1; i++ {
		d := at(i+m) - 2*at(i) + at(i-m)
		sum += d * d
	}
	return math.Sqrt(sum/(2*float64(n-2))) / (float64(m) * tau0)
}

// Noise is a kind of frequency noise of which Freedom knows the spread.
type Noise int

// The two noises of the two-state clock.
const (
	WhiteFM Noise = iota
	RandomWalkFM
)

// Freedom is the equivalent number of degrees of freedom of the square of
// OverlappingAllan from n phase samples: so many times that square over its
// expectation is distributed nearly as χ² (SP 1065, chapter 5).
func Freedom(noise Noise, n, m int) float64 {
	N, M := float64(n), float64(m)
	if noise == RandomWalkFM {
		return (N - 2) / M * (sq(N-1) - 3*M*(N-1) + 4*M*M) / sq(N-3)
	}
	return (3*(N-1)/(2*M) - 2*(N-2)/N) * 4 * M * M / (4*M*M + 5)
}

func sq(v float64) float64 { return v * v }
