package banked

import (
	"math/rand/v2"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// pulseNight plays two hours of a world whose pulse, receiver, witnesses and settings
// are drawn: right and wrong edges, short and long pulses, one edge or both, faults of
// the line, a fix that is lost while the pulse runs on, a latency that has leapt since it
// was learned and leaps again, a pulse that jumps, servers, marks.
func pulseNight(t *testing.T, seed uint64) *world {
	rng := rand.New(rand.NewPCG(seed, 77))
	pick := func(v ...float64) float64 { return v[rng.IntN(len(v))] }
	latency := pick(0.03, 0.12, 0.3, 0.45, 0.6, 1.0, 1.15)
	learned := clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 0.5}
	if rng.IntN(3) == 0 {
		was := latency + pick(0, 0, 0.05, -0.05)
		learned.Latencies = []clockcheck.LearnedLatency{{Key: "r1", LatencyS: max(was, 0.01), SigmaS: 0.02}}
	}
	w := newPulseWorld(t, learned, clockcheck.EdgeUnknown)
	w.rng = rng
	w.rng = rng
	w.latency, w.jitter = latency, pick(0.002, 0.008, 0.03)
	w.sys = rng.Float64()*3 - 1.5
	w.pulse = pulseLine{on: true, width: time.Duration(pick(1e6, 20e6, 100e6, 200e6, 500e6, 800e6)), inverted: rng.IntN(3) == 0,
		lone: rng.IntN(3) == 0, jitter: pick(1e-6, 5e-6, 2e-4), spurious: pick(0, 0, 0.05), missing: pick(0, 0, 0.2)}
	if rng.IntN(2) == 0 {
		cfg := w.j.cfg
		cfg.PPSEdge = map[bool]clockcheck.Edge{false: clockcheck.EdgeAssert, true: clockcheck.EdgeClear}[w.pulse.inverted]
		w.begin(cfg, learned)
	}
	server, bound := rng.IntN(2) == 0, time.Duration(pick(8e6, 30e6, 150e6))
	ear := rng.IntN(3) == 0
	for m := range 120 {
		w.run(time.Minute)
		switch {
		case server && (m == 2 || m > 40 && m%5 == 0):
			w.server(bound)
		case ear && m == 20:
			w.mark(rng.Float64()*0.4-0.2, byEar, true)
		case m == 60:
			w.valid, w.pulse.drag = false, pick(0, 1e-6, 2e-5)
		case m == 75:
			w.valid, w.pulse.drag, w.pulse.off = true, 0, 0
		case m == 90:
			w.latency = pick(w.latency, 0.03, 0.3, 0.6)
		case m == 105:
			w.pulse.off = pick(0, 0, 0.003, -0.1)
		}
	}
	return w
}

func TestPulseNights(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	by := map[clockcheck.Basis]int{}
	for seed := range count(12, 60) {
		w := pulseNight(t, seed)
		if w.falseS > 0 || w.missed > 0 {
			t.Errorf("night %d: %d s of false within, %d s in which the guard missed the truth; latency %.2f s, %+v",
				seed, w.falseS, w.missed, w.latency, w.pulse)
		}
		by[w.got.Basis]++
	}
	if long && (by[clockcheck.BasisPPS] < 9 || by[clockcheck.BasisGNSS] < 5) {
		t.Errorf("the nights end as %v: no mixture", by)
	}
}
