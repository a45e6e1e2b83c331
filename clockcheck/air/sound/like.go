package sound

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"noonmark/clockcheck/air/order"
)

// What a piece in which nothing was found is like is a word for the operator; no offset
// is made of it, and none is refused for it. The limits are chosen on simulated sound
// (TestLike counts how often they are right); no source.
const (
	clickBlock = Rate * 4 / 1000 // samples: 4 ms
	clickPart  = 0.03            // of the blocks …
	clickShare = 0.5             // … hold so much of the power
	frame      = 512             // samples: 64 ms, bins of 15.6 Hz
	tonalOver  = 20.0            // times the frame's median; noise reaches it in 1 frame of 4,000
	tonalShare = 0.3             // of the frames have a tone that stands out
	nearBins   = 3               // to either side: 109 Hz, as wide as most modes
	nearShare  = 0.85            // … of these have it at one place: something narrow
	heldShare  = 0.75            // of the strongest tones are there in the next frame: notes, not a voice
)

// Like says in a sentence what 8 kHz samples are like; "" for noise, or where it cannot be told.
func Like(samples []float32) string {
	if clicks(samples) {
		return "Clicks hold most of its power: look for a fence, an engine or a power supply nearby."
	}
	frames := tones(samples)
	if len(frames) == 0 {
		return ""
	}
	tonal, followed, held := 0, 0, 0
	var near [frame / 2]int
	for i, f := range frames {
		if len(f) == 0 {
			continue
		}
		tonal++
		for b := range near {
			near[b] += holds(f, b, nearBins)
		}
		if i+1 < len(frames) {
			followed++
			held += holds(frames[i+1], f[0], 1)
		}
	}
	n := float64(len(frames))
	narrow := highest(near[:])
	switch {
	case float64(tonal) < tonalShare*n:
		return ""
	case float64(near[narrow]) >= nearShare*float64(tonal):
		return fmt.Sprintf("Something narrow is in it all the time, near %.0f Hz: a carrier, or a signal of another mode.", float64(narrow)*Rate/frame)
	case float64(held) >= heldShare*float64(followed):
		return "It sounds like music: tune to where the mode is used."
	}
	return "It sounds like a voice: tune to where the mode is used."
}

// clicks tells whether a few blocks hold most of the power.
func clicks(samples []float32) bool {
	var power []float64
	sum := 0.0
	for i := 0; i+clickBlock <= len(samples); i += clickBlock {
		p := 0.0
		for _, v := range samples[i : i+clickBlock] {
			p += float64(v) * float64(v)
		}
		power, sum = append(power, p), sum+p
	}
	slices.Sort(power)
	top := 0.0
	for _, p := range power[len(power)-int(clickPart*float64(len(power))):] {
		top += p
	}
	return sum > 0 && top > clickShare*sum
}

// tones are the bins of each frame that stand out, the strongest first.
func tones(samples []float32) (frames [][]int) {
	fft := fourier.NewFFT(frame)
	in, out := make([]float64, frame), make([]complex128, frame/2+1)
	power, mixed := make([]float64, frame/2), make([]float64, frame/2)
	for at := 0; at+frame <= len(samples); at += frame {
		for i, v := range samples[at : at+frame] {
			in[i] = float64(v) * (0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/frame))
		}
		fft.Coefficients(out, in)
		for b := range power {
			power[b] = real(out[b])*real(out[b]) + imag(out[b])*imag(out[b])
		}
		copy(mixed, power)
		limit := tonalOver * order.Middle(mixed)
		var f []int
		for b := 2; b < len(power); b++ { // 0 and 15 Hz are the device's own
			if power[b] > limit {
				f = append(f, b)
			}
		}
		slices.SortFunc(f, func(a, b int) int { return int(math.Copysign(1, power[b]-power[a])) })
		frames = append(frames, f)
	}
	return frames
}

// holds is 1 where one of the bins lies within reach of b.
func holds(bins []int, b, reach int) int {
	for _, v := range bins {
		if v >= b-reach && v <= b+reach {
			return 1
		}
	}
	return 0
}

func highest(counts []int) (best int) {
	for i, n := range counts {
		if n > counts[best] {
			best = i
		}
	}
	return best
}
