package station

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
)

// A portal's answer, 142 s off, is the first word after a start of the program. What the run before
// knew in this boot is not forgotten for it: the guard holds both. After a sleep, or another
// boot, the answer is all there is.
func TestAnswerBeforeTheFirstTick(t *testing.T) {
	const local = timescale.Local(1000e9)
	ft8, _ := clockcheck.ModeNamed("FT8")
	for _, c := range []struct {
		name   string
		boot   string
		asleep float64
		both   bool
	}{{"another boot", "then", 0, false}, {"slept since", "now", 5, false}, {"the same boot", "now", 0, true}} {
		s := New(Config{BootID: "now", Judge: clockcheck.Config{Modes: []clockcheck.Mode{ft8}}}, clockcheck.Learned{Held: &clockcheck.Held{BootID: c.boot, At: local - 10e9, OffsetNS: int64(begin) - int64(local),
			SigmaS: 0.02, RateSigmaPPM: 0.5, DateProved: true, Ancestry: []string{"receiver"}, Confirmed: local - 10e9}})
		s.Network(netref.Reading{Server: "192.0.2.1", At: local, UTC: begin.Add(142 * time.Second), Bound: 20 * time.Millisecond})
		snap := s.Tick(Tick{Local: local + 1e8, System: begin.Add(100 * time.Millisecond), BoottimeS: 1000 + c.asleep, AsleepS: c.asleep})
		e, g := snap.Clock.ErrorS.V, snap.Clock.GuardS.V
		if both := math.Abs(e) < g && math.Abs(e+142) < g; both != c.both {
			t.Errorf("%s: error %.3f s, guard %.3f s: holds both: want %v", c.name, e, g, c.both)
		}
	}
}
