package hostclock

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// ToLocalNear is ToLocal for a stamp just before the second pair, such as that of an
// interrupt which woke the reader: over a short way a slew can do little, however
// uneven it was. It refuses what ToLocal refuses.
func ToLocalNear(stamp timescale.UTC, before, after Pair) (timescale.Local, time.Duration, error) {
	at, bound, err := ToLocal(stamp, before, after)
	if err != nil {
		return 0, 0, err
	}
	way := max(after.System.Sub(stamp), 0)
	if near := after.Width/2 + way/1_000_000*slewPPM + way%1_000_000*slewPPM/1_000_000; near < bound {
		return timescale.Local(int64(stamp) - int64(after.offset())), near, nil
	}
	return at, bound, nil
}
