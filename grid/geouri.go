package grid

import (
	"math"
	"strings"
)

// parseGeo reads geo:lat,lon[,alt][;crs=wgs84][;u=metres][;name[=value]]… (RFC
// 5870, section 3.3). The altitude and further parameters are checked for form
// and otherwise ignored, as the RFC allows.
func parseGeo(s string) (Place, *SyntaxError) {
	i := len("geo:")
	var angles [2]angle
	var offs [2]int
	var err *SyntaxError
	for k := range angles {
		if k > 0 {
			if i >= len(s) || s[i] != ',' {
				return Place{}, fail(i, "a comma and the longitude are missing here")
			}
			i++
		}
		offs[k] = i
		if angles[k], i, err = geoNumber(s, i); err != nil {
			return Place{}, err
		}
	}
	if i < len(s) && s[i] == ',' {
		if _, i, err = geoNumber(s, i+1); err != nil {
			return Place{}, err
		}
	}
	point, err := inRange(angles[0], angles[1], offs[0], offs[1])
	if err != nil {
		return Place{}, err
	}
	if abs(point.lat) == maxLat {
		point.lon = 0 // section 3.4.2: at the poles longitude means nothing
	}
	u, err := geoParams(s, i)
	if err != nil {
		return Place{}, err
	}
	place := Place{Point: point, Form: "geo", Length: maxLocator, UncertaintyM: u}
	if u >= 0 {
		place.Length, place.ReachM = max(2, LocatorLength(u, degrees(point.lat))), u
	}
	return place, nil
}

// geoNumber reads a coordinate: an optional minus and a decimal of at most
// eight digits before the point.
func geoNumber(s string, i int) (angle, int, *SyntaxError) {
	neg := i < len(s) && s[i] == '-'
	if neg {
		i++
	}
	d, err := scanDecimal(s, i)
	if err != nil {
		return angle{}, 0, err
	}
	if len(d.whole) > 8 {
		return angle{}, 0, fail(d.off, "too many digits")
	}
	units, exact := d.times(unitsPerDegree)
	return angle{units, exact, neg}, d.end, nil
}

// geoParams reads the parameters from i on and gives the uncertainty or −1.
func geoParams(s string, i int) (float64, *SyntaxError) {
	u := -1.0
	for n := 0; i < len(s); n++ {
		if s[i] != ';' {
			return 0, fail(i, "unexpected %s in a geo URI", quoted(s[i:]))
		}
		i++
		end := run(s, i, func(c byte) bool { return c != ';' })
		name, value, hasValue := strings.Cut(s[i:end], "=")
		at := i + len(name) + 1
		switch strings.ToLower(name) {
		case "crs":
			if n != 0 {
				return 0, fail(i, "crs must be the first parameter")
			}
			if !strings.EqualFold(value, "wgs84") {
				return 0, fail(min(at, len(s)), "only crs=wgs84 is understood")
			}
		case "u":
			if n > 1 || u >= 0 || n == 1 && !crsFirst(s) {
				return 0, fail(i, "u must come first, or second after crs")
			}
			d, err := scanDecimal(s, min(at, len(s)))
			if err != nil {
				return 0, err
			}
			if d.end != end {
				return 0, fail(d.end, "the uncertainty is a plain number of metres")
			}
			if u = d.metres(); math.IsInf(u, 0) {
				return 0, fail(d.off, "too many digits")
			}
		default:
			if bad := geoTokenFault(name, value, hasValue); bad >= 0 {
				return 0, fail(i+bad, "this is no parameter of a geo URI")
			}
		}
		i = end
	}
	return u, nil
}

func crsFirst(s string) bool {
	k := strings.IndexByte(s, ';')
	return len(s) >= k+5 && strings.EqualFold(s[k:k+5], ";crs=")
}

// geoTokenFault gives the offset of the first byte that the RFC's grammar does
// not allow in name[=value], or −1. Names are letters, digits and hyphens.
func geoTokenFault(name, value string, hasValue bool) int {
	end := run(name, 0, func(c byte) bool { return isLetter(c) || isDigit(c) || c == '-' })
	if end < len(name) || name == "" {
		return end
	}
	if !hasValue {
		return -1
	}
	end = run(value, 0, func(c byte) bool {
		return isLetter(c) || isDigit(c) || strings.IndexByte("[]:&+$-_.!~*'()%", c) >= 0
	})
	if end < len(value) || value == "" {
		return len(name) + 1 + end
	}
	return -1
}
