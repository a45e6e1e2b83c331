package gnss

import (
	"math"
	"strings"
	"testing"

	"github.com/adrianmo/go-nmea"
)

// Each test shows a trap of go-nmea v1.10.0 on the library itself, then that it
// does not reach an Epoch. If the library mends one, the test says so: the trap is
// gone and the comment in the code may go too.

func panics(line string) (did bool) {
	defer func() { did = recover() != nil }()
	_, _ = nmea.Parse(line)
	return false
}

func TestTrapPanics(t *testing.T) {
	for _, line := range []string{sum("$GNTXT,01"), sum("$GPALC")} {
		if !panics(strings.TrimSpace(line)) {
			t.Logf("the library no longer panics on %q", line)
		}
		es, d := decode(Config{}, line+exampleGGA)
		if c := d.Counts(); c.Sentences != 2 || c.Skipped["parser fault"] != 0 || len(es) != 1 {
			t.Errorf("%q: got %d epochs, counts %+v; want one epoch after it", line, len(es), c)
		}
	}
}

func TestTrapEmptyPositionIsZero(t *testing.T) {
	for _, line := range []string{
		"$GNRMC,010203,V,,,,,,,040526,,,N", "$GNRMC,010203,A,,,,,,,040526,,", "$GNGGA,010203,,,,,0,,,,,,,,",
		"$GNRMC,010203,A,,N,,E,,,040526,,", "$GNGGA,010203,,N,,W,1,04,1.0,,M,,M,,",
		"$GNGNS,010203,,,,,AN,04,1.0,,,,,V", "$GNGLL,,,,,010203,A,A",
	} {
		s := sum(line)
		if m, err := nmea.Parse(strings.TrimSpace(s)); err == nil && !strings.Contains(line, ",N,,") {
			if r, ok := m.(nmea.RMC); ok && (r.Latitude != 0 || r.Longitude != 0) {
				t.Errorf("%q: the library now gives %v, %v", line, r.Latitude, r.Longitude)
			}
		}
		es, _ := decode(Config{}, s)
		if len(es) != 1 || es[0].HasPosition || es[0].Lat != 0 || es[0].Lon != 0 {
			t.Errorf("%q: got %+v, want one epoch without position", line, es)
		}
	}
}

