package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
)

// What was heard before the receiver's first fix is laid against it: the first word is as sure as if it
// had been heard after it.
func TestHeardBeforeTheFix(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.sys = 0.05
	if w.crowd(17, 0, ft8, airing) {
		t.Error("placed out of nothing")
	}
	w.run(20 * time.Second)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	if !w.j.bank.Proved().Second || w.j.waiting.n > 0 {
		t.Errorf("proved %+v, %d wait", w.j.bank.Proved(), w.j.waiting.n)
	}
	w.honest()
}

// A receiver that is 1.5 s slow by what was heard before is doubted from its first word.
func TestHeardBeforeALie(t *testing.T) {
	for _, err := range []float64{0, 1.5} { // s: by how much the others are late
		w := newWorld(t, clockcheck.Learned{})
		w.lie = -1.5
		for range mostWaiting + 1 {
			w.crowd(17, err, ft8, airing)
			w.local, w.utc = w.local.Add(ft8), w.utc.Add(ft8)
		}
		w.run(20 * time.Second)
		if sure := w.got.Guarded && w.got.Guard < 1; sure != (err == 1.5) {
			t.Errorf("the others are %v s late, the receiver 1.5: guard %.2f s, said: %v", err, w.got.Guard, w.got.Guarded)
		}
	}
}

// What is too old, or was heard before the computer slept, says nothing.
func TestHeardLongBefore(t *testing.T) {
	for name, c := range map[string]struct {
		age    time.Duration
		sleep  bool
		second bool
	}{
		"just now":     {0, false, true},
		"young enough": {airLasts - 30*time.Second, false, true},
		"too old":      {airLasts + time.Second, false, false},
		"then slept":   {0, true, false},
	} {
		w := newWorld(t, clockcheck.Learned{})
		w.crowd(17, 0, ft8, airing)
		w.local, w.utc = w.local.Add(c.age), w.utc.Add(c.age)
		if c.sleep {
			w.utc = w.utc.Add(ft8) // which the others would not tell
			w.j.Segment(w.local)
		}
		w.run(20 * time.Second)
		if got := w.j.bank.Proved().Second; got != c.second || w.j.waiting.n > 0 {
			t.Errorf("%s: the second is proved: %v, %d wait", name, got, w.j.waiting.n)
		}
		if got := w.j.bank.Best().Out.Has(bank.Crowd); got {
			t.Errorf("%s: the crowd is called false", name)
		}
	}
}

// The oscillator carries what waited, and how badly it does is added.
func TestWaitingIsCarried(t *testing.T) {
	bound := func(age time.Duration) float64 {
		w := newWorld(t, clockcheck.Learned{})
		w.crowd(17, 0, ft8, airing)
		w.local, w.utc = w.local.Add(age), w.utc.Add(age)
		w.run(20 * time.Second)
		return w.got.Guard
	}
	if soon, later := bound(0), bound(9*time.Minute); !(later > soon) || math.IsInf(later, 0) {
		t.Errorf("heard just now the guard is %.4f s, heard 9 min ago %.4f", soon, later)
	}
}
