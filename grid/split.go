package grid

// split divides the tokens into the two coordinates, by the first of these that
// is there: labels, a comma or a slash, letters, degree marks, colons, or an even
// number of bare numbers. end is where the text ends.
func split(tokens []token, end int) (a, b []token, err *SyntaxError) {
	hyphens(tokens)
	if err := checkGlued(tokens); err != nil {
		return nil, nil, err
	}
	for _, by := range []func([]token, int) (int, int, *SyntaxError){byLabel, bySeparator, byLetter, byDegree, byColon} {
		first, second, err := by(tokens, end)
		if err != nil {
			return nil, nil, err
		}
		if first > 0 {
			return tokens[:first], tokens[second:], nil
		}
	}
	if n := len(tokens); n == 1 || n%2 != 0 {
		return nil, nil, fail(end, "%s; write a comma between latitude and longitude, or letters N S E W",
			map[bool]string{true: "the second coordinate is missing", false: "it is not clear where the longitude begins"}[n == 1])
	}
	return tokens[:len(tokens)/2], tokens[len(tokens)/2:], nil
}

// The ways to split give where the first coordinate ends and the second begins, 0 if
// they do not apply.

// byLabel: Lat 48.5 Lon 11.2, with or without a comma between.
func byLabel(tokens []token, end int) (first, second int, err *SyntaxError) {
	i, k := find(tokens, func(t token) bool { return t.kind == labelToken })
	switch {
	case i < 0:
		return 0, 0, nil
	case i > 0:
		return 0, 0, fail(tokens[i].off, "a word for latitude or longitude must stand before its number")
	case k < 0:
		return 0, 0, fail(end, "the second coordinate is missing, or its word")
	}
	first = k
	if isSeparator(tokens[k-1]) {
		first--
	}
	for n, t := range tokens {
		switch {
		case n != 0 && n != k && t.kind == labelToken:
			return 0, 0, fail(t.off, "a third word for latitude or longitude")
		case n != first && isSeparator(t):
			return 0, 0, fail(t.off, "unexpected here; decimals are written with a point")
		}
	}
	if first == 0 {
		return 0, 0, fail(tokens[k].off, "a number is missing here")
	}
	return first, k, nil
}

func isSeparator(t token) bool { return t.kind == commaToken || t.kind == slashToken }

func bySeparator(tokens []token, _ int) (first, second int, err *SyntaxError) {
	i, k := find(tokens, isSeparator)
	switch {
	case i < 0:
		return 0, 0, nil
	case k >= 0 && tokens[i].kind == slashToken:
		return 0, 0, fail(tokens[k].off, "unexpected after the slash; decimals are written with a point")
	case k >= 0:
		return 0, 0, fail(tokens[k].off, "a second comma; decimals are written with a point")
	case i == 0:
		return 0, 0, fail(tokens[0].off, "a coordinate is missing before this")
	case i < len(tokens)-1 && len(tokens) > 3 && decimalComma(tokens[i-1:i+2]):
		return 0, 0, fail(tokens[i].off, "this comma may stand for a decimal point. Write decimals with a point, and a blank after a comma between the coordinates")
	}
	return i, i + 1, nil
}

// decimalComma reports whether the middle one of three tokens is a comma that may
// stand for a decimal point: close between a whole number and a number without sign.
// Only where these are all there is (48,11) is it surely none: half a place is none.
func decimalComma(t []token) bool {
	return t[1].kind == commaToken && t[0].kind == numberToken && t[0].frac == "" && t[1].glued && t[2].kind == numberToken && t[2].sign == 0 && t[2].glued
}

func byLetter(tokens []token, end int) (first, second int, err *SyntaxError) {
	i, k := find(tokens, func(t token) bool { return t.kind == letterToken })
	switch {
	case i > 0:
		return i + 1, i + 1, nil
	case i == 0 && k < 0:
		return 0, 0, fail(end, "the second coordinate is missing, or its letter")
	case i == 0:
		return k, k, nil
	}
	return 0, 0, nil
}

func byDegree(tokens []token, end int) (first, second int, err *SyntaxError) {
	i, k := find(tokens, func(t token) bool { return t.mark == '°' })
	switch {
	case i < 0:
		return 0, 0, nil
	case k < 2:
		return 0, 0, fail(end, "the second coordinate is missing, or its degree mark")
	}
	return k - 1, k - 1, nil
}

func byColon(tokens []token, end int) (first, second int, err *SyntaxError) {
	if i, _ := find(tokens, func(t token) bool { return t.mark == ':' }); i < 0 {
		return 0, 0, nil
	}
	for k := 1; k < len(tokens); k++ {
		if tokens[k-1].kind == numberToken && tokens[k].kind == numberToken {
			return k, k, nil
		}
	}
	return 0, 0, fail(end, "the second coordinate is missing")
}

// hyphens takes the minus in 48-30.5N 011-15.0E for what it is: where both coordinates
// have letters there are no signs, and it stands between degrees and minutes.
func hyphens(tokens []token) {
	n := 0
	for _, t := range tokens {
		if t.kind == letterToken {
			n++
		}
	}
	for i := 1; i < len(tokens) && n == 2; i++ {
		if t := &tokens[i]; t.sign == '-' && t.glued && tokens[i-1].kind == numberToken {
			t.sign, t.off = 0, t.decimal.off
		}
	}
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
