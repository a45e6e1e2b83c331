package grid

import "math"

// Areas that are not small beside the line between them: the corners of their outlines are
// joined (auxiliary.go). The outlines are polygons of shortest lines around the areas. From a
// fixed place the direction to a point that moves along a side only ever turns one way, so that it
// is extreme at corners. The heading at a point that moves, toward a fixed place, is on the sphere
// the imaginary part of an analytic function, so that it is extreme on the outline; on the
// ellipsoid but for a part of the flattening times the area's square. There it may be so between
// two corners: if it grows from both toward each other, it stays below both tangents.
// The distance is a convex function up to 90 degrees; beyond it is a concave one.

// outline is the polygon around an area; an exact place is one corner without sides.
type outline struct {
	corners [maxCorners]corner
	n       int
	longest float64 // side, radians
}

const maxCorners = 16

func (o *outline) add(latRad, lonRad float64) {
	o.corners[o.n] = cornerAt(latRad, lonRad)
	o.n++
}

func (e *End) outline(o *outline) {
	lat, lon := float64(e.p.lat)*radian, float64(e.p.lon)*radian
	switch e.shape {
	case cellBox:
		e.outlineOfCell(o)
	case turnedBox:
		sin, cos := math.Sincos(e.turned)
		half := e.halfN / smallestRadius
		for _, c := range [8][2]float64{{1, 1}, {1, 0}, {1, -1}, {0, -1}, {-1, -1}, {-1, 0}, {-1, 1}, {0, 1}} {
			o.add(moved(lat, lon, half*(c[0]*cos-c[1]*sin), half*(c[0]*sin+c[1]*cos)))
		}
	case circle:
		r := math.Tan(min(e.reachM/smallestRadius, 1.5)) / math.Cos(math.Pi/maxCorners) // tangents
		for i := range maxCorners {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / maxCorners)
			o.add(moved(lat, lon, r*cos, r*sin))
		}
	default:
		o.add(lat, lon)
		return
	}
	for i := range o.n {
		c, d := &o.corners[i], &o.corners[(i+1)%o.n]
		a := c.arcTo(d, 1)
		if a.sin > 0 {
			c.next, d.before = way{a.n / a.sin, a.e / a.sin, a.sigma}, way{a.backN / a.sin, a.backE / a.sin, a.sigma}
		}
		o.longest = max(o.longest, a.sigma)
	}
}

// outlineOfCell goes round from the south-west. Shortest lines between points of a parallel lie
// poleward of it, so the border toward the equator is moved by as much:
// by δ² sin φ cos φ / 2 for points 2 δ apart.
func (e *End) outlineOfCell(o *outline) {
	south, north := float64(e.p.lat)*radian-e.halfLat, float64(e.p.lat)*radian+e.halfLat
	lon := float64(e.p.lon) * radian
	parts := 2 // of a side
	if e.pairs == 1 {
		parts = 4
	}
	apart := e.halfLon / float64(parts)
	bow := func(lat float64) float64 { return 1.02 * apart * apart / 2 * math.Sin(lat) * math.Cos(lat) }
	if e.p.lat > 0 {
		south -= bow(south)
	} else {
		north -= bow(north)
	}
	high, wide := (north-south)/float64(parts), 2*apart
	for i := range parts {
		o.add(south, lon-e.halfLon+wide*float64(i))
	}
	for i := range parts {
		o.add(south+high*float64(i), lon+e.halfLon)
	}
	for i := range parts {
		o.add(north, lon+e.halfLon-wide*float64(i))
	}
	for i := range parts {
		o.add(north-high*float64(i), lon-e.halfLon)
	}
}

// moved is the place n north and e east, on the plane that touches the sphere there; radians.
func moved(lat, lon, n, e float64) (float64, float64) {
	sLat, cLat := math.Sincos(lat)
	sLon, cLon := math.Sincos(lon)
	up := [3]float64{cLat*cLon - n*sLat*cLon - e*sLon, cLat*sLon - n*sLat*sLon + e*cLon, sLat + n*cLat}
	return math.Atan2(up[2], math.Hypot(up[0], up[1])), math.Atan2(up[1], up[0])
}

// overlaps reports whether a and b may have a point in common.
func (a *End) overlaps(b *End, distanceM float64) bool {
	if a.shape != cellBox || b.shape != cellBox {
		return a.reachM+b.reachM >= distanceM
	}
	p, highA, wideA := a.box()
	q, highB, wideB := b.box()
	if p.lat > q.lat+highB || q.lat > p.lat+highA {
		return false
	}
	if (p.lat+highA == maxLat && q.lat+highB == maxLat) || p.lat == -maxLat && q.lat == -maxLat {
		return true // at the pole
	}
	apart := (q.lon - p.lon + 2*maxLon) % (2 * maxLon) // of the western borders, eastward
	return apart <= wideA || 2*maxLon-apart <= wideB
}
