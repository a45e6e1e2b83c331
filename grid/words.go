package grid

import "strings"

// Words that belong in a coordinate, in lower case.
var words = map[string]token{
	"n": {kind: letterToken, letter: 'N'}, "north": {kind: letterToken, letter: 'N'},
	"s": {kind: letterToken, letter: 'S'}, "south": {kind: letterToken, letter: 'S'},
	"e": {kind: letterToken, letter: 'E'}, "east": {kind: letterToken, letter: 'E'},
	"w": {kind: letterToken, letter: 'W'}, "west": {kind: letterToken, letter: 'W'},
	"lat": {kind: labelToken, letter: 'N'}, "latitude": {kind: labelToken, letter: 'N'},
	"lon": {kind: labelToken, letter: 'E'}, "long": {kind: labelToken, letter: 'E'},
	"lng": {kind: labelToken, letter: 'E'}, "longitude": {kind: labelToken, letter: 'E'},
	"deg": {kind: markToken, mark: '°'}, "degree": {kind: markToken, mark: '°'}, "degrees": {kind: markToken, mark: '°'},
	"min": {kind: markToken, mark: '\''}, "minute": {kind: markToken, mark: '\''}, "minutes": {kind: markToken, mark: '\''},
	"sec": {kind: markToken, mark: '"'}, "second": {kind: markToken, mark: '"'}, "seconds": {kind: markToken, mark: '"'},
}

// wordToken reads the word that begins at i: a whole one, or the first of two letters
// that stand together (48NE11).
func wordToken(s string, i int) (t token, end int, err *SyntaxError) {
	end = run(s, i, isLetter)
	t, ok := words[strings.ToLower(s[i:end])]
	if !ok && end == i+2 {
		end--
		t, ok = words[strings.ToLower(s[i:end])]
	}
	t.off = i
	if !ok {
		return t, 0, fail(i, "unexpected letter %s; only N, S, E and W belong in a coordinate", quoted(s[i:]))
	}
	if t.kind == labelToken { // Lat: 48.5, lat=48.5, Lat. 48.5
		if k := blanks(s, end); k < len(s) && strings.IndexByte(":=.", s[k]) >= 0 {
			end = k + 1
		}
	}
	return t, end, nil
}

// announced are the words that may stand before a place, with the form that they
// announce: the place must then have it. "" announces none.
var announced = map[string]string{
	"utm": "utm", "zone": "utm", "mgrs": "mgrs", "usng": "mgrs",
	"locator": "locator", "grid": "", "position": "", "pos": "", "coordinates": "",
}

// announcement gives where the place begins after a word that announces it, and the
// form announced; 0 if there is no such word.
func announcement(s string) (end int, form string) {
	end = run(s, 0, isLetter)
	form, ok := announced[strings.ToLower(s[:end])]
	if !ok {
		return 0, ""
	}
	if k := blanks(s, end); k < len(s) && (s[k] == ':' || s[k] == '=') {
		end = k + 1
	}
	return blanks(s, end), form
}

// brackets are those that may stand around a place.
var brackets = map[byte]byte{'(': ')', '[': ']', '{': '}', '<': '>'}

// unwrapped gives where the text within brackets begins and ends; ok if s stands in such.
func unwrapped(s string) (from, to int, ok bool) {
	if len(s) < 2 || brackets[s[0]] == 0 || s[len(s)-1] != brackets[s[0]] {
		return 0, 0, false
	}
	from = blanks(s, 1)
	return from, max(from, len(trimBlanks(s[:len(s)-1]))), true
}
