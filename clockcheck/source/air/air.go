// Package air admits what the station's own radio heard: other stations' signals, whose
// offsets tell UTC modulo the mode's period, and time-signal stations. A value machine.
package air

import (
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
)

const (
	// shareOfBound: σ of the error that all hearings share, as a share of the 99 % bound, 1/2.576 and a little more.
	shareOfBound = 0.40
	// floor is what package crowd adds to its statistical bound for delays: a range, ± s. It is
	// crowd.Floor, with its source there; the rooms forbid that import (TestFloorIsThatOfTheCrowd).
	floor = 0.10
	// leastSignals: of fewer other stations no majority can be right (assumption).
	leastSignals = 5
)

// Take admits a hearing; false where it is too thin to be one.
func Take(a *clockcheck.Air) (r bank.Reading, ok bool) {
	s := bank.Station
	if a.Source == clockcheck.Crowd {
		s = bank.Crowd
		if a.Signals < leastSignals {
			return r, false
		}
	}
	if a.Bound <= 0 || a.Modulo < 0 {
		return r, false
	}
	return bank.Reading{Source: s, At: a.At, Z: int64(a.UTC) - int64(a.At), Common: common(a.Bound.Seconds(), s),
		Modulo: a.Modulo.Seconds(), Dated: a.Modulo == 0}, true
}

// common is the σ of a hearing, s, by its 99 % bound. That of a crowd is a statistical one and a
// range of delays: the variance of a uniform error is a third of its half-width's square, and
// the sum of both has lighter tails than the Gaussian of its variance.
func common(bound float64, s bank.Source) float64 {
	if s != bank.Crowd || bound <= floor {
		return bound * shareOfBound
	}
	return min(math.Hypot((bound-floor)*shareOfBound, floor/math.Sqrt(3)), bound*shareOfBound)
}
