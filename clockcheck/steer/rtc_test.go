package steer_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/rtc/rtctest"
)

// bench is a world with a hardware clock, which is read now and then and written when
// that is ordered.
type bench struct {
	*world
	rtc    *rtctest.Clock
	delay  time.Duration // of a write
	writes []timescale.UTC
	refuse error
	wait   time.Duration // until the next reading
	was    timescale.UTC // the truth when the second began
}

func newBench(t *testing.T, cfg steer.Config, m rtctest.Model, off time.Duration) *bench {
	b := &bench{world: newWorld(t, cfg, 0), delay: 2 * time.Millisecond, wait: 3 * time.Second}
	b.rtc = rtctest.New(m, 7, b.utc(), b.utc().Add(off))
	b.was = b.utc()
	return b
}

// second is a second of the machine's life.
func (b *bench) second() {
	b.pass(time.Second)
	b.tick()
	now := b.utc()
	if o := b.last.SetRTC; o != nil {
		b.write(*o)
	}
	if b.wait -= time.Second; b.wait <= 0 {
		b.wait = 10 * time.Minute
		at, shows, ok := b.rtc.NextEdge(b.was)
		r := &clockcheck.RTC{Invalid: !ok, Edge: b.local, Sigma: time.Millisecond}
		if ok {
			r.Edge, r.Value = b.local.Add(at.Sub(now)), shows
		}
		b.events = append(b.events, b.s.RTC(r)...)
	}
	b.was = now
}

// write carries an order out, some seconds ahead of the world's own time.
func (b *bench) write(o steer.RTCOrder) {
	b.t.Helper()
	lead := o.At.Sub(b.local)
	if lead < 500*time.Millisecond || lead > 5*time.Second {
		b.t.Fatalf("ordered for %v from now", lead)
	}
	b.pass(lead)
	before := b.local
	if b.refuse == nil {
		b.rtc.Set(b.utc().Add(b.delay), o.Value)
		b.writes = append(b.writes, b.utc())
		b.wait = 3 * time.Second
	}
	b.events = append(b.events, b.s.RTCWritten(before, before.Add(2*b.delay), b.refuse)...)
}

func (b *bench) live(d time.Duration) {
	for range int(d / time.Second) {
		b.second()
	}
}

// off is the true error of the hardware clock at its next edge.
func (b *bench) off() time.Duration {
	at, shows, ok := b.rtc.NextEdge(b.utc())
	if !ok {
		b.t.Fatal("the hardware clock stands still")
	}
	return shows.Sub(at)
}

// unvouched keeps the kernel's own writes off, which these tests do not simulate.
var unvouched = steer.Config{RTC: "rtc-new 1-0001", Unvouched: true}

// Whatever the chip's rule, its edge is right after two writes, and after one the
// next time, for the rule is kept.
func TestEdgeIsRightWhateverTheRule(t *testing.T) {
	for _, first := range []time.Duration{time.Second, 500 * time.Millisecond, 508 * time.Millisecond, 250 * time.Millisecond} {
		b := newBench(t, unvouched, rtctest.Model{FirstTick: first}, 7*time.Second)
		b.live(30 * time.Minute)
		want := 2
		if first == time.Second {
			want = 1
		}
		if off := b.off(); off.Abs() > 5*time.Millisecond || len(b.writes) != want {
			t.Errorf("%v: %v off after %d writes", first, off, len(b.writes))
		}
		l := b.s.Learned()
		if len(l.Chips) != 1 || math.Abs(l.Chips[0].FirstTickS-first.Seconds()) > 0.003 || l.Chips[0].KeepsPhase {
			t.Errorf("%v: learned %+v", first, l)
		}
		cfg := unvouched
		cfg.Learned = l
		b = newBench(t, cfg, rtctest.Model{FirstTick: first}, 7*time.Second)
		b.born = b.born.Add(48 * time.Hour) // another day
		b.c.Step(b.local, 48*time.Hour)
		b.rtc = rtctest.New(rtctest.Model{FirstTick: first}, 9, b.utc(), b.utc().Add(-3*time.Second))
		b.live(30 * time.Minute)
		if off := b.off(); off.Abs() > 5*time.Millisecond || len(b.writes) != 1 {
			t.Errorf("%v, learned: %v off after %d writes", first, off, len(b.writes))
		}
	}
}

