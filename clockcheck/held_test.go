package clockcheck

import (
	"encoding/json"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// What an earlier run knew is taken up only where it can be: bad rows first.
func TestResume(t *testing.T) {
	good := Held{At: 100e9, OffsetNS: 5e18, SigmaS: 0.02, RatePPM: 3, RateSigmaPPM: 0.5, DateProved: true, Ancestry: []string{"receiver", "server"}}
	with := func(change func(*Held)) *Held { h := good; change(&h); return &h }
	for _, row := range []struct {
		name string
		held *Held
		want bool
	}{
		{"nothing", nil, false},
		{"of a later instant", with(func(h *Held) { h.At = 300e9 }), false},
		{"without an uncertainty", with(func(h *Held) { h.SigmaS = 0 }), false},
		{"without one of its rate", with(func(h *Held) { h.RateSigmaPPM = 0 }), false},
		{"good", &good, true},
	} {
		t.Run(row.name, func(t *testing.T) {
			j := New(Config{}, Learned{Held: row.held})
			now := timescale.Local(160e9)
			j.Resume(now)
			var d Judgement
			// In a minute the oscillator gains 3 ppm of it.
			j.Judge(now, timescale.UTC(160e9+5e18+180e3), &d)
			if d.Known != row.want {
				t.Fatalf("known: %v", d.Known)
			}
			if row.want && (d.Basis != BasisHoldover || d.Error < -1e-6 || d.Error > 1e-6 || d.Guard < guardZ*0.02 || d.Guard > 0.08) {
				t.Errorf("%+v", d)
			}
			if again := j.Learned().Held; (again != nil) != row.want {
				t.Errorf("kept again: %+v", again)
			}
		})
	}
}

// The bank kept that the receiver may be false: under the rules its run proves nothing then.
func TestBackFromTheBank(t *testing.T) {
	for _, row := range []struct {
		nats float64
		want bool
	}{{0.7, true}, {7, false}} {
		j := New(Config{}, Learned{Held: &Held{At: 100e9, OffsetNS: 5e18, SigmaS: 0.02, RateSigmaPPM: 0.5, DateProved: true, Doubted: []string{"receiver"}, DoubtNats: row.nats}})
		if j.Resume(160e9); j.rx.noProof != row.want {
			t.Errorf("doubted by %.1f nats, its run proves nothing: %v", row.nats, j.rx.noProof)
		}
	}
}

// An estimate that stands is not replaced by an older one.
func TestResumeComesTooLate(t *testing.T) {
	j := New(Config{}, Learned{Held: &Held{At: 1e9, OffsetNS: 5e18, SigmaS: 0.02, RateSigmaPPM: 0.5, DateProved: true}})
	j.Network(&Network{Server: "192.0.2.1", At: 2e9, UTC: 6e18, Bound: 10 * time.Millisecond})
	j.Resume(3e9)
	if got := j.f.base; got != 6e18-2e9 {
		t.Errorf("UTC − local %d", got)
	}
}

// restart starts the program again on what is kept. opened: the port is open before the
// first tick; clock: the hardware clock is read before it.
func (w *world) restart(opened, clock bool) {
	w.t.Helper()
	kept, err := json.Marshal(w.j.Learned())
	var learned Learned
	if err == nil {
		err = json.Unmarshal(kept, &learned)
	}
	if err != nil {
		w.t.Fatal(err)
	}
	w.j = New(w.j.cfg, learned)
	w.to(w.utc.Add(3 * time.Second))
	if opened {
		w.j.ReceiverOpened("r1", Serial)
	}
	if clock && w.rtcOn {
		w.readRTC()
	}
	w.j.Resume(w.local)
	if !opened {
		w.j.ReceiverOpened("r1", Serial)
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
				w := newWorld(t, Learned{})
				w.j.cfg.RTCCompensated = true
				w.j = New(w.j.cfg, Learned{RTC: &LearnedRTC{At: w.utc.Add(-3 * time.Hour), SigmaS: 0.01, RateSigmaPPM: 0.1, DateProved: true,
					Ancestry: []string{"server"}}})
				w.j.ReceiverOpened("r1", Serial)
				w.rtcOn = true
				w.to(w.utc.Add(time.Second))
				w.readRTC()
				row.begin(w)
				w.run(5 * time.Minute)
				for range 3 {
					w.restart(order&1 == 0, order&2 == 0)
					w.run(40 * time.Minute)
					if w.got.Modes[0].Verdict == Within {
						t.Fatalf("%d: within while they disagree: %+v", i, w.got)
					}
				}
				w.honest()
			})
		}
	}
}

// TestRestartKeepsTheMark: what an operator's mark gave is not lost by a restart.
func TestRestartKeepsTheMark(t *testing.T) {
	w := newWorld(t, Learned{})
	w.run(untilProved)
	w.j.Mark(&Mark{At: w.local, UTC: w.utc.Add(60 * time.Millisecond), Bound: 200 * time.Millisecond})
	w.run(time.Minute)
	before := w.got.Guard
	w.restart(true, false)
	w.run(time.Minute)
	if w.honest(); w.got.Guard > before+0.05 {
		t.Errorf("guard %.3f s before the restart, %.3f after", before, w.got.Guard)
	}
}
