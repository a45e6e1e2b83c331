package grid

// Latitude and longitude as written by people. The text is cut into tokens, the
// tokens into two coordinates, and each coordinate must then be complete and
// consistent by itself:
//
//	place      = coordinate ["," | "/"] coordinate
//	coordinate = [label] [letter] [sign] number [mark] [number [mark] [number [mark]]] [letter]
//
// Only the last number of a coordinate may have decimals; minutes and seconds
// are below 60. Either both coordinates have a letter, or neither has and
// latitude comes first; a letter excludes a sign. Labels (Lat, Lon) go in either
// order. Degrees have at most three digits: 0736.5 (7 degrees 36.5 minutes) is read
// with a letter beside it (0736.5N), and refused without.

// parseLatLon reads a pair of coordinates.
func parseLatLon(s string) (Place, *SyntaxError) {
	tokens, err := tokenize(s)
	if err != nil {
		return Place{}, err
	}
	first, second, err := split(tokens, len(s))
	if err != nil {
		return Place{}, err
	}
	a, err := readCoordinate(first, len(s))
	if err != nil {
		return Place{}, err
	}
	b, err := readCoordinate(second, len(s))
	if err != nil {
		return Place{}, err
	}
	lat, lon, err := order(a, b)
	if err != nil {
		return Place{}, err
	}
	point, err := inRange(lat.angle, lon.angle, lat.off, lon.off)
	if err != nil {
		if a.letter == 0 && lat.units > maxLat && lon.units <= maxLat {
			err.Reason += "; latitude comes first, or write letters N S E W"
		}
		return Place{}, err
	}
	return placeAt(point), nil
}

// inRange makes a Point of two angles read at the offsets latOff and lonOff.
func inRange(latA, lonA angle, latOff, lonOff int) (Point, *SyntaxError) {
	lat, ok := latA.signed(maxLat)
	if !ok {
		return Point{}, fail(latOff, "the latitude is beyond 90 degrees")
	}
	lon, ok := lonA.signed(maxLon)
	if !ok {
		return Point{}, fail(lonOff, "the longitude is beyond 180 degrees")
	}
	return newPoint(lat, lon), nil
}

// coordinate is one of the two, its axis known only if it has a letter.
type coordinate struct {
	angle
	letter byte // N S E W or 0
	label  byte // N for latitude, E for longitude, or 0
	off    int  // of its first number
	start  int  // of its first token
}

// order decides which is the latitude.
func order(a, b coordinate) (lat, lon coordinate, err *SyntaxError) {
	switch {
	case a.axis() == 0 && b.axis() == 0:
		lat, lon = a, b
	case b.axis() == 0 || a.letter != 0 && b.letter == 0:
		return lat, lon, fail(b.start, "a letter (N, S, E or W) is missing for this number")
	case a.axis() == 0 || b.letter != 0 && a.letter == 0:
		return lat, lon, fail(a.start, "a letter (N, S, E or W) is missing for this number")
	case a.axis() == b.axis():
		return lat, lon, fail(b.start, "both coordinates are %s", map[bool]string{true: "latitudes", false: "longitudes"}[a.axis() == 'N'])
	case a.axis() == 'N':
		lat, lon = a, b
	default:
		lat, lon = b, a
	}
	return lat, lon, nil
}

func isLatLetter(c byte) bool { return c == 'N' || c == 'S' }

// axis is N for a latitude, E for a longitude, 0 if neither letter nor label says.
func (c *coordinate) axis() byte {
	switch {
	case c.label != 0:
		return c.label
	case c.letter == 0:
		return 0
	case isLatLetter(c.letter):
		return 'N'
	}
	return 'E'
}

