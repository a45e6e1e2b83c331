package gnsstest

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	nmea "github.com/adrianmo/go-nmea"

	"noonmark/clockcheck/timescale"
)

// want fails unless s says claim, and valid.
func want(t *testing.T, s said, claim timescale.UTC, valid bool) {
	t.Helper()
	date, clock := stamp(claim)
	if s.date != date || s.clock != clock || s.valid != valid {
		t.Errorf("says %s %s valid %v, want %s %s %v", s.date, s.clock, s.valid, date, clock, valid)
	}
}

func TestBeforeFix(t *testing.T) {
	after := start.Add(9 * time.Second)
	for _, tc := range []struct {
		name        string
		m           Model
		date, clock string
	}{
		{"nothing", Model{BeforeFix: NoTime}, "", ""},
		{"no date", Model{BeforeFix: NoDate}, "", "04:05:15.000"},
		{"own clock, fast by 2.25 s", Model{OwnError: 2250 * time.Millisecond}, "31-02-03", "04:05:17.000"},
		// From 1980-01-05 23:59:42 at power-on, as in several captures (050180, then 060180).
		{"default date", Model{BeforeFix: DefaultDate}, "80-01-05", "23:59:51.000"},
		// 2031-02-03 is a Monday: 1980-01-07.
		{"week 0", Model{BeforeFix: WeekZero}, "80-01-07", "04:05:15.000"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			tc.m.ColdFix = 20 * time.Second
			r := New(tc.m, 1)
			s := last(t, run(r, start, 10, open))
			if s.date != tc.date || s.clock != tc.clock || s.valid || s.mode != "N" || s.lat != 0 {
				t.Errorf("before: %+v", s)
			}
			if lag := s.at.Sub(after); lag < -500*time.Millisecond || lag > 700*time.Millisecond {
				t.Errorf("sent %v after its second", lag)
			}
			run(r, start.Add(10*time.Second), 15, open)
			want(t, last(t, run(r, start.Add(25*time.Second), 1, open)), start.Add(25*time.Second), true)
		})
	}
}

// A clock that is fast by a quarter of a second names the second a quarter early.
func TestOwnFraction(t *testing.T) {
	at := func(own time.Duration) time.Duration {
		m := Model{OwnError: own, Latency: Latency{Mean: 600 * time.Millisecond}}
		s := last(t, run(New(m, 1), start, 3, Scene{}))
		claim, err := time.Parse("06-01-02 15:04:05.000", s.date+" "+s.clock)
		if err != nil {
			t.Fatal(err)
		}
		return timescale.UTCOf(claim).Sub(s.at) + 600*time.Millisecond
	}
	for _, own := range []time.Duration{0, 250 * time.Millisecond, -250 * time.Millisecond, 3700 * time.Millisecond, -time.Hour - 1} {
		if got := at(own); got != own {
			t.Errorf("own clock fast by %v: sentences show %v", own, got)
		}
	}
}

// 12.5 min after the fix the leap seconds are known, and UTC steps back
// (IS-GPS-200; sizes: facts about firmware defaults 15 and 16 against 18).
func TestLeapMissing(t *testing.T) {
	r := New(Model{LeapMissing: 3, ColdFix: 30 * time.Second, Sentences: []string{"RMC"}}, 1)
	steps := 0
	prev := ""
	for i, s := range rmcs(t, run(r, start, 1000, open)) {
		claim := start.Add(time.Duration(i) * time.Second)
		if i >= 30 && i < 780 {
			claim = claim.Add(3 * time.Second)
		}
		want(t, s, claim, i >= 30)
		if s.clock < prev && i > 30 {
			steps++
		}
		prev = s.clock
	}
	if steps != 1 {
		t.Errorf("%d steps back", steps)
	}
	// An interruption starts the wait again; a loss of power too, unless warm.
	r = New(Model{LeapMissing: 2}, 1)
	run(r, start, 600, open)
	run(r, start.Add(600*time.Second), 5, Scene{})
	run(r, start.Add(605*time.Second), 700, open)
	want(t, last(t, run(r, start.Add(1305*time.Second), 1, open)), start.Add(1307*time.Second), true)
	run(r, start.Add(1306*time.Second), 100, open)
	want(t, last(t, run(r, start.Add(1406*time.Second), 1, open)), start.Add(1406*time.Second), true)
	run(r, start.Add(1407*time.Second), 1, Scene{Unplugged: true})
	run(r, start.Add(1408*time.Second), 60, open)
	want(t, last(t, run(r, start.Add(1468*time.Second), 1, open)), start.Add(1470*time.Second), true)
	r = New(Model{LeapMissing: 2, Warm: true}, 1)
	run(r, start, 60, open)
	want(t, last(t, run(r, start.Add(time.Minute), 1, open)), start.Add(time.Minute), true)
}

