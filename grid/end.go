package grid

import "math"

// End is one end of a line: a place, and the area that it may truly lie in. EndOf, Cell's
// and Place's End make Ends; who measures many lines from one place keeps its End.
type End struct {
	p        Point
	lat, lon float64 // degrees
	reachM   float64 // the farthest point of the area, metres; 0 = exact
	shape    shape
	pairs    int8 // of a cell's locator
	// Of a box: half its sides, metres, and how far its up is turned east of north.
	halfN, halfE   float64
	turned         float64 // radians
	tanLat         float64
	sinLat, cosLat float64
	// Of a cell: half its sides, radians; and half its width in the middle, metres.
	halfLat, halfLon, midE float64
}

type shape byte

const (
	exact     shape = iota
	circle          // all round the place
	cellBox         // a locator's cell
	turnedBox       // an MGRS square
)

// The Earth's radii of curvature, metres, are within these (WGS 84: 6335 to 6400 km).
const smallestRadius, meanRadius = 6_335_000.0, 6_371_000.0

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
	north, east := c.halfSides()
	var e End
	e.setCell(c.Center(), c.length/2, north, east)
	return e
}

// ParseEnd is ParsePlace and End for long lists: e becomes the place that the text names and
// its area; the note is the Place's.
func ParseEnd(text string, e *End) (note string, err error) {
	*e = End{}
	if p, ok := plainPair(text); ok {
		e.p = p
		e.lat, e.lon = p.LatLon()
		return "", nil
	}
	if startsLikeLocator(text) {
		if x, y, err := parseSteps(text); err == nil {
			c := cornerOf(x, y, len(text))
			north, east := c.halfSides()
			e.setCell(c.Center(), c.length/2, north, east)
			return "", nil
		}
	}
	p, err := ParsePlace(text)
	if err != nil {
		return "", err
	}
	*e = p.End()
	return p.Note, nil
}

// setCell fills in a zero End.
func (e *End) setCell(center Point, pairs int, halfN, halfE float64) {
	e.p, e.shape, e.pairs = center, cellBox, int8(pairs)
	e.halfN, e.halfE, e.reachM = halfN, halfE, math.Sqrt(halfN*halfN+halfE*halfE)
	e.lat, e.lon = e.p.LatLon()
	e.locate()
	high, wide := Cell{length: 2 * pairs}.size()
	e.halfLat, e.halfLon = float64(high/2)*radian, float64(wide/2)*radian
	x := wgsE2 * e.sinLat * e.sinLat
	e.midE = e.halfLon * e.cosLat * wgsA * (1 + x*(0.5+x*0.375)) // 1/√(1−x), to 1e-7
}

// box gives a cell's south-west corner and its size, units.
func (e *End) box() (corner Point, high, wide int64) {
	high, wide = Cell{length: 2 * int(e.pairs)}.size()
	return Point{e.p.lat - high/2, e.p.lon - wide/2}, high, wide
}

// End is the place and the area that its text names.
func (p *Place) End() End {
	switch {
	case p.pairs != 0:
		var e End
		e.setCell(p.Point, p.pairs, p.halfN, p.halfE)
		return e
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
	sin, cos := sincos(math.Abs(e.lat))
	e.sinLat, e.cosLat = math.Copysign(sin, e.lat), max(cos, 1e-9)
	e.tanLat = e.sinLat / e.cosLat
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

// sincos of an angle of −45 degrees or more is right to 4e-6, which is enough for bounds,
// and quicker than the library's: the angle is brought to 45 at most.
func sincos(deg float64) (sin, cos float64) {
	quarter := int(deg*(1.0/90) + 0.5)
	x := (deg - 90*float64(quarter)) * (math.Pi / 180)
	x2 := x * x
	sin = x * (1 - x2*(1.0/6-x2*(1.0/120-x2*(1.0/5040))))
	cos = 1 - x2*(1.0/2-x2*(1.0/24-x2*(1.0/720)))
	switch quarter & 3 {
	case 1:
		return cos, -sin
	case 2:
		return -sin, -cos
	case 3:
		return -cos, sin
	}
	return sin, cos
}
