package grid

import "math"

// End is one end of a line: a place, and the area that it may truly lie in. EndOf, Cell's
// and Place's End make Ends; who measures many lines from one place keeps its End.
type End struct {
	p        Point
	lat, lon float64 // degrees
	reachM   float64 // the farthest point of the area, metres; 0 = exact
	shape    shape
	// Of a box: half its sides, metres, and how far its up is turned east of north.
	halfN, halfE float64
	turned       float64 // radians
	cell         Cell
	pole         float64 // arc to the nearer pole, radians
	tanLat       float64
}

type shape byte

const (
	exact     shape = iota
	circle          // all round the place
	cellBox         // a locator's cell
	turnedBox       // an MGRS square
)

// The Earth's radii of curvature, metres, are within these (WGS 84: 6335 to 6400 km).
const smallestRadius, largestRadius, meanRadius = 6_335_000.0, 6_400_000.0, 6_371_000.0

// EndOf is an end at p that may truly be reachM metres away in any direction; 0 is exact.
func EndOf(p Point, reachM float64) End {
	e := End{p: p, reachM: reachM}
	e.lat, e.lon = p.LatLon()
	if reachM > 0 {
		e.shape, e.halfN, e.halfE = circle, reachM, reachM
		e.locate()
	}
	return e
}

// End is the cell's centre and the cell.
func (c Cell) End() End {
	e := End{p: c.Center(), reachM: c.Reach(), shape: cellBox, cell: c}
	e.lat, e.lon = e.p.LatLon()
	e.locate()
	e.halfN, e.halfE = c.halfSides()
	// Of a parallel w long to each side of a meridian the ends lie off the great circle.
	e.halfN += e.halfE * e.halfE * math.Abs(e.tanLat) / (2 * smallestRadius)
	return e
}

// End is the place and the area that its text names.
func (p *Place) End() End {
	switch {
	case p.cell.length != 0:
		return p.cell.End()
	case p.sideM == 0:
		return EndOf(p.Point, p.ReachM)
	}
	e := EndOf(p.Point, p.ReachM)
	e.shape = turnedBox
	e.halfN = p.sideM / 2 / utmScale
	e.halfE = e.halfN
	// Grid north is this far east of true north (spherical, to 0.001 degree).
	sin, _ := math.Sincos(e.lat * (math.Pi / 180))
	e.turned = math.Atan(math.Tan(p.fromMiddle*(math.Pi/180)) * sin)
	return e
}

// locate fills in what the latitude tells.
func (e *End) locate() {
	lat := float64(e.p.lat) * radian
	e.pole = math.Pi/2 - math.Abs(lat)
	e.tanLat = math.Tan(lat)
}

const radian = math.Pi / 180 / unitsPerDegree // of a unit

// The longest degrees of WGS 84, metres a unit: of latitude at the pole; of longitude
// 111,320 m at the equator, times the cosine of the latitude and up to 0.34 % more.
const mPerUnitLat, mPerUnitLon = degreeM / unitsPerDegree, 1.0034 * 111_320 / unitsPerDegree

// halfSides are half the cell's height and half its width where it is widest, metres, up
// to a hundredth too much.
func (c Cell) halfSides() (north, east float64) {
	h, w := c.size()
	widest := c.lat
	if c.lat < 0 {
		widest += h // the equator is a border: no cell lies on both sides
	}
	x2 := float64(widest) * float64(widest) * (radian * radian)
	cos := 1 - x2/2 + x2*x2/24 // its series, cut where it is above: quicker
	return mPerUnitLat * float64(h) / 2, mPerUnitLon * float64(w) * cos / 2
}

// Reach is how far a point of the cell can be from its centre, metres: its half
// diagonal, taken where the cell is widest, so up to a hundredth too much.
func (c Cell) Reach() float64 {
	north, east := c.halfSides()
	return math.Sqrt(north*north + east*east)
}
