package airtest

import (
	"math"
	"math/rand/v2"
)

// Voice is noise with the rhythm and the pitches of speech: syllables of a gliding pitch
// with its harmonics, and pauses. Its shape is made up, from memory.
func Voice(r *rand.Rand, x []float32, snr float64) {
	amp := Amplitude(snr)
	for at := 0; at < len(x); {
		length := int((0.08 + 0.25*r.Float64()) * Rate)
		pitch, glide := 90+120*r.Float64(), 60*(r.Float64()-0.5)
		formant := 400 + 1800*r.Float64()
		phase := 0.0
		for i := 0; i < length && at+i < len(x); i++ {
			u := float64(i) / float64(length)
			phase += 2 * math.Pi * (pitch + glide*u) / Rate
			v := 0.0
			for h := 1; h <= 16; h++ {
				f := float64(h) * pitch
				v += math.Exp(-math.Pow((f-formant)/500, 2)) * math.Sin(float64(h)*phase)
			}
			x[at+i] += float32(amp * v * math.Sin(math.Pi*u))
		}
		at += length + int(0.2*r.ExpFloat64()*Rate)
	}
}

// Carriers adds n steady or slowly drifting tones.
func Carriers(r *rand.Rand, x []float32, n int, snr float64) {
	for range n {
		f, drift, phase := 200+2800*r.Float64(), 4*(r.Float64()-0.5), 2*math.Pi*r.Float64()
		amp := Amplitude(snr + 10*r.NormFloat64())
		for i := range x {
			phase += 2 * math.Pi * (f + drift*float64(i)/Rate) / Rate
			x[i] += float32(amp * math.Sin(phase))
		}
	}
}

// Clicks adds impulses, n a second.
func Clicks(r *rand.Rand, x []float32, n, snr float64) {
	amp := 20 * Amplitude(snr)
	for at := 0.0; ; {
		at += r.ExpFloat64() / n * Rate
		if int(at) >= len(x) {
			return
		}
		for i := int(at); i < min(int(at)+12, len(x)); i++ {
			x[i] += float32(amp * math.Exp(-float64(i-int(at))/3) * r.NormFloat64())
		}
	}
}

// Music is chords of steady notes of an equal scale, a quarter to a second each.
func Music(r *rand.Rand, x []float32, snr float64) {
	amp := Amplitude(snr)
	for at := 0; at < len(x); {
		length := int((0.25 + 0.75*r.Float64()) * Rate)
		for range 3 {
			f := 220 * math.Pow(2, float64(r.IntN(36))/12)
			for i := 0; i < length && at+i < len(x); i++ {
				t := float64(i) / Rate
				x[at+i] += float32(amp * math.Exp(-2*t) * math.Sin(2*math.Pi*f*t))
			}
		}
		at += length
	}
}
