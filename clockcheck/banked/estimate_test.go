package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// sameGuard looks at a judgement: where UTC may be by the guard, and so by each explanation, is
// within what is published about the estimate; and that is no further from the best
// explanation than half of what the latter leaves possible.
func sameGuard(t *testing.T, w *world) {
	t.Helper()
	c := w.j.bank.Correction()
	lo, hi := w.j.bank.Guard(0)
	x := w.got.Error + c // by the best explanation
	for _, e := range []float64{x - lo, x - hi} {
		if near := 1e-4 * w.got.Guard; math.Abs(e-w.got.Error) > w.got.Guard+near || e < w.got.ErrorLo-near || e > w.got.ErrorHi+near {
			t.Fatalf("an error of %.4f s is possible, %.4f ± %.4f s is said; correction %.4f s", e, w.got.Error, w.got.Guard, c)
		}
	}
	if math.Abs(c) > w.j.bank.Bound()/2+1e-9 || w.got.Bound < math.Min(w.j.bank.Bound()+math.Abs(c), w.got.Guard)-1e-9 {
		t.Fatalf("%.4f s from the best explanation, whose bound is %.4f s; bound %.4f s", c, w.j.bank.Bound(), w.got.Bound)
	}
}

// The oscillator warms up: 2 ppm in four hours. The estimate follows the receiver, which is
// right, closer than the best explanation does.
func TestEstimateFollowsAnOrdinaryOscillator(t *testing.T) {
	w := comparedWorld(t)
	var said, best float64
	for range 4 * 3600 {
		w.ppm += 2.0 / (4 * 3600)
		w.second()
		sameGuard(t, w)
		said = math.Max(said, math.Abs(w.got.Error-w.sys))
		best = math.Max(best, math.Abs(w.got.Error+w.j.bank.Correction()-w.sys))
	}
	if said > 0.003 || best < 2*said {
		t.Errorf("largest error %.4f s as published, %.4f s by the best explanation", said, best)
	}
	w.honest()
}

// A false signal that leads slowly takes the estimate along no further than half of what the
// best explanation leaves possible. A steady ramp is taken for a lateness that wanders, and
// then it is that explanation's own.
func TestEstimateLetsGoOfADrag(t *testing.T) {
	for _, rate := range []float64{1e-6, 4e-6, 15e-6} {
		w := comparedWorld(t)
		w.drag = rate
		led := 0.0
		for range 4 * 3600 {
			w.second()
			sameGuard(t, w)
			led = math.Max(led, math.Abs(w.j.bank.Correction()))
		}
		if rate > 10e-6 && led > 0.010 {
			t.Errorf("a drag of %.0f µs/s leads the estimate by %.4f s", rate*1e6, led)
		}
		w.honest()
	}
}

// A witness settles which was right: the two are one then. A mark that is much wider than
// what is known settles nothing.
func TestWitnessSettlesTheEstimate(t *testing.T) {
	w := comparedWorld(t)
	for range 3 * 3600 {
		w.ppm += 2.0 / (3 * 3600)
		w.second()
	}
	before := math.Abs(w.j.bank.Correction())
	w.j.Mark(&clockcheck.Mark{At: w.local, UTC: w.utc, Bound: 400 * time.Millisecond})
	w.run(2 * time.Second)
	sameGuard(t, w)
	if after := math.Abs(w.j.bank.Correction()); before < 0.004 || math.Abs(after-before) > before/4 {
		t.Errorf("apart by %.4f s before, %.4f s after a mark", before, after)
	}
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 2 * time.Millisecond})
	w.run(2 * time.Second)
	sameGuard(t, w)
	if after := math.Abs(w.j.bank.Correction()); after > before/4 {
		t.Errorf("apart by %.4f s before, %.4f s after a server spoke", before, after)
	}
	w.honest()
}

// While nothing is heard the published estimate goes with the oscillator alone, however much
// wider what is possible becomes.
func TestEstimateStandsInHoldover(t *testing.T) {
	w := comparedWorld(t)
	w.drag = 8e-6
	c, most, far := 0.0, 0.0, false
	for k := 0; k < 8*3600 && !far; k++ { // until they part so far that the one takes over from the other
		w.second()
		c = w.j.bank.Correction()
		most = math.Max(most, math.Abs(c))
		far = most > 0.02 && math.Abs(c) < 0.8*most && c != 0
	}
	if !far {
		t.Fatalf("%.4f s from the best explanation, at most %.4f s: they never parted so far", c, most)
	}
	w.j.ReceiverLost("It was unplugged.")
	w.run(6 * time.Hour)
	if got := w.j.bank.Correction(); got != c {
		t.Errorf("%.4f s from the best explanation after six hours of silence, %.4f s before", got, c)
	}
	w.honest()
}

// What is said of the references, and what is handed on, is about the published estimate.
func TestWordsAreOfTheEstimate(t *testing.T) {
	w := comparedWorld(t)
	for range 2 * 3600 {
		w.ppm += 2.0 / (3 * 3600)
		w.second()
	}
	c := w.j.bank.Correction()
	h, ok := w.j.Hand(w.local)
	system := w.utc.Add(time.Duration(w.sys * 1e9))
	if got := float64(system.Sub(h.UTC)) / 1e9; !ok || math.Abs(c) < 0.002 || math.Abs(got-w.got.Error) > 1e-6 || math.Abs(h.Guard/w.got.Guard-1) > 1e-4 {
		t.Errorf("handed on: the clock is off by %.6f s ± %.4f s; judged %.6f s ± %.4f s, correction %.4f s", got, h.Guard, w.got.Error, w.got.Guard, c)
	}
	if r := w.reference("gnss"); math.Abs(r.Error-w.got.Error) > 0.012 {
		t.Errorf("the receiver says %.4f s, it is followed to %.4f s", r.Error, w.got.Error)
	}
	sum, named := 0.0, 0.0
	for _, b := range w.got.Budget {
		if sum += b.GuardS; b.Name == "oscillator or latency" {
			named = b.GuardS
		}
	}
	if math.Abs(sum-w.got.Guard) > 0.002 || math.Abs(named-math.Abs(c)) > 1e-6 {
		t.Errorf("terms of %.4f s for a guard of %.4f s, of which %.4f s for a correction of %.4f s", sum, w.got.Guard, named, c)
	}
}
