package grid

import "math"

// How far an answer can be wrong because a locator names an area and not a place. The
// limits hold for every point of the areas, not for most of them.
//
//   - Areas that are small beside the line and beside what is left to the antipode: the
//     rates at which the line changes, held between limits over all of both areas (enclose.go).
//   - Others whose lines stay below 174 degrees of arc: all corners of their outlines are
//     joined, and what lies between corners is allowed for (outline.go).
//   - Toward the antipodes the triangle inequality remains for the distance. Any heading
//     can be right: one area holds, or all but holds, places opposite to the other's.

// Bound is the ± of a Line, from the areas that its ends may lie in.
type Bound struct {
	DistanceM      float64
	HeadingDeg     float64 // 180: any direction
	BackHeadingDeg float64
}

const (
	tight  = 1.06                  // of the first order: an enclosure so near to it needs no outline,
	fair   = 1.3                   // nor one so near where only the flattening is in the way
	loose  = 1.6                   // and so near to it is an answer where outlines give none
	farArc = 174 * math.Pi / 180   // beyond lie the antipodes
	soFar  = farArc * (1 - 2*wgsF) // the same of a distance over the semi-major axis, the ellipsoid allowed for
	any180 = 180                   // degrees: any direction
)

// Between gives the shortest line from a to b, as Inverse, and its ±; the headings of the
// long path have the same. From a place to itself, and to its antipode, any heading is as good.
func Between(a, b End) (Line, Bound) { return a.To(&b) }

// To is Between for long lists.
func (a *End) To(b *End) (Line, Bound) {
	l := inverse(a.lat, a.lon, b.lat, b.lon)
	return l, l.between(a, b)
}

func (l *Line) between(a, b *End) Bound {
	reach := a.reachM + b.reachM
	if reach == 0 {
		if l.DistanceM > 0 && !antipodal(a.p, b.p) {
			return Bound{}
		}
		return Bound{0, any180, any180}
	}
	bound, excess := l.enclosed(a, b)
	if excess <= tight || excess <= fair && reach < l.DistanceM/100 {
		return bound
	}
	if (l.DistanceM+reach)*(1/wgsA) < soFar {
		o := l.outlineBound(a, b)
		if math.IsInf(excess, 1) {
			return o
		}
		return Bound{min(bound.DistanceM, o.DistanceM), min(bound.HeadingDeg, o.HeadingDeg), min(bound.BackHeadingDeg, o.BackHeadingDeg)}
	}
	if excess <= loose {
		return bound
	}
	return Bound{reach, any180, any180}
}

func antipodal(a, b Point) bool {
	return a.lat == -b.lat && (abs(a.lon-b.lon) == maxLon || abs(a.lat) == maxLat)
}
