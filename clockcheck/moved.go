package clockcheck

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// A crystal may change its rate for good: a step of its own, an activity dip, a thaw. The
// filter's random walk knows none of that. While something tells the rate it is seen and
// learned. While nothing does, it is an explanation that stays possible, and the guard
// spans it.
const (
	// stepMost: some 1e-3 of nights have a step of 1 ppm or more (1e-4 to 1e-2: assumption of
	// the fault budget, whose sources describe such steps and count none), of 1 to 20 ppm, as
	// likely in each octave. One in ten of them is above 20^0.9 ppm, so that what is larger
	// is below the 1e-4 of the guard.
	stepMost = 15e-6 // s/s
	// stepZ: beside a step of which one in ten is larger, one in ten of all else may be (90 %).
	stepZ = 1.645
)

// spread is the half-width for a standard deviation of x after t more seconds without a
// reading: of the Gaussian alone, or of a smaller one and a step of the oscillator's rate
// since it was last told.
func (j *Judge) spread(sd, t, zscore float64) float64 {
	g := zscore * sd
	if zscore != guardZ {
		return g
	}
	return math.Max(g, stepMost*(j.untold(j.f.at)+t)+stepZ*sd)
}

// untold is for how long nothing has told the rate of the oscillator, s.
func (j *Judge) untold(at timescale.Local) float64 {
	last := max(j.x.netAt, j.x.markAt, j.x.heldAt, j.x.since)
	if j.rx.link.steady() {
		last = max(last, j.x.gnssAt)
	}
	if j.cfg.RTCCompensated && j.rtc.attached && !j.rtc.kernel {
		last = max(last, j.x.rtcAt) // it wanders by 0.03 ppm in an hour: against it a step shows
	}
	if last == 0 {
		return 0
	}
	return math.Max(at.Sub(last).Seconds(), 0)
}

// mayHaveMoved: after a silence the stream is nu seconds from what was held over it. If a
// step of the oscillator can have done that, it is as likely as a latency that leapt: x and
// the rate are loosened so far that the guard holds both.
func (j *Judge) mayHaveMoved(at timescale.Local, nu float64) {
	t := j.untold(at)
	if t < stepAfter.Seconds() || math.Abs(nu) > stepMost*t+guardZ*j.f.sigma(sX) {
		return
	}
	j.f.p[sX][sX] += sq(nu / 2)
	j.f.p[sY][sY] += sq(nu / t)
}

// stepAfter: in less time a step of stepMost does less than what no look finds (leapFloorS).
const stepAfter = 40 * time.Minute
