package grid

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// Place is what ParsePlace understood.
type Place struct {
	Point Point  // the place itself; of a locator or an MGRS square, its centre
	Form  string // how it was written: "locator", "degrees", "utm", "mgrs" or "geo"

	// Length is the longest locator that the text supports, in characters: a
	// locator's own length; for an MGRS square or a geo URI with an uncertainty
	// what LocatorLength gives, but at least 2; otherwise 10.
	Length int

	UncertaintyM float64 // metres, as stated by a geo URI; −1 if not stated

	// ReachM is how far from Point the place may be by the text alone, metres: half
	// the diagonal of the locator's cell or the MGRS square, or the uncertainty of
	// a geo URI; 0 for coordinates without any, which are taken at their word.
	ReachM float64
	Note   string // a sentence for the operator where the reading may surprise; mostly empty

	pairs        int // of a locator, and half the sides of its cell, metres
	halfN, halfE float64
	sideM        float64 // of an MGRS square
	fromMiddle   float64 // and how far east of its zone's middle it lies, degrees
}

// maxPlace limits the text; the longest sensible one has about 60 bytes.
const maxPlace = 200

// ParsePlace reads a place as people and programs write it:
//
//   - a locator of 2 to 10 characters: FG69gu18
//   - latitude and longitude in degrees, degrees and minutes, or degrees,
//     minutes and seconds; signed, latitude first, or with the letters N S E W
//     before or after both numbers, in either order: -20.13,-67.49;
//     20°07.8'S 67°29.4'W; S20 07 48 W67 29 24; 20:07:48S 67:29:24W;
//     2007.80S/06729.40W; 20-07.8S 067-29.4W; 20.13 South 67.49 West;
//     Lat: -20.13 Lon: -67.49
//   - ISO 6709: -20.13-067.49/, -2007.8-06729.4/
//   - UTM with a band letter or the word north or south: 19K 544000 7773000;
//     19 south 544000 7773000
//   - MGRS from 100 km to 1 m: 19KEU4400073000, 19K EU 44000 73000
//   - a geo URI (RFC 5870): geo:-20.13,-67.49;u=9
//
// Brackets may stand around it, and a word before it that says what follows (UTM, MGRS,
// locator, position). Decimals have a point, never a comma; a comma that may stand for
// a decimal point is refused. Digits beyond the internal unit of
// 1/18e9 degree are cut toward south and west, which never moves a place out of
// its locator cell. Whatever is ambiguous or impossible is refused with a
// *SyntaxError: nothing is guessed.
func ParsePlace(text string) (Place, error) {
	if len(text) > maxPlace {
		return Place{}, fail(maxPlace, "too long for a place")
	}
	if p, ok := plainPair(text); ok { // most lines of long lists
		return Place{Point: p, Form: "degrees", Length: maxLocator, UncertaintyM: -1}, nil
	}
	if startsLikeLocator(text) {
		if place, err := parseLocatorPlace(text); err == nil { // and the rest of them
			return place, nil
		}
	}
	place, err := parsePlace(trimBlanks(text))
	if err != nil {
		err.Offset += blanks(text, 0)
		err.column = utf8.RuneCountInString(text[:err.Offset]) + 1
		return Place{}, err
	}
	return place, nil
}

func startsLikeLocator(s string) bool {
	return len(s) > 3 && isLetter(s[0]) && isLetter(s[1]) && isDigit(s[2])
}

// parsePlace decides by the first characters which form it is; the forms do not
// overlap: a locator begins with two letters, coordinates with one at most.
func parsePlace(s string) (Place, *SyntaxError) {
	if p, ok := plainPair(s); ok {
		return placeAt(p), nil
	}
	switch {
	case s == "":
		return Place{}, fail(0, "no place given")
	case len(s) >= 4 && s[3] == ':' && strings.EqualFold(s[:4], "geo:"):
		return parseGeo(s)
	case len(s) >= 3 && isLetter(s[0]) && isLetter(s[1]) && isLetter(s[2]):
		return parseWord(s)
	case len(s) >= 2 && isLetter(s[0]) && isLetter(s[1]):
		return parseLocatorPlace(s)
	}
	if from, to, ok := unwrapped(s); ok {
		place, err := parsePlace(s[from:to])
		return place, err.moved(from)
	}
	switch z := zonePrefix(s); z.kind {
	case "utm":
		return parseUTM(s, z)
	case "mgrs":
		return parseMGRS(s, z)
	}
	if t, ok := cutISO(s); ok && t.compact() {
		return t.place()
	}
	return parseLatLon(s)
}

