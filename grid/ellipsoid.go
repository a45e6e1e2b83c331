package grid

import "math"

// WGS 84: semi-major axis in metres and flattening (NGA.STND.0036).
const (
	wgsA         = 6378137.0
	wgsF         = 1 / 298.257223563
	wgsN         = wgsF / (2 - wgsF) // third flattening
	meridianTurn = 40_007_862.917    // once round by the poles, metres (four quarter meridians)
	wgsE2        = wgsF * (2 - wgsF) // first eccentricity squared
)

// metresPerDegree gives the length of a degree of latitude and of longitude at
// a latitude, from the two radii of curvature.
func metresPerDegree(latDeg float64) (lat, lon float64) {
	sin, cos := math.Sincos(latDeg * math.Pi / 180)
	w := 1 - wgsE2*sin*sin
	lat = math.Pi / 180 * wgsA * (1 - wgsE2) / (w * math.Sqrt(w))
	lon = math.Pi / 180 * wgsA * max(cos, 0) / math.Sqrt(w)
	return lat, lon
}

// meridian is the distance from the equator along a meridian, metres: the
// transverse Mercator northing on the central meridian without its scale.
func meridian(latDeg float64) float64 {
	_, n := project(latDeg, 0)
	return n
}
