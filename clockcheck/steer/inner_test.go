package steer

import (
	"math"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

func TestSeconds(t *testing.T) {
	for _, c := range []struct {
		d    time.Duration
		want string
	}{
		{-9999 * time.Millisecond, "-9.999 s"}, {10 * time.Second, "+10.0 s"},
		{-2*time.Hour + time.Second, "-7199.0 s"}, {2 * time.Hour, "+2.0 h"},
		{48*time.Hour - time.Minute, "+48.0 h"}, {-48 * time.Hour, "-2.0 days"}, {96 * time.Hour, "+4.0 days"},
	} {
		if got := seconds(c.d); got != c.want {
			t.Errorf("%v: %s, want %s", c.d, got, c.want)
		}
	}
}

// At each full second at most chunk of what is left begins, spread over that second
// (second_overflow in kernel/time/ntp.c).
func TestSlewPasses(t *testing.T) {
	at := timescale.UTC(1000 * timescale.Second)
	w := slew{left: 1200 * time.Microsecond, at: at.Add(900 * time.Millisecond)}
	for _, c := range []struct {
		at           time.Duration
		left, toCome time.Duration
	}{
		{950 * time.Millisecond, 1200 * time.Microsecond, 1200 * time.Microsecond},
		{time.Second, 700 * time.Microsecond, 1200 * time.Microsecond},
		{1250 * time.Millisecond, 700 * time.Microsecond, 1075 * time.Microsecond},
		{2 * time.Second, 200 * time.Microsecond, 700 * time.Microsecond},
		{3*time.Second + 500*time.Millisecond, 0, 100 * time.Microsecond},
		{4 * time.Second, 0, 0},
		{90 * time.Second, 0, 0},
	} {
		if w.pass(at.Add(c.at)); w.left != c.left || w.toCome(0) != c.toCome {
			t.Errorf("after %v: %v left, %v to come, want %v and %v", c.at, w.left, w.toCome(0), c.left, c.toCome)
		}
	}
	w = slew{left: -700 * time.Microsecond, at: at}
	if w.pass(at.Add(2 * time.Second)); w.left != 0 || w.running != -200*time.Microsecond {
		t.Errorf("backwards: %v left, %v runs", w.left, w.running)
	}
}

// What is another program's doing, what a hand could have done, and what is nobody's.
func TestForeign(t *testing.T) {
	base := Kernel{FreqPPM: 3, Bits: BitUnsync, MaxError: time.Second}
	synced := base
	synced.Bits = 0
	for _, c := range []struct {
		name   string
		was    Kernel
		change func(*Kernel)
		passed time.Duration
		moved  time.Duration
		aside  bool
		what   string
		hand   bool
	}{
		{name: "nothing", was: base, passed: time.Second},
		{name: "a millisecond", was: base, passed: time.Second, moved: 2 * time.Millisecond},
		{name: "a millisecond more", was: base, passed: time.Second, moved: 2*time.Millisecond + time.Microsecond, what: "moved the clock by"},
		{name: "less than a hand can", was: base, passed: time.Second, moved: -handsBest + 1, what: "moved the clock by"},
		{name: "as a hand can", was: base, passed: time.Second, moved: -handsBest, what: "moved the clock by", hand: true},
		{name: "after long", was: base, passed: 100 * time.Second, moved: 101 * time.Millisecond},
		{name: "rate", was: base, passed: time.Second, change: func(k *Kernel) { k.FreqPPM += 0.0011 }, what: "rate"},
		{name: "rate, rounded", was: base, passed: time.Second, change: func(k *Kernel) { k.FreqPPM += 0.0009 }},
		{name: "tick", was: base, passed: time.Second, change: func(k *Kernel) { k.TickPPM += 0.011 }, what: "rate"},
		{name: "tick, back", was: Kernel{TickPPM: 100, Bits: BitUnsync, MaxError: time.Second, FreqPPM: 3}, passed: time.Second, what: "rate",
			change: func(k *Kernel) { k.TickPPM = 0 }},
		{name: "loop", was: base, passed: time.Second, change: func(k *Kernel) { k.Bits |= BitPLL }, what: "own loop"},
		{name: "vouched", was: base, passed: time.Second, change: func(k *Kernel) { k.Bits &^= BitUnsync }, what: "is right"},
		{name: "set to the same", was: synced, passed: 59 * time.Second, change: func(k *Kernel) { k.Bits |= BitUnsync }, what: "nearly the same"},
		{name: "the kernel takes its mark back after a minute", was: synced, passed: 60 * time.Second, change: func(k *Kernel) { k.Bits |= BitUnsync }},
		{name: "error smaller", was: base, passed: time.Second, change: func(k *Kernel) { k.MaxError -= 2 * time.Microsecond }, what: "how far off"},
		{name: "error grows as it does", was: base, passed: 2 * time.Second, change: func(k *Kernel) { k.MaxError += 2 * time.Millisecond }},
		{name: "error larger", was: base, passed: 2 * time.Second, change: func(k *Kernel) { k.MaxError += 2001 * time.Microsecond }, what: "how far off"},
		{name: "error larger, not ours", was: base, passed: 2 * time.Second, aside: true, change: func(k *Kernel) { k.MaxError += 2001 * time.Microsecond }},
		{name: "turned", was: base, passed: time.Second, change: func(k *Kernel) { k.SlewLeft = 1251 * time.Microsecond }, what: "turn"},
		{name: "turned back", was: base, passed: time.Second, change: func(k *Kernel) { k.SlewLeft = -1251 * time.Microsecond }, what: "turn"},
		{name: "turned two chunks and a half", was: base, passed: time.Second, change: func(k *Kernel) { k.SlewLeft = 1250 * time.Microsecond }},
		{name: "turned, not ours", was: base, passed: time.Second, aside: true, change: func(k *Kernel) { k.SlewLeft = time.Microsecond }, what: "turn"},
	} {
		k := c.was
		if c.change != nil {
			c.change(&k)
		}
		s := New(Config{})
		s.watch = watch{have: true, at: 1000, offset: 5e9, kernel: c.was, aside: c.aside}
		now := timescale.Local(1000).Add(c.passed)
		what, hand := s.foreign(Input{Now: now, System: timescale.UTC(int64(now) + 5e9 + int64(c.moved)), Kernel: k})
		if c.what == "" && what != "" || !strings.Contains(what, c.what) || hand != c.hand {
			t.Errorf("%s: %q, by hand %v", c.name, what, hand)
		}
	}
}

// Surprises within an hour: two that only a program makes, or four of any kind.
func TestSteady(t *testing.T) {
	minutes := func(m float64) timescale.Local {
		return timescale.Local(1).Add(time.Duration(m * float64(time.Minute)))
	}
	type seen struct {
		at   float64 // min
		hand bool
		same bool // belongs to the one before
	}
	for _, c := range []struct {
		name string
		seen []seen
		want bool
	}{
		{"one", []seen{{0, false, false}}, false},
		{"two programs'", []seen{{0, false, false}, {60, false, false}}, true},
		{"two, an hour and more apart", []seen{{0, false, false}, {60.1, false, false}}, false},
		{"three by hand", []seen{{0, true, false}, {5, true, false}, {9, true, false}}, false},
		{"four by hand", []seen{{0, true, false}, {5, true, false}, {9, true, false}, {12, true, false}}, true},
		{"one of each", []seen{{0, true, false}, {5, false, false}}, false},
		{"two by hand, one of them with a rate", []seen{{0, true, false}, {5, true, false}, {5.01, false, true}}, false},
		{"both with a rate", []seen{{0, true, false}, {0.01, false, true}, {5, true, false}, {5.01, false, true}}, true},
		{"one doing in many looks", []seen{{0, false, false}, {0.01, false, true}, {0.02, false, true}, {0.03, true, true}}, false},
	} {
		var w watch
		for _, s := range c.seen {
			w.count(minutes(s.at), s.hand, s.same)
		}
		if w.steady() != c.want {
			t.Errorf("%s: a program is at work: %v", c.name, !c.want)
		}
	}
}

// Around midnight a second that the kernel was told of is its own doing.
func TestLeapt(t *testing.T) {
	midnight := timescale.UTC(12000 * 24 * 3600 * timescale.Second)
	for _, c := range []struct {
		told  Status
		after time.Duration // of the day's end
		moved time.Duration
		want  bool
	}{
		{Status{Insert: true}, time.Second, -time.Second, true},
		{Status{Insert: true}, time.Second, -991 * time.Millisecond, true},
		{Status{Insert: true}, time.Second, -990 * time.Millisecond, false},
		{Status{Insert: true}, time.Second, time.Second, false},
		{Status{Delete: true}, -time.Second, time.Second, true},
		{Status{Delete: true}, -time.Second, -time.Second, false},
		{Status{Insert: true}, 59 * time.Second, -time.Second, true},
		{Status{Insert: true}, time.Minute, -time.Second, false},
		{Status{Insert: true}, -time.Minute, -time.Second, false},
		{Status{Insert: true}, -59 * time.Second, -time.Second, true},
		{Status{}, time.Second, 0, false},
	} {
		s := New(Config{})
		s.told = c.told
		if got := s.leapt(Input{System: midnight.Add(c.after)}, c.moved); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// A clock that is vouched for may be a second off, and stays so to two.
func TestVouching(t *testing.T) {
	s := New(Config{})
	j := &clockcheck.Judgement{Known: true, Guarded: true, Basis: clockcheck.BasisGNSS, Proved: []string{"date", "second"}}
	for _, c := range []struct {
		err, guard float64
		want       bool
	}{
		{0.5, 0.51, false}, {-0.5, 0.5, true}, {0.5, 1.5, true}, {-0.5, 1.6, false}, {0, 1.1, false}, {0, 0.9, true},
	} {
		j.Error, j.Guard, j.Bound = c.err, c.guard, c.guard/2
		var a Actions
		s.tell(Input{Judgement: j}, &a)
		max, est := math.Abs(c.err)+c.guard, math.Abs(c.err)+c.guard/2/2.576
		if a.Status.Unsync == c.want || math.Abs(a.Status.MaxError.Seconds()-max) > 1e-6 || math.Abs(a.Status.EstError.Seconds()-est) > 1e-6 {
			t.Errorf("%+v: %+v", c, a.Status)
		}
	}
	j.Guard = 0.1
	for _, c := range []struct {
		what string
		j    func(*clockcheck.Judgement)
	}{
		{"not known", func(j *clockcheck.Judgement) { j.Known = false }},
		{"without a guard", func(j *clockcheck.Judgement) { j.Guarded = false }},
		{"no date", func(j *clockcheck.Judgement) { j.Proved = []string{"second"} }},
		{"no second", func(j *clockcheck.Judgement) { j.Proved = []string{"date"} }},
		{"a hardware clock", func(j *clockcheck.Judgement) { j.Basis = clockcheck.BasisRTC }},
		{"nothing", func(j *clockcheck.Judgement) { j.Basis = clockcheck.BasisNone }},
	} {
		s.vouched = true
		k := *j
		c.j(&k)
		var a Actions
		if s.tell(Input{Judgement: &k}, &a); !a.Status.Unsync || s.vouched {
			t.Errorf("%s: vouched for", c.what)
		}
	}
	s.vouched = true
	var a Actions
	if s.tell(Input{Judgement: j, RTCAwaits: true}, &a); !a.Status.Unsync {
		t.Error("vouched for, and so the kernel writes a hardware clock that has not said its word")
	}
}

// In a holdover the kernel stops writing a hardware clock that keeps time better than the oscillator, once it has
// had the time for one more write: what it would write comes from the clock that is judged. It goes on as soon
// as somebody tells the time.
func TestHoldoverSparesASteadyRTC(t *testing.T) {
	for _, steady := range []bool{true, false} {
		s := New(Config{RTCSteady: steady})
		now := timescale.Local(timescale.Second)
		writes := func(basis clockcheck.Basis, after time.Duration) bool {
			j := &clockcheck.Judgement{Known: true, Guarded: true, Basis: basis, Guard: 0.1, Bound: 0.05, Proved: []string{"date", "second"}}
			now = now.Add(after)
			var a Actions
			s.tell(Input{Now: now, Judgement: j}, &a)
			return !a.Status.Unsync
		}
		for i, c := range []struct {
			basis clockcheck.Basis
			after time.Duration
			want  bool // where the clock is steady
		}{
			{clockcheck.BasisGNSS, time.Hour, true}, {clockcheck.BasisHoldover, time.Second, true},
			{clockcheck.BasisHoldover, quietAfter - time.Second, true}, {clockcheck.BasisHoldover, time.Second, false},
			{clockcheck.BasisHoldover, time.Hour, false}, {clockcheck.BasisNetwork, time.Second, true},
			{clockcheck.BasisHoldover, time.Second, true}, {clockcheck.BasisHoldover, quietAfter, false},
		} {
			if got := writes(c.basis, c.after); got != (c.want || !steady) {
				t.Errorf("steady %v, %d, %s: the kernel writes: %v", steady, i, c.basis, got)
			}
		}
	}
}

// The frequency word is moved by a change of more than 0.002 ppm and a twentieth of what
// is uncertain.
func TestRateIsNotFollowedIntoTheNoise(t *testing.T) {
	for _, c := range []struct {
		change, bound float64
		want          bool
	}{{0.0019, 0.01, false}, {0.0021, 0.01, true}, {0.49, 10, false}, {0.51, 10, true}, {3, learnedPPM + 0.1, false}} {
		s := New(Config{})
		s.haveTold, s.freq = true, 5
		var a Actions
		s.rate(Input{Judgement: &clockcheck.Judgement{LocalRatePPM: 5 + c.change, RateBoundPPM: c.bound}}, &a)
		if a.SetFreq != c.want {
			t.Errorf("by %g of ± %g ppm: set %v", c.change, c.bound, a.SetFreq)
		}
	}
}
