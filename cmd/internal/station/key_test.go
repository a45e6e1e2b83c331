package station

import (
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
)

// A receiver goes from its own clock, nine hours behind, to its first fix between two epochs, or its leap-second
// data come there: that is no rate, and names no receiver. What was learned of it is found by the next two.
func TestAJumpOfTheTimeIsNoRate(t *testing.T) {
	for _, jump := range []time.Duration{9 * time.Hour, time.Second, 18 * time.Second} {
		for _, rate := range []time.Duration{time.Second, 200 * time.Millisecond} {
			s := newSim(t, 10)
			e := gnss.Epoch{HasTime: true, TimeOfDay: 4 * time.Hour, Arrival: timescale.Local(1e9)}
			next := func(after time.Duration) bool {
				e.TimeOfDay, e.Arrival = e.TimeOfDay+after, e.Arrival.Add(rate)
				return s.key(&e)
			}
			if s.key(&e) || next(rate+jump) {
				t.Errorf("every %v: a jump of %v names the receiver", rate, jump)
			}
			if !next(rate) || s.step != rate {
				t.Errorf("every %v, after a jump of %v: named %v, every %v", rate, jump, s.keyed, s.step)
			}
		}
	}
}
