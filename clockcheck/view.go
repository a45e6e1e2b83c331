package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// rateFloor is how well, 1σ in s/s, the stream can tell a rate by now: its latency may
// have leapt by what no look would have found, any time since from. After an hour the
// mean of a minute would tell.
func (r *receiver) rateFloor(at timescale.Local) float64 {
	t, leap := at.Sub(r.from), unseen(r.jitter)
	if t >= keepEvery {
		leap = math.Min(leap, rampFloorS+guardZ*math.Sqrt(r.jitter/slowReadings))
	}
	return leap / (guardZ * math.Max(t.Seconds(), 1))
}

// unseen is the leap that no look finds, s, where the arrival has the variance noise.
// The noise of a median of nine is that of one reading by the root of five or so.
func unseen(noise float64) float64 { return leapFloorS + guardZ*math.Sqrt(noise/3) }

// keepAfter is when the next state is kept: each hour, and 2, 4, 8, … min after the last
// while the rate it holds is so uncertain that it would show no drag.
func (w *watch) keepAfter() time.Duration {
	if guardZ*w.newer.sigma(sY)*keepEvery.Seconds() < dragFloorS {
		return keepEvery
	}
	return min(max(2*w.kept.Sub(w.since), firstKeep), keepEvery)
}

// view is a former state, carried forward to now.
type view struct {
	filter
	want     float64 // s: where it expects the stream …
	variance float64 // … s²: of that
	nu       float64 // … and s: how far from there the stream is found
}

// from is how the stream is found from a former state.
func (w *watch) from(f filter, at timescale.Local) view {
	f.advance(at)
	want, v := f.sum(sD, -1)
	return view{f, want, v, float64(w.median()-f.base)/1e9 - want}
}

// younger judges by the younger state, that for which the older is too uncertain while
// the rate is being learned: a drag, in the mean of a minute, or that the stream leapt
// back from where it had been led, which the older takes for a leap of the latency. It
// must be away from both, for the younger may itself have been led.
func (w *watch) younger(at timescale.Local, was view, slow float64, leap bool) (view, bool) {
	if guardZ*math.Sqrt(was.variance) <= dragFloorS {
		return was, false
	}
	young := w.from(w.newer, at)
	if leap {
		b := w.before + young.nu - was.nu
		return young, both(b, w.before) > rampFloorS+boundZ*math.Sqrt(young.variance+w.noise/5)
	}
	return young, both(slow+young.nu-was.nu, slow) > dragFloorS+guardZ*math.Sqrt(young.variance+w.noise/slowReadings)
}

// both is how far both are from 0, on the same side.
func both(a, b float64) float64 {
	if a*b <= 0 {
		return 0
	}
	return math.Min(math.Abs(a), math.Abs(b))
}
