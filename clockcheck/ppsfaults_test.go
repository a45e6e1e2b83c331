package clockcheck

import (
	"math"
	"testing"
	"time"
)

// The pulse of a receiver without a fix runs on by its own oscillator.
func TestPulseWithoutFix(t *testing.T) {
	for _, without := range []Rules{0, RulePulseFix | RuleDrag} {
		w := newPulseWorld(t, Learned{}, EdgeAssert)
		w.j.cfg.Without = without
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(10 * time.Minute)
		w.valid, w.pulse.drag = false, 2e-6
		w.run(time.Hour)
		if (w.missed > 0) != (without != 0) {
			t.Errorf("without %b: %d s of wrong guard, off by %.3f s, guard %.4f s: %s", without, w.missed, w.got.Error-w.sys, w.got.Guard, w.reference("pps").Because)
		}
		w.falseS, w.missed = 0, 0
	}
}

func TestSpuriousAndMissingEdges(t *testing.T) {
	for _, without := range []Rules{0, RulePulseComb | RulePulseGate} {
		w := newPulseWorld(t, Learned{}, EdgeAssert)
		w.j.cfg.Without = without
		w.pulse.spurious, w.pulse.missing = 0.05, 0.1
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(30 * time.Minute)
		if without == 0 {
			w.want(Within, BasisPPS)
		}
		if coarse := w.missed > 0 || w.got.Guard > 1e-3; coarse != (without != 0) {
			t.Errorf("without %b: %d s of wrong guard, guard %.6f s", without, w.missed, w.got.Guard)
		}
	}
}

func TestTooManyEdges(t *testing.T) {
	for without, basis := range map[Rules]Basis{0: BasisGNSS, RulePulseComb: BasisPPS} {
		w := newPulseWorld(t, Learned{}, EdgeAssert)
		w.j.cfg.Without = without
		w.pulse.spurious = 0.6
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(2 * time.Minute)
		w.want(Within, basis)
		if r := w.reference("pps"); r.Trust != Faulty {
			t.Errorf("pulse %s: %s", r.Trust, r.Because)
		}
		w.honest()
	}
}

// A pulse that jumps while its receiver goes on is not followed; where only the
// receiver ever spoke, the guard spans both.
func TestPulseJumps(t *testing.T) {
	for _, server := range []bool{false, true} {
		for _, by := range []float64{0.004, 0.05, -0.3} {
			w := newPulseWorld(t, Learned{}, EdgeAssert)
			w.latency = 0.45 // which leaves one second only
			w.run(10 * time.Second)
			if server {
				w.server(20 * time.Millisecond)
			}
			w.run(untilProved)
			w.want(Within, BasisPPS)
			w.pulse.off = by
			w.run(15 * time.Second)
			r := w.reference("pps")
			if r.Trust != Doubted {
				t.Errorf("jump by %.3f s: pulse %s: %s", by, r.Trust, r.Because)
			}
			if !server && w.got.Guard < 0.99*math.Abs(by) {
				t.Errorf("jump by %.3f s: guard %.4f s spans one of them only", by, w.got.Guard)
			}
			w.run(untilProved)
			w.falseS = 0
			if math.Abs(by) > 0.02 {
				w.honest()
			}
		}
	}
}

// A slow drag of sentences and pulse together: the oscillator tells, and finer than
// by the sentences alone.
func TestPulseDragIsSeen(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for _, ppm := range []float64{1000, 200, 40, 15} {
		w := newPulseWorld(t, Learned{RatePPM: -12, RateSigmaPPM: 0.5}, EdgeAssert)
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(4 * time.Hour)
		w.drag, w.pulse.drag = ppm*1e-6, -ppm*1e-6 // a lie ahead comes earlier
		w.run(3 * time.Hour)
		if w.j.rx.fault != fDragged && w.j.pps.fault != fDragged {
			t.Errorf("a drag of %v ppm was not seen: %.3f s off, %s", ppm, w.lie, w.reference("pps").Because)
		}
		if off := math.Abs(w.got.Error - w.sys); off > 0.05 || w.falseS > 0 {
			t.Errorf("%v ppm: led away by %.3f s", ppm, off)
		}
	}
}

// The sentences come later and later while the pulse stands: that is their latency.
func TestLatencyRampsBesideAPulse(t *testing.T) {
	w := newPulseWorld(t, Learned{}, EdgeAssert)
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(time.Hour)
	for range 4 * 3600 {
		w.latency += 30e-6
		w.second()
	}
	w.want(Within, BasisPPS)
	if w.got.Guard > 1e-4 {
		t.Errorf("guard %.6f s", w.got.Guard)
	}
	w.honest()
}

// A latency that has leapt over the power-off must not choose the pulse's edge nor
// its second.
func TestLearnedLatencyThatLeapt(t *testing.T) {
	for _, leap := range []float64{0.1, -0.1, 0.2, 0.4} {
		for _, edge := range []Edge{EdgeUnknown, EdgeAssert} {
			l := Learned{RatePPM: -12, RateSigmaPPM: 0.3, Latencies: []LearnedLatency{{Key: "r1", LatencyS: 0.3, SigmaS: 0.01}}}
			w := newPulseWorld(t, l, edge)
			w.latency = 0.3 + leap
			w.run(30 * time.Minute)
			if edge == EdgeAssert && w.missed > 15 || w.falseS > 0 {
				t.Errorf("leap %.1f s, edge %s: %d s of wrong guard, last off by %.4f, guard %.4f: %s", leap, edge, w.missed,
					w.got.Error-w.sys, w.got.Guard, w.reference("pps").Because)
			}
		}
	}
}

func TestLearnedEdgeIsUsedAgain(t *testing.T) {
	w := newPulseWorld(t, Learned{}, EdgeUnknown)
	w.pulse.width, w.pulse.inverted = 500*time.Millisecond, true
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(time.Minute)
	w.server(20 * time.Millisecond)
	w.run(time.Minute)
	next := newPulseWorld(t, w.j.Learned(), EdgeUnknown)
	next.pulse.width, next.pulse.inverted = 500*time.Millisecond, true
	next.run(untilProved)
	next.want(Within, BasisPPS)
	if next.got.Guard > 1e-4 || next.j.pps.edgeBy != "learned" {
		t.Errorf("guard %.6f s, edge by %q", next.got.Guard, next.j.pps.edgeBy)
	}
	next.honest()
}

func TestPulseLostIsHoldover(t *testing.T) {
	w := newPulseWorld(t, Learned{}, EdgeAssert)
	w.run(10 * time.Second)
	w.server(20 * time.Millisecond)
	w.run(time.Hour)
	w.pulse.on = false
	w.run(time.Minute)
	w.want(Within, BasisGNSS)
	if r := w.reference("pps"); r.Trust != Silent {
		t.Errorf("pulse %s: %s", r.Trust, r.Because)
	}
	w.mute = true
	w.run(10 * time.Minute)
	w.want(Within, BasisHoldover)
	w.mute, w.pulse.on = false, true
	w.run(time.Minute)
	w.want(Within, BasisPPS)
	w.honest()
}

func TestNoPulseIsNoReference(t *testing.T) {
	w := newWorld(t, Learned{})
	w.run(5 * time.Second)
	if r := w.reference("pps"); r.Name != "" {
		t.Errorf("a pulse nobody asked for: %+v", r)
	}
	w.j.PPSMissing("There is no pulse device.")
	w.run(time.Second)
	if r := w.reference("pps"); r.Trust != Silent || r.Because != "There is no pulse device." {
		t.Errorf("%+v", r)
	}
}
