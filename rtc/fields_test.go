package rtc

import (
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

func TestFieldsUTC(t *testing.T) {
	for _, tc := range []struct {
		name string
		f    Fields
		want string // RFC 3339, "" = error
	}{
		{"bad: month 13", Fields{0, 0, 0, 1, 12, 126}, ""},
		{"bad: month 0", Fields{0, 0, 0, 1, -1, 126}, ""},
		{"bad: day 0, an empty chip", Fields{0, 0, 0, 0, 0, 100}, ""},
		{"bad: 30 February", Fields{0, 0, 0, 30, 1, 126}, ""},
		{"bad: 29 February, no leap year", Fields{0, 0, 0, 29, 1, 127}, ""},
		{"bad: hour 24", Fields{0, 0, 24, 1, 0, 126}, ""},
		{"bad: minute 60", Fields{0, 60, 0, 1, 0, 126}, ""},
		{"bad: second 60", Fields{60, 59, 23, 31, 11, 116}, ""}, // rtc_valid_tm of Linux refuses it too
		{"bad: second 165, BCD rubbish", Fields{165, 0, 0, 1, 0, 126}, ""},
		{"bad: year 1969", Fields{59, 59, 23, 31, 11, 69}, ""},
		{"bad: year beyond timescale", Fields{0, 0, 0, 1, 0, 362}, ""},
		{"bad: everything at its extreme", Fields{-1 << 31, -1 << 31, -1 << 31, -1 << 31, 1<<31 - 1, 1<<31 - 1}, ""},
		{"dead battery", Fields{0, 0, 0, 1, 0, 70}, "1970-01-01T00:00:00Z"},
		{"start of most chips' range", Fields{0, 0, 0, 1, 0, 100}, "2000-01-01T00:00:00Z"},
		{"end of most chips' range", Fields{59, 59, 23, 31, 11, 199}, "2099-12-31T23:59:59Z"},
		{"the last year of timescale", Fields{59, 59, 23, 31, 11, 361}, "2261-12-31T23:59:59Z"},
		{"leap day", Fields{5, 4, 3, 29, 1, 128}, "2028-02-29T03:04:05Z"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			u, err := tc.f.UTC()
			got := ""
			if err != nil && u != 0 {
				t.Errorf("%v besides the error %v", u, err)
			}
			if err == nil {
				got = u.Time().Format(time.RFC3339)
			}
			if got != tc.want {
				t.Errorf("got %q (%v), want %q", got, err, tc.want)
			}
		})
	}
}

// An operator counts months from 1, the kernel from 0.
func TestFieldsSayWhatIsWrong(t *testing.T) {
	for want, f := range map[string]Fields{
		"month 13 out of range 1 to 12":             {0, 0, 0, 1, 12, 126},
		"month 0 out of range 1 to 12":              {0, 0, 0, 1, -1, 126},
		"day 31 out of range 1 to 30":               {0, 0, 0, 31, 3, 126},
		"second 60 out of range 0 to 59":            {60, 0, 0, 1, 0, 126},
		"year 1969 out of range 1970 to 2261":       {0, 0, 0, 1, 0, 69},
		"year 2262 out of range 1970 to 2261":       {0, 0, 0, 1, 0, 362},
		"hour 24 out of range 0 to 23":              {0, 0, 24, 1, 0, 126},
		"minute -1 out of range 0 to 59":            {0, -1, 0, 1, 0, 126},
		"day 30 out of range 1 to 29":               {0, 0, 0, 30, 1, 128},
		"year 2147485547 out of range 1970 to 2261": {0, 0, 0, 1, 0, 1<<31 - 1},
	} {
		if _, err := f.UTC(); err == nil || err.Error() != want {
			t.Errorf("%+v: %v, want %q", f, err, want)
		}
	}
}

// Range ends from Linux's drivers (RTC_TIMESTAMP_BEGIN_2000, _END_2099).
func TestFieldsRange(t *testing.T) {
	for _, tc := range []struct {
		f    Fields
		unix int64
	}{{Fields{0, 0, 0, 1, 0, 100}, 946684800}, {Fields{59, 59, 23, 31, 11, 199}, 4102444799}} {
		u, err := tc.f.UTC()
		if err != nil || int64(u) != tc.unix*timescale.Second {
			t.Errorf("%+v: %d, %v; want %d s", tc.f, u, err, tc.unix)
		}
	}
}

// FuzzFields holds UTC to the standard library: it accepts exactly what
// time.Date does not have to normalise, and FieldsOf undoes it.
func FuzzFields(f *testing.F) {
	f.Add(int32(0), int32(0), int32(0), int32(1), int32(0), int32(100))
	f.Add(int32(59), int32(59), int32(23), int32(29), int32(1), int32(200))
	f.Add(int32(60), int32(-1), int32(24), int32(31), int32(3), int32(126))
	f.Fuzz(func(t *testing.T, s, mi, h, d, mo, y int32) {
		in := Fields{s, mi, h, d, mo, y}
		u, err := in.UTC()
		ref := time.Date(int(y)+1900, time.Month(int(mo)+1), int(d), int(h), int(mi), int(s), 0, time.UTC)
		same := ref.Year() == int(y)+1900 && int(ref.Month()) == int(mo)+1 && ref.Day() == int(d) &&
			ref.Hour() == int(h) && ref.Minute() == int(mi) && ref.Second() == int(s)
		valid := same && int(y)+1900 >= minYear && int(y)+1900 <= maxYear
		if valid != (err == nil) {
			t.Fatalf("%+v: error %v, by time.Date valid %v", in, err, valid)
		}
		if err != nil {
			return
		}
		if !u.Time().Equal(ref) {
			t.Fatalf("%+v: %v, time.Date says %v", in, u.Time(), ref)
		}
		if back := FieldsOf(u); back != in {
			t.Fatalf("%+v came back as %+v", in, back)
		}
	})
}
