package station

import (
	"math"
	"testing"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
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
