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

const day = 24 * time.Hour

// When the hardware clock is set: each row differs from one before it by one condition.
func TestNeeded(t *testing.T) {
	const now = timescale.UTC(2000 * 24 * 3600 * timescale.Second)
	type state struct {
		off, since                        time.Duration // since: 0 = never set
		invalid, unheard, again, keeps, k bool          // k: the kernel writes it itself
	}
	for _, c := range []struct {
		state
		want bool
	}{
		{state{off: 101 * time.Millisecond}, true},
		{state{off: -101 * time.Millisecond}, true},
		{state{off: 100 * time.Millisecond}, false},
		{state{off: 101 * time.Millisecond, unheard: true}, false},
		{state{off: 101 * time.Millisecond, since: day}, false},
		{state{off: 101 * time.Millisecond, since: day + 1}, true},
		{state{off: 101 * time.Millisecond, since: -time.Hour}, true}, // set in the future: not by this clock
		{state{off: 101 * time.Millisecond, k: true}, false},
		{state{off: time.Second, since: 2 * time.Hour, k: true}, false},
		{state{off: time.Second + 1, since: 2 * time.Hour, k: true}, true},
		{state{off: time.Second + 1, since: time.Hour}, false},
		{state{off: time.Second + 1, since: time.Hour + 1}, true},
		{state{off: 749 * time.Millisecond, keeps: true}, false},
		{state{off: 750 * time.Millisecond, keeps: true}, true},
		{state{off: 101 * time.Millisecond, since: time.Minute, again: true}, true},
		{state{off: 100 * time.Millisecond, since: time.Minute, again: true}, false},
		{state{off: 101 * time.Millisecond, since: time.Minute, again: true, k: true}, false},
		{state{invalid: true, since: 10 * time.Minute}, false},
		{state{invalid: true, since: 10*time.Minute + 1}, true},
		{state{off: 2 * time.Hour}, false}, // local time
	} {
		p := rtcPolicy{offset: c.off, heard: 1, invalid: c.invalid, again: c.again, chip: Chip{KeepsPhase: c.keeps}}
		if c.unheard {
			p.heard = 0
		}
		if c.since != 0 {
			p.chip.LastSet = now.Add(-c.since)
		}
		if got := p.needed(now, c.k); got != c.want {
			t.Errorf("%+v: %v", c.state, got)
		}
	}
}

// A clock off by quarter hours, to 5 s and 14 h, keeps local time (time zones are from
// −12 to +14 h, some by quarter hours: tz database).
func TestLocalTime(t *testing.T) {
	for _, c := range []struct {
		off  time.Duration
		want bool
	}{
		{4 * time.Second, false}, {15 * time.Minute, true}, {-15*time.Minute - 4999*time.Millisecond, true},
		{15*time.Minute + 5*time.Second, false}, {14*time.Hour + time.Second, true}, {14*time.Hour + 15*time.Minute, false},
		{-12 * time.Hour, true}, {7 * time.Minute, false},
	} {
		if p := (rtcPolicy{offset: c.off}); p.localTime() != c.want {
			t.Errorf("off by %v: local time %v", c.off, !c.want)
		}
	}
}

// How well a clock must be known that another is set from.
func TestProvedFor(t *testing.T) {
	for _, c := range []struct {
		p    rtcPolicy
		want time.Duration
	}{
		{rtcPolicy{heard: 1, offset: 2 * rtcFarOff}, rtcProved},
		{rtcPolicy{heard: 1, offset: -2*rtcFarOff - 1}, rtcRough},
		{rtcPolicy{offset: 3 * rtcFarOff}, rtcProved}, // nobody has heard it
		{rtcPolicy{invalid: true}, rtcRough},
	} {
		if got := c.p.proved(); got != c.want {
			t.Errorf("%+v: %v, want %v", c.p, got, c.want)
		}
	}
}

// The write lies a lead ahead, and the tick after it begins the second it names.
func TestPlanned(t *testing.T) {
	const now = timescale.Local(500 * timescale.Second)
	for _, first := range []float64{0.5, 1, 0.73} {
		for ms := int64(0); ms < 1000; ms += 37 {
			utc := timescale.UTC(7000*timescale.Second + ms*1e6)
			p := rtcPolicy{chip: Chip{FirstTickS: first}}
			o := p.planned(now, utc)
			lead := o.At.Sub(now)
			tick := utc.Add(lead).Add(ns(first))
			if lead < rtcLead || lead > rtcLead+time.Second || p.used != first {
				t.Errorf("first tick after %g s, at +%d ms: written %v ahead", first, ms, lead)
			}
			if off := tick.Sub(o.Value.Add(time.Second)); off.Abs() > time.Microsecond {
				t.Errorf("first tick after %g s, at +%d ms: the tick is %v off the second it names", first, ms, off)
			}
		}
	}
	// A chip that keeps its phase: the write comes 300 ms after one of its own edges, and
	// names the second nearest to that edge, half a second off at most.
	for ms := int64(0); ms < 1000; ms += 37 {
		utc := timescale.UTC(7000*timescale.Second + ms*1e6)
		for _, phase := range []time.Duration{100 * time.Millisecond, 800 * time.Millisecond} {
			p := rtcPolicy{heard: 1, edge: timescale.UTC(6990 * timescale.Second).Add(phase), chip: Chip{KeepsPhase: true, FirstTickS: 1}}
			o := p.planned(now, utc)
			lead := o.At.Sub(now)
			edge := utc.Add(lead - 300*time.Millisecond)
			if lead < rtcLead || lead > rtcLead+1300*time.Millisecond || mod(time.Duration(edge), time.Second) != phase {
				t.Errorf("phase %v, at +%d ms: written %v ahead, %v after a full second", phase, ms, lead, mod(time.Duration(edge), time.Second))
			}
			if o.Value%timescale.UTC(timescale.Second) != 0 || o.Value.Sub(edge).Abs() > 500*time.Millisecond {
				t.Errorf("phase %v: the edge at %v is named %v", phase, edge, o.Value)
			}
		}
	}
}

