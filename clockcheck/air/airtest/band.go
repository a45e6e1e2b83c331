package airtest

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"noonmark/clockcheck/air/band"
)

// Sender is one signal of a mode.
type Sender struct {
	BeginS float64 // its first sync symbol
	FreqHz float64 // its lowest tone
	SNRdB  float64 // in 2500 Hz
}

// bt is the bandwidth of the smoothing between tones, in parts of a symbol: as published
// for FT8 and FT4; JS8 has none.
var bt = map[string]float64{"FT8": 2, "FT4": 1}

// Signal is a sender's signal with a random message, n samples long.
func Signal(r *rand.Rand, m band.Mode, s Sender, n int) []complex128 {
	tones := m.Sync()
	for i, t := range tones {
		if t < 0 {
			tones[i] = r.IntN(m.Tones)
		}
	}
	out := make([]complex128, n)
	amp, phase := complex(Amplitude(s.SNRdB), 0), 2*math.Pi*r.Float64()
	spacing := Rate / float64(m.Symbol)
	for i := range out {
		at := (float64(i)/Rate - s.BeginS) * spacing // in symbols
		if at < 0 || at >= float64(len(tones)) {
			continue
		}
		out[i] = amp * cmplx.Rect(1, phase)
		phase += 2 * math.Pi * (s.FreqHz + spacing*smooth(tones, at, bt[m.Name])) / Rate
	}
	return out
}

// smooth is the tone at a place between symbols: the steps through a Gaussian filter.
// Source: the pulse of Gaussian frequency shift keying, (erf(c(t+½)) − erf(c(t−½)))/2, c = π·BT·√(2/ln 2).
func smooth(tones []int, at, bt float64) (f float64) {
	k := int(at)
	if bt == 0 {
		return float64(tones[k])
	}
	c := math.Pi * bt * math.Sqrt(2/math.Ln2)
	for i := k - 1; i <= k+1; i++ {
		t := at - float64(i) - 0.5
		tone := tones[min(max(i, 0), len(tones)-1)]
		f += float64(tone) * (math.Erf(c*(t+0.5)) - math.Erf(c*(t-0.5))) / 2
	}
	return f
}

// Band is n seconds of senders, each through its own fading, in noise.
func Band(r *rand.Rand, m band.Mode, c Channel, all []Sender, seconds float64) []float32 {
	n := int(seconds * Rate)
	out := make([]float32, n)
	for _, s := range all {
		for i, v := range c.Pass(r, Signal(r, m, s, n)) {
			out[i] += v
		}
	}
	return Noise(r, out)
}
