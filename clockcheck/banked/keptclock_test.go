package banked

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// A hardware clock that servers told and a receiver contradict each other by 3.3 s when the power fails. The start stands where
// the likelier account has UTC, and not between the two, where neither has it; the guard holds both. A file
// without accounts, as versions before kept it, is read as their hull.
func TestClockIsKeptByAccounts(t *testing.T) {
	for _, former := range []bool{false, true} {
		w := newWorld(t, clockcheck.Learned{})
		w.j.cfg.RTCCompensated = true
		w.j = New(w.j.cfg, clockcheck.Learned{RTC: &clockcheck.LearnedRTC{At: w.utc.Add(-3 * time.Hour), SigmaS: 0.01, RateSigmaPPM: 0.1, DateProved: true,
			Ancestry: []string{"server"}}})
		w.j.ReceiverOpened("r1", clockcheck.Serial)
		w.rtcOn = true
		w.to(w.utc.Add(time.Second))
		w.readRTC()
		w.lie = 3.3
		w.run(5 * time.Minute)
		text, err := json.Marshal(w.j.Learned())
		var kept clockcheck.Learned
		if err == nil {
			err = json.Unmarshal(text, &kept)
		}
		if err != nil {
			t.Fatal(err)
		}
		if kept.Held = nil; len(kept.RTC.Accounts) < 2 {
			t.Fatalf("kept is %+v", kept.RTC)
		}
		if former {
			kept.RTC.Accounts = nil
		}
		w.j = New(w.j.cfg, kept)
		w.to(w.utc.Add(3 * time.Second))
		w.readRTC()
		w.run(time.Second)
		if off := math.Abs(w.got.Error - w.sys); former != (off > 1) {
			t.Errorf("former: %v: it is %.3f s off", former, off)
		}
		most := 0.0
		for i := range w.j.bank.Tracks() {
			if _, _, hi := w.j.bank.Reach(i); w.j.bank.Alive(i) && w.j.bank.Tracks()[i].Located {
				most = math.Max(most, hi)
			}
		}
		if w.honest(); !former && (most < 3.3 || most > 5) {
			t.Errorf("UTC is up to %.3f s from there, and the receiver has it at 3.3", most)
		}
	}
}
