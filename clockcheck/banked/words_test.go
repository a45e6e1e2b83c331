package banked

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

func (w *station) reference(name string) clockcheck.Reference {
	for _, r := range w.got.References {
		if r.Name == name {
			return r
		}
	}
	return clockcheck.Reference{}
}

// What is said of the wait for the whole second comes true, however many pages of
// leap-second data the bank's prices ask for.
func TestSecondIn(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(60)
	if r := w.reference("receiver"); r.State != clockcheck.StateSecond || r.Trust != clockcheck.Warming || !strings.Contains(r.Because, "another") {
		t.Fatalf("after a minute the receiver is %+v", r)
	}
	foretold := w.now.Add(time.Duration(w.got.SecondIn * 1e9))
	for !w.proved("second") && w.now < foretold.Add(time.Minute) {
		w.run(1)
	}
	if off := w.now.Sub(foretold); off < -15*time.Second || off > 15*time.Second {
		t.Errorf("the second was proved %v from what was foretold", off)
	}
	if r := w.reference("receiver"); w.got.SecondIn >= 0 || r.State != clockcheck.StateLatency {
		t.Errorf("proved, and a wait of %v s is foretold; the receiver is %+v", w.got.SecondIn, r)
	}
}

// Without a fix waiting proves nothing.
func TestNoWaitWithoutFix(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(60)
	w.now, w.utc = w.now.Add(20*time.Second), w.utc.Add(20*time.Second)
	w.j.Judge(w.now, w.utc, &w.got)
	if r := w.reference("receiver"); w.got.SecondIn >= 0 || r.State != clockcheck.StateQuiet {
		t.Errorf("nothing is heard, and a wait of %v s is foretold; the receiver is %+v", w.got.SecondIn, r)
	}
}

// A jump is told as one, with the word by which the next step is found; and what the
// receiver alone says is shown.
func TestWordsOfAJump(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.server("a", 0)
	w.run(10 * 60)
	w.lie = 3 * time.Second
	w.run(60)
	r := w.reference("receiver")
	if r.State != clockcheck.StateJumped || r.Trust != clockcheck.Faulty && r.Trust != clockcheck.Doubted || !strings.Contains(r.Because, "jumped by +3.0") {
		t.Errorf("the receiver is %+v", r)
	}
	if !r.HasSaid || math.Abs(r.Error+3) > 0.3 {
		t.Errorf("by the receiver alone the clock is %+.2f s off, want −3", r.Error)
	}
	if s := w.reference("a"); s.Trust != clockcheck.Trusted || s.State != "" {
		t.Errorf("the server is %+v", s)
	}
}

// Two that disagree, and nobody decides: both are doubted.
func TestDispute(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.run(30 * 60)
	w.server("a", 5*time.Second)
	w.run(60)
	for _, name := range []string{"receiver", "a"} {
		if r := w.reference(name); r.Trust != clockcheck.Doubted || r.State != clockcheck.StateDisagrees {
			t.Errorf("%s is %+v", name, r)
		}
	}
	if n := w.j.bank.Pages(9); n != -1 {
		t.Errorf("%d pages of leap-second data are to decide between the two", n)
	}
}

// A receiver that is seen to be ahead, by two witnesses: the next page brings what is missing.
func TestAhead(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.server("a", 0)
	w.j.Mark(&clockcheck.Mark{At: w.now, UTC: w.utc, Bound: 200 * time.Millisecond})
	w.lie = 2 * time.Second
	w.run(60)
	if r := w.reference("receiver"); r.State != clockcheck.StateLeapMissing || w.got.SecondIn > 13*60 || w.got.SecondIn >= 0 != !w.proved("second") {
		t.Errorf("the receiver is %+v, and the wait %.0f s", r, w.got.SecondIn)
	}
}

// A crowd tells UTC but for whole periods: heard before that is known, it waits; where it
// contradicts a lone receiver nobody tells the day.
func TestCrowdAgainstLoneReceiver(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	hear := func() {
		w.j.Air(&clockcheck.Air{Source: clockcheck.Crowd, At: w.now, UTC: w.utc.Add(-3 * time.Second), Bound: 300 * time.Millisecond, Modulo: 15 * time.Second, Signals: 9})
		w.j.Judge(w.now, w.utc, &w.got)
	}
	hear()
	if r := w.reference(clockcheck.Crowd); r.Trust != clockcheck.Warming || r.HasSaid {
		t.Errorf("heard before it can be placed, the crowd is %+v", r)
	}
	w.run(30 * 60)
	hear()
	if r := w.reference(clockcheck.Crowd); r.Trust != clockcheck.Doubted {
		t.Errorf("the crowd says 3 s less than a lone receiver, and is %+v", r)
	}
	if w.got.Guarded || w.proved("date") {
		t.Errorf("UTC may be anywhere, and the guard is said to be %.0f s, proved %v", w.got.Guard, w.got.Proved)
	}
	if _, ok := w.j.Hand(w.now); ok {
		t.Error("a time is handed on that may be days wrong")
	}
}

