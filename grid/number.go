package grid

import "math/big"

// decimal is an unsigned decimal number in a text: digits, and perhaps a point
// with digits after it. No exponent, no blank, no comma.
type decimal struct {
	whole, frac string // digits
	off, end    int
}

// scanDecimal reads the number that begins at i, where a digit must stand.
func scanDecimal(s string, i int) (decimal, *SyntaxError) {
	d := decimal{off: i}
	d.end = run(s, i, isDigit)
	d.whole = s[i:d.end]
	if d.whole == "" {
		return d, fail(i, "a number is missing here")
	}
	if d.end < len(s) && s[d.end] == '.' {
		from := d.end + 1
		if d.end = run(s, from, isDigit); d.end == from {
			return d, fail(from, "a digit is missing after the decimal point")
		}
		d.frac = s[from:d.end]
	}
	return d, nil
}

// times gives floor(d × unit), and whether that is exact. With more than
// eight digits before the point an angle would overflow: callers refuse them.
func (d decimal) times(unit int64) (product int64, exact bool) {
	v, _ := new(big.Int).SetString(d.whole+d.frac, 10)
	v.Mul(v, big.NewInt(unit))
	scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(len(d.frac))), nil)
	v, rest := v.QuoRem(v, scale, new(big.Int))
	return v.Int64(), rest.Sign() == 0
}

// metres gives d as a float64, for lengths.
func (d decimal) metres() float64 {
	r, _ := new(big.Rat).SetString(d.whole + "." + d.frac + "0")
	f, _ := r.Float64()
	return f
}

// angle is a sum of degrees, minutes and seconds before its range is checked.
type angle struct {
	units int64 // magnitude, cut
	exact bool
	neg   bool
}

// signed gives the angle cut toward south or west; not ok beyond limit units.
func (a angle) signed(limit int64) (int64, bool) {
	if a.units > limit || a.units == limit && !a.exact {
		return 0, false
	}
	if !a.neg {
		return a.units, true
	}
	if !a.exact {
		return -a.units - 1, true
	}
	return -a.units, true
}