// Sentences of the second before: about a second late for what they say.
func TestPreviousSecond(t *testing.T) {
	r := New(Model{Warm: true, PreviousSecond: true, ZDACurrent: true, Sentences: []string{"ZDA", "RMC"}}, 1)
	run(r, start, 10, open)
	now := start.Add(10 * time.Second)
	b := run(r, now, 1, open)
	want(t, last(t, b), now.Add(-time.Second), true)
	_, clock := stamp(now)
	if !bytes.Contains(b[0].Bytes, []byte("ZDA,"+strings.ReplaceAll(clock[:8], ":", "")+".00,03,02,2031,")) {
		t.Errorf("ZDA: %q", b[0].Bytes)
	}
}

// Vectors: 1024 weeks are 7168 days; a receiver that rolled says 2006-04-11 on
// 2025-11-25 and 2006-10-30 on 2026-06-15; time of day and weekday stay right.
func TestRollover(t *testing.T) {
	for _, tc := range []struct{ is, says string }{{"2025-11-25", "06-04-11"}, {"2026-06-15", "06-10-30"}, {"2014-08-01", "94-12-16"}} {
		day, err := time.Parse(time.DateOnly, tc.is)
		if err != nil {
			t.Fatal(err)
		}
		r := New(Model{Warm: true, WeekRollovers: 1}, 1)
		if s := last(t, run(r, timescale.UTCOf(day), 20, open)); s.date != tc.says || s.clock != "00:00:19.000" || !s.valid {
			t.Errorf("%s: %+v, want %s", tc.is, s, tc.says)
		}
	}
	r := New(Model{Warm: true, WeekRollovers: 1, RolloverFrom: start.Add(20 * time.Second)}, 1)
	got := rmcs(t, run(r, start, 30, open))
	want(t, got[19], start.Add(19*time.Second), true)
	want(t, got[20], start.Add(20*time.Second-7168*24*time.Hour), true)
}

func TestDateLate(t *testing.T) {
	midnight := timescale.UTCOf(time.Date(2031, 2, 4, 0, 0, 0, 0, time.UTC))
	got := rmcs(t, run(New(Model{Warm: true, DateLate: true}, 1), midnight.Add(-10*time.Second), 13, open))
	for i, date := range []string{"31-02-03", "31-02-03", "31-02-04"} {
		if s := got[9+i]; s.date != date {
			t.Errorf("%s: %s, want %s", s.clock, s.date, date)
		}
	}
}

func TestValidTooSoon(t *testing.T) {
	r := New(Model{BeforeFix: DefaultDate, ColdFix: 30 * time.Second, ValidTooSoon: 16 * time.Second}, 1)
	got := rmcs(t, run(r, start, 31, open))
	if got[13].valid || !got[14].valid || got[29].date != "80-01-06" || got[30].date != "31-02-03" {
		t.Errorf("%+v\n%+v\n%+v\n%+v", got[13], got[14], got[29], got[30])
	}
}

// Losing the satellites: first estimates, then status V with its own clock
// running away by its rate; back again in the time to reacquire.
func TestLosingSatellites(t *testing.T) {
	r := New(Model{Warm: true, Estimates: 5 * time.Second, OwnPPM: 100, Reacquire: 3 * time.Second}, 1)
	run(r, start, 20, open)
	got := rmcs(t, run(r, start.Add(20*time.Second), 20001, Scene{Satellites: 2}))
	if got[0].mode != "E" || got[4].mode != "E" || got[5].mode != "N" || got[5].valid || got[5].lat != 0 {
		t.Errorf("%+v\n%+v\n%+v", got[0], got[4], got[5])
	}
	want(t, got[4], start.Add(24*time.Second), true)
	want(t, got[20000], start.Add(20022*time.Second), false) // 100 ppm · 20001 s = 2.0 s fast
	back := rmcs(t, run(r, start.Add(20021*time.Second), 5, open))
	if back[2].valid {
		t.Errorf("%+v", back[2])
	}
	want(t, back[3], start.Add(20024*time.Second), true)
}

func TestFalseSignal(t *testing.T) {
	r := New(Model{Warm: true}, 1)
	run(r, start, 20, open)
	lie := Scene{Satellites: 11, FalseTime: 3 * time.Second, FalseNorthM: 5000}
	s := last(t, run(r, start.Add(20*time.Second), 5, lie))
	want(t, s, start.Add(27*time.Second), true)
	if d := (s.lat - camp.LatDeg) * 111195; math.Abs(d-5000) > 20 {
		t.Errorf("moved %g m north", d)
	}
	run(r, start.Add(25*time.Second), 1, open)
	// A drag of 1 ms/s for 300 s shows as bursts ever earlier for what they say.
	run(r, start.Add(26*time.Second), 300, Scene{Satellites: 11, FalseDrag: time.Millisecond})
	s = last(t, run(r, start.Add(326*time.Second), 1, Scene{Satellites: 11, FalseDrag: time.Millisecond}))
	want(t, s, start.Add(326*time.Second), true)
	if d := s.at.Sub(start.Add(326 * time.Second)); d != 120*time.Millisecond-301*time.Millisecond {
		t.Errorf("sent %v after the true second", d)
	}
}

