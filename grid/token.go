package grid

import "unicode/utf8"

type tokenKind byte

const (
	numberToken tokenKind = iota
	markToken
	letterToken
	commaToken
)

// token is a piece of a coordinate text. For numbers, off is that of the sign.
type token struct {
	kind    tokenKind
	off     int
	glued   bool // no blank before it
	sign    byte // '+', '-' or 0
	mark    byte // one of '°' (as Latin-1), '\'', '"', ':'
	letter  byte // N S E W
	decimal      // numbers
}

// marks are the signs for degrees, minutes and seconds as typed, typeset and
// pasted.
var marks = map[rune]byte{
	'°': '°', 'º': '°', '˚': '°',
	'\'': '\'', '′': '\'', '’': '\'', 'ʹ': '\'', '´': '\'',
	'"': '"', '″': '"', '”': '"', 'ʺ': '"',
	':': ':',
}

func isMinus(r rune) bool { return r == '-' || r == '−' || r == '–' }

// tokenize cuts s into tokens.
func tokenize(s string) ([]token, *SyntaxError) {
	var tokens []token
	for i := 0; i < len(s); {
		at := blanks(s, i)
		t, end, err := nextToken(s, at)
		if err != nil {
			return nil, err
		}
		t.glued = at == i
		i = end
		// Two minute marks stand for one of seconds.
		if n := len(tokens); n > 0 && t.glued && t.mark == '\'' && tokens[n-1].mark == '\'' {
			tokens[n-1].mark = '"'
			continue
		}
		tokens = append(tokens, t)
	}
	return tokens, nil
}

func nextToken(s string, i int) (t token, end int, err *SyntaxError) {
	r, size := utf8.DecodeRuneInString(s[i:])
	t.off = i
	switch {
	case r < utf8.RuneSelf && isDigit(byte(r)):
		t.decimal, err = scanDecimal(s, i)
		t.off = i
		return t, t.decimal.end, err
	case r == '+' || isMinus(r):
		if i+size == len(s) || !isDigit(s[i+size]) {
			return t, 0, fail(i, "a sign must stand directly before its number")
		}
		t.sign = '+'
		if r != '+' {
			t.sign = '-'
		}
		t.decimal, err = scanDecimal(s, i+size)
		return t, t.decimal.end, err
	case r == ',':
		t.kind = commaToken
		return t, i + size, nil
	case marks[r] != 0:
		t.kind, t.mark = markToken, marks[r]
		return t, i + size, nil
	case r == 'N' || r == 'S' || r == 'E' || r == 'W' || r == 'n' || r == 's' || r == 'e' || r == 'w':
		t.kind, t.letter = letterToken, upper(byte(r))
		return t, i + size, nil
	case r < utf8.RuneSelf && isLetter(byte(r)):
		return t, 0, fail(i, "unexpected letter %s; only N, S, E and W belong in a coordinate", quoted(s[i:]))
	case r == ';':
		return t, 0, fail(i, "unexpected ';'; write a point in decimals and a comma between the coordinates")
	}
	return t, 0, fail(i, "unexpected %s", quoted(s[i:]))
}

// split divides the tokens into the two coordinates, by the first of these that
// is there: a comma, letters, degree marks, colons, or an even number of bare
// numbers. end is where the text ends.
func split(tokens []token, end int) (a, b []token, err *SyntaxError) {
	if err := checkGlued(tokens); err != nil {
		return nil, nil, err
	}
	if i, second := find(tokens, func(t token) bool { return t.kind == commaToken }); i >= 0 {
		switch {
		case second >= 0:
			return nil, nil, fail(tokens[second].off, "a second comma; decimals are written with a point")
		case i == 0:
			return nil, nil, fail(tokens[0].off, "a coordinate is missing before the comma")
		case i > 1 && maybeDecimal(tokens[i-1:]):
			return nil, nil, fail(tokens[i].off, "this comma may stand for a decimal point; write a blank after a comma between the coordinates")
		}
		return tokens[:i], tokens[i+1:], nil
	}
	if i, second := find(tokens, func(t token) bool { return t.kind == letterToken }); i > 0 {
		return tokens[:i+1], tokens[i+1:], nil
	} else if i == 0 {
		if second < 0 {
			return nil, nil, fail(end, "the second coordinate is missing, or its letter")
		}
		return tokens[:second], tokens[second:], nil
	}
	isDegree := func(t token) bool { return t.mark == '°' }
	if i, second := find(tokens, isDegree); i >= 0 {
		if second < 1 {
			return nil, nil, fail(end, "the second coordinate is missing, or its degree mark")
		}
		return tokens[:second-1], tokens[second-1:], nil
	}
	if i, _ := find(tokens, func(t token) bool { return t.mark == ':' }); i >= 0 {
		for k := 1; k < len(tokens); k++ {
			if tokens[k-1].kind == numberToken && tokens[k].kind == numberToken {
				return tokens[:k], tokens[k:], nil
			}
		}
		return nil, nil, fail(end, "the second coordinate is missing")
	}
	if n := len(tokens); n == 1 || n%2 != 0 {
		return nil, nil, fail(end, "%s; write a comma between latitude and longitude, or letters N S E W",
			map[bool]string{true: "the second coordinate is missing", false: "it is not clear where the longitude begins"}[n == 1])
	}
	return tokens[:len(tokens)/2], tokens[len(tokens)/2:], nil
}

// maybeDecimal reports whether the second of the tokens is a comma close between a
// whole number and another number: after minutes or seconds, 7,48 may be either.
func maybeDecimal(t []token) bool {
	return len(t) > 2 && t[0].kind == numberToken && t[0].frac == "" && t[1].glued && t[2].kind == numberToken && t[2].sign == 0 && t[2].glued
}

// checkGlued refuses 20.13-67.49, which may be a pair or a range, but lets
// -20.13-67.49 and +20.13-067.49 pass (ISO 6709: both signed).
func checkGlued(tokens []token) *SyntaxError {
	for i := 1; i < len(tokens); i++ {
		if t := tokens[i]; t.sign != 0 && t.glued && tokens[i-1].kind == numberToken && tokens[0].sign == 0 {
			return fail(t.off, "a blank or comma is missing before this sign")
		}
	}
	return nil
}

// find gives the first two indices for which is holds, or −1.
func find(tokens []token, is func(token) bool) (first, second int) {
	first, second = -1, -1
	for i, t := range tokens {
		switch {
		case !is(t):
		case first < 0:
			first = i
		case second < 0:
			second = i
		}
	}
	return first, second
}
