package steer_test

import (
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/leaps"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/steer/steertest"
	"noonmark/clockcheck/timescale"
)

// Once something was within, a step waits for the gap of the mode in use: by the
// clock's time before it and after it. FT8's gap begins 13.14 s into its period.
func TestStepWaitsForTheGap(t *testing.T) {
	for _, off := range []time.Duration{400 * time.Millisecond, -400 * time.Millisecond} {
		w := newWorld(t, steer.Config{InUse: "FT8"}, 0)
		w.j.Modes = within("FT8", "FT4")
		w.run(30 * time.Second)
		w.c.Step(w.local, off) // another program's single doing
		w.pass(time.Second)
		w.tick()
		if w.word() != steer.Waiting || w.last.Wake == 0 {
			t.Fatalf("%v: %s %+v", off, w.word(), w.last)
		}
		for n := 0; w.c.Steps == 1; n++ {
			if n > 30 {
				t.Fatalf("%v: never stepped", off)
			}
			if wake := w.last.Wake; wake != 0 && wake.Sub(w.local) < time.Second {
				w.local = wake
			} else {
				w.pass(time.Second)
			}
			before := w.c.System(w.local)
			if w.tick(); w.c.Steps == 2 {
				for _, u := range []timescale.UTC{before, before.Add(w.last.Step)} {
					if into := time.Duration(u) % (15 * time.Second); into < 13140*time.Millisecond {
						t.Errorf("%v: stepped %v into a period", off, into)
					}
				}
			}
		}
		w.run(time.Minute)
		w.holds(0.001)
		if k := w.kinds(); k != "clock-touched stepped" {
			t.Errorf("%v: events %q", off, k)
		}
	}
}

// A program that comes again is left alone, and looked for again later; when it has
// gone the clock is steered again, when it has not it is left alone for longer.
func TestAnotherProgram(t *testing.T) {
	w := newWorld(t, steer.Config{}, 0)
	w.run(time.Minute)
	w.c.Step(w.local, 30*time.Millisecond)
	w.run(30 * time.Second)
	if w.word() != steer.Slewing && w.word() != steer.Holding {
		t.Fatalf("after one step: %s", w.word())
	}
	w.c.Step(w.local, 30*time.Millisecond)
	w.run(2 * time.Second)
	if w.word() != steer.Another {
		t.Fatalf("after two steps: %s", w.word())
	}
	if k := w.kinds(); k != "clock-touched another-program" {
		t.Errorf("events %q", k)
	}
	steps, kernel := w.c.Steps, w.c.Kernel(w.local)
	for n := range 70 { // it goes on
		f := kernel.FreqPPM + float64(n%2)
		w.c.Tamper(w.local, steertest.Tamper{FreqPPM: &f})
		w.run(time.Minute)
		if w.last.Any() || w.word() != steer.Another {
			t.Fatalf("fought: %+v", w.last)
		}
	}
	if st := w.s.Steered(steer.Input{}); st.On {
		t.Error("the judge is told that the clock is steered")
	}
	w.run(2 * time.Hour) // it has gone
	if w.c.Steps != steps || w.word() != steer.Holding {
		t.Errorf("%d steps more, %s", w.c.Steps-steps, w.word())
	}
	w.holds(0.001)
	if k := w.kinds(); k != "steering-again stepped" && k != "steering-again" {
		t.Errorf("events %q", k)
	}
}

// Each way of another program is seen, in the sentence that names it.
func TestForeignHands(t *testing.T) {
	ppm, tick, turn, pll, none, max := 7.0, 50.0, 300*time.Millisecond, steer.BitPLL, steer.Bits(0), 5*time.Millisecond
	for _, row := range []struct {
		want string
		do   func(*world)
	}{
		{"moved the clock by +2.000 s", func(w *world) { w.c.Step(w.local, 2*time.Second) }},
		{"set the clock, to nearly the same time", func(w *world) { w.c.Step(w.local, 100*time.Microsecond) }},
		{"changed the clock's rate", func(w *world) { w.c.Tamper(w.local, steertest.Tamper{FreqPPM: &ppm}) }},
		{"changed the clock's rate", func(w *world) { w.c.Tamper(w.local, steertest.Tamper{TickPPM: &tick}) }},
		{"began to turn the clock", func(w *world) { w.c.Tamper(w.local, steertest.Tamper{Slew: &turn}) }},
		{"set the kernel's own loop to work", func(w *world) { w.c.Tamper(w.local, steertest.Tamper{Bits: &pll}) }},
		{"told the kernel how far off the clock is", func(w *world) { w.c.Tamper(w.local, steertest.Tamper{MaxError: &max}) }},
	} {
		w := newWorld(t, steer.Config{}, 0)
		w.run(time.Minute)
		row.do(w)
		w.run(20 * time.Second)
		if len(w.events) == 0 || w.events[0].Kind != "clock-touched" || !strings.Contains(w.events[0].Text, row.want) {
			t.Errorf("%s: %+v", row.want, w.events)
		}
		w.run(20 * time.Minute)
		w.holds(0.001)
		if k := w.c.Kernel(w.local); k.TickPPM != 0 || k.Bits != 0 || k.FreqPPM > -11.9 {
			t.Errorf("%s: not put right: %+v", row.want, k)
		}
	}
	w := newWorld(t, steer.Config{Unvouched: true}, 0)
	w.run(time.Minute)
	w.c.Tamper(w.local, steertest.Tamper{Bits: &none})
	w.run(5 * time.Second)
	if len(w.events) == 0 || !strings.Contains(w.events[0].Text, "told the kernel that the clock is right") {
		t.Errorf("%+v", w.events)
	}
}