// What a chip does after writes, one after the other, and what is learned of it.
func TestMeasure(t *testing.T) {
	s := New(Config{RTC: "rtc_cmos"})
	p := &s.rtc
	local, utc := timescale.Local(100*timescale.Second), timescale.UTC(9000*timescale.Second)
	write := func(first float64, passed time.Duration, sigma time.Duration) (text string) {
		local, utc = local.Add(time.Hour), utc.Add(time.Hour)
		p.plan = RTCOrder{At: local, Value: utc}
		p.used = p.chip.FirstTickS
		s.RTCWritten(local, local, nil)
		// The chip shows value + 1 s at first s after the write, and ticks on.
		r := &clockcheck.RTC{Edge: local.Add(ns(first) + passed), Value: utc.Add(time.Second + passed), Sigma: sigma}
		for _, e := range s.RTC(r) {
			text += e.Text
		}
		return text
	}
	const fine = time.Millisecond
	if text := write(0.52, 3*time.Second, fine); text != "" || p.chip.Measured != 1 || math.Abs(p.chip.FirstTickS-0.52) > 1e-9 {
		t.Errorf("as assumed, to 20 ms: %q, %+v", text, p.chip)
	}
	if write(0.54, 3*time.Second, fine); math.Abs(p.chip.FirstTickS-0.53) > 1e-9 {
		t.Errorf("the mean of two: %+v", p.chip)
	}
	if write(0.53, 61*time.Second, fine); p.chip.Measured != 2 || p.written != 0 {
		t.Errorf("a reading a minute after the write measures nothing: %+v", p.chip)
	}
	if write(1.21, 3*time.Second, fine); p.chip.Measured != 2 {
		t.Errorf("somebody else set it: %+v", p.chip)
	}
	if write(-0.21, 3*time.Second, fine); p.chip.Measured != 2 {
		t.Errorf("somebody else set it back: %+v", p.chip)
	}
	if write(0.53, 3*time.Second, rtcFine+1); p.chip.Measured != 2 || p.written == 0 {
		t.Errorf("a coarse reading measures nothing, the next may: %+v", p.chip)
	}
	if text := write(1.0, 3*time.Second, fine); !strings.Contains(text, "1.000 s later, not 0.530 s") || p.chip.FirstTickS != 1.0 || !p.again || p.misses != 1 {
		t.Errorf("another rule: %q, %+v", text, p)
	}
	if text := write(0.2, 3*time.Second, fine); text == "" || p.misses != 2 || p.chip.KeepsPhase {
		t.Errorf("and another: %q, %+v", text, p)
	}
	if text := write(0.7, 3*time.Second, fine); !strings.HasPrefix(text, "A write leaves") || !p.chip.KeepsPhase || p.chip.FirstTickS != 0.2 {
		t.Errorf("three that do not agree: %q, %+v", text, p)
	}
	if text := write(0.4, 3*time.Second, fine); text != "" || !p.chip.KeepsPhase {
		t.Errorf("said once: %q, %+v", text, p)
	}
	if write(0.2, 3*time.Second, fine); p.chip.KeepsPhase || p.misses != 0 {
		t.Errorf("one that agrees: %+v", p)
	}
}

func TestFirstTick(t *testing.T) {
	for name, want := range map[string]float64{"rtc_cmos rtc_cmos": 0.5, "rtc-pcf8523 1-0068": 0.5, "rtc-ds1307 1-0068": 1, "": 1} {
		if got := firstTick(name); got != want {
			t.Errorf("%q: %g s, want %g", name, got, want)
		}
	}
}

// The four chips used last are kept.
func TestChipsKept(t *testing.T) {
	l := Learned{}
	for _, name := range []string{"a", "b", "c", "d", "e"} {
		s := New(Config{RTC: name, Learned: l})
		s.RTCWritten(1, 1, nil)
		s.rtc.chip.Measured = 1
		l = s.Learned()
	}
	names := ""
	for _, c := range l.Chips {
		names += c.Name
	}
	if names != "edcb" {
		t.Errorf("kept %s", names)
	}
	if got := New(Config{RTC: "f", Learned: l}).Learned(); len(got.Chips) != 3 || got.Chips[0].Name != "e" {
		t.Errorf("one of which nothing was learned: %+v", got)
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
		{name: "unsynchronised by itself after long", was: synced, passed: 60 * time.Second, change: func(k *Kernel) { k.Bits |= BitUnsync }},
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
}

// What is told of a hardware clock that was set, and that its time counts again.
func TestSaidOfASetClock(t *testing.T) {
	for _, c := range []struct {
		heard timescale.Local
		want  string
	}{{0, "without a valid time"}, {1, "off by +3.000 s"}} {
		s := New(Config{RTC: "rtc"})
		s.rtc.heard, s.rtc.offset, s.rtc.invalid = c.heard, 3*time.Second, c.heard == 0
		e := s.RTCWritten(5, 5, nil)
		if len(e) != 1 || !strings.Contains(e[0].Text, c.want) || s.rtc.invalid {
			t.Errorf("heard %d: %+v, still invalid: %v", c.heard, e, s.rtc.invalid)
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