func TestUnpluggedAndGaps(t *testing.T) {
	r := New(Model{Warm: true, WarmFix: 4 * time.Second, OwnPPM: 1000}, 1)
	run(r, start, 20, open)
	if got := run(r, start.Add(20*time.Second), 1000, Scene{Satellites: 11, Unplugged: true}); got != nil {
		t.Fatalf("%d bursts without power", len(got))
	}
	got := rmcs(t, run(r, start.Add(1020*time.Second), 5, open))
	want(t, got[0], start.Add(1021*time.Second), false) // its own clock ran on: 1000 ppm · 1001 s
	want(t, got[4], start.Add(1024*time.Second), true)
	if s := last(t, run(r, start.Add(2000*time.Second), 1, open)); s.valid {
		t.Errorf("valid at once after a gap: %+v", s)
	}
}

func TestStuck(t *testing.T) {
	r := New(Model{Warm: true}, 1)
	before := run(r, start, 10, open)
	got := run(r, start.Add(10*time.Second), 5, Scene{Satellites: 11, Stuck: true})
	if len(got) != 5 {
		t.Fatalf("%d bursts", len(got))
	}
	for _, b := range got {
		if !bytes.Equal(b.Bytes, before[9].Bytes) {
			t.Errorf("not the last epoch again: %q", b.Bytes)
		}
	}
	want(t, last(t, run(r, start.Add(15*time.Second), 1, open)), start.Add(15*time.Second), true)
}

func TestHeld(t *testing.T) {
	r, twin := New(Model{Warm: true}, 1), New(Model{Warm: true}, 1)
	run(r, start, 10, open)
	wantBytes := run(twin, start, 40, open)[10:]
	if got := run(r, start.Add(10*time.Second), 20, Scene{Satellites: 11, Held: true}); got != nil {
		t.Fatalf("%d bursts while held", len(got))
	}
	got := run(r, start.Add(30*time.Second), 1, open)
	if len(got) != 2 || got[0].PerByte != 0 || got[0].At < start.Add(30*time.Second) || got[1].At < got[0].At {
		t.Fatalf("%d bursts: %+v", len(got), got)
	}
	var joined []byte
	for _, b := range wantBytes[:20] {
		joined = append(joined, b.Bytes...)
	}
	if !bytes.Equal(got[0].Bytes, joined) || !bytes.Equal(got[1].Bytes, wantBytes[20].Bytes) {
		t.Error("bytes lost or changed in the pipe")
	}
}

// Damage at the rate asked for, nearly all of it caught by checksums.
func TestCorrupt(t *testing.T) {
	m := Model{Warm: true, Baud: 115200}
	clean, dirty := run(New(m, 1), start, 500, open), run(New(m, 1), start, 500, Scene{Satellites: 11, Corrupt: 0.01})
	var sent, got, ok, bad int
	for i := range clean {
		sent += len(clean[i].Bytes)
		got += len(dirty[i].Bytes)
		for _, line := range strings.Split(string(dirty[i].Bytes), "\r\n") {
			if _, err := nmea.Parse(line); err == nil {
				ok++
			} else {
				bad++
			}
		}
	}
	// Of each damaged byte half the chance is loss: 0.5 % of the bytes.
	if lost := float64(sent-got) / float64(sent); lost < 0.004 || lost > 0.006 {
		t.Errorf("%.4f of the bytes lost", lost)
	}
	if ok == 0 || bad < ok/4 {
		t.Errorf("%d sentences good, %d bad", ok, bad)
	}
}

func TestSimulatorMode(t *testing.T) {
	b := run(New(Model{Warm: true, Simulator: true}, 1), start, 10, open)
	if s := last(t, b); s.mode != "S" || !s.valid {
		t.Errorf("%+v", s)
	}
	if !bytes.Contains(b[9].Bytes, []byte(",W,8,11,")) {
		t.Errorf("no quality 8 in %q", b[9].Bytes)
	}
}

func BenchmarkEmit(b *testing.B) {
	r := New(Typical(), 1)
	b.ReportAllocs()
	n := 0
	for i := range b.N {
		for _, x := range r.Emit(start.Add(time.Duration(i)*time.Second), camp, open) {
			n += len(x.Bytes)
		}
	}
	b.ReportMetric(float64(n)/float64(b.N), "bytes/op")
}
