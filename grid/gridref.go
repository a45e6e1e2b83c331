package grid

import (
	"fmt"
	"strings"
)

// zoneText is the beginning of a UTM or MGRS text: zone number and band letter
// or hemisphere.
type zoneText struct {
	kind         string // "utm", "mgrs" or "": neither
	zone         int
	letter       byte // band, or 0
	south, north bool // by word
	letterOff    int
	end          int // of the letter or word
}

// zonePrefix looks whether s begins like UTM (letter or hemisphere, then a number
// of four digits or more) or MGRS (letter, then two letters of the 100 km square).
// 3W 2030S is degrees: of coordinates only such a pair, degrees and minutes in one
// number, has so many digits, and there a letter follows them and no northing.
func zonePrefix(s string) zoneText {
	var z zoneText
	n := run(s, 0, isDigit)
	if n < 1 || n > 2 {
		return z
	}
	for _, c := range s[:n] {
		z.zone = z.zone*10 + int(c-'0')
	}
	z.letterOff = blanks(s, n)
	end := run(s, z.letterOff, isLetter)
	word := s[z.letterOff:end]
	next := blanks(s, end)
	digits := run(s, next, isDigit) - next
	switch {
	case digits >= 4 && (strings.EqualFold(word, "north") || strings.EqualFold(word, "south")):
		z.north = strings.EqualFold(word, "north")
		z.south = !z.north
		z.kind, z.end = "utm", end
	case strings.EqualFold(word, "deg") && z.letterOff > n:
		// 19 deg is degrees; the square is written 19DEG or 19D EG.
	case len(word) == 3:
		z.kind, z.letter, z.end = "mgrs", upper(word[0]), z.letterOff+1
	case len(word) == 1 && run(s, next, isLetter)-next == 2:
		z.kind, z.letter, z.end = "mgrs", upper(word[0]), end
	case len(word) == 1 && digits >= 4 && (!strings.Contains("NESW", strings.ToUpper(word)) || northingFollows(s, next)):
		z.kind, z.letter, z.end = "utm", upper(word[0]), end
	}
	return z
}

// northingFollows tells whether a second number comes after the easting at i.
func northingFollows(s string, i int) bool {
	_, end, err := utmNumber(s, i, 'E')
	return err == nil && run(s, blanks(s, end), isDigit) > blanks(s, end)
}

// check gives the index of the band (−1 for a hemisphere by word), and refuses
// zones that do not exist.
func (z zoneText) check() (band int, err *SyntaxError) {
	if z.zone < 1 || z.zone > 60 {
		return 0, fail(0, "UTM zones run from 1 to 60")
	}
	if z.letter == 0 {
		return -1, nil
	}
	band = strings.IndexByte(bandLetters, z.letter)
	if band < 0 {
		return 0, fail(z.letterOff, "there is no UTM band %c; bands are C to X without I and O", z.letter)
	}
	if _, _, _, _, ok := zoneBox(z.zone, band); !ok {
		return 0, fail(0, "there is no zone %d%c; use its neighbours", z.zone, z.letter)
	}
	return band, nil
}

// parseUTM reads zone, letter or hemisphere, easting and northing in metres.
// The letter is always a band; as S also is short for south with some writers,
// a northing that does not lie in the band is refused and band S is noted.
func parseUTM(s string, z zoneText) (Place, *SyntaxError) {
	band, err := z.check()
	if err != nil {
		return Place{}, err
	}
	east, i, err := utmNumber(s, blanks(s, z.end), 'E')
	if err != nil {
		return Place{}, err
	}
	northAt := blanks(s, i)
	if northAt == i && i < len(s) {
		return Place{}, fail(i, "a blank is missing between easting and northing")
	}
	north, i, err := utmNumber(s, northAt, 'N')
	if err != nil {
		return Place{}, err
	}
	if i = blanks(s, i); i != len(s) {
		return Place{}, fail(i, "unexpected %s after the northing", quoted(s[i:]))
	}
	if east < minEast || east >= maxEast {
		return Place{}, fail(blanks(s, z.end), "an easting lies between 100000 and 900000 metres")
	}
	u := utm{z.zone, band, z.south || band >= 0 && band < strings.IndexByte(bandLetters, 'N'), east, north}
	return u.place(z, northAt)
}

// place checks the northing of u and turns it into a Place.
func (u utm) place(z zoneText, northAt int) (Place, *SyntaxError) {
	if u.north > falseNorthing {
		return Place{}, fail(northAt, "a northing is at most 10000000 metres")
	}
	p, err := u.point()
	if err != nil {
		return Place{}, fail(northAt, "the northing lies outside UTM")
	}
	lat, _ := p.LatLon()
	const metre = 1e-5 // degrees, a little more: rounding to metres may leave the band
	south, north := -80.0, 84.0
	if u.band >= 0 {
		south, _, north, _, _ = zoneBox(u.zone, u.band)
	}
	switch {
	case lat >= south-metre && lat <= north+metre:
	case z.letter == 'N' || z.letter == 'S':
		return Place{}, fail(northAt, "the northing is not in band %c; if the letter means the hemisphere, write the word north or south", z.letter)
	case z.letter != 0:
		return Place{}, fail(northAt, "the northing is not in band %c", z.letter)
	default:
		return Place{}, fail(northAt, "the northing lies outside UTM (80° S to 84° N)")
	}
	place := Place{Point: p, Form: "utm", Length: maxLocator, UncertaintyM: -1}
	if z.letter == 'S' {
		place.Note = "S was read as UTM band S (32 to 40° N); for the southern hemisphere write the word south."
	} else if own, ok := p.toUTM(); ok && own.zone != u.zone && !u.nearZone() {
		place.Note = fmt.Sprintf("This place lies outside zone %d; its own zone is %d.", u.zone, own.zone)
	}
	return place, nil
}

// nearZone reports whether u lies within a metre of its zone, where rounding to
// metres alone may have put it.
func (u utm) nearZone() bool {
	for _, d := range []float64{-1, 1} {
		v := u
		v.east += d
		p, err := v.point()
		if own, ok := p.toUTM(); err == nil && ok && own.zone == u.zone {
			return true
		}
	}
	return false
}

// utmNumber reads metres, optionally followed by the letter m, by the axis letter, or both.
func utmNumber(s string, i int, axis byte) (metres float64, end int, err *SyntaxError) {
	d, err := scanDecimal(s, i)
	if err != nil {
		return 0, 0, err
	}
	if len(d.whole) > 8 {
		return 0, 0, fail(i, "too many digits")
	}
	end = d.end
	if k := blanks(s, end); k < len(s) && upper(s[k]) == 'M' {
		end = k + 1
	}
	if k := blanks(s, end); k < len(s) && upper(s[k]) == axis {
		end = k + 1
	}
	return d.metres(), end, nil
}
