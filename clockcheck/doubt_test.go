package clockcheck

import (
	"math"
	"testing"
	"time"
)

// Servers that agree in two places: either pair may be right. What is said holds both.
func TestServersAgreeInTwoPlaces(t *testing.T) {
	servers := []Network{{Server: "192.0.2.1", Bound: 44 * time.Millisecond}, {Server: "192.0.2.2", Bound: 60 * time.Millisecond},
		{Server: "192.0.2.3", Bound: 13 * time.Millisecond}}
	off := []time.Duration{29 * time.Millisecond, -26 * time.Millisecond, -90 * time.Millisecond}
	for first := range servers {
		w := newWorld(t, Learned{})
		w.run(untilProved)
		w.ask(servers, off, first)
		w.honest()
	}
}

// A line that is too slow lets a few sentences through in time now and then. They are
// no evidence either, until the line has been fast enough for as long.
func TestSlowLineNowAndThen(t *testing.T) {
	var r receiver
	for range 300 {
		if !r.overran(true) {
			t.Fatal("an epoch that overran the line is taken")
		}
	}
	for i := range 10 {
		if !r.overran(false) {
			t.Fatalf("epoch %d after 300 that overran the line is taken", i)
		}
	}
	n := 10
	for r.overran(false) {
		n++
	}
	if n < 200 || n > 300 {
		t.Errorf("taken again after %d epochs", n)
	}
	for i := range 5 { // single ones, of a damaged line, are soon forgotten
		r = receiver{}
		for range i {
			r.overran(true)
		}
		if r.overran(false) {
			t.Errorf("%d overrun epochs made a habit", i)
		}
	}
}

// A latency that came to be another, in whatever way, may be the former one again after
// the next power-on: it is not taken up for granted then.
func TestLatencyThatMovedIsNoHabit(t *testing.T) {
	w := ledWorld(t)
	w.mute = true
	w.run(3 * time.Minute)
	w.mute, w.latency = false, w.latency+0.12
	for range 40 {
		w.j.Network(&Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 5 * time.Millisecond})
		w.run(time.Minute)
	}
	w.honest()
	if l := w.j.Learned().Latencies; len(l) != 1 || l[0].LeapS < 0.08 {
		t.Errorf("learned %+v of a latency that leapt by 0.12 s", l)
	}
}

// The hardware clock is met for the first time, then the latency leaps and the filter
// goes back to how it was before: the hardware clock must not pull it elsewhere.
func TestFormerStateAndTheHardwareClock(t *testing.T) {
	w := newWorld(t, Learned{})
	w.rtcOff = 0.4
	w.run(3 * time.Minute)
	before := w.got.Error - w.sys
	w.latency += 0.2
	for w.j.watch.away == 0 {
		w.second()
	}
	w.rtcOn = true
	w.run(5 * time.Minute)
	if off := w.got.Error - w.sys - before; math.Abs(off) > 0.05 {
		t.Errorf("the estimate moved by %.3f s", off)
	}
	w.honest()
}
