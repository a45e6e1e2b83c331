package grid

// plainPair reads the commonest place of lists, two signed decimal numbers with a
// comma between: -20.13,-67.49. It says ok only for what the full reader (parseLatLon)
// reads in the same way, ten times slower; everything else is left to that.
func plainPair(s string) (p Point, ok bool) {
	lat, i := plainAngle(s, 0)
	if i == 0 || i == len(s) || s[i] != ',' {
		return Point{}, false
	}
	i++
	if i < len(s) && s[i] == ' ' {
		i++
	}
	lon, end := plainAngle(s, i)
	if end != len(s) || end == i || lat < -maxLat || lat > maxLat || lon < -maxLon || lon > maxLon {
		return Point{}, false
	}
	return newPoint(lat, lon), true
}

// plainAngle reads a number of one to three digits with at most nine decimals from
// i on, in units; the end is i if there is none.
func plainAngle(s string, i int) (units int64, end int) {
	at := i
	neg := i < len(s) && s[i] == '-'
	if neg || i < len(s) && s[i] == '+' {
		i++
	}
	from := i
	for i < len(s) && isDigit(s[i]) {
		units = units*10 + int64(s[i]-'0')
		i++
		if i-from > 3 {
			return 0, at
		}
	}
	if i == from {
		return 0, at
	}
	scale := int64(unitsPerDegree)
	if i < len(s) && s[i] == '.' {
		from = i + 1
		for i++; i < len(s) && isDigit(s[i]); i++ {
			units = units*10 + int64(s[i]-'0')
			scale /= 10
			if i-from >= 9 {
				return 0, at
			}
		}
		if i == from {
			return 0, at
		}
	}
	units *= scale
	if neg {
		units = -units
	}
	return units, i
}