// What the library takes and we refuse: the whole sentence is malformed.
func TestTrapImpossibleValues(t *testing.T) {
	for _, c := range []struct {
		name, line string
		taken      bool // by the library, without an error
	}{
		{"NaN latitude", "$GPRMC,010203,A,NaN,N,06729.0000,W,0.0,0.0,040526,,", true},
		{"infinite longitude", "$GPRMC,010203,A,2007.8000,S,Inf,W,0.0,0.0,040526,,", true},
		{"hexadecimal latitude", "$GPRMC,010203,A,0x1p4,N,06729.0000,W,0.0,0.0,040526,,", true},
		{"underscore in latitude", "$GPRMC,010203,A,20_07.8,S,06729.0000,W,0.0,0.0,040526,,", true},
		{"sign in latitude", "$GPRMC,010203,A,-2007.8000,N,06729.0000,W,0.0,0.0,040526,,", true},
		{"minutes past 59", "$GPRMC,010203,A,2060.0000,S,06729.0000,W,0.0,0.0,040526,,", true},
		{"latitude with E", "$GPRMC,010203,A,2007.8000,E,06729.0000,W,0.0,0.0,040526,,", true},
		{"longitude with S", "$GPRMC,010203,A,2007.8000,S,06729.0000,S,0.0,0.0,040526,,", true},
		{"latitude past the pole", "$GPRMC,010203,A,9000.0001,S,06729.0000,W,0.0,0.0,040526,,", false},
		{"longitude past 180", "$GPRMC,010203,A,2007.8000,S,18000.0001,W,0.0,0.0,040526,,", false},
		{"no hemisphere", "$GPRMC,010203,A,2007.8000,,06729.0000,W,0.0,0.0,040526,,", false},
		{"half a position", "$GPRMC,010203,A,2007.8000,S,,W,0.0,0.0,040526,,", false},
		{"25:61:99", "$GPRMC,256199,A,2007.8000,S,06729.0000,W,0.0,0.0,040526,,", true},
		{"24:00:00", "$GPRMC,240000,A,2007.8000,S,06729.0000,W,0.0,0.0,040526,,", true},
		{"second 60 in mid-day", "$GPRMC,123460,A,2007.8000,S,06729.0000,W,0.0,0.0,040526,,", true},
		{"second 61", "$GPRMC,235961,A,2007.8000,S,06729.0000,W,0.0,0.0,040526,,", true},
		{"time cut short", "$GPRMC,01020,A,2007.8000,S,06729.0000,W,0.0,0.0,040526,,", false},
		{"31 February", "$GPRMC,010203,A,2007.8000,S,06729.0000,W,0.0,0.0,310226,,", true},
		{"29 February 2026", "$GPRMC,010203,A,2007.8000,S,06729.0000,W,0.0,0.0,290226,,", true},
		{"month 13", "$GPRMC,010203,A,2007.8000,S,06729.0000,W,0.0,0.0,041326,,", true},
		{"signs in the date", "$GPRMC,010203,A,2007.8000,S,06729.0000,W,0.0,0.0,-1+5-3,,", true},
		{"speed NaN", "$GPRMC,010203,A,2007.8000,S,06729.0000,W,NaN,0.0,040526,,", true},
		{"speed with underscore", "$GPRMC,010203,A,2007.8000,S,06729.0000,W,0x1_0p0,0.0,040526,,", true},
		{"altitude Inf", "$GPGGA,010203,2007.8000,S,06729.0000,W,1,08,0.9,Inf,M,,M,,", true},
		{"negative HDOP", "$GPGGA,010203,2007.8000,S,06729.0000,W,1,08,-0.9,3656.0,M,,M,,", true},
		{"negative satellites", "$GPGGA,010203,2007.8000,S,06729.0000,W,1,-8,0.9,3656.0,M,,M,,", true},
		{"status B", "$GPRMC,010203,B,2007.8000,S,06729.0000,W,0.0,0.0,040526,,", false},
		{"RMC without its date field", "$GPRMC,010203,A,2007.8000,S,06729.0000,W,0.0,0.0", false},
		{"GNS with a strange mode", "$GNGNS,010203,2007.8000,S,06729.0000,W,A?,08,0.9,3656.0,,,", false},
		{"GSA fix 4", "$GPGSA,A,4,01,02,03,,,,,,,,,,1.8,0.9,1.5", false},
		{"ZDA on 30 February", "$GPZDA,010203,30,02,2026,00,00", true},
		{"ZDA with a three-digit year", "$GPZDA,010203,04,05,026,00,00", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := sum(c.line)
			if _, err := nmea.Parse(strings.TrimSpace(s)); (err == nil) != c.taken {
				t.Errorf("the library: error %v, want it taken %v", err, c.taken)
			}
			es, d := decode(Config{}, s)
			if n := d.Counts().Skipped["malformed"]; len(es) != 0 || n != 1 {
				t.Errorf("got %+v and %d malformed, want no epoch and 1", es, n)
			}
		})
	}
}

