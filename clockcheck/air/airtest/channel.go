// Package airtest simulates what a short-wave receiver hears: signals of timed modes and time
// signals through fading channels, noise, voices and carriers. It is for tests and the
// laboratory; samples are of 8 kHz.
package airtest

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
)

// Rate is the sampling rate, Hz.
const Rate = 8000

// Channel is one of ITU-R F.1487, Annex 3: two paths of equal strength that fade apart from each
// other, each with a Gaussian Doppler spectrum whose 2 σ is SpreadHz. The zero Channel
// neither fades nor delays.
type Channel struct {
	Name     string
	DelayMS  float64
	SpreadHz float64
}

// Channels are those of the recommendation's table, read in a published channel
// function that cites it.
var Channels = []Channel{
	{"low latitude, quiet", 0.5, 0.5}, {"low latitude, moderate", 2, 1.5}, {"low latitude, disturbed", 6, 10},
	{"middle latitude, quiet", 0.5, 0.1}, {"middle latitude, moderate", 1, 0.5}, {"middle latitude, disturbed", 2, 1},
	{"middle latitude, near vertical", 7, 1},
	{"high latitude, quiet", 1, 0.5}, {"high latitude, moderate", 3, 10}, {"high latitude, disturbed", 7, 30},
}

// Moderate is the middle latitudes' moderate channel.
var Moderate = Channels[4]

// waves is of how many a fading gain is made: enough for Rayleigh's law to 2 %.
const waves = 32

// gain is a fading path: a sum of waves whose frequencies are normally distributed
// (W. C. Jakes, Microwave Mobile Communications, 1974, the principle).
type gain struct{ hz, phase [waves]float64 }

func newGain(r *rand.Rand, spread float64) (g gain) {
	for i := range g.hz {
		g.hz[i], g.phase[i] = r.NormFloat64()*spread/2, 2*math.Pi*r.Float64()
	}
	return g
}

func (g *gain) at(t float64) (sum complex128) {
	for i := range g.hz {
		sum += cmplx.Rect(1, 2*math.Pi*g.hz[i]*t+g.phase[i])
	}
	return sum / complex(math.Sqrt(waves), 0)
}

// fadeStep is in how many samples a gain is drawn as a straight line.
const fadeStep = 40

// Pass sends a signal, as a complex (one-sided) one, through the channel; its mean power stays.
func (c Channel) Pass(r *rand.Rand, x []complex128) []float32 {
	out := make([]float32, len(x))
	if c.SpreadHz == 0 {
		for i, v := range x {
			out[i] = float32(real(v))
		}
		return out
	}
	for path := range 2 {
		g, late := newGain(r, c.SpreadHz), path*int(c.DelayMS*Rate/1e3)
		from := g.at(0)
		for i := 0; i < len(x); i += fadeStep {
			to := g.at(float64(i+fadeStep) / Rate)
			for k := 0; k < fadeStep && i+k < len(x); k++ {
				if j := i + k - late; j >= 0 {
					w := complex(float64(k)/fadeStep, 0)
					out[i+k] += float32(real(x[j]*(from*(1-w)+to*w)) / math.Sqrt2)
				}
			}
			from = to
		}
	}
	return out
}

// Amplitude is that of a tone so many dB above noise of σ = 1 a sample, in 2500 Hz.
func Amplitude(snr float64) float64 {
	return math.Sqrt(2 * 2500 / (Rate / 2) * math.Pow(10, snr/10))
}

// Noise adds Gaussian noise of σ = 1 and scales all to fit into ±1.
func Noise(r *rand.Rand, x []float32) []float32 {
	top := float32(0)
	for i := range x {
		x[i] += float32(r.NormFloat64())
		top = max(top, x[i], -x[i])
	}
	for i := range x {
		x[i] *= 0.5 / top
	}
	return x
}
