package standing

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/grid"
)

// stayFor is how long a place must lie in another square, or support a longer
// locator, before it is named so.
const stayFor = time.Minute

// Square chooses the locator square to name, and does not change its mind at each
// breath of the fixes beside a border. The zero Square has named none.
type Square struct {
	cell    grid.Cell
	length  int
	waiting bool // for stayFor, to name another
	since   timescale.Local
}

// Choose gives the square for the place e at an instant, with at most the given
// number of characters and never more than the place supports, and how far outside
// of it the place may lie, m: at most Slack. It is the zero Cell if the place
// supports no locator.
//
// Poorer fixes shorten the locator at once. Otherwise the square named stays until
// the place is clearly outside, by more than Slack, or has stayed in another for a
// minute, or moves.
func (s *Square) Choose(e Estimate, at timescale.Local, most int) grid.Cell {
	lat, _ := e.Point.LatLon()
	n := min(grid.LocatorLength(Radius95(e.SigmaNorthM, e.SigmaEastM), lat), most) &^ 1
	want := e.Point.Cell(n)
	if s.length == 0 || n == 0 || e.Moving {
		return s.name(want, n)
	}
	if n < s.length {
		s.cell, s.length = s.cell.Center().Cell(n), n // what was named, shorter
	}
	inside := s.cell.Contains(e.Point)
	if inside && n == s.length {
		s.waiting = false
		return s.cell
	}
	if !inside && Outside(s.cell, e.Point) > Slack(e) {
		return s.name(want, n)
	}
	if !s.waiting {
		s.waiting, s.since = true, at
	}
	if at.Sub(s.since) >= stayFor {
		return s.name(want, n)
	}
	return s.cell
}

func (s *Square) name(c grid.Cell, n int) grid.Cell {
	s.cell, s.length, s.waiting = c, n, false
	return c
}

// Slack is how far outside of the named square a place may lie, m.
func Slack(e Estimate) float64 { return Radius95(e.SigmaNorthM, e.SigmaEastM) }

// Outside is how far p lies outside of c, m; 0 inside, and on its border. It is
// meant for places near the square.
func Outside(c grid.Cell, p grid.Point) float64 {
	south, north, west, east := edges(c, p)
	return math.Hypot(max(-south, -north, 0), max(-west, -east, 0))
}

// Edge is the distance from p to the nearest edge of c, m; 0 outside.
func Edge(c grid.Cell, p grid.Point) float64 {
	south, north, west, east := edges(c, p)
	return max(0, min(south, north, west, east))
}

// edges are the distances of p from the edges of c, inward positive, m: along the
// meridian and the parallel, which is exact enough within 20° × 10°.
func edges(c grid.Cell, p grid.Point) (south, north, west, east float64) {
	lat, lon := p.LatLon()
	h, w := c.Size()
	perLat, perLon := h/(c.North-c.South), w/(c.East-c.West)
	lon = c.West + math.Mod(lon-c.West+540, 360) - 180 // across the antimeridian
	return (lat - c.South) * perLat, (c.North - lat) * perLat, (lon - c.West) * perLon, (c.East - lon) * perLon
}
