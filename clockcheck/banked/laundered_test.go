package banked

import (
	"testing"
	"time"

	"noonmark/clockcheck"
)

// portal has one wrong clock answer for three names, off by lie s, for d.
func (w *world) portal(d time.Duration, lie float64) {
	w.t.Helper()
	w.portalOf(d, lie, nil)
}

// portalOf is the same where the three show these upstreams.
func (w *world) portalOf(d time.Duration, lie float64, up map[string]clockcheck.Upstream) {
	w.t.Helper()
	w.servers(d, map[string]float64{"a": lie, "b": lie, "c": lie}, up)
}

// known is a receiver whose lateness was confirmed at home.
func known(w *world) []clockcheck.LearnedLatency {
	return []clockcheck.LearnedLatency{{Key: "r1", LatencyS: w.latency, SigmaS: 0.005}}
}

// A run has seen receiver and servers contradict each other. After a power cut the servers answer
// before the hardware clock is read: they are doubted all the same.
func TestDoubtIsThereBeforeTheHardwareClock(t *testing.T) {
	for _, lie := range []float64{1.47, -2.1, 5} {
		w := newWorld(t, clockcheck.Learned{})
		w.begin(w.j.cfg, clockcheck.Learned{Latencies: known(w)})
		w.rtcOn, w.rtcOff = true, lie // it was set from the servers
		w.run(untilProved)
		w.portal(20*time.Minute, lie)
		w.honest()
		w.begin(w.j.cfg, w.j.Learned())
		w.mute, w.rtcOn, w.sys = true, false, lie
		w.portal(16*time.Second, lie)
		w.rtcOn = true
		w.portal(32*time.Second, lie)
		w.mute = false
		w.portal(20*time.Minute, lie)
		if w.falseS > 0 {
			t.Errorf("%+.2f s: false for %d s; error %.3f, guard %.3f: %s", lie, w.falseS, w.got.Error, w.got.Guard, w.got.Because)
		}
	}
}

// The same where there is no hardware clock, or nothing of it was worth keeping: the names that a run doubted are as
// doubtful in the next boot.
func TestDoubtNeedsNoHardwareClock(t *testing.T) {
	for _, lie := range []float64{1.47, -2.1, 5} {
		w := newWorld(t, clockcheck.Learned{})
		w.begin(w.j.cfg, clockcheck.Learned{Latencies: known(w)})
		w.run(untilProved)
		w.portal(20*time.Minute, lie)
		w.begin(w.j.cfg, w.j.Learned())
		w.mute, w.sys = true, lie
		w.portal(20*time.Minute, lie)
		if w.falseS > 0 || w.missed > 0 {
			t.Errorf("%+.2f s: false for %d s, missed for %d; error %.3f, guard %.3f: %s", lie, w.falseS, w.missed, w.got.Error, w.got.Guard, w.got.Because)
		}
	}
}

// The hardware clock was set from servers that nobody bore out, and the power fails before anybody
// contradicts them. At the next start the two are one word.
func TestHardwareClockSetFromServersIsTheirWord(t *testing.T) {
	for _, lie := range []float64{1.47, -2.1, 5} {
		w := newWorld(t, clockcheck.Learned{})
		w.begin(w.j.cfg, clockcheck.Learned{Latencies: known(w)})
		w.mute, w.rtcOn = true, true
		w.portal(32*time.Second, lie)
		w.rtcOff = lie
		w.j.WroteRTC()
		w.portal(64*time.Second, lie)
		kept := w.j.Learned()
		w.begin(w.j.cfg, kept)
		w.portal(64*time.Second, lie)
		w.mute, w.falseS, w.sys = false, 0, lie // until then they are believed
		w.portal(20*time.Minute, lie)
		if w.falseS > 30 {
			t.Errorf("%+.2f s: false for %d s; error %.3f, guard %.3f: %s", lie, w.falseS, w.got.Error, w.got.Guard, w.got.Because)
		}
	}
}

// A receiver that has just started is ahead of servers that are slow by whole seconds: as if its
// leap-second data were missing. It does not bear them out, whatever upstreams they show: they may share one
// further up.
func TestSlowServersAreNotBorneOutByALead(t *testing.T) {
	unlike := map[string]clockcheck.Upstream{}
	for i, name := range []string{"a", "b", "c"} {
		unlike[name] = clockcheck.Upstream{ID: id(byte(1 + i)), Port: 123, Follows: id(byte(11 + i)), Stratum: 2}
	}
	for _, up := range []map[string]clockcheck.Upstream{nil, unlike} {
		for _, lie := range []float64{-2.1, -1, -17.3} {
			for _, learned := range []bool{false, true} {
				w := newWorld(t, clockcheck.Learned{})
				if learned {
					w.begin(w.j.cfg, clockcheck.Learned{Latencies: known(w)})
				}
				w.valid = false // and so it starts cold
				w.portalOf(48*time.Second, lie, up)
				w.valid, w.falseS, w.sys = true, 0, lie
				w.portalOf(20*time.Minute, lie, up)
				if w.falseS > 30 {
					t.Errorf("%+.2f s, %v, %d upstreams: false for %d s; error %.3f, guard %.3f: %s", lie, learned, len(up), w.falseS, w.got.Error, w.got.Guard, w.got.Because)
				}
			}
		}
	}
}

// Receiver and server contradict each other, and the program is started again, twice. Who hears the
// receiver took the server to be false before: that is no dearer for being said at each start.
func TestDoubtIsPaidOnceNotAtEachStart(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(untilProved)
	for range 3 {
		w.portal(3*time.Minute, 142)
		w.begin(w.j.cfg, w.j.Learned())
		w.j.Resume(w.local)
		w.portal(16*time.Second, 142)
		if w.got.Guard < 100 {
			t.Fatalf("guard %.3f s: %s", w.got.Guard, w.got.Because)
		}
	}
}
