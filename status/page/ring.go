package page

import (
	"fmt"
	"math"
	"strings"

	"noonmark/status"
)

// ring is the figure of a period: one turn is one period, begun at the top. The
// outer arc is the transmission; the inner one the time to listen, from the
// period's begin to the transmission's end; what is left is the gap.
type ring struct {
	Transmission, Listen, Gap string
	PeriodS                   float64
	FromS, ToS                float64 // of the transmission
	PeriodText                string
	Hand                      string // a wedge at the top, as wide as the guard
	Text                      string
}

const (
	outerR, innerR = 88, 72
	handIn         = 58
	handOut        = 99
	leastHand      = 1.5 / 360
)

// ringOf draws the ring of a mode, nil if its period is not known.
func ringOf(m *status.Mode, per Period, guard status.Float) *ring {
	if m == nil || per.LengthS <= 0 || m.PeriodS <= 0 {
		return nil
	}
	end := min(per.OffsetS+per.LengthS, m.PeriodS)
	r := &ring{PeriodS: m.PeriodS, FromS: per.OffsetS, ToS: end, PeriodText: plain(m.PeriodS),
		Transmission: arc(outerR, per.OffsetS/m.PeriodS, end/m.PeriodS),
		Listen:       arc(innerR, 0, end/m.PeriodS),
		Gap:          arc(outerR, end/m.PeriodS, 1),
	}
	if guard.OK && guard.V < m.PeriodS/2 {
		r.Hand = wedge(max(guard.V/m.PeriodS, leastHand))
	}
	text := fmt.Sprintf("%s: period %s s, transmission from %s s to %s s", status.Clean(m.Mode), plain(m.PeriodS), plain(per.OffsetS), tenth(end))
	if end < m.PeriodS {
		text += ", then the gap"
	}
	r.Text = text + "."
	return r
}

// tenth writes seconds to two decimals without idle ones.
func tenth(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.2f", v), "0"), ".")
}

// arc is a path on a circle of radius r around 0, 0 from one share of the turn
// to another, clockwise from the top.
func arc(r, from, to float64) string {
	if to-from <= 0 {
		return ""
	}
	to = min(to, from+0.9999) // a full turn has no direction
	at := func(share float64) (x, y float64) {
		s, c := math.Sincos(2 * math.Pi * share)
		return r * s, -r * c
	}
	x0, y0 := at(from)
	x1, y1 := at(to)
	large := 0
	if to-from > 0.5 {
		large = 1
	}
	return fmt.Sprintf("M%.2f %.2fA%g %g 0 %d 1 %.2f %.2f", x0, y0, r, r, large, x1, y1)
}

// wedge is a sector around the top, so many turns to either side.
func wedge(half float64) string {
	s, c := math.Sincos(2 * math.Pi * half)
	large := 0
	if half > 0.25 {
		large = 1
	}
	return fmt.Sprintf("M%.2f %.2fA%d %d 0 %d 1 %.2f %.2fL%.2f %.2fA%d %d 0 %d 0 %.2f %.2fZ", -handOut*s, -handOut*c, handOut, handOut, large,
		handOut*s, -handOut*c, handIn*s, -handIn*c, handIn, handIn, large, -handIn*s, -handIn*c)
}
