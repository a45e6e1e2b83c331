package banked

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// ledAway is a lone receiver of learned lateness that has been led away by 0.66 s, at 52 ppm: the
// oscillator is right, and the station doubts the receiver.
func ledAway(t *testing.T) *world {
	w := newWorld(t, clockcheck.Learned{RatePPM: -12, RateSigmaPPM: 3, Latencies: []clockcheck.LearnedLatency{{Key: "r1", LatencyS: 0.18, SigmaS: 0.012}}})
	w.rtcOn = true
	w.run(45 * time.Minute)
	w.drag = 52e-6
	w.run(210 * time.Minute)
	w.honest()
	if h := w.j.Learned().Held; len(h.Accounts) < 2 || !h.Accounts[0].ReceiverFalse || h.Accounts[1].ReceiverFalse {
		t.Fatalf("the oscillator is right, the receiver led away or the other way round: %+v", h.Accounts)
	}
	return w
}

// A restart adds no evidence: what was possible before it is possible after it, and what was
// believed is believed, in whatever order what is there is heard again. A third decides.
func TestLedAwayOverARestart(t *testing.T) {
	all := ledAway(t)
	for order := range 4 {
		one := *all
		w, before := &one, all.got
		w.restart(order&1 == 0, order&2 == 0)
		for range 2400 {
			if w.second(); math.Abs(w.got.Error-w.sys) > 0.25 {
				t.Fatalf("order %d: the estimate has gone to what the receiver says, %.3f s off", order, w.got.Error-w.sys)
			}
			if w.got.Guard < before.Guard || w.got.Modes[1].Verdict == clockcheck.Within {
				t.Fatalf("order %d: guard %.3f s, before the restart %.3f s", order, w.got.Guard, before.Guard)
			}
		}
		w.honest()
		w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 10 * time.Millisecond})
		w.run(time.Minute)
		if w.honest(); math.Abs(w.got.Error-w.sys) > 0.01 || w.got.Basis != clockcheck.BasisNetwork {
			t.Errorf("order %d: a server speaks, error %.3f s by %s: %s", order, w.got.Error-w.sys, w.got.Basis, w.got.Because)
		}
	}
}

// The station has the better of the two accounts again after a false signal has ended: the receiver
// comes back by the account that knows it well.
func TestLedAwayEndsAfterARestart(t *testing.T) {
	w := ledAway(t)
	w.restart(true, true)
	w.run(5 * time.Minute)
	w.lie, w.drag = 0, 0
	w.run(untilProved)
	w.honest()
	if math.Abs(w.got.Error-w.sys) > 0.25 {
		t.Errorf("error %.3f s, guard %.3f s: %s", w.got.Error-w.sys, w.got.Guard, w.got.Because)
	}
}

// What cannot be accounts is none: then the hull of all is all that was kept.
func TestAccountsThatCannotBe(t *testing.T) {
	good := clockcheck.HeldAccount{SigmaS: 0.02, RateSigmaPPM: 1}
	with := func(change func(a *clockcheck.HeldAccount)) []clockcheck.HeldAccount {
		a := good
		a.ReceiverFalse, a.DearerNats = true, 1
		change(&a)
		return []clockcheck.HeldAccount{good, a}
	}
	for _, row := range []struct {
		name string
		of   []clockcheck.HeldAccount
		want bool
	}{
		{"two", with(func(*clockcheck.HeldAccount) {}), true},
		{"none", nil, false},
		{"one", []clockcheck.HeldAccount{good}, false},
		{"of two seconds, and both hear the receiver", with(func(a *clockcheck.HeldAccount) { a.ReceiverFalse, a.OffS = false, 1 }), true},
		{"more than there can be", []clockcheck.HeldAccount{good, good, good, good, good}, false},
		{"without an uncertainty", with(func(a *clockcheck.HeldAccount) { a.SigmaS = 0 }), false},
		{"without one of its rate", with(func(a *clockcheck.HeldAccount) { a.RateSigmaPPM = 0 }), false},
		{"cheaper than what was believed", with(func(a *clockcheck.HeldAccount) { a.DearerNats = -1 }), false},
		{"a room beside itself", with(func(a *clockcheck.HeldAccount) { a.RoomLoS = 1 }), false},
	} {
		if all := accountsOf(row.of); (all[1].Sigma > 0) != row.want {
			t.Errorf("%s: %+v", row.name, all)
		}
	}
}
