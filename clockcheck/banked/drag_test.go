package banked

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// A latency may leap while the receiver is not heard. The first readings after the
// hole must not take the estimate along before they have been looked at.
func TestLeapWhileUnheard(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for _, leap := range []float64{0.10, 0.30, -0.12} {
		w := comparedWorld(t)
		w.run(time.Hour)
		w.mute = true
		w.run(4 * time.Hour)
		before := w.got.Error - w.sys
		w.mute, w.latency = false, w.latency+leap
		for range 120 {
			w.second()
			if off := w.got.Error - w.sys - before; math.Abs(off) > 0.08 {
				t.Fatalf("a leap of %v s takes the estimate along by %.3f s", leap, off)
			}
		}
		w.honest()
	}
}

// What was learned of the receiver before the machine slept is known after it, and
// is still what is kept then.
func TestSleepKeepsTheLatency(t *testing.T) {
	w := comparedWorld(t)
	w.rtcOn = true
	w.run(10 * time.Minute)
	keep := w.local
	w.to(w.utc.Add(time.Hour))
	w.local = keep + 1e9
	w.j.Segment(w.local)
	for _, when := range []string{"on waking", "after 20 min"} {
		l, ok := w.j.kept("r1")
		for _, k := range w.j.Learned().Latencies {
			l, ok = k, true
		}
		if !ok || math.Abs(l.LatencyS-w.latency) > 0.02 || l.SigmaS > 0.05 {
			t.Errorf("%s: %+v, the receiver is %.2f s late", when, l, w.latency)
		}
		w.run(untilProved)
	}
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	w.honest()
}

// The same where the receiver was heard for too short a time to keep a former state:
// what it comes back with may be the oscillator's doing or a leap, and the guard has to
// hold both.
func TestLeapAfterAShortHearing(t *testing.T) {
	for _, leap := range []float64{0.185, -0.185} {
		w := newWorld(t, clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 2, Latencies: []clockcheck.LearnedLatency{{Key: "r1", LatencyS: 0.186, SigmaS: 0.02}}})
		w.run(time.Minute)
		w.mute = true
		w.run(3 * time.Hour)
		w.mute, w.latency = false, w.latency+leap
		w.run(3 * time.Hour)
		w.honest()
	}
}

// A drag-off is seen and ends. Nothing of what the filter was led to meanwhile is taken
// up again, neither its time nor its rate.
func TestNothingOfADragStays(t *testing.T) {
	for _, ppm := range []float64{1350, -900} {
		w := comparedWorld(t)
		w.drag = ppm * 1e-6
		w.run(4 * time.Minute)
		w.drag, w.lie = 0, 0
		w.run(2 * time.Hour)
		w.want(clockcheck.Within, clockcheck.BasisGNSS)
		w.honest()
		if y, _ := w.rate(); math.Abs(y+w.ppm) > 2 {
			t.Errorf("%v ppm: the oscillator's rate is held for %.1f ppm, it is %.1f", ppm, y, -w.ppm)
		}
	}
}

// comparedOnce is a world of an unlearned rate whose receiver scatters by jitter, s, and
// was compared with a server of that bound in its first seconds.
func comparedOnce(t *testing.T, source rand.Source, jitter float64, bound time.Duration) *world {
	w := newWorld(t, clockcheck.Learned{})
	w.rng, w.jitter = rand.New(source), jitter
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: bound})
	return w
}

// A latency that leaps in the first minutes, hidden by its jitter, teaches the filter a
// wrong rate. That must not outlast it: not with a latency so soft that nothing corrects
// the rate any more.
func TestLeapInTheFirstMinutesLeavesNoWrongRate(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for seed := range count(1, 12) {
		w := comparedOnce(t, rand.NewPCG(seed, 1), 0.024, 20*time.Millisecond)
		w.run(8 * time.Minute)
		w.latency += 0.05 + 0.01*float64(seed)
		for range 8 * 3600 {
			w.second()
			// What no look finds (here 90 ms) is all the guard has to hold.
			if over := math.Abs(w.got.Error-w.sys) - w.got.Guard; over > 0.01 {
				t.Fatalf("night %d: %.3f s off, guard %.3f s", seed, w.got.Error-w.sys, w.got.Guard)
			}
		}
		if y, _ := w.rate(); math.Abs(y+w.ppm) > 8 {
			t.Errorf("night %d: after 8 h the rate is %.1f ppm off", seed, y+w.ppm)
		}
	}
}

// A drag-off of some minutes, of a receiver that scatters and while the rate is known to
// some ppm only: neither the time it led to nor the rate it taught may stay.
func TestShortDragOfAScatteringReceiver(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for seed := range count(1, 6) {
		w := comparedOnce(t, rand.NewPCG(seed, 3), 0.024, 60*time.Millisecond)
		w.run(150 * time.Minute)
		w.drag = -377e-6
		w.run(9 * time.Minute)
		w.drag, w.lie = 0, 0
		w.run(5 * time.Hour)
		w.honest()
		if y, _ := w.rate(); math.Abs(y+w.ppm) > 3 {
			t.Errorf("night %d: the rate is %.1f ppm off", seed, y+w.ppm)
		}
	}
}

// A drag-off that ends with a leap back, early, is no leap of the latency: the estimate
// goes back to before it.
func TestLeapBackFromADrag(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for _, learned := range first([]time.Duration{60 * time.Minute, 75 * time.Minute, 90 * time.Minute, 110 * time.Minute}, 1) {
		for _, ppm := range []float64{200, 255, 300, 400} {
			w := comparedOnce(t, rand.NewPCG(1, 2), 0.0012, 8*time.Millisecond)
			w.run(learned)
			w.drag = ppm * 1e-6
			w.run(time.Duration(0.118e6/ppm) * time.Second)
			w.drag, w.lie = 0, 0
			w.run(untilProved)
			w.honest()
			if off := math.Abs(w.got.Error - w.sys); off > 0.03 {
				t.Errorf("%v, %v ppm: %.3f s off, guard %.3f s", learned, ppm, off, w.got.Guard)
			}
		}
	}
}
