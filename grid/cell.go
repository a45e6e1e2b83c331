package grid

import "math"

// Cell is the area that a locator names: South ≤ latitude < North and
// West ≤ longitude < East, in degrees, each the float64 nearest to the exact
// border. The cells of the top row include the pole. Parse and Point.Cell make
// Cells; the zero Cell is none.
type Cell struct {
	South, West, North, East float64

	lat, lon int64 // south-west corner, units
	length   int   // characters
}

// newCell takes the south-west corner in smallest cells.
func newCell(x, y int64, length int) Cell {
	c := cornerOf(x, y, length)
	h, w := c.size()
	c.South, c.North = degrees(c.lat), degrees(c.lat+h)
	c.West, c.East = degrees(c.lon), degrees(c.lon+w)
	return c
}

// cornerOf is newCell without the borders in degrees, where nobody asks for them.
func cornerOf(x, y int64, length int) Cell {
	return Cell{lat: y*cellLat - maxLat, lon: x*cellLon - maxLon, length: length}
}

// size gives height and width in units.
func (c Cell) size() (h, w int64) {
	if c.length == 0 {
		return 0, 0
	}
	steps := levels[c.length/2-1].steps
	return steps * cellLat, steps * cellLon
}

// Cell is the cell of p's locator with n characters, as AppendLocator; for n
// below 2 the zero Cell.
func (p Point) Cell(n int) Cell {
	n = wholePairs(n)
	if n == 0 {
		return Cell{}
	}
	steps := levels[n/2-1].steps
	x := (p.lon + maxLon) / cellLon
	y := min((p.lat+maxLat)/cellLat, cellsPerTurn-1)
	return newCell(x-x%steps, y-y%steps, n)
}

// Locator is the cell's locator in the usual case: JN58td25xe.
func (c Cell) Locator() string { return Point{c.lat, c.lon}.Locator(c.length) }

// Center is the middle of the cell, which is what a locator is taken to mean:
// JN58 is 48.5, 11.
func (c Cell) Center() Point {
	h, w := c.size()
	return Point{c.lat + h/2, c.lon + w/2}
}

// Contains reports whether p lies in the cell, by exact arithmetic.
func (c Cell) Contains(p Point) bool {
	h, w := c.size()
	top := c.lat + h
	return p.lat >= c.lat && (p.lat < top || p.lat == maxLat && top == maxLat) &&
		p.lon >= c.lon && p.lon < c.lon+w
}

// Size gives the cell's height and its width along its middle parallel, in
// metres on WGS 84.
func (c Cell) Size() (heightM, widthM float64) {
	h, w := c.size()
	mid := degrees(c.lat + h/2)
	_, width := metresPerDegree(mid)
	return meridian(degrees(c.lat+h)) - meridian(degrees(c.lat)), width * degrees(w)
}

// LocatorLength is how many characters (10, 8, 6, 4, 2, or 0 for none) a fix at
// latitude latDeg supports whose 95 % error is accuracyM metres: the largest
// cell count whose cell, in its smaller dimension, is at least as large as the
// error circle is across. So 8 m supports 10 characters up to 65° of latitude
// (19.2 m high, 16 m wide there). An accuracy that is negative, NaN or infinite
// is not known, and supports none; so does a latitude beyond ±90.
//
// The rule is ours; no published one was found.
func LocatorLength(accuracyM, latDeg float64) int {
	if !(accuracyM >= 0) || !(math.Abs(latDeg) <= 90) {
		return 0
	}
	perLat, perLon := metresPerDegree(latDeg)
	for n := maxLocator; n > 0; n -= 2 {
		steps := levels[n/2-1].steps
		h := degrees(steps*cellLat) * perLat
		w := degrees(steps*cellLon) * perLon
		if min(h, w) >= 2*accuracyM {
			return n
		}
	}
	return 0
}
