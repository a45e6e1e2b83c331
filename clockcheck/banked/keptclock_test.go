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
		w := newClocked(t)
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

// A hardware clock whose newest reading does not fit was read late, or set. Until the next one tells, nothing is kept of it, and that is
// saved at once: a power cut may come first.
func TestOddHardwareClockIsNotKept(t *testing.T) {
	for _, set := range []bool{false, true} {
		w := newWorld(t, clockcheck.Learned{})
		w.mute, w.rtcOff = true, 2
		look := func(off float64) *clockcheck.LearnedRTC {
			w.rtcOff = off
			w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 20 * time.Millisecond})
			w.run(10 * time.Minute)
			w.readRTC()
			return w.j.Learned().RTC
		}
		for range 3 {
			look(2)
		}
		if w.j.Urgent(); look(2) == nil || w.j.Urgent() {
			t.Fatal("a clock that fits is not kept, or urgent")
		}
		if l := look(4); l != nil || !w.j.Urgent() {
			t.Errorf("its newest reading is 2 s off, and %+v is kept", l)
		}
		then := 2.0
		if set {
			then = 4
		}
		if l := look(then); l == nil || math.Abs(l.OffsetS-then) > 0.1 || l.Written != set || !w.j.Urgent() {
			t.Errorf("set: %v: the next reading tells, and %+v is kept", set, l)
		}
		look(then + 2)
		w.j.WroteRTC() // and what we write is compared anew: nothing is odd about it
		if l := look(0); l == nil || math.Abs(l.OffsetS) > 0.1 {
			t.Errorf("set: %v: it was written since, and %+v is kept", set, l)
		}
	}
}
