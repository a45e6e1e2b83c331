package gnss

import (
	"fmt"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

const t0 = timescale.Local(1000 * time.Second)

// say is a piece of a stream: s arrives complete at t0 + at.
type say struct {
	at time.Duration
	s  string
}

func play(cfg Config, says ...say) ([]Epoch, *Decoder) {
	d := NewDecoder(cfg)
	for _, p := range says {
		d.Flush(t0.Add(p.at))
		d.Feed([]byte(p.s), t0.Add(p.at))
	}
	d.Flush(t0.Add(says[len(says)-1].at + time.Second))
	return drain(d), d
}

func rmcAt(tod, ddmmyy string) string {
	return sum("$GNRMC," + tod + ",A,2007.8000,S,06729.4000,W,0.1,," + ddmmyy + ",,,A,V")
}
func ggaAt(tod string) string {
	return sum("$GNGGA," + tod + ",2007.80001,S,06729.40002,W,1,11,0.85,3656.1,M,42.0,M,,")
}
func zdaAt(tod, date string) string { return sum("$GNZDA," + tod + "," + date + ",00,00") }

const (
	sec = time.Second
	ms  = time.Millisecond
)

// brief shows of an epoch what the table below is about.
func brief(e Epoch) string {
	s := "no time"
	if e.HasTime {
		s = e.TimeOfDay.String()
	}
	if e.DateOK {
		s += fmt.Sprintf(" %04d-%02d-%02d/%d", e.Year, e.Month, e.Day, e.YearDigits)
	}
	s += fmt.Sprintf(" +%v", e.Arrival.Sub(t0))
	if e.TimeArrival != e.Arrival {
		s += fmt.Sprintf("/%v", e.TimeArrival.Sub(t0))
	}
	for _, f := range []struct {
		on   bool
		word string
	}{{e.Valid, "valid"}, {e.AfterGap, "gap"}, {e.Backlog, "backlog"}, {e.Repeated, "repeated"}, {e.OldDate, "old date"}, {e.DateDoubt, "date doubt"}, {e.LeapSecond, "leap"}} {
		if f.on {
			s += " " + f.word
		}
	}
	return s
}

func TestAssembly(t *testing.T) {
	day := "040526"
	for _, c := range []struct {
		name string
		in   []say
		want []string
	}{
		{"the same time nine times over", []say{
			{0, rmcAt("010203", day)}, {100 * ms, rmcAt("010203", day)}, {200 * ms, rmcAt("010203", day)}, {300 * ms, rmcAt("010203", day)},
			{400 * ms, rmcAt("010203", day)}, {500 * ms, rmcAt("010203", day)}, {600 * ms, rmcAt("010203", day)}, {700 * ms, rmcAt("010203", day)},
			{800 * ms, rmcAt("010203", day)}, {sec, rmcAt("010204", day)},
		}, []string{"1h2m3s 2026-05-04/2 +0s valid", "1h2m4s 2026-05-04/2 +1s valid gap"}},
		{"2 Hz without a fraction in RMC", []say{
			{0, ggaAt("010203.00") + rmcAt("010203", day)}, {500 * ms, ggaAt("010203.50") + rmcAt("010203", day)}, {sec, ggaAt("010204.00") + rmcAt("010204", day)},
		}, []string{"1h2m3s 2026-05-04/2 +0s valid", "1h2m3.5s +500ms valid gap", "1h2m4s 2026-05-04/2 +1s valid gap"}},
		{"stuck receiver: seen, but not each time", []say{
			{0, rmcAt("010203", day)}, {sec, rmcAt("010203", day)}, {2 * sec, rmcAt("010203", day)}, {3 * sec, rmcAt("010203", day)}, {4 * sec, rmcAt("010203", day)},
		}, []string{"1h2m3s 2026-05-04/2 +0s valid", "1h2m3s 2026-05-04/2 +2s valid gap repeated", "1h2m3s 2026-05-04/2 +4s valid gap repeated"}},
		{"one talker stuck beside a good one", []say{
			{0, rmcAt("010203", day) + sum("$APGLL,2007.8,S,06729.4,W,045959,A")}, {sec, rmcAt("010204", day) + sum("$APGLL,2007.8,S,06729.4,W,045959,A")},
			{2 * sec, rmcAt("010205", day) + sum("$APGLL,2007.8,S,06729.4,W,045959,A")}, {3 * sec, rmcAt("010206", day) + sum("$APGLL,2007.8,S,06729.4,W,045959,A")},
		}, []string{"1h2m3s 2026-05-04/2 +0s valid", "4h59m59s +0s valid", "1h2m4s 2026-05-04/2 +1s valid gap", "1h2m5s 2026-05-04/2 +2s valid gap", "1h2m6s 2026-05-04/2 +3s valid gap"}},
		{"time steps back 2 s (leap seconds learned)", []say{
			{0, rmcAt("000838", day)}, {sec, rmcAt("000839", day)}, {2 * sec, rmcAt("000840", day)}, {3 * sec, rmcAt("000839", day)}, {4 * sec, rmcAt("000840", day)}, {5 * sec, rmcAt("000841", day)},
		}, []string{"8m38s 2026-05-04/2 +0s valid", "8m39s 2026-05-04/2 +1s valid gap", "8m40s 2026-05-04/2 +2s valid gap",
			"8m39s 2026-05-04/2 +3s valid gap repeated", "8m40s 2026-05-04/2 +4s valid gap repeated", "8m41s 2026-05-04/2 +5s valid gap"}},
		{"out of a buffer: the times outrun the bytes", []say{
			{0, rmcAt("010203", day) + rmcAt("010204", day) + rmcAt("010205", day)}, {sec, rmcAt("010206", day)},
		}, []string{"1h2m3s 2026-05-04/2 +0s valid backlog", "1h2m4s 2026-05-04/2 +0s valid backlog", "1h2m5s 2026-05-04/2 +0s valid backlog", "1h2m6s 2026-05-04/2 +1s valid gap"}},
		{"ZDA of another moment lends its date only", []say{
			{0, ggaAt("235647.00") + zdaAt("235647.05", "20,12,2017")}, {sec, ggaAt("235648.00") + zdaAt("235648.04", "20,12,2017")},
		}, []string{"23h56m47s 2017-12-20/4 +0s valid", "23h56m48s 2017-12-20/4 +1s valid gap"}},
		{"ZDA names the second after, across midnight", []say{
			{0, zdaAt("235959.00", "15,12,1994")}, {900 * ms, ggaAt("235958.226")}, {sec, zdaAt("000000.00", "16,12,1994")}, {1900 * ms, ggaAt("235959.226")},
		}, []string{"23h59m59s 1994-12-15/4 +0s", "23h59m58.226s +900ms valid gap", "23h59m59.226s 1994-12-15/4 +1.9s valid gap"}},
		{"ZDA alone names the time", []say{
			{0, zdaAt("000000.00", "01,08,2014")}, {sec, zdaAt("000001.00", "01,08,2014")},
		}, []string{"0s 2014-08-01/4 +0s", "1s 2014-08-01/4 +1s gap"}},
		{"ZDA takes over when the others stop", []say{
			{0, rmcAt("010203", day) + zdaAt("010203", "04,05,2026")}, {sec, zdaAt("010204", "04,05,2026")}, {2 * sec, zdaAt("010205", "04,05,2026")},
			{3 * sec, zdaAt("010206", "04,05,2026")}, {4 * sec, zdaAt("010207", "04,05,2026")},
		}, []string{"1h2m3s 2026-05-04/4 +0s valid", "1h2m6s 2026-05-04/4 +3s gap", "1h2m7s 2026-05-04/4 +4s gap"}},
		{"RMC and ZDA disagree about the year", []say{
			{0, rmcAt("010203", "150894") + zdaAt("010203", "15,08,2014")},
		}, []string{"1h2m3s 2014-08-15/4 +0s valid date doubt"}},
		{"date late at midnight", []say{
			{0, rmcAt("235959.00", "311226")}, {500 * ms, rmcAt("235959.50", "311226")}, {sec, rmcAt("000000.00", "311226")}, {1500 * ms, rmcAt("000000.50", "311226")}, {2 * sec, rmcAt("000001.00", "010127")},
		}, []string{"23h59m59s 2026-12-31/2 +0s valid", "23h59m59.5s 2026-12-31/2 +500ms valid gap", "0s 2026-12-31/2 +1s valid gap old date",
			"500ms 2026-12-31/2 +1.5s valid gap old date", "1s 2027-01-01/2 +2s valid gap"}},
		{"no time yet, then time", []say{
			{0, sum("$GNRMC,,V,,,,,,,,,,N") + sum("$GNGGA,,,,,,0,,,,,,,,")}, {sec, sum("$GNRMC,,V,,,,,,,,,,N") + sum("$GNGGA,,,,,,0,,,,,,,,")}, {2 * sec, rmcAt("010203", day)},
		}, []string{"no time +0s", "no time +1s gap", "1h2m3s 2026-05-04/2 +2s valid gap"}},
		{"the same without silences", []say{
			{0, sum("$GNRMC,,V,,,,,,,,,,N") + sum("$GNGGA,,,,,,0,,,,,,,,") + sum("$GNRMC,,V,,,,,,,,,,N") + sum("$GNGGA,,,,,,0,,,,,,,,") + rmcAt("010203", day)},
		}, []string{"no time +0s", "no time +0s", "1h2m3s 2026-05-04/2 +0s valid"}},
		{"a pause inside the epoch, once it is known", []say{
			{0, ggaAt("010203.16")}, {250 * ms, rmcAt("010203.16", day)}, {sec, ggaAt("010204.16")}, {1250 * ms, rmcAt("010204.16", day)}, {2 * sec, ggaAt("010205.16")}, {2250 * ms, rmcAt("010205.16", day)},
		}, []string{"1h2m3.16s +0s valid", "1h2m4.16s 2026-05-04/2 +1s valid gap", "1h2m5.16s 2026-05-04/2 +2s valid gap"}},
		{"untimed sentences lead the burst", []say{
			{0, sum("$GNGSA,A,3,01,02,03,,,,,,,,,,1.8,0.9,1.5,1")}, {20 * ms, rmcAt("010203", day)},
			{sec, sum("$GNGSA,A,3,01,02,03,,,,,,,,,,1.8,0.9,1.5,1")}, {1020 * ms, rmcAt("010204", day)},
		}, []string{"1h2m3s 2026-05-04/2 +0s/20ms valid", "1h2m4s 2026-05-04/2 +1s/1.02s valid gap"}},
		{"wind before the receiver's burst does not lead it", []say{
			{0, rmcAt("010203", day)}, {960 * ms, sum("$WIMWV,10.0,R,3.0,M,A")}, {sec, rmcAt("010204", day)},
		}, []string{"1h2m3s 2026-05-04/2 +0s valid", "1h2m4s 2026-05-04/2 +1s valid gap"}},
		{"10 Hz, no silence long enough", []say{
			{0, rmcAt("010203.00", day)}, {40 * ms, ggaAt("010203.00")}, {80 * ms, rmcAt("010203.10", day)}, {120 * ms, ggaAt("010203.10")}, {160 * ms, rmcAt("010203.20", day)},
		}, []string{"1h2m3s 2026-05-04/2 +0s valid", "1h2m3.1s 2026-05-04/2 +80ms valid", "1h2m3.2s 2026-05-04/2 +160ms valid"}},
		{"the leap second as it was recorded", []say{{0, leapRMC + leapGGA}},
			[]string{"23h59m59s 1998-12-31/2 +0s valid leap"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			es, d := play(Config{}, c.in...)
			for i := 0; i < max(len(es), len(c.want)); i++ {
				got, want := "nothing", "nothing"
				if i < len(es) {
					got = brief(es[i])
				}
				if i < len(c.want) {
					want = c.want[i]
				}
				if got != want {
					t.Errorf("epoch %d: got  %s\n\twant %s", i, got, want)
				}
			}
			if t.Failed() {
				t.Log(d.Counts())
			}
		})
	}
}

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

// A read is dated back by the bytes in it; a byte is never older than the read
// before.
func TestDatingBack(t *testing.T) {
	s := rmcAt("010203", "040526")
	for _, c := range []struct {
		name  string
		baud  int
		first int // bytes in the first read
		gap   time.Duration
		want  time.Duration // of the sentence's start, before the first read's end
	}{
		{"9600, one read", 9600, len(s), 0, time.Duration(len(s)) * 10 * sec / 9600},
		{"9600, one byte first", 9600, 1, 70 * ms, 10 * sec / 9600},
		{"no serial line", 0, len(s), 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := NewDecoder(Config{Baud: c.baud})
			d.Feed([]byte(s[:c.first]), t0)
			d.Feed([]byte(s[c.first:]), t0.Add(c.gap))
			d.Flush(t0.Add(2 * sec))
			es := drain(d)
			if len(es) != 1 || t0.Sub(es[0].Arrival) != c.want {
				t.Errorf("got %+v, want one epoch %v before", es, c.want)
			}
		})
	}
	d := NewDecoder(Config{Baud: 4800})
	d.Feed([]byte(ggaAt("010202")), t0)
	d.Feed([]byte(s), t0.Add(30*ms)) // a UART could not have delivered it
	d.Flush(t0.Add(2 * sec))
	if es := drain(d); len(es) != 2 || es[1].Arrival != t0 {
		t.Errorf("got %+v, want the second epoch at the end of the first read", es)
	}
}

func TestDiscard(t *testing.T) {
	day := "040526"
	d := NewDecoder(Config{})
	d.Feed([]byte("$GNRMC,010101.00,A,2007.80"), t0)
	d.Discard(t0.Add(sec))
	d.Feed([]byte("00,S,06729.4,W,0.1,,040526,,,A*00\r\n"+rmcAt("010150", day)), t0.Add(sec+ms))
	d.Feed([]byte(rmcAt("010203", day)), t0.Add(1100*ms))
	d.Discard(t0.Add(3 * sec))
	d.Feed([]byte(rmcAt("010205", day)), t0.Add(3500*ms)) // nothing had been waiting
	d.Flush(t0.Add(5 * sec))
	want := []string{"1h1m50s 2026-05-04/2 +1.001s valid backlog", "1h2m3s 2026-05-04/2 +1.1s valid gap", "1h2m5s 2026-05-04/2 +3.5s valid gap"}
	es := drain(d)
	for i, e := range es {
		if i >= len(want) || brief(e) != want[i] {
			t.Errorf("epoch %d: got %s", i, brief(e))
		}
	}
	if len(es) != len(want) {
		t.Errorf("got %d epochs, want %d", len(es), len(want))
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
