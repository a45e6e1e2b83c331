package rtctest

import (
	"errors"
	"math"
	"syscall"
	"testing"
	"time"

	"pgregory.net/rapid"

	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
)

const start = timescale.UTC(1_900_000_000 * timescale.Second)

// gain is how much c gains on true time over d from at, by its edges.
func gain(t interface{ Fatal(...any) }, c *Clock, at timescale.UTC, d time.Duration) time.Duration {
	a, sa, ok1 := c.NextEdge(at)
	b, sb, ok2 := c.NextEdge(at.Add(d))
	if !ok1 || !ok2 {
		t.Fatal("no edge")
	}
	return sb.Sub(sa) - b.Sub(a)
}

// The tuning fork's table, computed from B = −0.034 ppm/°C² and T0 = 25 °C
// (both NXP UM10301, section 9), in ppm and in seconds a day.
func TestCurve(t *testing.T) {
	for _, tc := range []struct{ temp, ppm, perDay float64 }{
		{-40, -143.7, -12.4}, {-20, -68.9, -5.95}, {-10, -41.7, -3.60}, {0, -21.3, -1.84}, {10, -7.65, -0.66},
		{20, -0.85, -0.07}, {25, 0, 0}, {30, -0.85, -0.07}, {40, -7.65, -0.66}, {50, -21.3, -1.84}, {60, -41.7, -3.60}, {85, -122.4, -10.6},
	} {
		c := New(Model{CurvePPM: -0.034, T0: 25, Temperature: func(timescale.UTC) float64 { return tc.temp }}, 1, start, start)
		got := gain(t, c, start, 24*time.Hour).Seconds()
		if math.Abs(got/86400*1e6-tc.ppm) > 0.06 || math.Abs(got-tc.perDay) > 0.051 {
			t.Errorf("%g °C: %.3f s/day, want %g; %.2f ppm, want %g", tc.temp, got, tc.perDay, got/86400*1e6, tc.ppm)
		}
	}
}

// The rules of thumb of NXP UM10301: 1 s/day = 11.57 ppm, 1 s/week = 1.65 ppm.
func TestRateAndAgeing(t *testing.T) {
	if got := gain(t, New(Model{PPM: 11.57}, 1, start, start), start, 24*time.Hour).Seconds(); math.Abs(got-1) > 0.001 {
		t.Errorf("11.57 ppm gain %.4f s/day", got)
	}
	if got := gain(t, New(Model{PPM: -1.65}, 1, start, start), start, 7*24*time.Hour).Seconds(); math.Abs(got+1) > 0.003 {
		t.Errorf("-1.65 ppm gain %.4f s/week", got)
	}
	// A rate that grows evenly to 3 ppm in a year gains ½ · 3 ppm · 31557600 s.
	if got := gain(t, New(Model{AgeingPPM: 3}, 1, start, start), start, 8766*time.Hour).Seconds(); math.Abs(got-47.336) > 0.01 {
		t.Errorf("3 ppm a year gain %.4f s in the first", got)
	}
}

// A random walk has the standard deviation asked for after a day, over seeds.
func TestWander(t *testing.T) {
	var sum, sq float64
	const n = 300
	for seed := range uint64(n) {
		c := New(Model{WanderPPM: 0.5}, seed, start, start)
		c.At(start.Add(24 * time.Hour))
		sum += c.walk[0]
		sq += c.walk[0] * c.walk[0]
	}
	mean, sd := sum/n, math.Sqrt(sq/n)
	if math.Abs(mean) > 0.1 || math.Abs(sd-0.5) > 0.08 {
		t.Errorf("after a day: mean %.3f, sd %.3f ppm, want 0 and 0.5", mean, sd)
	}
}

// First ticks after a write: MC146818 and Linux commit 69eca258c850 for 0.5 and
// 1 s; NXP data sheet PCA8565 for 0.508 s.
func TestSetRule(t *testing.T) {
	set := start.Add(1234567891)
	for _, first := range []time.Duration{time.Second, 500 * time.Millisecond, 508 * time.Millisecond} {
		c := New(Model{FirstTick: first}, 9, start, start)
		c.Set(set, 1_000_000_000*1e9+999)
		at, shows, ok := c.NextEdge(set)
		if !ok || at.Sub(set) != first || shows != 1_000_000_001*1e9 {
			t.Errorf("first tick %v: after %v shows %v, %v", first, at.Sub(set), shows.Time(), ok)
		}
		if f, err := c.At(set); err != nil || f != rtc.FieldsOf(1_000_000_000*1e9) {
			t.Errorf("first tick %v: shows %+v at once, %v", first, f, err)
		}
	}
	seen := map[time.Duration]bool{}
	for seed := range uint64(20) {
		c := New(Model{FirstTick: KeepPhase}, seed, start, start)
		before, _, _ := c.NextEdge(set)
		c.Set(set, start)
		after, _, _ := c.NextEdge(set)
		if before != after {
			t.Errorf("seed %d: phase moved by %v", seed, after.Sub(before))
		}
		seen[after.Sub(set)] = true
	}
	if len(seen) < 20 {
		t.Errorf("only %d phases from 20 seeds", len(seen))
	}
}