// What the library refuses or bends and we need.
func TestTrapRefusals(t *testing.T) {
	for _, c := range []struct {
		name, line string
		check      func(Epoch) bool
	}{
		{"quality 8", "$GPGGA,010203,2007.8,S,06729.0,W,8,08,0.9,3656.0,M,,M,,", func(e Epoch) bool { return e.Quality == 8 && e.Simulated && !e.Valid }},
		{"quality 7", "$GPGGA,010203,2007.8,S,06729.0,W,7,08,0.9,3656.0,M,,M,,", func(e Epoch) bool { return e.Quality == 7 && !e.Valid }},
		{"ZDA without zone", "$GPZDA,010203.00,04,05,2026,,", func(e Epoch) bool { return e.DateOK && e.YearDigits == 4 && e.HasTime }},
		{"ZDA of four fields", "$GPZDA,010203.00,04,05,2026", func(e Epoch) bool { return e.DateOK && e.YearDigits == 4 && e.HasTime }},
		{"ZDA with empty date", "$GPZDA,010203,,,,00,", func(e Epoch) bool { return !e.DateOK && e.HasTime }},
		{"ZDA with zero date", "$GPZDA,010203,00,00,0000,00,00", func(e Epoch) bool { return !e.DateOK && e.HasTime }},
		{"strange navigation status", "$GPRMC,010203,A,2007.8,S,06729.0,W,0.0,0.0,040526,,,A,Z", func(e Epoch) bool { return e.Valid }},
		{"microseconds", "$GPRMC,010203.9996,A,2007.8,S,06729.0,W,0.0,0.0,040526,,", func(e Epoch) bool { return e.TimeOfDay == 3723999600000 }},
		{"nanoseconds and more", "$GPRMC,010203.1234567899,A,2007.8,S,06729.0,W,0.0,0.0,040526,,", func(e Epoch) bool { return e.TimeOfDay == 3723123456789 }},
		{"year 80", "$GPRMC,010203,V,,,,,,,060180,,", func(e Epoch) bool { return e.Year == 1980 && e.YearDigits == 2 }},
		{"year 79", "$GPRMC,010203,V,,,,,,,060179,,", func(e Epoch) bool { return e.Year == 2079 }},
		{"year 00", "$GPRMC,010203,V,,,,,,,290200,,", func(e Epoch) bool { return e.Year == 2000 && e.Day == 29 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			es, _ := decode(Config{}, sum(c.line))
			if len(es) != 1 || !c.check(es[0]) {
				t.Errorf("got %+v", es)
			}
		})
	}
}

// The library turns 23:59:60 into the next midnight, so that the leap second and
// the second after it are the same instant twice.
func TestTrapLeapSecond(t *testing.T) {
	es, _ := decode(Config{}, leapRMC+leapGGA+
		sum("$GPRMC,000000,A,4913.2303,N,12305.9333,W,000.0,169.8,010199,019.6,E"))
	if len(es) != 2 {
		t.Fatalf("got %d epochs, want 2: %+v", len(es), es)
	}
	leap, next := es[0], es[1]
	if !leap.LeapSecond || leap.TimeOfDay.String() != "23h59m59s" || leap.Year != 1998 || !leap.Valid {
		t.Errorf("leap second: got %+v", leap)
	}
	a, _ := leap.UTC()
	b, ok := next.UTC()
	if next.LeapSecond || next.TimeOfDay != 0 || !ok || a != b || b.Time().Format("2006-01-02T15:04:05") != "1999-01-01T00:00:00" {
		t.Errorf("after it: got %+v, %v and %v", next, a.Time(), b.Time())
	}
}

// The library reads signal ids as decimal, so that a 'B' spoils the sentence, and
// cannot tell an untracked satellite from one of strength 0.
func TestTrapGSV(t *testing.T) {
	line := sum("$GBGSV,1,1,02,19,56,074,38,29,-1,312,,B")
	if _, err := nmea.Parse(strings.TrimSpace(line)); err == nil {
		t.Log("the library now reads hexadecimal signal ids")
	}
	_, d := decode(Config{}, line)
	got := d.Satellites(nil)
	want := []Satellite{
		{[2]byte{'G', 'B'}, 19, 'B', 56, 74, 38},
		{[2]byte{'G', 'B'}, 29, 'B', -1, 312, -1},
	}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestNoNumberEscapes(t *testing.T) {
	for _, e := range allEpochs(t) {
		for _, v := range []float32{e.HDOP, e.PDOP, e.AltM, e.SigmaLatM, e.SigmaLonM, e.SpeedMS} {
			if math.IsNaN(float64(v)) || math.IsInf(float64(v), 0) {
				t.Fatalf("not a number in %+v", e)
			}
		}
	}
}

func allEpochs(t *testing.T) (all []Epoch) {
	for _, b := range captures(t) {
		es, _ := decode(Config{}, string(b))
		all = append(all, es...)
	}
	return all
}
