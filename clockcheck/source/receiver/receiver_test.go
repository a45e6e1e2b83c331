package receiver

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

var floor = timescale.UTCOf(time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC))

func nobody(timescale.Local) (timescale.UTC, bool) { return 0, false }

// epoch is one of 2031-02-03, k seconds after four o'clock, heard so late.
func epoch(k int, late time.Duration) *clockcheck.GNSS {
	return &clockcheck.GNSS{At: timescale.Local(int64(k)*1e9) + timescale.Local(late), Year: 2031, Month: 2, Day: 3,
		TimeOfDay: 4*time.Hour + time.Duration(k)*time.Second, Valid: true, Satellites: 9}
}

func TestRefused(t *testing.T) {
	for _, tt := range []struct {
		name string
		say  func(*clockcheck.GNSS)
		want Fault
	}{
		{"simulator", func(e *clockcheck.GNSS) { e.Simulated = true }, Simulated},
		{"no fix", func(e *clockcheck.GNSS) { e.Valid = false }, NotValid},
		{"line too slow", func(e *clockcheck.GNSS) { e.Overrun = true }, Overrun},
		{"no date", func(e *clockcheck.GNSS) { e.Year = 0 }, NoDate},
		{"default date of a firmware (SiRF GSW3.2.4, a capture)", func(e *clockcheck.GNSS) { e.Year, e.Month, e.Day = 2006, 10, 28 }, EarlyDate},
		{"GPS week 0", func(e *clockcheck.GNSS) { e.Year, e.Month, e.Day = 1980, 1, 6 }, EarlyDate},
	} {
		r := Opened(clockcheck.Serial)
		for k := range 30 {
			e := epoch(k, 0)
			tt.say(e)
			if _, ok := r.Take(e, floor, nobody); ok {
				t.Errorf("%s: taken for evidence", tt.name)
			}
		}
		if r.Fault != tt.want {
			t.Errorf("%s: fault %v, want %v", tt.name, r.Fault, tt.want)
		}
	}
}

// A date 1024 weeks early is moved: measured in each of the captures with a rollover
// (shared facts: openrvdas, clyde), exactly 7168 days.
func TestRollover(t *testing.T) {
	r := Opened(clockcheck.Serial)
	var l Look
	for k := range 3 {
		e := epoch(k, 0)
		early := time.Date(2031, 2, 3, 0, 0, 0, 0, time.UTC).AddDate(0, 0, -7168)
		e.Year, e.Month, e.Day = early.Year(), int(early.Month()), early.Day()
		l, _ = r.Take(e, floor, nobody)
	}
	want := timescale.UTCOf(time.Date(2031, 2, 3, 4, 0, 0, 0, time.UTC))
	if r.Weeks != 1024 || timescale.UTC(l.Z) != want {
		t.Errorf("moved by %d weeks to %v, want 1024 to %v", r.Weeks, timescale.UTC(l.Z).Time(), want.Time())
	}
}

// A look is the mean of ten seconds; its variance is that of one epoch by their number.
func TestLooks(t *testing.T) {
	r := Opened(clockcheck.Serial)
	looks, sum := 0, 0.0
	for k := range 600 {
		late := 150*time.Millisecond + time.Duration(k*7919%21-10)*time.Millisecond
		if l, ok := r.Take(epoch(k, late), floor, nobody); ok {
			looks++
			sum += float64(timescale.UTC(l.Z).Sub(timescale.UTCOf(time.Date(2031, 2, 3, 4, 0, 0, 0, time.UTC)))) / 1e9
			if looks > 30 && (l.Var < 1e-6 || l.Var > 1e-5) {
				t.Fatalf("variance %v s², want about 37e-6/11: epochs scatter by 6 ms", l.Var)
			}
		}
	}
	if looks < 50 || looks > 65 || math.Abs(sum/float64(looks)+0.150) > 0.001 {
		t.Errorf("%d looks in ten minutes at %.4f s, want one in ten seconds at −0.150", looks, sum/float64(looks))
	}
}

// A jump ends a look at once: three epochs at the new place are one.
func TestJump(t *testing.T) {
	r := Opened(clockcheck.Serial)
	for k := range 65 {
		r.Take(epoch(k, 0), floor, nobody)
	}
	for k := 65; k < 68; k++ {
		e := epoch(k, 0)
		e.TimeOfDay += time.Second
		if _, ok := r.Take(e, floor, nobody); ok != (k == 67) {
			t.Fatalf("after %d epochs at the new place a look is %v", k-64, ok)
		}
	}
}

// Pages of leap-second data are counted in 13 min of unbroken validity, with the fewest
// satellites there were.
func TestPage(t *testing.T) {
	r := Opened(clockcheck.Serial)
	pages := 0
	for k := range 27 * 60 {
		e := epoch(k, 0)
		if k == 100 {
			e.Satellites = 5
		}
		r.Take(e, floor, nobody)
		if n, ok := r.Page(); ok {
			if pages++; pages == 1 && n != 5 {
				t.Errorf("%d satellites, want 5", n)
			}
		}
	}
	if pages != 2 {
		t.Errorf("%d pages in 27 min, want 2", pages)
	}
}

// Who has no fix waits for no page.
func TestNextPage(t *testing.T) {
	r := Opened(clockcheck.Serial)
	if _, _, ok := r.NextPage(0); ok {
		t.Error("a page is due from a receiver that was never heard")
	}
	for k := range 100 {
		r.Take(epoch(k, 0), floor, nobody)
	}
	in, n, ok := r.NextPage(timescale.Local(99e9))
	if !ok || in < page-2*time.Minute || in > page-time.Minute || n != 9 {
		t.Errorf("the next page is due in %v from %d satellites, %v", in, n, ok)
	}
	if _, _, ok := r.NextPage(timescale.Local(110e9)); ok {
		t.Error("a page is due from a receiver that has been silent for ten seconds")
	}
}