func TestPower(t *testing.T) {
	off, on := start.Add(time.Hour), start.Add(5*time.Hour)
	for _, tc := range []struct {
		name    string
		m       Model
		b       Battery
		wantErr error
		want    timescale.UTC // approximately, an hour after power came back
		flags   rtc.Flags
	}{
		{"bad: dead, refuses", Model{HasFlags: true, InvalidFails: true}, BatteryDead, syscall.EINVAL, 0, rtc.DataInvalid | rtc.BackupEmpty},
		{"bad: dead, 1970", Model{HasFlags: true, ResetTo: 1}, BatteryDead, nil, 3600 * 1e9, rtc.DataInvalid | rtc.BackupEmpty},
		{"bad: dead, froze", Model{HasFlags: true}, BatteryDead, nil, start.Add(2 * time.Hour), rtc.DataInvalid | rtc.BackupEmpty},
		{"low", Model{HasFlags: true}, BatteryLow, nil, start.Add(6 * time.Hour), rtc.BackupLow | rtc.BackupSwitch},
		{"good", Model{HasFlags: true}, BatteryGood, nil, start.Add(6 * time.Hour), rtc.BackupSwitch},
		{"good, local time", Model{HasFlags: true, Zone: -4 * time.Hour}, BatteryGood, nil, start.Add(2 * time.Hour), rtc.BackupSwitch},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := New(tc.m, 4, start, start)
			c.SetBattery(off, tc.b)
			c.Power(off, false)
			if _, err := c.At(off.Add(time.Hour)); !errors.Is(err, syscall.EIO) {
				t.Errorf("unpowered: %v", err)
			}
			c.Power(on, true)
			f, err := c.At(on.Add(time.Hour))
			if !errors.Is(err, tc.wantErr) {
				t.Fatalf("error %v, want %v", err, tc.wantErr)
			}
			if err == nil {
				u, err := f.UTC()
				if d := u.Sub(tc.want); err != nil || d.Abs() > time.Second {
					t.Errorf("shows %v, want about %v, %v", u.Time(), tc.want.Time(), err)
				}
			}
			if got, known := c.Flags(on.Add(time.Hour)); !known || got != tc.flags {
				t.Errorf("flags %v, want %v", got, tc.flags)
			}
			c.Set(on.Add(2*time.Hour), on.Add(2*time.Hour))
			if _, err := c.At(on.Add(2 * time.Hour)); err != nil {
				t.Errorf("after a set: %v", err)
			}
		})
	}
}

// Laws: what At shows changes exactly at NextEdge, whole seconds apart; and
// asking often changes nothing.
func TestEdgeLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := Model{PPM: rapid.Float64Range(-200, 200).Draw(t, "ppm"), WanderPPM: 0.1, CurvePPM: -0.034, T0: 25,
			Temperature: func(u timescale.UTC) float64 { return 10 + 15*math.Sin(float64(u)/1e9/86400*2*math.Pi) }}
		seed := rapid.Uint64().Draw(t, "seed")
		nosy, calm := New(m, seed, start, start), New(m, seed, start, start)
		now := start
		for range 20 {
			now = now.Add(time.Duration(rapid.Int64Range(0, 1e12).Draw(t, "pass")))
			at, shows, ok := nosy.NextEdge(now)
			if !ok || at <= now || at.Sub(now) > 1001*time.Millisecond {
				t.Fatalf("edge after %v", at.Sub(now))
			}
			before, _ := nosy.At(at - 1)
			after, _ := nosy.At(at)
			if before != rtc.FieldsOf(shows.Add(-time.Second)) || after != rtc.FieldsOf(shows) {
				t.Fatalf("edge %v: %+v then %+v", shows.Time(), before, after)
			}
			now = at
		}
		a, _, _ := nosy.NextEdge(now)
		b, _, _ := calm.NextEdge(now)
		if d := a.Sub(b); d != 0 {
			t.Fatalf("asking moved the edge by %v", d)
		}
	})
}

// Below a temperature the oscillator stands: the clock shows the same second until it is
// warmer, and loses exactly that time. Only a chip with a stop flag tells.
func TestStopsInTheCold(t *testing.T) {
	start := timescale.UTCOf(time.Date(2031, 2, 3, 4, 0, 0, 0, time.UTC))
	for _, told := range []bool{true, false} {
		m := Model{StopsBelowC: -20, StopTold: told, InvalidFails: true, Temperature: func(u timescale.UTC) float64 {
			if d := u.Sub(start); d > time.Hour && d < 3*time.Hour {
				return -25
			}
			return 10
		}}
		c := New(m, 1, start, start)
		cold, warm := start.Add(2*time.Hour), start.Add(4*time.Hour)
		if _, _, ok := c.NextEdge(start.Add(30 * time.Minute)); !ok {
			t.Error("no edge while it is warm")
		}
		a, errA := c.At(cold)
		if _, _, ok := c.NextEdge(cold); ok {
			t.Error("an edge while it stands")
		}
		b, errB := c.At(cold.Add(30 * time.Minute))
		if (errA != nil) != told || (errB != nil) != told || a != b {
			t.Errorf("told %v: it shows %v (%v), half an hour later %v (%v)", told, a, errA, b, errB)
		}
		f, err := c.At(warm)
		if told {
			if err == nil {
				t.Error("its flag is gone without a setting")
			}
			continue
		}
		u, _ := f.UTC()
		if lost := warm.Sub(u); err != nil || (lost-2*time.Hour).Abs() > time.Minute+time.Second {
			t.Errorf("it stood for two hours and lost %v (%v)", lost, err)
		}
		if _, _, ok := c.NextEdge(warm); !ok {
			t.Error("no edge when it is warm again")
		}
	}
}
