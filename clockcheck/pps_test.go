package clockcheck

import (
	"math"
	"strings"
	"testing"
	"time"

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
	first, last := EdgeAssert, EdgeClear
	if p.inverted {
		first, last = last, first
	}
	give := func(e Edge, at timescale.Local) {
		if at != 0 && w.rng.Float64() >= p.missing && !(p.lone && e == EdgeClear) {
			w.j.PPS(&PPS{At: at, Edge: e, Sigma: time.Microsecond})
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

func newPulseWorld(t *testing.T, learned Learned, edge Edge) *world {
	w := newWorld(t, learned)
	w.j.cfg.PPSEdge = edge
	w.j.ReceiverOpened("r1", Serial)
	w.pulse = pulseLine{on: true, width: 100 * time.Millisecond, jitter: 3e-6}
	return w
}

// server gives the judge an honest answer.
func (w *world) server(bound time.Duration) {
	w.j.Network(&Network{Server: "192.0.2.1", At: w.local, UTC: w.utc.Add(bound / 5), Bound: bound})
}

// reference finds what is said of a reference, by its kind.
func (w *world) reference(kind string) Reference {
	for _, r := range w.got.References {
		if r.Kind == kind {
			return r
		}
	}
	return Reference{}
}

func TestPulseBehindAServer(t *testing.T) {
	for _, edge := range []Edge{EdgeUnknown, EdgeAssert} {
		w := newPulseWorld(t, Learned{}, edge)
		w.sys = 0.1
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(20 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(10 * time.Minute)
		w.want(Within, BasisPPS)
		if w.got.Guard > 100e-6 || math.Abs(w.got.Error-w.sys) > 10e-6 {
			t.Errorf("edge %v: off by %.1f µs, guard %.1f µs", edge, (w.got.Error-w.sys)*1e6, w.got.Guard*1e6)
		}
		if l := w.j.Learned().Latencies; len(l) != 1 || math.Abs(l[0].LatencyS-w.latency-0.0064) > 0.005 || w.j.rx.latencyBy != "pps" {
			t.Errorf("edge %v: learned %+v by %s, true latency %.3f s", edge, l, w.j.rx.latencyBy, w.latency)
		}
		if r := w.reference("pps"); r.Trust != Trusted {
			t.Errorf("pulse %s: %s", r.Trust, r.Because)
		}
		w.honest()
	}
}

// Alone, a receiver whose sentences may be 0.18 or 1.18 s late names no second; one
// that is 0.45 s late does, for 1.45 s is more than any.
func TestPulseNamedByALoneReceiver(t *testing.T) {
	for _, row := range []struct {
		latency float64
		basis   Basis
		without Rules
		missed  bool
	}{
		{0.12, BasisGNSS, 0, false},
		{0.45, BasisPPS, 0, false},
		{0.70, BasisPPS, 0, false},
		{1.10, BasisGNSS, 0, false},
		{1.10, BasisPPS, RulePulseNumber, true}, // what the rule is there for
	} {
		w := newPulseWorld(t, Learned{}, EdgeAssert)
		w.j.cfg.Without = row.without
		w.latency, w.sys = row.latency, 0.95
		w.run(untilProved)
		if w.got.Basis != row.basis {
			t.Errorf("latency %.2f s: basis %s: %s", row.latency, w.got.Basis, w.reference("pps").Because)
		}
		if (w.missed > 0) != row.missed {
			t.Errorf("latency %.2f s, without %b: %d s of wrong guard", row.latency, row.without, w.missed)
		}
	}
}

// A pulse whose edge nobody told: the guard spans both, and a server settles it,
// whichever is right. At half a second nothing else would show it.
func TestEdgeIsOpenUntilTold(t *testing.T) {
	for _, width := range []time.Duration{20 * time.Millisecond, 100 * time.Millisecond, 500 * time.Millisecond, 900 * time.Millisecond} {
		for _, inverted := range []bool{false, true} {
			w := newPulseWorld(t, Learned{}, EdgeUnknown)
			w.pulse.width, w.pulse.inverted, w.latency = width, inverted, 0.45
			w.run(untilProved)
			apart := math.Min(width.Seconds(), 1-width.Seconds())
			if w.got.Basis == BasisPPS && w.got.Guard < apart*0.9 {
				t.Errorf("width %v inverted %v: guard %.3f s does not span the other edge", width, inverted, w.got.Guard)
			}
			w.server(8 * time.Millisecond)
			w.run(20 * time.Second)
			w.server(8 * time.Millisecond)
			w.run(20 * time.Second)
			w.want(Within, BasisPPS)
			w.honest()
			if want := map[bool]string{false: "assert", true: "clear"}[inverted]; w.got.Guard > 1e-4 || w.j.Learned().Latencies[0].Edge != want {
				t.Errorf("width %v inverted %v: guard %.6f s, learned %+v", width, inverted, w.got.Guard, w.j.Learned().Latencies)
			}
		}
	}
}

// Without the rule the edge that fits is believed, and half a second is hidden.
func TestEdgeRuleIsNeeded(t *testing.T) {
	w := newPulseWorld(t, Learned{}, EdgeUnknown)
	w.j.cfg.Without = RulePulseEdge
	w.pulse.width, w.latency = 900*time.Millisecond, 0.45
	w.run(untilProved)
	if w.missed == 0 {
		t.Error("nothing shows what the rule is there for")
	}
}

// A wrong edge in the settings, beside a server: the pulse is not believed, and the
// sentence says what to change. Without a witness the guard holds the truth.
func TestWrongEdgeConfigured(t *testing.T) {
	for _, lone := range []bool{false, true} {
		w := newPulseWorld(t, Learned{}, EdgeClear)
		w.pulse.lone = lone
		if lone {
			w.j.cfg.PPSEdge, w.pulse.inverted = EdgeAssert, true
			w.pulse.lone = false
		}
		w.run(10 * time.Second)
		w.server(20 * time.Millisecond)
		w.run(2 * time.Minute)
		w.honest()
		if r := w.reference("pps"); r.Trust != Doubted || !strings.Contains(r.Because, "change pps_edge") {
			t.Errorf("pulse %s: %s", r.Trust, r.Because)
		}
		w.want(Within, BasisGNSS)
	}
}

// One captured edge, nobody told: what the server leaves open stays in the guard.
func TestLoneEdge(t *testing.T) {
	for _, late := range []float64{0, 0.015} { // the clear edge of an inverted 15 ms pulse
		w := newPulseWorld(t, Learned{}, EdgeUnknown)
		w.pulse.lone, w.pulse.off = true, late
		w.run(time.Minute)
		w.want(Borderline, BasisGNSS)
		for range 6 {
			w.server(20 * time.Millisecond)
			w.run(time.Minute)
		}
		w.want(Within, BasisPPS)
		if w.got.Guard < 0.015 || w.got.Guard > 0.06 {
			t.Errorf("late %.3f s: guard %.4f s", late, w.got.Guard)
		}
		w.honest()
	}
}
