package banked

import (
	"math"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// crowd lets the station hear one, s off UTC.
func (w *station) crowd(off time.Duration) {
	w.j.Air(&clockcheck.Air{Source: clockcheck.Crowd, At: w.now, UTC: w.utc.Add(off), Bound: 300 * time.Millisecond, Modulo: 15 * time.Second, Signals: 9})
	w.j.Judge(w.now, w.utc, &w.got)
}

// A crowd that agrees with a lone receiver confirms the second, though the receiver might
// lead by more than the crowd's period.
func TestCrowdTellsTheSecond(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(60)
	if w.proved("second") || w.got.Guard < 15 {
		t.Fatalf("a lone receiver proves %v, and the guard is %.1f s: the test shows nothing", w.got.Proved, w.got.Guard)
	}
	for range 4 {
		w.crowd(0)
		w.run(15)
	}
	if !w.proved("second") || w.got.Guard > 0.6 {
		t.Errorf("beside a crowd that agrees it proves %v, and the guard is %.2f s", w.got.Proved, w.got.Guard)
	}
}

// Where the receiver leads, the crowd says by how much: it is as likely as all leads that
// would fit the crowd, and the crowd may be false.
func TestCrowdTellsTheLead(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.lie = 2 * time.Second
	w.run(60)
	w.crowd(0)
	if b := w.j.bank.Best(); b.Lead != 2 || math.Abs(w.got.Error) > 0.4 || w.proved("second") {
		t.Errorf("the receiver is said to lead by %d s, the error to be %.2f s, proved %v", b.Lead, w.got.Error, w.got.Proved)
	}
}

// The receiver leads by 5 s, and the crowd says so; or the receiver is false, and its date with
// it. When it steps back by 5 s at the time of a page, only who awaited that foretold it: the
// date is confirmed, and the second with it.
func TestStepThatTheCrowdForetold(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.lie = 5 * time.Second
	minutes := func(n int) {
		for range n {
			w.run(60)
			w.crowd(0)
		}
	}
	if minutes(13); w.got.Guarded {
		t.Fatalf("before the step the guard is said to be %.2f s: the test shows nothing", w.got.Guard)
	}
	w.lie = 0
	if minutes(2); !w.got.Guarded || !w.proved("date") || !w.proved("second") || w.got.Guard > 0.6 {
		t.Errorf("after the step it proves %v, and the guard is %.2f s (said: %v)", w.got.Proved, w.got.Guard, w.got.Guarded)
	}
}

// A crowd that is three seconds off once, and agrees with a lone receiver afterwards, has
// contradicted itself: it is no reason to believe the receiver, or the date, less.
func TestCrowdThatContradictsItself(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(60)
	w.crowd(-3 * time.Second)
	if w.got.Guarded {
		t.Fatalf("contradicted, the guard is said to be %.2f s: the test shows nothing", w.got.Guard)
	}
	for range 40 {
		w.run(60)
		w.crowd(0)
	}
	if !w.got.Guarded || w.got.Guard > 0.6 {
		t.Errorf("the guard is %.2f s (said: %v), proved %v", w.got.Guard, w.got.Guarded, w.got.Proved)
	}
}

// A crowd tells UTC modulo its mode's period: while the second is not confirmed, the event says so.
func TestCrowdSaysItsMultiples(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(60)
	w.j.Air(&clockcheck.Air{Source: clockcheck.Crowd, At: w.now, UTC: w.utc, Bound: 300 * time.Millisecond, Modulo: 6 * time.Second, Signals: 9})
	text := ""
	for _, e := range w.j.Events(nil) {
		if e.Kind == "air" {
			text = e.Text
		}
	}
	if w.proved("second") || !strings.HasSuffix(text, "± 0.30 s, but for multiples of 6 s.") {
		t.Errorf("second confirmed: %v; %q", w.proved("second"), text)
	}
}

// A receiver is slow by 1.45 s from its first fix, 0.25 s more than a lateness can be, and
// the crowd says so from the first minute. That the receiver is false has no place of its
// own; as the crowd bears it out it counts all the same, and nothing is within.
func TestSlowFromTheStart(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.lie = -1450 * time.Millisecond
	w.run(20)
	for range 60 {
		w.crowd(0)
		w.run(60) // which looks whether the guard holds the truth
	}
	if g := &w.got; g.Guarded || len(g.Budget) > 0 || g.Modes[0].Verdict != clockcheck.Unknown {
		t.Errorf("UTC may be anywhere: %s, guard %.2f s, split into %+v", g.Modes[0].Verdict, g.Guard, g.Budget)
	}
}
