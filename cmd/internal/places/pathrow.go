package places

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
)

// rowFormat writes answers. The general libraries for CSV, JSON and numbers take
// longer than the geodesic itself, so the rows are put together here.
type rowFormat struct {
	head string
	row  func([]byte, *row) []byte
}

const (
	textHead = "Distance km     ± km  Heading°     ±°    Back°     ±°  Place\n"
	csvHead  = "line,place,name,distance_m,distance_bound_m,heading_deg,heading_bound_deg,back_heading_deg,back_heading_bound_deg\r\n"
)

func appendTextRow(b []byte, r *row) []byte {
	const columns = "                                                      "
	b = append(b, columns...)
	c := b[len(b)-len(columns):]
	fill(c[:11], nearest(r.line.DistanceM), 3)
	fill(c[12:20], above(r.bound.DistanceM), 3)
	fillHeading(c[26:36], r.line.HeadingDeg, r.bound.HeadingDeg)
	fillHeading(c[42:52], r.line.BackHeadingDeg, r.bound.BackHeadingDeg)
	b = append(b, r.place...)
	if r.name != "" {
		b = append(append(b, "  "...), r.name...)
	}
	return append(b, '\n')
}

// fillHeading writes a heading and its ± into ten columns.
func fillHeading(c []byte, deg, bound float64) {
	h := uint32(nearest(deg)) % 360
	c[0], c[1], c[2] = byte('0'+h/100), byte('0'+h/10%10), byte('0'+h%10)
	if bound >= 180 {
		copy(c[7:], "any")
		return
	}
	fill(c, above(bound*10), 1)
}

// fill writes n ≥ 0 from the right into columns that are blank, the last digits as
// decimals.
func fill(c []byte, n int64, decimals int) {
	v, i := uint32(min(n, math.MaxUint32)), len(c)-1
	for range decimals {
		c[i] = byte('0' + v%10)
		v /= 10
		i--
	}
	c[i] = '.'
	for i--; i >= 0; i-- {
		c[i] = byte('0' + v%10)
		if v /= 10; v == 0 {
			return
		}
	}
}

func appendCSVRow(b []byte, r *row) []byte {
	b = strconv.AppendInt(b, int64(r.number), 10)
	b = appendCSVField(append(b, ','), r.place)
	b = appendCSVField(append(b, ','), r.name)
	for _, n := range r.thousandths() {
		b = appendThousandths(append(b, ','), n)
	}
	return append(b, "\r\n"...)
}

// appendCSVField quotes where RFC 4180 asks for it. A field never holds the end of
// a line here.
func appendCSVField(b []byte, s string) []byte {
	for i := range len(s) {
		switch s[i] {
		case '"':
			s = strings.ReplaceAll(s, `"`, `""`)
			return append(append(append(b, '"'), s...), '"')
		case ',', '\r':
			if !strings.Contains(s[i:], `"`) {
				return append(append(append(b, '"'), s...), '"')
			}
		}
	}
	return append(b, s...)
}

var jsonNames = [...]string{"distance_m", "distance_bound_m", "heading_deg", "heading_bound_deg", "back_heading_deg", "back_heading_bound_deg"}

func appendJSONRow(b []byte, r *row) []byte {
	b = strconv.AppendInt(append(b, `{"line":`...), int64(r.number), 10)
	b = appendJSONString(append(b, `,"place":`...), r.place)
	b = appendJSONString(append(b, `,"name":`...), r.name)
	for i, n := range r.thousandths() {
		b = append(append(append(b, `,"`...), jsonNames[i]...), `":`...)
		b = appendThousandths(b, n)
	}
	return append(b, "}\n"...)
}

func appendJSONString(b []byte, s string) []byte {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			text, _ := json.Marshal(s) // a string always can
			return append(b, text...)
		}
	}
	return append(append(append(b, '"'), s...), '"')
}

// thousandths are the numbers of a row: millimetres, and thousandths of a degree,
// which are 110 m at the other side of the Earth. Bounds are rounded up, headings
// to below 360.
func (r *row) thousandths() [6]int64 {
	heading := func(deg float64) int64 {
		if n := nearest(deg * 1000); n < 360_000 {
			return n
		}
		return 0
	}
	return [6]int64{
		nearest(r.line.DistanceM * 1000), above(r.bound.DistanceM * 1000),
		heading(r.line.HeadingDeg), above(r.bound.HeadingDeg * 1000),
		heading(r.line.BackHeadingDeg), above(r.bound.BackHeadingDeg * 1000),
	}
}

// nearest and above round v ≥ 0.
func nearest(v float64) int64 { return int64(v + 0.5) }

func above(v float64) int64 { return int64(math.Ceil(v)) }

// appendThousandths writes n/1000 with three decimals, n ≥ 0.
func appendThousandths(b []byte, n int64) []byte {
	whole, part := uint64(n)/1000, uint32(uint64(n)%1000)
	b = strconv.AppendUint(b, whole, 10)
	return append(b, '.', byte('0'+part/100), byte('0'+part/10%10), byte('0'+part%10))
}