// readCoordinate reads all tokens of one coordinate; end is where the text ends.
func readCoordinate(tokens []token, end int) (coordinate, *SyntaxError) {
	c := coordinate{angle: angle{exact: true}}
	if len(tokens) == 0 {
		return c, fail(end, "the second coordinate is missing")
	}
	c.start = tokens[0].off
	if tokens[0].kind == labelToken {
		c.label = tokens[0].letter
		if tokens = tokens[1:]; len(tokens) == 0 {
			return c, fail(end, "a number is missing here")
		}
	}
	if tokens[0].kind == letterToken {
		c.letter = tokens[0].letter
		tokens = tokens[1:]
	}
	if n := len(tokens); n > 0 && tokens[n-1].kind == letterToken {
		if c.letter != 0 {
			return c, fail(tokens[n-1].off, "a second letter for the same number")
		}
		c.letter = tokens[n-1].letter
		tokens = tokens[:n-1]
	}
	if len(tokens) == 0 {
		return c, fail(min(c.start+1, end), "a number is missing here")
	}
	if i, _ := find(tokens, func(t token) bool { return t.kind == letterToken }); i >= 0 {
		return c, fail(tokens[i].off, "a letter within a coordinate")
	}
	if c.label != 0 && c.letter != 0 && isLatLetter(c.label) != isLatLetter(c.letter) {
		return c, fail(c.start, "the word and the letter of this number are of two kinds")
	}
	if c.letter != 0 && len(tokens) == 1 && tokens[0].kind == numberToken && tokens[0].sign == 0 && len(tokens[0].whole) > 3 {
		return c, c.readPacked(tokens[0])
	}
	return c, c.readParts(tokens)
}

// readPacked reads 4830.50 beside a letter: degrees and minutes in one number.
func (c *coordinate) readPacked(num token) *SyntaxError {
	width := 3
	if isLatLetter(c.letter) {
		width = 2
	}
	a, _, err := packed(num.decimal, width)
	if err != nil {
		return err
	}
	a.neg = c.letter == 'S' || c.letter == 'W'
	c.angle, c.off = a, num.off
	return nil
}

// Units of degrees, minutes and seconds, the mark of each, and its name.
var parts = [3]struct {
	unit int64
	mark byte
	name string
}{
	{unitsPerDegree, '°', "degrees"},
	{unitsPerDegree / 60, '\'', "minutes"},
	{unitsPerDegree / 3600, '"', "seconds"},
}

// readParts reads degrees, minutes and seconds and adds them up.
func (c *coordinate) readParts(tokens []token) *SyntaxError {
	marked := hasMark(tokens)
	part := 0
	for i := 0; i < len(tokens); part++ {
		num := tokens[i]
		if num.kind != numberToken {
			return fail(num.off, "a number must stand here")
		}
		if part == len(parts) {
			return fail(num.off, "a fourth number for the same coordinate")
		}
		i++
		colon := false
		if i < len(tokens) && tokens[i].kind == markToken {
			colon = tokens[i].mark == ':'
			if !colon && tokens[i].mark != parts[part].mark {
				return fail(tokens[i].off, "this mark does not fit: the number before it is %s", parts[part].name)
			}
			if colon && i+1 == len(tokens) {
				return fail(tokens[i].off, "a number is missing after the colon")
			}
			i++
		} else if marked && i < len(tokens) {
			return fail(tokens[i].off, "the mark of the %s is missing before this", parts[part].name)
		}
		if err := c.add(num, part, i == len(tokens)); err != nil {
			return err
		}
	}
	return nil
}

// add adds one number to the coordinate.
func (c *coordinate) add(num token, part int, last bool) *SyntaxError {
	switch {
	case part > 0 && num.sign != 0:
		return fail(num.off, "a sign within a coordinate")
	case num.sign != 0 && c.letter != 0:
		return fail(num.off, "a sign and a letter for the same number")
	case !last && num.frac != "":
		return fail(num.decimal.off, "only the last number of a coordinate may have decimals")
	case part > 0 && (len(num.whole) > 2 || len(num.whole) == 2 && num.whole[0] >= '6'):
		return fail(num.decimal.off, "%s must be below 60", parts[part].name)
	case len(num.whole) > 3:
		return fail(num.decimal.off, "degrees have at most three digits")
	}
	if part == 0 {
		c.off = num.off
		c.neg = num.sign == '-' || c.letter == 'S' || c.letter == 'W'
	}
	units, exact := num.times(parts[part].unit)
	c.units += units
	c.exact = c.exact && exact
	return nil
}

func hasMark(tokens []token) bool {
	for _, t := range tokens {
		if t.kind == markToken {
			return true
		}
	}
	return false
}
