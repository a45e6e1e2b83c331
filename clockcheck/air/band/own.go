package band

import (
	"math"
	"sort"
)

// A period with our own transmission in it tells nothing: the set is deaf while it sends,
// or what it sends comes back through the monitor. Both show in the level; what does not
// show is for the operator to say. Common practice, no source.
const (
	blockSeconds = 0.25
	quietDrop    = 20.0 // dB below the middle of the levels: the set is muted
	quietShare   = 0.10 // of the blocks
	loudShare    = 0.98 // of the power in one signal's 100 Hz …
	loudSNR      = 20.0 // … at a strength of so many dB
)

// Own says in a sentence why the sound may hold our own transmission; "" if nothing
// speaks for it.
func Own(samples []float32, all []Signal) string {
	size := int(blockSeconds * rate)
	var levels []float64
	for i := 0; i+size <= len(samples); i += size {
		sum := 0.0
		for _, v := range samples[i : i+size] {
			sum += float64(v) * float64(v)
		}
		levels = append(levels, 10*math.Log10(sum/float64(size)+1e-12))
	}
	if len(levels) == 0 {
		return ""
	}
	sorted := append([]float64(nil), levels...)
	sort.Float64s(sorted)
	mid, quiet := sorted[len(sorted)/2], 0
	for _, v := range levels {
		if v < mid-quietDrop {
			quiet++
		}
	}
	if float64(quiet) > quietShare*float64(len(levels)) {
		return "The sound is muted for a part: if you transmitted, this period does not count."
	}
	if len(all) > 0 && len(levels) > 4 {
		top := all[0]
		for _, s := range all {
			if s.SNRdB > top.SNRdB {
				top = s
			}
		}
		if top.SNRdB > loudSNR && sorted[len(sorted)-1]-sorted[len(sorted)/20] > -10*math.Log10(1-loudShare) {
			return "One signal is louder than all else together: if it is your own, this period does not count."
		}
	}
	return ""
}
