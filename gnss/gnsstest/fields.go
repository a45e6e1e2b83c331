package gnsstest

import (
	"math"
	"strconv"
)

// latLon appends ddmm.mmmmm,N,dddmm.mmmmm,E in exact integers of 1e-5 minute.
func latLon(b []byte, e *epoch) []byte {
	if !e.valid {
		return append(b, ",,,"...)
	}
	b = append(append(angle(b, e.lat, 2), ','), hemisphere(e.lat, 'N', 'S'), ',')
	return append(append(angle(b, e.lon, 3), ','), hemisphere(e.lon, 'E', 'W'))
}

func angle(b []byte, deg float64, digits int) []byte {
	n := int(math.Round(math.Abs(deg) * 60 * 1e5))
	b = pad(pad(b, n/(60*1e5), digits), n/1e5%60, 2)
	return pad(append(b, '.'), n%1e5, 5)
}

func hemisphere(deg float64, plus, minus byte) byte {
	if deg < 0 {
		return minus
	}
	return plus
}

// fixed appends v ≥ 0, or a negative altitude, with decimals digits.
func fixed(b []byte, v float64, decimals int) []byte {
	n := int(math.Round(math.Abs(v) * float64(pow10(decimals))))
	if v < 0 && n != 0 {
		b = append(b, '-')
	}
	b = strconv.AppendInt(b, int64(n/pow10(decimals)), 10)
	return pad(append(b, '.'), n%pow10(decimals), decimals)
}

// pow10 is 10 to the n, n 0 to 9.
func pow10(n int) int { return tens[n] }

var tens = [...]int{1, 10, 100, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9}

// pad appends n ≥ 0 in at least digits digits.
func pad(b []byte, n, digits int) []byte {
	for p := pow10(digits - 1); p > n && p > 1; p /= 10 {
		b = append(b, '0')
	}
	return strconv.AppendInt(b, int64(n), 10)
}