// parseWord reads a text that begins with a word of three letters or more: one that
// announces a place, or belongs to coordinates, or a polar grid square, or a name.
func parseWord(s string) (Place, *SyntaxError) {
	if from, form := announcement(s); from > 0 {
		place, err := parsePlace(s[from:])
		if err == nil && form != "" && place.Form != form && !(form == "utm" && place.Form == "mgrs") {
			return Place{}, fail(from, "this is not what the word before it says")
		}
		return place, err.moved(from)
	}
	end := run(s, 0, isLetter)
	if _, ok := words[strings.ToLower(s[:end])]; ok {
		return parseLatLon(s)
	}
	if digits := blanks(s, end); end == 3 && digits < len(s) && isDigit(s[digits]) && strings.IndexByte("ABYZ", upper(s[0])) >= 0 {
		return Place{}, fail(0, "polar (UPS) grid squares are not offered; give latitude and longitude")
	}
	return Place{}, fail(0, "a name is not a place; give a locator (FG69gu18) or latitude and longitude (-20.13, -67.49)")
}

// moved is the error of a text that begins at from of a longer one; nil stays nil.
func (e *SyntaxError) moved(from int) *SyntaxError {
	if e != nil {
		e.Offset += from
	}
	return e
}

// placeAt is the place of coordinates in degrees.
func placeAt(p Point) Place {
	return Place{Point: p, Form: "degrees", Length: maxLocator, UncertaintyM: -1}
}

func parseLocatorPlace(s string) (Place, *SyntaxError) {
	x, y, err := parseSteps(s)
	if err != nil {
		return Place{}, err
	}
	cell := cornerOf(x, y, len(s))
	north, east := cell.halfSides()
	return Place{Point: cell.Center(), Form: "locator", Length: cell.length, UncertaintyM: -1,
		ReachM: math.Sqrt(north*north + east*east), pairs: cell.length / 2, halfN: north, halfE: east}, nil
}

func fail(offset int, format string, args ...any) *SyntaxError {
	return &SyntaxError{Offset: offset, Reason: fmt.Sprintf(format, args...)}
}

// quoted shows the character at the start of s in a message, printable or not.
func quoted(s string) string {
	r, _ := utf8.DecodeRuneInString(s)
	return fmt.Sprintf("%q", r)
}

// isBlank knows the blanks that come along when text is pasted.
func isBlank(r rune) bool {
	switch r {
	case ' ', '\t', '\n', '\r', 0xA0, 0x2009, 0x202F:
		return true
	}
	return false
}

// trimBlanks is quick where there are none.
func trimBlanks(s string) string {
	plain := func(c byte) bool { return c > ' ' && c < utf8.RuneSelf }
	if s == "" || plain(s[0]) && plain(s[len(s)-1]) {
		return s
	}
	return strings.TrimFunc(s, isBlank)
}

func isDigit(c byte) bool  { return c >= '0' && c <= '9' }
func isLetter(c byte) bool { return upper(c) >= 'A' && upper(c) <= 'Z' }

func upper(c byte) byte {
	if c >= 'a' && c <= 'z' {
		return c - 'a' + 'A'
	}
	return c
}

// run gives the end of the run of bytes of s from i on for which is holds.
func run(s string, i int, is func(byte) bool) int {
	for i < len(s) && is(s[i]) {
		i++
	}
	return i
}

// blanks gives the end of the run of blanks of s from i on.
func blanks(s string, i int) int {
	return len(s) - len(strings.TrimLeftFunc(s[i:], isBlank))
}
