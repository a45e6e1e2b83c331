package steer

import (
	"math"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

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
