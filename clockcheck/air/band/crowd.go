package band

import (
	"math"
	"sort"
)

// Signals this much weaker than another, at the same time and as far above it as below
// it, are that signal's own sidebands: hum on one loud sender made four of them in a
// recording, 50 and 100 Hz to either side.
const (
	sidebandDB   = 20.0
	sidebandMost = 400.0 // Hz
	sidebandHz   = 3.0
	sidebandS    = 0.04
)

func (s Signal) sidebandOf(o Signal, all []Signal) bool {
	weaker := func(x Signal) bool {
		return o.SNRdB-x.SNRdB > sidebandDB && math.Abs(o.BeginS-x.BeginS) < sidebandS
	}
	if !weaker(s) || math.Abs(s.FreqHz-o.FreqHz) > sidebandMost {
		return false
	}
	for _, x := range all {
		if weaker(x) && math.Abs(x.FreqHz-(2*o.FreqHz-s.FreqHz)) < sidebandHz {
			return true
		}
	}
	return false
}

// Distinct leaves one signal of those within two tones of each other: a station heard
// twice, or a neighbour's shadow, is no second witness; nor is a sideband. Only plain
// ones remain.
func Distinct(all []Signal, m Mode) (out []Signal) {
	all = append([]Signal(nil), all...)
	sort.SliceStable(all, func(i, k int) bool { return all[i].Score > all[k].Score })
	for _, s := range all {
		alone := s.Plain
		for _, o := range all {
			alone = alone && !s.sidebandOf(o, all)
		}
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
