package world

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck/steer"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/gnsstest"
	"noonmark/rtc/rtctest"
	"noonmark/status"
)

func steered(chip string) station.Config {
	cfg := config()
	cfg.Steer = &steer.Config{Modes: cfg.Judge.Modes, Floor: cfg.BuildDate, RTC: chip}
	return cfg
}

// watched plays a story and counts what must never be: verdicts that were wrong, and
// events by their kind.
func watched(s Scenario, cfg station.Config, seed uint64) (w *World, o outcome, kinds map[string]int) {
	w = New(s, cfg, seed)
	kinds = map[string]int{}
	told := map[string]bool{}
	for w.Elapsed() < s.Length {
		snap := w.Second()
		truth := w.SystemError()
		if c := snap.Clock; c.GuardS.OK && math.Abs(c.ErrorS.V-truth) > c.GuardS.V {
			o.missed++
		}
		for _, m := range snap.Modes {
			if m.Verdict == status.Within && math.Abs(truth) > m.ToleranceS {
				o.falseWithin++
			}
		}
		if snap.Modes[0].Verdict == status.Within {
			o.within++
		}
		for _, e := range snap.Events {
			if !told[e.Text] {
				told[e.Text] = true
				kinds[e.Kind]++
			}
		}
		o.last = *snap
	}
	return w, o, kinds
}

// steps counts how often somebody moves the clock in a story.
func steps(s Scenario) (n int) {
	for _, c := range s.Story {
		if c.Step != 0 {
			n++
		}
	}
	return n
}

// The property above all others with the clock steered: on every story, with chips of
// each rule, the kernel's own writes included. And nobody is blamed for what we did.
func TestSteeredNeverFalselyWithin(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine, and ten times slower under the race detector")
	}
	for _, s := range Scenarios() {
		for _, first := range []time.Duration{time.Second, 500 * time.Millisecond, rtctest.KeepPhase} {
			t.Run(s.Name+" "+first.String(), func(t *testing.T) {
				t.Parallel()
				s := s
				s.RTC.FirstTick = first
				for seed := range seeds() {
					w, o, kinds := watched(s, steered("rtc-some"), seed+1)
					if o.falseWithin > 0 || o.missed > 0 {
						t.Errorf("seed %d: %d s of false within, %d s in which error ± guard missed the truth", seed+1, o.falseWithin, o.missed)
					}
					blamed := kinds["clock-touched"] + kinds["another-program"] + kinds["clock-stepped"]
					if want := steps(s); blamed != want {
						t.Errorf("seed %d: another program was blamed %d times: %v %v", seed+1, blamed, kinds, o.last.Events)
					}
					if w.RTCSets() > 3 {
						t.Errorf("seed %d: the hardware clock was set %d times", seed+1, w.RTCSets())
					}
				}
			})
		}
	}
}

// A steered clock is where the judge thinks UTC is, and the rest is the judge's.
func TestSteeredClockIsHeld(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine, and ten times slower under the race detector")
	}
	s, _ := Named("camp")
	for seed := range uint64(3) {
		_, o, _ := watched(s, steered("rtc-some"), seed+1)
		c := o.last.Clock
		if math.Abs(c.ErrorS.V) > 0.003 || c.Steering != string(steer.Holding) {
			t.Errorf("seed %d: %s, %+.4f s", seed+1, c.Steering, c.ErrorS.V)
		}
		for _, m := range o.last.Modes[:2] {
			if m.Verdict != status.Within {
				t.Errorf("seed %d: %s %s", seed+1, m.Mode, m.Verdict)
			}
		}
	}
}

// Steering adds nothing to the error of what it steers by: the clock is off by what the
// judge's estimate is off, give or take 2 ms.
func TestSteeringAddsLittle(t *testing.T) {
	if testing.Short() {
		t.Skip("one goroutine, and ten times slower under the race detector")
	}
	s, _ := Named("camp")
	s.Receiver, s.Length = gnsstest.Typical(), 3*time.Hour
	s.Story = []Chapter{{Scene: open, Servers: []Server{{Name: "192.0.2.1", Error: 2 * time.Millisecond, Bound: 20 * time.Millisecond}}}, {From: time.Hour, Scene: open}}
	w := New(s, steered("rtc-some"), 1)
	clock, estimate, apart, n := 0.0, 0.0, 0.0, 0
	for w.Elapsed() < s.Length {
		snap := w.Second()
		if w.Elapsed() < time.Hour {
			continue
		}
		e, off := w.SystemError(), snap.Clock.ErrorS.V
		clock, estimate, apart, n = clock+e*e, estimate+(e-off)*(e-off), apart+off*off, n+1
	}
	rms := func(sum float64) float64 { return 1e3 * math.Sqrt(sum/float64(n)) }
	t.Logf("2 h after the latency was learned: clock %.2f ms RMS off, the judge's estimate %.2f ms, the two apart %.2f ms", rms(clock), rms(estimate), rms(apart))
	if rms(apart) > 2 || rms(clock) > 10 {
		t.Errorf("clock %.2f ms RMS off, estimate %.2f ms, apart %.2f ms", rms(clock), rms(estimate), rms(apart))
	}
}

// Somebody moves the clock by 2 s: it is put right in a gap within half a minute, and
// FT8 is within again.
func TestForeignStepIsPutRight(t *testing.T) {
	s, _ := Named("stepped")
	s.Length = 4 * time.Minute // then the operator of the story does it
	w, o, kinds := watched(s, steered("rtc-some"), 1)
	if o.last.Modes[0].Verdict != status.Within || math.Abs(w.SystemError()) > 0.2 {
		t.Errorf("%+v, %+.3f s", o.last.Modes[0], w.SystemError())
	}
	if lost := int(s.Length.Seconds()) - o.within; lost > 45 {
		t.Errorf("FT8 was not within for %d s", lost)
	}
	if kinds["stepped"] < 1 || kinds["clock-touched"] != 1 {
		t.Errorf("%v", kinds)
	}
}

// A boot three days wrong with a receiver that is known: the clock is right as soon as
// the receiver has a fix.
func TestThreeDaysWrong(t *testing.T) {
	s, _ := Named("first-night")
	s.Story = s.Story[:1] // nobody sets it
	s.Receiver, s.SystemError, s.Length = gnsstest.Typical(), -72*time.Hour, 20*time.Minute
	w, o, _ := watched(s, steered(""), 1)
	if e := math.Abs(w.SystemError()); e > 0.6 || w.Steps() > 3 {
		t.Errorf("%.3f s off after %d steps: %s", e, w.Steps(), o.last.Clock.Because)
	}
}
