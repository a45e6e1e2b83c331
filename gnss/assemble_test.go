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

const day = "040526"

var assemblies = []struct {
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
}

func TestAssembly(t *testing.T) {
	for _, c := range assemblies {
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

// A ZDA waiting before sentences without a time gives them neither time nor
// trouble.
func TestZDABeforeNoTime(t *testing.T) {
	lost := sum("$GNRMC,,V,,,,,,,,,,N")
	es, _ := play(Config{}, say{0, rmcAt("010203", day)}, say{sec, zdaAt("010204", "04,05,2026")}, say{sec + 100*ms, lost}, say{2 * sec, lost})
	for i, e := range es {
		plausible(t, e)
		if e.HasTime != (i == 0) {
			t.Errorf("epoch %d: %s", i, brief(e))
		}
	}
	if len(es) != 3 {
		t.Errorf("got %d epochs, want 3", len(es))
	}
}

// A reader that rests while the line flows: no silence is made of it, not even
// when the owner's tick came between.
func TestContinue(t *testing.T) {
	for _, tick := range []bool{false, true} {
		d := NewDecoder(Config{})
		d.Feed([]byte(ggaAt("010203")), t0)
		d.Feed([]byte("$"), t0.Add(sec)) // the burst is known by its first byte
		d.Continue([]byte(ggaAt("010204")[1:]), t0.Add(sec+60*ms))
		if tick {
			d.Flush(t0.Add(sec + 200*ms))
		}
		d.Continue([]byte(rmcAt("010204", day)+ggaAt("010204.50")), t0.Add(sec+250*ms))
		d.Flush(t0.Add(3 * sec))
		want := []string{"1h2m3s +0s valid", "1h2m4s 2026-05-04/2 +1s valid gap", "1h2m4.5s +1.25s valid"}
		if tick { // the epoch was given out already
			want[1] = "1h2m4s +1s valid gap"
		}
		es := drain(d)
		if len(es) != len(want) {
			t.Fatalf("tick %v: got %d epochs, want %d", tick, len(es), len(want))
		}
		for i, e := range es {
			if brief(e) != want[i] {
				t.Errorf("tick %v, epoch %d: got %s, want %s", tick, i, brief(e), want[i])
			}
		}
	}
}
