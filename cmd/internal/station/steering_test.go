package station

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/rtc"
)

// What this program does to the clock changes where the clock goes. Good-for is worked out
// after it, in the same second: before, 51 s were promised of which 44 were kept.
func TestGoodForFollowsWhatIsDoneToTheClock(t *testing.T) {
	s := newSim(t, 10)
	cfg := s.cfg
	cfg.Steer = &steer.Config{Modes: cfg.Judge.Modes}
	s.Station = New(cfg, clockcheck.Learned{})
	s.server(0, 2)
	var said []float64
	for i := range 12 {
		s.local += 1e9
		k := steer.Kernel{FreqPPM: 5}
		if i >= 8 {
			k.FreqPPM = 400
		}
		s.Tick(Tick{Local: s.local, System: s.utc(), BoottimeS: s.local.Sub(0).Seconds(), Kernel: &k})
		said = append(said, s.judgement.Modes[0].GoodFor)
		s.judge.Promise(&s.judgement)
		if want := s.judgement.Modes[0].GoodFor; math.Abs(said[i]-want) > 0.01*want {
			t.Errorf("%d: good for %v s is said, and %v s follows from what is done to the clock", i, said[i], want)
		}
	}
	if said[7] == 0 || said[8] > said[7]*0.8 {
		t.Errorf("good for %v s: nothing was promised, or the kernel's rate changed nothing", said)
	}
}

// The kernel is not told to trust the clock, and so to write the hardware clock, before that
// has been read twice: a mark that is a minute wrong would destroy the only witness against it.
func TestHardwareClockSpeaksFirst(t *testing.T) {
	read := func(s *sim) { s.RTC(rtc.Reading{Edge: s.local, Half: time.Millisecond, Value: s.utc()}) }
	for _, c := range []struct {
		name string
		do   func(*sim)
		want bool // it is vouched for
	}{
		{"nothing read", func(*sim) {}, false},
		{"read once", read, false},
		{"read twice", func(s *sim) { read(s); s.local += 1e9; read(s) }, true},
		{"the chip has lost its time", func(s *sim) { s.RTCInvalid(s.local) }, true},
		{"there is none", func(s *sim) { s.RTCMissing("This computer has no hardware clock.") }, true},
	} {
		s := newSim(t, 10)
		cfg := s.cfg
		cfg.Steer = &steer.Config{Modes: cfg.Judge.Modes}
		s.Station = New(cfg, clockcheck.Learned{})
		s.server(0, 2)
		tick := func() bool {
			s.Tick(Tick{Local: s.local, System: s.utc(), BoottimeS: s.local.Sub(0).Seconds(), Kernel: &steer.Kernel{}})
			a := s.Actions()
			return a.SetStatus && !a.Status.Unsync
		}
		if tick() {
			t.Errorf("%s: vouched for at once", c.name)
		}
		c.do(s)
		if got := tick(); got != c.want {
			t.Errorf("%s: vouched for: %v", c.name, got)
		}
		if s.rtcAwaits(s.local.Add(rtcPatience)) {
			t.Errorf("%s: a bus that hangs keeps the kernel from being told", c.name)
		}
	}
}