// Nobody but ourselves at work: no surprise in hours, whatever we do.
func TestOurOwnDoingIsNoSurprise(t *testing.T) {
	for phase := range 4 {
		w := newWorld(t, steer.Config{}, 40*time.Second)
		w.pass(time.Duration(phase) * 200 * time.Millisecond)
		w.noise = 0.004
		w.run(3 * time.Hour)
		w.osc = 15 // and the oscillator wanders
		w.born, w.origin = w.utc(), w.local
		w.run(time.Hour)
		if k := w.kinds(); k != "stepped" {
			t.Errorf("events %q", k)
		}
	}
}

// What the kernel is told, by what is known.
func TestKernelIsToldTheTruth(t *testing.T) {
	for _, row := range []struct {
		name string
		cfg  steer.Config
		set  func(*clockcheck.Judgement)
		want steer.Bits
		max  time.Duration // 0 = whatever
	}{
		{"bad: nothing known", steer.Config{}, func(j *clockcheck.Judgement) { *j = clockcheck.Judgement{Basis: clockcheck.BasisNone} }, steer.BitUnsync, 16 * time.Second},
		{"bad: second not proved", steer.Config{}, func(j *clockcheck.Judgement) { j.Proved = []string{"date"}; j.Guard = 18.1 }, steer.BitUnsync, 16 * time.Second},
		{"bad: only the RTC", steer.Config{}, func(j *clockcheck.Judgement) { j.Basis = clockcheck.BasisRTC }, steer.BitUnsync, 40 * time.Millisecond},
		{"bad: holdover from the start", steer.Config{}, func(j *clockcheck.Judgement) { j.Basis = clockcheck.BasisHoldover }, steer.BitUnsync, 0},
		{"bad: too wide", steer.Config{}, func(j *clockcheck.Judgement) { j.Guard = 1.2 }, steer.BitUnsync, 1200 * time.Millisecond},
		{"the operator's wish", steer.Config{Unvouched: true}, func(*clockcheck.Judgement) {}, steer.BitUnsync, 40 * time.Millisecond},
		{"receiver", steer.Config{}, func(*clockcheck.Judgement) {}, 0, 40 * time.Millisecond},
		{"network", steer.Config{}, func(j *clockcheck.Judgement) { j.Basis = clockcheck.BasisNetwork }, 0, 40 * time.Millisecond},
	} {
		w := newWorld(t, row.cfg, 0)
		row.set(&w.j)
		w.run(10 * time.Second)
		k := w.c.Kernel(w.local)
		if k.Bits != row.want || row.max != 0 && (k.MaxError-row.max).Abs() > 2*time.Millisecond {
			t.Errorf("%s: %+v", row.name, k)
		}
	}
}

// A holdover goes on being vouched for until its error is too large.
func TestHoldoverVouched(t *testing.T) {
	w := newWorld(t, steer.Config{}, 0)
	w.run(time.Minute)
	w.j.Basis = clockcheck.BasisHoldover
	for _, row := range []struct {
		guard float64
		want  steer.Bits
	}{{0.5, 0}, {1.9, 0}, {2.1, steer.BitUnsync}, {0.5, steer.BitUnsync}} {
		w.j.Guard = row.guard
		w.run(2 * time.Second)
		if k := w.c.Kernel(w.local); k.Bits != row.want {
			t.Errorf("guard %g s: %+v", row.guard, k)
		}
	}
}

