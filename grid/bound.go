package grid

import "math"

// How far an answer can be wrong because a locator names an area and not a place.
// The limits hold for every point of the areas, not for most of them: the triangle
// inequality for distances, and for headings spherical trigonometry (the sine rule)
// with an allowance for the flattening of the Earth.

// Reach is how far a point of the cell can be from its centre, metres: its half
// diagonal, taken where the cell is widest and by the longest degrees of WGS 84
// (of latitude at the pole; of longitude 111,320 m at the equator, times the cosine
// of the latitude and up to 0.34 % more), so up to a hundredth too much.
func (c Cell) Reach() float64 {
	h, w := c.size()
	widest := c.lat
	if c.lat < 0 {
		widest += h // the equator is a border: no cell lies on both sides
	}
	const mPerUnitLat, mPerUnitLon = 111_694.0 / unitsPerDegree, 1.0034 * 111_320 / unitsPerDegree
	height := mPerUnitLat * float64(h)
	x2 := float64(widest) * float64(widest) * (radian * radian)
	cos := 1 - x2/2 + x2*x2/24 // its series, cut where it is above: quicker, as below
	width := mPerUnitLon * float64(w) * cos
	return math.Sqrt(height*height+width*width) / 2
}

const radian = math.Pi / 180 / unitsPerDegree // of a unit

// Bound is the ± of a Line, from the areas that its ends may lie in.
type Bound struct {
	DistanceM      float64
	HeadingDeg     float64 // 180: any direction
	BackHeadingDeg float64
}

// End is one end of a line: a place, and how well it is known. EndOf makes Ends;
// whoever measures many lines from one place keeps its End.
type End struct {
	p        Point
	lat, lon float64
	reachM   float64
	turn     float64 // how far north can turn within reach, radians
}

// The Earth's radii of curvature, metres, are within these (WGS 84: 6335 to 6400 km).
const smallestRadius, largestRadius = 6_335_000.0, 6_400_000.0

// EndOf is an end at p that may truly be reachM metres away, as Place says it; 0 is
// exact.
func EndOf(p Point, reachM float64) End {
	e := End{p: p, reachM: reachM}
	e.lat, e.lon = p.LatLon()
	if reachM == 0 {
		return e
	}
	r := reachM / smallestRadius
	pole := math.Pi/2 - math.Abs(float64(p.lat))*radian
	if 8*r < pole {
		y := pole - r
		e.turn = r * (1/y - y/3) // the series of the cotangent, cut where it is above
	} else {
		e.turn = width(r, pole)
	}
	return e
}

// Between gives the shortest line from a to b, as Inverse, and its ±; the headings
// of the long path have the same.
func Between(a, b End) (Line, Bound) {
	l := inverse(a.lat, a.lon, b.lat, b.lon)
	reach := a.reachM + b.reachM
	if reach == 0 {
		return l, Bound{}
	}
	// Of the arcs that the line may be of, that with the smaller sine counts.
	arc := l.DistanceM / largestRadius
	if arc > math.Pi/2 {
		arc = l.DistanceM / smallestRadius
	}
	seen, r := math.Pi, reach/smallestRadius
	if arc+r < math.Pi { // else it may as well run the other way round
		seen = width(r, arc)
	}
	const degree = 180 / math.Pi
	return l, Bound{reach, min(180, (seen+a.turn)*degree), min(180, (seen+b.turn)*degree)}
}

// width is half the angle under which a circle of radius r is seen from the
// distance d of its centre, all in radians of arc; π from within.
func width(r, d float64) float64 {
	if r >= d || r >= math.Pi-d {
		return math.Pi
	}
	x := min(d, math.Pi-d)
	sin := r * (1/x + x/6 + 0.0262*x*x*x) // above r/sin d: the series' next term is 0.0194 x³, and they are equal at 90°
	if sin < 0.2 {
		return sin + 0.18*sin*sin*sin // above the arc sine
	}
	if sin = math.Sin(r) / math.Sin(d); sin >= 1 {
		return math.Pi
	}
	return math.Asin(sin)
}
