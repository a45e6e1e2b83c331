package banked

import (
	"encoding/json"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// What an earlier run knew is taken up only where it can be: bad rows first.
func TestResume(t *testing.T) {
	good := clockcheck.Held{At: 100e9, OffsetNS: 5e18, SigmaS: 0.02, RatePPM: 3, RateSigmaPPM: 0.5, DateProved: true, Ancestry: []string{"receiver", "server"}}
	with := func(change func(*clockcheck.Held)) *clockcheck.Held { h := good; change(&h); return &h }
	for _, row := range []struct {
		name string
		held *clockcheck.Held
		want bool
	}{
		{"nothing", nil, false},
		{"of a later instant", with(func(h *clockcheck.Held) { h.At = 300e9 }), false},
		{"without an uncertainty", with(func(h *clockcheck.Held) { h.SigmaS = 0 }), false},
		{"without one of its rate", with(func(h *clockcheck.Held) { h.RateSigmaPPM = 0 }), false},
		{"good", &good, true},
	} {
		t.Run(row.name, func(t *testing.T) {
			j := New(clockcheck.Config{}, clockcheck.Learned{Held: row.held})
			now := timescale.Local(160e9)
			j.Resume(now)
			var d clockcheck.Judgement
			// In a minute the oscillator gains 3 ppm of it.
			j.Judge(now, timescale.UTC(160e9+5e18+180e3), &d)
			if d.Known != row.want {
				t.Fatalf("known: %v", d.Known)
			}
			if row.want && (d.Basis != clockcheck.BasisHoldover || d.Error < -1e-6 || d.Error > 1e-6 || d.Guard < 3.891*0.02 || d.Guard > 0.09) {
				t.Errorf("%+v", d)
			}
			if again := j.Learned().Held; (again != nil) != row.want {
				t.Errorf("kept again: %+v", again)
			}
		})
	}
}

// An estimate that stands is not replaced by an older one.
func TestResumeComesTooLate(t *testing.T) {
	j := New(clockcheck.Config{}, clockcheck.Learned{Held: &clockcheck.Held{At: 1e9, OffsetNS: 5e18, SigmaS: 0.02, RateSigmaPPM: 0.5, DateProved: true}})
	j.Network(&clockcheck.Network{Server: "192.0.2.1", At: 2e9, UTC: 6e18, Bound: 10 * time.Millisecond})
	j.Resume(3e9)
	if got := j.utc(2e9); got != 6e18 {
		t.Errorf("UTC %d", got)
	}
}

// restart starts the program again on what is kept. opened: the port is open before the
// first tick; clock: the hardware clock is read before it.
func (w *world) restart(opened, clock bool) {
	w.t.Helper()
	kept, err := json.Marshal(w.j.Learned())
	var learned clockcheck.Learned
	if err == nil {
		err = json.Unmarshal(kept, &learned)
	}
	if err != nil {
		w.t.Fatal(err)
	}
	w.j = New(w.j.cfg, learned)
	w.to(w.utc.Add(3 * time.Second))
	if opened {
		w.j.ReceiverOpened("r1", clockcheck.Serial)
	}
	if clock && w.rtcOn {
		w.readRTC()
	}
	w.j.Resume(w.local)
	if !opened {
		w.j.ReceiverOpened("r1", clockcheck.Serial)
	}
}

// TestRestartDecidesNothing: a restart while references disagree keeps the doubt, in
// whatever order what is there is heard again.
func TestRestartDecidesNothing(t *testing.T) {
	for i, row := range []struct {
		name  string
		begin func(w *world) // until they disagree
	}{
		{"the receiver jumped", func(w *world) { w.run(untilProved); w.lie = -3 }},
		{"the receiver jumped by a fraction", func(w *world) { w.run(untilProved); w.lie = 1.7 }},
		{"the receiver lies from the start", func(w *world) { w.lie = 3.3 }},
		{"the receiver is whole seconds slow from the start", func(w *world) { w.lie = -2 }},
	} {
		for order := range 4 {
			t.Run(row.name, func(t *testing.T) {
				w := newClocked(t)
				row.begin(w)
				w.run(5 * time.Minute)
				before := w.got.Guard
				for range 3 {
					w.restart(order&1 == 0, order&2 == 0)
					w.run(40 * time.Minute)
					if got := w.got.Guard; got < before {
						t.Errorf("%d: guard %.4f s after a restart, %.4f s before", i, got, before)
					}
				}
				w.honest()
			})
		}
	}
}

// TestRestartKeepsTheMark: what an operator's mark gave is not lost by a restart.
func TestRestartKeepsTheMark(t *testing.T) {
	w := newWorld(t, clockcheck.Learned{})
	w.run(untilProved)
	w.j.Mark(&clockcheck.Mark{At: w.local, UTC: w.utc.Add(60 * time.Millisecond), Bound: 200 * time.Millisecond})
	w.run(time.Minute)
	before := w.got.Guard
	w.restart(true, false)
	w.run(time.Minute)
	if w.honest(); w.got.Guard > before+0.05 {
		t.Errorf("guard %.3f s before the restart, %.3f after", before, w.got.Guard)
	}
}
