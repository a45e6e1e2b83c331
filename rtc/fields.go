package rtc

import (
	"fmt"
	"time"

	"noonmark/clockcheck/timescale"
)

// Fields is what a clock shows, in the units of the kernel's struct rtc_time:
// Month counts from 0, Year from 1900 (source: linux/rtc.h, rtc(4)).
type Fields struct {
	Sec, Min, Hour, Day, Month, Year int32
}

// Years a clock may show. The chips' own ranges lie within 1970 to 2099; the
// upper limit here is that of timescale.UTC. Whether a year is believable is for
// the judge to say: a clock that lost its battery often shows 1970 or 2000.
const minYear, maxYear = 1970, 2261

// UTC returns the instant at which the second shown began, taking the clock to
// keep UTC. It is an error if a field is outside its calendar range.
func (f Fields) UTC() (timescale.UTC, error) {
	year := int64(f.Year) + 1900
	if year < minYear || year > maxYear {
		return 0, fmt.Errorf("year %d out of range %d to %d", year, minYear, maxYear)
	}
	if f.Month < 0 || f.Month > 11 {
		return 0, fmt.Errorf("month %d out of range 1 to 12", int64(f.Month)+1)
	}
	month := time.Month(f.Month + 1)
	days := int32(time.Date(int(year), month+1, 0, 0, 0, 0, 0, time.UTC).Day())
	for _, r := range []struct {
		name        string
		v, min, max int32
	}{{"day", f.Day, 1, days}, {"hour", f.Hour, 0, 23}, {"minute", f.Min, 0, 59}, {"second", f.Sec, 0, 59}} {
		if r.v < r.min || r.v > r.max {
			return 0, fmt.Errorf("%s %d out of range %d to %d", r.name, r.v, r.min, r.max)
		}
	}
	return timescale.UTCOf(time.Date(int(year), month, int(f.Day), int(f.Hour), int(f.Min), int(f.Sec), 0, time.UTC)), nil
}

// FieldsOf returns what a clock that keeps UTC shows at u, the part of a second
// dropped.
func FieldsOf(u timescale.UTC) Fields {
	t := u.Time()
	return Fields{Sec: int32(t.Second()), Min: int32(t.Minute()), Hour: int32(t.Hour()),
		Day: int32(t.Day()), Month: int32(t.Month()) - 1, Year: int32(t.Year()) - 1900}
}
