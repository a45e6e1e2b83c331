package grid

import (
	"strings"
	"unicode/utf8"
)

// ISO 6709:2008, Annex H: sign and latitude, sign and longitude, perhaps a height, a
// coordinate reference system and a solidus, without blanks. Degrees have two and three
// digits; with minutes these are four and five (+4830.5+01115.0/), with seconds six
// and seven. Shorter degrees are read too; the height is checked and not used.

// isoText are the parts of such a text.
type isoText struct {
	number [3]decimal // latitude, longitude, height
	neg    [3]bool
	off    [3]int
	n      int // numbers that are there
	crsOff int
	crs    string // with the letters CRS
	end    bool   // the solidus
}

// cutISO takes s apart; not ok if it is not written like this at all.
func cutISO(s string) (t isoText, ok bool) {
	i := 0
	for t.n < len(t.number) && i < len(s) {
		r, size := utf8.DecodeRuneInString(s[i:])
		if r != '+' && !isMinus(r) {
			break
		}
		d, err := scanDecimal(s, i+size)
		if err != nil {
			return t, false
		}
		t.number[t.n], t.neg[t.n], t.off[t.n] = d, r != '+', i
		t.n, i = t.n+1, d.end
	}
	if len(s)-i >= 3 && strings.EqualFold(s[i:i+3], "CRS") {
		t.crsOff, t.crs = i, strings.TrimSuffix(s[i:], "/")
		i += len(t.crs)
	}
	if i < len(s) && s[i] == '/' {
		t.end = true
		i++
	}
	return t, t.n >= 2 && i == len(s)
}

// compact reports whether only ISO 6709 gives t a meaning; else it is a pair of signed
// decimal degrees for the common reader.
func (t *isoText) compact() bool {
	return t.end || t.n == 3 || t.crs != "" || len(t.number[0].whole) > 3 || len(t.number[1].whole) > 3
}

func (t *isoText) place() (Place, *SyntaxError) {
	if t.crs != "" && !strings.EqualFold(t.crs, "CRSWGS_84") && !strings.EqualFold(t.crs, "CRSWGS84") {
		return Place{}, fail(t.crsOff, "only CRSWGS_84 is understood")
	}
	lat, latParts, err := packed(t.number[0], 2)
	if err != nil {
		return Place{}, err
	}
	lon, lonParts, err := packed(t.number[1], 3)
	switch {
	case err != nil:
		return Place{}, err
	case latParts != lonParts:
		return Place{}, fail(t.off[1], "latitude and longitude must be written alike: ±DD ±DDD, ±DDMM ±DDDMM or ±DDMMSS ±DDDMMSS")
	}
	lat.neg, lon.neg = t.neg[0], t.neg[1]
	point, err := inRange(lat, lon, t.off[0], t.off[1])
	if err != nil {
		return Place{}, err
	}
	return placeAt(point), nil
}

// packed reads an angle whose degrees (width digits), minutes and seconds stand in one
// number: 01115.5 is 11° 15.5′. parts is how many there are. Up to three digits are
// degrees alone.
func packed(d decimal, width int) (a angle, parts int, err *SyntaxError) {
	a.exact = true
	rest := d
	switch n := len(d.whole); {
	case n <= 3:
		a.units, a.exact = d.times(unitsPerDegree)
		return a, 1, nil
	case n != width+2 && n != width+4:
		return a, 0, fail(d.off, "in one number %s has %d digits with minutes (%s), %d with minutes and seconds",
			map[int]string{2: "a latitude", 3: "a longitude"}[width], width+2, map[int]string{2: "DDMM", 3: "DDDMM"}[width], width+4)
	}
	for at, unit := 0, int64(unitsPerDegree); ; unit /= 60 {
		end := width + 2*parts
		part := decimal{whole: d.whole[at:end]}
		if end == len(d.whole) {
			part.frac = rest.frac
		}
		if at > 0 && part.whole[0] >= '6' {
			return a, 0, fail(d.off+at, "minutes and seconds must be below 60")
		}
		units, exact := part.times(unit)
		a.units += units
		a.exact = a.exact && exact
		parts++
		if at = end; at == len(d.whole) {
			return a, parts, nil
		}
	}
}
