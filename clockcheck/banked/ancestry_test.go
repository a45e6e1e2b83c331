package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

func id(n byte) [4]byte { return [4]byte{192, 0, 2, n} }

// servers lets each of the servers answer, off by its lie, every 16 s for d.
func (w *world) servers(d time.Duration, lies map[string]float64, up map[string]clockcheck.Upstream) {
	w.t.Helper()
	for range int(d.Seconds()) / 16 {
		for _, name := range []string{"a", "b", "c", "d"} {
			if lie, ok := lies[name]; ok {
				w.j.Network(&clockcheck.Network{Server: name, At: w.local, UTC: w.utc.Add(time.Duration(lie * 1e9)), Bound: 20 * time.Millisecond, Upstream: up[name]})
			}
		}
		w.run(16 * time.Second)
	}
}

func (w *world) trust(name string) clockcheck.Trust {
	for _, r := range w.got.References {
		if r.Name == name {
			return r.Trust
		}
	}
	return ""
}

// Votes are counted by ancestry. A receiver that says the truth from the start stands
// against servers that are 5 s off.
func TestServersVoteByAncestry(t *testing.T) {
	apart := map[string]clockcheck.Upstream{"a": {ID: id(1), Port: 123, Follows: id(8), Stratum: 2}, "b": {ID: id(2), Port: 123, Follows: id(9), Stratum: 2}}
	kin := map[string]clockcheck.Upstream{"a": {ID: id(1), Port: 123, Follows: id(9), Stratum: 2}, "b": {ID: id(2), Port: 123, Follows: id(9), Stratum: 2}}
	chain := map[string]clockcheck.Upstream{"a": {ID: id(1), Port: 123, Follows: [4]byte{'P', 'P', 'S'}, Stratum: 1}, "b": {ID: id(2), Port: 123, Follows: id(1), Stratum: 2},
		"c": {ID: id(3), Port: 123, Follows: id(2), Stratum: 3}}
	for _, tt := range []struct {
		name     string
		up       map[string]clockcheck.Upstream
		lies     map[string]float64
		mark     bool // an operator's mark says the same
		outvoted bool // the receiver
	}{
		{"two of one ancestry are one witness", kin, map[string]float64{"a": 5, "b": 5}, false, false},
		{"three in a row are one witness", chain, map[string]float64{"a": 5, "b": 5, "c": 5}, false, false},
		{"whoever owns the network answers for all names", apart, map[string]float64{"a": 5, "b": 5}, false, false},
		{"so may they of whom another says that they lie", apart, map[string]float64{"a": 5, "b": 5, "c": 5, "d": 0}, false, false},
		{"the network and the operator are two", apart, map[string]float64{"a": 5, "b": 5}, true, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w := newWorld(t, clockcheck.Learned{})
			w.run(untilProved)
			w.servers(5*time.Minute, tt.lies, tt.up)
			if tt.mark {
				w.j.Mark(&clockcheck.Mark{At: w.local, UTC: w.utc.Add(5 * time.Second), Bound: 200 * time.Millisecond})
				w.run(time.Second)
			}
			if got := w.trust("receiver") != clockcheck.Trusted && math.Abs(w.got.Error+5) < 0.1; got != tt.outvoted {
				t.Errorf("outvoted: %v; error %.3f, guard %.3f: %s\n%+v", got, w.got.Error, w.got.Guard, w.got.Because, w.got.References)
			}
			if !tt.outvoted {
				w.honest() // the guard spans both
				if w.got.Modes[0].Verdict == clockcheck.Within {
					t.Error("within, while references disagree")
				}
			}
		})
	}
}

// A hotspot answers for every name, an hour or four seconds off, as stratum 1. It outvotes
// neither a proved receiver nor a compared hardware clock, alone or together, nor does it
// after they have fallen silent.
func TestHotspotIsOneWitness(t *testing.T) {
	gps := [4]byte{'G', 'P', 'S'}
	up := map[string]clockcheck.Upstream{"a": {ID: id(1), Port: 123, Follows: gps, Stratum: 1}, "b": {ID: id(2), Port: 123, Follows: gps, Stratum: 1},
		"c": {ID: id(3), Port: 123, Follows: gps, Stratum: 1}}
	for _, lie := range []float64{4, -4, 3600} {
		for _, clock := range []bool{false, true} {
			w := newWorld(t, clockcheck.Learned{})
			if clock {
				w.rtcOn = true
				w.begin(w.j.cfg, clockcheck.Learned{RTC: &clockcheck.LearnedRTC{At: w.utc.Add(-time.Hour), SigmaS: 0.01, RateSigmaPPM: 0.5, DateProved: true, Ancestry: []string{"server"}}})
			}
			w.run(untilProved)
			w.servers(30*time.Minute, map[string]float64{"a": lie, "b": lie, "c": lie}, up)
			if within := w.got.Modes[0].Verdict == clockcheck.Within; within != clock {
				t.Errorf("%v s, with a clock %v: %s: %s", lie, clock, w.got.Modes[0].Verdict, w.got.Because)
			}
			w.mute = true
			w.servers(30*time.Minute, map[string]float64{"a": lie, "b": lie, "c": lie}, up)
			w.run(2 * time.Hour)
			w.honest()
		}
	}
}

