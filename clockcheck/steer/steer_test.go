package steer_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/steer/steertest"
	"noonmark/clockcheck/timescale"
)

// A machine that boots three days wrong is stepped at once, then held; the
// frequency word is the oscillator's rate.
func TestFirstStep(t *testing.T) {
	for _, off := range []time.Duration{-3 * 24 * time.Hour, 310 * time.Millisecond, -100 * time.Millisecond, 0} {
		w := newWorld(t, steer.Config{}, off)
		w.tick()
		if stepped := w.c.Steps; (stepped == 1) != (off.Abs() > 250*time.Millisecond) {
			t.Errorf("%v: stepped %d times", off, stepped)
		}
		w.run(10 * time.Minute)
		w.holds(0.001)
		if k := w.c.Kernel(w.local); math.Abs(k.FreqPPM+12) > 0.01 || k.Bits != 0 || k.MaxError > 50*time.Millisecond {
			t.Errorf("%v: kernel %+v", off, k)
		}
		if w.word() != steer.Holding {
			t.Errorf("%v: %s", off, w.word())
		}
		if k := w.kinds(); k != strings.Repeat("stepped", w.c.Steps) {
			t.Errorf("%v: events %q", off, k)
		}
	}
}

// A step is told with the time before it and after it.
func TestStepIsToldOnBothAxes(t *testing.T) {
	w := newWorld(t, steer.Config{}, 2*time.Second)
	w.tick()
	if len(w.events) != 1 || !strings.Contains(w.events[0].Text, "by -2.000 s, from 2031-02-03 04:05:08.250 to 2031-02-03 04:05:06.250 UTC") {
		t.Errorf("%+v", w.events)
	}
}

// The smaller error is turned out whatever the phase of the looks within the clock's
// second, without swinging, and at the kernel's own speed.
func TestSlewSettles(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		off := time.Duration(rapid.Int64Range(-249e6, 249e6).Draw(r, "off"))
		w := newWorld(t, steer.Config{}, off)
		w.pass(time.Duration(rapid.Int64Range(0, 1e9).Draw(r, "phase")))
		w.j.RateBoundPPM = rapid.SampledFrom([]float64{0.01, 0.5, 80}).Draw(r, "rate")
		w.j.Bound = rapid.SampledFrom([]float64{1e-5, 0.02}).Draw(r, "bound")
		limit := w.j.Bound/50 + 20e-6
		if w.j.RateBoundPPM > 13 {
			limit += 40e-6 // 12 ppm that nobody has learned yet run against it
		}
		need := time.Duration(off.Abs().Seconds()/460e-6)*time.Second + 20*time.Second
		w.run(need)
		for range 200 {
			w.run(time.Second)
			if e := math.Abs(w.err()); e > limit {
				r.Fatalf("%v off at the start; settled and yet %.6f s off", off, e)
			}
		}
		if w.c.Steps != 0 {
			r.Fatalf("stepped")
		}
	})
}

// What the kernel has begun to turn goes on, and is counted: no overshoot, whatever
// the phase of the looks.
func TestSlewDoesNotOvershoot(t *testing.T) {
	for phase := range 10 {
		w := newWorld(t, steer.Config{}, 3*time.Millisecond)
		w.j.Bound = 1e-5
		w.pass(time.Duration(phase) * 100 * time.Millisecond)
		least := 1.0
		for range 60 {
			w.run(time.Second)
			least = math.Min(least, w.err())
		}
		if least < -20e-6 {
			t.Errorf("phase %d: overshot by %.6f s", phase, -least)
		}
		w.holds(20e-6)
	}
}

// Noise of the estimate must not be amplified: the clock is no worse than the
// estimate it is steered by.
func TestSlewFollowsEstimate(t *testing.T) {
	w := newWorld(t, steer.Config{}, 0)
	w.noise, w.j.Bound = 0.0002, 0.0005
	w.run(time.Minute)
	sum, n := 0.0, 0
	for range 3000 {
		w.run(time.Second)
		sum += w.err() * w.err()
		n++
	}
	if rms := math.Sqrt(sum / float64(n)); rms > 0.0002*1.2 {
		t.Errorf("RMS %.6f s by an estimate of 0.0002 s", rms)
	}
}

