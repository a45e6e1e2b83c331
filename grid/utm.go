package grid

import (
	"fmt"
	"math"
)

// UTM and MGRS as in NGA.SIG.0012 (2014): zones of 6° numbered eastward from
// 180° W, latitude bands of 8° lettered from 80° S (the last one 12°), with the
// exceptions around Norway (32V) and Svalbard (31X, 33X, 35X, 37X). Outside
// 80° S … 84° N the polar grid takes over, which this package does not do.

const (
	bandLetters = "CDEFGHJKLMNPQRSTUVWX" // from 80° S
	bandV       = 17                     // index: 56 to 64° N
	bandX       = 19                     // index: 72 to 84° N

	utmScale        = 0.9996
	falseEasting    = 500_000.0
	falseNorthing   = 10_000_000.0 // southern hemisphere
	minEast         = 100_000.0
	maxEast         = 900_000.0
	southLimitUnits = -80 * unitsPerDegree
	northLimitUnits = 84 * unitsPerDegree
)

// utm is a place in one zone. band indexes bandLetters; −1 means that only the
// hemisphere is known.
type utm struct {
	zone, band  int
	south       bool
	east, north float64 // metres
}

// toUTM gives the UTM coordinates of p in its usual zone; not ok outside
// 80° S ≤ latitude < 84° N.
func (p Point) toUTM() (u utm, ok bool) {
	if p.lat < southLimitUnits || p.lat >= northLimitUnits {
		return utm{}, false
	}
	u.band = min(int((p.lat-southLimitUnits)/(8*unitsPerDegree)), bandX)
	u.zone = zoneOf(u.band, p.lon)
	u.south = p.lat < 0
	// The difference of longitudes is exact.
	x, y := project(degrees(p.lat), degrees(p.lon-int64(centralMeridian(u.zone))*unitsPerDegree))
	u.east = falseEasting + utmScale*x
	u.north = utmScale * y
	if u.south {
		u.north += falseNorthing
	}
	return u, true
}

// point is the inverse of toUTM, to 1e-9 degree.
func (u utm) point() (Point, error) {
	y := u.north
	if u.south {
		y -= falseNorthing
	}
	lat, dLon := unproject((u.east-falseEasting)/utmScale, y/utmScale)
	lon := math.Mod(dLon+float64(centralMeridian(u.zone))+540, 360) - 180
	return Degrees(lat, lon)
}

func centralMeridian(zone int) int { return 6*zone - 183 }

// zoneOf is the zone of a longitude (units) in a latitude band.
func zoneOf(band int, lon int64) int {
	zone := int((lon+maxLon)/(6*unitsPerDegree)) + 1
	deg := degrees(lon)
	switch {
	case band == bandV && deg >= 3 && deg < 12:
		return 32
	case band == bandX && deg >= 0 && deg < 42:
		return 31 + 2*int((deg+3)/12) // borders at 9, 21, 33
	}
	return zone
}

// zoneBox gives the limits in degrees of a zone in a band; not ok for 32X, 34X
// and 36X, which do not exist.
func zoneBox(zone, band int) (south, west, north, east float64, ok bool) {
	south = float64(-80 + 8*band)
	north = south + 8
	west = float64(6*zone - 186)
	east = west + 6
	switch {
	case band == bandV && zone == 31:
		east = 3
	case band == bandV && zone == 32:
		west = 3
	case band == bandX:
		north = 84
		switch zone {
		case 31:
			east = 9
		case 33, 35:
			west, east = west-3, east+3
		case 37:
			west -= 3
		case 32, 34, 36:
			return 0, 0, 0, 0, false
		}
	}
	return south, west, north, east, true
}

// How near to a whole or half metre a number is taken for it, metres: the roundings of a
// projection forth and back (to 1e-9 degree, 0.1 mm) leave less than snap, and would cost a
// metre where digits are cut. Where both easting and northing are so near as snapBoth, the place was
// made from whole metres, by whichever program and with at least 8 decimals of a degree; of
// other places that is so for one in 60,000.
const snap, snapBoth = 0.0002, 0.001

// nearness is the snap of u.
func (u utm) nearness() float64 {
	off := func(v float64) float64 { return math.Abs(2*v-math.Round(2*v)) / 2 }
	if off(u.east) <= snapBoth && off(u.north) <= snapBoth {
		return snapBoth
	}
	return snap
}

// UTM writes p as zone, band letter, easting and northing rounded to whole
// metres: "19K 544000 7773000"; half metres, as of the middle of an MGRS square, go down
// to the square's corner. It is not ok where UTM is not defined, south of 80° S and from
// 84° N.
func (p Point) UTM() (text string, ok bool) {
	u, ok := p.toUTM()
	if !ok {
		return "", false
	}
	near := u.nearness()
	round := func(v float64) float64 { return math.Ceil(v-0.5-near) + 0 }
	return fmt.Sprintf("%02d%c %.0f %.0f", u.zone, bandLetters[u.band], round(u.east), round(u.north)), true
}

// MGRS writes p as the military grid square of 1 m that contains it:
// "19KEU4400073000". Digits are cut off, not rounded, as the standard says, but for what
// a projection may have lost (see snap). It is not ok south of 80° S and from 84° N.
func (p Point) MGRS() (text string, ok bool) {
	u, ok := p.toUTM()
	if !ok {
		return "", false
	}
	near := u.nearness()
	east, north := int(u.east+near), int(u.north+near)
	if u.south {
		north = min(north, falseNorthing-1) // what touches the equator from the south lies south of it
	}
	return fmt.Sprintf("%02d%c%c%c%05d%05d", u.zone, bandLetters[u.band],
		columnLetters[(u.zone-1)%3][east/100_000-1], rowLetters[rowIndex(u.zone, north)],
		east%100_000, north%100_000), true
}

// The letters of the 100 km squares: columns from easting 100 km in three sets,
// rows repeating each 2000 km, in even zones five letters further on.
var columnLetters = [3]string{"ABCDEFGH", "JKLMNPQR", "STUVWXYZ"}

const (
	rowLetters = "ABCDEFGHJKLMNPQRSTUV"
	rowPeriod  = 2_000_000.0 // metres
)

func rowIndex(zone, north int) int { return (north/100_000 + rowOffset(zone)) % 20 }

func rowOffset(zone int) int {
	if zone%2 == 0 {
		return 5
	}
	return 0
}