// Nobody loses his vote to a liar who says that he follows him.
func TestALiarTakesNoVote(t *testing.T) {
	gps := [4]byte{'G', 'P', 'S'}
	up := map[string]clockcheck.Upstream{"b": {ID: id(2), Port: 123, Follows: gps, Stratum: 1}, "c": {ID: id(3), Port: 123, Follows: gps, Stratum: 1},
		// a comes first of the list, and claims b, or claims to be what b follows.
		"a": {ID: id(1), Port: 123, Follows: id(2), Stratum: 2}}
	w := newWorld(t, clockcheck.Learned{})
	w.mute = true
	w.servers(time.Minute, map[string]float64{"b": 0, "c": 0}, up)
	w.servers(5*time.Minute, map[string]float64{"a": 5, "b": 0, "c": 0}, up)
	w.honest()
	if w.trust("a") != clockcheck.Doubted || w.trust("b") != clockcheck.Trusted || w.trust("c") != clockcheck.Trusted || math.Abs(w.got.Error) > 0.05 || w.got.Guard > 0.5 {
		t.Errorf("error %.3f, guard %.3f: %s\n%+v", w.got.Error, w.got.Guard, w.got.Because, w.got.References)
	}
}

// The time handed on is the judge's estimate, with its guard, its rate and whom the
// basis follows.
func TestHand(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	if h, ok := w.j.Hand(w.local); ok {
		t.Errorf("handed %+v before anything was known", h)
	}
	w.sys = 0.4
	w.run(untilProved)
	up := map[string]clockcheck.Upstream{"a": {ID: id(1), Port: 123, Follows: id(9), Stratum: 2, Leap: 1}, "b": {ID: id(2), Port: 123, Follows: id(8), Stratum: 3, Leap: 1}}
	w.servers(10*time.Minute, map[string]float64{"a": 0, "b": 0}, up)
	w.judge()
	h, ok := w.j.Hand(w.local)
	if !ok || h.Basis != clockcheck.BasisGNSS || h.Server.ID != id(1) || h.Leap != 1 || h.Confirmed > h.At || h.At.Sub(h.Confirmed) > 20*time.Second {
		t.Fatalf("%v %+v", ok, h)
	}
	// The same as the judgement says of the system clock, and the truth within the guard.
	if d := w.utc.Add(time.Duration((w.sys - w.got.Error) * 1e9)).Sub(h.UTC); d > time.Microsecond || d < -time.Microsecond {
		t.Errorf("%v from the judgement", d)
	}
	if math.Abs(h.Guard-w.got.Guard) > 1e-4 || h.GuardPPM < 0 || h.GuardPPM > 200 || math.Abs(h.RatePPM+w.ppm) > 5 {
		t.Errorf("%+v", h)
	}
	// One that says otherwise of the leap second, and nobody is believed about it.
	up["b"] = clockcheck.Upstream{ID: id(2), Port: 123, Follows: id(8), Stratum: 3}
	w.servers(32*time.Second, map[string]float64{"a": 0, "b": 0}, up)
	if h, _ := w.j.Hand(w.local); h.Leap != 0 {
		t.Errorf("leap %d", h.Leap)
	}
	// As time passes without a reading, the guard grows no faster than is said.
	w.mute = true
	h, _ = w.j.Hand(w.local)
	w.run(9 * time.Second)
	if later, _ := w.j.Hand(w.local); later.Guard > h.Guard+9*h.GuardPPM*1e-6+1e-6 {
		t.Errorf("the guard grew from %.6f to %.6f in 9 s, said to grow by %.1f ppm", h.Guard, later.Guard, h.GuardPPM)
	}
}
