// Package air admits what the station's own radio heard: other stations' signals, whose
// offsets tell UTC modulo the mode's period, and time-signal stations. A value machine.
package air

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

const (
	// shareOfBound: σ of a Gaussian error, as a share of its 99 % bound, 1/2.576 and a little more.
	shareOfBound = 0.40
	// floor is what package crowd adds to its statistical bound for delays: a range, ± s. It is
	// crowd.Floor, with its source there; the rooms forbid that import (TestFloorIsThatOfTheCrowd).
	floor = 0.10
	// least: no crowd's scatter leaves less, s: derived, the step in which package crowd searches.
	least = 0.005
	// leastSignals: of fewer other stations no majority can be right (assumption).
	leastSignals = 5
	// stay is for how long a station stays on the band, an assumption: of those heard, exp(−t/stay) are
	// heard again after t. In seven recordings of one band (data/air, busy_), paired by frequency to 3 Hz and by
	// offset to 0.1 s, 78 % were heard again after 30 s, 55 after 2.5 min, 35 after 5 to 8 min:
	// 8 min. A station that changes its frequency is not found again so, and some stay for hours:
	// thrice that and more.
	stay = 30 * time.Minute
)

// Hearings are when crowds were heard. Stations send in every second period: who is heard in one is not
// heard in the next (in those recordings 5 % were, by chance; of other modes than FT8 it is assumed). So
// there are two crowds.
type Hearings struct {
	at   [2]timescale.Local // when each was last heard; 0 = never
	last int                // which was the last
}

// Since says that crowds were heard until an instant, by an earlier run.
func Since(at timescale.Local) Hearings { return Hearings{at: [2]timescale.Local{at, at}} }

// Take admits a hearing; false where it is too thin to be one.
func (h *Hearings) Take(a *clockcheck.Air) (r bank.Reading, ok bool) {
	if a.Bound <= 0 || a.Modulo < 0 || a.Source == clockcheck.Crowd && a.Signals < leastSignals {
		return r, false
	}
	r = bank.Reading{Source: bank.Station, At: a.At, Z: int64(a.UTC) - int64(a.At), Common: a.Bound.Seconds() * shareOfBound,
		Modulo: a.Modulo.Seconds(), Dated: a.Modulo == 0}
	if a.Source == clockcheck.Crowd {
		r.Source = bank.Crowd
		r.Common, r.Var = parts(a.Bound.Seconds(), a.Common.Seconds())
		r.Repeat = h.repeat(a.At, a.Modulo)
	}
	return r, true
}

// parts are a crowd's two errors, by its 99 % bound and how much of that is a range of delays
// that all hearings share, s: the floor, and what the tie of the sound and the mode's start add.
// A uniform error has the σ of its half-width / √3, and the variances add up. The rest of
// the bound is the scatter of the stations' clocks.
func parts(bound, shared float64) (common, variance float64) {
	shared = max(shared, floor)
	scatter := max(bound-shared, least) * shareOfBound
	return math.Hypot(bank.AirShared, (shared-floor)/math.Sqrt(3)), scatter * scatter
}

// repeat is how many times the scatter's variance counts now. The same stations are wrong by
// the same again. An error that decays as exp(−t/stay) leaves of a constant, heard without a
// break over t, the variance σ²/(1 + t/(2·stay)): each hearing after dt adds dt/(2·stay) to the
// information, and one of another crowd adds 1.
func (h *Hearings) repeat(at timescale.Local, period time.Duration) (times float64) {
	if before := h.at[h.last]; before != 0 && period > 0 {
		h.last ^= int(math.Round(math.Abs(at.Sub(before).Seconds())/period.Seconds())) & 1
	}
	times = 1
	if dt := at.Sub(h.at[h.last]); h.at[h.last] != 0 {
		times = max(2*stay.Seconds()/max(dt.Seconds(), 1), 1)
	}
	h.at[h.last] = at
	return times
}