// A list of leap seconds with one at the end of 2031-02-03, which no real list has:
// dates in the real one lie before every date here. Its hash is computed with sha1sum
// over the digits of both dates and all entries.
const leapList = `#$	4130000000
#@	4200000000
2272060800	10
4136918400	11
#h	8dd2322f aee09afc 24e68cab a8aeb20f ae78293e
`

func table(t *testing.T) *leaps.Table {
	t.Helper()
	tab, err := leaps.Read(strings.NewReader(leapList))
	if err != nil {
		t.Fatal(err)
	}
	return tab
}

// The kernel is told of the leap second on its day, not sooner; puts it in; and is
// told of it no longer.
func TestLeapSecond(t *testing.T) {
	w := newWorld(t, steer.Config{Leaps: table(t)}, 0)
	midnight := timescale.UTCOf(time.Date(2031, 2, 4, 0, 0, 0, 0, time.UTC))
	w.run(time.Minute)
	if k := w.c.Kernel(w.local); k.Bits != steer.BitInsert || k.TAI != 10 {
		t.Fatalf("on the day: %+v", k)
	}
	for w.utc() < midnight.Add(-2*time.Second) {
		w.run(time.Second)
	}
	if word, why := w.s.Word(); w.kinds() != "" || word != steer.Holding || !strings.Contains(why, "leap second is near") {
		t.Errorf("before: events %q, %s: %s", w.kinds(), word, why)
	}
	w.run(2 * time.Second)
	w.born = w.born.Add(-time.Second) // UTC counts the second twice, as POSIX writes it
	w.run(time.Minute)
	if k := w.c.Kernel(w.local); k.Bits != 0 || k.TAI != 11 {
		t.Errorf("after: %+v", k)
	}
	if k := w.kinds(); k != "" {
		t.Errorf("events %q", k)
	}
	w.holds(0.001)
	early := newWorld(t, steer.Config{Leaps: table(t)}, -5*time.Hour)
	early.born = early.born.Add(-5 * time.Hour)
	early.run(time.Minute)
	if k := early.c.Kernel(early.local); k.Bits != 0 {
		t.Errorf("a day early: %+v", k)
	}
}

// An operator who types a wrong day, and another, and then the right one, is no
// program: each is put right. A program's doing between them is no second one either.
func TestOperatorCorrectsHimself(t *testing.T) {
	w := newWorld(t, steer.Config{}, 0)
	w.run(time.Minute)
	ppm := 7.0
	for _, off := range []time.Duration{3 * 24 * time.Hour, -72*time.Hour + 20*time.Minute, -3 * time.Second} {
		w.c.Step(w.local, off)
		w.run(10 * time.Minute)
		if w.word() == steer.Another {
			t.Fatalf("after %v: taken for another program", off)
		}
		w.holds(0.05)
	}
	w.c.Tamper(w.local, steertest.Tamper{FreqPPM: &ppm})
	w.run(time.Minute)
	if w.word() != steer.Another { // the fourth of anything is a program
		t.Errorf("after the fourth: %s", w.word())
	}
}

// Two steps too small for a hand are a program's; a date set within one doing with a
// rate is one doing.
func TestTooSmallForAHand(t *testing.T) {
	for _, row := range []struct {
		off  time.Duration
		want bool
	}{{40 * time.Millisecond, true}, {150 * time.Millisecond, false}} {
		w := newWorld(t, steer.Config{}, 0)
		w.run(time.Minute)
		for range 2 {
			w.c.Step(w.local, row.off)
			w.run(5 * time.Minute)
		}
		if got := w.word() == steer.Another; got != row.want {
			t.Errorf("%v twice: another program %v", row.off, got)
		}
	}
}

// The operator takes the clock back at once; where there is nothing to take back he is
// told so.
func TestResume(t *testing.T) {
	w := newWorld(t, steer.Config{}, 0)
	w.run(time.Minute)
	if _, ok := w.s.Resume(w.local); ok {
		t.Error("taken back from nobody")
	}
	for range 2 {
		w.c.Step(w.local, 50*time.Millisecond)
		w.run(10 * time.Second)
	}
	if w.word() != steer.Another {
		t.Fatal(w.word())
	}
	w.c.Step(w.local, 3*24*time.Hour)
	w.run(time.Minute)
	e, ok := w.s.Resume(w.local)
	if !ok || e.Kind != "steering-again" {
		t.Fatalf("%+v %v", e, ok)
	}
	w.run(time.Minute)
	w.holds(0.05)
	if w.word() == steer.Another {
		t.Error("still aside")
	}
}
