package steer_test

import (
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/steer/steertest"
)

// again starts the program once more, on the clock as it stands.
func (w *world) again(cfg steer.Config) {
	cfg.Modes = modes("FT8", "FT4")
	w.s, w.events = steer.New(cfg), nil
	w.pass(2 * time.Second)
}

// A program that ends in order, in the middle of a correction, leaves none: the clock
// stands still on the learned rate, and the next start finds nothing to speak of.
func TestEndInOrderLeavesNoCorrection(t *testing.T) {
	for _, off := range []time.Duration{200 * time.Millisecond, -40 * time.Millisecond, 3 * time.Millisecond} {
		w := newWorld(t, steer.Config{}, off)
		w.run(3 * time.Second)
		if err := w.c.Apply(w.local, w.s.End()); err != nil {
			t.Fatal(err)
		}
		if k := w.c.Kernel(w.local); k.SlewLeft != 0 {
			t.Errorf("%v: %v of the correction is left", off, k.SlewLeft)
		}
		w.again(steer.Config{})
		w.run(10 * time.Minute)
		w.holds(0.001)
		if k := w.kinds(); k != "" {
			t.Errorf("%v: the next start tells %q", off, k)
		}
	}
}

// What another program turns is not ended at our end: the clock was left to it.
func TestEndLeavesAnothersCorrection(t *testing.T) {
	w := newWorld(t, steer.Config{}, 0)
	w.run(time.Minute)
	for range 2 {
		turn := 300 * time.Millisecond
		w.c.Tamper(w.local, steertest.Tamper{Slew: &turn})
		w.run(time.Minute)
	}
	if w.word() != steer.Another {
		t.Fatalf("%s", w.word())
	}
	if a := w.s.End(); a.Any() {
		t.Errorf("%+v", a)
	}
}

// A program that is killed leaves its correction. The next start ends it, and says whose
// it is: its own where the one before steered, unknown otherwise, another program's where
// that did what noonmark never does.
func TestWhoseCorrection(t *testing.T) {
	tick := 100.0
	for _, row := range []struct {
		name string
		cfg  steer.Config
		do   func(*world)
		want string // in the event; "" = none
	}{
		{"ours", steer.Config{Ours: true}, func(*world) {}, ""},
		{"unknown", steer.Config{}, func(*world) {}, "Another program began it, or a run of noonmark that was killed."},
		{"another's", steer.Config{Ours: true}, func(w *world) { w.c.Tamper(w.local, steertest.Tamper{TickPPM: &tick}) }, "Another program had left"},
	} {
		w := newWorld(t, steer.Config{}, 200*time.Millisecond)
		w.run(10 * time.Second)
		row.do(w)
		w.again(row.cfg)
		a := w.tick()
		if !a.SetSlew {
			t.Errorf("%s: what was left is not ended: %+v", row.name, a)
		}
		w.run(10 * time.Minute)
		w.holds(0.001)
		text := ""
		for _, e := range w.events {
			text += e.Text
		}
		if (text == "") != (row.want == "") || !strings.Contains(text, row.want) {
			t.Errorf("%s: %q", row.name, text)
		}
	}
}

// A correction that was under way goes on when the machine has slept: it is ours still,
// whether the judge knows the time at once or not.
func TestSleepAmidACorrection(t *testing.T) {
	for _, known := range []bool{true, false} {
		w := newWorld(t, steer.Config{}, 200*time.Millisecond)
		w.run(10 * time.Second)
		w.s.Segment()
		w.j.Known = known
		w.run(30 * time.Second)
		w.j.Known = true
		w.run(10 * time.Minute)
		w.holds(0.001)
		if k := w.kinds(); k != "" {
			t.Errorf("known %v: events %q", known, k)
		}
	}
}

// What the kernel refused for a moment was our own correction, a minute later too.
func TestRefusedAmidACorrection(t *testing.T) {
	w := newWorld(t, steer.Config{}, 200*time.Millisecond)
	w.run(10 * time.Second)
	w.s.Failed(w.local, false, "The kernel refused.")
	w.run(10 * time.Minute)
	w.holds(0.001)
	if k := w.kinds(); k != "" {
		t.Errorf("events %q", k)
	}
}

// A busy machine reads the kernel seconds after the clocks, and carries orders out as
// late: nobody else is blamed for it.
func TestBusyMachineIsNoOtherProgram(t *testing.T) {
	for _, late := range []struct{ read, apply time.Duration }{{0, 0}, {3300 * time.Millisecond, 0}, {0, 3300 * time.Millisecond}, {2500 * time.Millisecond, 4 * time.Second}} {
		w := newWorld(t, steer.Config{}, 200*time.Millisecond)
		for n := range 300 {
			if w.late.read, w.late.apply = 0, 0; n%4 == 3 {
				w.late = late
			}
			w.pass(time.Second)
			w.tick()
		}
		if k := w.kinds(); k != "" || w.word() == steer.Another {
			t.Errorf("late by %v: events %q, %s", late, k, w.word())
		}
	}
}

// A machine whose timer's interrupt comes seconds late: the kernel works those seconds off
// later, and has taken less out until then than the clock's seconds say.
func TestLateInterruptIsNoOtherProgram(t *testing.T) {
	w := newWorld(t, steer.Config{}, 200*time.Millisecond)
	for n := range 400 {
		w.c.Stalled = n%7 >= 2 && n%7 < 6 // for 4 s
		w.pass(time.Second)
		w.tick()
		if k := w.kinds(); k != "" || w.word() == steer.Another {
			t.Fatalf("look %d: events %q, %s", n, k, w.word())
		}
	}
	w.c.Stalled = false
	w.run(10 * time.Minute)
	w.holds(0.001)
}

// A bracket of the clocks that is wide has no step in it.
func TestWideBracketIsNoStep(t *testing.T) {
	w := newWorld(t, steer.Config{}, 0)
	w.run(time.Minute)
	for n := range 6 {
		j := w.j
		j.At, j.LocalRatePPM = w.local, -w.osc
		in := steer.Input{Now: w.local, System: w.c.System(w.local), Judgement: &j, Kernel: w.c.Kernel(w.local)}
		if n%2 == 0 { // read 4 ms apart: the middle lies 2 ms off
			in.System, in.Width = in.System.Add(2400*time.Microsecond), 5*time.Millisecond
		}
		w.events = append(w.events, w.s.Decide(in).Events...)
		w.pass(100 * time.Millisecond)
	}
	if k := w.kinds(); k != "" {
		t.Errorf("events %q", k)
	}
}
