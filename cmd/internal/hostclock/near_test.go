package hostclock

import (
	"errors"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// A second's slew at 100 ppm that all came in the first half: a stamp 200 µs before the
// second pair is converted to within what is said, and that is a microsecond.
func TestToLocalNear(t *testing.T) {
	const width = 400 * time.Nanosecond
	before, after := pair(0, 0, width, 0), pair(1e9, 100*time.Microsecond, width, 0)
	true1 := timescale.Local(1e9 - 200_000)
	stamp := timescale.UTC(int64(true1) + int64(after.offset()))
	at, bound, err := ToLocalNear(stamp, before, after)
	if err != nil || bound > time.Microsecond || at.Sub(true1) > bound || true1.Sub(at) > bound {
		t.Errorf("off by %v, bound %v, %v", at.Sub(true1), bound, err)
	}
	// Far from the second pair it is no worse than ToLocal.
	early := timescale.UTC(int64(before.System) + 1000)
	want, wantBound, _ := ToLocal(early, before, after)
	if at, bound, err := ToLocalNear(early, before, after); err != nil || at != want || bound != wantBound {
		t.Errorf("%v ± %v, %v; ToLocal %v ± %v", at, bound, err, want, wantBound)
	}
	stepped := pair(1e9, 500*time.Millisecond, width, 0)
	if _, _, err := ToLocalNear(stepped.System-1000, before, stepped); !errors.Is(err, ErrStepped) {
		t.Errorf("across a step: %v", err)
	}
}
