package station

import (
	"slices"
	"testing"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
)

type rules = clockcheck.Judge

// spied is a judge that keeps the order in which it was asked.
type spied struct {
	*rules
	asked []string
}

func (s *spied) taken() []string { defer func() { s.asked = nil }(); return s.asked }

func (s *spied) Steered(st clockcheck.Steered) {
	s.asked = append(s.asked, "steered")
	s.rules.Steered(st)
}

func (s *spied) Promise(dst *clockcheck.Judgement) {
	s.asked = append(s.asked, "promise")
	s.rules.Promise(dst)
}

// What this program does to the clock changes where the clock goes. Good-for is worked out
// after it, in the same second: before, 51 s were promised of which 44 were kept.
func TestGoodForFollowsWhatIsDoneToTheClock(t *testing.T) {
	s := newSim(t, 10)
	cfg, spy := s.cfg, &spied{}
	cfg.Steer = &steer.Config{Modes: cfg.Judge.Modes}
	cfg.MakeJudge = func(c clockcheck.Config, l clockcheck.Learned) Judge {
		spy.rules = clockcheck.New(c, l)
		return spy
	}
	s.Station = New(cfg, clockcheck.Learned{})
	tick := func(k steer.Kernel) []string {
		s.local += timescale.Local(1e9)
		s.Tick(Tick{Local: s.local, System: s.utc(), BoottimeS: s.local.Sub(0).Seconds(), Kernel: &k})
		return spy.taken()
	}
	if got := tick(steer.Kernel{FreqPPM: 30}); !slices.Equal(got, []string{"steered", "promise"}) {
		t.Errorf("steering begins: %v", got)
	}
	tick(steer.Kernel{}) // what was wanted at first is done
	if got := tick(steer.Kernel{}); !slices.Equal(got, []string{"steered"}) {
		t.Errorf("nothing changed: %v", got)
	}
}
