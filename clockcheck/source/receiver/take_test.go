package receiver

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// fed is a receiver that has taken n sound epochs.
func fed(n int) Receiver {
	r := Opened(clockcheck.Serial)
	for k := range n {
		r.Take(epoch(k, 0), floor, nobody)
	}
	return r
}

// Links differ in how late they may be, and whether that stays.
func TestLinks(t *testing.T) {
	for _, tt := range []struct {
		link              clockcheck.Link
		most, mean, sigma float64
		steady            bool
	}{{clockcheck.Serial, 1.2, 0.30, 0.45, true}, {clockcheck.Relay, 10, 1, 3, false}} {
		r := Opened(tt.link)
		mean, sigma := r.LatePrior()
		if r.LateMost() != tt.most || mean != tt.mean || sigma != tt.sigma || r.Steady() != tt.steady || r.Jitter() != 0.05 {
			t.Errorf("%v: %v, %v ± %v, %v, %v", tt.link, r.LateMost(), mean, sigma, r.Steady(), r.Jitter())
		}
	}
}

// A port that is gone leaves nothing but its kind and the reason; what comes late from a
// buffer is nothing either.
func TestNothingAdmitted(t *testing.T) {
	r := fed(20)
	if r.Lost("It was unplugged."); r.Present || r.Why != "It was unplugged." || r.Link != clockcheck.Serial || r.Heard != 0 {
		t.Errorf("%+v", r)
	}
	if r.Take(epoch(1, 0), floor, nobody); r.Heard != 0 {
		t.Error("heard, and not there")
	}
	r = Opened(clockcheck.Serial)
	e := epoch(1, 0)
	e.Backlog = true
	if r.Take(e, floor, nobody); r.Heard != 0 {
		t.Error("a backlog is heard")
	}
}

// No valid epoch for more than 25 s since the first one makes the start a cold one: the
// leap-second data are then missing six times as often.
func TestCold(t *testing.T) {
	for _, tt := range []struct {
		name    string
		fix     int // the epoch with which a fix begins
		gone    int // epochs without one, later
		missing float64
	}{{"at once", 0, 0, 0.05}, {"after 25 s", 26, 0, 0.05}, {"after 27 s", 27, 0, 0.3}, {"lost later", 0, 60, 0.05}} {
		r := Opened(clockcheck.Serial)
		for k := range 100 {
			e := epoch(100+k, 0)
			e.Valid = k >= tt.fix && k < 100-tt.gone
			r.Take(e, floor, nobody)
		}
		if r.Missing() != tt.missing {
			t.Errorf("%s: %v", tt.name, r.Missing())
		}
	}
}

// More than five repeats in a row are a stuck receiver; one fresh epoch ends the row.
func TestStuck(t *testing.T) {
	r := fed(20)
	again := func(n int) {
		for range n {
			e := epoch(20, 0)
			e.Repeated = true
			r.Take(e, floor, nobody)
		}
	}
	again(5)
	r.Take(epoch(21, 0), floor, nobody)
	if again(5); r.Fault != None {
		t.Errorf("five repeats: fault %v", r.Fault)
	}
	if again(1); r.Fault != Stuck {
		t.Errorf("six: fault %v", r.Fault)
	}
}

// Second 60 is no evidence of the second, and no gap either.
func TestLeapSecond(t *testing.T) {
	r := fed(20)
	since := r.Since
	for k := 20; k < 26; k++ {
		e := epoch(k, 0)
		e.LeapSecond = true
		if _, ok := r.Take(e, floor, nobody); ok {
			t.Error("a look of second 60")
		}
	}
	if r.Leap60 != epoch(25, 0).At || r.Valid != r.Leap60 || r.Fault != None {
		t.Errorf("%+v", r)
	}
	if r.Take(epoch(26, 0), floor, nobody); r.Since != since {
		t.Error("the run of valid epochs was broken")
	}
}

// A line that is overrun again and again lets an epoch through now and then: more than a
// minute's worth of them makes the next in time doubtful too, until others outnumber them.
func TestOverrunHabit(t *testing.T) {
	overrun := func(r *Receiver, n int) {
		for k := range n {
			e := epoch(k, 0)
			e.Overrun = true
			r.Take(e, floor, nobody)
		}
	}
	for _, tt := range []struct{ overrun, until int }{{61, 0}, {62, 1}, {161, 100}, {2000, 539}} {
		r := Opened(clockcheck.Serial)
		overrun(&r, tt.overrun)
		n := 0
		for ; n < 1000; n++ {
			if r.Take(epoch(3000+n, 0), floor, nobody); r.run > 0 {
				break
			}
		}
		if n != tt.until {
			t.Errorf("after %d overrun epochs %d in time are doubted, want %d", tt.overrun, n, tt.until)
		}
	}
}

