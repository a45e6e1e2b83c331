// Package air admits what the station's own radio heard: other stations' signals, whose
// offsets tell UTC modulo the mode's period, and time-signal stations. A value machine.
package air

import (
	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
)

const (
	// shareOfBound: σ of the error that all hearings share, as a share of the 99 % bound.
	shareOfBound = 0.40
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
	return bank.Reading{Source: s, At: a.At, Z: int64(a.UTC) - int64(a.At), Common: a.Bound.Seconds() * shareOfBound,
		Modulo: a.Modulo.Seconds(), Dated: a.Modulo == 0}, true
}
