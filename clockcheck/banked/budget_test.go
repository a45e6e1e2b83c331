package banked

import (
	"math"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// The terms add up to the worst case, whatever is in doubt; each further explanation is
// named, and the whole second under the word that the advice looks for.
func TestBudgetAddsUp(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	names := map[string]string{}
	check := func() {
		sum := 0.0
		for _, term := range w.got.Budget {
			sum += term.GuardS
			names[term.Name] = term.Because
		}
		if math.Abs(sum-w.got.Guard) > 0.002 {
			t.Fatalf("the terms add up to %.4f s, the guard is %.4f s: %+v", sum, w.got.Guard, w.got.Budget)
		}
	}
	w.run(60)
	check()
	w.run(29 * 60)
	check()
	w.server("a", 0)
	w.run(40 * 60)
	check()
	w.lie = 700 * time.Millisecond
	w.run(20)
	check()
	w.server("b", 5*time.Second)
	w.run(20)
	check()
	if _, ok := names["whole second"]; !ok {
		t.Errorf("no term is the whole second: %v", names)
	}
	if because := names["another explanation"]; !strings.Contains(because, "% likely: ") {
		t.Errorf("another explanation is %q", because)
	}
}

// So they do through a silence and after a power-off, where the widest explanation is the best.
func TestBudgetAddsUpInASilence(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.rtcOn = true
	check := func(when string) {
		t.Helper()
		sum := 0.0
		for _, term := range w.got.Budget {
			sum += term.GuardS
		}
		if math.Abs(sum-w.got.Guard) > 0.002 {
			t.Errorf("%s: the terms add up to %.4f s, the guard is %.4f s: %+v", when, sum, w.got.Guard, w.got.Budget)
		}
	}
	w.run(40 * time.Minute)
	w.mute = true
	for _, d := range []time.Duration{time.Hour, 5 * time.Hour} {
		w.run(d)
		check("silence of " + d.String())
	}
	w.restart(true, true)
	w.run(time.Minute)
	check("started again")
}

// The dearest look of all allocates nothing.
func TestNoAllocationInDoubt(t *testing.T) {
	w := inDoubt(t)
	if n := len(w.j.bank.Tracks()); n < 16 {
		t.Fatalf("%d explanations are no doubt", n)
	}
	if n := testing.AllocsPerRun(200, w.look); n > 0 {
		t.Errorf("%v allocations a look, want none", n)
	}
}