// Without a date of its own, the day is the one on which the time of day is nearest to
// what others know, at midnight too.
func TestUndated(t *testing.T) {
	noon := timescale.UTCOf(time.Date(2031, 2, 3, 12, 0, 0, 0, time.UTC))
	for _, tt := range []struct {
		now  time.Duration // after noon
		say  time.Duration // after midnight
		want time.Duration // after noon
	}{
		{0, 12*time.Hour + time.Second, time.Second},
		{11*time.Hour + 59*time.Minute, time.Minute, 12*time.Hour + time.Minute},
		{-11*time.Hour - 59*time.Minute, 23*time.Hour + 59*time.Minute, -12*time.Hour - time.Minute},
		{0, 0, -12 * time.Hour}, // as near on either side
	} {
		var l Look
		r := Opened(clockcheck.Serial)
		day := func(timescale.Local) (timescale.UTC, bool) { return noon.Add(tt.now), true }
		for k := range 3 {
			e := epoch(k, 0)
			e.At, e.Year, e.TimeOfDay = timescale.Local(k+1), 0, tt.say
			l, _ = r.Take(e, floor, day)
		}
		if got := timescale.UTC(l.Z + int64(l.At)); math.Abs(got.Sub(noon.Add(tt.want)).Seconds()) > 1e-6 || l.Dated {
			t.Errorf("%v after noon, said %v: %v, dated %v", tt.now, tt.say, got.Time(), l.Dated)
		}
	}
}

// Dates before the build: a day is let through, more is repaired by the fewest whole
// 1024 weeks that do, no further than ten years after the build.
func TestRepair(t *testing.T) {
	for _, tt := range []struct {
		name  string
		date  time.Time
		weeks int
		fault Fault
	}{
		{"a day before", floor.Time().AddDate(0, 0, -1), 0, None},
		{"a second more", floor.Time().AddDate(0, 0, -1).Add(-time.Second), 0, EarlyDate}, // 19.6 years later is beyond
		{"1024 weeks to the day before", floor.Time().AddDate(0, 0, -1-7168), 1024, None},
		{"2048", floor.Time().AddDate(0, 0, -7168-7168), 2048, None},
		{"ten years after it, to the second", floor.Time().Add(10*365*24*time.Hour).AddDate(0, 0, -7168), 1024, None},
		{"and a second", floor.Time().Add(10*365*24*time.Hour+time.Second).AddDate(0, 0, -7168), 0, EarlyDate},
	} {
		r := Opened(clockcheck.Serial)
		d := tt.date
		e := &clockcheck.GNSS{At: 1e9, Year: d.Year(), Month: int(d.Month()), Day: d.Day(), TimeOfDay: d.Sub(d.Truncate(24 * time.Hour)), Valid: true}
		r.Take(e, floor, nobody)
		if r.Weeks != tt.weeks || r.Fault != tt.fault {
			t.Errorf("%s: %d weeks, fault %v", tt.name, r.Weeks, r.Fault)
		}
		r = Opened(clockcheck.Serial)
		if r.Take(e, 0, nobody); r.Fault != None || r.Weeks != 0 {
			t.Errorf("%s, the build date unknown: %d weeks, fault %v", tt.name, r.Weeks, r.Fault)
		}
	}
}

// Dates that receivers show before they know better are not repaired: GPS week 0 (the
// first week after 1980-01-06, IS-GPS-200) and firmware dates seen in captures.
func TestDefaultDates(t *testing.T) {
	for _, d := range [][3]int{{2006, 10, 28}, {2012, 7, 1}, {2013, 9, 1}, {1996, 1, 1}, {1980, 1, 1}, {1980, 1, 6}, {1980, 1, 12}} {
		if !defaultDate(d[0], d[1], d[2]) {
			t.Errorf("%v is a date like others", d)
		}
	}
	for _, d := range [][3]int{{2006, 10, 27}, {2006, 11, 28}, {1980, 1, 13}, {1980, 2, 6}, {1981, 1, 6}} {
		if defaultDate(d[0], d[1], d[2]) {
			t.Errorf("%v is a firmware's", d)
		}
	}
}

// The first look is three epochs, the next ones ten seconds each; Last is the newest.
func TestFirstLook(t *testing.T) {
	r := Opened(clockcheck.Serial)
	var n []int
	for k := range 25 {
		if l, ok := r.Take(epoch(k, 0), floor, nobody); ok {
			n = append(n, k)
			if r.Last != l || !l.Dated || l.At == 0 && k > 2 {
				t.Errorf("%+v, last %+v", l, r.Last)
			}
		}
	}
	if len(n) != 3 || n[0] != 2 || n[1] != 13 || n[2] != 24 {
		t.Errorf("looks at the epochs %v, want 2, 13 and 24", n)
	}
	// Six seconds of silence end the run: three epochs are a first look again.
	r = fed(10)
	for k := 16; k < 19; k++ {
		if _, ok := r.Take(epoch(k, 0), floor, nobody); ok != (k == 18) {
			t.Errorf("epoch %d after a gap: a look %v", k, ok)
		}
	}
	if r.Since != epoch(16, 0).At {
		t.Errorf("since %v", r.Since)
	}
	r = fed(10)
	if r.Take(epoch(14, 0), floor, nobody); r.Since != 0 {
		t.Error("five seconds are a gap")
	}
}

