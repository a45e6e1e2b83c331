package port

import (
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// TestPacerFindsPausesAgain plays a receiver of 7 bursts a second through the
// pacer; once the reader hangs for two seconds, and several bursts look like one.
// The pauses must be found again within seconds.
func TestPacerFindsPausesAgain(t *testing.T) {
	const period, burst = 150 * time.Millisecond, 20 * time.Millisecond
	ms := func(n int) timescale.Local { return timescale.Local(time.Duration(n) * time.Millisecond) }
	flows := func(at timescale.Local) bool { return time.Duration(at)%period < burst }
	came := func(from, to timescale.Local) bool { // bytes within (from, to]
		for at := from + 1; at <= to; at = at.Add(time.Millisecond) {
			if flows(at) {
				return true
			}
		}
		return flows(to)
	}
	var p pacer
	now, last := timescale.Local(0), timescale.Local(-1e9)
	seen := map[int]int{} // bursts stamped, by second
	hung := false
	for now < ms(20_000) {
		for !flows(now) {
			now = now.Add(time.Millisecond)
		}
		if now.Sub(last) >= quietFor {
			p.burst(now, now.Sub(last))
			seen[int(time.Duration(now)/time.Second)]++
		}
		last = now
		for {
			from := now
			now = now.Add(p.rest(now))
			if !hung && now > ms(5000) {
				hung, now = true, now.Add(2*time.Second)
			}
			if !came(from, now) {
				break
			}
			p.more(now)
			last = now
		}
	}
	if seen[4] < 6 {
		t.Errorf("before the hang %d of 6 bursts a second are seen: %v", seen[4], seen)
	}
	for s := 13; s < 20; s++ {
		if seen[s] < 5 {
			t.Errorf("second %d: %d of 6 or 7 bursts are seen, the hang was in seconds 5 to 7: %v", s, seen[s], seen)
		}
	}
}
