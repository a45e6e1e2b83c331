// Package track tells which locators a station passed through and when: dated
// places go in, in the order they were recorded, visits of locator cells come out.
//
// Between two fixes the station is taken to have gone straight (along the geodesic)
// and evenly, so that a border is crossed at a time and place of its own, to the
// millisecond, and cells passed on the way are listed too (but for those crossed in
// less than that). So little is guessed only while the fixes are close: over more
// than five minutes, or faster than 500 m/s, nothing is, and the record says that
// there is a gap.
//
// It is a value machine: no clock, no I/O; one goroutine at a time.
package track

import (
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/grid"
)

const (
	maxGap   = 5 * time.Minute
	maxSpeed = 500.0 // m/s; beyond it one of the two fixes is wrong
	finest   = time.Millisecond
)

// How a visit begins or ends.
const (
	Border = "border" // the station crossed into or out of the cell
	Fix    = "fix"    // the recording begins or ends
	Gap    = "gap"    // a gap in the recording comes before or after
)

// Visit is a stay in one cell. A gap within it, after which the station was in the
// same cell, does not end it.
type Visit struct {
	Cell        grid.Cell
	Entry, Exit Passage
	Fixes       int           // recorded in the cell; 0 if it was only crossed
	Unseen      time.Duration // gaps within the visit
}

// Passage is an instant and a place at which a visit begins or ends.
type Passage struct {
	At    timescale.UTC
	Point grid.Point
	By    string // Border, Fix or Gap
}

// Walk makes visits of fixes. Make one with New.
type Walk struct {
	length int
	visits []Visit
	last   Passage // the latest fix
	broken bool    // nothing is known between it and the next
}

// New returns a Walk through locators of length characters (2, 4, 6, 8 or 10).
func New(length int) *Walk { return &Walk{length: length} }

// Fix takes the next fix. It returns false for one that is not later than the fix
// before it; nothing becomes of that.
func (w *Walk) Fix(at timescale.UTC, p grid.Point) bool {
	next := Passage{at, p, Fix}
	switch {
	case len(w.visits) == 0:
		w.enter(next)
	case at <= w.last.At:
		return false
	case w.gapTo(next) && p.Cell(w.length) == w.open().Cell:
		w.open().Unseen += at.Sub(w.last.At)
	case w.gapTo(next):
		w.open().Exit = Passage{w.last.At, w.last.Point, Gap}
		w.enter(Passage{at, p, Gap})
	default:
		w.cross(w.last, next)
	}
	w.last, w.broken = next, false
	w.open().Fixes++
	w.open().Exit = next
	return true
}

// Break tells that the recording was interrupted after the latest fix.
func (w *Walk) Break() { w.broken = true }

// Visits are the visits until now, oldest first; the last one ends at the latest
// fix.
func (w *Walk) Visits() []Visit { return w.visits }

func (w *Walk) open() *Visit { return &w.visits[len(w.visits)-1] }

func (w *Walk) enter(p Passage) {
	w.visits = append(w.visits, Visit{Cell: p.Point.Cell(w.length), Entry: p, Exit: p})
}

func (w *Walk) gapTo(next Passage) bool {
	d := next.At.Sub(w.last.At)
	return w.broken || d > maxGap || grid.Inverse(w.last.Point, next.Point).DistanceM > maxSpeed*d.Seconds()+100
}

// cross finds the borders between a and b by halving. Cells are taken as convex:
// a line whose ends are in one cell lies within it.
func (w *Walk) cross(a, b Passage) {
	if a.Point.Cell(w.length) == b.Point.Cell(w.length) {
		return
	}
	d := b.At.Sub(a.At)
	mid := a
	if d > finest {
		mid = halfway(a, b)
	}
	if mid.Point == a.Point || mid.Point == b.Point || mid.At == a.At {
		w.open().Exit = Passage{b.At, b.Point, Border}
		w.enter(Passage{b.At, b.Point, Border})
		return
	}
	w.cross(a, mid)
	w.cross(mid, b)
}

func halfway(a, b Passage) Passage {
	l := grid.Inverse(a.Point, b.Point)
	p, err := grid.Direct(a.Point, l.HeadingDeg, l.DistanceM/2)
	if err != nil {
		return a // does not occur: the middle of two places is a place
	}
	return Passage{a.At.Add(b.At.Sub(a.At) / 2), p, Border}
}
