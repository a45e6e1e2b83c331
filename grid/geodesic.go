package grid

import (
	"math"

	"github.com/tidwall/geodesic"
)

// Line is a geodesic on WGS 84 from one place to another. Headings are degrees
// east of true north in [0, 360).
type Line struct {
	DistanceM      float64 // metres along the line
	HeadingDeg     float64 // at the start, toward the end
	BackHeadingDeg float64 // at the end, toward the start
}

// Inverse gives the shortest line from a to b (C. F. F. Karney's method, right
// to the millimetre also between nearly antipodal places). Where several lines
// are shortest, as between antipodes, it is one of them; from a place to itself
// the distance is 0 and the headings mean nothing.
func Inverse(a, b Point) Line {
	lat1, lon1 := a.LatLon() // a Point is always in range, so no NaN comes back
	lat2, lon2 := b.LatLon()
	return inverse(lat1, lon1, lat2, lon2)
}

func inverse(lat1, lon1, lat2, lon2 float64) Line {
	var s, azi1, azi2 float64
	geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2, &s, &azi1, &azi2)
	return Line{s, heading(azi1), heading(azi2 + 180)}
}

// Direct gives the place that lies distanceM metres from a along the geodesic that
// starts toward headingDeg.
func Direct(a Point, headingDeg, distanceM float64) (Point, error) {
	lat, lon := a.LatLon()
	geodesic.WGS84.Direct(lat, lon, headingDeg, distanceM, &lat, &lon, nil)
	return Degrees(lat, lon)
}

// LongPath gives the way from a to b with the aerial turned round: the short
// line's geodesic followed backwards round the Earth to where it passes closest
// to b. The Earth being flattened, a geodesic does not quite meet itself after
// a turn: it passes b at up to about 70 km to the side, a small part of any
// beam's width, and the heading back is that of this line there. From a place to itself
// it is once round by the poles.
func LongPath(a, b Point) Line {
	short := Inverse(a, b)
	lat1, lon1 := a.LatLon()
	lat2, lon2 := b.LatLon()
	long := Line{
		DistanceM:  meridianTurn - short.DistanceM,
		HeadingDeg: heading(short.HeadingDeg + 180),
	}
	for range 4 { // the first step covers up to 70 km; the last leaves nothing
		var lat, lon, azi, miss, toB float64
		geodesic.WGS84.Direct(lat1, lon1, long.HeadingDeg, long.DistanceM, &lat, &lon, &azi)
		geodesic.WGS84.Inverse(lat, lon, lat2, lon2, &miss, &toB, nil)
		long.DistanceM += miss * math.Cos((toB-azi)*math.Pi/180)
		long.BackHeadingDeg = heading(azi + 180)
	}
	return long
}

// heading brings an azimuth from −180 to below 720 into [0, 360).
func heading(azi float64) float64 {
	if azi < 0 {
		azi += 360
	}
	if azi >= 360 { // also a tiny negative one, rounded
		azi -= 360
	}
	return azi + 0 // no −0
}
