package grid

import (
	"math"
	"strings"
)

// parseMGRS reads zone, band, the two letters of the 100 km square, and 0 to 5
// digits each of easting and northing. The place is the square's centre.
func parseMGRS(s string, z zoneText) (Place, *SyntaxError) {
	band, err := z.check()
	if err != nil {
		return Place{}, err
	}
	at := blanks(s, z.end)
	columns := columnLetters[(z.zone-1)%3]
	column := strings.IndexByte(columns, upper(s[at]))
	if column < 0 {
		return Place{}, fail(at, "zone %d has square columns %c to %c without I and O", z.zone, columns[0], columns[7])
	}
	row := strings.IndexByte(rowLetters, upper(s[at+1]))
	if row < 0 {
		return Place{}, fail(at+1, "square rows are A to V without I and O")
	}
	east, north, side, err := mgrsDigits(s, at+2)
	if err != nil {
		return Place{}, err
	}
	u := utm{zone: z.zone, band: band, south: band < strings.IndexByte(bandLetters, 'N')}
	u.east = float64(column+1)*100_000 + east
	row = (row - rowOffset(z.zone) + 20) % 20
	for cycle := range 5 {
		u.north = float64(cycle)*rowPeriod + float64(row)*100_000 + north
		if u.meetsZone(side) {
			u.east += side / 2
			u.north += side / 2
			p, err := u.point()
			if err != nil {
				break
			}
			lat, lon := p.LatLon()
			const halfDiagonal = math.Sqrt2 / 2 / utmScale
			return Place{Point: p, Form: "mgrs", Length: max(2, LocatorLength(side/2, lat)), UncertaintyM: -1, ReachM: side * halfDiagonal,
				sideM: side, fromMiddle: math.Remainder(lon-float64(centralMeridian(z.zone)), 360)}, nil
		}
	}
	return Place{}, fail(at, "this square does not lie in %d%c", z.zone, bandLetters[band])
}

// mgrsDigits reads the digits from i on: one run of even length, or two equal
// ones with a blank between. It gives the offsets within the 100 km square and
// the side of the square named, in metres.
func mgrsDigits(s string, i int) (east, north, side float64, err *SyntaxError) {
	i = blanks(s, i)
	end := run(s, i, isDigit)
	first, second := s[i:end], ""
	if next := blanks(s, end); next > end {
		i, end = next, run(s, next, isDigit)
		second = s[i:end]
		if len(first) != len(second) {
			return 0, 0, 0, fail(end, "easting and northing must have the same number of digits")
		}
	} else {
		if len(first)%2 != 0 {
			return 0, 0, 0, fail(end, "an MGRS square has an even number of digits")
		}
		first, second = first[:len(first)/2], first[len(first)/2:]
	}
	if end != len(s) {
		return 0, 0, 0, fail(end, "unexpected %s in an MGRS square", quoted(s[end:]))
	}
	if len(second) > 5 {
		return 0, 0, 0, fail(end, "an MGRS square has at most 10 digits")
	}
	side = math.Pow10(5 - len(first))
	for k := range len(first) {
		east = east*10 + float64(first[k]-'0')
		north = north*10 + float64(second[k]-'0')
	}
	return east * side, north * side, side, nil
}

// meetsZone reports whether the square with its south-west corner at u has a
// part in its zone and band. It looks at points along the square's sides, near
// enough together for the curvature of the zone's limits, and allows a
// thousandth of the side, at least a metre.
func (u utm) meetsZone(side float64) bool {
	south, west, north, east, _ := zoneBox(u.zone, u.band)
	margin := max(1, side/1000) / 110_000 // degrees of latitude
	middle := u
	middle.east += side / 2
	middle.north += side / 2
	if p, err := middle.point(); err != nil || degrees(p.lat) < south-2 || degrees(p.lat) > north+2 {
		return false
	}
	cm := float64(centralMeridian(u.zone))
	const steps = 20
	for k := range steps {
		d := side * float64(k) / steps
		for _, corner := range [4][2]float64{{d, 0}, {side, d}, {side - d, side}, {0, side - d}} {
			v := u
			v.east += corner[0]
			v.north += corner[1]
			p, err := v.point()
			if err != nil {
				continue
			}
			lat, lon := p.LatLon()
			rel := math.Remainder(lon-cm, 360) + cm
			wide := margin / max(math.Cos(lat*math.Pi/180), 0.01)
			if lat >= south-margin && lat <= north+margin && rel >= west-wide && rel <= east+wide {
				return true
			}
		}
	}
	return false
}
