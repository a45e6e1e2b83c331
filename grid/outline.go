package grid

import "math"

// Areas that are not small beside the line between them: points all along their outlines
// are joined on a sphere. How lines between the outlines differ from the line between the
// middles is on the ellipsoid the same within so much (TestBoundIsJust samples it):

const (
	distanceSlack = 1.014 // the radii of curvature differ from the mean by up to 0.6 %, and azimuths by 0.2 degrees
	sphereSlack   = 1.01  // of turns
	circleSides   = 16    // as many points as an outline has at most
)

type vector [3]float64

func (a vector) dot(b vector) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// spot is a point of the sphere with its directions east and north.
type spot struct{ up, east, north vector }

func spotAt(latRad, lonRad float64) spot {
	sLat, cLat := math.Sincos(latRad)
	sLon, cLon := math.Sincos(lonRad)
	return spot{vector{cLat * cLon, cLat * sLon, sLat}, vector{-sLon, cLon, 0}, vector{-sLat * cLon, -sLat * sLon, cLat}}
}

// moved is the spot n north and e east of s, radians.
func (s *spot) moved(n, e float64) spot {
	var up vector
	for i := range up {
		up[i] = s.up[i] + n*s.north[i] + e*s.east[i]
	}
	return spotAt(math.Atan2(up[2], math.Hypot(up[0], up[1])), math.Atan2(up[1], up[0]))
}

// outline gives points around the area, none of it outside of their polygon but by the
// curvature of a side; of an exact place the place.
func (e *End) outline(into []spot) []spot {
	middle := e.middle()
	switch e.shape {
	case cellBox:
		corner, high, wide := e.box()
		parts := int64(2) // of a side
		if e.pairs == 1 { // a parallel of 20 degrees curves
			parts = 4
		}
		for i := range parts + 1 {
			for j := range parts + 1 {
				if i%parts == 0 || j%parts == 0 {
					into = append(into, spotAt(float64(corner.lat+high*i/parts)*radian, float64(corner.lon+wide*j/parts)*radian))
				}
			}
		}
	case turnedBox:
		sin, cos := math.Sincos(e.turned)
		half := e.halfN / smallestRadius
		for _, c := range [8][2]float64{{1, 1}, {1, 0}, {1, -1}, {0, -1}, {-1, -1}, {-1, 0}, {-1, 1}, {0, 1}} {
			into = append(into, middle.moved(half*(c[0]*cos-c[1]*sin), half*(c[0]*sin+c[1]*cos)))
		}
	case circle:
		r := math.Tan(min(e.reachM/smallestRadius, 1.5)) / math.Cos(math.Pi/circleSides) // tangents
		for i := range circleSides {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / circleSides)
			into = append(into, middle.moved(r*cos, r*sin))
		}
	default:
		into = append(into, middle)
	}
	return into
}

func (e *End) middle() spot { return spotAt(float64(e.p.lat)*radian, float64(e.p.lon)*radian) }

// outlineBound is the bound of a line of distanceM between the middles of a and b.
func outlineBound(a, b *End, distanceM float64) Bound {
	var roomA, roomB [circleSides]spot
	as, bs := a.outline(roomA[:0]), b.outline(roomB[:0])
	ma, mb := a.middle(), b.middle()
	away, back := ma.toward(&mb), mb.toward(&ma)
	nearest, farthest := math.Inf(1), 0.0 // squares of chords
	var turnA, turnB float64
	for i := range as {
		for j := range bs {
			d := vector{as[i].up[0] - bs[j].up[0], as[i].up[1] - bs[j].up[1], as[i].up[2] - bs[j].up[2]}
			c := d.dot(d)
			nearest, farthest = min(nearest, c), max(farthest, c)
			turnA = max(turnA, away.turnTo(as[i].toward(&bs[j])))
			turnB = max(turnB, back.turnTo(bs[j].toward(&as[i])))
		}
	}
	d := vector{ma.up[0] - mb.up[0], ma.up[1] - mb.up[1], ma.up[2] - mb.up[2]}
	middle := arcOf(d.dot(d))
	bound := Bound{DistanceM: min(a.reachM+b.reachM, sphereSlack*meanRadius*max(arcOf(farthest)-middle, middle-arcOf(nearest)))}
	if a.overlaps(b, distanceM) {
		bound.DistanceM = max(bound.DistanceM, min(distanceM, a.reachM+b.reachM))
		bound.HeadingDeg, bound.BackHeadingDeg = 180, 180
		return bound
	}
	arc := distanceM/meanRadius + (a.reachM+b.reachM)/smallestRadius
	slack := sphereSlack + wgsF*arc/math.Sin(arc)     // more toward the antipodes
	more := wgsF * (a.reachM + b.reachM) / meanRadius // an ellipsoid's azimuths differ from a sphere's by up to wgsF
	bound.HeadingDeg, bound.BackHeadingDeg = a.headingBound(slack*turnOf(turnA)+more), b.headingBound(slack*turnOf(turnB)+more)
	return bound
}

func (e *End) headingBound(rad float64) float64 {
	if e.shape == circle && e.reachM >= smallestRadius*e.pole {
		return 180 // the pole lies in it: there all directions are one
	}
	return min(180, rad*(180/math.Pi))
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

// arcOf is the arc of a chord's square.
func arcOf(chord2 float64) float64 { return 2 * math.Asin(min(1, math.Sqrt(chord2)/2)) }

// direction is one north and one east part of a vector.
type direction struct{ n, e float64 }

func (s *spot) toward(t *spot) direction { return direction{s.north.dot(t.up), s.east.dot(t.up)} }

// turnTo is how far it is from d to e: rising from 0 to 4 with the angle.
func (d direction) turnTo(e direction) float64 {
	along, across := d.n*e.n+d.e*e.e, math.Abs(d.n*e.e-d.e*e.n)
	switch {
	case along >= across:
		if along == 0 {
			return 0
		}
		return across / along
	case along >= -across:
		return 2 - along/across
	}
	return 4 + across/along
}

// turnOf is the angle of what turnTo gives, radians.
func turnOf(pseudo float64) float64 {
	switch {
	case pseudo <= 1:
		return math.Atan(pseudo)
	case pseudo <= 3:
		return math.Pi/2 - math.Atan(2-pseudo)
	}
	return math.Pi + math.Atan(pseudo-4)
}
