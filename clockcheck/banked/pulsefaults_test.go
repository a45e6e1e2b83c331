package banked

import (
	"testing"
	"time"

	"noonmark/clockcheck"
)

// The pulse of a receiver without a fix runs on by its own oscillator: it is not followed.
func TestPulseWithoutFix(t *testing.T) {
	w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(10 * time.Minute)
	w.valid, w.pulse.drag = false, 2e-6
	w.run(time.Hour)
	w.honest()
}

func TestSpuriousAndMissingEdges(t *testing.T) {
	w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
	w.pulse.spurious, w.pulse.missing = 0.05, 0.1
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(30 * time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisPPS)
	w.honest()
}

func TestTooManyEdges(t *testing.T) {
	w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
	w.pulse.spurious = 0.6
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(2 * time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	if r := w.reference("pps"); r.Trust != clockcheck.Faulty {
		t.Errorf("pulse %s: %s", r.Trust, r.Because)
	}
	w.honest()
}

// A pulse that jumps while its receiver goes on is not followed.
func TestPulseJumps(t *testing.T) {
	for _, by := range []float64{0.004, 0.05, -0.3} {
		w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(untilProved)
		w.want(clockcheck.Within, clockcheck.BasisPPS)
		w.pulse.off = by
		w.run(time.Minute)
		if w.got.Basis == clockcheck.BasisPPS {
			t.Errorf("jump by %.3f s: basis %s, error %.4f s, guard %.4f s", by, w.got.Basis, w.got.Error-w.sys, w.got.Guard)
		}
		w.run(untilProved)
		w.honest()
	}
}

// A slow drag of sentences and pulse together: the oscillator tells, and finer than
// by the sentences alone.
func TestPulseDragIsSeen(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for _, ppm := range first([]float64{200, 1000, 40, 15}, 1) {
		w := newPulseWorld(t, clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 0.5}, clockcheck.EdgeAssert)
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(4 * time.Hour)
		w.drag, w.pulse.drag = ppm*1e-6, -ppm*1e-6 // a lie ahead comes earlier
		w.run(3 * time.Hour)
		if w.reference("gnss").Trust == clockcheck.Trusted && ppm > 15 {
			t.Errorf("a drag of %v ppm was not seen: %.3f s off, %s", ppm, w.lie, w.reference("pps").Because)
		}
		w.honest()
	}
}

// The sentences come later and later while the pulse stands: that is their latency.
func TestLatencyRampsBesideAPulse(t *testing.T) {
	w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(time.Hour)
	for range 4 * 3600 {
		w.latency += 30e-6
		w.second()
	}
	w.want(clockcheck.Within, clockcheck.BasisPPS)
	if w.got.Guard > pulseGuard {
		t.Errorf("guard %.6f s", w.got.Guard)
	}
	w.honest()
}

// A latency that has leapt over the power-off must not choose the pulse's edge nor
// its second.
func TestLearnedLatencyThatLeapt(t *testing.T) {
	for _, leap := range []float64{0.1, -0.1, 0.2, 0.4} {
		for _, edge := range []clockcheck.Edge{clockcheck.EdgeUnknown, clockcheck.EdgeAssert} {
			l := clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 0.3, Latencies: []clockcheck.LearnedLatency{{Key: "r1", LatencyS: 0.3, SigmaS: 0.01}}}
			w := newPulseWorld(t, l, edge)
			w.latency = 0.3 + leap
			w.run(30 * time.Minute)
			if edge == clockcheck.EdgeAssert && w.missed > 15 || w.falseS > 0 {
				t.Errorf("leap %.1f s, edge %s: %d s of wrong guard, last off by %.4f, guard %.4f: %s", leap, edge, w.missed,
					w.got.Error-w.sys, w.got.Guard, w.reference("pps").Because)
			}
		}
	}
}

func TestLearnedEdgeIsUsedAgain(t *testing.T) {
	w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeUnknown)
	w.pulse.width, w.pulse.inverted = 500*time.Millisecond, true
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(untilProved)
	w.server(20 * time.Millisecond)
	w.run(2 * time.Minute)
	next := newPulseWorld(t, w.j.Learned(), clockcheck.EdgeUnknown)
	next.pulse.width, next.pulse.inverted = 500*time.Millisecond, true
	next.run(untilProved)
	if e := next.j.pulse.Edge(); e != "clear" {
		t.Errorf("edge %q", e)
	}
	next.honest()
}

func TestPulseLostIsHoldover(t *testing.T) {
	w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(time.Hour)
	w.pulse.on = false
	w.run(time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisGNSS)
	if r := w.reference("pps"); r.Trust != clockcheck.Silent {
		t.Errorf("pulse %s: %s", r.Trust, r.Because)
	}
	w.mute = true
	w.run(10 * time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisHoldover)
	w.mute, w.pulse.on = false, true
	w.run(time.Minute)
	w.want(clockcheck.Within, clockcheck.BasisPPS)
	w.honest()
}

func TestNoPulseIsNoReference(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(5 * time.Second)
	if r := w.reference("pps"); r.Name != "" {
		t.Errorf("a pulse nobody asked for: %+v", r)
	}
	w.j.PPSMissing("There is no pulse device.")
	w.run(time.Second)
	if r := w.reference("pps"); r.Trust != clockcheck.Silent || r.Because != "There is no pulse device." {
		t.Errorf("%+v", r)
	}
}

// A receiver that a crowd bears out jumps by 0.3 s, and is doubted. Its pulse shows nobody which edge is
// the second, though by what was known before only one of them fits: the other one.
func TestDoubtedReceiverNamesNoEdge(t *testing.T) {
	for _, jump := range []float64{0, 0.3} {
		w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeUnknown)
		w.pulse.on = false
		w.run(20 * time.Second)
		for range 20 {
			w.crowd(12, 0, ft8, airing)
			w.run(time.Minute)
		}
		w.lie, w.pulse = jump, pulseLine{on: true, width: 700 * time.Millisecond, off: jump}
		w.run(2 * time.Minute)
		want := ""
		if jump == 0 {
			want = "assert"
		}
		if trust := w.trust("receiver"); (trust == clockcheck.Trusted) != (jump == 0) || w.j.pulse.Edge() != want {
			t.Errorf("jumped by %.1f s: the receiver is %s, the edge learned is %q; want %q", jump, trust, w.j.pulse.Edge(), want)
		}
	}
}

// A crystal 104 ppm off whose rate is known carries a pulse's edge 25 ms in four minutes without a fix. Where no
// second is told yet, the edge is laid against its own last one: it contradicts that no more than the rate does.
func TestPulseAfterAGapOfAFastCrystal(t *testing.T) {
	for _, ppm := range []float64{-104, 0, 104} {
		w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
		w.ppm = ppm
		w.run(time.Hour)
		w.mute, w.pulse.on = true, false
		w.run(4 * time.Minute)
		w.mute, w.pulse.on = false, true
		w.run(5 * time.Minute)
		if r, p := w.reference("gnss"), w.reference("pps"); !w.got.Guarded || r.Trust != clockcheck.Trusted || p.Trust == clockcheck.Doubted {
			t.Errorf("%+.0f ppm: guard %.2f s (said: %v), receiver %s: %s; pulse %s: %s", ppm, w.got.Guard, w.got.Guarded, r.Trust, r.Because, p.Trust, p.Because)
		}
		w.honest()
	}
}
