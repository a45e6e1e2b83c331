package server

import (
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// Two servers of one visit agree for a while; then one machine answers for both. The first to be asked after that
// contradicts what the other said before: they are one witness still, for the other says the same now. A server that
// jumps alone is told apart as soon as the other speaks.
func TestWhoJumpedHasNotContradictedTheOther(t *testing.T) {
	const second = timescale.Local(1e9)
	for _, alone := range []bool{false, true} {
		var v Servers
		v.Take(answer("a", second, 0, clockcheck.Upstream{}))
		v.Take(answer("b", 2*second, 0, clockcheck.Upstream{}))
		b, _ := v.Take(answer("b", 260*second, 8*time.Second, clockcheck.Upstream{}))
		says := 8 * time.Second
		if alone {
			says = 0
		}
		a, _ := v.Take(answer("a", 270*second, says, clockcheck.Upstream{}))
		if again, _ := v.Take(answer("b", 300*second, 8*time.Second, clockcheck.Upstream{})); a.Source != b.Source && !alone || a.Source == again.Source && alone {
			t.Errorf("alone %v: a is witness %d, b %d and %d", alone, a.Source, b.Source, again.Source)
		}
	}
}
