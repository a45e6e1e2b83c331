package status

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"time"

	"noonmark/clockcheck/timescale"
)

// Float is a number that may not be known. The zero Float is not known, and is
// null in JSON.
type Float struct {
	V  float64
	OK bool
}

// Known returns v as a known number. NaN and the infinities are not numbers
// anyone can use: they come back as not known.
func Known(v float64) Float {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Float{}
	}
	return Float{V: v, OK: true}
}

// String is the number as in JSON, or "not known".
func (f Float) String() string {
	if !f.OK {
		return "not known"
	}
	return string(appendNumber(nil, f.V))
}

// MarshalJSON writes the number with at most seven decimals (a tenth of a
// microsecond; a centimetre in degrees), or null.
func (f Float) MarshalJSON() ([]byte, error) {
	if !f.OK || math.IsNaN(f.V) || math.IsInf(f.V, 0) {
		return []byte("null"), nil
	}
	return appendNumber(make([]byte, 0, 24), f.V), nil
}

// UnmarshalJSON reads a number or null.
func (f *Float) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*f = Float{}
		return nil
	}
	var v float64
	if err := json.Unmarshal(b, &v); err != nil {
		return err
	}
	*f = Known(v)
	return nil
}

// appendNumber appends v, finite, in plain decimals without trailing zeros.
func appendNumber(b []byte, v float64) []byte {
	const unit = 1e7
	if math.Abs(v) >= 1e8 { // rounding would cost digits, and 'f' be endless
		return strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	r := math.Round(v*unit) / unit
	if r == 0 {
		r = 0 // not "-0"
	}
	return strconv.AppendFloat(b, r, 'f', -1, 64)
}

// Time is a claim about UTC that may not be known. The zero Time is not known,
// and is null in JSON.
type Time struct {
	V  timescale.UTC
	OK bool
}

// At returns u as a known time.
func At(u timescale.UTC) Time { return Time{V: u, OK: true} }

// layout picks as many decimals as the time needs, of 0, 3 and 6: RFC 3339, UTC.
func (t Time) layout() (time.Time, string) {
	u := t.V.Time().Round(time.Microsecond)
	switch ns := u.Nanosecond(); {
	case ns == 0:
		return u, "2006-01-02T15:04:05Z"
	case ns%1_000_000 == 0:
		return u, "2006-01-02T15:04:05.000Z"
	}
	return u, "2006-01-02T15:04:05.000000Z"
}

// MarshalJSON writes RFC 3339 in UTC to the microsecond, or null.
func (t Time) MarshalJSON() ([]byte, error) {
	if !t.OK {
		return []byte("null"), nil
	}
	u, layout := t.layout()
	b := append(make([]byte, 0, 32), '"')
	return append(u.AppendFormat(b, layout), '"'), nil
}

// UnmarshalJSON reads RFC 3339 or null. A year that timescale.UTC cannot hold is
// an error.
func (t *Time) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*t = Time{}
		return nil
	}
	var s string
	if err := json.Unmarshal(b, &s); err != nil {
		return err
	}
	u, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return fmt.Errorf("time %q is not RFC 3339", clip(s, 40))
	}
	if y := u.UTC().Year(); y <= 1678 || y >= 2262 {
		return fmt.Errorf("time %q is out of range", clip(s, 40))
	}
	*t = At(timescale.UTCOf(u))
	return nil
}

// clip shortens s for a message.
func clip(s string, n int) string {
	if len(s) > n {
		return s[:n] + "…"
	}
	return s
}