// moved is epoch k whose time of day is off by d.
func moved(k int, d time.Duration) *clockcheck.GNSS {
	e := epoch(k, 0)
	e.TimeOfDay += d
	return e
}

// One epoch at another place is left out of its look; two are, and the stream goes on.
func TestStray(t *testing.T) {
	r := fed(14)
	for k := 14; k < 25; k++ {
		d := time.Duration(0)
		if k == 17 || k == 18 {
			d = 2 * time.Second
		}
		l, ok := r.Take(moved(k, d), floor, nobody)
		if ok && math.Abs(float64(l.Z-r.Last.Z)) > 1 || r.Fault != None {
			t.Errorf("%+v, fault %v", l, r.Fault)
		}
		if ok && k != 24 {
			t.Errorf("a look at %d", k)
		}
	}
	if got := r.Last.Var; math.Abs(got-r.jitter/9) > 1e-12 {
		t.Errorf("variance %g, want that of nine epochs", got)
	}
}

// Epochs that agree with nothing are no evidence: each at a place of its own.
func TestScatter(t *testing.T) {
	r := Opened(clockcheck.Serial)
	for k := range 40 {
		if _, ok := r.Take(moved(k, time.Duration(k*k%17)*time.Second), floor, nobody); ok {
			t.Errorf("a look at %d", k)
		}
	}
	if r.Fault != Scatter {
		t.Errorf("fault %v", r.Fault)
	}
	for k := 40; k < 240; k++ {
		r.Take(epoch(k, 0), floor, nobody)
	}
	if r.Fault != None || r.Valid.Sub(r.Last.At) > 2*lookLong {
		t.Errorf("a steady stream afterwards: fault %v, last %+v", r.Fault, r.Last)
	}
}

// Under a bad sky each fix comes late by half a second on average: three in a row that agree are
// there by chance, up to a second off. Only the first minute says anything, and no page counts.
func TestLateByHalfASecondOnAverage(t *testing.T) {
	r, draw, looks := Opened(clockcheck.Serial), rand.New(rand.NewPCG(1, 2)), 0
	for k := range 2400 {
		e := epoch(k, time.Duration(draw.ExpFloat64()*0.5e9))
		if _, ok := r.Take(e, floor, nobody); ok && k > 60 {
			looks++
		}
		if _, ok := r.Page(); ok {
			t.Errorf("a page at %d", k)
		}
	}
	if looks != 0 || r.Fault != Scatter {
		t.Errorf("%d looks, fault %v", looks, r.Fault)
	}
}

// A page falls due 13 min after the run began; fewer satellites may send it, and four at
// least where the receiver does not count them.
func TestPages(t *testing.T) {
	r := Opened(clockcheck.Serial)
	for k := range 13*60 + 1 {
		e := epoch(k, 0)
		e.Satellites = -1
		r.Take(e, floor, nobody)
		if n, ok := r.Page(); ok != (k == 13*60) || ok && n != 4 {
			t.Fatalf("at %d s: page %v of %d", k, ok, n)
		}
	}
	if in, n, ok := r.NextPage(r.Valid.Add(gap)); !ok || n != 4 || in != page-gap {
		t.Errorf("due in %v from %d, %v", in, n, ok)
	}
	if _, _, ok := r.NextPage(r.Valid.Add(gap + 1)); ok {
		t.Error("due while silent")
	}
	e := epoch(13*60+1, 0)
	e.Satellites = 0
	r.Take(e, floor, nobody)
	if _, n, _ := r.NextPage(r.Valid); n != 0 {
		t.Errorf("from %d satellites, want none", n)
	}
}

// The look of three epochs at a new place is theirs alone: their mean, at the middle of
// their instants, with a third of the variance; the next look begins after them.
func TestLookAfterAJump(t *testing.T) {
	r := fed(65)
	for k := 65; k < 80; k++ {
		l, ok := r.Take(moved(k, time.Second), floor, nobody)
		if ok != (k == 67 || k == 78) {
			t.Fatalf("epoch %d: a look %v", k, ok)
		}
		want := timescale.UTCOf(time.Date(2031, 2, 3, 4, 0, 1, 0, time.UTC))
		if ok && (timescale.UTC(l.Z) != want || k == 67 && (l.At != epoch(66, 0).At || math.Abs(l.Var-r.jitter/3) > 1e-15)) {
			t.Errorf("%+v", l)
		}
	}
}

// The jitter learned is between 0.5 ms and 0.1 s, whatever the scatter.
func TestJitter(t *testing.T) {
	for late, want := range map[time.Duration]float64{0: 0.0005, 140 * time.Millisecond: 0.1} {
		r := Opened(clockcheck.Serial)
		for k := range 3000 {
			r.Take(epoch(k, late*time.Duration(k%3)), floor, nobody)
		}
		if math.Abs(r.Jitter()-want) > 1e-12 {
			t.Errorf("scatter of %v: %v s, want %v", late, r.Jitter(), want)
		}
		if r.Heard != r.Valid || r.Heard == 0 {
			t.Errorf("heard at %v, valid at %v", r.Heard, r.Valid)
		}
	}
}
