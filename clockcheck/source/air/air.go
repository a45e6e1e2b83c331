// Package air admits what the station's own radio heard: other stations' signals, whose
// offsets tell UTC modulo the mode's period, and time-signal stations. A value machine.
package air

import (
	"time"

	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

// Air is one hearing.
type Air struct {
	Source  string // "crowd", or a time-signal station's name
	At      timescale.Local
	UTC     timescale.UTC
	Modulo  time.Duration // UTC is known modulo this; 0 = wholly
	Bound   time.Duration // half-width that holds but for a blunder: sound, way, the crowd's own clocks
	Signals int           // how many were heard
}

// Crowd is the Source of other stations' signals.
const Crowd = "crowd"

const (
	shareOfBound = 0.40
	// leastSignals: of fewer other stations no majority can be right (assumption).
	leastSignals = 5
)

// Take admits a hearing; false where it is too thin to be one.
func Take(a *Air) (r bank.Reading, ok bool) {
	s := bank.Station
	if a.Source == Crowd {
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
