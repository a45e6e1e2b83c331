package band

import (
	"math"
	"sort"
)

// Our own transmission, heard back through the set's monitor, is no witness, and the
// sound of it hides the others. It shows in the level: far above what the band sounds
// like otherwise. What does not show there is for the operator to say.
// Common practice, no source.
const (
	blockSeconds = 0.25
	loudRise     = 20.0 // dB above the quieter half of the sound
	quietDrop    = 30.0 // dB below it: the set is muted
	fadeBlocks   = 1    // blocks before and after that are left out, too
)

// LeaveOut returns the samples with the parts silenced in which we may have been
// transmitting, and how many seconds those are, muted parts included.
func LeaveOut(samples []float32) (out []float32, seconds float64) {
	size := int(blockSeconds * rate)
	levels := make([]float64, len(samples)/size)
	for i := range levels {
		sum := 0.0
		for _, v := range samples[i*size : (i+1)*size] {
			sum += float64(v) * float64(v)
		}
		levels[i] = 10 * math.Log10(sum/float64(size)+1e-12)
	}
	if len(levels) == 0 {
		return samples, 0
	}
	sorted := append([]float64(nil), levels...)
	sort.Float64s(sorted)
	usual := sorted[len(sorted)/4]
	if last := sorted[len(sorted)*3/4]; usual < last-quietDrop {
		usual = last // muted for more than a quarter
	}
	bad := make([]bool, len(levels))
	for i, v := range levels {
		if v > usual+loudRise || v < usual-quietDrop {
			for k := max(0, i-fadeBlocks); k <= min(len(bad)-1, i+fadeBlocks); k++ {
				bad[k] = true
			}
		}
	}
	for i, b := range bad {
		if !b {
			continue
		}
		if out == nil {
			out = append(out, samples...)
		}
		clear(out[i*size : (i+1)*size])
		seconds += blockSeconds
	}
	if out == nil {
		out = samples
	}
	return out, seconds
}
