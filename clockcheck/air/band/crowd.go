package band

import (
	"math"
	"sort"
)

// Distinct leaves one signal of those within two tones of each other: a station heard
// twice, or a neighbour's shadow, is no second witness. Only plain ones remain.
func Distinct(all []Signal, m Mode) (out []Signal) {
	sort.SliceStable(all, func(i, k int) bool { return all[i].Score > all[k].Score })
	for _, s := range all {
		alone := s.Plain
		for _, o := range out {
			alone = alone && math.Abs(o.FreqHz-s.FreqHz) > 2*m.spacingHz()
		}
		if alone {
			out = append(out, s)
		}
	}
	return out
}

// Offsets are the begins of signals against the mode's start in periods that begin with
// the samples, seconds.
func Offsets(all []Signal, m Mode) []float64 {
	out := make([]float64, len(all))
	for i, s := range all {
		out[i] = s.BeginS - m.Start.Seconds()
	}
	return out
}