// A killed program leaves no correction running: the clock goes at the oscillator's
// learned rate after as long as the correction needs.
func TestKilledLeavesNoSlew(t *testing.T) {
	w := newWorld(t, steer.Config{}, 200*time.Millisecond)
	w.run(10 * time.Second)
	if w.word() != steer.Slewing {
		t.Fatalf("%s", w.word())
	}
	w.pass(410 * time.Second)
	w.holds(0.001)
	before := w.err()
	w.pass(time.Hour)
	if moved := math.Abs(w.err() - before); moved > 1e-4 {
		t.Errorf("moved by %.6f s in the hour after", moved)
	}
}

// What an earlier program left is taken out at the start.
func TestRepairsAtStart(t *testing.T) {
	f, tick, slew, loop, bits := 300.0, 100.0, 5*time.Second, 80*time.Millisecond, steer.BitPLL|steer.BitPPSFreq|steer.BitUnsync
	w := newWorld(t, steer.Config{}, 0)
	w.c.Tamper(w.local, steertest.Tamper{FreqPPM: &f, TickPPM: &tick, Slew: &slew, Loop: &loop, Bits: &bits})
	a := w.tick()
	if !a.ResetLoop || !a.SetSlew || a.Slew.Abs() > time.Millisecond {
		t.Errorf("%+v", a)
	}
	if k := w.kinds(); k != "steering-repaired steering-repaired" {
		t.Errorf("events %q", k)
	}
	w.run(5 * time.Minute)
	w.holds(0.001)
	if k := w.c.Kernel(w.local); k.TickPPM != 0 || k.Loop != 0 || k.Bits != 0 || math.Abs(k.FreqPPM+12) > 0.01 {
		t.Errorf("%+v", k)
	}
	if w.word() != steer.Holding {
		t.Errorf("%s", w.word())
	}
}

// A program that was killed and starts again beside a clock that it held: somebody may
// be on the air by it, so that a step waits for the gap.
func TestRestartWaitsForTheGap(t *testing.T) {
	for _, vouched := range []bool{false, true} {
		w := newWorld(t, steer.Config{InUse: "FT8"}, 400*time.Millisecond) // 6.25 s into a period
		if bits := steer.Bits(0); vouched {
			w.c.Tamper(w.local, steertest.Tamper{Bits: &bits})
		}
		w.tick()
		if stepped := w.c.Steps == 1; stepped == vouched {
			t.Errorf("vouched for %v, stepped %v", vouched, stepped)
		}
	}
}

// Nothing proved: nothing is done to the clock, and the kernel is told so.
func TestNothingProvedNothingDone(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		w := newWorld(t, steer.Config{Floor: night.Add(-24 * time.Hour)}, time.Duration(rapid.Int64Range(-1e13, 1e13).Draw(r, "off")))
		w.j.Guarded = false
		w.j.Known = rapid.Bool().Draw(r, "known")
		w.j.Basis = rapid.SampledFrom([]clockcheck.Basis{clockcheck.BasisGNSS, clockcheck.BasisNone, clockcheck.BasisHoldover}).Draw(r, "basis")
		w.run(20 * time.Second)
		if k := w.c.Kernel(w.local); w.c.Steps != 0 || k.Bits != steer.BitUnsync || k.MaxError < 15*time.Second || k.SlewLeft != 0 {
			r.Fatalf("%d steps, %+v", w.c.Steps, k)
		}
		if w.word() != steer.Observing {
			r.Fatalf("%s", w.word())
		}
	})
}

