package gnss

import (
	"time"

	"github.com/adrianmo/go-nmea"
)

// The fields whose wrong reading would do harm are parsed here, digit by digit:
// strconv behind the library takes signs, NaN, hexadecimals and underscores, and
// its clock and calendar have no ends.

// digits returns the value of s, which must be all decimal digits, 1 to 9 of them.
func digits(s string) (int, bool) {
	if len(s) == 0 || len(s) > 9 {
		return 0, false
	}
	n := 0
	for i := 0; i < len(s); i++ {
		c := s[i] - '0'
		if c > 9 {
			return 0, false
		}
		n = n*10 + int(c)
	}
	return n, true
}

// fraction reads what follows the whole number in s: nothing, or '.' and digits.
// It returns the first `keep` decimals as an integer; the others must be digits
// and are dropped.
func fraction(s string, keep int) (int64, bool) {
	if s == "" {
		s = "."
	}
	if s[0] != '.' {
		return 0, false
	}
	var n int64
	for i := 1; i <= keep || i < len(s); i++ {
		var c byte
		if i < len(s) {
			c = s[i] - '0'
		}
		if c > 9 {
			return 0, false
		}
		if i <= keep {
			n = n*10 + int64(c)
		}
	}
	return n, true
}

// clock reads hhmmss or hhmmss.s…. The result is the time since 00:00:00; from
// 24 h on it is a leap second, which can only be 23:59:60: firmware that rounds
// 59.9996 up to 60 in any other minute names no time that exists.
func clock(s string) (time.Duration, bool) {
	if len(s) < 6 {
		return 0, false
	}
	hms, ok1 := digits(s[:6])
	ns, ok2 := fraction(s[6:], 9)
	h, m, sec := hms/10000, hms/100%100, hms%100
	if !ok1 || !ok2 || h > 23 || m > 59 || sec > 60 || sec == 60 && (h != 23 || m != 59) {
		return 0, false
	}
	return time.Duration(h*3600+m*60+sec)*time.Second + time.Duration(ns), true
}

// date is a day of the Gregorian calendar that exists.
type date struct {
	year       int16
	month, day int8
	digits     int8 // of the year as printed; 0 = no date
}

var monthDays = [13]int{0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

// calendar makes a date of its parts. A date of all zeros, which some receivers
// print before they know it, is no date.
func calendar(year, month, day, yearDigits int) (date, bool) {
	if month == 0 && day == 0 {
		return date{}, true
	}
	if month < 1 || month > 12 || day < 1 {
		return date{}, false
	}
	last := monthDays[month]
	if month == 2 && year%4 == 0 && (year%100 != 0 || year%400 == 0) {
		last = 29
	}
	if day > last || year < 1678 || year > 2261 { // the years timescale.UTC can hold
		return date{}, false
	}
	return date{int16(year), int8(month), int8(day), int8(yearDigits)}, true
}

// addDays moves the date by n days.
func (d date) addDays(n int) date {
	if n == 0 {
		return d
	}
	t := time.Date(int(d.year), time.Month(d.month), int(d.day)+n, 0, 0, 0, 0, time.UTC)
	return date{int16(t.Year()), int8(t.Month()), int8(t.Day()), d.digits}
}

// same tells whether both are the same day, however the year was printed.
func (d date) same(e date) bool {
	return d.year == e.year && d.month == e.month && d.day == e.day
}

// fullYear places a two-digit year in the hundred years from first on.
func fullYear(yy, first int) int {
	y := first - first%100 + yy
	if y < first {
		y += 100
	}
	return y
}

// ddmmyy reads RMC's date. An empty field is no date and no error.
func ddmmyy(s string, first int) (date, bool) {
	if s == "" {
		return date{}, true
	}
	n, ok := digits(s)
	if !ok || len(s) != 6 {
		return date{}, false
	}
	return calendar(fullYear(n%100, first), n/100%100, n/10000, 2)
}

// angle reads ddmm.mmm or dddmm.mmm (degree digits: wide) and its hemisphere
// letter, positive or negative one; the degrees may not pass limit.
func angle(s, hemi string, wide int, positive, negative byte, limit int64) (Angle, bool) {
	if len(s) < wide+2 || len(hemi) != 1 {
		return 0, false
	}
	deg, ok1 := digits(s[:wide])
	min, ok2 := digits(s[wide : wide+2])
	frac, ok3 := fraction(s[wide+2:], 7)
	if !ok1 || !ok2 || !ok3 || min > 59 {
		return 0, false
	}
	a := Angle((int64(deg)*60+int64(min))*10_000_000 + frac)
	if a > Angle(limit*600_000_000) {
		return 0, false
	}
	switch hemi[0] {
	case positive:
		return a, true
	case negative:
		return -a, true
	}
	return 0, false
}

// field returns the i-th field after the address, "" where the sentence ends
// before it.
func field(p *nmea.Parser, i int) string {
	if i < len(p.Fields) {
		return p.Fields[i]
	}
	return ""
}

// number reads a decimal number with go-nmea, once its spelling is plain: an
// optional minus, digits, at most one point. ok is false if the field is empty.
func number(p *nmea.Parser, i int, name string) (v float64, ok bool) {
	s := field(p, i)
	if s == "" {
		return 0, false
	}
	digit, point := false, false
	for j := 0; j < len(s); j++ {
		switch c := s[j]; {
		case c >= '0' && c <= '9':
			digit = true
		case c == '.' && !point:
			point = true
		case c == '-' && j == 0:
		default:
			p.SetErr(name, s)
			return 0, false
		}
	}
	if !digit || len(s) > 20 {
		p.SetErr(name, s)
		return 0, false
	}
	return p.Float64(i, name), true
}

// count reads a whole number from 0 to max, −1 if the field is empty.
func count(p *nmea.Parser, i, max int, name string) int8 {
	s := field(p, i)
	if s == "" {
		return -1
	}
	n, ok := digits(s)
	if !ok || n > max {
		p.SetErr(name, s)
		return -1
	}
	return int8(n)
}

// letter reads a one-letter field that must be one of allowed, 0 if empty.
func letter(p *nmea.Parser, i int, name, allowed string) byte {
	s := field(p, i)
	if s == "" {
		return 0
	}
	if len(s) == 1 {
		for j := 0; j < len(allowed); j++ {
			if s[0] == allowed[j] {
				return s[0]
			}
		}
	}
	p.SetErr(name, s)
	return 0
}
