package station

import (
	"encoding/json"
	"slices"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
	"noonmark/status"
)

// markAt marks the whole second that has just begun, off by so much.
func (s *sim) markAt(off time.Duration) bool {
	return s.Mark(clockcheck.Mark{At: s.local, UTC: s.utc().Add(off), Bound: 200 * time.Millisecond})
}

// without is a snapshot's judgement as text, but for what tells of the mark itself.
func without(t *testing.T, s *status.Snapshot) string {
	t.Helper()
	c := s.Clone()
	c.Events, c.Mark = nil, nil
	b, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestAMarkTakenBack: a station that took a mark and gave it up says from then on, to the
// last digit, what one says that never heard of it; whatever the mark changed: it named
// the second and the latency, contradicted the rest, or was the only source.
func TestAMarkTakenBack(t *testing.T) {
	for _, row := range []struct {
		name   string
		proved bool // the receiver is, before
		mute   bool // the receiver has no fix
		off    time.Duration
		during string // what the mark makes of FT8
		after  string
	}{
		{"it proved the second", false, false, 0, status.Within, status.Borderline},
		{"a slip of three seconds", true, false, 3 * time.Second, status.Borderline, status.Within},
		{"the only source", false, true, 40 * time.Second, status.Outside, status.Unknown},
	} {
		t.Run(row.name, func(t *testing.T) {
			lines := []string{rmc, gga}
			if row.mute {
				lines = nil
			}
			s, never := newSim(t, 10), newSim(t, 10)
			both := func(n int) { s.seconds(n, lines...); never.seconds(n, lines...) }
			if row.proved {
				for _, x := range []*sim{s, never} {
					x.cfg.Judge.Latency = 100 * time.Millisecond
					x.Station = New(x.cfg, clockcheck.Learned{})
					x.Opened(Source{Device: "/dev/x", Identity: "x"}, x.local)
				}
				both(30 * 60)
			}
			both(20)
			if s.Withdraw(s.local) {
				t.Error("there was nothing to take back")
			}
			if !s.markAt(row.off) {
				t.Fatal("the mark was not placed")
			}
			both(30)
			if got := s.snap.Modes[0].Verdict; got != row.during {
				t.Errorf("with the mark FT8 is %s: %s", got, s.snap.Clock.Because)
			}
			if m := s.snap.Mark; m == nil || m.Name != "mark by ear" || m.AgeS.V < 29 || m.AgeS.V > 32 {
				t.Errorf("%+v", m)
			}
			if !s.Withdraw(s.local) || !s.Urgent() {
				t.Error("not taken back, or not kept at once")
			}
			never.Urgent()
			both(1)
			if got := s.snap.Modes[0].Verdict; got != row.after || s.snap.Mark != nil {
				t.Errorf("without it FT8 is %s: %s; never: %s", got, s.snap.References[0].Because, never.snap.Modes[0].Verdict)
			}
			both(60)
			if got, want := without(t, s.snap), without(t, never.snap); got != want {
				t.Errorf("something of the mark is left:\n%s\n%s", got, want)
			}
			if e := s.snap.Events; !slices.ContainsFunc(e, func(e status.Event) bool { return e.Kind == "mark" }) {
				t.Errorf("no word of it: %+v", s.snap.Events)
			}
		})
	}
}

// TestMarksTakenBackInTurn: the last first, three at most; a device that has its time from
// here leaves nothing to take back.
func TestMarksTakenBackInTurn(t *testing.T) {
	s := newSim(t, 10)
	s.seconds(20, rmc, gga)
	s.Mark(clockcheck.Mark{At: s.local, UTC: s.utc(), Bound: time.Second, Borrowed: true, OurOwn: true})
	s.seconds(1, rmc, gga)
	if s.snap.Mark != nil {
		t.Errorf("%+v", s.snap.Mark)
	}
	for range maxAside + 1 {
		s.markAt(0)
		s.seconds(70, rmc, gga)
	}
	n := 0
	for s.Withdraw(s.local) {
		s.seconds(1, rmc, gga)
		n++
	}
	if n != maxAside {
		t.Errorf("%d marks were taken back, want %d", n, maxAside)
	}
}

// TestAMarkTakenBackAfterARestart: in the same boot; over a power-off nothing is offered.
func TestAMarkTakenBackAfterARestart(t *testing.T) {
	for _, boot := range []string{"b", "c"} {
		s := newSim(t, 10)
		s.seconds(20, rmc, gga)
		s.markAt(0)
		s.seconds(30, rmc, gga)
		if got := s.snap.Modes[0].Verdict; got != status.Within {
			t.Fatalf("with the mark FT8 is %s", got)
		}
		kept, err := json.Marshal(s.Learned())
		var learned clockcheck.Learned
		if err == nil {
			err = json.Unmarshal(kept, &learned)
		}
		if err != nil {
			t.Fatal(err)
		}
		cfg := s.cfg
		cfg.BootID = boot
		s.Station = New(cfg, learned)
		s.Opened(Source{Device: "/dev/x", Identity: "x"}, s.local)
		s.seconds(20, rmc, gga)
		if boot == "c" {
			if s.snap.Mark != nil || s.Withdraw(s.local) {
				t.Error("another boot offers a mark")
			}
			continue
		}
		if m := s.snap.Mark; m == nil || m.AgeS.V < 50 {
			t.Fatalf("after a restart: %+v", m)
		}
		if got := s.snap.Modes[0].Verdict; got != status.Within {
			t.Errorf("the restart cost the mark's word: %s", got)
		}
		s.Withdraw(s.local)
		s.seconds(2, rmc, gga)
		if got := s.snap.Modes[0].Verdict; got != status.Borderline {
			t.Errorf("without the mark FT8 is %s", got)
		}
	}
}

// TestNothingIsLaunderedThroughTheHardwareClock: a mark was the only source, and the
// hardware clock was set by it; whoever takes the mark back does not get its time again
// from there.
func TestNothingIsLaunderedThroughTheHardwareClock(t *testing.T) {
	for _, kernel := range []bool{false, true} {
		s := newSim(t, 10)
		l := clockcheck.Learned{RTC: &clockcheck.LearnedRTC{At: begin.Add(-time.Hour), SigmaS: 0.01, RateSigmaPPM: 1, DateProved: true, Ancestry: []string{"server"}}}
		s.Station = New(s.cfg, l)
		s.RTCInvalid(s.local)
		s.seconds(2)
		s.markAt(40 * time.Second) // forty seconds wrong
		s.seconds(2)
		if kernel {
			s.KernelWritesRTC(true)
		} else {
			s.judge.WroteRTC()
		}
		wrong := func(at timescale.Local) rtc.Reading {
			return rtc.Reading{Edge: at, Value: begin.Add(at.Sub(1e9) + 40*time.Second), Half: time.Millisecond}
		}
		for range 3 {
			s.RTC(wrong(s.local))
			s.seconds(10)
		}
		s.Withdraw(s.local)
		for range 3 {
			s.RTC(wrong(s.local))
			s.seconds(10)
		}
		if v := s.snap.Modes[0].Verdict; v != status.Unknown {
			t.Errorf("the kernel's writes %v: the mark's time came back by the hardware clock: %s, %s", kernel, v, s.snap.Clock.Because)
		}
	}
}

// TestTheHardwareClockIsNoWitnessOfWhoSetIt: its chip called its time lost, so that what was
// learned of it holds no more; then somebody set it, as it may be by our own time.
func TestTheHardwareClockIsNoWitnessOfWhoSetIt(t *testing.T) {
	s := newSim(t, 10)
	s.Station = New(s.cfg, clockcheck.Learned{RTC: &clockcheck.LearnedRTC{At: begin.Add(-time.Hour), SigmaS: 0.01, RateSigmaPPM: 1, DateProved: true, Ancestry: []string{"server"}}})
	s.RTCInvalid(s.local)
	s.seconds(2)
	s.markAt(400 * time.Millisecond) // wrong, and nobody can tell
	s.seconds(2)
	s.KernelWritesRTC(true)
	for range 3 {
		s.RTC(rtc.Reading{Edge: s.local, Value: begin.Add(s.local.Sub(1e9) + 400*time.Millisecond), Half: time.Millisecond})
		s.seconds(10)
	}
	if got := s.snap.Clock.Ancestry; slices.Contains(got, "server") {
		t.Errorf("the time comes from %v: the mark's own time came back as another's", got)
	}
}
