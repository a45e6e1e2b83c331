package status

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// situated is a snapshot in one mode, judged by a receiver in a state.
func situated(verdict, basis, state string, change ...func(*Snapshot)) *Snapshot {
	s := &Snapshot{Clock: Clock{Basis: basis, Steering: SteeringObserving, ErrorS: Known(0.02), BoundS: Known(0.3), GuardS: Known(1.2)},
		Modes:      []Mode{{Mode: "FT8", Verdict: verdict, ToleranceS: 1, MarginS: Known(-0.2), InUse: true}, {Mode: "FT4", Verdict: Unknown}},
		References: []Reference{{Name: "hardware clock", Kind: "rtc", State: "uncompared"}, {Name: "receiver", Kind: "gnss", State: state}}}
	if verdict == Within {
		s.Modes[0].MarginS, s.Modes[0].GoodForS = Known(0.5), Known(90000)
	}
	for _, c := range change {
		c(s)
	}
	return s
}

func TestAdvice(t *testing.T) {
	off := func(steering string, e, guard, margin float64) func(*Snapshot) {
		return func(s *Snapshot) {
			s.Clock.Steering, s.Clock.ErrorS, s.Clock.GuardS, s.Modes[0].MarginS = steering, Known(e), Known(guard), Known(margin)
		}
	}
	second := func(s *Snapshot) { s.Clock.SecondInS = Known(801) }
	latency := func(s *Snapshot) { s.Clock.Proved = []string{"date", "latency"} }
	part := func(v float64) func(*Snapshot) { // of the worst case, by the second
		return func(s *Snapshot) { s.Clock.Budget = []Term{{Term: TermSecond, GuardS: Known(v)}} }
	}
	lasts := func(v float64) func(*Snapshot) { return func(s *Snapshot) { s.Modes[0].GoodForS = Known(v) } }
	byMark := func(s *Snapshot) {
		s.Mark, s.References[0] = &Mark{Name: "mark by ear", AgeS: Known(5)}, Reference{Name: "mark by ear", Kind: "operator", State: "disagrees"}
	}
	for _, tt := range []struct {
		name string
		s    *Snapshot
		kind string
		wait float64 // 0 = none
		text string  // part of it
	}{
		{"nothing judged", &Snapshot{}, AdviceSettings, 0, "[modes]"},
		{"no receiver", situated(Unknown, BasisNone, "absent"), AdviceReceiver, 0, "noonmark ports"},
		{"a silent receiver", situated(Unknown, BasisNone, "quiet"), AdviceReceiver, 0, "cable"},
		{"no fix", situated(Unknown, BasisNone, "no-fix"), AdviceOpenSky, 0, "open sky"},
		{"the first minute", situated(Unknown, BasisNone, "settling"), AdviceWait, 0, "minute"},
		{"the second is being confirmed, nothing else is", situated(Borderline, BasisGNSS, "second-soon", second), AdviceWait, 801, "14 min"},
		{"only the second is open", situated(Borderline, BasisGNSS, "second-soon", second, latency), AdviceWait, 801, "Wait 14 min: the whole second"},
		{"the second would be enough", situated(Borderline, BasisGNSS, "second-soon", second, part(0.3)), AdviceWait, 801, "14 min"},
		{"the second alone is not enough", situated(Borderline, BasisGNSS, "second-soon", second, part(0.1)), AdviceListen, 0, "not enough for FT8"},
		{"leap data missing", situated(Borderline, BasisGNSS, "leap-missing", second), AdviceWait, 801, "14 min"},
		{"it jumped once", situated(Borderline, BasisGNSS, "second-open"), AdviceMark, 0, "noonmark mark"},
		{"the latency is open", situated(Borderline, BasisGNSS, "latency-open"), AdviceListen, 0, "network"},
		{"disagreement", situated(Borderline, BasisGNSS, "disagrees"), AdviceMark, 0, "To decide"},
		{"servers disagree", situated(Borderline, BasisNetwork, "absent", func(s *Snapshot) { s.References[0].State = "disagrees" }), AdviceMark, 0, "Two sources"},
		{"a mark against the rest", situated(Borderline, BasisGNSS, "", byMark), AdviceWithdraw, 0, "mark --withdraw"},
		{"a mark against the rest, of another run", situated(Borderline, BasisGNSS, "", byMark, func(s *Snapshot) { s.Mark = nil }), AdviceMark, 0, "Two sources"},
		{"it must hold", situated(Borderline, BasisGNSS, "", off("observing", 0, 0.1, 0.9)), AdviceWait, 2, "seconds"},
		{"too narrow a mode", situated(Borderline, BasisGNSS, ""), AdviceConnect, 0, "FT8"},
		{"stuck", situated(Borderline, BasisRTC, "stuck"), AdviceReceiver, 0, "Unplug"},
		{"watched and wrong", situated(Outside, BasisGNSS, "", off("observing", 2.1, 0.1, -1.2)), AdviceSet, 0, "2.100 s fast"},
		{"watched and nearly wrong", situated(Borderline, BasisGNSS, "second-soon", off("observing", 0.95, 0.1, -0.05)), AdviceSet, 0, "0.950 s fast"},
		{"another program", situated(Outside, BasisGNSS, "", off("another-program", 2.1, 0.1, -1.2)), AdviceStop, 0, "preflight"},
		{"not permitted", situated(Outside, BasisGNSS, "", off("not-permitted", 2.1, 0.1, -1.2)), AdviceSet, 0, "service"},
		{"a step waits", situated(Outside, BasisGNSS, "", off("waiting", 2.1, 0.1, -1.2)), AdviceWait, 0, "gap"},
		{"slewing", situated(Borderline, BasisGNSS, "", off("slewing", 0.2, 0.9, -0.1)), AdviceWait, 200, "4 min"},
		{"slewed, and moved since", situated(Outside, BasisGNSS, "", off("slewing", 2.1, 0.1, -1.2)), AdviceWait, 0, "gap"},
		{"good", situated(Within, BasisGNSS, ""), AdviceNone, 0, "Nothing"},
		{"good, and the latency open", situated(Within, BasisGNSS, "latency-open"), AdviceNone, 0, "Nothing"},
		{"good for half an hour", situated(Within, BasisGNSS, "", lasts(1800)), AdviceRenew, 1800, "30 min"},
		{"carried into the tent", situated(Within, BasisHoldover, "no-fix", lasts(40000)), AdviceRenew, 40000, "Ending in 11 h 6 min: give the receiver open sky"},
		{"unplugged", situated(Within, BasisHoldover, "absent", lasts(700)), AdviceRenew, 700, "plug the receiver in"},
		{"led away", situated(Within, BasisHoldover, "jumped", lasts(700)), AdviceRenew, 700, "not trusted"},
		{"an empty battery", situated(Within, BasisGNSS, "", func(s *Snapshot) { s.References[0].Battery = BatteryEmpty }), AdviceBattery, 0, "battery"},
		{"cannot be kept", situated(Within, BasisGNSS, "", func(s *Snapshot) { s.Problems = []Problem{{ProblemNotKept, "Free the disk."}} }), AdviceRepair, 0, "Free the disk."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			a := Advise(tt.s, Asked(tt.s.Modes))
			if a.Kind != tt.kind || a.WaitS != (Float{tt.wait, tt.wait != 0}) || !strings.Contains(a.Text, tt.text) {
				t.Errorf("%+v", a)
			}
		})
	}
}

// Whatever the status says, there is a next step, in sentences a tired reader takes in,
// and no "nothing" where the answer is not good.
func TestAdviceAlways(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anySnapshot(t)
		a := Advise(&s, Asked(s.Modes))
		if a.Text == "" || a.Kind == "" {
			t.Fatalf("%+v", a)
		}
		if a.Kind == AdviceNone && worst(Asked(s.Modes)).Verdict != Within {
			t.Fatalf("nothing to do: %+v", s)
		}
	})
	for _, row := range adviceTable {
		s := situated(Outside, BasisGNSS, "")
		s.Problems = []Problem{{ProblemNotKept, "Free the disk."}}
		for _, sentence := range strings.Split(row.text(&situation{s: s, mode: s.Modes[0]}, Known(100)), ". ") {
			if n := len(strings.Fields(sentence)); n > 20 {
				t.Errorf("%d words: %s", n, sentence)
			}
		}
	}
}
