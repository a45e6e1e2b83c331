package grid

import "unicode/utf8"

type tokenKind byte

const (
	numberToken tokenKind = iota
	markToken
	letterToken
	commaToken
	slashToken
	labelToken
)

// token is a piece of a coordinate text. For numbers, off is that of the sign.
type token struct {
	kind    tokenKind
	off     int
	glued   bool // no blank before it
	sign    byte // '+', '-' or 0
	mark    byte // one of '°' (as Latin-1), '\'', '"', ':'
	letter  byte // N S E W; of a label N for latitude, E for longitude
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
	case r == '/':
		t.kind = slashToken
		return t, i + size, nil
	case marks[r] != 0:
		t.kind, t.mark = markToken, marks[r]
		return t, i + size, nil
	case r < utf8.RuneSelf && isLetter(byte(r)):
		return wordToken(s, i)
	case r == ';':
		return t, 0, fail(i, "unexpected ';'; write a point in decimals and a comma between the coordinates")
	}
	return t, 0, fail(i, "unexpected %s", quoted(s[i:]))
}
