package gnss

import (
	"fmt"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

func TestValidity(t *testing.T) {
	pos := "2007.8,S,06729.4,W"
	R := func(status, mode string) string {
		return sum("$GNRMC,010203," + status + "," + pos + ",0.1,,040526,,," + mode)
	}
	G := func(q string) string { return sum("$GNGGA,010203," + pos + "," + q + ",11,0.85,3656.1,M,,M,,") }
	N := func(m string) string { return sum("$GNGNS,010203," + pos + "," + m + ",11,0.85,3656.1,,,") }
	for _, c := range []struct {
		name, in              string
		valid, position, play bool
	}{
		{"status V", R("V", "N"), false, false, false},
		{"status V, mode A", R("V", "A"), false, false, false},
		{"status A, mode N", R("A", "N"), false, false, false},
		{"dead reckoning", R("A", "E"), false, true, false},
		{"manual", R("A", "M"), false, true, false},
		{"simulator by mode", R("A", "S"), false, true, true},
		{"simulator by quality", R("A", "A") + G("8"), false, true, true},
		{"quality 0 beside status A", R("A", "A") + G("0"), false, true, false},
		{"quality 6 beside status A", G("6") + R("A", "A"), false, true, false},
		{"quality 1 beside status V", G("1") + R("V", "N"), false, true, false},
		{"no system in GNS", N("NN"), false, false, false},
		{"nothing says so", sum("$GNGGA,010203," + pos + ",,,,,,,,,"), false, true, false},
		{"quality 9, a maker's own", G("9"), false, true, false},
		{"GLL says V", R("A", "A") + sum("$GNGLL,"+pos+",010203,V,N"), false, true, false},

		{"status A, no mode", R("A", ""), true, true, false},
		{"status A, mode D", R("A", "D"), true, true, false},
		{"a maker's own mode letter", R("A", "Q"), true, true, false},
		{"quality 1 alone", G("1"), true, true, false},
		{"RTK", G("4"), true, true, false},
		{"one system of GNS", N("NA"), true, true, false},
		{"GNS by talker", N("NN") + sum("$GPGNS,010203,"+pos+",A,11,0.85,3656.1,,,"), true, true, false},
		{"GLL alone", sum("$GNGLL," + pos + ",010203,A,A"), true, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			es, d := decode(Config{}, c.in)
			if len(es) != 1 {
				t.Fatalf("got %d epochs, %+v", len(es), d.Counts())
			}
			if e := es[0]; e.Valid != c.valid || e.HasPosition != c.position || e.Simulated != c.play {
				t.Errorf("got valid %v, position %v, simulated %v: %+v", e.Valid, e.HasPosition, e.Simulated, e)
			}
		})
	}
}

func TestFieldsOfAnEpoch(t *testing.T) {
	in := sum("$GNRMC,010203.25,A,2007.8000001,S,06729.40000029,W,10.0,,040526,,,D,V") +
		sum("$GNGGA,010203.25,2007.8000001,S,06729.40000029,W,2,11,0.85,3656.1,M,42.0,M,,") +
		sum("$GNGSA,A,2,01,02,03,,,,,,,,,,1.8,0.9,1.5,1") + sum("$GNGSA,A,3,65,66,,,,,,,,,,,1.8,0.9,1.5,2") +
		sum("$GNGST,010203.25,1.2,2.0,1.0,45,0.9,1.1,2.2")
	es, _ := decode(Config{}, in)
	if len(es) != 1 {
		t.Fatalf("got %d epochs, want 1", len(es))
	}
	got := es[0]
	lead := [5]byte{'G', 'N', 'R', 'M', 'C'}
	want := Epoch{
		TimeOfDay: 3723250 * ms, HasTime: true, Year: 2026, Month: 5, Day: 4, YearDigits: 2, DateOK: true,
		Status: 'A', Mode: 'D', Quality: 2, Valid: true, Fix: Fix3D, Satellites: 11, HDOP: 0.85, PDOP: 1.8,
		Lat: -(20*60+7)*10_000_000 - 8_000_001, Lon: -(67*60+29)*10_000_000 - 4_000_002, HasPosition: true,
		AltM: 3656.1, HasAlt: true, SigmaLatM: 0.9, SigmaLonM: 1.1, HasSigma: true, SpeedMS: 10.0 * 1852 / 3600,
		Arrival: timescale.Local(time.Hour), FirstType: lead, TimeArrival: timescale.Local(time.Hour), TimeType: lead,
		Types: TypeRMC | TypeGGA | TypeGSA | TypeGST, Bytes: len(in) - 2,
	}
	if got != want {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	// 20°07.8000001' = 20.13 + 1e-7/60 degrees.
	if d := got.Lat.Deg() + 20.1300000016667; d > 1e-12 || d < -1e-12 {
		t.Errorf("latitude %.13f", got.Lat.Deg())
	}
	if u, ok := got.UTC(); !ok || u.Time().Format(time.RFC3339Nano) != "2026-05-04T01:02:03.25Z" {
		t.Errorf("got %v, %v", u.Time(), ok)
	}
}

func TestTwoDigitYears(t *testing.T) {
	at := func(y int) timescale.UTC { return timescale.UTCOf(time.Date(y, 6, 1, 0, 0, 0, 0, time.UTC)) }
	for _, c := range []struct {
		build timescale.UTC
		yy    string
		want  int16
	}{
		{0, "94", 1994}, {0, "80", 1980}, {0, "79", 2079}, {at(2026), "80", 1980}, {at(2026), "79", 2079},
		{at(2050), "04", 2004}, {at(2050), "03", 2103}, {at(2050), "99", 2099}, {at(1999), "80", 1980},
	} {
		es, _ := decode(Config{BuildDate: c.build}, rmcAt("010203", "0405"+c.yy))
		if len(es) != 1 || es[0].Year != c.want {
			t.Errorf("built %v, year %s: got %+v, want %d", c.build.Time(), c.yy, es, c.want)
		}
	}
}

func TestSatellites(t *testing.T) {
	d := NewDecoder(Config{})
	if got := d.Satellites(nil); len(got) != 0 {
		t.Errorf("before anything: %v", got)
	}
	g := func(s string) []byte { return []byte(sum(s)) }
	d.Feed(g("$GPGSV,1,1,01,99,10,100,10"), t0) // replaced by the next list
	d.Feed(g("$GPGSV,2,1,05,01,10,100,40,02,20,200,,03,-5,300,30,04,,,20"), t0.Add(sec))
	d.Feed(g("$GPGSV,2,2,05,05,50,050,00"), t0.Add(sec))
	d.Feed(g("$GLGSV,1,1,01,65,45,090,33"), t0.Add(sec))
	d.Feed(g("$GPGSV,1,1,01,01,10,100,38,6"), t0.Add(sec)) // a second signal
	d.Feed(g("$GAGSV,1,1,01,NaN,45,090,33,7"), t0.Add(sec))
	got := map[string]int8{}
	for _, s := range d.Satellites(nil) {
		got[fmt.Sprintf("%s%d/%c %d %d", s.Talker, s.ID, s.Signal|' ', s.Elevation, s.Azimuth)] = s.CN0
	}
	want := map[string]int8{"GP1/  10 100": 40, "GP2/  20 200": -1, "GP3/  -5 300": 30, "GP4/  -128 -1": 20, "GP5/  50 50": 0, "GL65/  45 90": 33, "GP1/6 10 100": 38}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	d.Feed(g("$GLGSV,1,1,00"), t0.Add(20*sec))
	if got := d.Satellites(nil); len(got) != 0 {
		t.Errorf("after an empty list 19 s later: %v", got)
	}
}