// Over a relay sentences may come seconds late at any time, however late they were.
func TestRelayProvesNothingForLater(t *testing.T) {
	kept := clockcheck.Learned{Latencies: []clockcheck.LearnedLatency{{Key: "a relay", LatencyS: 0.15, SigmaS: 0.01}}}
	w := newStation(t, kept)
	w.j.ReceiverOpened("", clockcheck.Relay)
	w.j.ReceiverNamed("a relay")
	w.run(60)
	w.late += 8 * time.Second
	w.run(40 * 60) // fails if the truth leaves the guard
	if w.got.Guard < 5 {
		t.Errorf("the guard is %.2f s", w.got.Guard)
	}
}

// restart has the program start again, from what it keeps now or from before.
func (w *station) restart(kept clockcheck.Learned, down time.Duration) {
	ft8, _ := clockcheck.ModeNamed("FT8")
	w.j = New(clockcheck.Config{Modes: []clockcheck.Mode{ft8}, Latency: w.j.cfg.Latency}, kept)
	w.open()
	w.now, w.utc = w.now.Add(down), w.utc.Add(down)
	w.j.Resume(w.now)
}

// Killed while whole seconds were open: the program goes on from the best, with all of
// them open, and proves the second as it would have.
func TestKilledBeforeTheSecond(t *testing.T) {
	for _, latency := range []time.Duration{0, 150 * time.Millisecond} { // measured by the operator or not
		killedEarly(t, latency)
	}
}

func killedEarly(t *testing.T, latency time.Duration) {
	w := newStation(t, clockcheck.Learned{})
	w.j.cfg.Latency = latency
	w.open()
	w.run(5 * 60)
	w.restart(w.j.Learned(), time.Minute)
	w.j.Judge(w.now, w.utc, &w.got)
	if math.Abs(w.got.Error) > 0.5 || w.got.Guard < 17 {
		t.Errorf("after the start the error is said to be %+.2f ±%.2f s, want none, and 18 s open", w.got.Error, w.got.Guard)
	}
	for range 30 {
		if w.run(60); w.reference("receiver").Trust == clockcheck.Doubted {
			t.Fatalf("the receiver is doubted: %s", w.reference("receiver").Because)
		}
	}
	if !w.proved("second") {
		t.Errorf("half an hour later proved is %v, guard %.2f s", w.got.Proved, w.got.Guard)
	}
}

// What an earlier version kept (the files are its own) is taken up with its doubts: the
// receiver that had jumped is doubted, and where a server said 5 s more the guard spans both.
func TestKeptByTheRules(t *testing.T) {
	for _, tt := range []struct {
		file  string
		lie   time.Duration
		least float64 // s: of the guard
	}{{"rules-jumped", 2300 * time.Millisecond, 0}, {"rules-disputed", 0, 4.8}} {
		text, err := os.ReadFile(filepath.Join("testdata", tt.file+".json"))
		if err != nil {
			t.Fatal(err)
		}
		var kept clockcheck.Learned
		if err := json.Unmarshal(text, &kept); err != nil {
			t.Fatal(err)
		}
		w := newStation(t, clockcheck.Learned{})
		w.now, w.utc = kept.Held.At, timescale.UTC(int64(kept.Held.At)+kept.Held.OffsetNS)
		w.restart(kept, 2*time.Second)
		w.j.Judge(w.now, w.utc, &w.got)
		for range 2 { // at the start, and beside the receiver
			if !w.got.Guarded || w.got.Guard < tt.least {
				t.Errorf("%s: guard %.2f s, want %.1f s at least", tt.file, w.got.Guard, tt.least)
			}
			w.lie = tt.lie
			w.run(60) // fails if the truth leaves the guard
		}
		if r := w.reference("receiver"); !w.j.bank.Doubted().Has(bank.Receiver) {
			t.Errorf("%s: the receiver is %+v, error %.2f s ± %.2f s", tt.file, r, w.got.Error, w.got.Guard)
		}
	}
}

// What an earlier version kept is taken up with its room.
func TestHeldByTheRules(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.restart(clockcheck.Learned{Held: &clockcheck.Held{At: w.now, OffsetNS: int64(w.utc) - int64(w.now), SigmaS: 0.01, RateSigmaPPM: 1, DateProved: true,
		RoomLoS: -0.3, RoomHiS: 0.9, Ancestry: []string{"receiver"}, Doubts: []clockcheck.HeldDoubt{{Kind: "receiver"}}}}, time.Second)
	w.j.Judge(w.now, w.utc, &w.got)
	if w.got.Guard < 0.9 {
		t.Errorf("guard %.2f s, and UTC may be 0.9 s later", w.got.Guard)
	}
	if w.run(30); !w.j.bank.Doubted().Has(bank.Receiver) {
		t.Error("the receiver was doubted, and is not")
	}
}

// Whole seconds that the run before left open are those that the receiver may lead by:
// two pages of leap-second data rule them out.
func TestHeldSecondsAreRuledOut(t *testing.T) {
	w := newStation(t, clockcheck.Learned{})
	w.restart(clockcheck.Learned{Held: &clockcheck.Held{At: w.now, OffsetNS: int64(w.utc) - int64(w.now), SigmaS: 0.01, RateSigmaPPM: 1, DateProved: true,
		SecLo: -18, Ancestry: []string{"receiver"}}}, time.Second)
	if w.run(60); w.got.Guard < 17 {
		t.Errorf("guard %.2f s, and 18 s are open", w.got.Guard)
	}
	if w.run(30 * 60); !w.proved("second") {
		t.Errorf("half an hour later proved is %v, guard %.2f s", w.got.Proved, w.got.Guard)
	}
}
