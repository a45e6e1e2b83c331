// Package mark admits an operator's marks: a keypress on the tone of a radio time signal,
// or a comparison with a borrowed clock. A value machine.
package mark

import (
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

// shareOfBound: σ of the error that all marks of one person and set share, as a share of
// the bound, as for servers: its 99 % are 2.576·0.40 = 1.03 of it.
const shareOfBound = 0.40

// room: UTC must be known so well, s, for the minute to be plain: half a minute, less 5 s for
// the mark's own error (assumption: an ear is never later).
const room = 25.0

// boundLeast, s: no ear marks better (assumption; people scatter by 0.07 s, Am. J. Phys. 87).
const boundLeast = 1e-3

// Source is whose word a mark is.
func Source(borrowed bool) bank.Source {
	if borrowed {
		return bank.Borrowed
	}
	return bank.Ear
}

// Take admits a mark. known is UTC at the mark as far as it is known, to within half, s;
// a mark that does not say its minute is the whole minute nearest to that.
func Take(m *clockcheck.Mark, known timescale.UTC, half float64) (r bank.Reading, ok bool) {
	utc := m.UTC
	if utc == 0 {
		if known == 0 || half > room {
			return r, false
		}
		const minute = timescale.UTC(60 * timescale.Second)
		utc = (known + minute/2) / minute * minute
	}
	return bank.Reading{Source: Source(m.Borrowed), At: m.At, Z: int64(utc) - int64(m.At),
		Common: math.Max(m.Bound.Seconds(), boundLeast) * shareOfBound, Dated: m.UTC != 0}, true
}
