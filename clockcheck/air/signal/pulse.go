package signal

import (
	"math"
	"sync"
)

// How a pulse of a tone looks in a folded envelope, and which pulse fits what was folded.

// levels gives, for the mean power of a tone in noise of mean power 1, what the mean of
// log(1 + power/median) becomes: the power of noise, and of a tone that fades by Rayleigh's
// law in noise, is exponentially distributed, and the median of noise is ln 2.
var levels = sync.OnceValue(func() (t [levelSteps + 1]float64) {
	for i := range t {
		const parts = 4000
		a, sum := math.Exp(float64(i)*levelStep)/math.Ln2, 0.0
		for k := range parts { // over the quantiles of the exponential
			sum += math.Log1p(-a * math.Log((float64(k)+0.5)/parts))
		}
		t[i] = sum / parts
	}
	return t
})

const levelStep, levelSteps = 0.05, 240 // nats: up to 52 dB

// linear turns a folded profile back into powers, in parts of the noise's; 0 = noise alone.
func linear(p []float64) []float64 {
	t, out := levels(), make([]float64, len(p))
	for i, v := range p {
		k := 0
		for k < levelSteps-1 && t[k+1] < v {
			k++
		}
		out[i] = math.Exp((float64(k)+(v-t[k])/(t[k+1]-t[k]))*levelStep) - 1
	}
	return out
}

// shape is the power in a window of length ms that begins at ms i, of a pulse that begins at
// begin and lasts long ms; 1 where the pulse fills the window.
func shape(i int, window, begin, long float64) float64 {
	over := math.Min(float64(i)+window, begin+long) - math.Max(float64(i), begin)
	return sq(math.Max(over, 0) / window)
}

func sq(x float64) float64 { return x * x }

// fit lays a shape beside powers from ms lo to before hi by least squares, with a height and
// a floor of its own: the squares that are left, and the height.
func fit(u []float64, lo, hi int, shape func(i int) float64) (left, height float64) {
	var n, sg, sgg, su, suu, sgu float64
	for i := lo; i < hi; i++ {
		g, v := shape(i), at(u, i)
		n, sg, sgg, su, suu, sgu = n+1, sg+g, sgg+g*g, su+v, suu+v*v, sgu+g*v
	}
	left = suu - su*su/n
	if d := sgg - sg*sg/n; d > 0 {
		height = (sgu - sg*su/n) / d
		left -= height * height * d
	}
	return left, height
}

// place finds where a pulse of long ms begins, within reach ms of ms i: its begin, what it leaves
// of the squares from ms lo to before hi, and its height.
func place(u []float64, i, lo, hi int, reach, window, long float64) (begin, left, height float64) {
	const step = 0.25
	left = math.Inf(1)
	for b := float64(i) - reach; b <= float64(i)+reach; b += step {
		l, h := fit(u, lo, hi, func(k int) float64 { return shape(k, window, b, long) })
		if h > 0 && l < left {
			begin, left, height = b, l, h
		}
	}
	return begin, left, height
}
