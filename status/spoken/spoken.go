// Package spoken writes locators and coordinates as they are read aloud: letters by the
// code words of the international spelling alphabet, digits one by one. Texts in, texts
// out; safe from any goroutine.
package spoken

import (
	"strings"
	"unicode/utf8"
)

// Code words: ITU Radio Regulations, Appendix 14 ("Phonetic alphabet and figure code"),
// the same as in ICAO Annex 10, Volume II, 5.2.1.3 (from memory). Digits are the plain
// English words: the figure code words of Appendix 14 (Nadazero, Unaone…) are hardly known.
var letters = [26]string{"Alfa", "Bravo", "Charlie", "Delta", "Echo", "Foxtrot", "Golf", "Hotel", "India", "Juliett",
	"Kilo", "Lima", "Mike", "November", "Oscar", "Papa", "Quebec", "Romeo", "Sierra", "Tango", "Uniform", "Victor",
	"Whiskey", "X-ray", "Yankee", "Zulu"}

var digits = [10]string{"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"}

var directions = map[byte]string{'N': "north", 'S': "south", 'E': "east", 'W': "west"}

// Locator spells a locator, a comma after each pair: "Foxtrot Golf, six nine". What is
// neither letter nor digit is left out.
func Locator(locator string) string {
	var pairs []string
	var pair []string
	for i := range len(locator) {
		if w := word(locator[i]); w != "" {
			pair = append(pair, w)
		}
		if len(pair) == 2 {
			pairs, pair = append(pairs, strings.Join(pair, " ")), nil
		}
	}
	if pair != nil {
		pairs = append(pairs, strings.Join(pair, " "))
	}
	return strings.Join(pairs, ", ")
}

// Coordinates spells a pair of coordinates as noonmark writes them: "20.13 S 67.49 W" is
// "two zero decimal one three south, six seven decimal four nine west". It knows digits,
// the point, the signs, the marks of degrees, minutes and seconds, and N S E W; of
// anything else the text is not ok.
func Coordinates(text string) (spelled string, ok bool) {
	var words []string
	end := func() { // a pause after each coordinate
		if n := len(words); n > 0 && !strings.HasSuffix(words[n-1], ",") {
			words[n-1] += ","
		}
	}
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRuneInString(text[i:])
		switch {
		case r >= '0' && r <= '9':
			words = append(words, digits[r-'0'])
		case r == '.':
			words = append(words, "decimal")
		case r == '-' || r == '−':
			words = append(words, "minus")
		case r == '+':
			words = append(words, "plus")
		case r == '°':
			words = append(words, "degrees")
		case r == '\'' || r == '′':
			words = append(words, "minutes")
		case r == '"' || r == '″':
			words = append(words, "seconds")
		case r < utf8.RuneSelf && directions[byte(r)] != "":
			words = append(words, directions[byte(r)])
			end()
		case r == ',':
			end()
		case r != ' ':
			return "", false
		}
		i += size
	}
	return strings.TrimSuffix(strings.Join(words, " "), ","), len(words) > 0
}

// word is the code word of a letter in either case, or of a digit; "" for others.
func word(c byte) string {
	switch {
	case c >= '0' && c <= '9':
		return digits[c-'0']
	case c|0x20 >= 'a' && c|0x20 <= 'z':
		return letters[c|0x20-'a']
	}
	return ""
}
