package banked

import (
	"testing"
	"time"

	"noonmark/clockcheck"
)

// Servers that agree in two places: either pair may be right. What is said holds both.
func TestServersAgreeInTwoPlaces(t *testing.T) {
	servers := []clockcheck.Network{{Server: "192.0.2.1", Bound: 44 * time.Millisecond}, {Server: "192.0.2.2", Bound: 60 * time.Millisecond},
		{Server: "192.0.2.3", Bound: 13 * time.Millisecond}}
	off := []time.Duration{29 * time.Millisecond, -26 * time.Millisecond, -90 * time.Millisecond}
	for first := range servers {
		w := newWorld(t, clockcheck.Learned{})
		w.run(untilProved)
		w.ask(servers, off, first)
		w.honest()
	}
}

// A latency that came to be another, in whatever way, may be the former one again after
// the next power-on: it is not taken up for granted then.
func TestLatencyThatMovedIsNoHabit(t *testing.T) {
	w := comparedWorld(t)
	w.mute = true
	w.run(3 * time.Minute)
	w.mute, w.latency = false, w.latency+0.12
	for range 40 {
		w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 5 * time.Millisecond})
		w.run(time.Minute)
	}
	w.honest()
	if l := w.j.Learned().Latencies; len(l) != 1 || l[0].LeapS < 0.08 {
		t.Errorf("learned %+v of a latency that leapt by 0.12 s", l)
	}
}
