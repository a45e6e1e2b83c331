package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// pulseLine is a receiver's pulse as a kernel would stamp it.
type pulseLine struct {
	on       bool
	width    time.Duration // of the pulse
	inverted bool          // the second is the clear edge
	lone     bool          // only assert edges are captured
	off      float64       // s: the pulse comes so late
	drag     float64       // s of off a second
	jitter   float64       // s
	spurious float64       // chance of an edge that is none, each second
	missing  float64       // chance that an edge is lost
	clear    timescale.Local
}

func (p *pulseLine) second(w *world) {
	if !p.on {
		return
	}
	p.off += p.drag
	first, last := clockcheck.EdgeAssert, clockcheck.EdgeClear
	if p.inverted {
		first, last = last, first
	}
	give := func(e clockcheck.Edge, at timescale.Local) {
		if at != 0 && w.rng.Float64() >= p.missing && !(p.lone && e == clockcheck.EdgeClear) {
			w.j.PPS(&clockcheck.PPS{At: at, Edge: e, Sigma: time.Microsecond})
		}
	}
	give(last, p.clear)
	if w.rng.Float64() < p.spurious {
		give(first, w.local.Add(-time.Duration(w.rng.Float64()*4e8)))
	}
	late := math.Abs(w.rng.NormFloat64())*p.jitter + p.off
	at := w.local.Add(time.Duration(late * 1e9))
	give(first, at)
	p.clear = at.Add(p.width)
}

func newPulseWorld(t *testing.T, learned clockcheck.Learned, edge clockcheck.Edge) *world {
	w := newWorld(t, learned)
	cfg := w.j.cfg
	cfg.PPSEdge = edge
	w.begin(cfg, learned)
	w.pulse = pulseLine{on: true, width: 100 * time.Millisecond, jitter: 3e-6}
	return w
}

// server gives the judge an honest answer.
func (w *world) server(bound time.Duration) {
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc.Add(bound / 5), Bound: bound})
}

func TestPulseBehindAServer(t *testing.T) {
	for _, edge := range []clockcheck.Edge{clockcheck.EdgeUnknown, clockcheck.EdgeAssert} {
		w := newPulseWorld(t, clockcheck.Learned{}, edge)
		w.sys = 0.1
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(20 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(untilProved)
		w.want(clockcheck.Within, clockcheck.BasisPPS)
		if w.got.Guard > pulseGuard || math.Abs(w.got.Error-w.sys) > 10e-6 {
			t.Errorf("edge %v: off by %.1f µs, guard %.1f µs", edge, (w.got.Error-w.sys)*1e6, w.got.Guard*1e6)
		}
		if l := w.j.Learned().Latencies; len(l) != 1 || math.Abs(l[0].LatencyS-w.latency-0.0064) > 0.005 {
			t.Errorf("edge %v: learned %+v, true latency %.3f s", edge, l, w.latency)
		}
		if r := w.reference("pps"); r.Trust != clockcheck.Trusted {
			t.Errorf("pulse %s: %s", r.Trust, r.Because)
		}
		w.honest()
	}
}

// pulseGuard: a former state an hour old speaks for a pulse, too, s.
const pulseGuard = 0.1

// Alone, a receiver whose sentences may be 0.18 or 1.18 s late names no second.
func TestPulseNamedByALoneReceiver(t *testing.T) {
	for _, latency := range []float64{0.12, 0.45, 0.70, 1.10} {
		w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
		w.latency, w.sys = latency, 0.95
		w.run(untilProved)
		w.honest()
	}
}

// A pulse whose edge nobody told: the guard spans both, and a server settles it,
// whichever is right. At half a second nothing else would show it.
func TestEdgeIsOpenUntilTold(t *testing.T) {
	for _, width := range []time.Duration{20 * time.Millisecond, 100 * time.Millisecond, 500 * time.Millisecond, 900 * time.Millisecond} {
		for _, inverted := range []bool{false, true} {
			w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeUnknown)
			w.pulse.width, w.pulse.inverted, w.latency = width, inverted, 0.45
			w.run(untilProved)
			apart := math.Min(width.Seconds(), 1-width.Seconds())
			if w.got.Basis == clockcheck.BasisPPS && w.got.Guard < apart*0.9 {
				t.Errorf("width %v inverted %v: guard %.3f s does not span the other edge", width, inverted, w.got.Guard)
			}
			w.server(8 * time.Millisecond)
			w.run(2 * time.Minute)
			w.honest()
			if width == 20*time.Millisecond { // no server tells edges so close apart
				w.want(clockcheck.Within, clockcheck.BasisGNSS)
				continue
			}
			w.want(clockcheck.Within, clockcheck.BasisPPS)
			if want := map[bool]string{false: "assert", true: "clear"}[inverted]; w.got.Guard > pulseGuard || w.j.Learned().Latencies[0].Edge != want {
				t.Errorf("width %v inverted %v: guard %.6f s, learned %+v", width, inverted, w.got.Guard, w.j.Learned().Latencies)
			}
		}
	}
}

// A wrong edge in the settings, beside a server: the pulse is not believed.
func TestWrongEdgeConfigured(t *testing.T) {
	for _, lone := range []bool{false, true} {
		w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeClear)
		w.pulse.lone = lone
		if lone {
			w = newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeAssert)
			w.pulse.inverted = true
		}
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(2 * time.Minute)
		w.honest()
		if r := w.reference("pps"); r.Trust == clockcheck.Trusted || w.got.Basis == clockcheck.BasisPPS {
			t.Errorf("basis %s, pulse %s: %s", w.got.Basis, r.Trust, r.Because)
		}
	}
}

// One captured edge, nobody told which: the pulse is not used.
func TestLoneEdge(t *testing.T) {
	for _, late := range []float64{0, 0.015} { // the clear edge of an inverted 15 ms pulse
		w := newPulseWorld(t, clockcheck.Learned{}, clockcheck.EdgeUnknown)
		w.pulse.lone, w.pulse.off = true, late
		w.run(time.Minute)
		w.want(clockcheck.Borderline, clockcheck.BasisGNSS)
		for range 6 {
			w.server(20 * time.Millisecond)
			w.run(time.Minute)
		}
		w.want(clockcheck.Within, clockcheck.BasisGNSS)
		w.honest()
	}
}