// A chip whose write leaves the phase alone is found out and left alone, too.
func TestChipThatKeepsItsPhase(t *testing.T) {
	found := 0
	for phase := range 9 {
		m := rtctest.Model{FirstTick: rtctest.KeepPhase}
		b := newBench(t, unvouched, m, 0)
		b.rtc = rtctest.New(m, uint64(phase), b.utc(), b.utc().Add(5*time.Second)) // the seed gives the phase
		b.live(3 * time.Hour)
		if l := b.s.Learned(); len(l.Chips) == 1 && l.Chips[0].KeepsPhase {
			found++
		}
		n := len(b.writes)
		if off := b.off(); off.Abs() > 760*time.Millisecond || n > 3 {
			t.Errorf("phase %d: %v off after %d writes", phase, off, n)
		}
		b.live(25 * time.Hour)
		if more := len(b.writes) - n; more > 1 {
			t.Errorf("phase %d: %d writes more in a day", phase, more)
		}
	}
	if found < 3 {
		t.Errorf("found out in %d of 9", found)
	}
}

// Rarely: even a plain crystal that gains 4 s a day is set a few times a day, never
// twice within the hour (46 ppm make a second in 6 h).
func TestSetRarely(t *testing.T) {
	b := newBench(t, unvouched, rtctest.Model{PPM: 46, FirstTick: time.Second}, 0)
	b.live(3 * 24 * time.Hour)
	for i := 1; i < len(b.writes); i++ {
		if apart := b.writes[i].Sub(b.writes[i-1]); apart < time.Hour {
			t.Errorf("set twice within %v", apart)
		}
	}
	if n := len(b.writes); n < 3 || n > 14 {
		t.Errorf("%d writes in three days", n)
	}
}

func TestWhenTheRTCIsNotSet(t *testing.T) {
	broken := errors.New("input/output error")
	for _, row := range []struct {
		name string
		cfg  steer.Config
		off  time.Duration
		set  func(*bench)
		want string
	}{
		{"none to set", steer.Config{Unvouched: true}, 7 * time.Second, func(*bench) {}, ""},
		{"right", unvouched, 40 * time.Millisecond, func(*bench) {}, ""},
		{"clock not proved", unvouched, 700 * time.Millisecond, func(b *bench) { b.j.Guard = 0.2 }, ""},
		{"clock not proved at all", unvouched, 7 * time.Second, func(b *bench) { b.j.Guard = 1.1 }, ""},
		{"second not proved", unvouched, 7 * time.Second, func(b *bench) { b.j.Proved = []string{"date"} }, ""},
		{"holdover", unvouched, 7 * time.Second, func(b *bench) { b.j.Basis = clockcheck.BasisHoldover }, ""},
		{"from itself", unvouched, 7 * time.Second, func(b *bench) { b.j.Basis = clockcheck.BasisRTC }, ""},
		{"local time", unvouched, -4 * time.Hour, func(*bench) {}, "rtc-local-time"},
		{"refused", unvouched, 7 * time.Second, func(b *bench) { b.refuse = broken }, "rtc-not-set rtc-not-set rtc-not-set"},
		{"the kernel does it", steer.Config{RTC: "x"}, 400 * time.Millisecond, func(*bench) {}, ""},
	} {
		b := newBench(t, row.cfg, rtctest.Model{FirstTick: time.Second}, row.off)
		row.set(b)
		b.live(25 * time.Minute)
		if k := b.kinds(); len(b.writes) != 0 || k != row.want {
			t.Errorf("%s: %d writes, events %q", row.name, len(b.writes), k)
		}
	}
}

// A clock that is far off is set roughly by a clock that is known roughly.
func TestSetRoughly(t *testing.T) {
	b := newBench(t, unvouched, rtctest.Model{FirstTick: time.Second}, 7*time.Second)
	b.j.Guard = 0.9
	b.live(30 * time.Minute)
	if len(b.writes) != 1 || b.off().Abs() > time.Second {
		t.Errorf("%d writes, %v off", len(b.writes), b.off())
	}
}

// A clock that lost its time is set at once, even while the kernel would do it: a power
// cut may come sooner.
func TestLostTimeIsSetAtOnce(t *testing.T) {
	b := newBench(t, steer.Config{RTC: "x"}, rtctest.Model{FirstTick: time.Second, InvalidFails: true, ResetTo: 1}, 0)
	b.rtc.SetBattery(b.utc(), rtctest.BatteryDead)
	b.rtc.Power(b.utc(), false)
	b.rtc.Power(b.utc().Add(1), true)
	b.live(time.Minute)
	if len(b.writes) != 1 || b.off().Abs() > 5*time.Millisecond {
		t.Errorf("%d writes", len(b.writes))
	}
}