// A clock that shows a date before the program was built is wrong for certain; an RTC
// that nobody has compared is better, unless it is as impossible.
func TestImpossibleDate(t *testing.T) {
	for _, row := range []struct {
		off  time.Duration // of the clock
		rtc  time.Duration // of the RTC, and of what the judge takes for UTC
		want int
	}{
		{-60 * 365 * 24 * time.Hour, 0, 1},
		{-60 * 365 * 24 * time.Hour, -50 * 365 * 24 * time.Hour, 0},
		{-3 * time.Hour, 0, 0}, // possible: left alone
	} {
		w := newWorld(t, steer.Config{Floor: night.Add(-24 * time.Hour)}, row.off)
		w.j.Guarded, w.j.Basis = false, clockcheck.BasisRTC
		w.born = w.born.Add(row.rtc)
		w.run(20 * time.Second)
		if w.c.Steps != row.want {
			t.Errorf("%+v: %d steps", row, w.c.Steps)
		}
		if k := w.c.Kernel(w.local); k.Bits != steer.BitUnsync {
			t.Errorf("%+v: vouched for: %+v", row, k)
		}
	}
}

// The worst error must become smaller: what may lie on one side only must not be
// doubled by the step. Here the receiver may be 18 s ahead, and the clock lies on that
// side of it already.
func TestNoStepThatCouldMakeItWorse(t *testing.T) {
	for _, row := range []struct {
		off  time.Duration
		want int
	}{{-400 * time.Millisecond, 0}, {400 * time.Millisecond, 1}, {-40 * time.Second, 1}} {
		w := newWorld(t, steer.Config{}, row.off)
		// The true error may be up to 18 s more: UTC may lie 18 s before the estimate.
		w.j.ErrorLo, w.j.ErrorHi, w.j.Guard = -0.05, 18.05, 18.05
		w.j.Proved = []string{"date"}
		w.tick()
		if w.c.Steps != row.want {
			t.Errorf("%v: %d steps", row.off, w.c.Steps)
		}
		if k := w.c.Kernel(w.local); k.Bits&steer.BitUnsync == 0 {
			t.Errorf("%v: vouched for", row.off)
		}
	}
}

// Without the right to set the clock nothing is tried again, and it is said.
func TestDenied(t *testing.T) {
	w := newWorld(t, steer.Config{}, 2*time.Second)
	w.c.Denied = true
	w.run(time.Minute)
	if w.word() != steer.Forbidden || w.c.Steps != 0 || w.last.Any() {
		t.Errorf("%s, %d steps, %+v", w.word(), w.c.Steps, w.last)
	}
	if st := w.s.Steered(steer.Input{}); st.On {
		t.Error("said to be steered")
	}
}

// A passing refusal is got over.
func TestRefusedOnce(t *testing.T) {
	w := newWorld(t, steer.Config{}, 2*time.Second)
	w.s.Failed(w.local, false, "The kernel refused.")
	w.run(59 * time.Second)
	if w.c.Steps != 0 {
		t.Error("tried again too soon")
	}
	w.run(5 * time.Second)
	if w.c.Steps != 1 {
		t.Errorf("%d steps after the pause", w.c.Steps)
	}
}

// After suspend the clock may be anywhere: nobody is blamed.
func TestSleep(t *testing.T) {
	w := newWorld(t, steer.Config{}, 0)
	w.run(time.Minute)
	w.c.Step(w.local, 800*time.Millisecond)
	w.s.Segment()
	w.run(time.Minute)
	if k := w.kinds(); k != "stepped" {
		t.Errorf("events %q", k)
	}
	w.holds(0.001)
}

func TestSameInputSameActions(t *testing.T) {
	run := func() (out []steer.Actions) {
		w := newWorld(t, steer.Config{}, 700*time.Millisecond)
		w.noise = 0.003
		for range 100 {
			w.pass(time.Second)
			out = append(out, w.tick())
		}
		return out
	}
	a, b := run(), run()
	for i := range a {
		if a[i].Slew != b[i].Slew || a[i].Step != b[i].Step || a[i].FreqPPM != b[i].FreqPPM || a[i].Status != b[i].Status {
			t.Fatalf("at %d: %+v and %+v", i, a[i], b[i])
		}
	}
}

func TestJudgeIsTold(t *testing.T) {
	w := newWorld(t, steer.Config{}, 100*time.Millisecond)
	w.tick()
	st := w.s.Steered(steer.Input{Now: w.local, System: timescale.UTC(0)})
	if !st.On || math.Abs(st.FreqPPM+12) > 0.01 || math.Abs(st.Pending+0.1) > 1e-4 {
		t.Errorf("%+v", st)
	}
}
