package page

import (
	"fmt"
	"math"

	"noonmark/status"
)

// level shows error, guard and margin at one look: the tolerance as a scale, the guard as
// a band, the error as a needle. Places are percents of the width.
type level struct {
	Low, High    float64 // of the tolerance
	Zero         float64
	BandX, BandW float64 // the worst case
	Known        bool    // there is a needle
	Needle       float64
	Beyond       string // "left" or "right": the needle is off the scale, there
	Text         string // what the needle says
	Anchor       string // of that text
	LowT, HighT  string
}

// ZoneW is the width of the tolerance.
func (l *level) ZoneW() float64 { return math.Round(10*(l.High-l.Low)) / 10 }

// levelEdge is how far the scale goes, in tolerances.
const levelEdge = 1.5

func levelOf(m *status.Mode, c status.Clock) *level {
	tol := m.ToleranceS
	if !(tol > 0) || math.IsInf(tol, 0) {
		return nil
	}
	at := func(s float64) float64 {
		x := 50 + 50*s/(levelEdge*tol)
		return math.Round(10*min(max(x, 0), 100)) / 10
	}
	l := &level{Low: at(-tol), High: at(tol), Zero: 50, LowT: "−" + plain(tol) + nbsp + "s", HighT: "+" + plain(tol) + nbsp + "s", Anchor: "middle",
		Text: "error not known", Needle: 50}
	if !c.ErrorS.OK || m.Verdict == status.Unknown {
		return l
	}
	err := c.ErrorS.V
	l.Known, l.Needle, l.Text = true, at(err), offBy(err)
	if c.GuardS.OK {
		l.BandX = at(err - c.GuardS.V)
		l.BandW = math.Round(10*(at(err+c.GuardS.V)-l.BandX)) / 10
	}
	switch {
	case err < -levelEdge*tol:
		l.Beyond = "left"
	case err > levelEdge*tol:
		l.Beyond = "right"
	}
	switch {
	case l.Needle < 18:
		l.Anchor = "start"
	case l.Needle > 82:
		l.Anchor = "end"
	}
	return l
}

// offBy words an error to a hundredth of a second.
func offBy(err float64) string {
	size := math.Abs(err)
	word := nbsp + "s fast"
	if err < 0 {
		word = nbsp + "s slow"
	}
	switch {
	case size < 0.005:
		return "right to 0.01" + nbsp + "s"
	case size < 9.995:
		return fmt.Sprintf("%.2f", size) + word
	case size < 3600:
		return fmt.Sprintf("%.0f", size) + word
	case size < 2*86400:
		return fmt.Sprintf("%.1f", size/3600) + nbsp + "h" + word[len(nbsp)+1:]
	}
	return fmt.Sprintf("%.0f", size/86400) + nbsp + "days" + word[len(nbsp)+1:]
}
