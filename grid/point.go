// Package grid turns a position into what radio operators exchange and back:
// Maidenhead locators, degrees, UTM and MGRS, geo URIs; and it measures the
// line from one place to another. It is pure: values in, values out, no state,
// safe from any goroutine. All positions are WGS 84.
//
// Positions are whole numbers of 1/18,000,000,000 degree (6 µm on the ground).
// In that unit 1e-9 degree (18), 1e-7 arc minute (30), 1e-6 arc second (5) and
// the borders of every locator cell up to 10 characters are whole numbers, so
// a position beside a border always falls on its true side.
package grid

import (
	"fmt"
	"math"
)

// Units of the integer angle.
const (
	unitsPerDegree = 18_000_000_000
	unitsPerE9     = unitsPerDegree / 1_000_000_000     // 1e-9 degree
	unitsPerMinE7  = unitsPerDegree / (60 * 10_000_000) // 1e-7 arc minute
	maxLat         = 90 * unitsPerDegree
	maxLon         = 180 * unitsPerDegree
)

// Point is a position on WGS 84, exact to 1/18e9 degree. Longitude +180 and
// −180 are the same meridian and are held as −180, so Points compare with ==
// (but at a pole each longitude is a Point of its own). The zero Point is
// latitude 0, longitude 0: hold "no position" elsewhere.
type Point struct {
	lat, lon int64 // units; lat −90…+90 degrees, lon −180…<180 degrees
}

// Degrees makes a Point of decimal degrees, north and east positive, rounded
// to 1e-9 degree (0.1 mm). It refuses NaN, infinities, latitudes outside ±90
// and longitudes outside ±180.
func Degrees(lat, lon float64) (Point, error) {
	if !(math.Abs(lat) <= 90) { // also true of NaN
		return Point{}, fmt.Errorf("grid: latitude %v is not within ±90 degrees", lat)
	}
	if !(math.Abs(lon) <= 180) {
		return Point{}, fmt.Errorf("grid: longitude %v is not within ±180 degrees", lon)
	}
	return newPoint(int64(math.Round(lat*1e9))*unitsPerE9, int64(math.Round(lon*1e9))*unitsPerE9), nil
}

// Minutes makes a Point of whole 1e-7 arc minutes, north and east positive:
// exactly what a receiver's ddmm.mmmmmmm says (ddmm and dddmm: 60 times the
// degrees plus the minutes, times 1e7). It refuses latitudes outside ±90 and
// longitudes outside ±180 degrees.
func Minutes(latE7, lonE7 int64) (Point, error) {
	const quarter = maxLat / unitsPerMinE7
	if latE7 < -quarter || latE7 > quarter {
		return Point{}, fmt.Errorf("grid: latitude %de-7 minutes is not within ±90 degrees", latE7)
	}
	if lonE7 < -2*quarter || lonE7 > 2*quarter {
		return Point{}, fmt.Errorf("grid: longitude %de-7 minutes is not within ±180 degrees", lonE7)
	}
	return newPoint(latE7*unitsPerMinE7, lonE7*unitsPerMinE7), nil
}

// newPoint puts +180 on −180; its arguments are within range.
func newPoint(lat, lon int64) Point {
	if lon == maxLon {
		lon = -maxLon
	}
	return Point{lat, lon}
}

// LatLon gives the position in decimal degrees, north and east positive, each
// the float64 nearest to the exact value; longitude is in [−180, 180).
func (p Point) LatLon() (latDeg, lonDeg float64) {
	return degrees(p.lat), degrees(p.lon)
}

// degrees is correctly rounded: both operands are exact in float64.
func degrees(units int64) float64 { return float64(units) / unitsPerDegree }
