package page

import (
	"fmt"
	"math"
	"strings"

	"noonmark/status"
)

// placeView is the place at a glance: the six-character square and where in it the
// station stands.
type placeView struct {
	Locator, Fine string // the first six characters, and the rest
	Note          string // ± and age
	Edge          string // how far to the square's edge, and which
	Dot           *dot
}

// dot is the station in its square, percents from the north-west corner.
type dot struct{ X, Y, RX, RY float64 }

func (v *view) place(q *status.Position, square func(status.Position) Square) {
	w := &v.Place
	if q == nil {
		w.Note = "No satellite fix yet."
		return
	}
	w.Locator = status.Clean(q.Locator)
	if len(w.Locator) > 6 {
		w.Locator, w.Fine = w.Locator[:6], w.Locator[6:]
	}
	var notes []string
	if q.BoundM.OK {
		notes = append(notes, "±"+nbsp+metres(q.BoundM.V))
	}
	past := q.Past()
	switch {
	case past != "":
		notes = append(notes, past)
	case q.Moving:
		notes = append(notes, "moving")
	default:
		notes = append(notes, "now")
	}
	w.Note = strings.Join(notes, ", ")
	if square == nil || !q.LatDeg.OK || !q.LonDeg.OK {
		return
	}
	if s := square(*q); s.WidthM > 0 && s.HeightM > 0 {
		w.Dot = dotOf(s, q.BoundM)
		w.Edge = edge(s)
	}
}

// dotOf places the station, its circle no smaller than can be seen.
func dotOf(s Square, bound status.Float) *dot {
	d := &dot{X: math.Round(1000*s.East) / 10, Y: math.Round(1000*(1-s.North)) / 10, RX: 5, RY: 5}
	if bound.OK {
		d.RX = math.Round(10*min(max(100*bound.V/s.WidthM, 5), 100)) / 10
		d.RY = math.Round(10*min(max(100*bound.V/s.HeightM, 5), 100)) / 10
	}
	return d
}

// edge says how far the nearest edge of the square is.
func edge(s Square) string {
	name, least := "", math.Inf(1)
	for _, e := range []struct {
		name string
		m    float64
	}{{"north", (1 - s.North) * s.HeightM}, {"east", (1 - s.East) * s.WidthM}, {"south", s.North * s.HeightM}, {"west", s.East * s.WidthM}} {
		if e.m < least {
			name, least = e.name, e.m
		}
	}
	return metres(math.Floor(least/10)*10) + " to the " + name + " edge"
}

// metres writes a length so that a number and its unit stay together.
func metres(m float64) string {
	if m >= 10_000 {
		return fmt.Sprintf("%.0f%skm", m/1000, nbsp)
	}
	return fmt.Sprintf("%.0f%sm", math.Ceil(m), nbsp)
}
