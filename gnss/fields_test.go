package gnss

import (
	"testing"

	"github.com/adrianmo/go-nmea"
)

func parser(fields ...string) *nmea.Parser {
	return nmea.NewParser(nmea.BaseSentence{Talker: "GP", Type: "GST", Fields: fields})
}

// A number is an optional minus, digits and at most one point, at most 20 characters;
// everything else that strconv would read is an error, an empty field is none.
func TestNumber(t *testing.T) {
	for _, tt := range []struct {
		s       string
		v       float64
		ok, bad bool
	}{
		{"", 0, false, false}, {"12", 12, true, false}, {"-1.5", -1.5, true, false}, {".5", 0.5, true, false}, {"5.", 5, true, false},
		{"09", 9, true, false}, {"12345678901234567890", 12345678901234567890, true, false},
		{"123456789012345678901", 0, false, true},
		{"-", 0, false, true}, {".", 0, false, true}, {"-.", 0, false, true}, {"1.2.3", 0, false, true}, {"1-2", 0, false, true},
		{"+1", 0, false, true}, {"1e3", 0, false, true}, {"0x1", 0, false, true}, {"NaN", 0, false, true}, {"1_0", 0, false, true}, {" 1", 0, false, true},
	} {
		p := parser(tt.s)
		v, ok := number(p, 0, "x")
		if v != tt.v || ok != tt.ok || (p.Err() != nil) != tt.bad {
			t.Errorf("%q: %v, %v, error %v", tt.s, v, ok, p.Err())
		}
	}
	if v, ok := number(parser("7"), 1, "x"); v != 0 || ok {
		t.Error("a field beyond the end is a number")
	}
}

// A count is digits up to its largest value, −1 where the field is empty.
func TestCount(t *testing.T) {
	for _, tt := range []struct {
		s   string
		n   int8
		bad bool
	}{{"", -1, false}, {"0", 0, false}, {"12", 12, false}, {"007", 7, false}, {"13", -1, true}, {"-1", -1, true}, {"1.", -1, true}, {"0000000012", -1, true}} {
		p := parser(tt.s)
		if n := count(p, 0, 12, "x"); n != tt.n || (p.Err() != nil) != tt.bad {
			t.Errorf("%q: %d, error %v", tt.s, n, p.Err())
		}
	}
}

// A letter is one of those allowed, 0 where the field is empty.
func TestLetter(t *testing.T) {
	for _, tt := range []struct {
		s   string
		c   byte
		bad bool
	}{{"", 0, false}, {"A", 'A', false}, {"V", 'V', false}, {"a", 0, true}, {"AV", 0, true}, {"B", 0, true}} {
		p := parser(tt.s)
		if c := letter(p, 0, "x", "AV"); c != tt.c || (p.Err() != nil) != tt.bad {
			t.Errorf("%q: %q, error %v", tt.s, c, p.Err())
		}
	}
}

// A fraction keeps so many decimals, and looks at each of those it drops.
func TestFraction(t *testing.T) {
	for _, tt := range []struct {
		s  string
		n  int64
		ok bool
	}{
		{"", 0, true}, {".", 0, true}, {".9", 900, true}, {".999", 999, true}, {".0019", 1, true}, {".19", 190, true},
		{"9", 0, false}, {".9x", 0, false}, {".123x", 0, false}, {".1.1", 0, false}, {".:", 0, false}, {"./", 0, false},
	} {
		if n, ok := fraction(tt.s, 3); n != tt.n || ok != tt.ok {
			t.Errorf("%q: %d, %v", tt.s, n, ok)
		}
	}
}

// An error of position is no negative number, and needs both its numbers (GST: standard
// deviations of latitude and longitude, fields 6 and 7 of IEC 61162-1).
func TestErrorOfPosition(t *testing.T) {
	for _, tt := range []struct {
		lat, lon string
		has, bad bool
	}{{"1.5", "2.5", true, false}, {"", "2.5", false, false}, {"1.5", "", false, false}, {"-1.5", "2.5", true, true}, {"1.5", "-2.5", true, true}} {
		var s said
		p := parser("120000", "", "", "", "", tt.lat, tt.lon, "3")
		gst(&s, p)
		if s.hasSigma != tt.has || (p.Err() != nil) != tt.bad {
			t.Errorf("%q, %q: %v, error %v", tt.lat, tt.lon, s.hasSigma, p.Err())
		}
		if tt.has && !tt.bad && (s.sLat != 1.5 || s.sLon != 2.5) {
			t.Errorf("%v, %v", s.sLat, s.sLon)
		}
	}
}

// The dimensions of a fix as GSA counts them: 1 none, 2, 3 (IEC 61162-1).
func TestFixOfGSA(t *testing.T) {
	for s, want := range map[string]Fix{"1": FixNone, "2": Fix2D, "3": Fix3D, "": 0} {
		var g said
		if gsa(&g, parser("A", s)); g.fix != want {
			t.Errorf("%q: %v, want %v", s, g.fix, want)
		}
	}
}
