package signal

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// RWM keys its carrier. Which tone that makes is for the radio's tuning to say: telegraphy or a
// sideband, some hundred Hz beside the carrier. So the tone is looked for: that which comes
// and goes alike in each second. A private station may beep each second as well, so that RWM
// is only looked for where the operator says that he is tuned to it.
// From :00 and :30 of the hour: a plain carrier for 8 min, nothing, its name; one pulse of 0.1 s each
// second in minutes 10 to 19, ten a second in 20 to 29, of 20 ms, on the second 40 ms; 0.5 s on the
// minute. Doubled pulses, 200 to 300 ms after the second, tell DUT1, which is not read here.
// Source: encyclopedia's pages, which cite GOST 8.323.
const (
	keyedWindow = 10 // ms: pulses of 20 ms fill it
	// Hz: what a receiver for speech lets through (common practice, no source).
	keyedLow, keyedHigh = 250.0, 3000.0
	keyedPulse          = 100 // ms
	keyedTen            = 20  // ms
	// keyedParts of the sound must prove the second, each by itself: of 75 s, the least that is looked at, one is 25 s
	// (assumption: five seconds of another program do not make a second).
	keyedParts = 3
)

var markRWM = mark{"RWM", 0, keyedPulse, 500}

// FindRWM looks for RWM's pulses in 8 kHz samples of 20 s or more. Only where a pulse of half a
// second begins the minute is it taken to be RWM.
func FindRWM(samples []float32) (s Station, ok bool) {
	if len(samples) < leastSeconds*rate {
		return s, false
	}
	m := markRWM
	m.hz = keyedTone(samples)
	begin, ok := seconds(samples, m.hz)
	if !ok {
		return s, false
	}
	// Its name in Morse comes before the seconds: a part of that beside them may be taken for the minute's tone. So
	// the seconds must be proved all over the sound.
	part := len(samples) / (keyedParts * int(rate)) * int(rate) // whole seconds
	for k := range keyedParts {
		x := samples[k*part : (k+1)*part]
		if !oneProved(x, m.hz, begin) && !tenProved(x, m.hz, begin) {
			return s, false
		}
	}
	s = Station{Name: m.name, SecondS: math.Mod(begin/1e3+1, 1), Second: true, DUT1: math.NaN()}
	s.minute(samples, m)
	return s, s.Minute
}

// seconds finds where its seconds begin, ms, by one pulse each second or by ten.
func seconds(samples []float32, hz float64) (begin float64, ok bool) {
	u := linear(fold(envelope(samples, hz, keyedWindow)))
	if begin = onePulse(u); oneProved(samples, hz, begin) {
		return begin, true
	}
	begin = tenPulses(u)
	return begin, tenProved(samples, hz, begin)
}

func oneProved(samples []float32, hz, begin float64) bool {
	from, to := edges(samples, hz, whole(begin), keyedPulse)
	return from.won() && to.won() && pulses(trackOf(samples, hz, keyedPulse, 0), whole(begin), keyedPulse, secondsOf(samples)).won()
}

func tenProved(samples []float32, hz, begin float64) bool {
	on, first := tens(samples, hz, whole(begin))
	return on.won() && first.won()
}

// tens are two contests of ten pulses each second, the first of them at ms begin: there the tone is, and between them
// it is not; and the first is longer than any other.
func tens(samples []float32, hz float64, begin int) (on, first contest) {
	t, n := trackOf(samples, hz, keyedTen, 0), secondsOf(samples)
	sum := func(from int) []float64 {
		out := t.each(begin, from, n)
		for k := 1; k < 10; k++ {
			for s, v := range t.each(begin, from+100*k, n) {
				out[s] += v
			}
		}
		return out
	}
	on = claim(sum(0))
	for d := 2 * keyedTen; d <= 100-keyedTen; d += keyedTen / 2 {
		on.against(sum(d))
	}
	first = claim(t.each(begin, keyedTen, n))
	for k := 1; k < 10; k++ {
		first.against(t.each(begin, keyedTen+100*k, n))
	}
	return on, first
}

// keyedTone is the tone whose power changes most in the second, alike in each.
func keyedTone(samples []float32) (hz float64) {
	const size, hop = 640, 160 // 80 ms, each 20 ms: bins of 12.5 Hz, 50 to the second
	fft := fourier.NewFFT(size)
	in, out := make([]float64, size), make([]complex128, size/2+1)
	lo, hi := int(keyedLow/rate*size), int(keyedHigh/rate*size)
	power := make([][]float64, hi-lo)
	for f := 0; f*hop+size <= len(samples); f++ {
		for i, v := range samples[f*hop : f*hop+size] {
			in[i] = 0
			if i >= size/4 && i < 3*size/4 { // 40 ms of sound, so that pulses stay apart
				in[i] = float64(v)
			}
		}
		fft.Coefficients(out, in)
		for b := range power {
			c := out[lo+b]
			power[b] = append(power[b], real(c)*real(c)+imag(c)*imag(c))
		}
	}
	best := 0.0
	for b, p := range power {
		if v := alike(p, 50); v > best {
			best, hz = v, float64(lo+b)*rate/size
		}
	}
	return hz
}

// alike is by how much the folded levels of a power scatter, n to the second.
func alike(p []float64, n int) (sum float64) {
	noise, q, mean := median(p)+1e-30, make([]float64, n), 0.0
	for i, v := range p {
		q[i%n] += math.Log1p(v / noise)
	}
	for i := range q {
		q[i] /= float64(len(p)) / float64(n)
		mean += q[i] / float64(n)
	}
	for _, v := range q {
		sum += sq(v - mean)
	}
	return sum
}

// onePulse proposes where a pulse of 0.1 s begins each second. A second one may follow after 0.2 s.
func onePulse(u []float64) (begin float64) {
	score := func(i int) float64 { return mean(u, i, i+keyedPulse-keyedWindow) - mean(u, i-100, i-keyedWindow) }
	best := 0
	for i := range u {
		if score(i) > score(best) {
			best = i
		}
	}
	begin, _, _ = place(u, best, best-100, best+190, 20, keyedWindow, keyedPulse)
	return begin
}

// tenPulses proposes where ten pulses of 20 ms each second begin, of which the one on the second is twice as long.
func tenPulses(u []float64) (begin float64) {
	shapeOf := func(b float64) func(int) float64 {
		return func(i int) float64 {
			d := math.Mod(float64(i)-b+2000, 1000) // ms after the second
			k := math.Floor((d + keyedWindow) / 100)
			long := float64(keyedTen)
			if k == 0 || k == 10 {
				long *= 2
			}
			return shape(0, keyedWindow, k*100-d, long)
		}
	}
	left := math.Inf(1)
	for b := 0.0; b < 1000; b++ {
		if l, h := fit(u, 0, 1000, shapeOf(b)); h > 0 && l < left {
			left, begin = l, b
		}
	}
	coarse := begin
	for b := coarse - 1; b <= coarse+1; b += 0.25 {
		if l, _ := fit(u, 0, 1000, shapeOf(b)); l < left {
			left, begin = l, b
		}
	}
	return begin
}
